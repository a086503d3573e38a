"""What the inspection of the valve motion needs to know about the engine, canonical."""

from __future__ import annotations

from typing import Literal

from valvelab.frozen import frozen
from valvelab.records.measurement import CHECKING_LIFTS_MM, NO_DOUBTS, Doubts
from valvelab.records.train import Train
from valvelab.valve_motion.valve_lift import LobeProfile

Kind = Literal["intake", "exhaust"]


@frozen
class MotionLobe:
    """One lobe as the valve sees it: fitted profile, default centre, standard uncertainties of its lift and angles.

    `guide`: the profile without its finest detail, to find extremes of curvature by; None for one in closed form.
    """

    name: str
    kind: Kind | None
    profile: LobeProfile
    centre_cam_deg: float | None
    lift_uncertainty_mm: float | None = None
    encoder_cam_deg: float | None = None
    guide: LobeProfile | None = None


@frozen
class MotionQuestion:
    """Lobes, where their lift was taken, and the train."""

    lobes: tuple[MotionLobe, ...]
    train: Train
    lift_at: Literal["follower", "valve"] = "follower"
    base_radius_mm: float | None = None
    roller_radius_mm: float | None = None
    flat_follower: bool = False
    firing_order: tuple[int, ...] | None = None
    checking_lifts_mm: tuple[float, ...] = CHECKING_LIFTS_MM
    dynamics: bool = True
    sweep_speeds: int = 28
    doubts: Doubts = NO_DOUBTS
    """What speaks against the units that the lift table was read in."""
