"""A bound below every total spread, from what each spring's tightest set would cost.

Let s be the least spread of any set within limits that a spring could be in. A set costs at least the mean of s over
its springs, so `count` sets of k cost at least the sum of the `count` × k least s, divided by k. It is a feasible dual
of choosing sets that share no spring, with prices (μ − s)⁺/k. A spring without any such set is of no use at all.

On two characteristics s is exact: the tightest box around a spring has the springs on its four faces among its k, so
every such box is listed by its left and right face. On more, the spread is half the sum over pairs of characteristics
taken in a ring, and each pair is bounded by itself; the other limits only tell which springs are of no use.

There another bound is often higher. Of k values in a range w the distances of all pairs come to at most ⌊k²/4⌋ w, half
of them at either end. So a set costs at least the sum of its springs' distances to one another, added over
characteristics, by 2 ⌊k²/4⌋, and a spring's k − 1 nearest are no farther than its mates.

Source: own bound; weak duality of set packing (Nemhauser and Wolsey), from memory.
"""

from __future__ import annotations

from collections.abc import Callable
from math import inf

import numpy as np

from valvelab.arrays import BoolArray, FloatArray, IntArray
from valvelab.sets.tray import SLACK, Position, Units

MOST_NEAR = 250
"""Springs near one, among which boxes are listed."""
ROWS = 32
"""Springs whose distances to all others are worked out together."""


def spring_costs(units: Units, position: Position) -> FloatArray:
    """Least spread (springs,) of a set of a position around each spring, a plain number; infinite where there is none.

    Units kept together stand as single springs at their least values, which only lowers it; springs kept apart may
    meet. In order of units.
    """
    return _costs_of(units, position, _costs)


def distance_costs(units: Units, position: Position) -> FloatArray:
    """What each spring (springs,) adds to a set of a position by its distances, times the set size, a plain number.

    Their mean over a set is never above its spread; a single one may be. Springs stand as in `spring_costs`.
    """
    return _costs_of(units, position, _distance_costs)


def _costs_of(units: Units, position: Position, work: Callable[[FloatArray, int], FloatArray]) -> FloatArray:
    values = np.repeat(units.low / units.limits, units.weight, axis=0)
    costs = np.full(len(values), inf)
    suiting = np.flatnonzero(np.repeat(units.suiting(position), units.weight))
    if suiting.size >= position.size:
        costs[suiting] = work(values[suiting], position.size)
    return costs


