"""The Gaussian profile filter: transmission, ends, linearity."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.ndimage import gaussian_filter1d

from valvelab.camshaft.filters import ALPHA, gaussian_mean_line, gaussian_weights, transmission
from valvelab.errors import CannotEvaluate

SPACING = 0.0005
X = np.arange(0.0, 16.0, SPACING)
MIDDLE = slice(X.size // 4, 3 * X.size // 4)


def test_alpha() -> None:
    # ISO 16610-21: α = √(ln 2/π) = 0.4697
    assert pytest.approx(0.46971863934982566, rel=1e-14) == ALPHA


@pytest.mark.parametrize(("ratio", "share"), [(2.0, 0.0625), (1.0, 0.5), (0.5, 0.840896), (3.2, 8.2690e-4)])
def test_transmission_of_a_sine(ratio: float, share: float) -> None:
    # ISO 16610-21: a sine of wavelength l keeps 2^(−(λ/l)²) of its amplitude
    assert float(transmission(ratio)) == pytest.approx(share, rel=2e-6)
    kept = gaussian_mean_line(np.sin(2.0 * np.pi * X * ratio / 0.8), SPACING, 0.8)[MIDDLE]
    assert np.sqrt(2.0 * np.mean(kept**2)) == pytest.approx(share, abs=2e-6)


def test_agrees_with_a_general_gaussian_filter() -> None:
    # scipy.ndimage with sigma = α λ/√(2π), away from the ends
    z = np.random.default_rng(1).normal(size=20_000)
    other = gaussian_filter1d(z, ALPHA * 0.8 / np.sqrt(2.0 * np.pi) / SPACING, truncate=5.3365)
    ours = gaussian_mean_line(z, SPACING, 0.8)
    assert ours[2000:-2000] == pytest.approx(other[2000:-2000], abs=1e-8)


@given(st.floats(-1e4, 1e4), st.floats(1e-3, 2.0), st.integers(5, 400))
def test_a_constant_passes_to_the_very_ends(level: float, cutoff: float, count: int) -> None:
    kept = gaussian_mean_line(np.full(count, level), 0.01, cutoff)
    assert kept == pytest.approx(level, rel=1e-12, abs=1e-12)


def test_linear_mirrored_and_short_and_long_routes_agree() -> None:
    z = np.random.default_rng(2).normal(size=6000)
    direct = gaussian_mean_line(z, SPACING, 0.05)
    assert gaussian_mean_line(z[::-1], SPACING, 0.05)[::-1] == pytest.approx(direct, abs=1e-12)
    assert gaussian_mean_line(3.0 * z - 1.0, SPACING, 0.05) == pytest.approx(3.0 * direct - 1.0, abs=1e-10)
    # a longer profile takes the transform; far from the join the answer is the same
    long = gaussian_mean_line(np.concatenate([z, np.zeros(60_000)]), SPACING, 0.05)
    assert long[:5800] == pytest.approx(direct[:5800], abs=1e-10)


def test_weights_and_refusals() -> None:
    weights = gaussian_weights(SPACING, 0.8)
    assert weights.sum() == pytest.approx(1.0)
    assert weights[0] < 1e-6 * weights.max()
    with pytest.raises(CannotEvaluate):
        gaussian_weights(0.0, 0.8)
    with pytest.raises(CannotEvaluate, match="not finite"):
        gaussian_mean_line(np.asarray([0.0, np.nan]), 1.0, 1.0)
