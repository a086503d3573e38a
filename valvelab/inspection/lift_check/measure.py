"""One valve's readings at the retainer, or on the wheel, to what is judged: lift and events with their uncertainty.

Lift = mean of the open readings − mean of the shut ones, as the instrument's card corrects them;
u² = calibration² + u(open)² + u(zero)² (JCGM 100:2008, 5.1).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import field

from valvelab.arrays import rectangular_sd
from valvelab.conformity.expansion import expansion
from valvelab.conformity.instrument import Calibration, corrected_lift
from valvelab.conformity.repeats import (
    ANGLE_DIVISIONS_DEG,
    STANDING_OFF_DIVISIONS,
    Repeats,
    division_of,
    doubt_of,
    repeats_of,
    scatter_of_one,
)
from valvelab.frozen import frozen
from valvelab.measured import Measured, missing
from valvelab.phasing.timing import EventName
from valvelab.phrase import Phrase, listed
from valvelab.records.lift_check import Counted, EventReadings, LiftCheck, ReadingList, TimingWheel

NOT_READ = Phrase("no reading at full lift")
ONE_READING = Phrase("one reading tells nothing of its repeatability")
NO_CALIBRATION = Phrase("the indicator's uncertainty is not stated")
NO_RATIO_U = Phrase("the ratio's uncertainty is not stated")
NO_WHEEL = Phrase("the wheel's uncertainty is not stated")
NO_DEAD_CENTRE = Phrase("how well top dead centre was found is not stated")
LEAST_LIFT_MM, MOST_LIFT_MM = 1.0, 100.0
"""What valves open, from model engines to ships' engines; common practice, no source."""
_LISTS: dict[ReadingList, str] = {"open": Phrase("reading"), "zero": Phrase("zero reading")}


@frozen
class InstrumentInUse:
    """What is known of an indicator: calibration u of a difference of two readings, division, scatter of one; mm.

    curve: what its card says of its readings, by which they are corrected; card: the identity of that card's file.
    """

    calibration_mm: float | None = None
    resolution_mm: float | None = None
    repeatability_mm: float | None = None
    card: str = ""
    curve: Calibration | None = field(default=None, compare=False)


@frozen
class CheckedEvent:
    """Wheel readings of one event, deg as the trade counts them: their mean, and which stand off, from 0."""

    readings_deg: tuple[float, ...]
    mean: Measured
    doubtful: tuple[int, ...]


EventAt = tuple[EventName, float]
"""An event and the lift, mm, that it is at."""


@frozen
class CheckedValve:
    """What the readings of one valve say.

    lift: at the valve. open, zero: the readings at full lift and shut; None where none counts. wander_mm: how far zero
    readings lie apart where that is more than repeats do. calibration_mm, correction_mm: u of open less shut from
    calibration alone, and what the card adds to it; None where not known. outside: whether a reading lies where the
    instrument was not calibrated. events: by name and lift, mm.
    """

    check: LiftCheck
    lift: Measured
    open: Repeats | None
    zero: Repeats | None
    wander_mm: float | None
    calibration_mm: float | None
    correction_mm: float | None
    outside: bool
    events: Mapping[EventAt, CheckedEvent]

    def look_up(self, name: str, at_mm: float | None) -> Measured | None:
        """A characteristic of it; events at a lift of the valve."""
        if name == "rule_lift":
            return self.lift
        if name not in {"opening", "closing"} or at_mm is None:
            return None
        which: EventName = "opening" if name == "opening" else "closing"
        near = (found.mean for (of, lift), found in self.events.items() if of == which and math.isclose(lift, at_mm))
        return next(near, missing(Phrase("no {which} was read at {at} mm", which=which, at=f"{at_mm:g}")))


def checked(
    check: LiftCheck, instrument: InstrumentInUse, wheel: TimingWheel, temperature_degc: float | None
) -> CheckedValve:
    """What one valve's readings say; `temperature_degc` where the check states none of its own."""
    readings = (*check.open_mm, *check.zero_mm)
    division = instrument.resolution_mm or division_of(readings)

    def repeats(of: ReadingList) -> Repeats | None:
        return repeats_of(check.readings(of), sorted(check.aside(of)), division, instrument.repeatability_mm)

    opened, shut = repeats("open"), repeats("zero")
    wander = None if shut is None else _wander(shut, check.zero_mm)
    warm = temperature_degc if check.temperature is None else check.temperature
    travel = _travel(check, opened, shut, instrument)
    lift = _lift(check, opened, shut, wander, travel, instrument, expansion(warm))
    events: dict[EventAt, CheckedEvent] = {
        (which, at.lift_mm): _event(which, read, wheel) for at in check.event for which, read in both(at) if read
    }
    return CheckedValve(
        check, lift, opened, shut, wander, travel.uncertainty_mm, travel.correction_mm, travel.outside, events
    )


def both(at: EventReadings) -> tuple[tuple[EventName, tuple[Counted, ...]], ...]:
    """Openings and closings read at a lift."""
    return ("opening", at.opens), ("closing", at.closes)


@frozen
class Travel:
    """Open less shut, mm, as the instrument's card corrects it, with the u that calibration leaves in it."""

    value_mm: float | None
    uncertainty_mm: float | None
    correction_mm: float | None = None
    outside: bool = False


