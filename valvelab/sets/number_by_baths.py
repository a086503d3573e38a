"""The number of sets by heat baths and windows that move: as many as springs of some use allow, else the most found.

A bath either finds so many sets within limits or it does not; there are at least as many as any found. Where it does
not, windows laid about its sets may (`seating`). Springs that no set found holds may be of no use after all: each is
looked at closely, and those that fit into no set lower the bound; so may the scarce ones together (`scarce_bound`).

Source: own search.
"""

from __future__ import annotations

from dataclasses import replace
from random import Random

import numpy as np

from valvelab.arrays import BoolArray, FloatArray, IntArray
from valvelab.sets.heat_bath import Cooling, bathed, left_by
from valvelab.sets.neighbour_bound import rough_cut
from valvelab.sets.scarce_bound import too_many
from valvelab.sets.seating import Ground, Seating, one_engine_more
from valvelab.sets.tray import SLACK, Grouping, MostSets, Progress, Units, Watch

STARTS, TURNS = 3, 500
"""Baths that look for the number that the bound allows, and how long each goes on; most end within some tens of turns.
For fewer sets one bath is asked."""
FIRST_TURNS = 300
"""Turns of a bath from whose end windows move: after 500 they found no more (eleven trays of 320 to 1,010)."""
FEW_MOVES, MANY_MOVES = 2_000, 8_000
"""Moves of windows that look for a number of sets, and more of them where less than a set is missing."""
LISTED_ALONG = 3
"""Characteristics up to which scarce springs are asked, for on more the windows about them are mostly too many, and up
to which many moves are made: on five, 8,000 found no more than 2,000 (seven trays of 400)."""
LONG_TURNS = 2_000
"""Turns of a bath that looks for one set more than was found."""
MOST_BOXES = 3_000
"""Boxes around a spring that are looked at; a spring with more counts as of some use."""
USEFUL_IN_A_ROW = 6
"""Springs of use, in order of what they cost, after which no more are looked at before the first bath."""
FAR, NEAR_ENOUGH = 1e6, 0.75
"""What a unit at a position that it does not suit costs; how far, in limits, units with conditions go to a set."""


def most_by_baths(units: Units, costs: list[FloatArray], known: MostSets, watch: Watch) -> MostSets:
    """The most complete engines that baths find and a bound, counts; `known` where they find no more.

    Of single springs of one kind windows that move find mostly as many or nearly as many as the bound allows. Else
    baths: first the number at the bound, then fewer by steps that double, then between what was found and what was not.
    `costs` as from `spring_costs` (springs,), plain numbers, for each position.
    """
    best, missed, fall = known, known.bound + 1, 1
    if simple(units):
        best = _most_seated(units, costs[0], known, watch)
        if best.complete + 1 >= best.bound:
            return best
        missed = best.bound + 1
    while best.complete + 1 < missed and not watch.over():
        count = missed - fall if missed - fall > best.complete else (best.complete + missed) // 2
        found = _bathed(units, costs[0], count, TURNS, STARTS if count == known.bound else 1, watch)
        if found is None:
            missed, fall = count, 2 * fall
        else:
            best, fall = _found(found, count, best.bound, watch), missed
    while not best.proven and not watch.over():
        found = _bathed(units, costs[0], best.complete + 1, LONG_TURNS, 1, watch)
        if found is None:
            break
        best = _found(found, best.complete + 1, best.bound, watch)
    return _more_seated(units, best, watch) if simple(units) else best


def _more_seated(units: Units, best: MostSets, watch: Watch) -> MostSets:
    """One set more again and again, as long as windows that move from those known come to it."""
    ground = Ground.of(units, useful_springs(units, best.grouping))
    around = [[ground.around(chosen) for _, chosen in best.grouping.sets]]
    while not best.proven and not watch.over():
        found = one_engine_more(ground, around, MANY_MOVES, watch, lambda: False)
        if found is None:
            break
        grouping, around = found
        best = _found(grouping, best.complete + 1, best.bound, watch)
    return best


