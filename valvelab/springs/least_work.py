"""Among plans that are as good as the best, the one that asks for the fewest purchases, then for the least work.

Source: integer linear programming (HiGHS), with ways left out that no such plan needs.
"""

from __future__ import annotations

import numpy as np

from valvelab.arrays import BoolArray, FloatArray, IntArray
from valvelab.frozen import frozen

NODES = 2_000
"""Branches that the solver may look at: counted, so that the clock changes no answer."""
MOST_SIZE = 350_000
"""Ways times positions that the solver is given; of more ways the nearest, and nothing is proven."""
BELOW_ONE, GAP = 0.9, 1e-6
"""The weight of all errors together, less than one part changed; how near the solver comes to its bound."""


@frozen
class Ways:
    """Ways to fit positions, one a row: (n,) each, `uses` (n, k).

    position, spring: which, as indices. error_n2: squared distance of its seat force from what is aimed at. work: parts
    that come out or go in. uses: how many it takes of each counted size of part. at_home: the spring stands there now.
    """

    position: IntArray
    spring: IntArray
    error_n2: FloatArray
    work: IntArray
    uses: IntArray
    at_home: BoolArray

    def rows(self, kept: IntArray) -> Ways:
        """Some of the ways; `kept` (m,) are their rows."""
        return Ways(
            self.position[kept],
            self.spring[kept],
            self.error_n2[kept],
            self.work[kept],
            self.uses[kept],
            self.at_home[kept],
        )


@frozen
class Chosen:
    """The row of the way chosen for each position, in the order of positions; whether nothing better is possible."""

    rows: tuple[int, ...]
    proven: bool


def needed(ways: Ways) -> IntArray:
    """Rows of the ways that an answer may need, shape (m,), rising; no unit.

    Ways of a position that ask for the same work and parts differ by the spring alone. Of springs that stand elsewhere
    the nearest are enough, as many as there are positions: one of them is always free, and taking it costs nobody
    anything.
    """
    order = np.lexsort((ways.spring, ways.error_n2))
    kinds = np.column_stack([ways.position, ways.work, ways.at_home, ways.uses])[order]
    _, kind = np.unique(kinds, axis=0, return_inverse=True)
    most = int(ways.position.max()) + 1
    seen: dict[tuple[int, int], None] = {}
    taken = np.zeros(int(kind.max()) + 1, dtype=np.int64)
    kept = []
    for row, one in zip(order.tolist(), kind.ravel().tolist(), strict=True):
        known = (one, int(ways.spring[row]))
        if known not in seen and taken[one] < most:
            seen[known] = None
            taken[one] += 1
            kept.append(row)
    return np.array(sorted(kept), dtype=np.int64)


def least_work(ways: Ways, available: IntArray, most_error_n2: float | None) -> Chosen | None:
    """The ways that buy the fewest parts, then change the fewest, then come nearest; None where nothing was found.

    A way for each position and no spring twice. available: how many there are of each counted size, (k,).
    most_error_n2: the largest sum of squared errors that is as good as the best, in N²; None where every way is.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import coo_array, csr_array, hstack

    every = needed(ways)
    kept = _nearest(ways, every)
    few = ways.rows(kept)
    count, sizes = kept.size, available.size
    each, ones = np.arange(count), np.ones(count)
    positions = int(few.position.max()) + 1
    _, spring = np.unique(few.spring, return_inverse=True)
    springs = int(spring.max()) + 1
    place = coo_array((ones, (few.position, each)), shape=(positions, count + sizes))
    once = coo_array((ones, (spring, each)), shape=(springs, count + sizes))
    limits = [LinearConstraint(place, 1, 1), LinearConstraint(once, -np.inf, 1)]
    if sizes:
        bought = hstack([csr_array(few.uses.T.astype(np.float64)), -csr_array(np.eye(sizes))])
        limits.append(LinearConstraint(bought, -np.inf, available))
    worst = np.zeros(positions)
    np.maximum.at(worst, few.position, few.error_n2)
    scale = float(worst.sum())
    if most_error_n2 is not None:
        scale = min(scale, most_error_n2)
        limits.append(
            LinearConstraint(np.concatenate([few.error_n2, np.zeros(sizes)])[None, :], -np.inf, most_error_n2)
        )
    hardest = np.zeros(positions, dtype=np.int64)
    np.maximum.at(hardest, few.position, few.work)
    near = few.error_n2 * (BELOW_ONE / scale) if scale > 0.0 else np.zeros(count)
    found = milp(
        np.concatenate([few.work + near, np.full(sizes, 1.0 + hardest.sum())]),
        integrality=np.ones(count + sizes, dtype=np.int64),
        bounds=Bounds(0, np.concatenate([ones, np.full(sizes, np.inf)])),
        constraints=limits,
        options={"node_limit": NODES, "mip_rel_gap": GAP},
    )
    if found.x is None:
        return None
    rows = kept[np.flatnonzero(found.x[:count] > 0.5)]
    proven = found.status == 0 and kept.size == every.size
    return Chosen(tuple(int(row) for row in rows[np.argsort(ways.position[rows])]), bool(proven))


def _nearest(ways: Ways, rows: IntArray) -> IntArray:
    """Of too many rows those that change nothing's spring, and the nearest of each position; no unit."""
    positions = int(ways.position.max()) + 1
    if rows.size * positions <= MOST_SIZE:
        return rows
    each = max(1, MOST_SIZE // positions**2)
    order = rows[np.lexsort((ways.error_n2[rows], ~ways.at_home[rows], ways.position[rows]))]
    starts = np.searchsorted(ways.position[order], ways.position[order])
    return np.sort(order[np.arange(order.size) - starts < each])
