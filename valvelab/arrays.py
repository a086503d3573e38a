"""Shared checks on arrays."""

from __future__ import annotations

from collections.abc import Iterable
from math import isfinite, sqrt
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from valvelab.errors import CannotEvaluate, Reason
from valvelab.phrase import Phrase

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]
Scalar = TypeVar("Scalar", bound=np.generic)


def finite(values: ArrayLike, name: str, ndim: int | None = None) -> FloatArray:
    """Values as float64, refused when empty, of another dimension count, or not finite throughout."""
    array = np.asarray(values, dtype=np.float64)
    if ndim is not None and array.ndim != ndim:
        raise CannotEvaluate(
            Reason.BAD_VALUES,
            Phrase("{name}: found {ndim} dimensions, expected {wanted}", name=name, ndim=array.ndim, wanted=ndim),
        )
    if array.size == 0:
        raise CannotEvaluate(
            Reason.TOO_FEW_READINGS, Phrase("{name}: found no values, expected at least one", name=name)
        )
    # one call where all is well; a sum of squares beyond the range of numbers asks each value
    if not isfinite(np.vdot(array, array)) and not np.isfinite(array).all():
        raise CannotEvaluate(Reason.BAD_VALUES, Phrase("{name}: found a value that is not finite", name=name))
    return array


def read_only(array: FloatArray) -> FloatArray:
    """The same array, closed to writing; for fields of frozen values."""
    array.setflags(write=False)
    return array


def median(values: ArrayLike, axis: int | None = None) -> FloatArray:
    """Median of finite values along an axis, or of all. NumPy's own loads masked arrays first, a tenth of itself."""
    ordered = np.sort(np.asarray(values, dtype=np.float64), axis=axis)
    count = ordered.shape[axis or 0]
    below, above = (np.take(ordered, middle, axis=axis or 0) for middle in ((count - 1) // 2, count // 2))
    return np.asarray(0.5 * (below + above))


def distinct(values: NDArray[Scalar]) -> NDArray[Scalar]:
    """The different values of an array of any shape, ascending, (n,). NumPy's own does the same."""
    ordered = np.sort(values, axis=None)
    found: NDArray[Scalar] = ordered[np.append(True, ordered[1:] != ordered[:-1])[: ordered.size]]
    return found


def stretches(where: BoolArray) -> NDArray[np.intp]:
    """Where each unbroken stretch of True begins, and where the next place after it is; shape (stretches, 2)."""
    return np.flatnonzero(np.diff(np.concatenate([[False], where, [False]]).astype(np.int8))).reshape(-1, 2)


def rectangular_sd(width: float) -> float:
    """Standard deviation of what may lie anywhere within a width, such as a rounding error: width/√12.

    Source: JCGM 100:2008, F.2.2.1.
    """
    return width / sqrt(12.0)


def coarsest_step(values: FloatArray, candidates: Iterable[float], fewest_steps: float = 20.0) -> float:
    """The first of `candidates` (coarsest first) that all values are whole multiples of; 0 where there is none.

    values: any shape. A step that the values span fewer than `fewest_steps` times is chance, not an instrument's.
    """
    flat = np.ravel(values)
    first, span, largest = flat[:: max(1, flat.size // 64)], float(np.ptp(flat)), float(np.abs(flat).max())

    def whole(part: FloatArray, step: float) -> bool:
        counted = part / step
        # what a change of units and a number's own digits leave
        slack = 1e-6 + 4.0 * np.finfo(np.float64).eps * largest / step
        return bool(np.abs(counted - np.round(counted)).max() <= slack)

    fits = (step for step in candidates if fewest_steps * step <= span and whole(first, step) and whole(flat, step))
    return next(fits, 0.0)