def _travel(check: LiftCheck, opened: Repeats | None, shut: Repeats | None, instrument: InstrumentInUse) -> Travel:
    stated = instrument.calibration_mm
    if opened is None:
        return Travel(None, stated)
    if instrument.curve is None:
        return Travel(opened.mean - (0.0 if shut is None else shut.mean), stated)
    zero = () if shut is None else [check.zero_mm[place] for place in shut.counted]
    found = corrected_lift(instrument.curve, zero, [check.open_mm[place] for place in opened.counted])
    added = found.lift_mm - (opened.mean - (0.0 if shut is None else shut.mean))
    return Travel(found.lift_mm, max(found.uncertainty_mm, stated or 0.0), added, found.outside)


def _lift(
    check: LiftCheck,
    opened: Repeats | None,
    shut: Repeats | None,
    wander_mm: float | None,
    travelled: Travel,
    instrument: InstrumentInUse,
    share: float,
) -> Measured:
    travel = travelled.value_mm
    if opened is None or travel is None:
        return missing(Phrase("every reading at full lift is set aside") if check.open_mm else NOT_READ)
    ratio = check.ratio or 1.0
    u_zero = _of_zero(opened, shut, wander_mm, instrument.repeatability_mm)
    parts = [travelled.uncertainty_mm, opened.uncertainty, u_zero]
    u_travel = math.hypot(*(part for part in parts if part is not None))
    u = math.hypot(ratio * u_travel, travel * (check.ratio_uncertainty or 0.0), ratio * travel * share)
    lacks = []
    if travelled.uncertainty_mm is None:
        lacks.append(NO_CALIBRATION)
    if len(opened.counted) == 1 and instrument.repeatability_mm is None:
        lacks.append(ONE_READING)
    if check.ratio is not None and check.ratio_uncertainty is None:
        lacks.append(NO_RATIO_U)
    doubts = [_doubt_of_size(ratio * travel), doubt_of_list(check, "open", opened), doubt_of_list(check, "zero", shut)]
    return Measured(ratio * travel, u or None, doubt=listed(filter(None, doubts), "; "), lacks=listed(lacks, "; "))


def _doubt_of_size(lift_mm: float) -> str:
    """Why readings can't be meant as they stand; empty where they can."""
    if lift_mm < 0.0:
        return Phrase(
            "open reads {value} mm less than shut: the lists are exchanged, or the dial counts the other way",
            value=f"{-lift_mm:.4g}",
        )
    if LEAST_LIFT_MM <= lift_mm <= MOST_LIFT_MM:
        return ""
    return Phrase("{lift} mm is no valve's lift: the unit, or a reading, is another one", lift=f"{lift_mm:.4g}")


def _of_zero(
    opened: Repeats, shut: Repeats | None, wander_mm: float | None, repeatability_mm: float | None
) -> float | None:
    """U of the zero: of its readings and what they wander.

    One reading alone, or a dial that was set to zero with the valve shut, says nothing of its own scatter, and scatters
    as one at full lift does: without it 95 % intervals of a 0.01 mm dial that scatters by 10 µm held 71 %.
    """
    parts = [0.0 if wander_mm is None else rectangular_sd(wander_mm)]
    if shut is None or len(shut.counted) == 1:
        parts.append(repeatability_mm or scatter_of_one(opened))
    if shut is not None:
        parts.append(shut.uncertainty or 0.0)
    elif opened.division is not None:
        parts.append(rectangular_sd(opened.division))
    return max(parts) or None


def _wander(shut: Repeats, zero_mm: Sequence[float]) -> float | None:
    """How far the zero readings that count lie apart, mm, where that is more than three divisions."""
    counted = [zero_mm[place] for place in shut.counted]
    apart = max(counted) - min(counted)
    most = STANDING_OFF_DIVISIONS * (shut.division or 0.0)
    return apart if apart > most + 1e-9 else None


def doubt_of_list(check: LiftCheck, of: ReadingList, found: Repeats | None) -> str:
    """Which readings of a list stand off, and what to do; empty where none does."""
    if found is None:
        return ""
    values = check.readings(of)
    return doubt_of(_LISTS[of], {place: f"{values[place]:g} mm" for place in found.doubtful})


def _event(which: EventName, read: Sequence[Counted], wheel: TimingWheel) -> CheckedEvent:
    """U of the mean: u² = wheel² + dead centre² + u(mean)²."""
    values = tuple(one.number_deg for one in read)
    found = repeats_of(values, repeatability=wheel.uncertainty_deg, divisions=ANGLE_DIVISIONS_DEG)
    assert found is not None
    parts = [wheel.uncertainty_deg, wheel.tdc_uncertainty_deg, found.uncertainty]
    u = math.hypot(*(part for part in parts if part is not None))
    lacks = [NO_WHEEL] if wheel.uncertainty_deg is None else []
    lacks += [NO_DEAD_CENTRE] if wheel.tdc_uncertainty_deg is None else []
    doubt = doubt_of(Phrase(f"{which} reading"), {place: f"{values[place]:g} deg" for place in found.doubtful})
    return CheckedEvent(values, Measured(found.mean, u or None, doubt=doubt, lacks=listed(lacks, "; ")), found.doubtful)
