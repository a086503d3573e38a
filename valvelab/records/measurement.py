"""Measurements as read from a file, canonical, before anything is computed from them."""

from __future__ import annotations

from dataclasses import field
from typing import Literal

from valvelab.follower.shapes import Shape
from valvelab.frozen import frozen
from valvelab.lobe.trace import Trace
from valvelab.records.result import Note, Source


@frozen
class Doubts:
    """Why angles, lifts or springs' heights may not be what they were read as; "" where nothing speaks against them."""

    angle: str = ""
    lift: str = ""
    height: str = ""

    @property
    def told(self) -> tuple[str, ...]:
        """Those that there are."""
        return tuple(filter(None, (self.angle, self.lift, self.height)))


NO_DOUBTS = Doubts()
COMPARISON_LIFT_MM = 1.27
"""0.050 in, the lift at which the trade compares lobes."""
CHECKING_LIFTS_MM = (0.15, 0.508, 1.0, COMPARISON_LIFT_MM, 5.08)
"""Lifts that durations are told at where no others are asked for: 0.15 and 1 mm, 0.020, 0.050 and 0.200 in."""


@frozen
class LiftTable:
    """A lift table: one trace a lobe and what its preamble states; None where it states nothing."""

    file: str
    traces: tuple[Trace, ...]
    source: Source
    part: str | None = None
    serial: str | None = None
    lift_at: Literal["follower", "valve"] = "follower"
    follower: Shape | None = None
    base_circle_radius_mm: float | None = None
    rotation: Literal["forward", "reverse"] = "forward"
    firing_order: tuple[int, ...] | None = None
    cylinders: int | None = None
    bank_angle_deg: float | None = None
    second_bank: tuple[int, ...] | None = None
    probe_uncertainty_mm: float | None = None
    probe_resolution_mm: float | None = None
    encoder_uncertainty_cam_deg: float | None = None
    temperature_degc: float | None = None
    operator: str | None = None
    instrument: str | None = None
    date: str | None = None
    calibration: str | None = None
    """The card that the lifts were corrected by, in one line."""
    remarks: dict[str, str] = field(default_factory=dict)
    notes: tuple[Note, ...] = ()
    doubts: Doubts = NO_DOUBTS
