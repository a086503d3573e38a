"""Limits of a spec against measured values: one path for every kind of part."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from valvelab.conformity.decision import decide
from valvelab.errors import BadQuantity, BadSpec
from valvelab.inspection.characteristics import Characteristic, by_name
from valvelab.records.result import Note, Verdict, warning
from valvelab.records.spec import LimitSpec, Quantity, Selection, Spec
from valvelab.units import parse_angle, parse_quantity, split_quantity


@dataclass(frozen=True, slots=True)
class Measured:
    """A value with its standard uncertainty, in the characteristic's unit; None with the reason it is missing.

    doubt: why the reading itself is doubtful, so that no verdict may rest on it. lacks: a source of uncertainty
    that matters and is unknown; the verdict stands, its row says so.
    """

    value: float | None
    standard_uncertainty: float | None = None
    reason: str = ""
    doubt: str = ""
    lacks: str = ""


@dataclass(frozen=True, slots=True)
class Item:
    """Something limits apply to: its name, its kind, and how to look up a characteristic at a lift or height.

    `look_up(name, at_mm)` returns None where the item has no such characteristic.
    """

    name: str
    kind: str | None
    look_up: Callable[[str, float | None], Measured | None]


def limit_value(quantity: Quantity, characteristic: Characteristic, field: str) -> float:
    """A spec's quantity in the characteristic's own unit ("0.050 in", "232 crank deg", a bare number)."""
    unit = characteristic.unit
    if characteristic.dimension == "angle":
        return parse_angle(quantity, "crank" if "crank" in unit else "cam", field)
    if "/" in unit and characteristic.dimension == "number" and isinstance(quantity, str):
        number, _, tail = quantity.strip().partition(" ")
        if tail.strip() not in {"", unit}:
            raise BadQuantity(field, f"unit {tail.strip()!r}", f"{unit}")
        return parse_quantity(number, "number", field)
    value = parse_quantity(quantity, characteristic.dimension, field)
    if unit == "um" and isinstance(quantity, str) and split_quantity(quantity, field)[1]:
        return value * 1000.0
    return value


def ends(limit: LimitSpec, characteristic: Characteristic, field: str) -> tuple[float | None, float | None]:
    """Lower and upper end of a limit, in the characteristic's unit."""

    def value(quantity: Quantity | None, name: str) -> float | None:
        return None if quantity is None else limit_value(quantity, characteristic, f"{field} {name}")

    nominal = value(limit.nominal, "nominal")
    if nominal is None:
        lower, upper = value(limit.min, "min"), value(limit.max, "max")
    else:
        below, above = value(limit.below, "below"), value(limit.above, "above")
        lower = None if below is None else nominal - abs(below)
        upper = None if above is None else nominal + abs(above)
    if lower is not None and upper is not None and lower > upper:
        raise BadQuantity(field, f"lower {lower:g} above upper {upper:g}", "lower at or below upper")
    return lower, upper


def selected(items: Iterable[Item], selection: Selection) -> list[Item]:
    """Items named by `all`, a kind (`intake`, `exhaust`, …) or a list of names."""
    if selection == "all":
        return list(items)
    if isinstance(selection, str):
        return [item for item in items if item.kind == selection]
    return [item for item in items if item.name in selection]