def _distance_costs(values: FloatArray, size: int) -> FloatArray:
    costs = np.empty(len(values))
    for start in range(0, len(values), ROWS):
        apart = np.abs(values[start : start + ROWS, None] - values)
        distance = np.where((apart <= SLACK).all(axis=2), apart.sum(axis=2), inf)
        costs[start : start + ROWS] = np.partition(distance, size - 1, axis=1)[:, :size].sum(axis=1)
    return np.asarray(costs * size / (2 * (size * size // 4)))


def bound_from(costs: list[FloatArray], sizes: list[int], engines: int) -> float:
    """No grouping of `engines` sets for each position has less total spread, a plain number.

    `costs` as from `spring_costs` (springs,) and the set size, for each position.
    """
    return sum(float(np.sort(mine)[: engines * size].sum()) / size for mine, size in zip(costs, sizes, strict=True))


def rough_cut(values: FloatArray, rows: IntArray, size: int) -> list[IntArray]:
    """Rows (m × size,) of values (n, d), in limits, cut into m sets: again and again across where they reach widest."""
    waiting, sets = [rows], []
    while waiting:
        some = waiting.pop()
        if some.size == size:
            sets.append(np.sort(some))
            continue
        across = int(np.argmax(np.ptp(values[some], axis=0)))
        ordered = some[np.argsort(values[some, across], kind="stable")]
        half = some.size // size // 2 * size
        waiting += [ordered[half:], ordered[:half]]
    return sets


def _costs(values: FloatArray, size: int) -> FloatArray:
    d = values.shape[1]
    if d == 1:
        return 0.5 * _pair_costs(values, size, 0, 0)
    if d == 2:
        return _pair_costs(values, size, 0, 1)
    return np.asarray(0.5 * np.sum([_pair_costs(values, size, c, (c + 1) % d) for c in range(d)], axis=0))


def _pair_costs(values: FloatArray, size: int, across: int, up: int) -> FloatArray:
    """Least sum (n,) of two ranges of a set around each spring; `across` and `up` are the two characteristics."""
    order = np.argsort(values[:, across], kind="stable")
    costs = np.empty(len(values))
    costs[order] = _Sweep(values[order], size, across, up).run()
    return costs


def _apart(values: FloatArray) -> FloatArray:
    """How far all values (n,) are from one another, (n, n); no second table of that size on the way."""
    apart = np.subtract.outer(values, values)
    return np.abs(apart, out=apart)


class _Sweep:
    """Boxes of `size` springs by their left face; springs (n, d), in limits, in order of the characteristic across."""

    def __init__(self, values: FloatArray, size: int, across: int, up: int) -> None:
        self.values, self.size = values, size
        self.across, self.up = values[:, across], values[:, up]

    def run(self) -> FloatArray:
        """The least costs (n,).

        First the box of the nearest ones around each spring, which no least cost is above; where that breaks a limit
        the spring is looked at by itself. Then the boxes of each left face, as far as they could be cheaper for a
        spring in them; there the other limits count for nothing, for a spring in a box may keep them with one of the
        faces and not with the other.
        """
        apart = _apart(self.across)
        np.maximum(apart, _apart(self.up), out=apart)
        apart[apart > SLACK] = inf
        mates = apart.copy()
        for column in self.values.T:
            mates[_apart(column) > SLACK] = inf
        least = np.full(len(apart), inf)
        nearest = np.argpartition(mates, self.size - 1, axis=1)[:, : self.size]
        ranges = np.ptp(self.across[nearest], axis=1), np.ptp(self.up[nearest], axis=1)
        within = np.isfinite(np.take_along_axis(mates, nearest, axis=1)).all(axis=1)
        within &= np.maximum(*ranges) <= SLACK
        np.minimum.at(least, nearest[within], np.add(*ranges)[within, None])
        for spring in np.flatnonzero(np.isinf(least)):
            near = np.flatnonzero(np.isfinite(mates[spring]))
            least[spring] = self._least_around(int(spring), near) if near.size >= self.size else inf
        useless = np.isinf(least)
        least[useless] = 0.0
        for left in range(len(least) - self.size + 1):
            away = apart[left, left:]
            most = float(least[left:][away <= least[left:]].max(initial=0.0))
            if away.size > MOST_NEAR and (reach := float(np.partition(away, MOST_NEAR)[MOST_NEAR])) < most:
                # dearer boxes are not listed: nothing above is claimed of springs that they could hold
                most = reach
                np.minimum(least[left:], np.where(away <= least[left:], reach, inf), out=least[left:])
            near = left + np.flatnonzero(away <= most)
            if near.size >= self.size:
                members, cost = self._boxes(left, near, most)
                np.minimum.at(least, members, cost[:, None])
        least[useless] = inf
        return least

    def _runs(self, inside: BoolArray, up: FloatArray) -> tuple[IntArray, IntArray, IntArray, IntArray]:
        """Runs of `size` springs of each row of masks (r, m), whose values are `up` (m,).

        The mask, the first and the last spring of each run, and where it starts; then all springs one after another.
        """
        mask, place = np.nonzero(inside)
        gap = self.size - 1
        if mask.size <= gap:
            return (np.zeros(0, dtype=np.int64),) * 3 + (place,)
        starts = np.flatnonzero(mask[:-gap] == mask[gap:])
        starts = starts[up[place[starts + gap]] - up[place[starts]] <= SLACK]
        return mask[starts], starts, starts + gap, place

    def _boxes(self, left: int, near: IntArray, most: float) -> tuple[IntArray, FloatArray]:
        """The boxes (b, size) with a spring on the left face, and their cost (b,); a box for each on the right face."""
        upward = near[np.argsort(self.up[near], kind="stable")]
        up, rights = self.up[upward], near[self.size - 1 :]
        right, start, end, place = self._runs(upward <= rights[:, None], up)
        low, high = up[place[start]], up[place[end]]
        cost = self.across[rights][right] - self.across[left] + high - low
        beyond = self.up[rights][right]
        keep = (cost <= most) & (low <= np.minimum(self.up[left], beyond)) & (high >= np.maximum(self.up[left], beyond))
        return upward[place[start[keep, None] + np.arange(self.size)]], cost[keep]

    def _least_around(self, spring: int, near: IntArray) -> float:
        """The least cost of a box with a spring in it, from every pair of a left and a right face."""
        upward = near[np.argsort(self.up[near], kind="stable")]
        up = self.up[upward]
        lefts, rights = np.meshgrid(near[near <= spring], near[near >= spring], indexing="ij")
        width = (self.across[rights] - self.across[lefts]).ravel()
        fits = width <= SLACK
        lefts, rights, width = lefts.ravel()[fits], rights.ravel()[fits], width[fits]
        pair, start, end, place = self._runs((upward >= lefts[:, None]) & (upward <= rights[:, None]), up)
        low, high = up[place[start]], up[place[end]]
        holds = (low <= self.up[spring]) & (high >= self.up[spring])
        return float((width[pair] + high - low)[holds].min(initial=inf))
