"""How little the total spread can be: a bound from prices, and the programme that closes the gap.

Choosing sets that share no spring is a set-packing problem. Its linear relaxation is solved by pricing sets in as they
are needed: for given prices of springs the best set is the cheapest filling of some box whose faces springs touch. The
prices bound every grouping from below; a box whose best set costs more than bound plus gap can't be part of a tighter
grouping, so the integer programme over the boxes that remain is exact.
"""

from __future__ import annotations

from dataclasses import replace
from math import inf

import numpy as np

from valvelab.arrays import BoolArray, FloatArray, IntArray
from valvelab.sets.least_spread import EQUAL, Effort, LeastSpread, total_spread
from valvelab.sets.programme import solve_program, window_program
from valvelab.sets.solver import Rows, relax
from valvelab.sets.tight_boxes import Boxes, tight_boxes
from valvelab.sets.tray import Grouping, Position, Progress, Units, Watch, spread_of

STEPS = (0.3, 0.1, 0.03, 0.01, EQUAL)
"""How far below the best known a box has to be priced to be looked for: far ones first, they are found fast."""
ADD_A_ROUND = 150
SMOOTHING = 0.6
"""Share of the best prices so far in the prices that sets are sought with; it damps the swing from round to round."""


class Stock:
    """Boxes of one position, and the sets taken from them."""

    def __init__(self, position: Position, count: int) -> None:
        self.position = position
        self.masks: BoolArray = np.zeros((0, count), dtype=np.bool_)
        self.cost: FloatArray = np.zeros(0)
        self.keys: set[bytes] = set()
        self.whole = False

    def add(self, masks: BoolArray, cost: FloatArray) -> int:
        """Take boxes in, each once; returns how many were new."""
        fresh = []
        for row, mask in enumerate(masks):
            key = mask.tobytes() + np.float64(round(float(cost[row]), 9)).tobytes()
            if key not in self.keys:
                self.keys.add(key)
                fresh.append(row)
        self.masks = np.concatenate([self.masks, masks[fresh]])
        self.cost = np.concatenate([self.cost, cost[fresh]])
        return len(fresh)

    def best_sets(self, prices: FloatArray) -> tuple[FloatArray, IntArray]:
        """Spread + prices of each box's cheapest filling, and that filling's units (b, size)."""
        keys = np.where(self.masks, prices, inf)
        k = self.position.size
        units = np.argpartition(keys, k - 1, axis=1)[:, :k]
        return np.take_along_axis(keys, units, axis=1).sum(axis=1) + self.cost, units


class Master:
    """The relaxation over the sets known so far: columns of springs, at most one set a spring, a count a position."""

    def __init__(self, units: Units, limits: FloatArray, positions: int, engines: int) -> None:
        self.units, self.limits, self.engines = units, limits, engines
        self.columns: list[tuple[int, tuple[int, ...]]] = []
        self.costs: list[float] = []
        self.known: set[tuple[int, tuple[int, ...]]] = set()
        self.positions = positions

    def add(self, position: int, chosen: tuple[int, ...]) -> bool:
        """Take one set in; False when it is known."""
        column = (position, tuple(sorted(chosen)))
        if column in self.known:
            return False
        self.known.add(column)
        self.columns.append(column)
        self.costs.append(spread_of(self.units, self.limits, column[1]))
        return True

    def prices(self, watch: Watch) -> tuple[float, FloatArray, FloatArray] | None:
        """Value of the relaxation, prices of the springs (u,), reward of a set at each position."""
        sizes = [len(chosen) for _, chosen in self.columns]
        rows = Rows.empty()
        count = len(self.units.members)
        flat = np.array([unit for _, chosen in self.columns for unit in chosen], dtype=np.int64)
        columns = np.repeat(np.arange(len(sizes)), sizes)
        rows.add(flat, columns, 1.0, np.full(count, -inf), np.ones(count))
        where = np.array([position for position, _ in self.columns], dtype=np.int64)
        each = np.full(self.positions, float(self.engines))
        rows.add(where, np.arange(where.size), 1.0, each, each)
        cost = np.array(self.costs)
        answer = relax(cost, rows, np.full(cost.size, inf), watch)
        if answer is None:
            return None
        prices = answer.rows[:count]
        paid = cost + np.bincount(columns, prices[flat], minlength=cost.size)
        reward = np.array([paid[where == position].min() for position in range(self.positions)])
        return answer.value, prices, reward

    def trim(self, prices: FloatArray, reward: FloatArray, most: int = 500) -> None:
        """Forget the dearest sets when there are too many."""
        if len(self.columns) <= 2 * most:
            return
        dear = np.array([
            cost + prices[list(chosen)].sum() - reward[position]
            for (position, chosen), cost in zip(self.columns, self.costs, strict=True)
        ])  # fmt: skip
        keep = np.sort(np.argsort(dear, kind="stable")[:most])
        self.columns = [self.columns[i] for i in keep]
        self.costs = [self.costs[i] for i in keep]
        self.known = set(self.columns)


