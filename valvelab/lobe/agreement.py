"""Whether the turns or sweeps of a lobe agree, and by how much they do not.

Each turn is compared with the profile of all: its readings less that profile are fitted by a zero, a shift of the
opening and of the closing flank, a change of scale and, on a whole turn, an eccentricity of its own. What differs from
turn to turn beyond the readings' noise is a disagreement.
Sources: analysis of variance (F test) of weighted least squares; effective number of correlated readings for
first-order noise, (1 − ρ)/(1 + ρ); JCGM 101:2008, 6.4.9 for the mean of a few turns.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from valvelab.angles import wrap
from valvelab.arrays import FloatArray, median, read_only, rectangular_sd
from valvelab.frozen import frozen
from valvelab.lobe.profile import FittedLobes
from valvelab.lobe.spline import SplineSet
from valvelab.tails import f_tail

# What a turn may differ by; the order of `Agreement.effects`.
ZERO, OPENING, CLOSING, SCALE = range(4)
_FEWEST_READINGS = 8
# A turn is compared that says at least this share of what the fullest one says of each flank.
_LEAST_SHARE = 0.25
# A single characteristic is widened where turns differ more than noise does in one table of twenty.
POINTWISE = 0.05
# Rounds in which the correlation of the noise settles, and the most of it that is believed.
_ROUNDS = 6
_MOST_LAG = 0.98
# Least standard deviation of a reading that is believed; what differs less is the rounding of a calculated table.
_LEAST_NOISE_MM = 2e-5


@frozen
class Spread:
    """How one combination of effects differs over the turns; all (lobes,).

    across: largest less smallest. chance: how often noise alone differs as much. extra: variance to add to that of the
    mean over turns, 0 where noise explains what is seen.
    """

    across: FloatArray
    chance: FloatArray
    extra: FloatArray


@frozen
class Agreement:
    """Every turn of every lobe against the profile of all.

    effects: (lobes, turns, 4): zero (mm), opening and closing flank later (cam deg), scale (share of the lift);
    NaN where a turn says too little. covariance: (lobes, turns, 4, 4), by noise. degrees: (lobes,), of freedom of
    that noise.
    """

    effects: FloatArray
    covariance: FloatArray
    degrees: FloatArray

    def variance(self, weights: FloatArray) -> FloatArray:
        """Mean square of weights × effects about their mean over the turns, (lobes,); weights (4,)."""
        value = self.effects @ weights
        used = np.isfinite(value)
        count = np.maximum(used.sum(axis=1), 1)
        value = np.where(used, value, 0.0)
        off = np.where(used, value - (value.sum(axis=1) / count)[:, None], 0.0)
        return np.asarray((off**2).sum(axis=1) / count)

    def spread(self, weights: FloatArray, turns: NDArray[np.bool_] | None = None) -> Spread:
        """Of weights × effects, weights (4,) or (lobes, 4), over the chosen turns or all."""
        w = np.broadcast_to(weights, (self.effects.shape[0], 4))
        value = np.einsum("lke,le->lk", self.effects, w)
        variance = np.einsum("le,lkef,lf->lk", w, self.covariance, w)
        used = np.isfinite(value) if turns is None else np.isfinite(value) & turns
        count = used.sum(axis=1)
        value, variance = np.where(used, value, 0.0), np.where(used, np.maximum(variance, 1e-300), np.inf)
        weight = 1.0 / variance
        mean = (weight * value).sum(axis=1) / np.maximum(weight.sum(axis=1), 1e-300)
        off = np.where(used, value - mean[:, None], 0.0)
        over = np.maximum(count - 1, 1)
        ratio = (weight * off**2).sum(axis=1) / over
        plain = np.where(used, value - (value.sum(axis=1) / np.maximum(count, 1))[:, None], 0.0)
        seen = (plain**2).sum(axis=1) / over
        expected = np.where(used, variance, 0.0).sum(axis=1) / np.maximum(count, 1)
        chance = np.where(count > 1, tail_of_f(over, self.degrees, ratio), 1.0)
        across = np.where(used, value, -np.inf).max(axis=1) - np.where(used, value, np.inf).min(axis=1)
        extra = np.where(chance < POINTWISE, np.maximum(seen - expected, 0.0) * _of_mean(count), 0.0)
        return Spread(np.where(count > 1, across, 0.0), chance, extra)


def _of_mean(count: NDArray[np.int64]) -> FloatArray:
    """Variance of the mean of a few turns for unit variance of one, by JCGM 101 6.4.9 from four on.

    Of fewer nobody can say which is right: two are given their whole difference.
    """
    n = np.maximum(count, 1).astype(np.float64)
    return np.asarray(np.where(n >= 4, (n - 1.0) / np.maximum(n - 3.0, 1.0), 4.0) / n)


def tail_of_f(first: NDArray[np.int64], second: FloatArray, ratio: FloatArray) -> FloatArray:
    """Upper tail of the F distribution with so many degrees of freedom, elementwise.

    Any shape; ratio and tail are plain numbers.
    """
    return np.asarray(np.vectorize(f_tail, otypes=[np.float64])(ratio, first, second))


def compare(fitted: FittedLobes) -> Agreement | None:
    """Compare the turns of every lobe; None where there is one only."""
    conditioned = fitted.conditioned
    if conditioned.sweeps < 2:
        return None
    design = _design(fitted)
    residual = conditioned.lifts_mm - _curves(fitted.smoothed.splines, conditioned.angle_cam_deg, 0)
    count, parts = design.shape[0], design.shape[2]
    beta = np.zeros((count, conditioned.sweeps, parts))
    unit = np.zeros((count, conditioned.sweeps, parts, parts))
    left = np.zeros_like(residual)
    said = np.zeros((count, conditioned.sweeps, parts))
    for turn in range(conditioned.sweeps):
        rows = np.flatnonzero(conditioned.sweep == turn)
        x = design[:, rows] * conditioned.kept[:, rows, None]
        size = np.sqrt((x**2).sum(axis=1))
        said[:, turn] = size**2
        scaled = x / np.maximum(size, 1e-30)[:, None, :]
        inverse = np.linalg.pinv(scaled.swapaxes(1, 2) @ scaled, rcond=1e-9, hermitian=True)
        per = np.maximum(size, 1e-30)
        right = np.einsum("lnp,ln->lp", scaled, residual[:, rows])
        beta[:, turn] = np.einsum("lpq,lq->lp", inverse, right) / per
        unit[:, turn] = inverse / (per[:, :, None] * per[:, None, :])
        left[:, rows] = residual[:, rows] - np.einsum("lnp,lp->ln", design[:, rows], beta[:, turn])
    readings = np.stack([(conditioned.kept & (conditioned.sweep == k)).sum(axis=1) for k in range(said.shape[1])], 1)
    flanks = said[:, :, OPENING : CLOSING + 1]
    silent = (flanks < _LEAST_SHARE * flanks.max(axis=1, keepdims=True)).any(axis=2) | (readings < _FEWEST_READINGS)
    variance, degrees = _noise(fitted, left, parts)
    effects = np.where(silent[:, :, None], np.nan, beta[:, :, :4])
    covariance = np.where(silent[:, :, None, None], 0.0, unit[:, :, :4, :4] * variance[:, None, None, None])
    return Agreement(read_only(effects), read_only(covariance), read_only(degrees))


def _design(fitted: FittedLobes) -> FloatArray:
    """Shape (lobes, readings, 4 or 6): what each effect adds to a reading."""
    angle = fitted.conditioned.angle_cam_deg
    lift, slope = (_curves(fitted.splines, angle, order) for order in (0, 1))
    nose = fitted.splines.knots()[np.argmax(fitted.at_knots[0], axis=1)]
    before = wrap(angle - nose[:, None]) < 0.0 if fitted.splines.periodic else angle < nose[:, None]
    columns = [np.ones_like(lift), np.where(before, -slope, 0.0), np.where(before, 0.0, -slope), lift]
    if fitted.splines.periodic:
        theta = np.broadcast_to(np.radians(angle), lift.shape)
        columns += [np.cos(theta), np.sin(theta)]
    return np.stack(columns, axis=2)


def _curves(splines: SplineSet, angle: FloatArray, order: int) -> FloatArray:
    """Every lobe's derivative at shared angles, (lobes, n)."""
    index, t = splines.locate(angle)
    lobes = splines.padded.shape[0]
    rows = np.repeat(np.arange(lobes), angle.size)
    return splines.at(rows, np.tile(index, lobes), np.tile(t, lobes), order).reshape(lobes, angle.size)


