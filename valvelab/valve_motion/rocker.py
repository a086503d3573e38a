"""From follower lift to valve lift: a rocker by ratio, by measured points, or by its geometry.

Source: plain plane geometry of the rocker; measured points are joined by cubics.
"""

from __future__ import annotations

import math
from functools import cached_property
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike

from valvelab.arrays import FloatArray, finite
from valvelab.errors import CannotEvaluate, Reason, refuse_unless_above_zero
from valvelab.frozen import frozen
from valvelab.phrase import Phrase
from valvelab.quantities import Angle, Length, Place


@frozen
class RockerCurve:
    """Valve lift v over follower lift s without lash, with dv/ds and d²v/ds² (1/mm), at the same points."""

    valve_lift_mm: FloatArray
    ratio: FloatArray
    ratio_slope_per_mm: FloatArray


class Rocker(Protocol):
    """Anything that turns follower lift into valve lift."""

    def curve(self, follower_lift_mm: ArrayLike) -> RockerCurve:
        """Valve lift, ratio and its slope for follower lifts in mm (any shape)."""
        ...


@frozen
class RatioRocker:
    """One ratio over the whole lift; 1 for a bucket or a direct finger read at the valve."""

    ratio: float = 1.0

    def __post_init__(self) -> None:
        """Refuse a ratio that can't be one."""
        if not (math.isfinite(self.ratio) and 0.2 <= self.ratio <= 5.0):
            raise CannotEvaluate(
                Reason.OUT_OF_RANGE, Phrase("rocker ratio: found {ratio}, expected 0.2 to 5", ratio=f"{self.ratio:g}")
            )

    def curve(self, follower_lift_mm: ArrayLike) -> RockerCurve:
        """V = ratio · s."""
        s = np.asarray(follower_lift_mm, dtype=np.float64)
        return RockerCurve(self.ratio * s, np.full_like(s, self.ratio), np.zeros_like(s))


@frozen(slots=False)
class PointRocker:
    """Measured pairs of follower and valve lift, joined monotonically through (0, 0).

    A smooth cubic spline where it rises throughout, else a shape-preserving one (Fritsch and Carlson, 1980), whose
    ratio has kinks. Below zero the first ratio goes on; beyond the last point the rocker is not known and refuses.
    """

    follower_lift_mm: FloatArray
    valve_lift_mm: FloatArray

    def __post_init__(self) -> None:
        """Refuse points that don't rise."""
        s = finite(self.follower_lift_mm, "rocker follower lifts", 1)
        v = finite(self.valve_lift_mm, "rocker valve lifts", 1)
        if s.size != v.size:
            raise CannotEvaluate(Reason.BAD_VALUES, Phrase("rocker points: a follower lift without its valve lift"))
        order = np.argsort(s)
        s, v = s[order], v[order]
        if s[0] != 0.0:
            s, v = np.concatenate([[0.0], s]), np.concatenate([[0.0], v])
        if s.size < 2 or s[0] < 0.0 or not ((np.diff(s) > 0.0).all() and (np.diff(v) > 0.0).all()):
            raise CannotEvaluate(
                Reason.BAD_VALUES,
                Phrase("rocker points: expected follower lifts above 0 and valve lifts that rise with them"),
            )
        object.__setattr__(self, "follower_lift_mm", s)
        object.__setattr__(self, "valve_lift_mm", v - v[0])

    @cached_property
    def _joined(self) -> tuple[object, ...]:
        from scipy.interpolate import CubicSpline, PchipInterpolator

        s, v = self.follower_lift_mm, self.valve_lift_mm
        if s.size > 2:
            smooth = CubicSpline(s, v)
            if (smooth(np.linspace(s[0], s[-1], 50 * s.size), 1) > 0.0).all():
                return smooth, smooth.derivative(), smooth.derivative(2)
        kept = PchipInterpolator(s, v) if s.size > 2 else CubicSpline(s, v, bc_type="natural")
        return kept, kept.derivative(), kept.derivative(2)

    def curve(self, follower_lift_mm: ArrayLike) -> RockerCurve:
        """Interpolated. Raises CannotEvaluate(OUT_OF_RANGE) beyond the last measured follower lift."""
        s = np.asarray(follower_lift_mm, dtype=np.float64)
        top = float(self.follower_lift_mm[-1])
        if s.size and float(s.max()) > top * (1.0 + 1e-9) + 1e-6:
            raise CannotEvaluate(
                Reason.OUT_OF_RANGE,
                Phrase(
                    "rocker points end at {top} mm of follower lift, the lobe lifts {max} mm",
                    top=f"{top:g}",
                    max=f"{float(s.max()):.3f}",
                ),
            )
        inside = np.clip(s, 0.0, top)
        value, first, second = (np.asarray(f(inside), dtype=np.float64) for f in self._joined)  # type: ignore[operator]
        below = np.minimum(s, 0.0)
        return RockerCurve(value + first * below, first, np.where(s < 0.0, 0.0, second))


