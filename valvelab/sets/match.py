"""Matched sets: as many complete sets as there can be, and among those the least total spread.

The number of sets is settled first: by how many springs are of some use (`neighbour_bound`) where a heat bath finds
that many; else baths find what they can (`number_by_baths`), and windows go on from there (`windows`, `most_sets`)
where all of them can be listed. Then the spread (`least_spread`, `spread_proof`), and a bound for it (`hull_bound`).
With a single characteristic and no conditions both follow at once from the sorted order.

Source: own staging; each stage names its own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from valvelab.arrays import FloatArray, IntArray
from valvelab.sets.boxes import every_box
from valvelab.sets.hull_bound import hull_bound
from valvelab.sets.least_spread import Effort, LeastSpread, least_spread, line_bound
from valvelab.sets.most_sets import most_sets
from valvelab.sets.neighbour_bound import bound_from, distance_costs, spring_costs
from valvelab.sets.number_by_baths import most_by_baths, simple
from valvelab.sets.spread_proof import prove_spread
from valvelab.sets.tray import SLACK, Grouping, MostSets, Progress, Tray, Units, Watch, units_of
from valvelab.sets.windows import maximal_windows

FOR_THE_NUMBER = 0.85
"""Share of the time that the number of sets may take; the rest is kept for the spread."""
PAIRED = 2
"""Characteristics up to which their pairs tell which springs are of use; of more, distances are asked first, which tell
it nearly as well in a tenth of the time."""
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

    `bound_sets`: the most sets there can be; `bound_total_spread`: no grouping with as many sets is tighter. `ended`:
    the watch ended the search. Sets stand in order of position, then of their mean of the first characteristic.
    """

    sets: tuple[MatchedSet, ...]
    left_over: tuple[int, ...]
    total_spread: float
    bound_sets: int
    bound_total_spread: float
    number_proven: bool
    spread_proven: bool
    ended: bool = False

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
        grouping = best_cuts(units.low, limits, problem.size, 0)
        total = units.total(grouping)
        most = MostSets(grouping, len(grouping.sets), len(grouping.sets))
        return _answer(problem, units, most, LeastSpread(grouping, total, total), ended=False)
    distances = [distance_costs(units, position) for position in units.positions]
    few = units.limits.size <= PAIRED
    costs = [spring_costs(units, position) for position in units.positions] if few else distances
    most = _most(units, costs, watch.share(FOR_THE_NUMBER))
    engines = len(most.grouping.sets) // len(units.positions)
    sizes = [position.size for position in units.positions]
    lowest = max(bound_from(costs, sizes, engines), bound_from(distances, sizes, engines), line_bound(units, engines))
    least = _tightest(units, most.grouping, lowest, watch, effort)
    if simple(units):
        enough = 1.0 if few else effort.enough  # the more characteristics, the dearer is a share more
        bound = hull_bound(units, distances[0], engines, least.bound, least.total, effort.hulls, watch, enough)
        least = replace(least, bound=min(bound, least.total))
    return _answer(problem, units, most, least, ended=watch.over())


