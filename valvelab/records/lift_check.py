"""A lift-check sheet as typed in TOML: one rule, one instrument, and the valves that were read; canonical once read."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Annotated, Literal, NamedTuple

from pydantic import Field, model_validator

from valvelab.errors import BadQuantity
from valvelab.phasing.timing import DeadCentre, EventName, home_of, lobe_kind, typed_event
from valvelab.quantities import Day, Length, Name, Place, Reader, number
from valvelab.records.result import Kind
from valvelab.records.spec import DecisionRule, LimitPlace, LimitSpec, Quantity, Selection, Spec
from valvelab.records.typed import Typed
from valvelab.units import parse_quantity

ANSWERED = ("rule_lift", "opening", "closing")
"""Characteristics that a lift check judges."""
ReadingList = Literal["open", "zero"]


def _celsius(value: float | str) -> float:
    return parse_quantity(value, "temperature", "")


Temperature = Annotated[float, number(_celsius, lambda degc: -40.0 <= degc <= 150.0, "-40 to 150 degC")]
"""°C."""
Ratio = Annotated[float, Field(gt=0.1, lt=10.0)]
Angle = Annotated[float, Field(gt=0.0, le=10.0)]


class Counted(NamedTuple):
    """An event as it was typed: its number, openings before, closings after, and the dead centre if it is said."""

    number_deg: float
    dead_centre: DeadCentre | None


def event_words(event: Counted, usual: str) -> str | float:
    """Its number as the trade counts it, or the words that say from where; `usual` is B or A, for a number above 0."""
    if event.dead_centre is None:
        return event.number_deg
    side = usual if event.number_deg >= 0.0 else "AB"[usual == "A"]
    return f"{abs(event.number_deg):.10g} deg {side}{event.dead_centre}"


def _counted(which: EventName) -> Reader[Counted]:
    return Reader(lambda value: Counted(*typed_event(value, which, "")))


Opens = Annotated[Counted, _counted("opening")]
Closes = Annotated[Counted, _counted("closing")]


class Indicator(Typed):
    """The instrument at the retainer: calibration u of a difference of two readings, division, scatter of one reading.

    adopted: a gauge study's uncertainty; card: the instrument's card; both files are named from the sheet's folder.
    """

    name: str | None = None
    serial: str | None = None
    uncertainty_mm: Length | None = None
    resolution_mm: Length | None = None
    repeatability_mm: Length | None = None
    adopted: str | None = None
    card: str | None = None
    calibrated: Day | None = None
    due: Day | None = None


class TimingWheel(Typed):
    """The wheel that events were read on, zero at top dead centre: standard uncertainties in deg."""

    uncertainty_deg: Angle | None = None
    tdc_uncertainty_deg: Angle | None = None


class EventRule(Typed):
    """One row of a rule on events: the lift they are at, and between what the valve opens and closes."""

    lift_mm: LimitPlace
    opens_min: Quantity | None = None
    opens_max: Quantity | None = None
    closes_min: Quantity | None = None
    closes_max: Quantity | None = None
    valves: Selection = "all"
    clause: str | None = None

    @model_validator(mode="after")
    def _limits_something(self) -> EventRule:
        if not list(self.limits()):
            raise BadQuantity("", "no end", "opens_min, opens_max, closes_min or closes_max")
        return self

    def limits(self) -> Iterator[LimitSpec]:
        """The same as limits of a spec."""
        ends = (("opening", self.opens_min, self.opens_max), ("closing", self.closes_min, self.closes_max))
        for name, low, high in ends:
            if low is not None or high is not None:
                at = {"at_mm": self.lift_mm, "lift_at": "valve", "valves": self.valves}
                yield LimitSpec(of=name, min=low, max=high, clause=self.clause, **at)


class NotCounted(Typed):
    """A reading that does not count: which, from 1, and why."""

    reading: int
    of: ReadingList = "open"
    reason: Name


class EventReadings(Typed):
    """Wheel readings where the valve passes a lift, `"9 deg BTDC"`; a bare number counts the way the trade does."""

    lift_mm: LimitPlace
    opens: tuple[Opens, ...] = ()
    closes: tuple[Closes, ...] = ()


class LiftCheck(Typed):
    """One valve of one car, boat or engine.

    zero and open are indicator readings with the valve shut and at full lift. With `ratio` they were read at the lobe
    or lifter, rocker off, and the lift at the valve is derived.
    """

    item: Name
    entrant: str | None = None
    valve: Name
    zero_mm: tuple[Place, ...] = ()
    open_mm: tuple[Place, ...] = ()
    ratio: Ratio | None = None
    ratio_uncertainty: Annotated[float, Field(gt=0.0, lt=1.0)] | None = None
    temperature: Temperature | None = None
    event: tuple[EventReadings, ...] = ()
    set_aside: tuple[NotCounted, ...] = ()
    remark: str | None = None

    @property
    def name(self) -> str:
        """What its verdicts are on: `car 14 1I`."""
        return f"{self.item} {self.valve}"

    @property
    def kind(self) -> Kind | None:
        """Intake or exhaust, by the valve's name."""
        return lobe_kind(self.valve)

    def readings(self, of: ReadingList) -> tuple[float, ...]:
        """Readings of a list, mm."""
        return self.open_mm if of == "open" else self.zero_mm

    def aside(self, of: ReadingList) -> dict[int, str]:
        """Readings of a list that don't count, by place from 0, with the reason."""
        return {row.reading - 1: row.reason for row in self.set_aside if row.of == of}

    @model_validator(mode="after")
    def _goes_together(self) -> LiftCheck:
        for row in self.set_aside:
            count = len(self.readings(row.of))
            if not 1 <= row.reading <= count:
                raise BadQuantity("set_aside", f"{row.of} reading {row.reading}", f"one of {count} readings, from 1")
        if self.ratio_uncertainty is not None and self.ratio is None:
            raise BadQuantity("ratio_uncertainty", "it without a ratio", "ratio beside it")
        for at in self.event:
            _same_dead_centre(self.kind, "opening", at.opens)
            _same_dead_centre(self.kind, "closing", at.closes)
        return self


