"""Limits of a spec against measured values: one path for every kind of part."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TypeVar

from valvelab.conformity.decision import decide, nearest_branch
from valvelab.errors import BadSpec
from valvelab.frozen import frozen
from valvelab.inspection.characteristics import Row, Subject
from valvelab.inspection.limits import Ends, Limit, Where, meant_here, nearest_readings, readings_of
from valvelab.measured import Measured, missing
from valvelab.phasing.timing import home_of
from valvelab.phrase import Phrase, listed
from valvelab.pieces import in_pieces
from valvelab.records.result import Note, Result, Verdict, info, warning
from valvelab.records.spec import DecisionRule, EnvelopeSpec, LimitSpec, Selection, Spec

R = TypeVar("R", bound=Result)
ENVELOPE = "envelope"
NOT_HERE = Phrase("limits that this inspection does not answer")
"""What the note on a spec's limits on other things is about."""
_NO_OTHERS: Mapping[Subject, Collection[str]] = {}


@frozen
class Item:
    """Something limits apply to: its name, its kind, and how to look up a characteristic at a lift or height.

    `look_up(name, at_mm)` returns None where the item has no such characteristic. place: what limits call it, where
    several items are of one place: the valve 1I of many cars.
    """

    name: str
    kind: str | None
    look_up: Callable[[str, float | None], Measured | None]
    place: str = ""

    @property
    def called(self) -> str:
        """What limits call it."""
        return self.place or self.name


def item_of(name: str, kind: str | None, thing: object, rows: Iterable[Row]) -> Item:
    """A thing as what limits apply to: what the rows of its subject say of it."""
    known = {row.name: row for row in rows}

    def look_up(characteristic: str, at_mm: float | None) -> Measured | None:
        row = known.get(characteristic)
        return None if row is None else row.measured(thing, at_mm)

    return Item(name, kind, look_up)


def judge(
    spec: Spec,
    items: Mapping[Subject, Sequence[Item]],
    spec_file: str = "spec",
    only: Mapping[Subject, Collection[str]] = _NO_OTHERS,
    where: Where | None = None,
) -> tuple[list[Verdict], list[Note]]:
    """Verdicts for every limit of `spec` that this inspection answers, and one note that lists the limits it does not.

    `items` maps the subjects that it answers ("lobe", "camshaft", "spring", …) to what was measured of them; `only`
    names the characteristics of a subject where it can't derive all of them; `where`: whose lift its opening and
    closing events are at. A limit that is answered here and found nothing to judge (no such item, no value) is a row
    `undecided` with its reason. Raises BadSpec for a limit that can't be read, whatever it is on.
    """

    def answers(subject: Subject, name: str) -> bool:
        return subject in items and name in only.get(subject, (name,))

    verdicts: list[Verdict] = []
    notes: list[Note] = []
    elsewhere: list[str] = []
    for number, stated in enumerate(in_pieces(spec.limit), start=1):
        limit = meant_here(nearest_readings(number, stated, spec_file), answers, where)
        if limit is None:
            elsewhere.append(_elsewhere(readings_of(number, stated, spec_file)[0]))
            continue
        rows, said = _judged(spec.decision, limit, items[limit.characteristic.subject], spec_file)
        verdicts += rows
        notes += said
        if limit.bare:
            notes.append(info(stated.of, Phrase("{field}: {meant}", field=limit.field, meant=_taken_as(limit, where))))
    if not answers("lobe", "envelope"):
        elsewhere += [f"[[envelope]] {number}" for number in range(1, len(spec.envelope) + 1)]
    if elsewhere:
        notes.append(warning(NOT_HERE, Phrase("{names}: other inspections judge those", names=listed(elsewhere))))
    return verdicts, notes


def judged(
    result: R, notes: Iterable[Note], spec: Spec | None, items: Mapping[Subject, Sequence[Item]], spec_file: str
) -> R:
    """A result with its notes and, where there is a spec, what `judge` makes of it."""
    verdicts, said = ([], []) if spec is None else judge(spec, items, spec_file)
    return result.model_copy(update={"notes": (*notes, *said), "verdicts": tuple(verdicts)})


def _elsewhere(limit: Limit) -> str:
    return Phrase(
        "{field} {of} ({subject})", field=limit.field, of=limit.stated.of, subject=limit.characteristic.subject
    )


def _taken_as(limit: Limit, where: Where | None) -> str:
    if limit.characteristic.subject != "event":
        return Phrase(
            'a bare number counts as cam deg on the lift table\'s own zero; "cam deg" says so, "deg BTDC" another thing'
        )
    return Phrase(
        "a bare number counts as crank deg from the dead centre of the event, at the {where}'s "
        'lift; "deg BTDC" and lift_at = "{where}" say so, "cam deg" another thing',
        where=where,
    )


