"""Tighter sets by a heat bath: many pairs of sets change at once, each in one of all the ways there are.

Sets that lie near one another are paired, for two kinds of turns. In one, all exchanges of a unit of the one set for
a unit of the other are weighed and one of them, or none, is drawn by its Boltzmann weight; units left over stand in
sets that cost nothing. In the other, both sets are put together, sorted by a characteristic and halved: two boxes
side by side become two one above the other, which exchanges alone reach only over a high rise. A third kind, where
sets are many, takes a unit on a face of every set and deals them and those left over anew, all at once: springs move
along chains of sets, for which exchanges need several rises. Limits are soft: a range above its limit costs, and more
as the heat falls where no grouping within limits is known. Only such groupings are kept.

Source: own search; the heat bath (Gibbs sampling) of Geman and Geman 1984, the assignment that chance is added to
(perturb and maximise) of Papandreou and Yuille 2011, both from memory.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from valvelab.arrays import BoolArray, FloatArray, IntArray
from valvelab.assignment import cheapest
from valvelab.sets.tray import Grouping, Units, Watch

HOT, COLD = 0.06, 0.004
"""Heat at the start and the end, as a share of a set's mean spread."""
SOFT, HARD = 10.0, 60.0
"""What a range above its limit by one limit costs, at the start and the end, where no sets within limits are known."""
SETS_A_ROW = 3
"""Sets for each row of units left over, at most: so that each row lies somewhere, and most sets meet one."""
NEAR, PAIRINGS, SPLIT_EVERY, COOL_EVERY, LOOK_EVERY = 6, 8, 4, 16, 64
FEW = 12
"""Of more sets units are dealt anew among all at once; of so few, exchanges between two come to nearly the same."""
OURS_UP_TO = 32
"""Sets up to which our own assignment costs a bath less than importing scipy's (bench_sets.py)."""
CHANCES = 1 << 18
FAR, NEVER = 1e6, 1e9
GAIN, WITHIN = 1e-9, 1.0 + 1e-12


@dataclass(frozen=True, slots=True)
class Cooling:
    """How long a bath runs, in turns, and between which heats; `first` ends it at the first grouping within limits.

    soft, hard: what a range above its limit by one limit costs, at the start and the end.
    """

    turns: int
    hot: float = HOT
    cold: float = COLD
    soft: float = SOFT
    hard: float = HARD
    seed: int = 0
    first: bool = False


def bathed(units: Units, start: Grouping, cooling: Cooling, watch: Watch) -> Grouping | None:
    """The tightest grouping within limits that a bath met, `start` with it; None when it met none.

    `start` keeps the conditions of its units, but may break limits. The same start and cooling give the same answer,
    unless the watch ends the bath.
    """
    bath = _Bath(units, start, cooling)
    bath.run(cooling, watch)
    return bath.best


def left_by(units: Units, start: Grouping, cooling: Cooling, watch: Watch) -> tuple[Grouping, bool]:
    """The first grouping within limits that a bath met, or how it left the sets; and whether it is within limits."""
    bath = _Bath(units, start, cooling)
    bath.run(cooling, watch)
    return (bath.now(), False) if bath.best is None else (bath.best, True)


def _gumbel(generator: np.random.Generator, many: int) -> FloatArray:
    """Chances (many,) that turn the best of weights into a draw by them.

    Rounded, so that the last digit of another machine's logarithm changes nothing.
    """
    return np.asarray(np.round(-np.log(-np.log(generator.random(many))), 6))


