"""Which springs of a file may go into an engine: those that the spec does not reject, and what a person decided."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import field

from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.inspection.springs.analysis import Fit, SpringAnalysis
from valvelab.inspection.springs.inspect import SpringsQuestion, analyse_all, latest_stages, spring_verdicts
from valvelab.phrase import Phrase, listed
from valvelab.records.result import Note, Verdict, warning
from valvelab.records.springs_result import ExcludedSpring, TakenSpring
from valvelab.units import show


@frozen
class ByHand:
    """What a person decided of a tray: spring and reason each.

    take: rejected springs that are used all the same; leave_out: springs that are not used. with_rejected takes all
    rejected ones in, without a reason.
    """

    take: Mapping[str, str] = field(default_factory=dict)
    leave_out: Mapping[str, str] = field(default_factory=dict)
    with_rejected: bool = False


AS_JUDGED = ByHand()


@frozen
class UsableSprings:
    """Springs that may be used, each in its last stage; those kept out or taken in with the reason; what to say."""

    fit: Fit
    analyses: tuple[SpringAnalysis, ...]
    excluded: tuple[ExcludedSpring, ...]
    taken_in: tuple[TakenSpring, ...]
    notes: tuple[Note, ...]


def usable_springs(question: SpringsQuestion, by_hand: ByHand = AS_JUDGED) -> UsableSprings:
    """The springs of a file that neither spec nor person keeps out; undecided ones are named and stay in.

    Refused when none is left, where a person decides of a spring that the file does not have, and where one is taken
    in that the spec does not reject.
    """
    fit, every, notes = analyse_all(question)
    verdicts, _ = spring_verdicts(question, every)
    latest = tuple(every[number] for number in latest_stages(every))
    rejected = reasons(verdicts, "reject")
    _refuse_unfounded(question.table.file, by_hand, {one.name for one in latest}, rejected)
    out = {name: Phrase("left out: {reason}", reason=reason) for name, reason in by_hand.leave_out.items()}
    undecided = [name for name in reasons(verdicts, "undecided") if name not in rejected and name not in out]
    if undecided:
        notes.append(
            warning("undecided", Phrase("not decided by the spec, and used: {names}", names=", ".join(undecided)))
        )
    taken = tuple(
        TakenSpring(spring=name, reason=by_hand.take[name], rejected_for=why)
        for name, why in rejected.items()
        if name in by_hand.take
    )
    if taken:
        text = listed(
            (
                Phrase("{spring} ({cause}): {reason}", spring=one.spring, cause=one.rejected_for, reason=one.reason)
                for one in taken
            ),
            "; ",
        )
        notes.append(warning("taken in", Phrase("rejected by the spec, and taken in: {text}", text=text)))
    rejected = {name: why for name, why in rejected.items() if name not in by_hand.take}
    if rejected and by_hand.with_rejected:
        notes.append(
            warning("rejected", Phrase("rejected by the spec, and used as asked: {names}", names=", ".join(rejected)))
        )
        rejected = {}
    if told := _listed({name: why for name, why in rejected.items() if name not in out}):
        notes.append(warning("excluded", Phrase("rejected by the spec, so they stay out: {told}", told=told)))
    if told := _listed(by_hand.leave_out):
        notes.append(warning("excluded", Phrase("left out: {told}", told=told)))
    kept_out = rejected | out
    usable = tuple(analysis for analysis in latest if analysis.name not in kept_out)
    if not usable:
        why = Phrase(
            "the spec rejects all {count} springs" if not out else "all {count} springs stay out", count=len(latest)
        )
        raise CannotEvaluate(
            Reason.NOT_FEASIBLE, Phrase("{file}: {why}, expected one or more to use", file=question.table.file, why=why)
        )
    excluded = tuple(
        ExcludedSpring(spring=one.name, reason=kept_out[one.name]) for one in latest if one.name in kept_out
    )
    return UsableSprings(fit, usable, excluded, taken, tuple(notes))


def _listed(reasons: Mapping[str, str]) -> str:
    return listed((Phrase("{spring} ({why})", spring=name, why=why) for name, why in reasons.items()), "; ")


def _refuse_unfounded(file: str, by_hand: ByHand, known: Collection[str], rejected: Collection[str]) -> None:
    for name in (*by_hand.take, *by_hand.leave_out):
        if name not in known:
            word = Phrase("taken in") if name in by_hand.take else Phrase("left out")
            raise CannotEvaluate(
                Reason.MISSING_INPUT,
                Phrase(
                    "{file}: {name} {word}, which is not among the readings", file=file, name=f"{name!r}", word=word
                ),
            )
    for name in by_hand.take:
        if name in by_hand.leave_out:
            raise CannotEvaluate(
                Reason.NOT_FEASIBLE,
                Phrase("{file}: {name} taken in and left out, expected one of the two", file=file, name=f"{name!r}"),
            )
        if name not in rejected:
            found = Phrase("{name} taken in, which no spec rejects", name=f"{name!r}")
            raise CannotEvaluate(
                Reason.NOT_FEASIBLE, Phrase("{file}: {found}: it is used as it is", file=file, found=found)
            )


def reasons(verdicts: Iterable[Verdict], decision: str) -> dict[str, str]:
    """Springs with a verdict of this kind, and what it was about, in the file's order."""
    found: dict[str, list[str]] = {}
    for verdict in verdicts:
        if verdict.decision == decision:
            found.setdefault(verdict.item, []).append(_told(verdict))
    return {name: listed(parts) for name, parts in found.items()}


def _told(verdict: Verdict) -> str:
    """`seat force 221.3 N, at least 235.0 N`."""
    name = Phrase(verdict.characteristic.replace("_", " "))
    if verdict.measured is None:
        return listed((name, verdict.reason or Phrase("not known")), ": ")
    places = 1 if verdict.unit in {"N", "MPa", "Hz"} else 3

    def shown(value: float) -> str:
        return f"{show(value, verdict.unit, 'metric', places)} {verdict.unit}"

    if verdict.lower is not None and verdict.measured < verdict.lower:
        return Phrase(
            "{name} {found}, at least {least}", name=name, found=shown(verdict.measured), least=shown(verdict.lower)
        )
    if verdict.upper is not None and verdict.measured > verdict.upper:
        return Phrase(
            "{name} {found}, at most {most}", name=name, found=shown(verdict.measured), most=shown(verdict.upper)
        )
    return listed((name, shown(verdict.measured)), " ")
