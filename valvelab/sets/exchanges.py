"""Tighter sets by exchanging springs.

`Exchange` weighs every exchange of two units at once and makes the best ones, until none gains; `Swaps` anneals
out of the hollow that this ends in.

Source: own search; the annealing is that of `annealing`.
"""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

import numpy as np

from valvelab.arrays import BoolArray, FloatArray, IntArray
from valvelab.sets.annealing import anneal
from valvelab.sets.tray import SLACK, Grouping, Units, Watch

GAIN = 1e-9
HOT, COLD = 0.15, 0.005
"""Rise of the total spread that annealing takes readily, at its start and end, as a share of a set's mean spread."""
LEAST_SWAPS, SWAPS_PER_UNIT = 100_000, 500
NEAR = 60


@dataclass(slots=True)
class Exchange:
    """A grouping being improved: the set of each unit, −1 for a left-over, and each set's position."""

    units: Units
    allowed: BoolArray
    label: IntArray
    position: IntArray

    @staticmethod
    def of(units: Units, grouping: Grouping) -> Exchange:
        """Start from a grouping."""
        label = np.full(units.count, -1, dtype=np.int64)
        for number, (_, chosen) in enumerate(grouping.sets):
            label[list(chosen)] = number
        allowed = np.array([units.suiting(position) for position in units.positions])
        return Exchange(units, allowed, label, np.array([p for p, _ in grouping.sets], dtype=np.int64))

    def grouping(self) -> Grouping:
        """The sets as they are now."""
        sets = [
            (int(position), tuple(int(u) for u in np.flatnonzero(self.label == number)))
            for number, position in enumerate(self.position)
        ]
        return Grouping(tuple(sorted(sets)))

    def total(self) -> float:
        """Total spread, a plain number: ranges in limits."""
        return self.units.total(self.grouping())

    def _without(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """For each unit, low and high of its set without it; and the set's spread. Left-overs get an empty set."""
        count, d = self.units.low.shape
        low, high = np.full((count, d), np.inf), np.full((count, d), -np.inf)
        spread = np.zeros(count)
        for number in range(self.position.size):
            members = np.flatnonzero(self.label == number)
            lows, highs = np.sort(self.units.low[members], axis=0), np.sort(self.units.high[members], axis=0)
            low[members], high[members] = lows[0], highs[-1]
            if members.size > 1:
                low[members] = np.where(self.units.low[members] == lows[0], lows[1], lows[0])
                high[members] = np.where(self.units.high[members] == highs[-1], highs[-2], highs[-1])
            spread[members] = ((highs[-1] - lows[0]) / self.units.limits).sum()
        return low, high, spread

    def gains(self) -> FloatArray:
        """(u, u) fall of the total spread when unit i (in a set) and unit j change places; −inf where they may not."""
        low, high, spread = self._without()
        units = self.units
        cost = np.zeros((units.count, units.count))
        fits = np.ones(cost.shape, dtype=np.bool_)
        for c, limit in enumerate(units.limits):
            ranges = np.maximum(high[:, None, c], units.high[None, :, c]) - np.minimum(
                low[:, None, c], units.low[None, :, c]
            )
            cost += ranges / limit
            fits &= ranges <= limit * SLACK
        placed = self.label >= 0
        enters = np.zeros_like(fits)
        enters[placed] = self.allowed[self.position[self.label[placed]]]
        fits &= enters
        cost[~placed], fits[~placed] = 0.0, True
        gain = spread[:, None] + spread[None, :] - cost - cost.T
        legal = fits & fits.T & placed[:, None] & (self.label[:, None] != self.label[None, :])
        legal &= units.weight[:, None] == units.weight[None, :]
        return np.where(legal, gain, -np.inf)

    def swap(self, i: int, j: int) -> None:
        """Two units change places."""
        self.label[i], self.label[j] = self.label[j], self.label[i]

    def parted(self, i: int, j: int) -> bool:
        """Whether units kept apart stay apart when i and j change places."""
        if not self.units.apart.any():
            return True
        mine = (self.label == self.label[i]) & (np.arange(self.label.size) != i)
        theirs = (self.label == self.label[j]) & (np.arange(self.label.size) != j)
        joins_theirs = self.label[j] >= 0 and self.units.apart[i, theirs].any()
        return not (self.units.apart[j, mine].any() or joins_theirs)

    def descend(self, watch: Watch, most_rounds: int = 400) -> None:
        """Make the best exchanges of different sets, round after round, until none gains."""
        for _ in range(most_rounds):
            if watch.over():
                return
            gain = self.gains()
            touched: set[int] = set()
            order = np.argsort(-gain, axis=None, kind="stable")[:200]
            for flat in order:
                i, j = divmod(int(flat), gain.shape[1])
                if gain[i, j] <= GAIN:
                    break
                sets = {int(self.label[i]), int(self.label[j])} - {-1}
                if sets & touched or (self.label[j] < 0 and j in touched) or not self.parted(i, j):
                    continue
                self.swap(i, j)
                touched |= sets
            if not touched:
                return


def tightened(units: Units, start: Grouping, watch: Watch, runs: int) -> list[Grouping]:
    """Groupings met on the way to a tighter one, the tightest last; the same start gives the same answer.

    Exchanges until none gains, then annealing from there, `runs` times over, and exchanges again.
    """
    exchange = Exchange.of(units, start)
    exchange.descend(watch)
    met = [exchange.grouping()]
    if not start.sets or not exchange.total():
        return met
    best, total, near = exchange.label.copy(), exchange.total(), neighbours(units)
    for run in range(runs):
        if watch.over():
            break
        swaps = Swaps(exchange, near, Random(run))  # noqa: S311 - the same search every time, nothing secret
        moves = max(LEAST_SWAPS, SWAPS_PER_UNIT * units.count)
        exchange.label = np.array(swaps.tightest(moves, watch), dtype=np.int64)
        exchange.descend(watch)
        met.append(exchange.grouping())
        if exchange.total() < total - GAIN:
            best, total = exchange.label.copy(), exchange.total()
        exchange.label = best.copy()
    return [*met, exchange.grouping()]


def neighbours(units: Units) -> list[list[int]]:
    """For each unit, those of its weight nearest to it, measured in limits."""
    from scipy.spatial import cKDTree

    middles = (units.low + units.high) / (2.0 * units.limits)
    near: list[list[int]] = [[] for _ in units.members]
    for weight in np.unique(units.weight):
        alike = np.flatnonzero(units.weight == weight)
        _, rows = cKDTree(middles[alike]).query(middles[alike], k=min(NEAR + 1, alike.size))
        for unit, row in zip(alike, np.reshape(rows, (alike.size, -1)), strict=True):
            near[int(unit)] = [int(other) for other in alike[row] if other != unit]
    return near


class Swaps:
    """Random exchanges, a looser grouping taken with a chance that shrinks; plain lists, for sets are small.

    Only a spring on a face of its set's box can tighten the set, so one of those leaves; one near it comes.
    """

    def __init__(self, exchange: Exchange, near: list[list[int]], random: Random) -> None:
        self.near, self.random = near, random
        self.low: list[list[float]] = (exchange.units.low / exchange.units.limits).tolist()
        self.high: list[list[float]] = (exchange.units.high / exchange.units.limits).tolist()
        self.allowed: list[list[bool]] = exchange.allowed.tolist()
        self.position: list[int] = exchange.position.tolist()
        self.foes = [{int(other) for other in np.flatnonzero(row)} for row in exchange.units.apart]
        self.characteristics = range(exchange.units.limits.size)
        self.label = [int(number) for number in exchange.label]
        self.sets = [[u for u, mine in enumerate(self.label) if mine == n] for n in range(exchange.position.size)]
        self.cost = [self._spread(members) or 0.0 for members in self.sets]
        self._offered: list[tuple[int, int, list[int], float]] = []

    def _spread(self, members: list[int]) -> float | None:
        """Σ of ranges of one set, in limits; None when one is above its limit."""
        total = 0.0
        for c in self.characteristics:
            width = max([self.high[u][c] for u in members]) - min([self.low[u][c] for u in members])
            if width > SLACK:
                return None
            total += width
        return total

    def tightest(self, moves: int, watch: Watch) -> list[int]:
        """The set of each unit in the tightest grouping met."""
        total = least = sum(self.cost)
        mean, best = total / len(self.cost), self.label[:]
        for rise in anneal(self, moves, mean * HOT, mean * COLD, watch.over):
            total += rise
            if total < least - GAIN:
                least, best = total, self.label[:]
        return best

    def offer(self) -> float | None:
        """An exchange within limits and conditions; the change of the total spread, ranges in limits (no unit)."""
        here = self.random.randrange(len(self.sets))
        leaving, coming = self._pair(self.sets[here])
        there = self.label[coming]
        if there == here or not self._may(leaving, here, coming, there):
            return None
        self._offered, change = [], 0.0
        for number, going, entering in ((here, leaving, coming), (there, coming, leaving)):
            members = [entering if unit == going else unit for unit in self.sets[number]] if number >= 0 else []
            cost = self._spread(members) if members else 0.0
            if cost is None:
                return None
            self._offered.append((number, entering, members, cost))
            change += cost - self.cost[number] if members else 0.0
        return change

    def take(self) -> None:
        """Make the exchange offered."""
        for number, entering, members, cost in self._offered:
            self.label[entering] = number
            if number >= 0:
                self.sets[number], self.cost[number] = members, cost

    def leave(self) -> None:
        """Nothing was changed yet."""

    def _pair(self, members: list[int]) -> tuple[int, int]:
        c = self.random.randrange(len(self.characteristics))
        if self.random.random() < 0.5:
            leaving = max(members, key=lambda u: self.high[u][c])
        else:
            leaving = min(members, key=lambda u: self.low[u][c])
        near = self.near[leaving]
        return leaving, near[self.random.randrange(len(near))] if near else leaving

    def _may(self, leaving: int, here: int, coming: int, there: int) -> bool:
        if not self.allowed[self.position[here]][coming] or self._clash(coming, self.sets[here], leaving):
            return False
        return there < 0 or (
            self.allowed[self.position[there]][leaving] and not self._clash(leaving, self.sets[there], coming)
        )

    def _clash(self, unit: int, members: list[int], without: int) -> bool:
        foes = self.foes[unit]
        return bool(foes) and any(other in foes for other in members if other != without)