def _most(units: Units, costs: list[FloatArray], watch: Watch) -> MostSets:
    """The most sets: as many as the springs of some use allow, where a bath finds them; else by windows.

    Never fewer, nor looser, than the best of sorting by one characteristic and cutting.
    """
    count = min(int(np.isfinite(mine).sum()) // p.size for mine, p in zip(costs, units.positions, strict=True))
    count = min(count, int(units.weight.sum()) // sum(position.size for position in units.positions))
    if not simple(units):
        return _by_windows(units, costs, MostSets(Grouping(()), 0, count), watch)
    size = units.positions[0].size
    suiting = np.where(units.suiting(units.positions[0]))[0]
    cuts = [_cut(units, suiting, size, c) for c in range(units.limits.size)]
    cut = max(cuts, key=lambda grouping: (len(grouping.sets), -units.total(grouping)))
    watch.report(Progress("sets", len(cut.sets), count))
    most = most_by_baths(units, costs, MostSets(cut, len(cut.sets), count), watch)
    if not most.proven and not (watch.over() and most.complete):
        most = _by_windows(units, costs, most, watch)
    if (len(cut.sets), -units.total(cut)) > (most.complete, -units.total(most.grouping)):
        return replace(most, grouping=cut, complete=len(cut.sets))
    return most


def _cut(units: Units, suiting: IntArray, size: int, along: int) -> Grouping:
    """Springs that suit, sorted by one characteristic and cut."""
    cut = best_cuts(units.low[suiting], units.limits, size, along)
    return Grouping(tuple((p, tuple(int(suiting[unit]) for unit in chosen)) for p, chosen in cut.sets))


def _by_windows(units: Units, costs: list[FloatArray], known: MostSets, watch: Watch) -> MostSets:
    """The most sets by annealed windows and prices, from those known on.

    Where there are too many windows to list them all, by baths; only where these find nothing, by some of the windows.
    """
    windows = [maximal_windows(units, position, watch, all_or_none=True) for position in units.positions]
    whole = all(complete for _, complete in windows)
    if not whole and not simple(units):
        known = most_by_baths(units, costs, known, watch)
    if not whole and known.complete:
        return known
    if not whole:
        windows = [maximal_windows(units, position, watch) for position in units.positions]
    most = most_sets(units, [masks for masks, _ in windows], watch, known.grouping)
    bound = min(most.bound, known.bound) if whole else known.bound
    return replace(most, bound=max(bound, most.complete))


def _tightest(units: Units, start: Grouping, lowest: float, watch: Watch, effort: Effort) -> LeastSpread:
    """The least spread for a number of sets; where all boxes can be listed, several baths wait for a first proof."""
    if not start.sets:
        return LeastSpread(start, 0.0, 0.0)
    listing = watch.share(FOR_A_LIST)
    stocks = every_box(units, listing, effort.branches, effort.boxes, effort.listed_up_to)
    whole = all(stock.whole for stock in stocks)
    found = LeastSpread(start, inf, lowest)
    for baths in (1, effort.baths) if whole and effort.baths > 1 else (effort.baths,):
        mine = watch.share(FOR_A_LIST) if baths < effort.baths else watch
        again, met = least_spread(units, found.grouping, lowest, mine, replace(effort, baths=baths))
        found = replace(again, bound=min(max(again.bound, found.bound), again.total))
        if whole or effort.baths > 1:
            found = prove_spread(stocks, found, met, mine, effort)
        if found.proven or watch.over():
            break
    return found


def best_cuts(values: FloatArray, limits: FloatArray, size: int, along: int) -> Grouping:
    """Most sets, then least total spread, of runs of neighbours in the order of one characteristic.

    On one characteristic alone that is the least of all: sets that overlap can be cut anew in sorted order without a
    larger range or total. The best choice of runs is a shortest path along the order. `values` (n, d) and `limits`
    (d,), each characteristic in its own unit; `along` is the number of the one to sort by.
    """
    order = np.argsort(values[:, along], kind="stable")
    if order.size < size:
        return Grouping(())
    ranges = np.ptp(sliding_window_view(values[order], size, axis=0), axis=2) / limits
    fits, spreads = (ranges <= SLACK).all(axis=1).tolist(), ranges.sum(axis=1).tolist()
    best: list[tuple[int, float]] = [(0, 0.0)] * (order.size + 1)
    taken = [False] * (order.size + 1)
    for end in range(1, order.size + 1):
        best[end] = best[end - 1]
        begin = end - size
        if begin >= 0 and fits[begin]:
            count, cost = best[begin]
            offer = (count + 1, cost - spreads[begin])
            if offer > best[end]:
                best[end], taken[end] = offer, True
    sets = []
    end = order.size
    while end > 0:
        if taken[end]:
            sets.append((0, tuple(sorted(int(unit) for unit in order[end - size : end]))))
            end -= size
        else:
            end -= 1
    return Grouping(tuple(sorted(sets)))


def _answer(problem: Tray, units: Units, most: MostSets, least: LeastSpread, *, ended: bool) -> MatchedSets:
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
        ended=ended and not (most.proven and least.proven),
    )


def _matched(problem: Tray, units: Units, position: str, chosen: tuple[int, ...]) -> MatchedSet:
    springs = tuple(sorted(spring for unit in chosen for spring in units.members[unit]))
    return MatchedSet(position, springs, np.ptp(problem.values[list(springs)], axis=0))
