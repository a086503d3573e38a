"""The base-circle arc: where it is, its zero, its eccentricity and its runout.

On the arc the lift of an ideal lobe is zero, so `a + b cos θ + c sin θ` fitted there holds the indicator's zero (a) and
the eccentricity of the base circle against the axis of measurement (b, c). Source: common practice; plain mechanics.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from valvelab.arrays import FloatArray, read_only
from valvelab.lobe.spline import SplineSet, symbol, symbol_weights

SHORTEST_ARC_CAM_DEG = 40.0
# An arc at least this long is worth an eccentricity; a shorter one gives the zero alone.
ECCENTRICITY_ARC_CAM_DEG = 90.0
_TIGHTEST_MM = 2e-4
_LOOSEST_MM = 2e-2
_MARGIN_CAM_DEG = 3.0
_FORM_TERMS = 20
_FORM_SIGNIFICANCE = 4.0


@dataclass(frozen=True, slots=True)
class BaseCircle:
    """The arc of one lobe and what was fitted there.

    first, last: knots of the arc (last may exceed the turn). abc: zero, cosine and sine part in mm. weights: shape
    (3, padded coefficients), abc as a linear function of the spline's coefficients. runout_mm: range of the harmonic
    plus the smoothed form over the arc; runout_ends: the two angles (cam deg) where the harmonic has that range.
    """

    first: int
    last: int
    abc: FloatArray
    weights: FloatArray
    runout_mm: float
    runout_ends: tuple[float, float]
    form_mm: float
    with_eccentricity: bool

    @property
    def eccentricity_mm(self) -> float:
        """Distance between the base circle's centre and the axis, as the follower sees it."""
        return float(np.hypot(self.abc[1], self.abc[2]))

    @property
    def eccentricity_angle_cam_deg(self) -> float:
        """Where the eccentricity adds most lift, atan2(c, b), 0…360."""
        return float(np.degrees(np.arctan2(self.abc[2], self.abc[1]))) % 360.0


def harmonic_row(angle_cam_deg: float | FloatArray, order: int = 0) -> FloatArray:
    """Shape (…, 3): 1, cos θ, sin θ or their derivative by θ in cam degrees."""
    theta = np.radians(np.asarray(angle_cam_deg, dtype=np.float64))
    scale = (np.pi / 180.0) ** order
    shift = 0.5 * np.pi * order
    one = np.ones_like(theta) if order == 0 else np.zeros_like(theta)
    return np.stack([one, scale * np.cos(theta + shift), scale * np.sin(theta + shift)], axis=-1)


