"""What a limit of a spec says: its ends in the characteristic's own unit, and which angle an event is meant on.

`opening` and `closing` are two things of one name: a place on the lift table's own angle, and an event counted from the
dead centre that the trade counts it from. The words of the limit tell them apart: "cam deg" is the table's angle;
"crank deg", "9 deg BTDC" and `lift_at` or `valves` beside it are the event. A bare number is what the inspection asked
calls by that name.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import Literal

from valvelab.errors import BadQuantity, BadSpec
from valvelab.frozen import frozen
from valvelab.inspection.characteristics import Characteristic, Subject, named, nearest
from valvelab.phasing.timing import DeadCentre, named_dead_centre, typed_event
from valvelab.phrase import Phrase
from valvelab.records.spec import LimitSpec, Quantity, Selection
from valvelab.units import bounded, parse_angle, parse_quantity, split_quantity

Where = Literal["follower", "valve"]
Ends = tuple[float | None, float | None]

EVENTS = frozenset({"opening", "closing"})


@frozen
class Limit:
    """One limit in the unit of its characteristic; at_mm: the lift or height it holds at.

    dead_centre: what an event was counted from, None where its words don't say. bare: an event whose words leave open
    which angle is meant.
    """

    number: int
    stated: LimitSpec
    characteristic: Characteristic
    ends: Ends
    at_mm: float | None
    dead_centre: DeadCentre | None = None
    bare: bool = False

    @property
    def field(self) -> str:
        """Where it stands in the spec."""
        return f"[[limit]] {self.number}"

    @property
    def selection(self) -> Selection:
        """The items it is on; on valves they may be named by their lobes."""
        stated, subject = self.stated, self.characteristic.subject
        if subject in {"valve", "event"}:
            return stated.lobes if stated.valves == "all" else stated.valves
        if subject == "comparison":
            return stated.springs if stated.lobes == "all" else stated.lobes
        by_subject = {"lobe": stated.lobes, "spring": stated.springs, "station": stated.stations}
        return by_subject.get(subject, "all")


def readings_of(number: int, stated: LimitSpec, spec_file: str) -> tuple[Limit, ...]:
    """Every way a limit can be meant, one a characteristic of its name; mostly one.

    Raises BadSpec for an unknown name, a wrong unit, a size below 0, a value beyond what a part has, ends that are the
    wrong way round, words that contradict each other.
    """
    return tuple(_readings(named(stated.of), number, stated, spec_file))


def nearest_readings(number: int, stated: LimitSpec, spec_file: str) -> Iterator[Limit]:
    """The same one by one, those of tables at hand first: who takes the first that fits loads no other table."""
    return _readings(nearest(stated.of), number, stated, spec_file)


def _readings(rows: Iterable[Characteristic], number: int, stated: LimitSpec, spec_file: str) -> Iterator[Limit]:
    field = f"[[limit]] {number}"
    known = found = False
    refused: BadQuantity | None = None
    for row in rows:
        known = True
        try:
            limit = _read(number, stated, row) if _can_mean(stated, row) else None
        except BadQuantity as error:
            refused = error
            continue
        if limit is not None:
            found = True
            _check(limit, spec_file)
            yield limit
    if not known:
        raise BadSpec(
            spec_file, field, Phrase("of = {of}", of=f"{stated.of!r}"), "a name listed by `valvelab characteristics`"
        )
    if refused is not None and not found:
        raise BadSpec(spec_file, f"{field} {refused.field}", refused.found, refused.expected)
    if not found:
        raise BadSpec(
            spec_file, f"{field} {stated.of}", "cam deg beside valves or lift_at", "an angle from dead centre"
        )


def _check(limit: Limit, spec_file: str) -> None:
    stated = limit.stated
    if stated.lift_at is not None and stated.of not in EVENTS:
        raise BadSpec(
            spec_file,
            f"{limit.field} lift_at",
            Phrase("it beside of = {of}", of=f"{stated.of!r}"),
            "opening or closing",
        )
    if limit.characteristic.needs_at == "lift" and limit.at_mm is None:
        raise BadSpec(spec_file, limit.field, Phrase("{of} without `at`", of=stated.of), "the lift it is judged at")


def meant_here(limits: Iterable[Limit], answers: Callable[[Subject, str], bool], where: Where | None) -> Limit | None:
    """The reading that an inspection answers; `where`: whose lift its events are at."""
    for limit in limits:
        if not answers(limit.characteristic.subject, limit.stated.of):
            continue
        if limit.characteristic.subject != "event" or whose_lift(limit.stated) in {None, where}:
            return limit
    return None


def whose_lift(stated: LimitSpec) -> Where | None:
    """Whose lift an event's `at` is, where the limit says so."""
    return stated.lift_at or ("valve" if stated.valves != "all" else None)


