"""The least squares inside the lobe fit against reference libraries and direct solutions.

The certified regressions of NIST StRD stand beside the springs' straight lines, which have the same shape. Here: the
spline's penalised normal equations written out with scipy's B-splines, its covariance, its likelihood, and the base
circle's harmonic by another route.
"""

from __future__ import annotations

import numpy as np
import pytest
from lobe_samples import Floats, fit, lopsided, turn
from scipy.interpolate import BSpline
from scipy.linalg import lstsq

from valvelab.lobe.dense_smoothing import fit_general
from valvelab.lobe.smoothing import PENALTY_ORDER, fit_uniform
from valvelab.lobe.spline import DEGREE

RNG = np.random.default_rng(17)
EVENT = np.sort(RNG.uniform(10.0, 190.0, 150))


def noisy(angle: Floats, noise: float = 2e-3) -> Floats:
    return lopsided().value(angle) + RNG.normal(0.0, noise, angle.size)


def penalised(design: Floats, differences: Floats, y: Floats, strength: float) -> tuple[Floats, Floats]:
    """Coefficients and their covariance for unit noise, by stacked least squares instead of normal equations."""
    stacked = np.vstack([design, 10.0 ** (0.5 * strength) * differences])
    solver = np.linalg.pinv(stacked)[:, : y.size]
    return solver @ y, solver @ solver.T


def test_an_uneven_event_is_the_penalised_least_squares_solution() -> None:
    # scipy.interpolate.BSpline.design_matrix; freed jerk steps keep their rows out of the penalty
    y = noisy(EVENT)
    found = fit_general(EVENT, y[None], np.ones((1, EVENT.size), dtype=np.bool_), periodic=False)
    splines = found.splines
    knots = splines.start + splines.step * np.arange(-DEGREE, splines.intervals + DEGREE + 1)
    inside = np.clip(EVENT, splines.start, splines.start + splines.span - 1e-12)
    design = BSpline.design_matrix(inside, knots, DEGREE).toarray()
    differences = np.delete(np.diff(np.eye(design.shape[1]), PENALTY_ORDER, axis=0), found.steps[0].rows, axis=0)
    coefficients, covariance = penalised(design, differences, y, found.log_strength)
    assert splines.padded[0] == pytest.approx(coefficients, abs=1e-7)
    if not found.steps[0].rows.size:
        row = design[70]
        alive = np.arange(row.size)
        on_readings = found.covariance.on_readings(row[None])[0]
        assert on_readings @ on_readings == pytest.approx(row @ covariance @ row, rel=1e-4)
        assert on_readings @ y == pytest.approx(row @ coefficients, abs=1e-7)
        # some of the noise may be correlated, so the stated variance is that of free noise or a little more
        ours = row @ found.covariance.cross(alive[:, None], alive[None, :]) @ row
        assert row @ covariance @ row * 0.99 < ours < 1.25 * (row @ covariance @ row)


def test_a_uniform_turn_is_the_penalised_least_squares_solution() -> None:
    angle = turn(180)
    lifts = np.stack([noisy(angle), noisy(angle)])
    found = fit_uniform(lifts, 0.0)
    first = np.zeros(180)
    # at a knot the septic basis is 1, 120, 1191, 2416, 1191, 120, 1 over 5040 (Eulerian numbers)
    first[[-3, -2, -1, 0, 1, 2, 3]] = np.array([1, 120, 1191, 2416, 1191, 120, 1]) / 5040.0
    design = np.array([np.roll(first, k) for k in range(180)])
    row = np.zeros(180)
    row[[-2, -1, 0, 1, 2]] = [1.0, -4.0, 6.0, -4.0, 1.0]
    whole = np.array([np.roll(row, k) for k in range(180)])
    assert found.lag_correlation == 0.0
    for lobe in range(2):
        differences = np.delete(whole, found.steps[lobe].rows, axis=0)
        coefficients, _ = penalised(design, differences, lifts[lobe], found.log_strength)
        assert found.splines.padded[lobe, 3:183] == pytest.approx(coefficients, abs=1e-8)
    _, covariance = penalised(design, whole, lifts[0], found.log_strength)
    on_readings = found.covariance.on_readings(np.eye(187)[3:183])
    assert (on_readings @ on_readings.T)[:, 0] == pytest.approx(covariance[:, 0], abs=1e-9)
    # some of the noise may be correlated, so the stated variance is that of free noise or a little more
    lags = np.arange(180)
    assert found.covariance.cross(lags, np.zeros_like(lags)) == pytest.approx(
        covariance[:, 0], abs=0.1 * covariance[0, 0]
    )


