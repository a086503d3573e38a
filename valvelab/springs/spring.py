"""One spring element: readings of force over height, and the force between them.

Sources: JCGM 100:2008 (uncertainty); Fritsch and Butland 1984 (interpolation between readings).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import replace
from math import hypot
from typing import Any

import numpy as np
from numpy.typing import NDArray

from valvelab.arrays import FloatArray, IntArray, finite, read_only, rectangular_sd
from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.measured import Once
from valvelab.phrase import Phrase
from valvelab.springs.rate import of_places, reading_noise

FALL_ALLOWED = 0.02
"""Largest fall of force on the way down that is taken as noise, as a share of the range of forces."""


@frozen
class ReadingUncertainty:
    """What is known of the tester: stated standard uncertainties and its divisions; None where nothing is.

    over_force: forces ascending with the standard uncertainty of each, (n,) in N, where a card gives it force by force.
    """

    force_n: float | None = None
    height_mm: float | None = None
    force_division_n: float | None = None
    height_division_mm: float | None = None
    over_force: tuple[FloatArray, FloatArray] | None = None

    def among(self, force_n: FloatArray | float) -> ReadingUncertainty:
        """The same for readings of these forces alone, any shape in N: the greatest that the card gives them."""
        if self.over_force is None or self.force_n is None:
            return self
        return replace(self, force_n=float(np.max(np.interp(force_n, *self.over_force))))

    def at_rate(self, rate_n_per_mm: float) -> float | None:
        """Stated uncertainty of one reading as a force, the height's part through the rate, in N."""
        if self.force_n is None and self.height_mm is None:
            return None
        return hypot(self.force_n or 0.0, (self.height_mm or 0.0) * rate_n_per_mm)

    def of_length(self) -> float | None:
        """Standard uncertainty of one length read at it, stated and division together, in mm; None where unknown.

        Source: JCGM 100:2008, 4.3.7 and 5.1.2.
        """
        return hypot(self.height_mm or 0.0, rectangular_sd(self.height_division_mm or 0.0)) or None

    def least_sd(self, rate_n_per_mm: float) -> float:
        """Standard deviation in N that one reading has at least, a division over √12 (JCGM 100:2008, F.2.2.1)."""
        return rectangular_sd(hypot(self.force_division_n or 0.0, (self.height_division_mm or 0.0) * rate_n_per_mm))


NOTHING_STATED = ReadingUncertainty()


@frozen(eq=False)
class ForceCurve(Once):
    """Readings of one stroke, heights ascending and each height once; forces fall towards tall heights.

    `repeat_sd_n`: standard deviation of one reading from repeated heights (of the mean, where one height alone was
    read), None without repeats. `least_sd_n`: what one reading's standard deviation is at least, for the tester's
    divisions; 0 where none are known.
    """

    height_mm: FloatArray
    force_n: FloatArray
    repeat_sd_n: float | None = None
    least_sd_n: float = 0.0

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
        keep = self.between(low_mm, high_mm, slack_mm)
        return self.part(keep) if keep.start < keep.stop else None

    def between(self, low_mm: float, high_mm: float, slack_mm: float = 1e-6) -> slice:
        """Where the readings between two heights stand, ends included."""
        heights, _ = self.numbers
        return slice(bisect_left(heights, low_mm - slack_mm), bisect_right(heights, high_mm + slack_mm))

    @property
    def numbers(self) -> tuple[list[float], list[float]]:
        """Heights and forces as plain numbers, which cost less than an array's one by one."""
        return self.once(_plain)

    def part(self, keep: NDArray[np.bool_] | slice) -> ForceCurve:
        """The readings that are kept. `keep`: shape (n,) where it is a mask; no unit."""
        height, force = read_only(self.height_mm[keep].copy()), read_only(self.force_n[keep].copy())
        return ForceCurve(height, force, self.repeat_sd_n, self.least_sd_n)


def _plain(curve: ForceCurve) -> tuple[list[float], list[float]]:
    return curve.height_mm.tolist(), curve.force_n.tolist()


