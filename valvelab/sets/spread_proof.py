"""How little the total spread can be: a bound from prices, and the programme that closes the gap.

Choosing sets that share no spring is a set-packing problem. Its linear relaxation is solved by pricing sets in as they
are needed: for given prices of springs the best set is the cheapest filling of some box whose faces springs touch. The
prices bound every grouping from below; a box whose best set costs more than bound plus gap can't be part of a tighter
grouping, so the integer programme over the boxes that remain is exact. Where springs are kept together or apart, the
sets themselves are listed in place of boxes.

Source: column generation after Gilmore and Gomory with smoothed prices, variables fixed by reduced cost, from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import inf

import numpy as np

from valvelab.arrays import BoolArray, FloatArray, IntArray
from valvelab.sets.boxes import Boxes, BoxSearch, Stock
from valvelab.sets.least_spread import EQUAL, Effort, LeastSpread
from valvelab.sets.programme import WindowProgram, relaxed, solve_program, window_program
from valvelab.sets.tray import Grouping, Progress, Watch

STEPS = (0.3, 0.1, 0.03, 0.01, EQUAL)
"""How far below the best known a box has to be priced to be looked for: far ones first, they are found fast."""
ADD_A_ROUND, MOST_SETS = 150, 1_000
"""Sets taken into the relaxation at once, and held in it."""
SMOOTHING = 0.6
"""Share of the best prices so far in the prices that sets are sought with; it damps the swing from round to round."""


def prove_spread(
    stocks: list[Stock], found: LeastSpread, met: list[Grouping], watch: Watch, effort: Effort
) -> LeastSpread:
    """From a tight grouping towards a proven one.

    `stocks`: the boxes of each position (`every_box`); `met` are other groupings, for a start. The watch and the
    effort end it with the best found and its bound.
    """
    if found.proven or watch.over() or not (stocks[0].units.plain or all(stock.whole for stock in stocks)):
        return found
    return _Proof(stocks, found, met, watch, effort).run()


class _Proof:
    """The state of one proof; `sets` are those that the relaxation knows, for each position."""

    def __init__(
        self, stocks: list[Stock], found: LeastSpread, met: list[Grouping], watch: Watch, effort: Effort
    ) -> None:
        self.stocks, self.found, self.watch, self.effort = stocks, found, watch, effort
        self.units = stocks[0].units
        self.engines = len(found.grouping.sets) // len(stocks)
        self.searches = [BoxSearch(self.units, place, effort.branches, watch) for place in self.units.positions]
        self.sets = [Stock(self.units, position) for position in self.units.positions]
        self.centre: FloatArray | None = None
        self.reached = -inf
        for grouping in met:
            self._meet(grouping)

    def run(self) -> LeastSpread:
        """Rounds of pricing, then whole numbers."""
        for _ in range(self.effort.rounds):
            if self.watch.over() or self.found.proven:
                return self.found
            answer = relaxed(self._program(self.sets), self.engines, self.engines, self.watch, most=False)
            if answer is None:
                return self.found
            if self._round(answer.value, answer.springs, self._rewards(answer.springs)):
                break
        if self.found.proven or self.watch.over() or self.centre is None:
            return self.found
        return self._close(self.centre)

    def _meet(self, grouping: Grouping) -> None:
        """Sets and their boxes from a grouping."""
        for position, chosen in grouping.sets:
            mask = self.units.mask(chosen)
            self.sets[position].add(mask[None])
            if not self.stocks[position].whole:
                low, high = self.units.extents(mask[None])
                inside = (self.units.low >= low).all(axis=1) & (self.units.high <= high).all(axis=1)
                self.stocks[position].add((inside & self.units.suiting(self.units.positions[position]))[None])

    def _rewards(self, prices: FloatArray) -> list[float]:
        """What the cheapest set known costs at each position; the dearest are forgotten when there are too many."""
        rewards = []
        for known in self.sets:
            paid = known.paid(prices)
            rewards.append(float(paid.min()))
            if paid.size > MOST_SETS:
                known.keep(np.sort(np.argsort(paid, kind="stable")[: MOST_SETS // 2]))
        return rewards

    def _round(self, value: float, prices: FloatArray, rewards: list[float]) -> bool:
        """One round of pricing; True when nothing more is to be gained from it."""
        smooth = [] if self.centre is None else [SMOOTHING * self.centre + (1.0 - SMOOTHING) * prices]
        for sought in [*smooth, prices]:
            if self._price(sought, prices, rewards):
                return value - self.found.bound < EQUAL
        fresh, bound = 0, 0.0
        for number in range(len(self.stocks)):
            least, new = self._search(number, prices, rewards[number])
            fresh += new
            bound += self.engines * (-inf if least is None else least)
        if bound > -inf:
            self._bound(bound - float(prices.sum()), prices)
        if fresh:
            self._price(prices, prices, rewards)
        return not fresh

    def _bound(self, bound: float, prices: FloatArray) -> None:
        """Keep the best bound and the prices that gave it."""
        if self.centre is None or bound > self.reached:
            self.centre, self.reached = prices, bound
            self.found = replace(self.found, bound=max(self.found.bound, min(bound, self.found.total)))
            many = len(self.found.grouping.sets)
            self.watch.report(Progress("spread", many, None, self.found.total, self.found.bound))

    def _price(self, sought: FloatArray, prices: FloatArray, rewards: list[float]) -> int:
        """Sets from the boxes known that are worth taking in at `prices`, sought at smoothed prices."""
        added, bound = 0, 0.0
        for stock, known, reward in zip(self.stocks, self.sets, rewards, strict=True):
            values, chosen = stock.best_sets(sought)
            bound += self.engines * float(values.min())
            real = stock.cost + np.append(prices, 0.0)[chosen].sum(axis=1)
            good = np.flatnonzero(real < reward - EQUAL)
            added += known.add(_spread_out(chosen[good[np.argsort(real[good], kind="stable")]], known))
        if all(stock.whole for stock in self.stocks):
            self._bound(bound - float(sought.sum()), sought)
        return added

    def _search(self, number: int, prices: FloatArray, reward: float) -> tuple[float | None, int]:
        """Look for boxes that are missing; the least spread + prices there is (None when cut short), and how many."""
        stock = self.stocks[number]
        if stock.whole:
            return float(stock.best_sets(prices)[0].min()), 0
        boxes = self._boxes(number, prices, reward - STEPS[0], 2 * ADD_A_ROUND)
        for step in STEPS[1:]:
            if boxes.cost.size or not boxes.complete:
                break
            boxes = self._boxes(number, prices, reward - step, 2 * ADD_A_ROUND)
        fresh = stock.add(boxes.masks)
        if not boxes.complete:
            return None, fresh
        return (float(boxes.value.min()) if boxes.cost.size else reward - EQUAL), fresh

    def _boxes(self, number: int, prices: FloatArray, below: float, most: int) -> Boxes:
        """Boxes of one position worth no more than `below`, paid for from the effort left."""
        stock = self.stocks[number]
        if not stock.whole:
            return self.searches[number].run(prices, below, most)
        values, _ = stock.best_sets(prices)
        keep = values <= below
        return Boxes(stock.masks[keep], stock.cost[keep], values[keep], complete=bool(keep.sum() <= most))

    def _close(self, centre: FloatArray) -> LeastSpread:
        """Whole sets: first from the boxes closest to the bound, then from all that a tighter grouping could use."""
        rewards = [float(stock.best_sets(centre)[0].min()) for stock in self.stocks]
        least = [self._search(number, centre, reward)[0] for number, reward in enumerate(rewards)]
        for share in (0.25, 1.0):
            gap = share * (self.found.total - self.found.bound) + EQUAL
            gathered = [
                self._boxes(number, centre, value + gap, self.effort.last_boxes)
                for number, value in enumerate(least)
                if value is not None
            ]
            if len(gathered) < len(least) or not all(boxes.complete for boxes in gathered) or self.watch.over():
                break
            self._whole(gathered, exact=share == 1.0)
            if self.found.proven:
                break
        return self.found

    def _program(self, held: Sequence[Stock | Boxes]) -> WindowProgram:
        return window_program(self.units, [one.masks for one in held], [one.cost for one in held])

    def _whole(self, boxes: list[Boxes], *, exact: bool) -> None:
        """The best grouping from some boxes; with `exact` they are all that matter, and its bound counts."""
        program = self._program(boxes)
        grouping, solved = solve_program(
            program, self.engines, self.engines, self.watch, most=False, most_nodes=self.effort.nodes
        )
        total = inf if grouping is None else self.units.total(grouping)
        if grouping is not None and total < self.found.total - EQUAL:
            self.found = LeastSpread(grouping, total, min(self.found.bound, total))
        if exact:
            bound = self.found.total if solved.infeasible else solved.bound
            self.found = replace(self.found, bound=max(self.found.bound, min(bound, self.found.total)))


def _spread_out(rows: IntArray, known: Stock) -> BoolArray:
    """Of sets as rows of units, the first ones that are not known, so that no unit is in many of them; as masks."""
    count = known.masks.shape[1]
    used = np.zeros(count + 1, dtype=np.int64)
    fresh: dict[bytes, BoolArray] = {}
    for row in rows:
        mask = np.zeros(count + 1, dtype=np.bool_)
        mask[row] = True
        key = mask[:-1].tobytes()
        if (fresh and used[row].min() > 3) or key in known.keys or key in fresh:
            continue
        used[row] += 1
        fresh[key] = mask[:-1]
        if len(fresh) == ADD_A_ROUND:
            break
    return np.array([*fresh.values()], dtype=np.bool_).reshape(-1, count)
