"""The base-circle arc: where it is, its zero, its eccentricity and its runout.

On the arc the lift of an ideal lobe is zero, so `a + b cos θ + c sin θ` fitted there holds the indicator's zero (a) and
the eccentricity of the base circle against the axis of measurement (b, c). Source: common practice; plain mechanics.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from valvelab.arrays import BoolArray, FloatArray, read_only, stretches
from valvelab.frozen import frozen
from valvelab.lobe.spline import SplineSet, symbol, symbol_weights

SHORTEST_ARC_CAM_DEG = 40.0
# An arc at least this long is worth an eccentricity; on a shorter one it has to stand clear of the noise.
ECCENTRICITY_ARC_CAM_DEG = 90.0
_TIGHTEST_MM = 2e-4
_LOOSEST_MM = 2e-2
# Left out at each end of the arc: noise hides where a ramp begins.
_MARGIN_CAM_DEG = 3.0
_MARGIN_IN_NOISE_CAM_DEG = 6.0
# Windows that an arc may grow from, tried in this order: narrow ones end sharply at a ramp, wide ones bridge form.
_NARROW_CAM_DEG = (60.0, 40.0)
_WIDE_CAM_DEG = (120.0, 90.0, 60.0, 40.0)
# An arc that a doubled tolerance lengthens by this much was a piece of a longer one.
_BRIDGED_CAM_DEG = 30.0
# Beside a dent the lift has to stay on the harmonic for so long, and over this share of all between the ends.
_BACK_CAM_DEG, _BACK_SHARE = 25.0, 0.5
# Off by so many tolerances a knot may be on a harmonic that was fitted far away.
_FAR_AWAY = (10.0, 4.0, 2.0, 2.0)
# Orders of the waves that grinding leaves on a base circle; higher ones cross any harmonic often.
_WAVE_ORDERS = range(2, 10)
# Where a wave is low a ramp begins before the lift is above the harmonic.
_WAVE_INSET_CAM_DEG = 12.0
# Left out at each side of a dent.
_DENT_MARGIN_CAM_DEG = 3.0
# On a short arc a harmonic larger than this is form taken for eccentricity; shafts run truer between their centres.
_OFF_CENTRE_MM = 0.1
# An eccentricity on a short arc: χ² for two parameters, 0.1 % by chance; and the least noise that is believed.
_SHOWN_BY_CHI2 = 13.8
_LEAST_NOISE_MM = 2e-5
_FORM_TERMS = 20
_FORM_SIGNIFICANCE = 4.0


@frozen
class BaseCircle:
    """The arc of one lobe and what was fitted there.

    first, last: knots of the arc (last may exceed the turn). abc: zero, cosine and sine part in mm. weights: shape
    (3, padded coefficients), abc as a linear function of the spline's coefficients. runout_mm: range of the harmonic
    plus the smoothed form over the arc; runout_ends: the two angles (cam deg) where the harmonic has that range.
    form_mm: range of what is left beyond the harmonic. circle: False where the resting run is no circle; then only the
    mean of the run is taken out. hidden_mm: the eccentricity that the noise on this arc could hide (95 %).
    pull: (2, 3), standard deviations of zero, cosine and sine part by the form, each row moving together: form like
    that seen passes for zero and eccentricity too.
    """

    first: int
    last: int
    abc: FloatArray
    weights: FloatArray
    runout_mm: float
    runout_ends: tuple[float, float]
    form_mm: float
    with_eccentricity: bool
    circle: bool
    hidden_mm: float
    pull: FloatArray

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
    # a knot a degree is plenty for finding the ends, and the turn has to close on the thinned knots
    thin = max((k for k in range(1, max(2, int(1.0 / splines.step) + 1)) if knots % k == 0), default=1)
    run = _Run(harmonic[::thin], lift_mm[::thin], -(-first // thin), last // thin, splines.step * thin)
    tightest = max(5.0 * fit_noise_mm, _TIGHTEST_MM)
    tight = _grow(run, _flat_window(run, tightest, _NARROW_CAM_DEG), tightest)
    dented = None
    if _is_short(run, tight) and _strays(run, tight) > tightest:
        dented = _beside_dents(run, tight, tightest) or _beside_an_end(run, tight, tightest)
    grown, circle = (_ends(run, tight, tightest) if dented is None else dented[0]), True
    if dented is None and grown is not None and _no_circle(run, grown, tightest):
        grown, circle = _valleys(run), False
    if grown is None:
        return None
    noisy = tightest > _TIGHTEST_MM
    margin = round((_MARGIN_IN_NOISE_CAM_DEG if noisy else _MARGIN_CAM_DEG) / run.step) if circle else 0
    arc = (grown[0] + margin) * thin, (grown[1] - margin) * thin
    if (arc[1] - arc[0]) * splines.step < SHORTEST_ARC_CAM_DEG:
        return None
    beside = np.ones(arc[1] - arc[0] + 1, dtype=np.bool_)
    if dented is not None:
        at = np.arange(arc[0], arc[1] + 1) / thin - dented[0][0]
        beside = dented[1][np.floor(at).astype(np.intp)] & dented[1][np.ceil(at).astype(np.intp)]
    return _describe(splines, harmonic, lift_mm, arc, beside, reading_noise_mm, circle=circle)


@frozen
class _Run:
    """The low part of one turn on thinned knots: positions first … last (last may pass the turn), step in cam deg.

    harmonic: (knots, 3); lift: (knots,).
    """

    harmonic: FloatArray
    lift: FloatArray
    first: int
    last: int
    step: float

    def rows(self, low: int, high: int) -> NDArray[np.int64]:
        """Knots of the positions low … high."""
        return np.arange(low, high + 1) % self.lift.size

    def fit(self, low: int, high: int) -> FloatArray:
        """Zero, cosine and sine part over the positions low … high."""
        rows = self.rows(low, high)
        design = self.harmonic[rows]
        return np.asarray(np.linalg.solve(design.T @ design, design.T @ self.lift[rows]))

    def beyond(self, end: int, sign: int, abc: FloatArray) -> FloatArray:
        """Lift less the harmonic from one end outward to the flank."""
        rows = self.rows(end, self.last) if sign > 0 else self.rows(self.first, end)[::-1]
        return np.asarray(self.lift[rows] - self.harmonic[rows] @ abc)


def _ends(run: _Run, tight: tuple[int, int], tightest: float) -> tuple[int, int] | None:
    """Ends of the arc on one harmonic, or None where there is none.

    An end stands where the lift leaves the harmonic and then only rises, as a ramp does, however long. Beyond a ramp's
    beginning a looser tolerance lengthens the arc a little; one that lengthens it all at once has bridged some form of
    the base circle, and the tighter arc was a piece of it. An arc that runs into the flank on the same harmonic is
    none.
    """
    tolerance, chosen = tightest, tight
    if _is_short(run, chosen):
        tighter = chosen
        settled = _strays(run, chosen) <= tolerance
        while tolerance < max(_LOOSEST_MM, 4.0 * tightest):
            tolerance *= 2.0
            arc = _grow(run, _flat_window(run, tolerance, _WIDE_CAM_DEG), tolerance)
            if not settled or (arc[1] - arc[0] - tighter[1] + tighter[0]) * run.step > _BRIDGED_CAM_DEG:
                chosen, settled = arc, _strays(run, arc) <= tolerance
            tighter = arc
    return None if chosen[0] <= run.first or chosen[1] >= run.last else chosen


def _beside_dents(run: _Run, tight: tuple[int, int], tightest: float) -> tuple[tuple[int, int], BoolArray] | None:
    """Ends of an arc with dents or bumps in it, and which of its knots lie beside them; None where it has none.

    tight: a short arc that the lift strays from, which is one side of a dent where the lift comes back to the arc's own
    harmonic and stays there. Waves cross a harmonic, and do not stay.
    """
    back, margin = round(_BACK_CAM_DEG / run.step), round(_DENT_MARGIN_CAM_DEG / run.step)
    places = run.rows(run.first, run.last)
    design, lift = run.harmonic[places], run.lift[places]
    near = np.zeros(places.size, dtype=np.bool_)
    near[tight[0] - run.first : tight[1] - run.first + 1] = True
    for allowed in _FAR_AWAY:
        beside = _eroded(near, margin)
        abc = np.asarray(np.linalg.lstsq(design[beside], lift[beside])[0], dtype=np.float64)
        near = _stays(np.abs(lift - design @ abc) <= allowed * tightest, back)
        if not near.any():
            return None
    low, high = int(np.argmax(near)), near.size - 1 - int(np.argmax(near[::-1]))
    arc, beside = (run.first + low, run.first + high), _eroded(near[low : high + 1], margin)
    if beside.all() or beside.mean() < _BACK_SHARE or _is_short(run, arc) or low == 0 or high == near.size - 1:
        return None
    return (arc, beside) if _rises(run, arc, abc) <= _FAR_AWAY[-1] * tightest else None


def _beside_an_end(run: _Run, tight: tuple[int, int], tightest: float) -> tuple[tuple[int, int], BoolArray] | None:
    """The same for a dent or bump that reaches a ramp, which the lift comes back from on one side only.

    A long arc on one harmonic is the circle, unless all of the rest is that harmonic and one wave, of which every piece
    fits a harmonic of its own.
    """
    margin = round(_DENT_MARGIN_CAM_DEG / run.step)
    low, high = tight[0] + margin, tight[1] - margin
    if (high - low) * run.step < ECCENTRICITY_ARC_CAM_DEG:
        return None
    abc = run.fit(low, high)
    if np.abs(run.beyond(low, 1, abc)[: high - low + 1]).max() > _FAR_AWAY[-1] * tightest:
        return None  # it grew over waves
    rest = (
        low - _no_ramp(run.beyond(low, -1, abc), tightest),
        high + _no_ramp(run.beyond(high, 1, abc), tightest),
    )
    if _is_one_wave(run, rest, tightest):
        return None
    beside = np.zeros(rest[1] - rest[0] + 1, dtype=np.bool_)
    beside[low - rest[0] : high - rest[0] + 1] = True
    return rest, beside


def _no_ramp(outward: FloatArray, tolerance: float) -> int:
    """How many knots outward of an arc the last is that lies on or below its harmonic, or lower than one before."""
    highest = np.maximum.accumulate(outward)
    low = np.flatnonzero((outward <= tolerance) | (highest - outward > tolerance))
    return int(low[-1]) if low.size else 0


def _is_one_wave(run: _Run, arc: tuple[int, int], tolerance: float) -> bool:
    """Whether a harmonic and a wave of one of the low orders are all that the lift has on an arc, off its ends."""
    inset = round(_WAVE_INSET_CAM_DEG / run.step)
    rows = run.rows(arc[0] + inset, arc[1] - inset)
    angle = np.radians(run.step) * np.arange(rows.size)
    for order in _WAVE_ORDERS:
        wave = np.column_stack([run.harmonic[rows], np.cos(order * angle), np.sin(order * angle)])
        part = np.linalg.lstsq(wave, run.lift[rows])[0]
        fits = np.abs(run.lift[rows] - wave @ part).max() <= _FAR_AWAY[-1] * tolerance
        if fits and float(np.hypot(*part[3:])) > tolerance:
            return True
    return False


def _stays(near: BoolArray, least: int) -> BoolArray:
    """Of places (n,) those in a row of so many at least."""
    kept = np.zeros(near.size, dtype=np.bool_)
    for first, end in stretches(near):
        kept[first:end] = end - first >= least
    return kept


def _eroded(near: BoolArray, margin: int) -> BoolArray:
    """Without places so close to one that is not among them."""
    kept = near.copy()
    for first, end in stretches(~near):
        kept[max(first - margin, 0) : end + margin] = False
    return kept


def _rises(run: _Run, arc: tuple[int, int], abc: FloatArray) -> float:
    """How far (mm) the lift outside an arc falls back or lies below zero, over a harmonic."""
    strays = []
    for outward in (run.beyond(arc[0], -1, abc), run.beyond(arc[1], 1, abc)):
        highest = np.maximum(np.maximum.accumulate(outward), 0.0)
        strays.append(float((highest - outward).max()))
    return max(strays)


def _is_short(run: _Run, arc: tuple[int, int]) -> bool:
    """Whether an arc is so short beside the resting run that its ends need a second look."""
    return arc[1] - arc[0] < 0.6 * (run.last - run.first)


def _strays(run: _Run, arc: tuple[int, int]) -> float:
    """How far (mm) the lift outside an arc, which should only rise to the flanks, falls back or lies below zero."""
    return _rises(run, arc, run.fit(*arc))


def _no_circle(run: _Run, arc: tuple[int, int], tightest: float) -> bool:
    """Whether a short arc is a piece of something else: its harmonic fits nothing beside it, or no shaft runs so.

    Nor is an arc a circle whose form is large, and larger than the eccentricity fitted to it.
    """
    rows = run.rows(*arc)
    design, abc = run.harmonic[rows], run.fit(*arc)
    eccentricity = float(np.hypot(abc[1], abc[2]))
    if float(np.ptp(run.lift[rows] - design @ abc)) > max(eccentricity + 4.0 * tightest, _LOOSEST_MM):
        return True
    if not _is_short(run, arc):
        return False
    by_noise = tightest * float(np.sqrt(np.linalg.inv(design.T @ design).diagonal()[1:].max()))
    return _strays(run, arc) > max(_LOOSEST_MM, 4.0 * tightest) or eccentricity > _OFF_CENTRE_MM + by_noise


def _valleys(run: _Run) -> tuple[int, int]:
    """The first and the last place of a run where the lift, coming down a flank, turns up again."""
    lift = run.lift[run.rows(run.first, run.last)]
    falls = np.diff(lift) < 0.0
    low = int(np.argmin(falls)) if not falls.all() else falls.size
    high = falls.size - int(np.argmax(falls[::-1])) if falls.any() else 0
    return run.first + low, run.first + max(high, low)


def _flat_window(run: _Run, tolerance: float, widths: tuple[float, ...]) -> tuple[int, int]:
    """Where an arc starts to grow: the window on one harmonic nearest the middle, of the first width that has any.

    Where there is none, the middle of the run.
    """
    middle = (run.first + run.last) // 2
    stride = max(1, round(5.0 / run.step))
    for width in widths:
        size = round(width / run.step) + 1
        starts = np.arange(run.first, run.last - size + 2, stride)
        if starts.size == 0:
            continue
        values = run.lift[(starts[:, None] + np.arange(size)) % run.lift.size]
        # the span of 1, cos and sin is the same in every window
        basis = np.linalg.qr(run.harmonic[:size])[0]
        flat = np.abs(values - (values @ basis) @ basis.T).max(axis=1) <= tolerance
        if flat.any():
            at = int(starts[np.argmin(np.where(flat, np.abs(starts + size // 2 - middle), np.inf))])
            return at, at + size - 1
    half = max(int(0.2 * (run.last - run.first)), int(0.5 * SHORTEST_ARC_CAM_DEG / run.step))
    return max(run.first, middle - half), min(run.last, middle + half)


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


def _solve(
    design: FloatArray, lift: FloatArray, step: float, noise: float, *, alone: bool
) -> tuple[FloatArray, FloatArray]:
    """Zero, cosine and sine part on one arc and its weights on the arc's knots; or the zero alone.

    On a short arc the eccentricity is fitted only where the readings show one beyond their noise.
    """
    size = design.shape[0]
    weights = np.asarray(np.linalg.solve(design.T @ design, design.T), dtype=np.float64)
    abc = weights @ lift
    if not alone and size * step < ECCENTRICITY_ARC_CAM_DEG:
        gain = float(((lift - lift.mean()) ** 2).sum() - ((lift - design @ abc) ** 2).sum())
        alone = gain < _SHOWN_BY_CHI2 * max(noise, _LEAST_NOISE_MM) ** 2
    if alone:
        weights = np.zeros((3, size))
        weights[0] = 1.0 / size
        abc = weights @ lift
    return abc, weights


def _grow(run: _Run, start: tuple[int, int], tolerance: float) -> tuple[int, int]:
    """Widest arc, grown from a window, on which lift stays with the harmonic fitted so far."""
    low, high = start
    stride = max(1, round(10.0 / run.step))
    patience = max(1, round(1.5 / run.step))
    grows_low = grows_high = True
    while grows_low or grows_high:
        abc = run.fit(low, high)
        if grows_low:
            ahead = run.beyond(low, -1, abc)[1 : stride + patience + 1]
            step, grows_low = _extend(ahead, stride, patience, tolerance)
            low -= step
        if grows_high:
            ahead = run.beyond(high, 1, abc)[1 : stride + patience + 1]
            step, grows_high = _extend(ahead, stride, patience, tolerance)
            high += step
    return low, high


def _extend(ahead: FloatArray, stride: int, patience: int, tolerance: float) -> tuple[int, bool]:
    """How many knots one end moves outward, and whether it may go on; it stops where the lift stays off."""
    if ahead.size == 0:
        return 0, False
    off = np.abs(ahead) > tolerance
    run = np.convolve(off, np.ones(min(patience, off.size)), "valid") >= min(patience, off.size)
    if run.any():
        return int(np.argmax(run)), False
    step = min(stride, ahead.size)
    return step, step == stride


def _describe(
    splines: SplineSet,
    harmonic: FloatArray,
    lift: FloatArray,
    arc: tuple[int, int],
    beside: BoolArray,
    noise: float,
    *,
    circle: bool,
) -> BaseCircle:
    """beside: knots of the arc beside its dents, which alone are fitted; form and runout are those of all."""
    knots = splines.intervals
    first, last = arc
    rows = np.arange(first, last + 1) % knots
    angles = splines.start + splines.step * np.arange(first, last + 1, dtype=np.float64)
    design = harmonic[rows]
    abc, on_beside = _solve(design[beside], lift[rows[beside]], splines.step, noise, alone=not circle)
    on_knots = np.zeros((3, rows.size))
    on_knots[:, beside] = on_beside
    on_turn, weights = np.zeros((3, knots)), np.zeros((3, knots + 7))
    on_turn[:, rows] = on_knots
    part = np.empty_like(on_turn)
    for lag, weight in enumerate(symbol_weights()):
        weights[:, lag : lag + knots] += np.multiply(weight, on_turn, out=part)
    residual = lift[rows] - design @ abc
    form, largest = _smoothed_form(residual, noise) if circle else (residual, 0.0)
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
        circle,
        1.96 * noise * float(np.sqrt(np.linalg.inv(design[beside].T @ design[beside]).diagonal()[1:].max())),
        read_only(_pull(on_knots, largest) if circle else _of_mean(float(np.ptp(form)))),
    )


def _smoothed_form(residual: FloatArray, noise: float) -> tuple[FloatArray, float]:
    """What is left on the arc beyond the harmonic, in slow terms that stand clear of the noise; the largest of them."""
    n = residual.size
    x = (np.arange(n) + 0.5) / n
    orders = np.arange(2, min(_FORM_TERMS, n // 4))
    if orders.size == 0:
        return np.zeros(n), 0.0
    terms = _cosines(np.pi * x, int(orders[-1]))[2:]
    size = 2.0 / n * (terms @ residual)
    clear = np.abs(size) > max(_FORM_SIGNIFICANCE * noise * np.sqrt(2.0 / n), 2e-5)
    return np.asarray(size[clear] @ terms[clear]), float(np.abs(size[clear]).max(initial=0.0))


def _cosines(angle: FloatArray, most: int) -> FloatArray:
    """cos(k × angle) for k = 0 … most, (most + 1, n), by Chebyshev's recurrence: one cosine a place."""
    terms = np.empty((most + 1, angle.size))
    terms[0] = 1.0
    terms[1] = np.cos(angle)
    twice = 2.0 * terms[1]
    for k in range(2, most + 1):
        np.multiply(twice, terms[k - 1], out=terms[k])
        terms[k] -= terms[k - 2]
    return terms