def judge(
    spec: Spec,
    items: dict[str, list[Item]],
    spec_file: str = "spec",
    concerns: Callable[[LimitSpec], bool] | None = None,
) -> tuple[list[Verdict], list[Note]]:
    """Verdicts for every limit of `spec` that concerns one of the given subjects.

    `items` maps a subject ("lobe", "camshaft", "spring", "station", …) to its items. A limit whose subject is
    not among them is passed over, and so is one that `concerns` declines: one spec serves the camshaft, the springs
    and the phasing. A value that is missing
    is undecided, with the reason in a note. Raises BadSpec for an unknown characteristic or a wrong dimension.
    """
    verdicts: list[Verdict] = []
    notes: list[Note] = []
    for number, limit in enumerate(spec.limit, start=1):
        field = f"[[limit]] {number}"
        characteristic = by_name(limit.of)
        if characteristic is None:
            raise BadSpec(spec_file, field, f"of = {limit.of!r}", "a name listed by `valvelab characteristics`")
        if characteristic.subject not in items or (concerns is not None and not concerns(limit)):
            continue
        try:
            lower, upper = ends(limit, characteristic, limit.of)
            at_mm = None if limit.at is None else parse_quantity(limit.at, "length", f"{limit.of} at")
        except BadQuantity as error:
            raise BadSpec(spec_file, f"{field} {error.field}", error.found, error.expected) from None
        if at_mm is not None and at_mm <= 0.0:
            raise BadSpec(spec_file, f"{field} at", f"{limit.at!r}", "a lift or height above 0")
        if characteristic.needs_at == "lift" and at_mm is None:
            raise BadSpec(spec_file, field, f"{limit.of} without `at`", "the lift it is judged at")
        selection = _selection(limit, characteristic)
        chosen = selected(items[characteristic.subject], selection)
        if not chosen and isinstance(selection, str):
            notes.append(warning(limit.of, f"{field}: nothing measured is selected by {selection!r}"))
        for item in [*chosen, *_absent(items[characteristic.subject], selection)]:
            measured = item.look_up(limit.of, at_mm)
            if measured is None:
                continue
            verdicts.append(_verdict(spec, limit, characteristic, item, measured, (lower, upper), at_mm))
            notes.extend(_remarks(spec, limit, item, measured))
    return verdicts, notes


def _absent(items: Iterable[Item], selection: Selection) -> list[Item]:
    """Items that a limit names and nobody measured: undecided, never passed over."""
    if isinstance(selection, str):
        return []
    known = {item.name for item in items}
    return [Item(name, None, _not_there) for name in selection if name not in known]


def _not_there(_name: str, _at_mm: float | None) -> Measured:
    return Measured(None, None, "the spec names it, but it is not among the readings")


def _selection(limit: LimitSpec, characteristic: Characteristic) -> Selection:
    by_subject: dict[str, Selection] = {
        "lobe": limit.lobes, "spring": limit.springs, "station": limit.stations, "valve": limit.valves,
    }  # fmt: skip
    selection = by_subject.get(characteristic.subject, "all")
    if characteristic.subject == "valve" and selection == "all":
        return limit.lobes
    return selection


def _verdict(
    spec: Spec,
    limit: LimitSpec,
    characteristic: Characteristic,
    item: Item,
    measured: Measured,
    limits: tuple[float | None, float | None],
    at_mm: float | None,
) -> Verdict:
    decision = None
    if measured.value is not None and not measured.doubt:
        decision = decide(
            measured.value, measured.standard_uncertainty, *limits, spec.decision.rule, spec.decision.confidence
        )
    return Verdict(
        characteristic=limit.of,
        item=item.name,
        at_mm=at_mm,
        measured=measured.value,
        unit=characteristic.unit,
        standard_uncertainty=measured.standard_uncertainty,
        lower=limits[0],
        upper=limits[1],
        probability_conforming=None if decision is None else decision.probability,
        decision="undecided" if decision is None else decision.outcome,
        clause=limit.clause,
        reason=_row_reason(measured),
    )


def _row_reason(measured: Measured) -> str | None:
    """What stands beside a verdict: why it is undecided, or what its uncertainty does not hold."""
    if measured.value is None:
        return measured.reason or "the value could not be derived"
    return measured.doubt or measured.lacks or None


def _remarks(spec: Spec, limit: LimitSpec, item: Item, measured: Measured) -> list[Note]:
    about = f"{item.name} {limit.of}"
    if measured.value is None:
        return [warning(about, f"undecided: {_row_reason(measured)}")]
    if measured.doubt:
        return [warning(about, f"undecided: {measured.doubt}")]
    if measured.standard_uncertainty is None and spec.decision.rule == "guarded":
        return [warning(about, "no uncertainty is known, so the simple rule decided")]
    return []
