"""The best fit of one lobe's curve onto another's, and what is left between them: wear, where lift was lost.

The later curve is turned and, where neither base circle gives the zero, raised, until as much of it as can be lies on
the earlier one. The fit is robust, so that worn places don't pull it: least absolute deviations first, which a worn
nose leaves alone, then least squares with Tukey's biweight about it.
Sources: Huber and Ronchetti, Robust Statistics, 2nd ed. (least absolute deviations, biweight); JCGM 100:2008, clause 5;
Rice 1945 (how often noise that hangs together passes a level).
"""

from __future__ import annotations

from collections.abc import Callable
from math import erfc, exp, pi, sqrt

import numpy as np

from valvelab.arrays import FloatArray, read_only
from valvelab.frozen import frozen

Curve = Callable[[FloatArray, int], FloatArray]
"""Lift in mm, or a derivative of it per cam deg, at angles in cam deg."""
# The first fit takes a fixed number of rounds, so that no rounding decides where it ends; the last settles.
_FIRST_ROUNDS, _ROUNDS = 20, 60
_SETTLED = 1e-12
# Biweight: 95 % efficient under normal noise (Huber and Ronchetti); a normal deviation from a median of sizes.
_REACH, _OF_MEDIAN = 4.685, 1.4826
# Sizes below this are taken for rounding of the computation.
_LEAST_MM = 1e-9


@frozen
class BestFit:
    """How one curve lies best on another, from n places.

    shift_cam_deg: how much later the later curve stands; zero_mm: how much higher, 0 where it was not a freedom.
    on_fit: (1 or 2, n), what a change of the difference at each place does to shift and zero. on_left: (n, n), the same
    to what is left at each place. unlike: by how much the spread about the fit exceeds what the noise explains, at
    least 1: a standard uncertainty of the fit is so much wider.
    """

    shift_cam_deg: float
    zero_mm: float
    on_fit: FloatArray
    on_left: FloatArray
    unlike: float


def best_fit(
    before: Curve, after: Curve, angle_cam_deg: FloatArray, start_cam_deg: float, noise_mm: FloatArray, *, zero: bool
) -> BestFit:
    """Fit `after` onto `before` at their angles, (n,); `start_cam_deg`: about how much later `after` stands.

    noise_mm: (n,), standard deviation of the difference by noise. zero: whether the later zero is a freedom too.
    """
    there = before(angle_cam_deg, 0)
    fit = np.array([start_cam_deg, 0.0])[: 1 + zero]

    def left(fit: FloatArray) -> tuple[FloatArray, FloatArray]:
        at = angle_cam_deg + fit[0]
        columns = [after(at, 1), -np.ones_like(at)][: fit.size]
        return after(at, 0) - there - (fit[1] if zero else 0.0), np.stack(columns, axis=1)

    def settle(fit: FloatArray, weigh: Callable[[FloatArray], FloatArray], rounds: int, until: float) -> FloatArray:
        for _ in range(rounds):
            off, columns = left(fit)
            step = -_pull(columns, weigh(off)) @ off
            fit = fit + step
            if float(np.abs(step).max()) < until:
                break
        return fit

    def absolute(off: FloatArray) -> FloatArray:
        size = np.abs(off)
        return 1.0 / np.maximum(size, max(1e-3 * float(np.median(size)), _LEAST_MM))

    fit = settle(fit, absolute, _FIRST_ROUNDS, 0.0)
    spread = np.maximum(_OF_MEDIAN * float(np.median(np.abs(left(fit)[0]))), np.maximum(noise_mm, _LEAST_MM))

    def biweight(off: FloatArray) -> FloatArray:
        return np.maximum(1.0 - (off / (_REACH * spread)) ** 2, 0.0) ** 2

    fit = settle(fit, biweight, _ROUNDS, _SETTLED)
    off, columns = left(fit)
    weights = biweight(off)
    on_fit = -_pull(columns, weights)
    explained = float(weights @ noise_mm**2)
    unlike = sqrt(float(weights @ off**2) / explained) if explained > 0.0 else 1.0
    on_left = np.eye(off.size) + columns @ on_fit
    rise = float(fit[1]) if zero else 0.0
    return BestFit(float(fit[0]), rise, read_only(on_fit), read_only(on_left), max(1.0, unlike))


def _pull(columns: FloatArray, weights: FloatArray) -> FloatArray:
    """(XᵀWX)⁻¹XᵀW, (columns, n); a column that says nothing is left alone."""
    weighted = columns * weights[:, None]
    return np.asarray(np.linalg.pinv(weighted.T @ columns, hermitian=True) @ weighted.T)


def level_passed_by_noise(length: float, hold: float, chance: float) -> float:
    """How many standard deviations noise rises to somewhere over a length, with the chance given.

    `hold`: over which the noise hangs together (its deviation over that of its slope), in the unit of the length. The
    chance of passing a level is at most that of beginning above it and the expected number of upcrossings. Plain
    numbers. Source: Rice 1945.
    """

    def passed(level: float) -> float:
        return 0.5 * erfc(level / sqrt(2.0)) + length / (2.0 * pi * hold) * exp(-0.5 * level**2)

    low, high = 0.0, 12.0
    for _ in range(_ROUNDS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if passed(middle) > chance else (low, middle)
    return high
