"""One spring element: readings of force over height, and the force between them."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot

import numpy as np

from valvelab.arrays import FloatArray, finite, read_only
from valvelab.errors import CannotEvaluate, Reason
from valvelab.springs.rate import reading_noise

FALL_ALLOWED = 0.02
"""Largest fall of force on the way down that is taken as noise, as a share of the range of forces."""


@dataclass(frozen=True, slots=True)
class ForceCurve:
    """Readings of one stroke, heights ascending and each height once; forces fall towards tall heights.

    `repeat_sd_n`: standard deviation of one reading from repeated heights, None without repeats.
    """

    height_mm: FloatArray
    force_n: FloatArray
    repeat_sd_n: float | None = None

    @property
    def low_mm(self) -> float:
        """Least height read."""
        return float(self.height_mm[0])

    @property
    def high_mm(self) -> float:
        """Greatest height read."""
        return float(self.height_mm[-1])

    def within(self, low_mm: float, high_mm: float, slack_mm: float = 1e-6) -> ForceCurve | None:
        """The readings between two heights, ends included; None when there is none."""
        keep = (self.height_mm >= low_mm - slack_mm) & (self.height_mm <= high_mm + slack_mm)
        if not keep.any():
            return None
        return ForceCurve(read_only(self.height_mm[keep]), read_only(self.force_n[keep]), self.repeat_sd_n)


def force_curve(height_mm: FloatArray, force_n: FloatArray) -> ForceCurve:
    """Readings in any order to a curve: sorted, repeated heights averaged.

    Refuses fewer than two heights, heights at or below zero, and a force that falls while the spring is
    compressed by more than 2 % of the range of forces.
    """
    h = finite(height_mm, "heights", 1)
    force = finite(force_n, "forces", 1)
    if h.size != force.size:
        raise CannotEvaluate(Reason.BAD_VALUES, f"found {h.size} heights and {force.size} forces, expected as many")
    if (h <= 0.0).any():
        raise CannotEvaluate(Reason.BAD_VALUES, f"found height {h.min():g} mm, expected above 0")
    heights, index, counts = np.unique(np.round(h, 9), return_inverse=True, return_counts=True)
    if heights.size < 2:
        raise CannotEvaluate(
            Reason.TOO_FEW_READINGS, f"found readings at {heights.size} height, expected at least 2 heights"
        )
    means = np.bincount(index, force) / counts
    spare = int((counts - 1).sum())
    repeat = float(np.sqrt(np.sum((force - means[index]) ** 2) / spare)) if spare else None
    _refuse_falling(heights, means)
    return ForceCurve(read_only(heights), read_only(means), repeat)


def _refuse_falling(heights: FloatArray, forces: FloatArray) -> None:
    fall = np.diff(forces)
    worst = int(np.argmax(fall))
    if fall[worst] > FALL_ALLOWED * float(np.ptp(forces)) or forces[0] <= forces[-1]:
        raise CannotEvaluate(
            Reason.BAD_VALUES,
            f"found a force that falls from {forces[worst + 1]:g} N at {heights[worst + 1]:g} mm to "
            f"{forces[worst]:g} N at {heights[worst]:g} mm, expected a force that grows while the spring is compressed",
        )


def with_end(curve: ForceCurve, height_mm: float, force_n: float) -> ForceCurve:
    """The curve above `height_mm`, ended there by a point of its own (where the coils close)."""
    keep = curve.height_mm > height_mm + 1e-6
    return ForceCurve(
        read_only(np.concatenate([[height_mm], curve.height_mm[keep]])),
        read_only(np.concatenate([[force_n], curve.force_n[keep]])),
        curve.repeat_sd_n,
    )


def monotone_cubic(x: FloatArray, y: FloatArray, at: float) -> float:
    """Value at `at` of the local cubic interpolant that keeps monotone data monotone; `x` ascending.

    Three-point end slopes, weighted harmonic means inside. Source: Fritsch and Butland, SIAM J. Sci. Stat.
    Comput. 5 (1984) 300.
    """
    if x.size == 2:
        return float(y[0] + (y[1] - y[0]) * (at - x[0]) / (x[1] - x[0]))
    i = int(np.clip(np.searchsorted(x, at, side="right") - 1, 0, x.size - 2))
    step = x[i + 1] - x[i]
    t = (at - x[i]) / step
    left, right = _slope(x, y, i), _slope(x, y, i + 1)
    value = (
        (1 + 2 * t) * (1 - t) ** 2 * y[i]
        + t * (1 - t) ** 2 * step * left
        + t**2 * (3 - 2 * t) * y[i + 1]
        + t**2 * (t - 1) * step * right
    )
    return float(value)


def _slope(x: FloatArray, y: FloatArray, i: int) -> float:
    """Slope of the interpolant at knot `i`."""
    if 0 < i < x.size - 1:
        h0, h1 = x[i] - x[i - 1], x[i + 1] - x[i]
        d0, d1 = (y[i] - y[i - 1]) / h0, (y[i + 1] - y[i]) / h1
        if d0 * d1 <= 0.0:
            return 0.0
        w0, w1 = 2 * h1 + h0, h1 + 2 * h0
        return float((w0 + w1) / (w0 / d0 + w1 / d1))
    j, k, m = (0, 1, 2) if i == 0 else (i, i - 1, i - 2)
    h0, h1 = abs(x[k] - x[j]), abs(x[m] - x[k])
    d0, d1 = (y[k] - y[j]) / (x[k] - x[j]), (y[m] - y[k]) / (x[m] - x[k])
    slope = ((2 * h0 + h1) * d0 - h0 * d1) / (h0 + h1)
    if slope * d0 <= 0.0:
        return 0.0
    return float(3 * d0 if d0 * d1 <= 0.0 and abs(slope) > abs(3 * d0) else slope)


def force_at(curve: ForceCurve, height_mm: float) -> float:
    """Force at a height by local monotone interpolation of the readings; refuses a height outside them."""
    slack = 1e-6
    if not curve.low_mm - slack <= height_mm <= curve.high_mm + slack:
        raise CannotEvaluate(
            Reason.NOT_REACHED,
            f"height {height_mm:g} mm lies outside the readings from {curve.low_mm:g} to {curve.high_mm:g} mm",
        )
    return monotone_cubic(curve.height_mm, curve.force_n, min(max(height_mm, curve.low_mm), curve.high_mm))


@dataclass(frozen=True, slots=True)
class ReadingUncertainty:
    """Stated standard uncertainties of the tester; None where nothing is stated."""

    force_n: float | None = None
    height_mm: float | None = None

    def at_rate(self, rate_n_per_mm: float) -> float | None:
        """Stated uncertainty of one reading as a force, the height's part through the rate."""
        if self.force_n is None and self.height_mm is None:
            return None
        return hypot(self.force_n or 0.0, (self.height_mm or 0.0) * rate_n_per_mm)


