"""Which springs of a file may go into an engine: those that the spec does not reject."""

from __future__ import annotations

from dataclasses import dataclass

from valvelab.errors import CannotEvaluate, Reason
from valvelab.inspection.springs.analysis import Fit, SpringAnalysis
from valvelab.inspection.springs.inspect import SpringsQuestion, analyse_all, latest_stages, spring_verdicts
from valvelab.records.result import Note, Verdict, warning
from valvelab.records.springs_result import ExcludedSpring
from valvelab.units import show


@dataclass(frozen=True, slots=True)
class UsableSprings:
    """Springs that may be used, each in its last stage, those that stay out with the reason, and what to say of it."""

    fit: Fit
    analyses: tuple[SpringAnalysis, ...]
    excluded: tuple[ExcludedSpring, ...]
    notes: tuple[Note, ...]


def usable_springs(question: SpringsQuestion, *, with_rejected: bool = False) -> UsableSprings:
    """The springs of a file that its spec does not reject; undecided ones stay in and are named.

    `with_rejected` takes rejected ones in, and says so. Refused when none is left.
    """
    fit, every, notes = analyse_all(question)
    verdicts, _ = spring_verdicts(question, every)
    latest = tuple(every[number] for number in latest_stages(every))
    rejected = _reasons(verdicts, "reject")
    undecided = [name for name in _reasons(verdicts, "undecided") if name not in rejected]
    if undecided:
        notes.append(warning("undecided", f"not decided by the spec, and used: {', '.join(undecided)}"))
    if rejected and with_rejected:
        notes.append(warning("rejected", f"rejected by the spec, and used as asked: {', '.join(rejected)}"))
        rejected = {}
    excluded = tuple(ExcludedSpring(spring=name, reason=reason) for name, reason in rejected.items())
    if excluded:
        text = "; ".join(f"{one.spring} ({one.reason})" for one in excluded)
        notes.append(warning("excluded", f"rejected by the spec, so they stay out: {text}"))
    usable = tuple(analysis for analysis in latest if analysis.name not in rejected)
    if not usable:
        raise CannotEvaluate(
            Reason.NOT_FEASIBLE,
            f"{question.table.file}: the spec rejects all {len(latest)} springs, expected one or more to use",
        )
    return UsableSprings(fit, usable, excluded, tuple(notes))


def _reasons(verdicts: list[Verdict], decision: str) -> dict[str, str]:
    """Springs with a verdict of this kind, and what it was about, in the file's order."""
    found: dict[str, list[str]] = {}
    for verdict in verdicts:
        if verdict.decision == decision:
            found.setdefault(verdict.item, []).append(_told(verdict))
    return {name: ", ".join(parts) for name, parts in found.items()}


def _told(verdict: Verdict) -> str:
    """`seat force 221.3 N, at least 235.0 N`."""
    name = verdict.characteristic.replace("_", " ")
    if verdict.measured is None:
        return f"{name}: {verdict.reason or 'not known'}"
    places = 1 if verdict.unit in {"N", "MPa", "Hz"} else 3

    def shown(value: float) -> str:
        return f"{show(value, verdict.unit, 'metric', places)} {verdict.unit}"

    if verdict.lower is not None and verdict.measured < verdict.lower:
        return f"{name} {shown(verdict.measured)}, at least {shown(verdict.lower)}"
    if verdict.upper is not None and verdict.measured > verdict.upper:
        return f"{name} {shown(verdict.measured)}, at most {shown(verdict.upper)}"
    return f"{name} {shown(verdict.measured)}"
