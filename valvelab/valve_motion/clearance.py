"""Clearance of valve and piston around gas exchange. Source: plain geometry."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from valvelab.arrays import FloatArray, read_only
from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen

REACH_CRANK_DEG = 120.0
_STEP_DEG = 0.5


@frozen
class Clearance:
    """Clearance along the valve axis over crank angle from gas-exchange dead centre, and its least value."""

    crank_deg: FloatArray
    clearance_mm: FloatArray
    min_mm: float
    at_crank_deg: float


def piston_clearance(
    valve_lift: Callable[[FloatArray], FloatArray],
    piston_drop: Callable[[FloatArray], FloatArray],
    at_dead_centre_mm: float,
    valve_angle_deg: float = 0.0,
) -> Clearance:
    """Stated drop at dead centre + piston drop × cos(valve angle) − valve lift, within 120 crank deg of it.

    `valve_lift` and `piston_drop` take crank angles from gas-exchange dead centre and give mm; `at_dead_centre_mm` is
    the clearance along the valve axis, valve shut, piston at the top. Plain geometry; a pocket square to the axis. Both
    take and give shape (n,). Raises CannotEvaluate(OUT_OF_RANGE) for a valve lying flat.
    """
    if not abs(valve_angle_deg) < 90.0:
        raise CannotEvaluate(Reason.OUT_OF_RANGE, f"valve angle: found {valve_angle_deg:g} deg, expected within ±90")
    tilt = math.cos(math.radians(valve_angle_deg))

    def clearance(crank: FloatArray) -> FloatArray:
        return np.asarray(at_dead_centre_mm + piston_drop(crank) * tilt - valve_lift(crank))

    crank = np.linspace(-REACH_CRANK_DEG, REACH_CRANK_DEG, round(2.0 * REACH_CRANK_DEG / _STEP_DEG) + 1)
    values = clearance(crank)
    best = int(np.argmin(values))
    fine = np.linspace(crank[max(best - 1, 0)], crank[min(best + 1, crank.size - 1)], 401)
    fine_values = clearance(fine)
    at = int(np.argmin(fine_values))
    return Clearance(read_only(crank), read_only(values), float(fine_values[at]), float(fine[at]))
