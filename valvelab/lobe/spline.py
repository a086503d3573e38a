"""Septic splines on uniform knots: one coefficient array, values and all derivatives from it.

A degree-7 spline keeps six derivatives continuous, so the jerk is smooth. Knots stand `step` apart from
`start`; on a periodic spline they close the circle, on an open one they span the table's own range.
Source: standard B-spline theory (cardinal B-splines).
"""

from __future__ import annotations

from functools import cache
from math import comb, factorial

import numpy as np
from numpy.typing import ArrayLike

from valvelab.arrays import FloatArray, read_only
from valvelab.frozen import frozen

DEGREE = 7
_HALF = 4
AT_ONCE = 1024
"""Places evaluated together, so that what they need stays in the processor's cache."""


@cache
def local_polynomials() -> FloatArray:
    """Shape (8, 8): row i holds the powers of t (0 ≤ t < 1) of the i-th basis function alive on one interval.

    Row 0 belongs to the knot three before the interval's left end, row 7 to the knot four after it. Plain numbers.
    """
    rows = np.zeros((DEGREE + 1, DEGREE + 1))
    for i in range(DEGREE + 1):
        # B(u) = Σ_j (−1)^j C(8, j) (u + 4 − j)₊^7 / 7!, with u = t + 3 − i
        shift = 3 - i + _HALF
        for j in range(DEGREE + 2):
            offset = shift - j
            if offset < 0:
                continue
            weight = (-1) ** j * comb(DEGREE + 1, j) / factorial(DEGREE)
            for power in range(DEGREE + 1):
                rows[i, power] += weight * comb(DEGREE, power) * float(offset) ** (DEGREE - power)
    return read_only(rows)


@cache
def basis_rows(order: int) -> FloatArray:
    """Shape (8, 8 − order): the same rows differentiated `order` times by t. Plain numbers."""
    rows = np.array(local_polynomials())
    for _ in range(order):
        rows = rows[:, 1:] * np.arange(1, rows.shape[1])
    return read_only(rows)


def basis_at(t: FloatArray, order: int = 0) -> FloatArray:
    """Shape (…, 8): the eight basis weights at local coordinates t, (…), differentiated `order` times by t."""
    rows = basis_rows(order)
    powers = np.empty((*t.shape, rows.shape[1]))
    powers[..., 0] = 1.0
    for power in range(1, rows.shape[1]):
        np.multiply(powers[..., power - 1], t, out=powers[..., power])
    return np.asarray(powers @ rows.T)


@cache
def symbol_weights(order: int = 0) -> FloatArray:
    """Shape (7,): basis derivatives at a knot, for coefficients from three before to three after it. Plain numbers."""
    return read_only(np.array(basis_at(np.zeros(1), order)[0, :7]))


def symbol(frequency: FloatArray) -> FloatArray:
    """Fourier symbol of the basis at the knots; `frequency` in radians per knot. Plain number, shape as given."""
    weights = symbol_weights()
    total = np.full_like(frequency, weights[3])
    for lag in range(1, 4):
        total += 2.0 * weights[3 + lag] * np.cos(lag * frequency)
    return total


