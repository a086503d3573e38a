"""Lobe centreline from equal-lift pairs of wheel readings.

Source: common practice of degreeing; weights by JCGM 100:2008, clause 5.1.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.phrase import Phrase


@frozen
class EqualLiftPair:
    """Middle and half width of one pair, crank deg; `height_mm` the lift, or the drop below the peak."""

    height_mm: float
    middle_deg: float
    half_width_deg: float
    repeats: int = 1


def combined_middle(
    pairs: Sequence[EqualLiftPair], near_nose: bool, reading_uncertainty_deg: float | None
) -> tuple[float, float | None]:
    """Middle of several equal-lift pairs weighted by flank slope squared, and its standard uncertainty.

    An error of the indicator moves a crossing by error/slope, so the variance of a middle goes with 1/slope². The
    slopes come from the pairs themselves; a single pair, or pairs that don't widen as they should, weigh alike. Crank
    deg. Raises CannotEvaluate(TOO_FEW_READINGS) without a pair.
    """
    if not pairs:
        raise CannotEvaluate(
            Reason.TOO_FEW_READINGS, Phrase("centreline: found no equal-lift pair, expected at least one")
        )
    weights = pair_weights(pairs, near_nose)
    middles = np.array([pair.middle_deg for pair in pairs])
    value = float(weights @ middles)
    if reading_uncertainty_deg is None:
        return value, None
    repeats = np.array([pair.repeats for pair in pairs], dtype=np.float64)
    variance = float(weights**2 @ (reading_uncertainty_deg**2 / (2.0 * repeats)))
    return value, math.sqrt(variance)


def pair_weights(pairs: Sequence[EqualLiftPair], near_nose: bool) -> FloatArray:
    """Weights of the pairs, summing to one. Shape (pairs,)."""
    slopes = flank_slopes(pairs, near_nose)
    weights = np.array([pair.repeats for pair in pairs], dtype=np.float64)
    if slopes is not None:
        weights = weights * slopes**2
    return np.asarray(weights / weights.sum())


def flank_slopes(pairs: Sequence[EqualLiftPair], near_nose: bool) -> FloatArray | None:
    """Lift per crank deg at each pair, in the pairs' order, by differences between them; None where they can't tell.

    Near the nose the nose itself (no drop, no width) is one more point. Shape (pairs,).
    """
    width = np.array([pair.half_width_deg for pair in pairs])
    height = np.array([pair.height_mm for pair in pairs])
    order = np.argsort(width)
    x, y = width[order], height[order]
    if near_nose:
        x, y = np.concatenate([[0.0], x]), np.concatenate([[0.0], y])
    if x.size < 2 + int(near_nose) or not (np.diff(x) > 0.0).all():
        return None
    steps = np.diff(y) if near_nose else -np.diff(y)
    if not (steps > 0.0).all():
        return None
    slope = np.abs(np.gradient(y, x, edge_order=2 if x.size > 2 else 1))
    slopes = np.empty(len(pairs))
    slopes[order] = slope[1:] if near_nose else slope
    return slopes if (slopes > 0.0).all() else None
