"""The least total spread for a given number of sets, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.sets.exchanges import tightened
from valvelab.sets.set_columns import all_sets, best_of
from valvelab.sets.tray import Grouping, Position, Progress, Units, Watch, spread_of

EQUAL = 1e-7


@dataclass(frozen=True, slots=True)
class LeastSpread:
    """The tightest grouping found, its total spread, and a bound below every grouping with as many sets."""

    grouping: Grouping
    total: float
    bound: float

    @property
    def proven(self) -> bool:
        """Whether no grouping is tighter (within one part in ten million)."""
        return self.total <= self.bound + EQUAL * max(1.0, self.total)


@dataclass(frozen=True, slots=True)
class Effort:
    """Work allowed, in counts rather than seconds so that the answer does not depend on the machine."""

    anneals: int = 3
    rounds: int = 60
    branches: int = 3_000
    boxes: int = 20_000
    last_boxes: int = 150
    columns: int = 5_000
    nodes: int = 100


THOROUGH = Effort(
    anneals=12, rounds=2000, branches=400_000, boxes=60_000, last_boxes=20_000, columns=60_000, nodes=10**8
)


def total_spread(units: Units, limits: FloatArray, grouping: Grouping) -> float:
    """Σ over sets and characteristics of range / limit."""
    return sum(spread_of(units, limits, chosen) for _, chosen in grouping.sets)


def line_bound(units: Units, limits: FloatArray, positions: tuple[Position, ...], engines: int) -> float:
    """A bound below every total spread: each characteristic cut by itself, as if springs could be sorted anew for each.

    On one characteristic the tightest `engines` sets are runs of neighbours in sorted order, found by a shortest path.
    """
    total = 0.0
    for position in positions:
        allowed = (units.low >= position.low).all(axis=1) & (units.high <= position.high).all(axis=1)
        k = position.size
        for c, limit in enumerate(limits):
            v = np.sort(units.low[allowed, c])
            least = np.zeros(v.size + 1)
            for _ in range(engines):
                ending = np.full(v.size + 1, np.inf)
                ending[k:] = least[:-k] + v[k - 1 :] - v[: v.size - k + 1]
                least = np.minimum.accumulate(ending)
            total += float(least[-1] / limit)
    return total


def least_spread(
    units: Units,
    limits: FloatArray,
    positions: tuple[Position, ...],
    start: Grouping,
    watch: Watch,
    effort: Effort,
) -> LeastSpread:
    """The tightest grouping with as many sets as `start`.

    Exchanges find a tight grouping; where every spring is free to join any other, `spread_proof` then bounds what is
    possible and closes the gap as far as effort and time allow.
    """
    if not start.sets:
        return LeastSpread(start, 0.0, 0.0)
    engines = len(start.sets) // len(positions)
    every = all_sets(units, limits, positions, effort.columns)
    met = tightened(units, limits, positions, start, watch, effort.anneals if every is None else 0)
    columns = {one for grouping in met for one in grouping.sets}
    if every is not None:
        columns |= set(every)
    best, bound = met[-1], 0.0
    if not watch.over():
        chosen, least = best_of(units, limits, len(positions), columns, engines, watch, effort.nodes)
        if chosen is not None and total_spread(units, limits, chosen) < total_spread(units, limits, best) - EQUAL:
            best = chosen
        bound = least if every is not None else 0.0
    if units.plain:
        bound = max(bound, line_bound(units, limits, positions, engines))
    total = total_spread(units, limits, best)
    found = LeastSpread(best, total, min(max(bound, 0.0), total))
    watch.report(Progress("spread", len(best.sets), None, found.total, found.bound))
    if found.proven or not units.plain or watch.over():
        return found
    from valvelab.sets.spread_proof import prove_spread

    return prove_spread(units, limits, positions, found, [*met[-30:], best], watch, effort)