def force_curve(
    height_mm: FloatArray, force_n: FloatArray, divisions: ReadingUncertainty = NOTHING_STATED
) -> ForceCurve:
    """Readings (n,) in mm and N in any order to a curve: sorted, repeated heights averaged.

    `divisions`: those of the tester, for the least scatter of a reading. Refuses heights at or below zero, and a force
    that falls while the spring is compressed by more than 2 % of the range of forces.
    """
    h = finite(height_mm, "heights", 1)
    force = finite(force_n, "forces", 1)
    if h.size != force.size:
        raise CannotEvaluate(
            Reason.BAD_VALUES,
            Phrase("found {size} heights and {other} forces, expected as many", size=h.size, other=force.size),
        )
    heights, means, repeat = _averaged(h, force)
    rate = 0.0
    if heights.size > 1:
        span = float(means.max() - means.min())
        _refuse_falling(heights, means, FALL_ALLOWED * span)
        rate = span / float(heights[-1] - heights[0])
    return ForceCurve(read_only(heights), read_only(means), repeat, divisions.least_sd(rate))


def _averaged(height: FloatArray, force: FloatArray) -> tuple[FloatArray, FloatArray, float | None]:
    """Heights ascending and each once, mean forces there, and the standard deviation of one reading by the repeats."""
    ascending, order, each_once = of_places(_in_order, height)
    if each_once:
        return ascending, force[order], None
    heights, index, counts = np.unique(_rounded(height), return_inverse=True, return_counts=True)
    means = np.bincount(index, force) / counts
    return heights, means, float(np.sqrt(np.sum((force - means[index]) ** 2) / (counts - 1).sum()))


def _in_order(height_mm: bytes) -> tuple[FloatArray, IntArray, bool]:
    """Heights ascending, which of those read stands at each place, and whether each was read once."""
    height = np.frombuffer(height_mm)
    if (height <= 0.0).any():
        least = f"{height.min():g}"
        raise CannotEvaluate(Reason.BAD_VALUES, Phrase("found height {min} mm, expected above 0", min=least))
    rounded = _rounded(height)
    order = np.argsort(rounded)
    ascending = read_only(rounded[order])
    return ascending, order, bool((ascending[1:] > ascending[:-1]).all())


def _rounded(height: FloatArray) -> FloatArray:
    """Heights without what a change of units leaves."""
    return np.round(height, 9)


def _refuse_falling(heights: FloatArray, forces: FloatArray, allowed: float) -> None:
    fall = forces[1:] - forces[:-1]
    worst = int(np.argmax(fall))
    if fall[worst] > allowed or forces[0] <= forces[-1]:
        raise CannotEvaluate(
            Reason.BAD_VALUES,
            Phrase(
                "found a force that falls from {forces} N at {heights} mm to {next_force} N at {next_height} "
                "mm, expected a force that grows while the spring is compressed",
                forces=f"{forces[worst + 1]:g}",
                heights=f"{heights[worst + 1]:g}",
                next_force=f"{forces[worst]:g}",
                next_height=f"{heights[worst]:g}",
            ),
        )


def with_end(curve: ForceCurve, height_mm: float, force_n: float) -> ForceCurve:
    """The curve above `height_mm`, ended there by a point of its own (where the coils close)."""
    above = curve.part(curve.height_mm > height_mm + 1e-6)
    return replace(
        above,
        height_mm=read_only(np.concatenate([[height_mm], above.height_mm])),
        force_n=read_only(np.concatenate([[force_n], above.force_n])),
    )


def monotone_cubic(x: FloatArray, y: FloatArray, at: float) -> float:
    """Value at `at` of the local cubic interpolant that keeps monotone data monotone; `x` ascending.

    Three-point end slopes, weighted harmonic means inside. Source: Fritsch and Butland, SIAM J. Sci. Stat.
    Comput. 5 (1984) 300. `x`, `y`: shape (n,), any units.
    """
    return _cubic(x.tolist(), y.tolist(), at)


