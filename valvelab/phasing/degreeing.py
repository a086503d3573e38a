"""A degree-wheel sheet worked out: true dead centre, events, centrelines, correction.

Source: common practice of degreeing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from valvelab.angles import fold_scalar, wrap_scalar
from valvelab.errors import CannotEvaluate
from valvelab.phasing.centreline import EqualLiftPair, combined_middle
from valvelab.phasing.dead_centre import DeadCentre, find_dead_centre
from valvelab.phasing.timing import (
    Kind,
    WheelSense,
    crank_angle,
    lobe_kind,
    lobe_separation,
    nearest_step,
    nose_middle,
    opening_and_closing,
    single_event,
)
from valvelab.phasing.timing import advance as camshaft_advance


@dataclass(frozen=True, slots=True)
class EventReading:
    """Wheel readings where the follower passes `lift_mm`; None where not yet read."""

    lobe: str
    lift_mm: float
    opening_deg: float | None = None
    closing_deg: float | None = None


@dataclass(frozen=True, slots=True)
class NosePair:
    """Wheel readings at equal lift either side of the nose, `below_peak_mm` under the peak."""

    lobe: str
    below_peak_mm: float
    rising_deg: float | None = None
    falling_deg: float | None = None


@dataclass(frozen=True, slots=True)
class CardDuration:
    """A duration that was ordered."""

    lobe: str
    at_mm: float
    value_crank_deg: float


@dataclass(frozen=True, slots=True)
class Card:
    """What was ordered; centrelines as the card has them: intake ATDC, exhaust BTDC."""

    intake_centreline_deg: float | None = None
    exhaust_centreline_deg: float | None = None
    durations: tuple[CardDuration, ...] = ()


@dataclass(frozen=True, slots=True)
class SetAside:
    """A wheel reading that was taken and does not count: of what, and why."""

    of: str
    reading_deg: float
    reason: str


@dataclass(frozen=True, slots=True)
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


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with its standard uncertainty (None where the wheel's is not known)."""

    value: float
    standard_uncertainty: float | None = None


@dataclass(frozen=True, slots=True)
class LobeEvents:
    """Events of one lobe at one lift on the crank axis; None where the readings don't give it."""

    at_mm: float
    opening_crank_deg: float | None
    closing_crank_deg: float | None
    duration: Estimate | None
    event_uncertainty_deg: float | None


@dataclass(frozen=True, slots=True)
class LobePhasing:
    """One lobe: centreline (intake positive ATDC, exhaust negative) and what it was taken from."""

    lobe: str
    kind: Kind | None
    centreline: Estimate | None
    centreline_from: Literal["near_peak", "events"] | None
    middle: Estimate | None
    near_peak_middle_deg: float | None
    event_middle_deg: float | None
    events: tuple[LobeEvents, ...]


@dataclass(frozen=True, slots=True)
class StepOutcome:
    """What one step of the adjuster would give; positive advances the camshaft."""

    step_crank_deg: float
    intake_centreline_deg: float | None
    exhaust_centreline_deg: float | None
    advance_crank_deg: float | None
    remaining_crank_deg: float


@dataclass(frozen=True, slots=True)
class Degreeing:
    """Everything a sheet gives; None where its readings don't reach."""

    dead_centre: DeadCentre | None
    lobes: tuple[LobePhasing, ...]
    intake_centreline: Estimate | None
    exhaust_centreline: Estimate | None
    lobe_separation: Estimate | None
    advance: Estimate | None
    overlaps: tuple[tuple[float, Estimate], ...]
    correction: Estimate | None
    correction_from: Kind | None
    nearest_step_deg: float | None
    outcomes: tuple[StepOutcome, ...]