def _noise(fitted: FittedLobes, left: FloatArray, parts: int) -> tuple[FloatArray, FloatArray]:
    """Variance of one reading as slow effects meet it, and its degrees of freedom; both (lobes,).

    left: (lobes, readings), what the effects leave. Where turns share their angles their differences alone count, so
    that nothing of the profile's own fit enters. Noise that hangs together from reading to reading, first order,
    weighs by (1 + ρ)/(1 − ρ); of its slow part the effects took as much more away, which ρ has to be corrected for.
    Nor is it less than the rounding of the gauge.
    """
    conditioned = fitted.conditioned
    kept, turns = conditioned.kept, conditioned.sweeps
    _, place = np.unique(np.round(conditioned.angle_cam_deg, 3), return_inverse=True)
    shared = np.stack([np.bincount(place, row) for row in kept.astype(np.float64)])
    free = np.maximum(shared - 1.0, 0.0).sum(axis=1)
    if median(free / np.maximum(kept.sum(axis=1), 1)) > 0.4:
        total = np.stack([np.bincount(place, row) for row in np.where(kept, left, 0.0)])
        left = left - (total / np.maximum(shared, 1.0))[:, place]
        kept = kept & (shared[:, place] > 1.0)
        taken, least_lag = float(parts * (turns - 1)), 0.0
    else:
        free = kept.sum(axis=1) - 2.0 * fitted.smoothed.half_harmonic
        taken, least_lag = float(parts * turns), fitted.smoothed.lag_correlation
    free = np.maximum(free, 1.0)
    left = np.where(kept, left, 0.0)
    squares = (left**2).sum(axis=1)
    lag, beside = 0.0, _beside(left, conditioned.sweep)
    for _ in range(_ROUNDS):
        weight = (1.0 + lag) / (1.0 - lag)
        lost = squares * taken * weight / np.maximum(free - taken * weight, 0.25 * free)
        lag = float((beside + lost).sum() / max(float((squares + lost).sum()), 1e-300))
        lag = min(max(lag, least_lag, 0.0), _MOST_LAG)
    weight = (1.0 + lag) / (1.0 - lag)
    degrees = np.maximum(np.maximum(free - taken * weight, 0.25 * free), 1.0)
    variance = np.maximum(squares / degrees, max(_LEAST_NOISE_MM, rectangular_sd(conditioned.division_mm)) ** 2)
    return weight * variance, np.maximum(degrees / weight, 1.0)


def _beside(left: FloatArray, sweep: NDArray[np.int64]) -> FloatArray:
    """Σ of products of neighbouring residuals of one turn, (lobes,)."""
    parts = (left[:, sweep == turn] for turn in range(int(sweep.max()) + 1))
    return np.asarray(sum((part[:, 1:] * part[:, :-1]).sum(axis=1) for part in parts))
