"""Events at the valve at one lift, and how far the lift's uncertainty moves them."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from valvelab.angles import fold_scalar, wrap_scalar
from valvelab.inspection.engine.sides import Side
from valvelab.lobe.angle_error import Response, response, standard
from valvelab.phasing.timing import EventName, Kind, trade_event, trade_number
from valvelab.records.motion_result import ValveDuration
from valvelab.records.phasing_result import Event
from valvelab.records.train import Train
from valvelab.valve_motion.valve_lift import Crossings, crossings


def times(value: float | None, factor: float) -> float | None:
    """|value × factor|; None without a value."""
    return None if value is None else abs(value * factor)


def root_of_squares(*parts: float | None) -> float | None:
    """Root of the squares of the known parts; None where the first is not known."""
    known = [part for part in parts if part is not None]
    return math.sqrt(math.fsum(part**2 for part in known)) if known and parts[0] is not None else None


def lift_uncertainty(train: Train, side: Side, drive_mm: float) -> float | None:
    """Standard uncertainty of the lift before lash: reading × ratio, and follower lift × uncertainty of the ratio."""
    at = int(np.argmin(np.abs(side.cycle.drive_mm - drive_mm)))
    lobe_part = times(side.lobe.lift_uncertainty_mm, float(side.cycle.ratio[at]))
    return root_of_squares(lobe_part, times(train.rocker.uncertainty, float(side.cycle.follower_lift_mm[at])))


def valve_uncertainty(train: Train, side: Side, lift_mm: float) -> float | None:
    """The same of the valve's lift behind its lash; 0 where it is shut."""
    if lift_mm <= 0.0:
        return 0.0
    return root_of_squares(
        lift_uncertainty(train, side, lift_mm / side.gear.share + side.gear.lost_mm), train.lash.uncertainty_mm
    )


def valve_durations(train: Train, side: Side, levels_mm: Sequence[float]) -> tuple[ValveDuration, ...]:
    """Events and duration of one valve at some valve lifts; None where a flank never passes one."""
    found = crossings(side.lobe.profile, side.gear, side.timing, side.cycle, levels_mm)
    return tuple(_duration(train, side, level, each) for level, each in zip(levels_mm, found, strict=True))


def _duration(train: Train, side: Side, level: float, found: Crossings) -> ValveDuration:
    opening, closing = found.opening_crank_deg, found.closing_crank_deg
    both = opening is not None and closing is not None
    duration = closing - opening if opening is not None and closing is not None else None
    centre = None if not both or opening is None or closing is None else 0.5 * (opening + closing)
    return ValveDuration(
        at_mm=level,
        opening_cam_deg=_cam(side, opening),
        closing_cam_deg=_cam(side, closing),
        duration_cam_deg=None if duration is None else 0.5 * duration,
        duration_crank_deg=duration,
        centre_cam_deg=_cam(side, centre),
        opening_crank_deg=opening if side.tdc_known else None,
        closing_crank_deg=closing if side.tdc_known else None,
        opening_event=_event(side, "opening", opening),
        closing_event=_event(side, "closing", closing),
        uncertainty=_event_uncertainty(found, valve_uncertainty(train, side, level), side.lobe.encoder_cam_deg or 0.0),
    )


def _event_uncertainty(found: Crossings, u_valve: float | None, encoder_cam_deg: float) -> dict[str, float | None]:
    """By lift and angle: a lift wrong by u moves each crossing by u/slope, both outward together.

    An error of angle moves each by itself, see `lobe.angle_error`; crank angles are twice the cam's.
    """

    def one(slope: float | None) -> float | None:
        return None if slope is None or slope == 0.0 or u_valve is None else u_valve / abs(slope)

    def place(crank: float | None) -> Response:
        return response(np.array([0.0 if crank is None else 0.5 * crank]), np.array([2.0]))

    first, last = place(found.opening_crank_deg), place(found.closing_crank_deg)
    opening, closing = one(found.opening_slope), one(found.closing_slope)
    both = None if opening is None or closing is None else opening + closing
    return {
        key: None if u is None else math.hypot(u, float(standard(moved, encoder_cam_deg)[0]))
        for key, u, moved in (
            ("opening_crank_deg", opening, first),
            ("closing_crank_deg", closing, last),
            ("duration_crank_deg", both, last - first),
        )
    }


def _cam(side: Side, crank: float | None) -> float | None:
    return None if crank is None else fold_scalar(float(side.timing.cam([crank])[0]))


def _event(side: Side, which: EventName, crank: float | None) -> Event | None:
    kind = side.lobe.kind
    if crank is None or kind is None or not side.tdc_known:
        return None
    event = trade_event(kind, which, _near_home(kind, crank))
    return Event(angle=event.angle_deg, reference=event.reference)


def _near_home(kind: Kind, crank_deg: float) -> float:
    """The crank angle on the turn where the kind's events lie."""
    centre = 90.0 if kind == "intake" else -90.0
    return centre + wrap_scalar(crank_deg - centre, 720.0)


def event_number(side: Side, row: ValveDuration, which: EventName) -> float | None:
    """The event as the trade counts it, crank deg; None where it, its kind or dead centre is not known."""
    crank = row.opening_crank_deg if which == "opening" else row.closing_crank_deg
    if crank is None or side.lobe.kind is None:
        return None
    return trade_number(side.lobe.kind, which, _near_home(side.lobe.kind, crank))