@frozen
class SplineSet:
    """Splines of several lobes over shared knots.

    padded: shape (lobes, intervals + 7), coefficients of the knots −3 … intervals + 3, read-only.
    start, step in cam deg. `periodic`: the last knot is the first again.
    """

    padded: FloatArray
    start: float
    step: float
    periodic: bool

    @property
    def intervals(self) -> int:
        """How many knot intervals."""
        return int(self.padded.shape[1]) - DEGREE

    @property
    def span(self) -> float:
        """Angle from the first to the last knot. Cam deg."""
        return self.intervals * self.step

    def locate(self, angle: ArrayLike) -> tuple[np.ndarray[tuple[int, ...], np.dtype[np.int64]], FloatArray]:
        """Interval index and local coordinate of angles, by whole turns; outside an open spline held to its ends.

        Angles in cam deg, any shape; the coordinate is a plain number, 0 to 1.
        """
        x = np.asarray(angle, dtype=np.float64) - self.start
        if self.periodic:
            x = np.mod(x / self.step, self.intervals)
        else:
            x = np.clip(self._on_this_turn(x) / self.step, 0.0, self.intervals)
        index = np.minimum(x.astype(np.int64), self.intervals - 1)
        return index, x - index

    def _on_this_turn(self, offset: FloatArray) -> FloatArray:
        """Offsets from the start of an open spline, by whole turns next to its middle."""
        middle, turn = 0.5 * self.span, max(360.0, self.span + self.step)
        return np.asarray(np.mod(offset - middle + 0.5 * turn, turn) - 0.5 * turn + middle)

    def evaluate(self, lobe: ArrayLike, angle: ArrayLike, order: int = 0) -> FloatArray:
        """Value or derivative (per cam deg) at any angles of one lobe, or of lobes that broadcast to the angles' shape.

        Outside an open spline's range everything is 0.
        """
        angles = np.asarray(angle, dtype=np.float64)
        some = np.atleast_1d(angles)
        value = self.at(lobe, *self.locate(some), order)
        if not self.periodic:
            from_middle = np.abs(self._on_this_turn(some - self.start) - 0.5 * self.span)
            value = np.where(from_middle > 0.5 * self.span + 1e-6 * self.step, 0.0, value)
        return value.reshape(angles.shape)

    def at(self, lobe: ArrayLike, index: ArrayLike, t: FloatArray, order: int = 0) -> FloatArray:
        """Value or derivative at local coordinates: index and t share one shape, with whose last axis lobe agrees.

        Lobes of shape (lobes, 1) give all places on each.
        """
        first = np.asarray(lobe) * self.padded.shape[1] + index
        coefficients, total = self.padded.ravel(), np.empty(first.shape)
        for start in range(0, t.shape[-1], AT_ONCE):
            part = (..., slice(start, start + AT_ONCE))
            local = coefficients.take(first[part][..., None] + np.arange(DEGREE + 1))
            np.einsum("...j,...j->...", basis_at(t[part], order), local, out=total[part])
        return total * self.step ** (-order)

    def at_knots(self, order: int = 0) -> FloatArray:
        """Shape (lobes, intervals + 1): value or derivative at every knot, the last one included. In mm, by cam deg."""
        weights = symbol_weights(order)
        width = self.intervals + 1
        # the eighth weight at a knot is zero, so intervals + 7 coefficients reach the last knot too
        scaled = weights * self.step ** (-order)
        total = scaled[3] * self.padded[:, 3 : 3 + width]
        part = np.empty_like(total)
        # the basis is even, so its derivatives are even or odd: each weight serves both sides
        join = np.add if order % 2 == 0 else np.subtract
        for before, after in ((0, 6), (1, 5), (2, 4)):
            join(self.padded[:, before : before + width], self.padded[:, after : after + width], out=part)
            part *= scaled[before]
            total += part
        return np.asarray(total)

    def blurred(self, half_harmonic: float) -> SplineSet:
        """The same splines less their fine detail: a Gaussian filter halves the given harmonic of the turn.

        An open spline is continued by point reflection at its ends. The harmonic is a plain number, of the turn.
        """
        n = self.padded.shape[1]
        rows = self.padded[:, 3 : n - 4]
        if not self.periodic:
            first, last = self.padded[:, :1], self.padded[:, -1:]
            before, after = 2.0 * first - self.padded[:, :0:-1], 2.0 * last - self.padded[:, -2::-1]
            rows = np.concatenate([before, self.padded, after], axis=1)
        size = rows.shape[1]
        turns = size * self.step / 360.0
        gain = 2.0 ** -((np.arange(size // 2 + 1) / (half_harmonic * turns)) ** 2)
        # the reflected ends differ by a straight line's rise, which the filter leaves alone
        trend = np.zeros_like(rows) if self.periodic else np.linspace(rows[:, 0], rows[:, -1], size, axis=1)
        smooth = trend + np.fft.irfft(np.fft.rfft(rows - trend, axis=1) * gain, size, axis=1)
        padded = periodic_padding(smooth) if self.periodic else read_only(smooth[:, n - 1 : 2 * n - 1])
        return SplineSet(padded, self.start, self.step, self.periodic)

    def knots(self) -> FloatArray:
        """Shape (intervals + 1,): the knot angles. Cam deg."""
        return self.start + self.step * np.arange(self.intervals + 1, dtype=np.float64)


def periodic_padding(coefficients: FloatArray) -> FloatArray:
    """Coefficients of one turn, shape (lobes, knots), continued three before and four after. In mm."""
    return read_only(np.concatenate([coefficients[:, -3:], coefficients, coefficients[:, :4]], axis=1))