def _judged(
    rule: DecisionRule, limit: Limit, items: Sequence[Item], spec_file: str
) -> tuple[list[Verdict], list[Note]]:
    found: list[tuple[str, Measured]] = []
    for item in in_pieces([*selected(items, limit.selection), *_absent(items, limit.selection)]):
        _counts_from(limit, item, spec_file)
        measured = item.look_up(limit.stated.of, limit.at_mm)
        if measured is not None:
            found.append((item.name, measured))
    if not found:
        found = [
            (
                names_of(limit.selection),
                missing(Phrase("{field}: nothing that was measured answers it", field=limit.field)),
            )
        ]
    verdicts = [verdict_of(rule, limit, name, measured) for name, measured in found]
    return verdicts, [note for name, measured in found for note in _remarks(rule, limit.stated, name, measured)]


def selected(items: Iterable[Item], selection: Selection) -> list[Item]:
    """Items named by `all`, a kind (`intake`, `exhaust`, …) or a list of names."""
    if selection == "all":
        return list(items)
    if isinstance(selection, str):
        return [item for item in items if item.kind == selection]
    return [item for item in items if item.called in selection]


def _absent(items: Iterable[Item], selection: Selection) -> list[Item]:
    """Items that a limit names and nobody measured: undecided, never passed over."""
    if isinstance(selection, str):
        return []
    known = {item.called for item in items}
    gone = missing(Phrase("the spec names it, but it is not among the readings"))
    return [Item(name, None, lambda _name, _at_mm: gone) for name in dict.fromkeys(selection) if name not in known]


def names_of(selection: Selection) -> str:
    """What a selection reads as in a row of its own."""
    return selection if isinstance(selection, str) else ", ".join(selection)


def _counts_from(limit: Limit, item: Item, spec_file: str) -> None:
    """Refuses an event counted from a dead centre that the trade does not count it from."""
    kind, name = item.kind, limit.stated.of
    if limit.dead_centre is None or kind not in {"intake", "exhaust"}:
        return
    own = home_of("intake" if kind == "intake" else "exhaust", "opening" if name == "opening" else "closing")
    if own != limit.dead_centre:
        found = Phrase("an angle from {dead_centre} for {name}", dead_centre=limit.dead_centre, name=item.name)
        expected = Phrase(
            "one from {own}, from which the {name} of an {kind} is counted", own=own, name=name, kind=kind
        )
        raise BadSpec(spec_file, f"{limit.field} {limit.stated.of}", found, expected)


def verdict_of(rule: DecisionRule, limit: Limit, item: str, measured: Measured) -> Verdict:
    """One value of one item against one limit of a spec; a place on a circle on the branch nearest its limits."""
    period, value = limit.characteristic.period, measured.value
    if value is not None and period is not None:
        measured = replace(measured, value=nearest_branch(value, *limit.ends, period))
    unit = limit.characteristic.unit
    return decided(rule, limit.stated.of, item, measured, limit.ends, unit, limit.stated.clause, limit.at_mm)


def decided(
    rule: DecisionRule,
    characteristic: str,
    item: str,
    measured: Measured,
    ends: Ends,
    unit: str,
    clause: str | None = None,
    at_mm: float | None = None,
    where: str = "",
) -> Verdict:
    """The row of one value against its ends: undecided without a value, or with a doubtful one.

    where: at which places it lies outside, where it is of many.
    """
    decision = None
    if measured.value is not None and not measured.doubt:
        decision = decide(measured.value, measured.u, *ends, rule.rule, rule.confidence)
    return Verdict(
        characteristic=characteristic,
        item=item,
        at_mm=at_mm,
        measured=measured.value,
        unit=unit,
        standard_uncertainty=measured.u,
        lower=ends[0],
        upper=ends[1],
        probability_conforming=None if decision is None else decision.probability,
        decision="undecided" if decision is None else decision.outcome,
        clause=clause,
        reason=_row_reason(measured, "" if decision is None else decision.reason, where),
    )


def undecided_envelope(spec: Spec, item: str, envelope: EnvelopeSpec, reason: str) -> Verdict:
    """The row of what an envelope names and nothing answers."""
    return decided(spec.decision, ENVELOPE, item, missing(reason), (None, None), "mm", envelope.clause)


def _row_reason(measured: Measured, undecided: str = "", where: str = "") -> str | None:
    """What stands beside a verdict: why it is undecided, where it lies outside, what its uncertainty does not hold."""
    if measured.value is None:
        return measured.reason or Phrase("the value could not be derived")
    told = [text for text in (measured.doubt or undecided, where, measured.lacks) if text]
    return listed(told, "; ") or None


def _remarks(rule: DecisionRule, limit: LimitSpec, item: str, measured: Measured) -> list[Note]:
    about = f"{item} {limit.of}"
    undecided = _row_reason(measured) if measured.value is None else measured.doubt
    if undecided:
        return [warning(about, Phrase("undecided: {reason}", reason=undecided))]
    if measured.u is None and rule.rule == "guarded":
        return [warning(about, Phrase("no uncertainty is known, so the simple rule decided"))]
    return []
