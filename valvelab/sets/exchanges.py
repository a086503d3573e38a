"""Tighter sets by exchanging springs: a heat bath, and from where it ends the best exchanges until none gains.

Source: own search.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from valvelab.arrays import BoolArray, FloatArray, IntArray
from valvelab.sets.heat_bath import FEW, Cooling, bathed
from valvelab.sets.tray import SLACK, Grouping, Units, Watch

GAIN = 1e-9
MOST_TURNS, TURNS_A_UNIT = 3_600, 36
"""Turns of a bath: the most, and the most for each unit of a tray that gives few sets."""
SETTLED = 400
"""Units up to which a cold bath's end is settled by the best exchanges: of many, each round weighs very many."""
BROKEN = 1e5
"""What a range above its limit by one limit costs, all the time, so that no set leaves its limits: softer, a bath of
many sets may end with one that finds no way back (bench_sets.py: trays of 400 to 1,000 at 1.5 standard deviations came
6 to 16 % looser, or kept their start); few sets are begun softer, and so only where that met nothing tighter."""
HOTTER = 0.2
"""Few sets are begun hotter (bench_sets.py: the tray of 64 came 6 % looser from the usual heat)."""


@dataclass(frozen=True, slots=True)
class Many:
    """A bath of many sets: its turns and how many more over the units, plain numbers; its first heat and its last."""

    turns: int
    more: int
    hot: float
    cold: float


ALONG = 3
"""Characteristics up to which a bath of many sets is `FEW_ALONG`; on more it is `MANY_ALONG`."""
FEW_ALONG, MANY_ALONG = Many(2_640, 0, 0.06, 0.008), Many(2_270, 372_000, 0.045, 0.004)
"""Units dealt anew spare turns. Trays of 384 to 408 on five characteristics came 1 % tighter by heats of their own."""


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


def tightened(units: Units, start: Grouping, watch: Watch, baths: int) -> list[Grouping]:
    """Groupings met on the way to a tighter one, the tightest last; the same start gives the same answer.

    A heat bath from the start, `baths` times over with other chances, and exchanges until none gains.
    """
    met = [start]
    if not start.sets or not units.total(start):
        return met
    few = len(start.sets) <= FEW
    soft = Cooling(min(MOST_TURNS, TURNS_A_UNIT * units.count), HOTTER)
    hard = replace(soft, soft=BROKEN, hard=BROKEN)
    if not few:
        many = FEW_ALONG if units.limits.size <= ALONG else MANY_ALONG
        hard = replace(hard, turns=many.turns + many.more // units.count, hot=many.hot, cold=many.cold)
    for seed in range(baths):
        if watch.over():
            break
        found = bathed(units, start, replace(soft if few else hard, seed=seed), watch)
        if few and found == start:
            found = bathed(units, start, replace(hard, seed=seed), watch)
        met.append(_settled(units, found or start, watch))
    if len(met) == 1:
        met.append(_settled(units, start, watch))
    return [*met, min(met, key=units.total)]


def _settled(units: Units, grouping: Grouping, watch: Watch) -> Grouping:
    if units.count > SETTLED:
        return grouping
    exchange = Exchange.of(units, grouping)
    exchange.descend(watch)
    return exchange.grouping()
