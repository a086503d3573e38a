"""A degree-wheel sheet worked out: true dead centre, events, centrelines, correction.

Source: common practice of degreeing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Annotated, Literal

from valvelab.angles import fold_scalar, wrap_scalar
from valvelab.errors import CannotEvaluate
from valvelab.frozen import frozen
from valvelab.measured import Measured, missing
from valvelab.phasing.centreline import EqualLiftPair, combined_middle
from valvelab.phasing.dead_centre import DeadCentre, find_dead_centre
from valvelab.phasing.timing import (
    Kind,
    WheelSense,
    after_dead_centre,
    crank_angle,
    lobe_kind,
    lobe_separation,
    nearest_step,
    nose_middle,
    opening_and_closing,
    single_event,
)
from valvelab.phasing.timing import advance as camshaft_advance
from valvelab.phrase import Phrase
from valvelab.quantities import CRANK_ANGLE, CardAngle, Name, ReadingLift, number

WHEEL_READING = number(CRANK_ANGLE, lambda deg: -360.0 <= deg <= 720.0, "a wheel reading of -360 to 720 deg")
WHEEL_UNCERTAINTY = number(
    CRANK_ANGLE, lambda deg: 0.0 < deg <= 10.0, "a standard uncertainty above 0 and up to 10 deg"
)
WheelReading = Annotated[float, WHEEL_READING]
"""Deg on the wheel."""


@frozen
class EventReading:
    """Wheel readings where the follower passes `lift_mm`; None where not yet read."""

    lobe: Name
    lift_mm: ReadingLift
    opening_deg: WheelReading | None = None
    closing_deg: WheelReading | None = None


@frozen
class NosePair:
    """Wheel readings at equal lift either side of the nose, `below_peak_mm` under the peak."""

    lobe: Name
    below_peak_mm: ReadingLift
    rising_deg: WheelReading | None = None
    falling_deg: WheelReading | None = None


@frozen
class CardDuration:
    """A duration that was ordered."""

    lobe: str
    at_mm: ReadingLift
    value_crank_deg: CardAngle


@frozen
class Card:
    """What was ordered; centrelines as the card has them: intake ATDC, exhaust BTDC."""

    intake_centreline_deg: CardAngle | None = None
    exhaust_centreline_deg: CardAngle | None = None
    duration: tuple[CardDuration, ...] = ()

    def centreline(self, kind: Kind | None) -> float | None:
        """That of a kind of lobe, crank deg, after dead centre positive."""
        return after_dead_centre(kind, self.intake_centreline_deg, self.exhaust_centreline_deg)

    def duration_of(self, lobe: str, lift_mm: float) -> float | None:
        """That of a lobe at a lift, crank deg."""
        rows = (row for row in self.duration if row.lobe == lobe and same_lift(row.at_mm, lift_mm))
        return next((row.value_crank_deg for row in rows), None)


@frozen
class SetAside:
    """A wheel reading that was taken and does not count: of what, and why."""

    of: Name
    reading_deg: WheelReading
    reason: Name


@frozen
class Sheet:
    """All readings of one degreeing, and who took them on what, as stated. `set_aside` don't count."""

    stop_deg: tuple[float, ...] = ()
    events: tuple[EventReading, ...] = ()
    pairs: tuple[NosePair, ...] = ()
    wheel_uncertainty_deg: float | None = None
    sense: WheelSense = "forward"
    card: Card = Card()
    steps_deg: tuple[float, ...] = ()
    set_aside: tuple[SetAside, ...] = ()
    part: str | None = None
    serial: str | None = None
    operator: str | None = None
    date: str | None = None

    @property
    def repeats(self) -> dict[tuple[str, str], list[float]]:
        """Readings of one thing in deg, by lobe and what was read there."""
        taken: list[tuple[str, str, float | None]] = []
        for row in self.events:
            lift = f"{row.lift_mm:g}"
            taken.append((row.lobe, Phrase("opening at {lift} mm", lift=lift), row.opening_deg))
            taken.append((row.lobe, Phrase("closing at {lift} mm", lift=lift), row.closing_deg))
        for pair in self.pairs:
            below = f"{pair.below_peak_mm:g}"
            taken.append((pair.lobe, Phrase("rising {below} mm below the peak", below=below), pair.rising_deg))
            taken.append((pair.lobe, Phrase("falling {below} mm below the peak", below=below), pair.falling_deg))
        found: dict[tuple[str, str], list[float]] = {}
        for lobe, what, reading in taken:
            if reading is not None:
                found.setdefault((lobe, what), []).append(reading)
        return found

    def turned(self, from_deg: float, to_deg: float) -> float:
        """How far the crank turns in the running sense from one reading to another, deg in [0, 360)."""
        return fold_scalar(crank_angle(to_deg, 0.0, self.sense) - crank_angle(from_deg, 0.0, self.sense))


