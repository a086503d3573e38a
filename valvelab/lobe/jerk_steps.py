"""Jerk steps: places where the readings themselves say that a lobe's jerk jumps.

A motion law may step in jerk, at its feet, its joints and often at the nose. An evenly stiff spline rounds such
places by several times the noise. Each row of the penalty is a pseudo-observation "the jerk does not step
here"; rows that the readings contradict are deleted one by one, largest first, as outlying observations of a
least-squares fit are. Source: deletion diagnostics of linear regression (Cook & Weisberg, 1982).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from valvelab.arrays import FloatArray
from valvelab.frozen import frozen

IndexArray = NDArray[np.int64]

# Least gain in twice the log-likelihood that makes a step believed, and the most steps on one lobe.
STEP_GAIN = 14.0
MOST_STEPS = 16


@frozen
class Steps:
    """Deleted penalty rows of one lobe. rows: (p,); kernel: (p, p), (I − Q_JJ)⁻¹."""

    rows: IndexArray
    kernel: FloatArray


NO_STEPS = Steps(np.zeros(0, dtype=np.int64), np.zeros((0, 0)))


def find_steps(
    residual: FloatArray, leverage: FloatArray, columns: Callable[[int], FloatArray], variance: float
) -> Steps:
    """Penalty rows to delete for one lobe.

    residual: (rows,), √λ times each penalised difference of the fit; leverage: (rows,), the diagonal of the penalty's
    hat matrix Q; columns(j): its column j; variance: of the readings' noise. In the readings' own unit.
    """
    rows: list[int] = []
    # columns in Fortran order: each new one is written in place and the part in use stays contiguous
    room_for = np.empty((residual.size, MOST_STEPS), order="F")
    picked = room_for[:, :0]
    kernel = np.zeros((0, 0))
    floor = 1e-3 * (1.0 - float(leverage.mean()))
    while len(rows) < MOST_STEPS:
        through = picked @ kernel
        adjusted = residual + through @ residual[rows]
        room = 1.0 - leverage - np.einsum("ij,ij->i", through, picked)
        gain = np.where(room > floor, adjusted**2 / (variance * np.maximum(room, floor)), 0.0)
        gain[rows] = 0.0
        best = int(np.argmax(gain))
        if gain[best] < STEP_GAIN:
            break
        rows.append(best)
        room_for[:, len(rows) - 1] = columns(best)
        picked = room_for[:, : len(rows)]
        kernel = np.asarray(np.linalg.inv(np.eye(len(rows)) - picked[rows]), dtype=np.float64)
    return Steps(np.array(rows, dtype=np.int64), kernel) if rows else NO_STEPS
