"""Matched sets: as many complete sets as there can be, and among those the least total spread.

The number of sets is settled first (`windows`, `most_sets`), then the spread (`least_spread`, `spread_proof`). With a
single characteristic and no conditions both follow at once from the sorted order.

Source: own staging; each stage names its own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.sets.boxes import every_box
from valvelab.sets.least_spread import Effort, LeastSpread, least_spread
from valvelab.sets.most_sets import most_sets
from valvelab.sets.spread_proof import prove_spread
from valvelab.sets.tray import SLACK, Grouping, MostSets, Tray, Units, Watch, units_of
from valvelab.sets.windows import maximal_windows

FOR_THE_NUMBER = 0.85
"""Share of the time that the number of sets may take; the rest is kept for the spread."""
FOR_A_LIST = 0.5
"""Share of the time left that listing all boxes may take, and the proof from it before annealing."""


@dataclass(frozen=True, slots=True)
class MatchedSet:
    """One set: its position in the engine ("" without positions), its springs as rows of the tray, its ranges (d,)."""

    position: str
    springs: tuple[int, ...]
    spread: FloatArray


@dataclass(frozen=True, slots=True)
class MatchedSets:
    """Answer of matching, with what is proven.

    `bound_sets`: the most sets there can be; `bound_total_spread`: no grouping with as many sets is tighter.
    """

    sets: tuple[MatchedSet, ...]
    left_over: tuple[int, ...]
    total_spread: float
    bound_sets: int
    bound_total_spread: float
    number_proven: bool
    spread_proven: bool

    @property
    def proven_optimal(self) -> bool:
        """Whether both the number of sets and their total spread are proven."""
        return self.number_proven and self.spread_proven


def match(problem: Tray, watch: Watch | None = None, effort: Effort | None = None) -> MatchedSets:
    """The most matched sets, then the tightest. Raises CannotEvaluate where springs are both together and apart.

    Deterministic as long as the watch lets it finish. When the watch ends it, the best found so far with its bounds.
    """
    watch, effort = watch or Watch(), effort or Effort()
    units, limits = units_of(problem), problem.limits
    if limits.size == 1 and units.plain and not problem.positions:
        grouping = best_cuts(units.low[:, 0], float(limits[0]), problem.size)
        total = units.total(grouping)
        most = MostSets(grouping, len(grouping.sets), len(grouping.sets))
        return _answer(problem, units, most, LeastSpread(grouping, total, total))
    first = watch.share(FOR_THE_NUMBER)
    windows = [maximal_windows(units, position, first) for position in units.positions]
    most = most_sets(units, [masks for masks, _ in windows], first)
    if not all(whole for _, whole in windows):
        springs = int(units.weight.sum())
        most = replace(most, bound=springs // sum(position.size for position in units.positions))
    return _answer(problem, units, most, _tightest(units, most.grouping, watch, effort))


def _tightest(units: Units, start: Grouping, watch: Watch, effort: Effort) -> LeastSpread:
    """The least spread for a number of sets; where all boxes can be listed, annealing waits for a first proof."""
    if not start.sets:
        return LeastSpread(start, 0.0, 0.0)
    stocks = every_box(units, watch.share(FOR_A_LIST), effort.branches, effort.boxes)
    found = LeastSpread(start, inf, 0.0)
    for anneals in (0, effort.anneals) if all(stock.whole for stock in stocks) else (effort.anneals,):
        mine = watch if anneals else watch.share(FOR_A_LIST)
        again, met = least_spread(units, found.grouping, mine, replace(effort, anneals=anneals))
        found = replace(again, bound=max(again.bound, found.bound))
        found = prove_spread(stocks, found, met, mine, effort)
        if found.proven or watch.over():
            break
    return found


def best_cuts(values: FloatArray, limit: float, size: int) -> Grouping:
    """Most sets, then least total range, on one characteristic: runs of neighbours in sorted order.

    Sets that overlap can be cut anew in sorted order without a larger range or total, so runs are enough; the best
    choice of runs is a shortest path along the order. `values` (n,) and `limit` in the same unit.
    """
    order = np.argsort(values, kind="stable")
    v = values[order]
    best: list[tuple[int, float]] = [(0, 0.0)] * (v.size + 1)
    taken = [False] * (v.size + 1)
    for end in range(1, v.size + 1):
        best[end] = best[end - 1]
        if end >= size and v[end - 1] - v[end - size] <= limit * SLACK:
            count, cost = best[end - size]
            offer = (count + 1, cost - float(v[end - 1] - v[end - size]))
            if offer > best[end]:
                best[end], taken[end] = offer, True
    sets = []
    end = v.size
    while end > 0:
        if taken[end]:
            sets.append((0, tuple(sorted(int(unit) for unit in order[end - size : end]))))
            end -= size
        else:
            end -= 1
    return Grouping(tuple(sorted(sets)))


def _answer(problem: Tray, units: Units, most: MostSets, least: LeastSpread) -> MatchedSets:
    made = [_matched(problem, units, units.positions[number].name, chosen) for number, chosen in least.grouping.sets]
    made.sort(key=lambda matched: (matched.position, float(problem.values[list(matched.springs), 0].mean())))
    used = {spring for matched in made for spring in matched.springs}
    return MatchedSets(
        sets=tuple(made),
        left_over=tuple(i for i in range(len(problem.names)) if i not in used),
        total_spread=least.total,
        bound_sets=most.bound * len(units.positions),
        bound_total_spread=least.bound,
        number_proven=most.proven,
        spread_proven=least.proven,
    )


def _matched(problem: Tray, units: Units, position: str, chosen: tuple[int, ...]) -> MatchedSet:
    springs = tuple(sorted(spring for unit in chosen for spring in units.members[unit]))
    return MatchedSet(position, springs, np.ptp(problem.values[list(springs)], axis=0))
