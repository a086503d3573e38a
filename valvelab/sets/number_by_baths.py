"""The number of sets by heat baths: as many as the springs of some use allow, else the most that baths come to.

A bath either finds so many sets within limits or it does not; there are at least as many as any found. Springs that no
set found holds may be of no use after all: each is looked at closely, and those that fit into no set lower the bound.

Source: own search.
"""

from __future__ import annotations

import numpy as np

from valvelab.arrays import FloatArray, IntArray
from valvelab.sets.heat_bath import Cooling, bathed
from valvelab.sets.neighbour_bound import rough_cut
from valvelab.sets.tray import SLACK, Grouping, MostSets, Progress, Units, Watch

STARTS, TURNS = 3, 500
"""Baths that look for the number that the bound allows, and how long each goes on; most end within some tens of turns.
For fewer sets one bath is asked."""
LONG_TURNS = 2_000
"""Turns of a bath that looks for one set more than was found."""
MOST_BOXES = 3_000
"""Boxes around a spring that are looked at; a spring with more counts as of some use."""
FAR, NEAR_ENOUGH = 1e6, 0.75
"""What a unit at a position that it does not suit costs; how far, in limits, units with conditions go to a set."""


def most_by_baths(units: Units, costs: list[FloatArray], known: MostSets, watch: Watch) -> MostSets:
    """The most complete engines that baths find and a bound, counts; `known` where they find no more.

    First the number at the bound, then fewer by steps that double, then between what was found and what was not.
    `costs` as from `spring_costs` (springs,), plain numbers, for each position.
    """
    best, missed, fall = known, known.bound + 1, 1
    while best.complete + 1 < missed and not watch.over():
        count = missed - fall if missed - fall > best.complete else (best.complete + missed) // 2
        found = _bathed(units, costs, count, TURNS, STARTS if count == known.bound else 1, watch)
        if found is None:
            missed, fall = count, 2 * fall
        else:
            best, fall = _found(found, count, best.bound, watch), missed
    if not best.proven and best.complete and simple(units) and not watch.over():
        bound = min(best.bound, useful_springs(units, best.grouping) // units.positions[0].size)
        best = _found(best.grouping, best.complete, max(bound, best.complete), watch)
    while not best.proven and not watch.over():
        found = _bathed(units, costs, best.complete + 1, LONG_TURNS, 1, watch)
        if found is None:
            break
        best = _found(found, best.complete + 1, best.bound, watch)
    return best


def simple(units: Units) -> bool:
    """Whether sets are of one kind and of single springs without conditions, no unit."""
    return units.plain and len(units.positions) == 1


def _found(grouping: Grouping, count: int, bound: int, watch: Watch) -> MostSets:
    watch.report(Progress("sets", count, bound))
    return MostSets(grouping, count, bound)


def _bathed(
    units: Units, costs: list[FloatArray], count: int, turns: int, starts: int, watch: Watch
) -> Grouping | None:
    """So many complete engines within limits; None when no bath meets them."""
    start = _rough_start(units, costs[0], count) if simple(units) else _seated_start(units, count)
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


def useful_springs(units: Units, found: Grouping) -> int:
    """How many springs some set within limits could hold, of those that suit; in a set found, each does."""
    values, size = units.low / units.limits, units.positions[0].size
    suiting = units.suiting(units.positions[0])
    doubtful = suiting.copy()
    doubtful[[unit for _, chosen in found.sets for unit in chosen]] = False
    useless = 0
    for spring in np.flatnonzero(doubtful):
        mates = np.flatnonzero(suiting & (np.abs(values - values[spring]) <= SLACK).all(axis=1))
        useless += not _Boxes(values, int(spring), size).hold(mates)
    return int(suiting.sum()) - useless


class _Boxes:
    """Boxes as wide as the limits around one spring: whether any holds `size` springs. Values (u, d) in limits."""

    def __init__(self, values: FloatArray, spring: int, size: int) -> None:
        self.values, self.size, self.at, self.left = values, size, values[spring], MOST_BOXES

    def hold(self, mates: IntArray, c: int = 0) -> bool:
        """Whether a box from the characteristic `c` on holds enough of the mates (m,); the fullest are tried first."""
        self.left -= 1
        if self.left < 0 or mates.size < self.size or c == self.at.size:
            return mates.size >= self.size
        mine = self.values[mates, c]
        lows = np.unique(mine[mine <= self.at[c]])
        inside = (mine >= lows[:, None]) & (mine <= lows[:, None] + SLACK) & (self.at[c] <= lows[:, None] + SLACK)
        many = inside.sum(axis=1)
        fullest = np.argsort(-many, kind="stable")[: int((many >= self.size).sum())]
        return any(self.hold(mates[inside[row]], c + 1) for row in fullest)
