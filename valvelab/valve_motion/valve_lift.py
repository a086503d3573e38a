"""Valve lift over crank angle: lobe through rocker, less lash, less the gear's deflection.

Source: plain mechanics; the chain rule.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike

from valvelab.angles import fold, wrap_scalar
from valvelab.arrays import FloatArray, read_only
from valvelab.frozen import frozen
from valvelab.valve_motion.rocker import RatioRocker, Rocker

CRANK_STEP_DEG = 0.25
_FINE_CAM_STEP_DEG = 0.05
_STEEPEST_MM_PER_CRANK_DEG = 5.0


class LobeProfile(Protocol):
    """A fitted lobe, as far as the valve needs it."""

    @property
    def period(self) -> float | None:
        """360 for a whole turn, None for an event only, whose lift is 0 outside start…stop. Cam deg."""
        ...

    @property
    def start_cam_deg(self) -> float:
        """First angle of the fit."""
        ...

    def value(self, angle_cam_deg: ArrayLike, derivative: int = 0) -> FloatArray:
        """Lift in mm, or a derivative by cam degree. Shape as given."""
        ...


def _on_profile(profile: LobeProfile, cam_deg: FloatArray) -> FloatArray:
    """Cam angles on the turn that the profile covers."""
    if profile.period is not None:
        return cam_deg
    return profile.start_cam_deg + fold(cam_deg - profile.start_cam_deg)


@frozen
class Timing:
    """Places a lobe on the crank: its cam angle `centre_cam_deg` stands at `centreline_crank_deg` (ATDC positive).

    The lobe turns once for two turns of the crank. `Timing(0, 0)` takes cam angle as counted from gas-exchange TDC.
    """

    centre_cam_deg: float = 0.0
    centreline_crank_deg: float = 0.0

    def cam(self, crank_deg: ArrayLike) -> FloatArray:
        """Cam angle for crank angles, folded to [0, 360). Cam deg, shape as given."""
        crank = np.asarray(crank_deg, dtype=np.float64)
        return fold(self.centre_cam_deg + 0.5 * (crank - self.centreline_crank_deg))

    def crank(self, cam_deg: float) -> float:
        """Crank angle for a cam angle, in [−360, 360)."""
        return wrap_scalar(2.0 * (cam_deg - self.centre_cam_deg) + self.centreline_crank_deg, 720.0)

    def moved(self, later_crank_deg: float) -> Timing:
        """The same lobe set later on the crank."""
        return Timing(self.centre_cam_deg, self.centreline_crank_deg + later_crank_deg)


@frozen
class Gear:
    """What stands between lobe and valve. Deflection needs a stiffness; its load is the spring's alone."""

    rocker: Rocker = RatioRocker(1.0)
    lash_mm: float = 0.0
    stiffness_n_per_mm: float | None = None
    seat_force_n: float = 0.0
    rate_n_per_mm: float = 0.0

    @property
    def lost_mm(self) -> float:
        """Lift taken up before the valve leaves its seat: lash, and the gear's squeeze under the seat force."""
        squeeze = 0.0 if self.stiffness_n_per_mm is None else self.seat_force_n / self.stiffness_n_per_mm
        return self.lash_mm + squeeze

    @property
    def share(self) -> float:
        """Share of further lift that reaches the valve against the spring's rate, 1 for a rigid gear."""
        return 1.0 if self.stiffness_n_per_mm is None else 1.0 / (1.0 + self.rate_n_per_mm / self.stiffness_n_per_mm)

    def rigid(self, lash_mm: float | None = None) -> Gear:
        """The same gear without deflection, with another lash where given."""
        return Gear(self.rocker, self.lash_mm if lash_mm is None else lash_mm)