def _cubic(x: list[float], y: list[float], at: float) -> float:
    """The same of plain numbers."""
    if len(x) == 1:
        return y[0]
    if len(x) == 2:
        return y[0] + (y[1] - y[0]) * (at - x[0]) / (x[1] - x[0])
    i = min(max(bisect_right(x, at) - 1, 0), len(x) - 2)
    if at in (x[i], x[i + 1]):  # the cubic runs through its knots
        return y[i] if at == x[i] else y[i + 1]
    return float(_between(x, y, i, at, _slope(x, y, i), _slope(x, y, i + 1)))


def _between(x: Any, y: Any, i: Any, at: Any, left: Any, right: Any) -> Any:
    """The cubic between knots `i` and `i + 1` with these slopes there, for one place or for (m,) of each."""
    step = x[i + 1] - x[i]
    t = (at - x[i]) / step
    return (
        (1 + 2 * t) * (1 - t) ** 2 * y[i]
        + t * (1 - t) ** 2 * step * left
        + t**2 * (3 - 2 * t) * y[i + 1]
        + t**2 * (t - 1) * step * right
    )


def _slope(x: list[float], y: list[float], i: int) -> float:
    """Slope of the interpolant at knot `i`."""
    if 0 < i < len(x) - 1:
        h0, h1 = x[i] - x[i - 1], x[i + 1] - x[i]
        d0, d1 = (y[i] - y[i - 1]) / h0, (y[i + 1] - y[i]) / h1
        if d0 * d1 <= 0.0:
            return 0.0
        w0, w1 = 2 * h1 + h0, h1 + 2 * h0
        return (w0 + w1) / (w0 / d0 + w1 / d1)
    j, k, m = (0, 1, 2) if i == 0 else (i, i - 1, i - 2)
    h0, h1 = abs(x[k] - x[j]), abs(x[m] - x[k])
    d0, d1 = (y[k] - y[j]) / (x[k] - x[j]), (y[m] - y[k]) / (x[m] - x[k])
    slope = ((2 * h0 + h1) * d0 - h0 * d1) / (h0 + h1)
    if slope * d0 <= 0.0:
        return 0.0
    return 3 * d0 if d0 * d1 <= 0.0 and abs(slope) > abs(3 * d0) else slope


def force_at(curve: ForceCurve, height_mm: float) -> float:
    """Force at a height by local monotone interpolation of the readings; refuses a height outside them.

    In N. Raises CannotEvaluate(NOT_REACHED).
    """
    slack = 1e-6
    if not curve.low_mm - slack <= height_mm <= curve.high_mm + slack:
        raise CannotEvaluate(
            Reason.NOT_REACHED,
            Phrase(
                "height {height} mm lies outside the readings from {low} to {high} mm",
                height=f"{height_mm:g}",
                low=f"{curve.low_mm:g}",
                high=f"{curve.high_mm:g}",
            ),
        )
    x, y, value = _about(curve, height_mm)
    return _cubic(x, y, value)


_REACH = 3
"""Readings to either side that the interpolant may follow from."""


def _about(curve: ForceCurve, height_mm: float) -> tuple[list[float], list[float], float]:
    """The readings that the force at a height follows from, and that height, kept within the curve."""
    heights, forces = curve.numbers
    value = min(max(height_mm, heights[0]), heights[-1])
    at = bisect_right(heights, value)
    part = slice(max(min(at, len(heights) - 1) - _REACH, 0), at + _REACH)
    return heights[part], forces[part], value


def forces_at(curve: ForceCurve, height_mm: FloatArray) -> FloatArray:
    """`force_at` at many heights, shape (m,) in mm to (m,) in N; NaN at a height outside the readings."""
    x, y = curve.height_mm, curve.force_n
    inside = (height_mm >= x[0] - 1e-6) & (height_mm <= x[-1] + 1e-6)
    at = np.clip(height_mm, x[0], x[-1])
    if x.size < 3:
        force = np.array([monotone_cubic(x, y, float(one)) for one in at])
    else:
        xs, ys = x.tolist(), y.tolist()
        slope = np.array([_slope(xs, ys, i) for i in range(x.size)])
        i = np.clip(np.searchsorted(x, at, side="right") - 1, 0, x.size - 2)
        force = np.asarray(_between(x, y, i, at, slope[i], slope[i + 1]))
    return np.where(inside, force, np.nan)


