"""Clearance of valve and piston around gas exchange. Source: plain geometry."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from valvelab.arrays import FloatArray, read_only
from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.phrase import Phrase

REACH_CRANK_DEG = 120.0
_STEP_DEG = 0.5
_FINER = (21, 41)
"""Points over the two steps about the least one, and over two of theirs."""


@frozen
class Clearance:
    """Clearance along the valve axis over crank angle from gas-exchange dead centre, and its least value."""

    crank_deg: FloatArray
    clearance_mm: FloatArray
    min_mm: float
    at_crank_deg: float


def piston_clearances(
    valve_lift: Callable[[FloatArray], FloatArray],
    piston_drop: Callable[[FloatArray], FloatArray],
    at_dead_centre_mm: float,
    valve_angle_deg: float = 0.0,
) -> list[Clearance]:
    """Stated drop at dead centre + piston drop × cos(valve angle) − valve lift, within 120 crank deg of it.

    For each of m lifts: `valve_lift` takes crank angles from gas-exchange dead centre, the same (1, n) or own ones
    (m, n), and gives (m, n); `piston_drop` takes and gives either; both in mm. `at_dead_centre_mm` is the clearance
    along the valve axis, valve shut, piston at the top. Plain geometry; a pocket square to the axis. The least one is
    found to 0.0025 crank deg. Raises CannotEvaluate(OUT_OF_RANGE) for a valve lying flat.
    """
    if not abs(valve_angle_deg) < 90.0:
        raise CannotEvaluate(
            Reason.OUT_OF_RANGE,
            Phrase("valve angle: found {valve_angle} deg, expected within ±90", valve_angle=f"{valve_angle_deg:g}"),
        )
    tilt = math.cos(math.radians(valve_angle_deg))

    def clearance(crank: FloatArray) -> FloatArray:
        return np.asarray(at_dead_centre_mm + piston_drop(crank) * tilt - valve_lift(crank))

    coarse = np.linspace(-REACH_CRANK_DEG, REACH_CRANK_DEG, round(2.0 * REACH_CRANK_DEG / _STEP_DEG) + 1)
    crank, along = coarse[None], clearance(coarse[None])
    values, rows = along, np.arange(along.shape[0])
    for points in _FINER:
        best = values.argmin(axis=1)
        every = np.broadcast_to(crank, values.shape)
        low, high = every[rows, np.maximum(best - 1, 0)], every[rows, np.minimum(best + 1, values.shape[1] - 1)]
        crank = np.linspace(low, high, points, axis=1)
        values = clearance(crank)
    best = values.argmin(axis=1)
    found = zip(along, values[rows, best].tolist(), crank[rows, best].tolist(), strict=True)
    return [Clearance(read_only(coarse), read_only(row), least, at) for row, least, at in found]