@frozen
class LobeEvents:
    """Events of one lobe at one lift on the crank axis, and the duration between them."""

    at_mm: float
    opening: Measured
    closing: Measured
    duration: Measured


@frozen
class LobePhasing:
    """One lobe: centreline (intake positive ATDC, exhaust negative) and what it was taken from."""

    lobe: str
    kind: Kind | None
    centreline: Measured
    centreline_from: Literal["near_peak", "events"] | None
    middle: Measured
    near_peak_middle_deg: float | None
    event_middle_deg: float | None
    events: tuple[LobeEvents, ...]

    def events_at(self, lift_mm: float) -> LobeEvents | None:
        """The events at a lift; None where it was not read there."""
        return next((row for row in self.events if same_lift(row.at_mm, lift_mm)), None)


@frozen
class StepOutcome:
    """What one step of the adjuster would give; positive advances the camshaft."""

    step_crank_deg: float
    intake_centreline_crank_deg: float | None
    exhaust_centreline_crank_deg: float | None
    advance_crank_deg: float | None
    remaining_crank_deg: float


@frozen
class Degreeing:
    """Everything a sheet gives; what its readings don't reach says so. u is None where the wheel's is not known."""

    dead_centre: DeadCentre | None
    lobes: tuple[LobePhasing, ...]
    intake_centreline: Measured
    exhaust_centreline: Measured
    lobe_separation: Measured
    advance: Measured
    overlaps: tuple[tuple[float, Measured], ...]
    correction: Measured
    correction_from: Kind | None
    nearest_step_deg: float | None
    outcomes: tuple[StepOutcome, ...]

    @property
    def tdc_offset(self) -> Measured:
        """Wheel reading at true dead centre."""
        if self.dead_centre is None:
            return missing(Phrase("needs piston-stop readings from both sides"))
        return Measured(self.dead_centre.reading_deg, self.dead_centre.standard_uncertainty_deg)

    def overlap_at(self, lift_mm: float) -> Measured:
        """Overlap at a lift."""
        none = missing(Phrase("an intake's opening and an exhaust's closing are not both read there"))
        return next((span for lift, span in self.overlaps if same_lift(lift, lift_mm)), none)


def same_lift(lift_mm: float, other_mm: float) -> bool:
    """Whether two lifts are one as they were typed."""
    return abs(lift_mm - other_mm) < 5e-4


def degree(sheet: Sheet) -> Degreeing:
    """Work out a sheet; what its readings can't give is missing. The readings themselves are not judged here."""
    try:
        centre = find_dead_centre(sheet.stop_deg, sheet.wheel_uncertainty_deg)
    except CannotEvaluate:
        centre = None
    names = dict.fromkeys([*(e.lobe for e in sheet.events), *(p.lobe for p in sheet.pairs)])
    lobes = tuple(_lobe(sheet, name, centre) for name in names)
    intake, exhaust = _kind_middle(lobes, "intake"), _kind_middle(lobes, "exhaust")
    intake_line = _from_dead_centre(intake, centre, NEEDS_INTAKE)
    exhaust_line = _from_dead_centre(exhaust.times(-1.0), centre, NEEDS_EXHAUST)
    u_half = None if intake.u is None or exhaust.u is None else 0.5 * _root(intake.u, exhaust.u)
    separation = missing(Phrase("needs a complete equal-lift pair or both events of an intake and of an exhaust"))
    advance = missing(Phrase("{reason}, and dead centre", reason=separation.reason))
    if intake.value is not None and exhaust.value is not None:
        separation = Measured(0.5 * fold_scalar(intake.value - exhaust.value), u_half)
    if centre is not None and intake_line.value is not None and exhaust_line.value is not None:
        u = None if u_half is None else _root(u_half, centre.standard_uncertainty_deg)
        advance = Measured(camshaft_advance(intake_line.value, exhaust_line.value), u)
        separation = Measured(lobe_separation(intake_line.value, exhaust_line.value), u_half)
    correction, source = _correction(sheet.card, intake_line, exhaust_line)
    return Degreeing(
        dead_centre=centre,
        lobes=lobes,
        intake_centreline=intake_line,
        exhaust_centreline=exhaust_line,
        lobe_separation=separation,
        advance=advance,
        overlaps=_overlaps(sheet),
        correction=correction,
        correction_from=source,
        nearest_step_deg=None if correction.value is None else nearest_step(correction.value, sheet.steps_deg),
        outcomes=_outcomes(sheet, correction, intake_line, exhaust_line, advance),
    )