def degree(sheet: Sheet) -> Degreeing:
    """Work out a sheet; what its readings can't give is None. The readings themselves are not judged here."""
    try:
        centre = find_dead_centre(sheet.stop_deg, sheet.wheel_uncertainty_deg)
    except CannotEvaluate:
        centre = None
    names = dict.fromkeys([*(e.lobe for e in sheet.events), *(p.lobe for p in sheet.pairs)])
    lobes = tuple(_lobe(sheet, name, centre) for name in names)
    u_tdc = None if centre is None else centre.standard_uncertainty_deg
    intake, exhaust = _kind_middle(lobes, "intake"), _kind_middle(lobes, "exhaust")
    intake_line = _with_dead_centre(intake, u_tdc, 1.0) if centre else None
    exhaust_line = _with_dead_centre(exhaust, u_tdc, -1.0) if centre else None
    correction, source = _correction(sheet.card, intake_line, exhaust_line)
    both = intake is not None and exhaust is not None
    u_half = _half(intake, exhaust)
    separation = advance = None
    if intake is not None and exhaust is not None:
        separation = Estimate(0.5 * fold_scalar(intake.value - exhaust.value), u_half)
    if intake_line is not None and exhaust_line is not None and both:
        advance = Estimate(
            camshaft_advance(intake_line.value, exhaust_line.value), None if u_half is None else _root(u_half, u_tdc)
        )
        separation = Estimate(lobe_separation(intake_line.value, exhaust_line.value), u_half)
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
        nearest_step_deg=None if correction is None else nearest_step(correction.value, sheet.steps_deg),
        outcomes=_outcomes(sheet, correction, intake_line, exhaust_line, advance),
    )


def _root(*parts: float | None) -> float:
    return math.sqrt(math.fsum(part**2 for part in parts if part is not None))


def _half(first: Estimate | None, second: Estimate | None) -> float | None:
    if first is None or second is None or first.standard_uncertainty is None or second.standard_uncertainty is None:
        return None
    return 0.5 * _root(first.standard_uncertainty, second.standard_uncertainty)


def _with_dead_centre(middle: Estimate | None, u_tdc: float | None, sign: float) -> Estimate | None:
    if middle is None:
        return None
    u = middle.standard_uncertainty
    return Estimate(sign * middle.value, None if u is None else _root(u, u_tdc))


def _lobe(sheet: Sheet, name: str, centre: DeadCentre | None) -> LobePhasing:
    kind = lobe_kind(name)
    offset = 0.0 if centre is None else centre.reading_deg
    events = tuple(_events(sheet, name, kind, centre, lift) for lift in _lifts(sheet, name))
    near = _near_peak_pairs(sheet, name, kind, offset)
    wide = _event_pairs(sheet, name, kind, offset)
    near_middle = combined_middle(near, True, sheet.wheel_uncertainty_deg) if near else None
    wide_middle = combined_middle(wide, False, sheet.wheel_uncertainty_deg) if wide else None
    chosen = near_middle or wide_middle
    middle = None if chosen is None else Estimate(*chosen)
    known = centre is not None and kind is not None
    return LobePhasing(
        lobe=name,
        kind=kind,
        centreline=_with_dead_centre(middle, centre.standard_uncertainty_deg, 1.0) if centre and known else None,
        centreline_from=None if chosen is None else ("near_peak" if near else "events"),
        middle=middle,
        near_peak_middle_deg=None if near_middle is None else near_middle[0],
        event_middle_deg=None if wide_middle is None else wide_middle[0],
        events=events,
    )


def _lifts(sheet: Sheet, name: str) -> list[float]:
    return sorted({event.lift_mm for event in sheet.events if event.lobe == name})


def circle_mean(readings_deg: Sequence[float]) -> float:
    """Mean of readings that lie close together on the wheel, on the turn of the first. Deg."""
    first = readings_deg[0]
    return first + math.fsum(wrap_scalar(reading - first) for reading in readings_deg) / len(readings_deg)


def _given(values: Iterable[float | None]) -> list[float]:
    return [value for value in values if value is not None]


def _events(sheet: Sheet, name: str, kind: Kind | None, centre: DeadCentre | None, lift: float) -> LobeEvents:
    rows = [event for event in sheet.events if event.lobe == name and event.lift_mm == lift]
    openings = _given(row.opening_deg for row in rows)
    closings = _given(row.closing_deg for row in rows)
    offset = 0.0 if centre is None else centre.reading_deg
    opening = crank_angle(circle_mean(openings), offset, sheet.sense) if openings else None
    closing = crank_angle(circle_mean(closings), offset, sheet.sense) if closings else None
    u = sheet.wheel_uncertainty_deg
    duration = None
    if opening is not None and closing is not None:
        u_duration = None if u is None else _root(u / math.sqrt(len(openings)), u / math.sqrt(len(closings)))
        duration = Estimate(fold_scalar(closing - opening), u_duration)
        if kind is not None:
            opening, closing = opening_and_closing(kind, opening, closing)
    elif kind is not None:
        opening = None if opening is None else single_event(kind, "opening", opening)
        closing = None if closing is None else single_event(kind, "closing", closing)
    if centre is None or kind is None:
        opening = closing = None
    u_event = None
    if u is not None and centre is not None:
        u_event = _root(
            u / math.sqrt(max(1, min(len(openings) or 1, len(closings) or 1))), centre.standard_uncertainty_deg
        )
    return LobeEvents(lift, opening, closing, duration, u_event)


