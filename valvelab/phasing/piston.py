"""Piston position from the crank angle: no pin offset. Source: plain slider-crank geometry."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from valvelab.arrays import FloatArray
from valvelab.errors import CannotEvaluate, Reason
from valvelab.phrase import Phrase


def piston_drop(crank_deg: ArrayLike, throw_mm: float, rod_mm: float) -> FloatArray:
    """Distance of the piston below top dead centre, mm, for crank angles from dead centre, deg (any shape).

    r(1 − cos α) + l − √(l² − r² sin² α). Refuses a throw that is not positive and a rod not longer than it.
    """
    if not throw_mm > 0.0:
        raise CannotEvaluate(
            Reason.OUT_OF_RANGE, Phrase("crank throw: found {throw} mm, expected above 0", throw=f"{throw_mm:g}")
        )
    if not rod_mm > throw_mm:
        raise CannotEvaluate(
            Reason.OUT_OF_RANGE,
            Phrase(
                "rod: found {rod} mm, expected longer than the throw, {throw} mm",
                rod=f"{rod_mm:g}",
                throw=f"{throw_mm:g}",
            ),
        )
    angle = np.radians(np.asarray(crank_deg, dtype=np.float64))
    return np.asarray(throw_mm * (1.0 - np.cos(angle)) + rod_mm - np.sqrt(rod_mm**2 - (throw_mm * np.sin(angle)) ** 2))
