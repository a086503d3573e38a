"""Circle arithmetic in degrees."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from valvelab.arrays import median


def fold(angle_deg: ArrayLike, period: float = 360.0) -> NDArray[np.float64]:
    """Fold onto [0, period)."""
    folded = np.mod(np.asarray(angle_deg, dtype=np.float64), period)
    # np.mod of a tiny negative rounds up to the period itself
    return np.where(folded >= period, 0.0, folded)


def fold_scalar(angle_deg: float, period: float = 360.0) -> float:
    """Fold one angle onto [0, period)."""
    folded = angle_deg % period
    return 0.0 if folded >= period else folded


def wrap(angle_deg: ArrayLike, period: float = 360.0) -> NDArray[np.float64]:
    """Fold onto [-period/2, period/2)."""
    return fold(np.asarray(angle_deg, dtype=np.float64) + period / 2.0, period) - period / 2.0


def wrap_scalar(angle_deg: float, period: float = 360.0) -> float:
    """Fold one angle onto [-period/2, period/2)."""
    return fold_scalar(angle_deg + period / 2.0, period) - period / 2.0


def first_turning(angle_deg: ArrayLike, period: float = 360.0) -> int | None:
    """Index of the first reading that goes against the others' sense, along a sweep that may wrap; None for one way.

    Readings that stand still within 2 % of the usual step go neither way.
    """
    steps = np.diff(np.unwrap(np.asarray(angle_deg, dtype=np.float64), period=period))
    slack = 1e-9 + 0.02 * float(median(np.abs(steps))) if steps.size else 0.0
    backward, forward = np.flatnonzero(steps < -slack), np.flatnonzero(steps > slack)
    if not backward.size or not forward.size:
        return None
    return int((backward if backward.size < forward.size else forward)[0]) + 1