def _most_seated(units: Units, costs: FloatArray, known: MostSets, watch: Watch) -> MostSets:
    """The most sets of single springs of one kind: a bath at the bound; from where it ends, windows that move.

    Where these are not soon filled, scarce springs may refute so many; where they can't be filled at all, the emptiest
    go until the others can.
    """
    size = units.positions[0].size
    stray = _stray(units, costs)
    known = replace(known, bound=max(min(known.bound, int((~stray).sum()) // size), known.complete))
    count = known.bound
    if count <= known.complete:
        return known
    start = _rough_start(units, np.where(stray, np.inf, costs), count)
    left, within = left_by(units, start, Cooling(min(FIRST_TURNS, 20 * units.count), first=True), watch)
    if within:
        return _found(left, count, count, watch)
    of_use = useful_springs(units, left, ~stray)
    best = replace(known, bound=max(min(count, int(of_use.sum()) // size), known.complete))
    ground = Ground.of(units, of_use)
    windows = [ground.around(chosen) for _, chosen in left.sets]
    listed = units.limits.size <= LISTED_ALONG
    asked, missed = not listed, best.bound + 1
    while best.complete + 1 < missed and not watch.over():
        seating = Seating(ground, [0] * len(windows), windows, Random(len(windows)))  # noqa: S311 - nothing secret
        found = len(windows) < missed and seating.anneal(FEW_MOVES, watch.over)
        if not found and len(windows) == best.bound and not asked:
            asked = True
            if too_many(units, of_use, best.bound, watch):
                best, missed = replace(best, bound=best.bound - 1), best.bound
        if not found and len(windows) < missed and seating.empty < size:
            found = seating.anneal(MANY_MOVES if listed else FEW_MOVES, watch.over)
        if found:
            best = _found(seating.grouping(), len(windows), best.bound, watch)
            left_over = seating.left_over() or [0]  # where none is, no more sets are looked for
            windows = [*seating.window, ground.around((seating.random.choice(left_over),))]
        else:
            missed = min(missed, len(windows))
            fewer = min(missed - 1, len(windows) - seating.empty // size)
            windows = seating.fullest(max(best.complete + 1, fewer))
    return best


def simple(units: Units) -> bool:
    """Whether sets are of one kind and of single springs without conditions, no unit."""
    return units.plain and len(units.positions) == 1


def _found(grouping: Grouping, count: int, bound: int, watch: Watch) -> MostSets:
    watch.report(Progress("sets", count, bound))
    return MostSets(grouping, count, bound)


def _bathed(units: Units, costs: FloatArray, count: int, turns: int, starts: int, watch: Watch) -> Grouping | None:
    """So many complete engines within limits; None when no bath meets them."""
    start = _rough_start(units, costs, count) if simple(units) else _seated_start(units, count)
    if start is None:
        return None
    for seed in range(starts):
        found = bathed(units, start, Cooling(min(turns, 20 * units.count), seed=seed, first=True), watch)
        if found or watch.over():
            return found
    return None


def _rough_start(units: Units, costs: FloatArray, count: int) -> Grouping:
    """The springs that cost least, roughly cut."""
    size = units.positions[0].size
    used = np.sort(np.argsort(costs, kind="stable")[: count * size])
    return Grouping(
        tuple((0, tuple(int(unit) for unit in one)) for one in rough_cut(units.low / units.limits, used, size))
    )


def _seated_start(units: Units, count: int) -> Grouping | None:
    """Units to the nearest middles of roughly cut springs, so that all conditions hold; None where places stay empty.

    Units with conditions choose first, the heaviest before the others; those that lie far from every middle stay out.
    """
    from scipy.optimize import linear_sum_assignment

    values = 0.5 * (units.low + units.high) / units.limits
    position, middles = _middles(units, values, count)
    if position.size < count * len(units.positions):
        return None
    suits = np.array([units.suiting(one) for one in units.positions])[position]
    apart = np.abs(values[None] - middles[:, None])
    distance = np.where(suits, apart.sum(axis=2), FAR)
    room = np.array([one.size for one in units.positions], dtype=np.int64)[position]
    sets: list[list[int]] = [[] for _ in position]
    bound = units.constrained()
    for unit in sorted(np.flatnonzero(bound).tolist(), key=lambda unit: -int(units.weight[unit])):
        for row in np.argsort(distance[:, unit], kind="stable").tolist():
            open_to = suits[row, unit] and (apart[row, unit] <= NEAR_ENOUGH).all() and room[row] >= units.weight[unit]
            if open_to and not units.apart[unit, sets[row]].any():
                sets[row].append(unit)
                room[row] -= units.weight[unit]
                break
    free, places = np.flatnonzero(~bound), np.repeat(np.arange(position.size), room)
    if free.size < places.size:
        return None
    taken, chosen = linear_sum_assignment(distance[np.ix_(places, free)])
    if (distance[places[taken], free[chosen]] >= FAR).any():
        return None
    for row, unit in zip(places[taken].tolist(), free[chosen].tolist(), strict=True):
        sets[row].append(unit)
    return Grouping(tuple(sorted((int(p), tuple(sorted(one))) for p, one in zip(position, sets, strict=True))))


def _middles(units: Units, values: FloatArray, count: int) -> tuple[IntArray, FloatArray]:
    """The position (s,) of each set and its springs' middle (s, d), as if each position had the tray to itself."""
    position, middles = [], []
    for number, one in enumerate(units.positions):
        suiting = np.flatnonzero(units.suiting(one))
        size = suiting.size // count
        for rows in rough_cut(values, suiting[: size * count], size) if size else ():
            position.append(number)
            middles.append(values[rows].mean(axis=0))
    return np.array(position, dtype=np.int64), np.array(middles).reshape(-1, units.limits.size)


def _stray(units: Units, costs: FloatArray) -> BoolArray:
    """Springs (u,) that cost nothing finite, and of those that cost most the ones that no set could hold.

    Where a set could hold some of these, one after another, the others count as of use.
    """
    looked, stray = _Near(units), ~np.isfinite(costs)
    useful = 0
    for spring in np.argsort(-np.where(stray, -np.inf, costs), kind="stable").tolist():
        if useful == USEFUL_IN_A_ROW or stray[spring]:
            break
        stray[spring] = not looked.of_use(spring)
        useful = 0 if stray[spring] else useful + 1
    return stray


def useful_springs(units: Units, found: Grouping, among: BoolArray | None = None) -> BoolArray:
    """Which springs (u,) some set within limits could hold, no unit; in a set found within limits, each does.

    among: (u,), the others are known to be of no use.
    """
    of_use = units.suiting(units.positions[0]).copy()
    if among is not None:
        of_use &= among
    doubtful = of_use.copy()
    values = units.low / units.limits
    for _, chosen in found.sets:
        if (np.ptp(values[list(chosen)], axis=0) <= SLACK).all():
            doubtful[list(chosen)] = False
    looked = _Near(units)
    for spring in np.flatnonzero(doubtful).tolist():
        of_use[spring] = looked.of_use(spring)
    return of_use


class _Near:
    """Looks for sets about single springs."""

    def __init__(self, units: Units) -> None:
        self.values, self.size = units.low / units.limits, units.positions[0].size
        self.suiting = units.suiting(units.positions[0])

    def of_use(self, spring: int) -> bool:
        """Whether some set within limits could hold a spring; one with too many boxes about it counts as of use."""
        mates = np.flatnonzero(self.suiting & (np.abs(self.values - self.values[spring]) <= SLACK).all(axis=1))
        return _Boxes(self.values, spring, self.size).hold(mates)


class _Boxes:
    """Boxes as wide as the limits around one spring: whether any holds `size` springs. Values (u, d) in limits."""

    def __init__(self, values: FloatArray, spring: int, size: int) -> None:
        self.values, self.size, self.at, self.left = values, size, values[spring], MOST_BOXES

    def hold(self, mates: IntArray, c: int = 0) -> bool:
        """Whether a box from the characteristic `c` on holds enough of the mates (m,); the fullest are tried first."""
        self.left -= 1
        if self.left < 0 or mates.size < self.size or c == self.at.size:
            return mates.size >= self.size
        mine, at = self.values[mates, c], self.at[c]
        ordered = np.sort(mine)
        lows = np.unique(ordered[(ordered <= at) & (ordered + SLACK >= at)])
        ends = np.searchsorted(ordered, lows + SLACK, side="right")
        many = ends - np.searchsorted(ordered, lows)
        # a box that reaches no further up than the one begun lower holds no spring that this one does not
        worth = np.flatnonzero((np.diff(ends, prepend=-1) > 0) & (many >= self.size))
        fullest = lows[worth[np.argsort(-many[worth], kind="stable")]].tolist()
        return any(self.hold(mates[(mine >= low) & (mine <= low + SLACK)], c + 1) for low in fullest)
