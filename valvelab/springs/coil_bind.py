"""Where the coils close: the steep knee at the low end of the readings.

Source: own method, held against invented springs of known knee; common practice gives none.
"""

from __future__ import annotations

import numpy as np

from valvelab.arrays import FloatArray, rectangular_sd
from valvelab.frozen import frozen
from valvelab.springs.rate import LinearModel, polynomial, reading_noise
from valvelab.springs.spring import ForceCurve

STEEPNESS = 3.0
"""How many times the local rate a stretch has to reach to count as coils closing (ours; no source)."""
NEIGHBOURS = 6
_AT_MOST = 2.0
"""Scatter seen about the line of so few readings may truly be so many times as large (χ² of 4 degrees, 95 %)."""


@frozen
class Knee:
    """Solid height as the readings show it.

    `force_n` is the spring's own force there; `first_past` is the index, heights ascending, below which (and
    with which) readings are past coil bind, so `usable_from = first_past + 1`.
    """

    solid_height_mm: float
    standard_uncertainty_mm: float
    force_n: float
    first_past: int


def find_knee(curve: ForceCurve, height_sd_mm: float | None = None) -> Knee | None:
    """The knee, or None when the readings did not go to coil bind.

    height_sd_mm: the stated standard uncertainty of one height, None where none is.

    Going down in height, the knee is where every further stretch is at least three times as steep as the
    readings before it and the force leaves their trend by more than noise. The solid height is where the line
    through the readings past it meets the trend; with one reading past it, the middle of what is possible.
    """
    h, force = curve.height_mm[::-1], curve.force_n[::-1]
    n = h.size
    if n < 4:
        return None
    slopes = (force[1:] - force[:-1]) / (h[:-1] - h[1:])
    # a rate by least squares is no less than that of the flattest stretch; what is left of the factor is for rounding
    if slopes.max() < 0.9 * STEEPNESS * slopes.min():
        return None
    start = _first_steep_stretch(h, force, slopes)
    if start is None:
        return None
    last_free = _last_free(h, force, slopes, start)
    trend = _trend(h[: last_free + 1], force[: last_free + 1])
    past_h, past_force = h[last_free + 1 :], force[last_free + 1 :]
    first_past = n - 1 - (last_free + 1)
    if past_h.size >= 2:
        possible = float(past_h[0]), float(h[last_free])
        solid, u = _meeting(trend, past_h, past_force, possible, curve.least_sd_n, height_sd_mm or 0.0)
    else:
        solid, u = _one_reading(trend, float(past_h[0]), float(past_force[0]), float(h[last_free]))
    return Knee(solid, u, trend.at(solid), first_past)


@frozen
class _Trend:
    """A line or a parabola about `centre`."""

    centre: float
    model: LinearModel

    @property
    def noise(self) -> float:
        """Scatter of one reading about it."""
        return self.model.residual_sd or 0.0

    def at(self, height: float) -> float:
        return sum(size * (height - self.centre) ** power for power, size in enumerate(self._sizes()))

    def rate(self, height: float) -> float:
        along = height - self.centre
        return -sum(power * size * along ** (power - 1) for power, size in enumerate(self._sizes()) if power)

    def _sizes(self) -> list[float]:
        sizes: list[float] = self.model.coefficients.tolist()
        return sizes

    def variance(self, height: float, noise: float) -> float:
        """Variance of `at` when one reading scatters by `noise`."""
        powers = (height - self.centre) ** np.arange(self.model.coefficients.size)
        return float(noise**2 * (powers @ self.model.covariance_per_variance @ powers))


def _trend(h: FloatArray, force: FloatArray) -> _Trend:
    """Trend of the last readings before the knee (h descending); a parabola where it fits clearly better."""
    near, f = h[-NEIGHBOURS:], force[-NEIGHBOURS:]
    centre = float(near[-1])
    model = polynomial(near - centre, f, min(1, near.size - 1))
    if near.size >= 5:
        bent = polynomial(near - centre, f, 2)
        flat_sd, bent_sd = model.residual_sd or 0.0, bent.residual_sd or 0.0
        if bent_sd < 0.5 * flat_sd and bent.coefficients[2] > 0.0:
            model = bent
    return _Trend(centre, model)