def noise_of(curve: ForceCurve) -> float | None:
    """Noise of one reading: from repeats where there are some, else from the scatter about a smooth curve."""
    return curve.repeat_sd_n if curve.repeat_sd_n is not None else reading_noise(curve.height_mm, curve.force_n)


def force_uncertainty(curve: ForceCurve, height_mm: float, stated: ReadingUncertainty) -> float | None:
    """Standard uncertainty of `force_at`: noise seen through the interpolation, tester's force and height in full.

    What is stated for the tester is common to neighbouring readings, so interpolation does not lessen it. Law of
    propagation, sensitivities by central differences. None when neither noise nor a statement is known.
    Source: JCGM 100:2008, clause 5.1.
    """
    noise = interpolated_noise(curve, height_mm)
    stated_sd = stated.at_rate(slope_at(curve, height_mm))
    if noise is None and stated_sd is None:
        return None
    return hypot(noise or 0.0, stated_sd or 0.0)


def interpolated_noise(curve: ForceCurve, height_mm: float) -> float | None:
    """Standard deviation of `force_at` from the noise of the readings alone, None where that is not known."""
    noise = noise_of(curve)
    if noise is None:
        return None
    x, y = curve.height_mm, curve.force_n
    step = 1e-3 * float(np.ptp(y))
    value = min(max(height_mm, curve.low_mm), curve.high_mm)
    left = int(np.searchsorted(x, value, side="right")) - 1
    gains = []
    for i in range(max(min(left, x.size - 2) - 1, 0), min(left + 3, x.size)):
        push = np.zeros(x.size)
        push[i] = step
        gains.append((monotone_cubic(x, y + push, value) - monotone_cubic(x, y - push, value)) / (2 * step))
    return noise * hypot(*gains)


def slope_at(curve: ForceCurve, height_mm: float) -> float:
    """Local rate at a height, positive, from the readings either side."""
    i = min(max(int(np.searchsorted(curve.height_mm, height_mm)), 1), curve.height_mm.size - 1)
    rise = curve.force_n[i - 1] - curve.force_n[i]
    return float(rise / (curve.height_mm[i] - curve.height_mm[i - 1]))


def hysteresis(compress: ForceCurve, release: ForceCurve) -> float:
    """Mean of compress − release at equal heights; where no height is shared, at the heights of `compress` between.

    Refuses strokes that share no range of heights.
    """
    shared, i, j = np.intersect1d(np.round(compress.height_mm, 6), np.round(release.height_mm, 6), return_indices=True)
    if shared.size:
        return float(np.mean(compress.force_n[i] - release.force_n[j]))
    inside = compress.within(release.low_mm, release.high_mm)
    if inside is None:
        raise CannotEvaluate(Reason.NOT_REACHED, "the two strokes share no height")
    differences = [f - force_at(release, h) for h, f in zip(inside.height_mm, inside.force_n, strict=True)]
    return float(np.mean(differences))