def _root(*parts: float | None) -> float:
    return math.sqrt(math.fsum(part**2 for part in parts if part is not None))


def _from_dead_centre(middle: Measured, centre: DeadCentre | None, needs: str) -> Measured:
    """A middle that counts from dead centre; needs: what it takes."""
    if middle.value is None or centre is None:
        return missing(Phrase("{needs}, and dead centre", needs=needs))
    return replace(middle, u=None if middle.u is None else _root(middle.u, centre.standard_uncertainty_deg))


def _lobe(sheet: Sheet, name: str, centre: DeadCentre | None) -> LobePhasing:
    kind = lobe_kind(name)
    near, wide = _near_peak_pairs(sheet, name, kind, centre), _event_pairs(sheet, name, kind, centre)
    near_middle = combined_middle(near, True, sheet.wheel_uncertainty_deg) if near else None
    wide_middle = combined_middle(wide, False, sheet.wheel_uncertainty_deg) if wide else None
    chosen = near_middle or wide_middle
    needs = Phrase("needs a complete equal-lift pair or both events of {lobe}", lobe=name)
    middle = missing(needs) if chosen is None else Measured(*chosen)
    return LobePhasing(
        lobe=name,
        kind=kind,
        centreline=missing(NO_KIND) if kind is None else _from_dead_centre(middle, centre, needs),
        centreline_from=None if chosen is None else ("near_peak" if near else "events"),
        middle=middle,
        near_peak_middle_deg=None if near_middle is None else near_middle[0],
        event_middle_deg=None if wide_middle is None else wide_middle[0],
        events=tuple(_events(sheet, name, kind, centre, lift) for lift in _lifts(sheet, name)),
    )


NEEDS_INTAKE = Phrase("needs a complete equal-lift pair or both events of an intake")
NEEDS_EXHAUST = Phrase("needs a complete equal-lift pair or both events of an exhaust")
NO_KIND = Phrase("its name says neither intake nor exhaust")


def _lifts(sheet: Sheet, name: str) -> list[float]:
    return sorted({event.lift_mm for event in sheet.events if event.lobe == name})


def circle_mean(readings_deg: Sequence[float]) -> float:
    """Mean of readings that lie close together on the wheel, on the turn of the first. Deg."""
    first = readings_deg[0]
    return first + math.fsum(wrap_scalar(reading - first) for reading in readings_deg) / len(readings_deg)


def _given(values: Iterable[float | None]) -> list[float]:
    return [value for value in values if value is not None]


def _at_lift(sheet: Sheet, name: str, lift: float) -> tuple[list[float], list[float]]:
    """Readings of opening and closing of one lobe at one lift."""
    rows = [event for event in sheet.events if event.lobe == name and event.lift_mm == lift]
    return _given(row.opening_deg for row in rows), _given(row.closing_deg for row in rows)


def _crank(sheet: Sheet, readings_deg: Sequence[float], centre: DeadCentre | None) -> float | None:
    """Mean of readings on the crank axis, counted from the wheel's zero where dead centre is not known."""
    offset = 0.0 if centre is None else centre.reading_deg
    return crank_angle(circle_mean(readings_deg), offset, sheet.sense) if readings_deg else None


def _u_between(sheet: Sheet, first: Sequence[float], second: Sequence[float]) -> float | None:
    """Standard uncertainty of the difference of two means of readings."""
    u = sheet.wheel_uncertainty_deg
    return None if u is None else _root(u / math.sqrt(len(first)), u / math.sqrt(len(second)))