def _first_steep_stretch(h: FloatArray, force: FloatArray, slopes: FloatArray) -> int | None:
    """Index of the first of the steep stretches that end the readings (heights descending), or None."""
    flattest = np.minimum.accumulate(slopes[::-1])[::-1]
    local = _local_rates(h, force)[: slopes.size]
    steep = (local > 0.0) & (flattest >= STEEPNESS * local)
    for start in (np.flatnonzero(steep[2:]) + 2).tolist():
        trend = _trend(h[: start + 1], force[: start + 1])
        noise = max(trend.noise, reading_noise(h[: start + 1], force[: start + 1]) or 0.0)
        excess = force[-1] - trend.at(float(h[-1]))
        if excess > max(6.0 * noise, 0.02 * abs(trend.at(float(h[-1])))):
            return start
    return None


def _local_rates(h: FloatArray, force: FloatArray) -> FloatArray:
    """Rate of the line through each reading and its neighbours before it, as many as there are."""
    x, y = h - h[0], force - force[0]
    sums = np.zeros((4, h.size + 1))
    np.cumsum([x, y, x * y, x * x], axis=1, out=sums[:, 1:])
    last = np.arange(2, h.size + 1)
    first = np.maximum(last - NEIGHBOURS, 0)
    along, up, both, square = sums[:, last] - sums[:, first]
    count = last - first
    rates = np.zeros(h.size)
    rates[1:] = -(both - along * up / count) / (square - along**2 / count)
    return rates


def _last_free(h: FloatArray, force: FloatArray, slopes: FloatArray, start: int) -> int:
    """Index of the last reading still on the trend: the knee may lie inside the stretch before the steep ones."""
    if start < 3:
        return start
    trend = _trend(h[:start], force[:start])
    noise = max(trend.noise, reading_noise(h[:start], force[:start]) or 0.0)
    excess = force[start] - trend.at(float(h[start]))
    leaves = excess > max(5.0 * noise, 0.02 * abs(force[start])) and slopes[start - 1] > 1.3 * trend.rate(h[start - 1])
    return start - 1 if leaves else start


def _meeting(
    trend: _Trend,
    past_h: FloatArray,
    past_force: FloatArray,
    possible: tuple[float, float],
    least_sd_n: float,
    height_sd_mm: float,
) -> tuple[float, float]:
    """Where the line through the readings past the knee meets the trend, kept within `possible`, and its uncertainty.

    Coils may close one after another: then the line runs through the steepest stretch and what is as steep. Scatter
    of one reading as seen about the trend, or about that line where it is more; law of propagation. Past the knee a
    height that is off moves the force many times more: by what is stated of heights, of which the trend's scatter
    shows how much changes from one to the next.
    """
    slopes = np.diff(past_force) / -np.diff(past_h)
    first = int(np.argmax(slopes >= 0.5 * slopes.max()))
    low, high = possible
    if first > 0:
        low, high = float(past_h[first]), float(past_h[first - 1])
    centre = float(past_h[first])
    closed = _Trend(centre, polynomial(past_h[first:] - centre, past_force[first:], 1))
    steep, solid = closed.rate(centre), centre
    for _ in range(3):
        rate = trend.rate(solid)
        if steep <= rate:
            return centre, rectangular_sd(abs(high - low))
        solid += (closed.at(solid) - trend.at(solid)) / (steep - rate)
    noise = max(trend.noise, closed.noise, least_sd_n)
    rate = trend.rate(solid)
    height_sd = min(height_sd_mm, _AT_MOST * noise / rate) if rate > 0.0 else height_sd_mm
    variance = trend.variance(solid, noise) + closed.variance(solid, max(noise, height_sd * steep))
    return float(np.clip(solid, low, high)), float(np.sqrt(variance)) / (steep - rate)


def _one_reading(trend: _Trend, past_h: float, past_force: float, free_h: float) -> tuple[float, float]:
    """One reading past the knee: the knee lies between it and where a line three times the rate would start."""
    excess = past_force - trend.at(past_h)
    reach = min(free_h - past_h, excess / ((STEEPNESS - 1.0) * max(trend.rate(past_h), 1e-9)))
    return past_h + 0.5 * reach, rectangular_sd(reach)
