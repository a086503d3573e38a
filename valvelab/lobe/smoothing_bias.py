"""What a fit may be wrong by beyond the noise: smoothing, jerk steps, plateaus, readings too far apart.

Linear propagation of the readings' noise supposes that the fit can follow the lobe. Round an extreme, or where a ramp
meets its flank, it may not, and the fit itself shows by how much:

- without the jerk steps that were believed, the value would be another; all of that difference counts, because false
  steps straighten what is truly bent;
- four times as stiff, the fit would give another value. For a small bias that difference is three times the bias at the
  strength used. Half of it is counted, for the bias of high derivatives grows slower than the strength; twice of it for
  the jerk, where it has long ceased to grow;
- the greatest of a noisy plateau stands above it by the expected greatest of as many independent values as the
  plateau is long (Tippett 1925; values tabulated there);
- the jerk's crest beside the place where a blurred copy has it: all of it, for a law's jerk may jump there.

All enter as standard uncertainties. The shares were chosen by simulation on cycloidal, 3-4-5, 2-6-8-10, modified
trapezoid and dwelling lobes, and judged on others (`tests/coverage_study.py`).
Sources: own method, by simulation; Tippett 1925 for plateaus.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from valvelab.arrays import FloatArray, median, read_only
from valvelab.lobe.events import Lobes
from valvelab.lobe.profile import FittedLobes
from valvelab.lobe.propagation import Propagation, Term

# Beyond these cam degrees from reading to reading nobody can trust the derivative.
WIDEST_FOR_ACCELERATION = 4.0
WIDEST_FOR_JERK = 1.0
_SLACK = 1e-3
STIFFER_SHARE, JERK_SHARE = 0.5, 2.0
# Lift above this share of the greatest belongs to the lobe where its readings are counted.
_ON_LOBE = 0.05
_SAME_CAM_DEG = 1e-6
# A plateau holds one independent value for so many correlation lengths; chosen so that a rounded peak counts as one.
PLATEAU_LENGTHS = 3.0
_COUNTS = read_only(np.log([1.0, 2.0, 3.0, 4.0, 5.0, 7.0, 10.0, 15.0, 20.0, 30.0, 50.0, 100.0]))
_GREATEST = read_only(np.array([0.0, 0.564, 0.846, 1.029, 1.163, 1.352, 1.539, 1.736, 1.867, 2.043, 2.249, 2.508]))


def doubt_covariance(fitted: FittedLobes, *terms: Term) -> FloatArray:
    """What terms owe to jerk steps and strength of the smoothing, as covariances (lobes, terms, terms).

    In the terms' own units.
    """
    smoothed = fitted.smoothed
    rows = np.arange(len(fitted.names))
    total = np.zeros((rows.size, len(terms), len(terms)))
    share = JERK_SHARE if max(term.order for term in terms) == 3 else STIFFER_SHARE
    for weight, coefficients in zip((1.0, share), smoothed.doubts, strict=True):
        part = replace(smoothed.splines, padded=coefficients)
        values = weight * np.stack(
            [term.factor * part.at(rows, term.places.index, term.places.t, term.order) for term in terms], axis=1
        )
        total += values[:, :, None] * values[:, None, :]
    return total


def smoothing_doubt(fitted: FittedLobes, *terms: Term) -> FloatArray:
    """What a sum of terms owes to jerk steps and strength of the smoothing, (lobes,), as a standard uncertainty.

    In the terms' own unit.
    """
    return np.asarray(np.sqrt(np.maximum(doubt_covariance(fitted, *terms).sum(axis=(1, 2)), 0.0)))


def doubt_of_sum(fitted: FittedLobes, weights: FloatArray) -> FloatArray:
    """The same of Σ weights × lift at the knots; weights: (lobes, knots)."""
    smoothed = fitted.smoothed
    squares = np.zeros(weights.shape[0])
    for share, coefficients in zip((1.0, STIFFER_SHARE), smoothed.doubts, strict=True):
        values = replace(smoothed.splines, padded=coefficients).at_knots()[:, : weights.shape[1]]
        squares += (share * np.einsum("lk,lk->l", weights, values)) ** 2
    return np.asarray(np.sqrt(squares))


def plateau_excess(lobes: Lobes, propagation: Propagation, order: int, sign: float, noise: FloatArray) -> FloatArray:
    """How far the greatest of sign × a derivative stands above a plateau by noise alone, (lobes,).

    noise: standard deviation of the derivative, (lobes,). The plateau is where a blurred copy lies within it.
    """
    fitted = lobes.fitted
    if fitted.guide is None:
        return np.zeros_like(noise)
    values = sign * fitted.guide_at_knots(order)
    length = fitted.splines.step * (values > (values.max(axis=1) - noise)[:, None]).sum(axis=1)
    count = np.maximum(length / (PLATEAU_LENGTHS * propagation.noise_length(order)), 1.0)
    return np.asarray(noise * expected_greatest(count))


def expected_greatest(count: FloatArray) -> FloatArray:
    """Of so many independent standard normal values; any shape, from 1 up. Plain numbers."""
    return np.asarray(np.interp(np.log(count), _COUNTS, _GREATEST))


def crest_beside(fitted: FittedLobes, order: int, sign: float, value: FloatArray) -> FloatArray:
    """How far the fit's own crest of sign × a derivative lies above the value at the place found, (lobes,).

    In the derivative's own unit.
    """
    return np.asarray((sign * fitted.at_knots[order]).max(axis=1) - sign * value)


def spacing(lobes: Lobes) -> FloatArray:
    """Cam degrees from reading to reading on each lobe, (lobes,): the median over its lift."""
    conditioned = lobes.fitted.conditioned
    lifts = conditioned.lifts_mm
    low = lifts.min(axis=1)
    lifted = lifts > (low + _ON_LOBE * (lifts.max(axis=1) - low))[:, None]
    result = np.zeros(lifts.shape[0])
    for row, used in enumerate(conditioned.kept & lifted):
        gaps = np.diff(conditioned.angle_cam_deg[used])
        gaps = gaps[gaps > _SAME_CAM_DEG]
        result[row] = float(median(gaps)) if gaps.size else np.inf
    return result


def too_wide(spacing_cam_deg: FloatArray, order: int) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    """Where readings are too far apart for a derivative of the given order, (lobes,). No unit."""
    widest = {2: WIDEST_FOR_ACCELERATION, 3: WIDEST_FOR_JERK}.get(order, np.inf)
    return np.asarray(spacing_cam_deg > widest + _SLACK)
