"""Medians and distinct values agree with NumPy's own; what is not finite is refused."""

from __future__ import annotations

import numpy as np
import pytest

from valvelab.arrays import distinct, finite, median
from valvelab.errors import CannotEvaluate


@pytest.mark.parametrize("shape", [(1,), (2,), (7,), (8,), (3, 5), (4, 6, 2)])
def test_median_is_numpys(shape: tuple[int, ...]) -> None:
    values = np.random.default_rng(3).normal(size=shape)
    assert median(values) == np.median(values)
    assert np.array_equal(median(values, axis=0), np.median(values, axis=0))
    assert np.array_equal(median(values, axis=len(shape) - 1), np.median(values, axis=-1))


@pytest.mark.parametrize("values", [[], [2], [3, 1, 3, 2, 1], [[0.5, -1.0], [0.5, 7.0]]])
def test_distinct_values_are_numpys(values: list[object]) -> None:
    assert np.array_equal(distinct(np.array(values)), np.unique(np.array(values)))


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
@pytest.mark.parametrize("beside", [0.0, 1e300])
def test_what_is_not_finite_is_refused(value: float, beside: float) -> None:
    with pytest.raises(CannotEvaluate, match="lift: found a value that is not finite"):
        finite([beside, value, beside], "lift")


def test_large_values_are_finite() -> None:
    assert np.array_equal(finite([[1e300, -1e300], [0.0, 1.0]], "lift", 2), [[1e300, -1e300], [0.0, 1.0]])