def prove_spread(
    units: Units,
    limits: FloatArray,
    positions: tuple[Position, ...],
    found: LeastSpread,
    met: list[Grouping],
    watch: Watch,
    effort: Effort,
) -> LeastSpread:
    """From a tight grouping towards a proven one; `met` are other groupings, for a start."""
    return _Proof(units, limits, positions, found, met, watch, effort).run()


class _Proof:
    """The state of one proof."""

    def __init__(
        self,
        units: Units,
        limits: FloatArray,
        positions: tuple[Position, ...],
        found: LeastSpread,
        met: list[Grouping],
        watch: Watch,
        effort: Effort,
    ) -> None:
        self.units, self.limits, self.positions = units, limits, positions
        self.found, self.watch, self.effort = found, watch, effort
        self.engines = len(found.grouping.sets) // len(positions)
        self.branches = effort.branches
        self.stocks = [Stock(position, len(units.members)) for position in positions]
        self.master = Master(units, limits, len(positions), self.engines)
        for grouping in met:
            self._take(grouping)
        self.centre: FloatArray | None = None

    def run(self) -> LeastSpread:
        """Rounds of pricing, then whole numbers."""
        self._gather_all()
        reward = np.zeros(len(self.positions))
        for _ in range(self.effort.rounds):
            if self.watch.over() or self.found.proven:
                return self.found
            answer = self.master.prices(self.watch)
            if answer is None:
                return self.found
            value, prices, reward = answer
            self.master.trim(prices, reward)
            if self._round(value, prices, reward):
                break
        if self.found.proven or self.watch.over() or self.centre is None:
            return self.found
        return self._close()

    def _take(self, grouping: Grouping) -> None:
        """Sets and their boxes from a grouping."""
        for position, chosen in grouping.sets:
            self.master.add(position, chosen)
            low, high = self.units.low[list(chosen)].min(axis=0), self.units.high[list(chosen)].max(axis=0)
            place = self.positions[position]
            low_in, high_in = np.maximum(low, place.low), np.minimum(high, place.high)
            mask = (self.units.low >= low_in).all(axis=1) & (self.units.high <= high_in).all(axis=1)
            self.stocks[position].add(mask[None, :], np.array([spread_of(self.units, self.limits, chosen)]))

    def _gather_all(self) -> None:
        """All boxes at once where they are few: then the best set for any prices is looked up."""
        nothing = np.zeros(len(self.units.members))
        for stock in self.stocks:
            boxes, _ = tight_boxes(
                self.units, self.limits, stock.position, nothing, inf, self.watch, self.effort.boxes,
                self.effort.branches,
            )  # fmt: skip
            if boxes.complete:
                stock.add(boxes.masks, boxes.cost)
                stock.whole = True

    def _round(self, value: float, prices: FloatArray, reward: FloatArray) -> bool:
        """One round of pricing; True when nothing more is to be gained from it."""
        if self.centre is not None:
            smooth = SMOOTHING * self.centre + (1.0 - SMOOTHING) * prices
            if self._price(smooth, prices, reward):
                return value - self.found.bound < EQUAL
        if self._price(prices, prices, reward):
            return value - self.found.bound < EQUAL
        fresh, bound = 0, 0.0
        for number, stock in enumerate(self.stocks):
            least, new = self._search(number, stock, prices, float(reward[number]))
            fresh += new
            bound = -inf if least is None else bound + self.engines * least
        if bound > -inf:
            self._bound(bound - float(prices.sum()), prices)
        if fresh:
            self._price(prices, prices, reward)
        return not fresh

    def _bound(self, bound: float, prices: FloatArray) -> None:
        """Keep the best bound and the prices that gave it."""
        if self.centre is None or bound > self.found.bound:
            self.centre = prices
            self.found = replace(self.found, bound=max(self.found.bound, min(bound, self.found.total)))
            grouping = self.found.grouping
            self.watch.report(Progress("spread", len(grouping.sets), None, self.found.total, self.found.bound))

    def _price(self, sought: FloatArray, prices: FloatArray, reward: FloatArray) -> int:
        """Sets from the boxes known that are worth taking in at `prices`, sought at smoothed prices."""
        added, bound = 0, 0.0
        for number, stock in enumerate(self.stocks):
            values, chosen = stock.best_sets(sought)
            bound += self.engines * float(values.min())
            real = stock.cost + prices[chosen].sum(axis=1)
            good = np.flatnonzero(real < reward[number] - EQUAL)
            used = np.zeros(prices.size, dtype=np.int64)
            taken = 0
            for row in good[np.argsort(real[good], kind="stable")]:
                if taken and used[chosen[row]].min() > 3:
                    continue
                if self.master.add(number, tuple(int(unit) for unit in chosen[row])):
                    used[chosen[row]] += 1
                    taken += 1
                if taken == ADD_A_ROUND:
                    break
            added += taken
        if all(stock.whole for stock in self.stocks):
            self._bound(bound - float(sought.sum()), sought)
        return added

    def _search(self, number: int, stock: Stock, prices: FloatArray, reward: float) -> tuple[float | None, int]:
        """Look for boxes that are missing; the least spread + prices there is (None when cut short), and how many."""
        if stock.whole:
            return float(stock.best_sets(prices)[0].min()), 0
        boxes = None
        for step in STEPS:
            boxes = self._boxes(number, prices, reward - step, 2 * ADD_A_ROUND)
            if boxes.cost.size or not boxes.complete:
                break
        assert boxes is not None
        fresh = stock.add(boxes.masks, boxes.cost)
        if not boxes.complete:
            return None, fresh
        return (float(boxes.value.min()) if boxes.cost.size else reward - EQUAL), fresh

    def _boxes(self, number: int, prices: FloatArray, below: float, most: int) -> Boxes:
        """Boxes of one position worth no more than `below`, paid for from the effort left."""
        stock = self.stocks[number]
        if stock.whole:
            values, _ = stock.best_sets(prices)
            keep = values <= below
            return Boxes(stock.masks[keep], stock.cost[keep], values[keep], complete=bool(keep.sum() <= most))
        boxes, used = tight_boxes(
            self.units, self.limits, stock.position, prices, below, self.watch, most, self.branches
        )
        self.branches -= used
        return boxes

    def _close(self) -> LeastSpread:
        """Whole sets: first from the boxes closest to the bound, then from all that a tighter grouping could use."""
        assert self.centre is not None
        rewards = [float(stock.best_sets(self.centre)[0].min()) for stock in self.stocks]
        least = [self._search(n, stock, self.centre, rewards[n]) for n, stock in enumerate(self.stocks)]
        if any(value is None for value, _ in least):
            return self.found
        for share in (0.25, 1.0):
            gap = share * (self.found.total - self.found.bound) + EQUAL
            gathered = [
                self._boxes(n, self.centre, (value or 0.0) + gap, self.effort.last_boxes)
                for n, (value, _) in enumerate(least)
            ]
            if not all(boxes.complete for boxes in gathered) or self.watch.over():
                return self.found
            self._whole(gathered, exact=share == 1.0)
            if self.found.proven:
                return self.found
        return self.found

    def _whole(self, boxes: list[Boxes], *, exact: bool) -> None:
        """The best grouping from some boxes; with `exact` they are all that matter, and its bound counts."""
        program = window_program(self.units, self.positions, [b.masks for b in boxes], [b.cost for b in boxes])
        grouping, solved = solve_program(
            program, self.engines, self.engines, self.watch, most=False, most_nodes=self.effort.nodes
        )
        total = inf if grouping is None else total_spread(self.units, self.limits, grouping)
        if grouping is not None and total < self.found.total - EQUAL:
            self.found = LeastSpread(grouping, total, min(self.found.bound, total))
        if exact:
            bound = self.found.total if solved.infeasible else solved.bound
            self.found = replace(self.found, bound=max(self.found.bound, min(bound, self.found.total)))