@frozen
class Motion:
    """Valve motion at crank angles, all arrays of one shape.

    `drive_mm`: valve lift without lash and deflection, its derivatives by crank degree beside it; `ratio`: valve per
    follower travel. `lift_mm` = max(0, (drive − lost) × share); velocity and acceleration are 0 where it is 0.
    """

    crank_deg: FloatArray
    cam_deg: FloatArray
    follower_lift_mm: FloatArray
    ratio: FloatArray
    drive_mm: FloatArray
    lift_mm: FloatArray
    velocity_mm_per_crank_deg: FloatArray
    acceleration_mm_per_crank_deg2: FloatArray

    @property
    def middle_crank_deg(self) -> float:
        """The angle in the middle: of a whole cycle that of the greatest follower lift."""
        return float(self.crank_deg[self.crank_deg.size // 2])

    @property
    def open(self) -> FloatArray:
        """True where the valve is off its seat. Shape (n,), no unit."""
        return np.asarray(self.lift_mm > 0.0)


def valve_motion(profile: LobeProfile, gear: Gear, timing: Timing, crank_deg: ArrayLike) -> Motion:
    """Valve lift, velocity and acceleration at crank angles, by the chain rule from the fitted lobe.

    v = max(0, curve(s) − lash − F/K) with the spring force F = seat + rate · v, which is linear in v and solved
    exactly. Refuses what the rocker refuses. Plain mechanics.
    """
    crank = np.atleast_1d(np.asarray(crank_deg, dtype=np.float64))
    cam = timing.cam(crank)
    on_profile = _on_profile(profile, cam)
    s, s_1, s_2 = (np.asarray(profile.value(on_profile, order), dtype=np.float64) for order in (0, 1, 2))
    curve = gear.rocker.curve(s)
    free = (curve.valve_lift_mm - gear.lost_mm) * gear.share
    off_seat = free > 0.0
    # half a cam degree a crank degree
    velocity = 0.5 * curve.ratio * s_1 * gear.share
    acceleration = 0.25 * (curve.ratio * s_2 + curve.ratio_slope_per_mm * s_1**2) * gear.share
    return Motion(
        crank_deg=read_only(crank),
        cam_deg=read_only(cam),
        follower_lift_mm=read_only(s),
        ratio=read_only(np.asarray(curve.ratio)),
        drive_mm=read_only(np.asarray(curve.valve_lift_mm)),
        lift_mm=read_only(np.where(off_seat, free, 0.0)),
        velocity_mm_per_crank_deg=read_only(np.where(off_seat, velocity, 0.0)),
        acceleration_mm_per_crank_deg2=read_only(np.where(off_seat, acceleration, 0.0)),
    )


def valve_lift(
    profile: LobeProfile, gear: Gear, timing: Timing, crank_deg: FloatArray, lash_mm: ArrayLike
) -> FloatArray:
    """The lift of `valve_motion` alone, mm, with another lash than the gear's.

    Crank angles (…, n) and lash, mm, broadcast. Refuses what the rocker refuses.
    """
    other = (np.asarray(lash_mm, dtype=np.float64) - gear.lash_mm) * gear.share
    return np.asarray(np.maximum(_free(profile, gear, timing, crank_deg) - other, 0.0))


def _free(profile: LobeProfile, gear: Gear, timing: Timing, crank_deg: FloatArray) -> FloatArray:
    """Valve lift without its cut at the seat, so that level 0 is an ordinary crossing."""
    follower = np.asarray(profile.value(_on_profile(profile, timing.cam(crank_deg)), 0), dtype=np.float64)
    return np.asarray((gear.rocker.curve(follower).valve_lift_mm - gear.lost_mm) * gear.share)


def peak_crank(profile: LobeProfile, timing: Timing) -> float:
    """Crank angle of the greatest follower lift, in [−360, 360)."""
    cam = _on_profile(profile, np.arange(0.0, 360.0, _FINE_CAM_STEP_DEG))
    lift = np.asarray(profile.value(cam, 0))
    best = int(np.argmax(lift))
    left, right = lift[best - 1], lift[(best + 1) % lift.size]
    bend = left - 2.0 * lift[best] + right
    shift = 0.0 if bend == 0.0 else float(np.clip(0.5 * (left - right) / bend, -0.5, 0.5))
    return timing.crank(float(cam[best]) + shift * _FINE_CAM_STEP_DEG)


def whole_cycle(profile: LobeProfile, gear: Gear, timing: Timing, step_crank_deg: float = CRANK_STEP_DEG) -> Motion:
    """Motion over one cycle centred on the peak, both ends included."""
    count = round(720.0 / step_crank_deg)
    centre = peak_crank(profile, timing)
    return valve_motion(profile, gear, timing, centre + np.linspace(-360.0, 360.0, count + 1))


@frozen
class Crossings:
    """Where valve lift passes a level, crank deg on one continuous axis, with the slopes there (mm/crank deg)."""

    opening_crank_deg: float | None
    closing_crank_deg: float | None
    opening_slope: float | None
    closing_slope: float | None


def crossings(
    profile: LobeProfile, gear: Gear, timing: Timing, cycle: Motion, levels_mm: Sequence[float]
) -> list[Crossings]:
    """Crossings of valve lift = each level nearest the peak on each flank, all found in one search.

    None where a flank never comes down to the level, and on both where the valve never reaches it. Level 0 is where the
    valve leaves its seat and meets it again.
    """
    levels = np.asarray(levels_mm, dtype=np.float64)[:, None]
    lift, top = (cycle.drive_mm - gear.lost_mm) * gear.share, int(np.argmax(cycle.drive_mm))
    down, index = lift <= levels, np.arange(lift.size)
    last = np.where(down[:, :top], index[:top], -1).max(axis=1, initial=-1)
    first = np.where(down[:, top:], index[top:], lift.size).min(axis=1, initial=lift.size)
    # by level and flank, the opening one first
    known = np.stack([last >= 0, first < lift.size], axis=1) & ~down[:, top, None]
    start = np.where(known, np.stack([last, first - 1], axis=1), 0)
    low, high = cycle.crank_deg[start], cycle.crank_deg[start + 1]
    for _ in range(2):
        grid = np.linspace(low, high, 33, axis=-1)
        above = _free(profile, gear, timing, grid) > levels[..., None]
        passed = above != above[..., :1]
        change = np.where(passed.any(axis=-1), passed.argmax(axis=-1), 32)[..., None]
        low, high = (np.take_along_axis(grid, change - back, axis=-1)[..., 0] for back in (1, 0))
    before, after = np.moveaxis(_free(profile, gear, timing, np.stack([low, high], axis=-1)) - levels[..., None], -1, 0)
    slope = (after - before) / (high - low)
    # at the end of an event-only table the lift drops to nothing, which is no crossing
    known &= np.abs(slope) <= _STEEPEST_MM_PER_CRANK_DEG
    angle = low - np.divide(before, slope, out=np.zeros_like(low), where=slope != 0.0)
    rows = zip(np.hstack([angle, slope]).tolist(), np.hstack([known, known]).tolist(), strict=True)
    return [Crossings(*(value if stands else None for value, stands in zip(*row, strict=True))) for row in rows]