def _near_peak_pairs(sheet: Sheet, name: str, kind: Kind | None, offset: float) -> list[EqualLiftPair]:
    drops = sorted({pair.below_peak_mm for pair in sheet.pairs if pair.lobe == name})
    found = []
    for drop in drops:
        rows = [pair for pair in sheet.pairs if pair.lobe == name and pair.below_peak_mm == drop]
        risings, fallings = _given(row.rising_deg for row in rows), _given(row.falling_deg for row in rows)
        if risings and fallings:
            rising = crank_angle(circle_mean(risings), offset, sheet.sense)
            falling = crank_angle(circle_mean(fallings), offset, sheet.sense)
            half = 0.5 * abs(wrap_scalar(falling - rising))
            found.append(
                EqualLiftPair(drop, nose_middle(kind, rising, falling), half, min(len(risings), len(fallings)))
            )
    return found


def _event_pairs(sheet: Sheet, name: str, kind: Kind | None, offset: float) -> list[EqualLiftPair]:
    found = []
    for lift in _lifts(sheet, name):
        rows = [event for event in sheet.events if event.lobe == name and event.lift_mm == lift]
        openings, closings = _given(row.opening_deg for row in rows), _given(row.closing_deg for row in rows)
        if openings and closings:
            opening = crank_angle(circle_mean(openings), offset, sheet.sense)
            duration = fold_scalar(crank_angle(circle_mean(closings), offset, sheet.sense) - opening)
            middle = opening + 0.5 * duration
            centre = nose_middle(kind, middle, middle)
            found.append(EqualLiftPair(lift, centre, 0.5 * duration, min(len(openings), len(closings))))
    return found


def _kind_middle(lobes: Sequence[LobePhasing], kind: Kind) -> Estimate | None:
    middles = [lobe.middle for lobe in lobes if lobe.kind == kind and lobe.middle is not None]
    if not middles:
        return None
    value = math.fsum(middle.value for middle in middles) / len(middles)
    parts = [middle.standard_uncertainty for middle in middles]
    if any(part is None for part in parts):
        return Estimate(value)
    return Estimate(value, _root(*parts) / len(middles))


def _overlaps(sheet: Sheet) -> tuple[tuple[float, Estimate], ...]:
    found = []
    for lift in sorted({event.lift_mm for event in sheet.events}):
        rows = [event for event in sheet.events if event.lift_mm == lift]
        opening = _given(row.opening_deg for row in rows if lobe_kind(row.lobe) == "intake")
        closing = _given(row.closing_deg for row in rows if lobe_kind(row.lobe) == "exhaust")
        if opening and closing:
            span = wrap_scalar(circle_mean(closing) - circle_mean(opening))
            u = sheet.wheel_uncertainty_deg
            u_span = None if u is None else _root(u / math.sqrt(len(opening)), u / math.sqrt(len(closing)))
            found.append((lift, Estimate(-span if sheet.sense == "reverse" else span, u_span)))
    return tuple(found)


def _correction(card: Card, intake: Estimate | None, exhaust: Estimate | None) -> tuple[Estimate | None, Kind | None]:
    if intake is not None and card.intake_centreline_deg is not None:
        return Estimate(intake.value - card.intake_centreline_deg, intake.standard_uncertainty), "intake"
    if exhaust is not None and card.exhaust_centreline_deg is not None:
        return Estimate(card.exhaust_centreline_deg - exhaust.value, exhaust.standard_uncertainty), "exhaust"
    return None, None


def _outcomes(
    sheet: Sheet,
    correction: Estimate | None,
    intake: Estimate | None,
    exhaust: Estimate | None,
    advance: Estimate | None,
) -> tuple[StepOutcome, ...]:
    if correction is None:
        return ()
    return tuple(
        StepOutcome(
            step_crank_deg=step,
            intake_centreline_deg=None if intake is None else intake.value - step,
            exhaust_centreline_deg=None if exhaust is None else exhaust.value + step,
            advance_crank_deg=None if advance is None else advance.value + step,
            remaining_crank_deg=correction.value - step,
        )
        for step in sheet.steps_deg
    )
