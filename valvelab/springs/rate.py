"""Least squares of force over height: the rate, its scatter and its standard uncertainty.

Sources: Björck, Numerical Methods for Least Squares Problems; JCGM 100:2008, H.3 (line by least squares).
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from math import sqrt
from typing import TypeVar, cast

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from valvelab.arrays import FloatArray, IntArray, finite, read_only
from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.phrase import Phrase


@frozen
class LinearModel:
    """Answer of a least-squares fit; uncertainties and residual scatter are None without spare readings.

    `residual_sd` has n − p degrees of freedom (`spare`); `covariance_per_variance` times a reading's variance is
    the covariance of the coefficients.
    """

    coefficients: FloatArray
    covariance_per_variance: FloatArray
    residual_sd: float | None
    spare: int


@frozen
class _Factored:
    """A design (n, p) with its columns scaled by `scale`, and what solves it for any values: `solve` (p, n)."""

    scale: FloatArray
    scaled: FloatArray
    solve: FloatArray
    covariance_per_variance: FloatArray

    def fit(self, values: FloatArray) -> LinearModel:
        """The coefficients for these values, with one step of refinement."""
        scaled = self.solve @ values
        scaled = scaled + self.solve @ (values - self.scaled @ scaled)
        residuals = values - self.scaled @ scaled
        spare = self.scaled.shape[0] - self.scaled.shape[1]
        sd = sqrt(float(residuals @ residuals) / spare) if spare > 0 else None
        return LinearModel(read_only(scaled / self.scale), self.covariance_per_variance, sd, spare)


def _factored(design: FloatArray) -> _Factored:
    design = finite(design, "design", 2)
    n, p = design.shape
    if n < p:
        raise CannotEvaluate(
            Reason.TOO_FEW_READINGS, Phrase("least squares: found {n} readings, expected at least {p}", n=n, p=p)
        )
    scale = np.linalg.norm(design, axis=0)
    if not scale.all():
        raise CannotEvaluate(Reason.BAD_VALUES, Phrase("least squares: found a column of zeros"))
    q, r = np.linalg.qr(design / scale)
    if np.abs(np.diag(r)).min() < 1e-13:
        raise CannotEvaluate(Reason.BAD_VALUES, Phrase("least squares: found readings that don't determine the fit"))
    r_inverse = np.linalg.solve(r, np.eye(p))
    covariance = (r_inverse @ r_inverse.T) / np.outer(scale, scale)
    return _Factored(scale, design / scale, r_inverse @ q.T, read_only(covariance))


def least_squares(design: FloatArray, values: FloatArray) -> LinearModel:
    """Coefficients minimising |design · c − values|², by QR of the scaled columns with one step of refinement.

    `design` (n, p), `values` (n,), n ≥ p. Refuses columns that depend on each other. Source: Björck, Numerical
    Methods for Least Squares Problems; checked against the certified regressions of NIST StRD. Any units.
    """
    return _factored(design).fit(finite(values, "values", 1))


def polynomial(x: FloatArray, y: FloatArray, degree: int) -> LinearModel:
    """Least-squares polynomial; coefficients from the constant upwards. `x`, `y`: shape (n,), any units."""
    return of_places(_powers, x, degree).fit(finite(y, "values", 1))


def _powers(x: bytes, degree: int) -> _Factored:
    return _factored(np.vander(np.frombuffer(x), degree + 1, increasing=True))


T = TypeVar("T")
MOST_KEPT = 1024
"""What belongs to more places than these is worked out each time: springs of one tray are read at the same few."""
_kept = lru_cache(maxsize=512)(lambda work, x, *of: work(x, *of))


def of_places(work: Callable[..., T], x: FloatArray, *of: int) -> T:
    """What follows from places alone, which `work` gets as bytes of float64; kept for those at the same places.

    `x`: shape (n,), any unit.
    """
    x = np.asarray(x, dtype=np.float64)
    return work(x.tobytes(), *of) if x.size > MOST_KEPT else cast("T", _kept(work, x.tobytes(), *of))


@frozen
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


@frozen
class Line:
    """Straight line by least squares through readings of force over height, whatever is stated of them.

    `gain`: standard uncertainty of its slope per that of one reading, in 1/mm. `rough_rate_n_per_mm`: the range of
    the forces over that of the heights.
    """

    intercept_n: float
    slope_n_per_mm: float
    residual_sd_n: float | None
    gain: float
    rough_rate_n_per_mm: float
    readings: int
    low_mm: float
    high_mm: float

    def rate_fit(self, stated_sd_n: float | None = None) -> RateFit:
        """The rate with its uncertainty; `stated_sd_n`: standard uncertainty stated for one reading."""
        scatter = max((sd for sd in (self.residual_sd_n, stated_sd_n) if sd is not None), default=None)
        return RateFit(
            self.intercept_n,
            self.slope_n_per_mm,
            self.residual_sd_n,
            None if scatter is None else scatter * self.gain,
            self.readings,
            self.low_mm,
            self.high_mm,
        )


def fit_rate(height_mm: FloatArray, force_n: FloatArray, stated_sd_n: float | None = None) -> RateFit:
    """Straight line through readings of force over height, at least two heights.

    `stated_sd_n`: standard uncertainty stated for one reading (force, and height through the rate).
    The heights are centred first, so that slope and scatter keep their digits. Arrays: shape (n,). Raises
    CannotEvaluate(TOO_FEW_READINGS) for one height.
    """
    return fit_line(height_mm, force_n).rate_fit(stated_sd_n)


def fit_line(height_mm: FloatArray, force_n: FloatArray) -> Line:
    """The line of `fit_rate`, from which a rate follows with whatever is stated of a reading. Arrays: shape (n,)."""
    force = finite(force_n, "forces", 1)
    places = of_places(_line_over, height_mm)
    model = places.factored.fit(force)
    level, slope = model.coefficients.tolist()
    return Line(
        intercept_n=level - slope * places.centre,
        slope_n_per_mm=slope,
        residual_sd_n=model.residual_sd,
        gain=places.gain,
        rough_rate_n_per_mm=float(force.max() - force.min()) / (places.high - places.low),
        readings=force.size,
        low_mm=places.low,
        high_mm=places.high,
    )


@frozen
class _LineOver:
    """What the heights alone say of a line over them: their middle and ends, and what fits it to any forces."""

    centre: float
    low: float
    high: float
    factored: _Factored

    @property
    def gain(self) -> float:
        return sqrt(self.factored.covariance_per_variance[1, 1])


def _line_over(height_mm: bytes) -> _LineOver:
    h = finite(np.frombuffer(height_mm), "heights", 1)
    _refuse_one_height(h)
    centre = float(h.mean())
    design = np.vander(h - centre, 2, increasing=True)
    return _LineOver(centre, float(h.min()), float(h.max()), _factored(design))


def _refuse_one_height(height_mm: FloatArray) -> None:
    if not (height_mm != height_mm[0]).any():
        raise CannotEvaluate(Reason.TOO_FEW_READINGS, Phrase("rate: found 1 heights, expected at least 2"))


def rate_curve(height_mm: FloatArray, force_n: FloatArray, window: int = 5) -> tuple[FloatArray, FloatArray]:
    """Local rate over height: straight lines through `window` neighbouring readings, at their mean heights.

    Returns heights (ascending) and rates, (m,) each; fewer readings than `window` give one point. Raises
    CannotEvaluate(TOO_FEW_READINGS) for one height.
    """
    force = finite(force_n, "forces", 1)
    windows, middle, gains = of_places(_slopes_along, height_mm, window)
    near = force[windows]
    mean = near.sum(axis=-1, keepdims=True) / near.shape[-1]
    return middle, read_only(-(gains * (near - mean)).sum(axis=-1))


def _slopes_along(height_mm: bytes, window: int) -> tuple[IntArray, FloatArray, FloatArray]:
    """Neighbouring heights, (m, w), their middle, (m,), and what makes a slope of their forces, (m, w)."""
    h = finite(np.frombuffer(height_mm), "heights", 1)
    _refuse_one_height(h)
    windows = sliding_window_view(np.argsort(h, kind="stable"), min(window, h.size))
    near = h[windows]
    middle = near.mean(axis=-1)
    aside = near - middle[:, None]
    return windows, read_only(middle), read_only(aside / np.sum(aside**2, axis=-1, keepdims=True))


def reading_noise(height_mm: FloatArray, force_n: FloatArray) -> float | None:
    """Standard deviation of one reading as seen: the least scatter about a line, a parabola or a cubic.

    A bent fit is tried only with three spare readings, so that it can't swallow the noise. None with two readings.
    `height_mm`, `force_n`: shape (n,); N.
    """
    basis, rest = of_places(_bent_lines, height_mm), finite(force_n, "forces", 1)
    if not basis:
        return None
    scatter = []
    for power, along in enumerate(basis, start=1):
        rest = rest - float(along @ rest) * along
        scatter.append(sqrt(float(rest @ rest) / (rest.size - power)))
    return min(scatter[1:])


def _bent_lines(height_mm: bytes) -> list[FloatArray]:
    """Powers of these heights made orthonormal, those that `reading_noise` tries, (n,) each; none for two heights."""
    h = finite(np.frombuffer(height_mm), "heights", 1)
    count = 1 + int(np.count_nonzero(np.diff(np.sort(h))))
    if count < 3:
        return []
    x = (h - h.mean()) / max(float(np.ptp(h)), 1e-12)
    powers: list[FloatArray] = [np.full(h.size, 1.0 / sqrt(h.size))]
    for _ in range(max(1, min(3, count - 4))):
        bent = x * powers[-1]
        for _ in range(2):  # once more for what rounding leaves
            for power in powers:
                bent = bent - (power @ bent) * power
        size = sqrt(float(bent @ bent))
        if size < 1e-13:
            break
        powers.append(bent / size)
    return powers
