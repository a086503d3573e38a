"""Control of the follower, quasi-static: whether the spring holds the valve gear on the cam.

Source: plain mechanics.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from valvelab.arrays import FloatArray
from valvelab.errors import CannotEvaluate, Reason, refuse_unless_above_zero
from valvelab.frozen import frozen
from valvelab.phrase import Phrase

# crank deg per cam rad: a derivative by crank deg times this is one by cam rad
CRANK_DEG_PER_CAM_RAD = 360.0 / math.pi


def cam_speed_rad_per_s(crank_rpm: float) -> float:
    """Angular speed of the camshaft at a crank speed."""
    return crank_rpm * math.pi / 60.0


def contact_force(
    lift_mm: FloatArray,
    acceleration_mm_per_crank_deg2: FloatArray,
    effective_mass_kg: float,
    seat_force_n: float,
    rate_n_per_mm: float,
    crank_rpm: float,
) -> FloatArray:
    """Force of the gear on the cam, N at the valve: F_seat + rate · v + m · a · ω². Negative: it would leave.

    Lift and acceleration: shape (n,); so is the force.
    """
    in_cam_rad = acceleration_mm_per_crank_deg2 * CRANK_DEG_PER_CAM_RAD**2
    inertia = effective_mass_kg * in_cam_rad * cam_speed_rad_per_s(crank_rpm) ** 2 * 1e-3
    return np.asarray(seat_force_n + rate_n_per_mm * lift_mm + inertia)


@frozen
class Separation:
    """Lowest crank speed at which contact fails, and where; None where no speed makes it fail."""

    crank_rpm: float | None
    at_crank_deg: float | None


def separation(
    crank_deg: FloatArray,
    lift_mm: FloatArray,
    acceleration_mm_per_crank_deg2: FloatArray,
    effective_mass_kg: float,
    seat_force_n: float,
    rate_n_per_mm: float,
) -> Separation:
    """Lowest crank speed at which F_spring + m a ω² reaches 0 anywhere off the seat.

    Each point off the seat with negative acceleration fails at ω² = F/(−m a); the least counts. Refuses a mass that is
    not positive, or a spring without force. Arrays: shape (n,).
    """
    refuse_unless_above_zero(effective_mass_kg, "effective mass", "kg")
    off_seat: NDArray[np.bool_] = (lift_mm > 0.0) & (acceleration_mm_per_crank_deg2 < 0.0)
    if not off_seat.any():
        return Separation(None, None)
    force = seat_force_n + rate_n_per_mm * lift_mm[off_seat]
    if not (force > 0.0).all():
        raise CannotEvaluate(
            Reason.OUT_OF_RANGE, Phrase("spring: no force left somewhere off the seat, expected above 0")
        )
    slowing = -acceleration_mm_per_crank_deg2[off_seat] * CRANK_DEG_PER_CAM_RAD**2 * 1e-3
    speeds = np.sqrt(force / (effective_mass_kg * slowing))
    worst = int(np.argmin(speeds))
    return Separation(float(speeds[worst]) * 60.0 / math.pi, float(crank_deg[off_seat][worst]))
