"""Shared checks on arrays."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from valvelab.errors import CannotEvaluate, Reason

FloatArray = NDArray[np.float64]


def finite(values: ArrayLike, name: str, ndim: int | None = None) -> FloatArray:
    """Values as float64, refused when empty, of another dimension count, or not finite throughout."""
    array = np.asarray(values, dtype=np.float64)
    if ndim is not None and array.ndim != ndim:
        raise CannotEvaluate(Reason.BAD_VALUES, f"{name}: found {array.ndim} dimensions, expected {ndim}")
    if array.size == 0:
        raise CannotEvaluate(Reason.TOO_FEW_READINGS, f"{name}: found no values, expected at least one")
    if not np.isfinite(array).all():
        raise CannotEvaluate(Reason.BAD_VALUES, f"{name}: found a value that is not finite")
    return array


def read_only(array: FloatArray) -> FloatArray:
    """The same array, closed to writing; for fields of frozen values."""
    array.setflags(write=False)
    return array
