"""Tails of distributions, against the general library of special functions and printed tables."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import betainc, stdtrit
from scipy.stats import f as f_distribution
from something import each

from valvelab.tails import f_tail, incomplete_beta, student_quantile


def test_incomplete_beta_is_the_librarys() -> None:
    """SciPy's betainc, from small to large parameters and at both ends."""
    for a in each((0.5, 1.0, 4.5, 60.0, 900.0)):
        for b in each((0.5, 2.0, 17.0, 450.0)):
            for x in each((1e-9, 0.02, 0.3, 0.5, 0.77, 0.999)):
                assert incomplete_beta(a, b, x) == pytest.approx(float(betainc(a, b, x)), rel=1e-10, abs=1e-300)
    assert incomplete_beta(2.0, 3.0, -0.1) == incomplete_beta(2.0, 3.0, 0.0) == 0.0
    assert incomplete_beta(2.0, 3.0, 1.0) == 1.0


@given(st.floats(0.01, 500.0), st.integers(1, 900), st.integers(1, 900))
def test_tail_of_f_is_the_librarys(ratio: float, upper: int, lower: int) -> None:
    """SciPy's distribution; an infinite ratio is never exceeded."""
    assert f_tail(ratio, upper, lower) == pytest.approx(f_distribution.sf(ratio, upper, lower), rel=1e-9, abs=1e-300)
    assert f_tail(math.inf, upper, lower) == 0.0


def test_student_quantile_is_the_librarys() -> None:
    """SciPy's stdtrit, and 2.776 for 4 degrees of freedom, 95 % two-sided (any printed table of t)."""
    for freedom in each((1, 2, 4, 11, 60, 1000)):
        for share in each((0.6, 0.9, 0.975, 0.9995)):
            assert student_quantile(freedom, share) == pytest.approx(float(stdtrit(freedom, share)), rel=1e-9)
    assert student_quantile(4, 0.975) == pytest.approx(2.776, abs=5e-4)
    assert np.isclose(student_quantile(1, 0.75), 1.0, rtol=1e-12)
