"""Tighter sets by exchanging springs: every exchange of two units is weighed at once, the best ones are made."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.springs.tray import BoolArray, Grouping, IntArray, Position, Units, Watch, spread_of

GAIN = 1e-9
PATIENCE = 0.02
"""How much looser a grouping may become from one kick to the next, so that the search does not stay in one hollow."""
KICK = 0.8
"""Largest rise of the total spread by one random exchange."""
SLACK = 1.0 + 1e-12


@dataclass(slots=True)
class Exchange:
    """A grouping being improved: the set of each unit, −1 for a left-over, and each set's position."""

    units: Units
    limits: FloatArray
    allowed: BoolArray
    label: IntArray
    position: IntArray

    @staticmethod
    def of(units: Units, limits: FloatArray, positions: tuple[Position, ...], grouping: Grouping) -> Exchange:
        """Start from a grouping."""
        label = np.full(len(units.members), -1, dtype=np.int64)
        for number, (_, chosen) in enumerate(grouping.sets):
            label[list(chosen)] = number
        allowed = np.array([
            (units.low >= position.low).all(axis=1) & (units.high <= position.high).all(axis=1)
            for position in positions
        ])  # fmt: skip
        return Exchange(units, limits, allowed, label, np.array([p for p, _ in grouping.sets], dtype=np.int64))

    def grouping(self) -> Grouping:
        """The sets as they are now."""
        sets = [
            (int(position), tuple(int(u) for u in np.flatnonzero(self.label == number)))
            for number, position in enumerate(self.position)
        ]
        return Grouping(tuple(sorted(sets)))

    def total(self) -> float:
        """Total spread."""
        return sum(spread_of(self.units, self.limits, chosen) for _, chosen in self.grouping().sets)

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
            spread[members] = ((highs[-1] - lows[0]) / self.limits).sum()
        return low, high, spread

    def gains(self) -> FloatArray:
        """(u, u) fall of the total spread when unit i (in a set) and unit j change places; −inf where they may not."""
        low, high, spread = self._without()
        units = self.units
        cost = np.zeros((len(units.members), len(units.members)))
        fits = np.ones(cost.shape, dtype=np.bool_)
        for c, limit in enumerate(self.limits):
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

    def kick(self, generator: np.random.Generator) -> None:
        """A few random exchanges that keep every limit."""
        for i, j in generator.permutation(np.argwhere(self.gains() > -KICK))[: generator.integers(1, 5)]:
            if self.legal(int(i), int(j)):
                self.swap(int(i), int(j))

    def legal(self, i: int, j: int) -> bool:
        """Whether i and j, as they lie now, may change places."""
        if self.label[i] == self.label[j] or self.label[i] < 0 or not self.parted(i, j):
            return False
        for here, other in ((i, j), (j, i)):
            number = self.label[here]
            if number < 0:
                continue
            members = (self.label == number) & (np.arange(self.label.size) != here)
            members[other] = True
            ranges = self.units.high[members].max(axis=0) - self.units.low[members].min(axis=0)
            if not (ranges <= self.limits * SLACK).all() or not self.allowed[self.position[number], other]:
                return False
        return True

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


def tightened(
    units: Units,
    limits: FloatArray,
    positions: tuple[Position, ...],
    start: Grouping,
    watch: Watch,
    kicks: int,
) -> list[Grouping]:
    """Groupings met on the way to a tighter one, the tightest last; the same start gives the same answer.

    Exchanges until none gains, then a few random exchanges that keep every limit (seeded) and again.
    """
    exchange = Exchange.of(units, limits, positions, start)
    exchange.descend(watch)
    best = current = exchange.label.copy()
    total = now = exchange.total()
    met = [exchange.grouping()]
    generator = np.random.default_rng(1)
    for _ in range(kicks):
        if watch.over() or not met[0].sets:
            break
        exchange.kick(generator)
        exchange.descend(watch)
        then = exchange.total()
        met.append(exchange.grouping())
        if then < now * (1.0 + PATIENCE):
            current, now = exchange.label.copy(), then
        if then < total - GAIN:
            best, total = exchange.label.copy(), then
        exchange.label = current.copy()
    exchange.label = best
    return [*met, exchange.grouping()]