def _same_dead_centre(kind: Kind | None, which: EventName, events: Sequence[Counted]) -> None:
    home = None if kind is None else home_of(kind, which)
    for event in events:
        if home is not None and event.dead_centre not in {None, home}:
            found, expected = f"an angle from {event.dead_centre}", f"one from {home} for the {which} of an {kind}"
            raise BadQuantity("event", found, expected)


class LiftCheckSheet(Typed):
    """A whole sheet; every part is optional, so that it can be begun before the first car."""

    event: str | None = None
    date: Day | None = None
    inspector: str | None = None
    temperature: Temperature | None = None
    instrument: Indicator = Indicator()
    wheel: TimingWheel = TimingWheel()
    decision: DecisionRule = DecisionRule()
    limit: tuple[LimitSpec, ...] = ()
    rule: tuple[EventRule, ...] = ()
    check: tuple[LiftCheck, ...] = ()

    @model_validator(mode="after")
    def _limits_lift(self) -> LiftCheckSheet:
        for count, row in enumerate(self.limit, start=1):
            if row.of not in ANSWERED:
                raise BadQuantity(f"[[limit]] {count} of", repr(row.of), ", ".join(ANSWERED))
        seen: dict[str, int] = {}
        for count, check in enumerate(self.check, start=1):
            first = seen.setdefault(check.name.casefold(), count)
            if first != count:
                found = f"{check.name} again, as in check {first}"
                raise BadQuantity(f"[[check]] {count}", found, "each valve once, all its readings in one list")
        return self

    @property
    def spec(self) -> Spec:
        """Its rule as a spec."""
        return Spec(decision=self.decision, limit=(*self.limit, *(one for row in self.rule for one in row.limits())))

    def limit_name(self, number: int) -> str:
        """Where a limit of `spec`, from 1, stands in the sheet."""
        if number <= len(self.limit):
            return f"[[limit]] {number}"
        rows = [count for count, row in enumerate(self.rule, start=1) for _ in row.limits()]
        return f"[[rule]] {rows[number - len(self.limit) - 1]}"

    def items(self) -> tuple[str, ...]:
        """Cars, boats or engines in the order they came."""
        return tuple(dict.fromkeys(check.item for check in self.check))

    def beside(self, path: Path) -> dict[str, Path]:
        """Files that the instrument names, by their key, where they lie: from the folder of the sheet at `path`."""
        named = {"adopted": self.instrument.adopted, "card": self.instrument.card}
        return {key: path.parent / name for key, name in named.items() if name is not None}
