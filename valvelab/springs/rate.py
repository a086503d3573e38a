"""Least squares of force over height: the rate, its scatter and its standard uncertainty.

Sources: Björck, Numerical Methods for Least Squares Problems; JCGM 100:2008, H.3 (line by least squares).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from valvelab.arrays import FloatArray, finite, read_only
from valvelab.errors import CannotEvaluate, Reason


@dataclass(frozen=True, slots=True)
class LinearModel:
    """Answer of a least-squares fit; uncertainties and residual scatter are None without spare readings.

    `residual_sd` has n − p degrees of freedom (`spare`); `covariance_per_variance` times a reading's variance is
    the covariance of the coefficients.
    """

    coefficients: FloatArray
    covariance_per_variance: FloatArray
    residual_sd: float | None
    spare: int


def least_squares(design: FloatArray, values: FloatArray) -> LinearModel:
    """Coefficients minimising |design · c − values|², by QR of the scaled columns with one step of refinement.

    `design` (n, p), `values` (n,), n ≥ p. Refuses columns that depend on each other. Source: Björck, Numerical
    Methods for Least Squares Problems; checked against the certified regressions of NIST StRD. Any units.
    """
    design = finite(design, "design", 2)
    values = finite(values, "values", 1)
    n, p = design.shape
    if n < p:
        raise CannotEvaluate(Reason.TOO_FEW_READINGS, f"least squares: found {n} readings, expected at least {p}")
    scale = np.linalg.norm(design, axis=0)
    if not scale.all():
        raise CannotEvaluate(Reason.BAD_VALUES, "least squares: found a column of zeros")
    q, r = np.linalg.qr(design / scale)
    if np.abs(np.diag(r)).min() < 1e-13:
        raise CannotEvaluate(Reason.BAD_VALUES, "least squares: found readings that don't determine the fit")
    scaled = np.linalg.solve(r, q.T @ values)
    scaled = scaled + np.linalg.solve(r, q.T @ (values - (design / scale) @ scaled))
    residuals = values - (design / scale) @ scaled
    r_inverse = np.linalg.solve(r, np.eye(p))
    covariance = (r_inverse @ r_inverse.T) / np.outer(scale, scale)
    spare = n - p
    sd = float(np.linalg.norm(residuals) / np.sqrt(spare)) if spare > 0 else None
    return LinearModel(read_only(scaled / scale), read_only(covariance), sd, spare)


def polynomial(x: FloatArray, y: FloatArray, degree: int) -> LinearModel:
    """Least-squares polynomial; coefficients from the constant upwards. `x`, `y`: shape (n,), any units."""
    return least_squares(np.vander(np.asarray(x, dtype=np.float64), degree + 1, increasing=True), y)


@dataclass(frozen=True, slots=True)
class RateFit:
    """Force = intercept + slope · height over a range of heights; rate = −slope.

    `residual_sd_n` has n − 2 degrees of freedom, None with two readings. `rate_uncertainty_n_per_mm` comes from
    the scatter seen or the scatter stated, whichever is larger; None when neither is known.
    """

    intercept_n: float
    slope_n_per_mm: float
    residual_sd_n: float | None
    rate_uncertainty_n_per_mm: float | None
    readings: int
    low_mm: float
    high_mm: float

    @property
    def rate_n_per_mm(self) -> float:
        """Spring rate, positive."""
        return -self.slope_n_per_mm


def fit_rate(height_mm: FloatArray, force_n: FloatArray, stated_sd_n: float | None = None) -> RateFit:
    """Straight line through readings of force over height, at least two heights.

    `stated_sd_n`: standard uncertainty stated for one reading (force, and height through the rate).
    The heights are centred first, so that slope and scatter keep their digits. Arrays: shape (n,). Raises
    CannotEvaluate(TOO_FEW_READINGS) for one height.
    """
    h = finite(height_mm, "heights", 1)
    force = finite(force_n, "forces", 1)
    _refuse_one_height(h)
    centre = float(h.mean())
    model = polynomial(h - centre, force, 1)
    level, slope = (float(value) for value in model.coefficients)
    scatter = max((sd for sd in (model.residual_sd, stated_sd_n) if sd is not None), default=None)
    return RateFit(
        intercept_n=level - slope * centre,
        slope_n_per_mm=slope,
        residual_sd_n=model.residual_sd,
        rate_uncertainty_n_per_mm=None
        if scatter is None
        else scatter * float(np.sqrt(model.covariance_per_variance[1, 1])),
        readings=h.size,
        low_mm=float(h.min()),
        high_mm=float(h.max()),
    )


def _refuse_one_height(height_mm: FloatArray) -> None:
    if (found := np.unique(height_mm).size) < 2:
        raise CannotEvaluate(Reason.TOO_FEW_READINGS, f"rate: found {found} heights, expected at least 2")


def line_slopes(x: FloatArray, y: FloatArray) -> FloatArray:
    """Slopes of the least-squares lines of `y` over `x` along the last axis, shape (…, n) → (…).

    Refuses a line whose `x` are all the same. Any units.
    """
    aside = x - x.mean(axis=-1, keepdims=True)
    spread = np.sum(aside**2, axis=-1)
    if not np.all(spread > 0.0):
        raise CannotEvaluate(Reason.BAD_VALUES, "line: found readings at one place, expected at least 2 places")
    return np.asarray(np.sum(aside * (y - y.mean(axis=-1, keepdims=True)), axis=-1) / spread)


def rate_curve(height_mm: FloatArray, force_n: FloatArray, window: int = 5) -> tuple[FloatArray, FloatArray]:
    """Local rate over height: straight lines through `window` neighbouring readings, at their mean heights.

    Returns heights (ascending) and rates, (m,) each; fewer readings than `window` give one point. Raises
    CannotEvaluate(TOO_FEW_READINGS) for one height.
    """
    h, force = finite(height_mm, "heights", 1), finite(force_n, "forces", 1)
    _refuse_one_height(h)
    order = np.argsort(h, kind="stable")
    width = min(window, h.size)
    near_h, near_force = (sliding_window_view(values[order], width) for values in (h, force))
    return read_only(near_h.mean(axis=-1)), read_only(-line_slopes(near_h, near_force))


def reading_noise(height_mm: FloatArray, force_n: FloatArray) -> float | None:
    """Standard deviation of one reading as seen: the least scatter about a line, a parabola or a cubic.

    A bent fit is tried only with three spare readings, so that it can't swallow the noise. None with two readings.
    `height_mm`, `force_n`: shape (n,); N.
    """
    h, rest = finite(height_mm, "heights", 1), finite(force_n, "forces", 1)
    count = np.unique(h).size
    if count < 3:
        return None
    x = (h - h.mean()) / max(float(np.ptp(h)), 1e-12)
    highest = max(1, min(3, count - 4))
    q, r = np.linalg.qr(np.vander(x, highest + 1, increasing=True))
    scatter = []
    for power in range(highest + 1):
        if abs(r[power, power]) < 1e-13:
            break
        rest = rest - (q[:, power] @ rest) * q[:, power]
        scatter.append(float(np.linalg.norm(rest)) / sqrt(h.size - power - 1))
    return min(scatter[1:])
