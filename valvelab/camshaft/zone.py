"""Minimum zones by linear programming: the band of least width, or the closest one-sided bound, of a linear model.

Source: linear programming, textbook; the zones are those of ISO 12181-1 and ISO 12780-1.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.kept import Kept
from valvelab.phrase import Phrase

Side = Literal["both", "inside", "outside"]

_TOLERANCE, _NUDGE = 1e-10, 1e-9
_FAR = 1e6
"""Bounds on every unknown that stand in until the points themselves hold a corner."""
_MOST_EXCHANGES = 2_000


@frozen
class Zone:
    """An optimum proven by its multipliers.

    `coefficients` of the model; `width` of the residuals about it, peak to valley; `weights`, shape (n,): how the
    objective changes with each value (the touching points carry them); for side "both" the objective is the width,
    otherwise the first coefficient.
    """

    coefficients: FloatArray
    width: float
    weights: FloatArray


_ZONES: Kept[Zone] = Kept(128)


def minimum_zone(design: FloatArray, values: FloatArray, side: Side = "both") -> Zone:
    """Fit `values ≈ design @ c`, exactly optimal.

    design: shape (n, k), first column ones; values: shape (n,). `both`: least peak-to-valley residual, the model in
    the middle of the band. `inside`: the largest first coefficient with no residual below 0; `outside`: the smallest
    with none above 0. Method: linear programming (dual simplex). Any unit, and the zone in the same one.
    """
    return _ZONES.of((design, values, side), lambda: _minimum_zone(design, values, side))


def _minimum_zone(design: FloatArray, values: FloatArray, side: Side) -> Zone:
    count, terms = design.shape
    start = np.asarray(np.linalg.lstsq(design, values, rcond=None)[0], dtype=np.float64)
    residual = values - design @ start
    scale = float(np.abs(residual).max())
    if count <= terms or scale <= 1e-15 * max(1.0, float(np.abs(values).max())):
        return Zone(start, float(np.ptp(residual)), np.zeros(count))
    part, weights = _solve(design, residual / scale, side)
    left = residual / scale - design @ part[:terms]
    return Zone(start + scale * part[:terms], float(np.ptp(left)) * scale, weights)


def _solve(design: FloatArray, values: FloatArray, side: Side) -> tuple[FloatArray, FloatArray]:
    """Coefficients (and the half width for "both") and the sensitivity of the objective to each value."""
    count, terms = design.shape
    if side == "both":
        column = np.ones((count, 1))
        matrix = np.vstack([np.hstack([design, -column]), np.hstack([-design, -column])])
        bound = np.concatenate([values, -values])
        cost = np.zeros(terms + 1)
        cost[-1] = 2.0
    else:
        sign = 1.0 if side == "inside" else -1.0
        matrix, bound = sign * design, sign * values
        cost = np.zeros(terms)
        cost[0] = -sign
    x, marginal = solve(cost, matrix, bound)
    if side == "both":
        return x, np.asarray(marginal[:count] - marginal[count:])
    # The objective is ∓ the first coefficient, and the bound ± the value: the two signs cancel.
    return x, np.asarray(-marginal)


def solve(cost: FloatArray, matrix: FloatArray, bound: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Least `cost @ x` over free x with `matrix @ x <= bound`; x, and the change of the optimum with each bound.

    For few unknowns: k bounds that meet in a corner are exchanged one at a time for the bound that the corner passes
    furthest, until it passes none. The problem should be scaled to about 1. `cost`: shape (k,), `matrix`: (n, k),
    `bound`: (n,). Raises CannotEvaluate(NOT_FEASIBLE). Plain numbers. Source: dual simplex method, textbook.
    """
    # costs a little apart, so that no two corners cost the same and none comes twice
    nudged = cost + _NUDGE * np.arange(1, cost.size + 1)
    around = np.diag(np.where(nudged > 0.0, -1.0, 1.0))
    rows, ends = np.vstack([matrix, around]), np.concatenate([bound, np.full(cost.size, _FAR)])
    held = np.arange(bound.size, ends.size)
    for _ in range(_MOST_EXCHANGES):
        x = np.linalg.solve(rows[held], ends[held])
        passed = rows @ x - ends
        furthest = int(passed.argmax())
        if passed[furthest] <= _TOLERANCE * max(1.0, float(np.abs(x).max())):
            break
        share, weights = np.linalg.solve(rows[held].T, np.column_stack([rows[furthest], -nudged])).T
        with np.errstate(divide="ignore", invalid="ignore"):
            given = np.where(share > _TOLERANCE, weights / share, np.inf)
        if not np.isfinite(given).any():
            raise CannotEvaluate(Reason.NOT_FEASIBLE, Phrase("minimum zone: no place keeps every bound"))
        held[int(given.argmin())] = furthest
    else:
        raise CannotEvaluate(
            Reason.NOT_FEASIBLE,
            Phrase("minimum zone: not found in {most} exchanges", most=_MOST_EXCHANGES),
        )
    change = np.zeros(ends.size)
    change[held] = np.linalg.solve(rows[held].T, cost)
    if np.abs(change[bound.size :]).max() > _TOLERANCE:
        raise CannotEvaluate(Reason.NOT_FEASIBLE, Phrase("minimum zone: the points do not hold it on every side"))
    return x, change[: bound.size]
