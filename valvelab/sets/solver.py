"""The integer solver, watched: an answer, or the best known when time or patience ends."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import inf
from typing import Any

import numpy as np

from valvelab.arrays import FloatArray, IntArray
from valvelab.sets.beside import Answer, Beside
from valvelab.sets.tray import Watch

GRACE_S = 0.5
"""Time for the solver to end by itself and hand over the best it has."""


@dataclass(frozen=True, slots=True)
class Rows:
    """Sparse rows lower ≤ A x ≤ upper, gathered entry by entry."""

    rows: list[IntArray]
    columns: list[IntArray]
    entries: list[FloatArray]
    lower: list[FloatArray]
    upper: list[FloatArray]

    @staticmethod
    def empty() -> Rows:
        """No rows yet."""
        return Rows([], [], [], [], [])

    @property
    def count(self) -> int:
        """Rows so far."""
        return sum(part.size for part in self.lower)

    def matrix(self, columns: int) -> Any:
        """The sparse matrix A."""
        from scipy.sparse import csr_array

        entries, rows = np.concatenate(self.entries), np.concatenate(self.rows)
        return csr_array((entries, (rows, np.concatenate(self.columns))), shape=(self.count, columns))

    def add(
        self, rows: IntArray, columns: IntArray, entries: FloatArray | float, lower: FloatArray, upper: FloatArray
    ) -> None:
        """Add a block; `rows` count from 0 within the block, `lower` and `upper` have one value a row."""
        self.rows.append(np.asarray(rows, dtype=np.int64) + self.count)
        self.columns.append(np.asarray(columns, dtype=np.int64))
        self.entries.append(np.broadcast_to(np.asarray(entries, dtype=np.float64), self.rows[-1].shape))
        self.lower.append(np.asarray(lower, dtype=np.float64))
        self.upper.append(np.asarray(upper, dtype=np.float64))


@dataclass(frozen=True, slots=True)
class Solved:
    """What the solver came back with: the point or None, and a bound below every point's cost."""

    x: FloatArray | None
    bound: float
    infeasible: bool = False


def solve(
    cost: FloatArray,
    rows: Rows,
    integrality: IntArray,
    upper: FloatArray,
    watch: Watch,
    most_nodes: int = 2**31 - 1,
) -> Solved:
    """One mixed-integer minimisation over 0 ≤ x ≤ `upper`; x is None when it was ended without a point.

    The watch ends it, and so do `most_nodes` branches of the search tree.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp

    constraint = LinearConstraint(rows.matrix(cost.size), np.concatenate(rows.lower), np.concatenate(rows.upper))
    limit = max(0.05, min(watch.seconds_left(), 1e7))

    def run() -> Any:
        bounds = Bounds(np.zeros(cost.size), upper)
        return milp(
            cost,
            constraints=constraint,
            integrality=integrality,
            bounds=bounds,
            options={"time_limit": limit, "mip_rel_gap": 0.0, "node_limit": most_nodes},
        )

    answer = beside(run, watch)
    if answer is None:
        return Solved(None, -inf)
    x = None if answer.x is None else np.asarray(answer.x, dtype=np.float64)
    bound = -inf if answer.mip_dual_bound is None else float(answer.mip_dual_bound)
    return Solved(x, bound, answer.status == 2)


@dataclass(frozen=True, slots=True)
class Relaxed:
    """A linear programme solved: value, point, and the fall of the value per unit of each row's and variable's cap."""

    value: float
    x: FloatArray
    rows: FloatArray
    caps: FloatArray


def relax(cost: FloatArray, rows: Rows, upper: FloatArray, watch: Watch, *, interior: bool = False) -> Relaxed | None:
    """The linear relaxation over 0 ≤ x ≤ `upper`.

    `interior` takes the interior-point method, which is faster on large programmes. None when the watch ended it or
    there is no point at all.
    """
    from scipy.optimize import linprog
    from scipy.sparse import vstack

    matrix = rows.matrix(cost.size)
    low, high = np.concatenate(rows.lower), np.concatenate(rows.upper)
    equal = low == high
    under, over = ~equal & np.isfinite(high), ~equal & np.isfinite(low)
    limit = max(0.05, min(watch.seconds_left(), 1e7))

    def run() -> Any:
        return linprog(
            cost,
            A_ub=vstack([matrix[under], -matrix[over]]),
            b_ub=np.concatenate([high[under], -low[over]]),
            A_eq=matrix[equal],
            b_eq=low[equal],
            bounds=np.column_stack([np.zeros(cost.size), upper]).tolist(),
            method="highs-ipm" if interior else "highs-ds",
            options={"time_limit": limit},
        )

    answer = beside(run, watch)
    if answer is None or answer.status != 0:
        return None
    prices = np.zeros(rows.count)
    prices[under] = -answer.ineqlin.marginals[: int(under.sum())]
    caps = np.maximum(-np.asarray(answer.upper.marginals, dtype=np.float64), 0.0)
    return Relaxed(float(answer.fun), np.asarray(answer.x), np.maximum(prices, 0.0), caps)


def beside(run: Callable[[], Answer], watch: Watch) -> Answer | None:
    """Run something that can't be interrupted in a thread of its own; None when the watch cancels or its time is over.

    The solver lets other threads run. It looks at its own time limit too seldom to be waited for; one that is left
    behind ends there.
    """
    work = Beside(run)
    done = work.wait(lambda: watch.cancelled() or watch.seconds_left() < -GRACE_S)
    return work.answer() if done else None