@pytest.mark.parametrize("noise", [2e-3, 5e-3])
def test_uniform_and_general_fits_agree_on_the_same_readings(noise: float) -> None:
    """Two routes, Fourier and dense, to one likelihood: strength within its grid, lift within a part of the noise."""
    angle = turn(240)
    lifts = lopsided().value(angle) + RNG.normal(0.0, noise, (3, 240))
    fast = fit_uniform(lifts, 0.0)
    dense = fit_general(angle, lifts, np.ones(lifts.shape, dtype=np.bool_), periodic=True)
    assert dense.log_strength == pytest.approx(fast.log_strength, abs=0.3)
    assert dense.noise_mm == pytest.approx(fast.noise_mm, rel=0.05)
    for lobe in range(3):
        apart = dense.splines.evaluate(lobe, angle) - fast.splines.evaluate(lobe, angle)
        assert np.sqrt(np.mean(apart**2)) < 0.2 * noise


def test_the_strength_is_near_the_restricted_likelihoods_peak() -> None:
    """The likelihood written out for a mixed model: y ~ N(constant, B (λ P)⁻ B′ + I) σ², constant taken out."""
    angle = turn(120)
    # a lobe without corners, so that no jerk step is freed
    y = 4.0 * np.exp(3.0 * (np.cos(np.radians(angle - 100.0)) - 1.0)) + RNG.normal(0.0, 2e-3, 120)
    found = fit_uniform(y[None], 0.0)
    frequency = 2.0 * np.pi * np.arange(1, 61) / 120.0
    power = np.abs(np.fft.rfft(y)[1:]) ** 2 / 120.0
    count = np.where(np.arange(1, 61) == 60, 1.0, 2.0)
    symbol = (2416 + 2382 * np.cos(frequency) + 240 * np.cos(2 * frequency) + 2 * np.cos(3 * frequency)) / 5040.0
    penalty = (2.0 * np.sin(0.5 * frequency)) ** 8

    def minus_log_likelihood(strength: float) -> float:
        spread = 1.0 + symbol**2 / (10.0**strength * penalty)
        variance = np.sum(count * power / spread) / count.sum()
        return float(count.sum() * np.log(variance) + np.sum(count * np.log(spread)))

    grid = np.arange(-4.0, 8.0, 0.05)
    best = grid[np.argmin([minus_log_likelihood(strength) for strength in grid])]
    assert found.steps[0].rows.size == 0
    # the strength used is the likeliest less half a decade
    assert found.log_strength == pytest.approx(best - 0.5, abs=0.3)


@pytest.mark.parametrize("noise", [0.0, 1e-3])
def test_the_base_circle_is_the_least_squares_harmonic_on_its_arc(noise: float) -> None:
    # scipy.linalg.lstsq on the fit's own knots
    angle = turn(720)
    lift = lopsided().value(angle) + 0.2 + 0.03 * np.cos(np.radians(angle - 50.0)) + RNG.normal(0.0, 1.0, 720) * noise
    fitted = fit(angle, lift)
    base = fitted.bases[0]
    assert base is not None
    knots = np.arange(base.first, base.last + 1)
    theta = np.radians(fitted.splines.start + fitted.splines.step * knots)
    design = np.column_stack([np.ones_like(theta), np.cos(theta), np.sin(theta)])
    raw = fitted.smoothed.splines.at_knots()[0, :-1][knots % 720]
    assert base.abc == pytest.approx(lstsq(design, raw)[0], abs=1e-9)
    assert base.weights @ fitted.smoothed.splines.padded[0] == pytest.approx(base.abc, abs=1e-9)
