"""Minimum zones by linear programming: the band of least width, or the closest one-sided bound, of a linear model.

Source: linear programming, textbook; the zones are those of ISO 12181-1 and ISO 12780-1.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.errors import CannotEvaluate, Reason
from valvelab.kept import Kept

Side = Literal["both", "inside", "outside"]

_START = 40
_ADD = 40


@dataclass(frozen=True, slots=True)
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
    with none above 0. Works on a growing subset of the points until no point is left outside it, so the answer is that
    of the whole set. Method: linear programming (dual simplex), constraints added as they are violated.
    Any unit, and the zone in the same one.
    """
    return _ZONES.of((design, values, side), lambda: _minimum_zone(design, values, side))


def _minimum_zone(design: FloatArray, values: FloatArray, side: Side) -> Zone:
    count, terms = design.shape
    start = np.asarray(np.linalg.lstsq(design, values, rcond=None)[0], dtype=np.float64)
    residual = values - design @ start
    scale = float(np.abs(residual).max())
    if count <= terms or scale <= 1e-15 * max(1.0, float(np.abs(values).max())):
        return Zone(start, float(np.ptp(residual)), np.zeros(count))
    order = np.argsort(residual)
    chosen = np.unique(np.concatenate([order[:_START], order[-_START:], np.arange(0, count, max(1, count // _START))]))
    while True:
        part, weights = _solve(design[chosen], residual[chosen] / scale, side)
        left = residual / scale - design @ part[:terms]
        outside = _violation(left, part[-1], side)
        outside[chosen] = 0.0
        if outside.max() <= 1e-10:
            break
        worst = np.argsort(outside)[-_ADD:]
        chosen = np.union1d(chosen, worst[outside[worst] > 1e-10])
    full = np.zeros(count)
    full[chosen] = weights
    return Zone(start + scale * part[:terms], float(np.ptp(left)) * scale, full)


def _violation(left: FloatArray, half_width: float, side: Side) -> FloatArray:
    if side == "both":
        return np.asarray(np.maximum(np.abs(left) - half_width, 0.0))
    return np.asarray(np.maximum(-left if side == "inside" else left, 0.0))


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

    Tolerances are the solver's tightest, 1e-10, so the problem should be scaled to about 1. `cost`: shape (k,),
    `matrix`: (n, k), `bound`: (n,). Raises CannotEvaluate(NOT_FEASIBLE). Plain numbers.
    """
    from scipy.optimize import linprog

    tight = {"primal_feasibility_tolerance": 1e-10, "dual_feasibility_tolerance": 1e-10}
    solver: Any = linprog
    answer = solver(cost, A_ub=matrix, b_ub=bound, bounds=(None, None), method="highs-ds", options=tight)
    if answer.x is None:
        raise CannotEvaluate(Reason.NOT_FEASIBLE, f"minimum zone: {answer.message}")
    return np.asarray(answer.x, dtype=np.float64), np.asarray(answer.ineqlin.marginals, dtype=np.float64)