def find_base_circle(
    splines: SplineSet, harmonic: FloatArray, lift_mm: FloatArray, fit_noise_mm: float, reading_noise_mm: float
) -> BaseCircle | None:
    """The arc of one periodic lobe, or None where there is none.

    harmonic: shape (knots, 3), `harmonic_row` at the knots; lift_mm: (knots,), the fitted lift there;
    fit_noise_mm its standard deviation.
    """
    knots = splines.intervals
    resting = _resting_run(lift_mm, knots)
    if resting is None:
        return None
    first, last = resting
    if (last - first) * splines.step < SHORTEST_ARC_CAM_DEG:
        return None
    tolerance = max(5.0 * fit_noise_mm, _TIGHTEST_MM)
    # a knot a degree is plenty for finding the ends, and the turn has to close on the thinned knots
    thin = max((k for k in range(1, max(2, int(1.0 / splines.step) + 1)) if knots % k == 0), default=1)
    coarse = (harmonic[::thin], lift_mm[::thin], -(-first // thin), last // thin, splines.step * thin)
    arc = _grow(*coarse, tolerance)
    while (arc[1] - arc[0]) * thin < 0.6 * (last - first) and tolerance < _LOOSEST_MM:
        tolerance *= 2.0
        arc = _grow(*coarse, tolerance)
    arc = arc[0] * thin, arc[1] * thin
    if (arc[1] - arc[0]) * splines.step < SHORTEST_ARC_CAM_DEG:
        return None
    return _describe(splines, harmonic, lift_mm, arc, reading_noise_mm)


def _resting_run(lift: FloatArray, knots: int) -> tuple[int, int] | None:
    """Longest run of knots in the lowest fifth of the lift; None where it is the whole turn or nothing."""
    low, high = float(lift.min()), float(lift.max())
    if high - low <= 0.0:
        return None
    resting = lift < low + 0.2 * (high - low)
    busy = np.flatnonzero(~resting)
    gaps = np.diff(busy, append=busy[0] + knots)
    longest = int(np.argmax(gaps))
    return int(busy[longest]) + 1, int(busy[longest] + gaps[longest]) - 1


def _solve(design: FloatArray, lift: FloatArray, step: float) -> tuple[FloatArray, FloatArray]:
    """Zero, cosine and sine part on one arc and its weights on the arc's knots; a short arc fits the zero alone."""
    size = design.shape[0]
    if size * step < ECCENTRICITY_ARC_CAM_DEG:
        weights = np.zeros((3, size))
        weights[0] = 1.0 / size
    else:
        weights = np.asarray(np.linalg.solve(design.T @ design, design.T), dtype=np.float64)
    return weights @ lift, weights


def _grow(
    harmonic: FloatArray, lift: FloatArray, first: int, last: int, step: float, tolerance: float
) -> tuple[int, int]:
    """Widest arc, grown from the middle of the resting run, on which lift stays with the harmonic fitted so far."""
    knots = lift.size
    middle = (first + last) // 2
    half = max(int(0.2 * (last - first)), int(0.5 * SHORTEST_ARC_CAM_DEG / step))
    low, high = max(first, middle - half), min(last, middle + half)
    stride = max(1, round(10.0 / step))
    patience = max(1, round(1.5 / step))
    grows_low = grows_high = True
    while grows_low or grows_high:
        rows = np.arange(low, high + 1) % knots
        abc, _ = _solve(harmonic[rows], lift[rows], step)
        if grows_low:
            low, grows_low = _extend(harmonic, lift, abc, low, first, -1, stride, patience, tolerance)
        if grows_high:
            high, grows_high = _extend(harmonic, lift, abc, high, last, 1, stride, patience, tolerance)
    margin = round(_MARGIN_CAM_DEG / step)
    return low + margin, high - margin


def _extend(
    harmonic: FloatArray, lift: FloatArray, abc: FloatArray, end: int, limit: int, sign: int,
    stride: int, patience: int, tolerance: float,
) -> tuple[int, bool]:  # fmt: skip
    """Move one end outward by up to `stride` knots; stop where the lift leaves the harmonic and stays off."""
    ahead = end + sign * np.arange(1, stride + patience + 1)
    ahead = ahead[(ahead - limit) * sign <= 0]
    if ahead.size == 0:
        return end, False
    rows = ahead % lift.size
    off = np.abs(lift[rows] - harmonic[rows] @ abc) > tolerance
    run = np.convolve(off, np.ones(min(patience, off.size)), "valid") >= min(patience, off.size)
    if run.any():
        return end + sign * int(np.argmax(run)), False
    step = min(stride, ahead.size)
    return end + sign * step, step == stride


def _describe(
    splines: SplineSet, harmonic: FloatArray, lift: FloatArray, arc: tuple[int, int], noise: float
) -> BaseCircle:
    knots = splines.intervals
    first, last = arc
    rows = np.arange(first, last + 1) % knots
    angles = splines.start + splines.step * np.arange(first, last + 1, dtype=np.float64)
    design = harmonic[rows]
    abc, on_knots = _solve(design, lift[rows], splines.step)
    weights = np.zeros((3, knots + 7))
    for lag, weight in enumerate(symbol_weights()):
        weights[:, rows + lag] += weight * on_knots
    form = _smoothed_form(lift[rows] - design @ abc, noise)
    total = design[:, 1:] @ abc[1:] + form
    high, low = int(np.argmax(total)), int(np.argmin(total))
    return BaseCircle(
        first % knots,
        first % knots + last - first,
        read_only(abc),
        read_only(weights),
        float(total[high] - total[low]),
        (float(angles[high]), float(angles[low])),
        float(np.ptp(form)),
        bool(abc[1] != 0.0 or abc[2] != 0.0),
    )


def _smoothed_form(residual: FloatArray, noise: float) -> FloatArray:
    """What is left on the arc beyond the harmonic, in slow terms that stand clear of the noise."""
    n = residual.size
    x = (np.arange(n) + 0.5) / n
    orders = np.arange(2, min(_FORM_TERMS, n // 4))
    if orders.size == 0:
        return np.zeros(n)
    terms = np.cos(np.pi * orders[:, None] * x)
    size = 2.0 / n * (terms @ residual)
    clear = np.abs(size) > max(_FORM_SIGNIFICANCE * noise * np.sqrt(2.0 / n), 2e-5)
    return np.asarray(size[clear] @ terms[clear])


def without_harmonic(splines: SplineSet, bases: tuple[BaseCircle | None, ...], *, eccentricity: bool) -> SplineSet:
    """The same splines less each lobe's zero and, where asked, its eccentricity.

    On a periodic spline the harmonic is itself a spline with the same knots, so nothing is approximated.
    """
    angles = splines.start + splines.step * np.arange(-3, splines.intervals + 4, dtype=np.float64)
    scale = float(symbol(np.array([np.radians(splines.step)]))[0])
    padded = np.array(splines.padded)
    for row, base in enumerate(bases):
        if base is None:
            continue
        padded[row] -= base.abc[0]
        if eccentricity:
            padded[row] -= harmonic_row(angles)[:, 1:] @ base.abc[1:] / scale
    return SplineSet(read_only(padded), splines.start, splines.step, splines.periodic)


def arc_mask(base: BaseCircle, knots: int) -> NDArray[np.bool_]:
    """Which knots of the turn lie on the arc."""
    mask = np.zeros(knots, dtype=np.bool_)
    mask[np.arange(base.first, base.last + 1) % knots] = True
    return mask
