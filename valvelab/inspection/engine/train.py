"""What the inspection of the valve motion needs to know about the engine, canonical."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from valvelab.follower.contact import ContactSetting
from valvelab.follower.film import Lubricant
from valvelab.records.measurement import CHECKING_LIFTS_MM, NO_DOUBTS, Doubts
from valvelab.valve_motion.lash import Lash
from valvelab.valve_motion.rocker import RatioRocker, Rocker
from valvelab.valve_motion.valve_lift import LobeProfile

Kind = Literal["intake", "exhaust"]


@dataclass(frozen=True, slots=True)
class ContactQuestion:
    """Contact of lobe and follower; `follower` and base circle None where the lift table's count."""

    length_mm: float
    modulus_mpa: float
    base_radius_mm: float | None = None
    follower: Literal["flat", "roller"] | None = None
    roller_radius_mm: float | None = None
    oil: Lubricant | None = None
    lobe_rq_um: float | None = None
    follower_rq_um: float | None = None

    def setting(self, base_radius_mm: float, roller_radius_mm: float | None) -> ContactSetting:
        """The same with the lift table's base circle and follower filled in."""
        return ContactSetting(base_radius_mm, roller_radius_mm, self.length_mm, self.modulus_mpa)


@dataclass(frozen=True, slots=True)
class RuleReading:
    """Repeated indicator readings of one valve's lift at its retainer, mm, and the indicator's standard uncertainty.

    set_aside: readings that don't count, by their place in the list, from 0, each with the reason.
    """

    valve: str
    readings_mm: tuple[float, ...]
    uncertainty_mm: float | None = None
    set_aside: tuple[tuple[int, str], ...] = ()


@dataclass(frozen=True, slots=True)
class TrainSetting:
    """The train between lobe and piston; None where it is not stated."""

    rocker: Rocker = RatioRocker(1.0)  # noqa: RUF009 - a frozen value
    has_rocker: bool = True
    ratio_uncertainty: float | None = None
    lash: Lash = Lash()  # noqa: RUF009 - a frozen value
    lash_uncertainty_mm: float | None = None
    effective_mass_kg: float | None = None
    stiffness_n_per_mm: float | None = None
    damping_ratio: float = 0.05
    seat_stiffness_n_per_mm: float | None = None
    valve_angle_deg: float = 0.0
    seat_force_n: float | None = None
    rate_n_per_mm: float | None = None
    surge_hz: float | None = None
    bind_travel_mm: float | None = None
    throw_mm: float | None = None
    rod_mm: float | None = None
    max_speed_rpm: float | None = None
    has_timing: bool = False
    intake_centreline_deg: float | None = None
    exhaust_centreline_deg: float | None = None
    intake_clearance_mm: float | None = None
    exhaust_clearance_mm: float | None = None
    contact: ContactQuestion | None = None
    rule_readings: tuple[RuleReading, ...] = ()


@dataclass(frozen=True, slots=True)
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


@dataclass(frozen=True, slots=True)
class MotionQuestion:
    """Lobes, where their lift was taken, and the train."""

    lobes: tuple[MotionLobe, ...]
    train: TrainSetting
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