def _events(sheet: Sheet, name: str, kind: Kind | None, centre: DeadCentre | None, lift: float) -> LobeEvents:
    openings, closings = _at_lift(sheet, name, lift)
    opening, closing = _crank(sheet, openings, centre), _crank(sheet, closings, centre)
    duration = missing(Phrase("opening and closing are not both read there"))
    if opening is not None and closing is not None:
        duration = Measured(fold_scalar(closing - opening), _u_between(sheet, openings, closings))
        if kind is not None:
            opening, closing = opening_and_closing(kind, opening, closing)
    elif kind is not None:
        opening = None if opening is None else single_event(kind, "opening", opening)
        closing = None if closing is None else single_event(kind, "closing", closing)
    if centre is None or kind is None:
        opening = closing = None
    u = sheet.wheel_uncertainty_deg
    if u is not None and centre is not None:
        u = _root(u / math.sqrt(max(1, min(len(openings) or 1, len(closings) or 1))), centre.standard_uncertainty_deg)

    def event(which: str, crank: float | None) -> Measured:
        why = f"its {which} is not read there, or dead centre is not known" if kind is not None else NO_KIND
        return Measured.of(crank, u, why)

    return LobeEvents(lift, event("opening", opening), event("closing", closing), duration)


def _near_peak_pairs(sheet: Sheet, name: str, kind: Kind | None, centre: DeadCentre | None) -> list[EqualLiftPair]:
    found = []
    for drop in sorted({pair.below_peak_mm for pair in sheet.pairs if pair.lobe == name}):
        rows = [pair for pair in sheet.pairs if pair.lobe == name and pair.below_peak_mm == drop]
        risings, fallings = _given(row.rising_deg for row in rows), _given(row.falling_deg for row in rows)
        rising, falling = _crank(sheet, risings, centre), _crank(sheet, fallings, centre)
        if rising is not None and falling is not None:
            middle, half = nose_middle(kind, rising, falling), 0.5 * abs(wrap_scalar(falling - rising))
            found.append(EqualLiftPair(drop, middle, half, min(len(risings), len(fallings))))
    return found


def _event_pairs(sheet: Sheet, name: str, kind: Kind | None, centre: DeadCentre | None) -> list[EqualLiftPair]:
    found = []
    for lift in _lifts(sheet, name):
        openings, closings = _at_lift(sheet, name, lift)
        opening, closing = _crank(sheet, openings, centre), _crank(sheet, closings, centre)
        if opening is not None and closing is not None:
            duration = fold_scalar(closing - opening)
            middle = opening + 0.5 * duration
            nose = nose_middle(kind, middle, middle)
            found.append(EqualLiftPair(lift, nose, 0.5 * duration, min(len(openings), len(closings))))
    return found


def _kind_middle(lobes: Sequence[LobePhasing], kind: Kind) -> Measured:
    """Mean of the middles of one kind of lobe."""
    middles = [lobe.middle for lobe in lobes if lobe.kind == kind and lobe.middle.value is not None]
    if not middles:
        return missing(NEEDS_INTAKE if kind == "intake" else NEEDS_EXHAUST)
    value = math.fsum(middle.value or 0.0 for middle in middles) / len(middles)
    parts = [middle.u for middle in middles]
    return Measured(value, None if None in parts else _root(*parts) / len(middles))


def _overlaps(sheet: Sheet) -> tuple[tuple[float, Measured], ...]:
    found = []
    for lift in sorted({event.lift_mm for event in sheet.events}):
        rows = [event for event in sheet.events if event.lift_mm == lift]
        opening = _given(row.opening_deg for row in rows if lobe_kind(row.lobe) == "intake")
        closing = _given(row.closing_deg for row in rows if lobe_kind(row.lobe) == "exhaust")
        if opening and closing:
            span = wrap_scalar(circle_mean(closing) - circle_mean(opening))
            u = _u_between(sheet, opening, closing)
            found.append((lift, Measured(-span if sheet.sense == "reverse" else span, u)))
    return tuple(found)


def _correction(card: Card, intake: Measured, exhaust: Measured) -> tuple[Measured, Kind | None]:
    if intake.value is not None and card.intake_centreline_deg is not None:
        return replace(intake, value=intake.value - card.intake_centreline_deg), "intake"
    if exhaust.value is not None and card.exhaust_centreline_deg is not None:
        return replace(exhaust, value=card.exhaust_centreline_deg - exhaust.value), "exhaust"
    return missing(Phrase("needs a measured centreline and the card's")), None


def _outcomes(
    sheet: Sheet, correction: Measured, intake: Measured, exhaust: Measured, advance: Measured
) -> tuple[StepOutcome, ...]:
    def moved(found: Measured, step: float) -> float | None:
        return None if found.value is None else found.value + step

    return tuple(
        StepOutcome(step, moved(intake, -step), moved(exhaust, step), moved(advance, step), correction.value - step)
        for step in sheet.steps_deg
        if correction.value is not None
    )