def _pull(on_knots: FloatArray, largest: float) -> FloatArray:
    """How the two slowest terms of form, which the harmonic takes in, move it; on_knots: (3, n)."""
    n = on_knots.shape[1]
    x = (np.arange(n) + 0.5) / n
    return np.asarray(largest * np.cos(np.pi * np.array([[1.0], [2.0]]) * x) @ on_knots.T)


def _of_mean(form_mm: float) -> FloatArray:
    """The mean of a run that is no circle stands for a zero anywhere between its highest and lowest place."""
    pull = np.zeros((2, 3))
    pull[0, 0] = form_mm / np.sqrt(12.0)
    return pull


def without_harmonic(splines: SplineSet, bases: tuple[BaseCircle | None, ...], *, eccentricity: bool) -> SplineSet:
    """The same splines less each lobe's zero and, where asked, its eccentricity.

    On a periodic spline the harmonic is itself a spline with the same knots, so nothing is approximated.
    """
    angles = splines.start + splines.step * np.arange(-3, splines.intervals + 4, dtype=np.float64)
    harmonic = harmonic_row(angles)[:, 1:]
    scale = float(symbol(np.array([np.radians(splines.step)]))[0])
    padded = np.array(splines.padded)
    for row, base in enumerate(bases):
        if base is None:
            continue
        padded[row] -= base.abc[0]
        if eccentricity:
            padded[row] -= harmonic @ base.abc[1:] / scale
    return SplineSet(read_only(padded), splines.start, splines.step, splines.periodic)
