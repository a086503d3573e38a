"""Bars as one filled outline."""

from __future__ import annotations

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.figures.description import Band, Role


def bars(places: FloatArray, heights: FloatArray, width: float, role: Role, label: str = "", series: int = 0) -> Band:
    """Bars from zero; places (ascending, further apart than `width`), heights: shape (n,)."""
    x = (places[:, None] + 0.5 * width * np.asarray([-1.0, -1.0, 1.0, 1.0])).ravel()
    upper = (heights[:, None] * np.asarray([0.0, 1.0, 1.0, 0.0])).ravel()
    return Band(x, np.zeros(x.size), upper, role, label, series)