def _can_mean(stated: LimitSpec, row: Characteristic) -> bool:
    if stated.of not in EVENTS:
        return True
    angle = _angle_meant(stated)
    if row.subject == "event":
        return angle != "table"
    return angle != "event" and whose_lift(stated) is None


def _angle_meant(stated: LimitSpec) -> Literal["table", "event"] | None:
    """The angle that the words of an event's limit name; refuses both in one limit."""
    said: dict[str, Literal["table", "event"]] = {}
    for key in ("nominal", "min", "max"):
        value = getattr(stated, key)
        if not isinstance(value, str):
            continue
        if named_dead_centre(value) or "crank" in value.lower().split():
            said[key] = "event"
        elif "cam" in value.lower().split():
            said[key] = "table"
    if len(set(said.values())) > 1:
        raise BadQuantity(
            " and ".join(said), "an angle of the lift table beside one from dead centre", "one of the two"
        )
    return next(iter(said.values()), None)


def _read(number: int, stated: LimitSpec, row: Characteristic) -> Limit:
    centres = {centre for key in ("nominal", "min", "max") if (centre := named_dead_centre(getattr(stated, key)))}
    if len(centres) > 1:
        raise BadQuantity(stated.of, "top and bottom dead centre in one limit", "one of the two")
    bare = stated.of in EVENTS and _angle_meant(stated) is None and whose_lift(stated) is None
    return Limit(number, stated, row, ends(stated, row, stated.of), stated.at_mm, next(iter(centres), None), bare)


def ends(limit: LimitSpec, characteristic: Characteristic, field: str) -> Ends:
    """Lower and upper end of a limit, in the characteristic's unit; BadQuantity where they can't be."""

    def value(quantity: Quantity | None, name: str) -> float | None:
        return None if quantity is None else limit_value(quantity, characteristic, f"{field} {name}")

    def size(quantity: Quantity | None, name: str) -> float | None:
        found = value(quantity, name)
        if found is not None and (found < 0.0 or named_dead_centre(quantity) is not None):
            raise BadQuantity(f"{field} {name}", f"{quantity!r}", "a size of 0 or more, to that side of the nominal")
        return found

    nominal = value(limit.nominal, "nominal")
    if nominal is None:
        lower, upper = value(limit.min, "min"), value(limit.max, "max")
    else:
        below, above = size(limit.below, "below"), size(limit.above, "above")
        lower = None if below is None else nominal - below
        upper = None if above is None else nominal + above
    if lower is not None and upper is not None and lower > upper:
        upper = _across_zero(lower, upper, characteristic, field)
    return lower, upper


def _across_zero(lower: float, upper: float, characteristic: Characteristic, field: str) -> float:
    """The upper end a turn further on, where a place on a circle has its limits either side of the circle's zero."""
    period = characteristic.period
    if period is not None and 0.0 < lower - upper < period and (upper - lower) % period < 0.5 * period:
        return lower + (upper - lower) % period
    raise BadQuantity(field, f"lower {lower:g} above upper {upper:g}", "lower at or below upper")


def limit_value(quantity: Quantity, characteristic: Characteristic, field: str) -> float:
    """A spec's quantity in the characteristic's own unit ("0.050 in", "232 crank deg", a bare number)."""
    unit, dimension = characteristic.unit, characteristic.dimension
    if dimension == "angle":
        return bounded(_angle(quantity, characteristic, field), "angle", field)
    if "/" in unit and dimension == "number" and isinstance(quantity, str):
        number, _, tail = quantity.strip().partition(" ")
        if tail.strip() not in {"", unit}:
            raise BadQuantity(field, f"unit {tail.strip()!r}", f"{unit}")
        return bounded(parse_quantity(number, "number", field), "number", field)
    value = parse_quantity(quantity, dimension, field)
    if unit != "um":
        return bounded(value, dimension, field)
    if isinstance(quantity, str) and split_quantity(quantity, field)[1]:
        value *= 1000.0
    bounded(value / 1000.0, "length", field)
    return value


def _angle(quantity: Quantity, characteristic: Characteristic, field: str) -> float:
    unit = characteristic.unit
    if characteristic.subject == "event":
        return typed_event(quantity, "opening" if characteristic.name == "opening" else "closing", field)[0]
    if unit == "deg":
        return parse_quantity(quantity, "angle", field)
    return parse_angle(quantity, "crank" if "crank" in unit else "cam", field)