class _Bath:
    """Sets in rows of slots, then rows of units left over; values in limits, a slot without a unit holds number u."""

    def __init__(self, units: Units, start: Grouping, cooling: Cooling) -> None:
        self.units, self.start = units, start
        self.random = np.random.default_rng(cooling.seed)
        beyond = np.full((units.limits.size, 1), FAR)
        self.low = np.concatenate([(units.low / units.limits).T, beyond], axis=1)
        self.high = np.concatenate([(units.high / units.limits).T, -beyond], axis=1)
        self.rows = len(start.sets)
        self.members = self._laid_out()
        self.count, self.slots = self.members.shape
        many = max(self.count * self.slots**2, self.rows * (self.rows + self.left.size))
        self.chances = _gumbel(self.random, max(CHANCES, 2 * many))
        self.position = np.array([*(p for p, _ in start.sets), *[-1] * (self.count - self.rows)], dtype=np.int64)
        self.suits = self._suits()
        self.wishes = not units.plain or len(units.positions) > 1 or not self.suits.all()
        self.deals = self.rows > FEW and not self.wishes
        self.faces = np.concatenate([self.low, -self.high])
        self.weight = np.append(units.weight, 0)
        self.apart = np.pad(units.apart, (0, 1))
        self.bound = np.append(units.constrained(), True)
        shape = (units.limits.size, self.count)
        self.width = np.zeros(shape)
        self.middle = np.zeros(shape)
        self.cost = np.zeros(self.count)
        self.without_low, self.without_high = np.zeros((*shape, self.slots)), np.zeros((*shape, self.slots))
        self.hard = SOFT
        self.pairings: list[IntArray] = []
        self._weigh(np.arange(self.count))
        self.mean = max(float(self.width[:, : self.rows].sum()) / self.rows, GAIN)
        self.least, self.best = np.inf, None if self._over() else start
        if self.best is not None:
            self.least = self._total()

    def _laid_out(self) -> IntArray:
        """Units (sets, slots) of each set and of the rows left over, the number of units where a slot is empty."""
        none = self.units.count
        slots = max(2, *(len(chosen) for _, chosen in self.start.sets))
        used = np.zeros(none, dtype=np.bool_)
        for _, chosen in self.start.sets:
            used[list(chosen)] = True
        self.left = np.flatnonzero(~used)
        spare = max(-(-self.left.size // slots), min(self.left.size, self.rows // SETS_A_ROW))
        members = np.full((self.rows + spare, slots), none, dtype=np.int64)
        for row, (_, chosen) in enumerate(self.start.sets):
            members[row, : len(chosen)] = chosen
        self._deal(members, self.left)
        return members

    def _deal(self, members: IntArray, left: IntArray) -> None:
        """Units left over to the rows for them, evenly and in order."""
        members[self.rows :] = self.units.count
        for row, some in enumerate(np.array_split(left, len(members) - self.rows) if left.size else []):
            members[self.rows + row, : some.size] = some

    def _suits(self) -> BoolArray:
        """Whether a unit may stand at a position (p + 1, u + 1); anyone may be left over."""
        suits = np.ones((len(self.units.positions) + 1, self.units.count + 1), dtype=np.bool_)
        for number, position in enumerate(self.units.positions):
            suits[number, :-1] = self.units.suiting(position)
        return suits

    # -- what sets cost ------------------------------------------------------------------------------------------

    def _weigh(self, rows: IntArray) -> None:
        """Extents of some rows, with each of their units and without it; what is left over costs nothing."""
        rows = rows[rows < self.rows]
        members = self.members.take(rows, axis=0)
        low = self.low.take(members, axis=1)
        high = self.high.take(members, axis=1) if self.wishes else low
        lows = np.sort(low, axis=2)
        highs = np.sort(high, axis=2) if self.wishes else lows
        first, last = lows[:, :, :1], highs[:, :, -1:]
        self.without_low[:, rows] = np.where(low == first, lows[:, :, 1:2], first)
        self.without_high[:, rows] = np.where(high == last, highs[:, :, -2:-1], last)
        width = (last - first)[:, :, 0]
        self.width[:, rows] = width
        self.middle[:, rows] = 0.5 * (last + first)[:, :, 0]
        self.cost[rows] = self._priced(width)

    def _priced(self, widths: Iterable[FloatArray]) -> FloatArray:
        """What sets cost: the sum of their widths along each characteristic, and the worst excess over a limit."""
        along = iter(widths)
        cost: FloatArray = next(along).copy()
        worst: FloatArray = cost.copy()
        for one in along:
            cost += one
            np.maximum(worst, one, out=worst)
        worst -= 1.0
        np.maximum(worst, 0.0, out=worst)
        worst *= self.hard
        cost += worst
        return cost

    def _total(self) -> float:
        return float(self.width[:, : self.rows].sum())

    def _over(self) -> bool:
        """Whether a limit is broken."""
        return bool(self.width[:, : self.rows].max() > WITHIN)

    def _keep(self) -> None:
        """Keep the grouping when it is the tightest so far."""
        if float(self.cost[: self.rows].sum()) < self.least - GAIN and not self._over():
            self.least, self.best = self._total(), self.now()

    def now(self) -> Grouping:
        """The sets as they are."""
        sets = [
            (position, tuple(unit for unit in sorted(row) if unit < self.units.count))
            for position, row in zip(
                self.position[: self.rows].tolist(), self.members[: self.rows].tolist(), strict=True
            )
        ]
        return Grouping(tuple(sorted(sets)))

    # -- turns -----------------------------------------------------------------------------------------------------

    def run(self, cooling: Cooling, watch: Watch) -> None:
        """All turns; the watch may end them."""
        if self.count < 2:
            return
        coldness = 0.0
        for turn in range(cooling.turns):
            if (turn % LOOK_EVERY == 0 and watch.over()) or (cooling.first and self.best is not None):
                return
            if turn % COOL_EVERY == 0:
                part = turn / cooling.turns
                # rounded likewise
                coldness = 1.0 / float(f"{self.mean * cooling.hot * (cooling.cold / cooling.hot) ** part:.6g}")
                self.hard = float(f"{cooling.soft * (cooling.hard / cooling.soft) ** part:.6g}")
                self.cost[: self.rows] = self._priced(self.width[:, : self.rows])
            if self.deals and turn % 2:
                self._deal_anew(coldness)
            else:
                first, second = self._pairs()
                (self._exchange if turn % SPLIT_EVERY else self._split)(first, second, coldness)
            self._keep()

    def _pairs(self) -> IntArray:
        """Pairs of rows (2, p) that share none, the first of each a set."""
        if not self.pairings:
            self._gather_left()
            self.pairings = self._new_pairings()
        return self.pairings.pop()

    def _gather_left(self) -> None:
        """Sort units left over along some direction, so that rows of them lie somewhere."""
        left = self.members[self.rows :].reshape(-1)
        left = left[left < self.units.count]
        along = np.round(self.random.normal(size=len(self.low)), 6) @ self.low[:, left]
        self._deal(self.members, left[np.argsort(along, kind="stable")])
        for row in range(self.rows, self.count):
            self.middle[:, row] = self.low[:, self.members[row, self.members[row] < self.units.count]].mean(axis=1)

    def _new_pairings(self) -> list[IntArray]:
        distance = ((self.middle[:, :, None] - self.middle[:, None]) ** 2).sum(axis=0)
        np.fill_diagonal(distance, np.inf)
        many = min(NEAR, self.count - 1)
        near = np.argsort(distance, axis=1, kind="stable")[:, :many].tolist()
        pairings = []
        for _ in range(PAIRINGS):
            free, pairs = [True] * self.count, []
            begin = self.random.integers(many, size=self.count).tolist()
            for row in self.random.permutation(self.rows).tolist():
                for step in range(many if free[row] else 0):
                    other = near[row][(begin[row] + step) % many]
                    if free[other]:
                        free[row] = free[other] = False
                        pairs.append((row, other))
                        break
            pairings.append(np.array(pairs, dtype=np.int64).reshape(-1, 2).T)
        return pairings

    def _drawn(self, rise: FloatArray, coldness: float) -> tuple[IntArray, IntArray]:
        """Of changes (p, c) with their rise of the cost one for each pair by its weight: pairs, and the changes."""
        pairs, changes = rise.shape
        begin = int(self.random.integers(self.chances.size - pairs * (changes + 1)))
        end = begin + pairs * changes
        rise *= -coldness
        rise += self.chances[begin:end].reshape(pairs, changes)
        chosen = rise.argmax(axis=1)
        go = np.flatnonzero(rise[np.arange(pairs), chosen] > self.chances[end : end + pairs])
        return go, chosen[go]

    def _exchange(self, first: IntArray, second: IntArray, coldness: float) -> None:
        """An exchange of two units in each pair, or none."""
        pairs = first.size
        here, there = np.concatenate([first, second]), np.concatenate([second, first])
        arriving = self.members.take(there, axis=0)
        low, high = self.low.take(arriving, axis=1), self.high.take(arriving, axis=1)
        without_low, without_high = self.without_low.take(here, axis=1), self.without_high.take(here, axis=1)

        def width(c: int) -> FloatArray:
            wide: FloatArray = np.maximum(without_high[c, :, :, None], high[c, :, None])
            wide -= np.minimum(without_low[c, :, :, None], low[c, :, None])
            return wide

        cost = self._priced(map(width, range(len(low))))  # one at a time: together they don't fit into fast memory
        left = np.flatnonzero(second >= self.rows)
        cost[pairs + left] = 0.0
        rise = cost[:pairs]
        rise += cost[pairs:].transpose(0, 2, 1)
        rise -= (self.cost[first] + self.cost[second])[:, None, None]
        if self.wishes:
            rise[self._forbidden(first, second)] = NEVER
        elif left.size:
            rise[left] += np.where(self.members[second[left]] == self.units.count, NEVER, 0.0)[:, None]
        go, change = self._drawn(rise.reshape(pairs, -1), coldness)
        if go.size:
            one, other = np.divmod(change, self.slots)
            a, b = first[go], second[go]
            self.members[a, one], self.members[b, other] = self.members[b, other], self.members[a, one]
            self._weigh(np.concatenate([a, b]))

    def _forbidden(self, first: IntArray, second: IntArray) -> BoolArray:
        """Exchanges (p, slots, slots) of units of other weight, into places they don't suit, or of units kept apart."""
        a, b = self.members[first], self.members[second]
        heavy_a, heavy_b = self.weight[a], self.weight[b]
        forbidden = (heavy_a[:, :, None] != heavy_b[:, None]) | (heavy_a == 0)[:, :, None]
        forbidden |= ~self.suits[self.position[first][:, None], b][:, None]
        forbidden |= ~self.suits[self.position[second][:, None], a][:, :, None]
        if self.units.apart.any():
            foes = self.apart[a[:, :, None], b[:, None]]
            meets_a, meets_b = foes.sum(axis=1, keepdims=True), foes.sum(axis=2, keepdims=True)
            forbidden |= meets_a - foes > 0
            forbidden |= (meets_b - foes > 0) & (second < self.rows)[:, None, None]
        return np.asarray(forbidden)

    def _deal_anew(self, coldness: float) -> None:
        """A unit on a face of each set and all left over, dealt anew at once where they cost least, chances added."""
        rows = np.arange(self.rows)
        face = self.random.integers(len(self.faces), size=self.rows)
        members = self.members.reshape(-1)
        facing = self.faces.take(self.members[: self.rows] + face[:, None] * (self.units.count + 1))
        leaving = rows * self.slots + facing.argmin(axis=1)
        begin = self.rows * self.slots
        places = np.concatenate([leaving, begin + np.flatnonzero(members[begin:] < self.units.count)])
        offered = members.take(places)
        without_high = self.without_high.reshape(len(self.low), -1).take(leaving, axis=1)
        without_low = self.without_low.reshape(len(self.low), -1).take(leaving, axis=1)
        width = np.maximum(without_high[..., None], self.high.take(offered, axis=1)[:, None])
        width -= np.minimum(without_low[..., None], self.low.take(offered, axis=1)[:, None])
        cost = self._priced(width)
        begin = int(self.random.integers(self.chances.size - cost.size))
        cost *= coldness
        cost -= self.chances[begin : begin + cost.size].reshape(cost.shape)
        chosen = self._assigned(cost)
        stays = np.ones(offered.size, dtype=np.bool_)
        stays[chosen] = False
        members[leaving] = offered[chosen]
        members[places[self.rows :]] = offered[stays]
        self._weigh(np.flatnonzero(chosen != rows))

    def _assigned(self, cost: FloatArray) -> IntArray:
        if self.rows <= OURS_UP_TO:
            return cheapest(cost)
        from scipy.optimize import linear_sum_assignment

        return np.asarray(linear_sum_assignment(cost)[1])

    def _split(self, first: IntArray, second: IntArray, coldness: float) -> None:
        """Two sets put together, sorted by a characteristic and halved, in each pair; or none."""
        able = (second < self.rows) & (self.position[first] == self.position[second])
        if self.wishes:
            able &= ~(self.bound[self.members[first]].any(axis=1) | self.bound[self.members[second]].any(axis=1))
        first, second = first[able], second[able]
        if not first.size:
            return
        both = np.concatenate([self.members[first], self.members[second]], axis=1)
        values = self.low.take(both, axis=1)
        order = np.argsort(values, axis=2, kind="stable")
        place = order + both.shape[1] * np.arange(len(both))[:, None]
        halves = values.reshape(len(values), -1).take(place, axis=1).reshape(len(values), *order.shape[:2], 2, -1)
        cost = self._priced(halves.max(axis=4) - halves.min(axis=4)).sum(axis=2)
        rise = np.ascontiguousarray((cost - (self.cost[first] + self.cost[second])).T)
        go, along = self._drawn(rise, coldness)
        if go.size:
            anew = np.take_along_axis(both[go], order[along, go], axis=1)
            self.members[first[go]], self.members[second[go]] = anew[:, : self.slots], anew[:, self.slots :]
            self._weigh(np.concatenate([first[go], second[go]]))