def noise_of(curve: ForceCurve) -> float | None:
    """Noise of one reading: from repeats where there are some, else from the scatter about a smooth curve.

    Never below what the tester's divisions leave; None where neither is known. In N.
    """
    return curve.once(_noise)


def _noise(curve: ForceCurve) -> float | None:
    seen = curve.repeat_sd_n
    if seen is None and curve.height_mm.size > 1:
        seen = reading_noise(curve.height_mm, curve.force_n)
    if seen is not None and seen < 1e-9 * max(map(abs, curve.numbers[1])):
        seen = None  # a calculated line, or one reading twice: no scatter was seen, which is not to say there is none
    return max(seen or 0.0, curve.least_sd_n) or None


def force_uncertainty(curve: ForceCurve, height_mm: float, stated: ReadingUncertainty) -> float | None:
    """Standard uncertainty of `force_at`: noise seen through the interpolation, tester's force and height in full.

    What is stated for the tester is common to neighbouring readings, so interpolation does not lessen it. Law of
    propagation, sensitivities by central differences. None when neither noise nor a statement is known.
    Source: JCGM 100:2008, clause 5.1. In N.
    """
    noise = interpolated_noise(curve, height_mm)
    stated_sd = stated.among(force_at(curve, height_mm)).at_rate(slope_at(curve, height_mm))
    if noise is None and stated_sd is None:
        return None
    return hypot(noise or 0.0, stated_sd or 0.0)


def interpolated_noise(curve: ForceCurve, height_mm: float) -> float | None:
    """Standard deviation of `force_at` from the noise of the readings alone, None where that is not known."""
    noise = noise_of(curve)
    if noise is None:
        return None
    x, y, value = _about(curve, height_mm)
    step = 1e-3 * (curve.once(_force_range) or 1.0)

    def moved(i: int, by: float) -> float:
        other = y.copy()
        other[i] += by
        return _cubic(x, other, value)

    left = bisect_right(x, value) - 1
    near = range(max(min(left, len(x) - 2) - 1, 0), min(left + 3, len(x)))
    if x[left] == value and len(x) != 2:  # of three or more the reading at this height alone says the force there
        near = range(left, left + 1)
    return noise * hypot(*((moved(i, step) - moved(i, -step)) / (2 * step) for i in near))


def _force_range(curve: ForceCurve) -> float:
    _, forces = curve.numbers
    return max(forces) - min(forces)


def slope_at(curve: ForceCurve, height_mm: float) -> float:
    """Local rate at a height, positive, from the readings either side; 0 where one height alone was read. N/mm."""
    heights, forces = curve.numbers
    if len(heights) < 2:
        return 0.0
    i = min(max(bisect_left(heights, height_mm), 1), len(heights) - 1)
    return (forces[i - 1] - forces[i]) / (heights[i] - heights[i - 1])


def hysteresis(compress: ForceCurve, release: ForceCurve) -> float:
    """Mean of compress − release at equal heights; where no height is shared, at the heights of `compress` between.

    Refuses strokes that share no range of heights.
    """
    shared, i, j = np.intersect1d(np.round(compress.height_mm, 6), np.round(release.height_mm, 6), return_indices=True)
    if shared.size:
        return float(np.mean(compress.force_n[i] - release.force_n[j]))
    inside = compress.within(release.low_mm, release.high_mm)
    if inside is None:
        raise CannotEvaluate(Reason.NOT_REACHED, Phrase("the two strokes share no height"))
    differences = [f - force_at(release, h) for h, f in zip(inside.height_mm, inside.force_n, strict=True)]
    return float(np.mean(differences))