@frozen
class GeometryRocker:
    """A rocker on a fixed pivot between a pushrod and a valve whose tip is flat across its axis.

    Valve side: an arm `valve_arm` from the pivot to the centre of the nose radius, standing `valve_arm_angle` above
    the normal to the valve axis when the valve is shut; the nose radius itself drops out. Pushrod side: an arm
    `pushrod_arm` to the cup, standing `pushrod_arm_angle` below the normal to the tappet axis when the valve is shut;
    a pushrod of `pushrod_length` down to a tappet whose axis passes the pivot at `tappet_offset` (taken where the
    pushrod starts parallel to that axis if absent). Without a length the pushrod stays parallel. Plane geometry.
    """

    valve_arm_mm: Place
    pushrod_arm_mm: Place
    valve_arm_angle_deg: Angle = 0.0
    pushrod_arm_angle_deg: Angle = 0.0
    pushrod_length_mm: Length | None = None
    tappet_offset_mm: Place | None = None

    def __post_init__(self) -> None:
        """Refuse arms that can't be arms."""
        for name, value in (("valve arm", self.valve_arm_mm), ("pushrod arm", self.pushrod_arm_mm)):
            refuse_unless_above_zero(value, f"rocker {name}", "mm")
        for name, angle in (
            ("valve arm angle", self.valve_arm_angle_deg),
            ("pushrod arm angle", self.pushrod_arm_angle_deg),
        ):
            if not abs(angle) < 60.0:
                raise CannotEvaluate(
                    Reason.OUT_OF_RANGE,
                    Phrase("rocker {name}: found {angle} deg, expected within ±60", name=name, angle=f"{angle:g}"),
                )
        if self.pushrod_length_mm is not None and not self.pushrod_length_mm > abs(float(self._sideways(0.0))):
            raise CannotEvaluate(Reason.OUT_OF_RANGE, Phrase("rocker pushrod: too short to reach from tappet to cup"))

    def _sideways(self, turn: ArrayLike) -> FloatArray:
        """Distance of the cup from the tappet axis, mm."""
        arm = math.radians(self.pushrod_arm_angle_deg)
        offset = math.cos(arm) * self.pushrod_arm_mm if self.tappet_offset_mm is None else self.tappet_offset_mm
        return np.asarray(np.cos(arm - np.asarray(turn)) * self.pushrod_arm_mm - offset)

    def _follower(self, turn: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Follower lift and its two derivatives by the rocker's turn, rad."""
        angle = turn - math.radians(self.pushrod_arm_angle_deg)
        up, across = self.pushrod_arm_mm * np.sin(angle), self.pushrod_arm_mm * np.cos(angle)
        start = -self.pushrod_arm_mm * math.sin(math.radians(self.pushrod_arm_angle_deg))
        if self.pushrod_length_mm is None:
            return up - start, across, -up
        x = self._sideways(turn)
        reach = np.sqrt(self.pushrod_length_mm**2 - x**2)
        start -= math.sqrt(self.pushrod_length_mm**2 - float(self._sideways(0.0)) ** 2)
        # d(reach)/dturn with dx/dturn = −up
        reach_1 = x * up / reach
        reach_2 = (-(up**2) + x * across) / reach - reach_1**2 / reach
        return up - reach - start, across - reach_1, -up - reach_2

    def turn(self, follower_lift_mm: ArrayLike) -> FloatArray:
        """Turn of the rocker from shut, rad, for follower lifts in mm; refuses a lift the geometry can't follow.

        Shape as given. Raises CannotEvaluate(OUT_OF_RANGE).
        """
        s = np.asarray(follower_lift_mm, dtype=np.float64)
        angle = s / self.pushrod_arm_mm
        for _ in range(30):
            lift, slope, _ = self._follower(np.clip(angle, -1.2, 1.2))
            step = (s - lift) / np.where(np.abs(slope) < 1e-6, 1e-6, slope)
            angle = np.clip(angle + np.clip(step, -0.3, 0.3), -1.2, 1.2)
            if float(np.max(np.abs(step), initial=0.0)) < 1e-13:
                break
        lift, slope, _ = self._follower(angle)
        if float(np.max(np.abs(lift - s), initial=0.0)) > 1e-6 or float(np.min(slope, initial=1.0)) <= 0.0:
            raise CannotEvaluate(
                Reason.OUT_OF_RANGE,
                Phrase("rocker geometry can't follow {max} mm of follower lift", max=f"{float(np.max(s)):.3f}"),
            )
        return np.asarray(angle)

    def curve(self, follower_lift_mm: ArrayLike) -> RockerCurve:
        """Exact plane geometry."""
        turn = self.turn(follower_lift_mm)
        shut = math.radians(self.valve_arm_angle_deg)
        lift = self.valve_arm_mm * (math.sin(shut) - np.sin(shut - turn))
        lift_1 = self.valve_arm_mm * np.cos(shut - turn)
        lift_2 = self.valve_arm_mm * np.sin(shut - turn)
        _, s_1, s_2 = self._follower(turn)
        ratio = lift_1 / s_1
        return RockerCurve(np.asarray(lift), np.asarray(ratio), np.asarray((lift_2 - ratio * s_2) / s_1**2))
