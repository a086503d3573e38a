"""The most sets there can be: prices of springs from the relaxation over windows, priced in as they are needed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import floor, inf

import numpy as np

from valvelab.arrays import BoolArray, FloatArray, IntArray
from valvelab.sets.programme import Prices, WindowProgram, relaxed, window_program
from valvelab.sets.rounded_rows import Rounded, rounded_rows
from valvelab.sets.tray import Grouping, Position, Units, Watch
from valvelab.sets.windows import windows_around

ADD_A_ROUND = 80
MOST_LOOKED_AT = 2000
WHOLE = 1e-6
CLOSE = 0.05
"""Engines between the relaxation over the windows known and its bound, below which rounding is worth a try."""
MOST_ROUNDS = 80


@dataclass(frozen=True, slots=True)
class PricedWindows:
    """Windows of one position as a padded table of units, for pricing all of them at once."""

    masks: BoolArray
    padded: IntArray
    weight: IntArray
    size: int

    @staticmethod
    def of(masks: BoolArray, weight: IntArray, size: int) -> PricedWindows:
        """The table of one position's windows."""
        counts = masks.sum(axis=1)
        padded = np.full((len(masks), int(counts.max(initial=size))), masks.shape[1], dtype=np.int64)
        rows, units = np.nonzero(masks)
        padded[rows, np.arange(rows.size) - np.repeat(np.cumsum(counts) - counts, counts)] = units
        return PricedWindows(masks, padded, weight, size)

    def cheapest(self, prices: FloatArray) -> FloatArray:
        """Σ of the lowest prices that fill a set from each window.

        Units heavier than one spring may be taken in part, and units kept apart may meet: never above the truth.
        """
        values = np.append(prices / self.weight, inf)[self.padded]
        if (self.weight == 1).all():
            return np.asarray(np.partition(values, self.size - 1, axis=1)[:, : self.size].sum(axis=1))
        order = np.argsort(values, axis=1, kind="stable")
        values = np.take_along_axis(values, order, axis=1)
        weights = np.take_along_axis(np.append(self.weight, 0)[self.padded], order, axis=1)
        taken = np.clip(self.size - (np.cumsum(weights, axis=1) - weights), 0, weights)
        return np.asarray(np.where(taken > 0, np.where(np.isfinite(values), values, 0.0) * taken, 0.0).sum(axis=1))


@dataclass(frozen=True, slots=True)
class EnginePrice:
    """Least price of a set from every window of each position, and the sum of all that can be paid."""

    costs: list[FloatArray]
    budget: float

    @property
    def limit(self) -> float:
        """The most engines that can be paid for."""
        engine = sum(float(cost.min()) for cost in self.costs)
        return self.budget / engine if engine > WHOLE else inf


class Ceiling:
    """The bound on complete engines, lowered step by step.

    Weak duality of set packing: give each spring a price; if no engine's sets cost less than Σ over positions of the
    cheapest window, then Σ of all prices over that is the most there can be. Rounded rows (`rounded_rows`) lower it
    where whole numbers cannot use what the relaxation does.
    """

    def __init__(
        self,
        units: Units,
        positions: tuple[Position, ...],
        windows: list[BoolArray],
        start: Grouping,
        limits: FloatArray,
        bound: int,
    ) -> None:
        self.units, self.positions, self.limits, self.bound = units, positions, limits, bound
        pairs = zip(windows, positions, strict=True)
        self.tables = [PricedWindows.of(masks, units.weight, position.size) for masks, position in pairs]
        around = windows_around(windows, start)
        self.pools = [_first_pool(table, mine) for table, mine in zip(self.tables, around, strict=True)]
        self.rows: list[Rounded] = []
        self.taken: list[FloatArray] = []
        self.best: EnginePrice | None = None
        self.generator = np.random.default_rng(0)

    def lower(self, enough: Callable[[], bool], watch: Watch) -> None:
        """Rounds of pricing until the bound is `enough`, nothing lowers it further, or the watch ends."""
        for _ in range(MOST_ROUNDS):
            if watch.over() or enough():
                return
            program = self._program()
            prices = relaxed(program, self.rows, len(self.units.members), watch)
            if prices is None:
                return
            price = self._engine_price(program, prices)
            limit = price.limit
            if self.best is None or limit < self.best.limit:
                self.best = price
                self.bound = min(self.bound, floor(min(limit, 1e9) + WHOLE))
            new = [_wanted(table, c, old) for table, c, old in zip(self.tables, price.costs, self.pools, strict=True)]
            converged = limit - prices.value < CLOSE or not any(part.size for part in new)
            fresh = 0
            if converged and not enough() and self.units.plain and len(self.positions) == 1:
                rows = rounded_rows(program, prices, self.units, self.limits, self.rows, self.generator)
                self.rows, fresh = [*self.rows, *rows], len(rows)
                self.taken += [row.takes(self.tables[0].masks, self.tables[0].size) for row in rows]
            if not fresh and not any(part.size for part in new):
                return
            self.pools = [np.concatenate([old, part]) for old, part in zip(self.pools, new, strict=True)]

    def useful(self) -> list[BoolArray]:
        """Every window that a grouping with as many engines as the bound could use, by reduced cost."""
        if self.best is None:
            return [table.masks for table in self.tables]
        least = [float(cost.min()) for cost in self.best.costs]
        room = self.best.budget - self.bound * sum(least) + 1e-7
        return [t.masks[cost - cost.min() <= room] for t, cost in zip(self.tables, self.best.costs, strict=True)]

    def _program(self) -> WindowProgram:
        masks = [table.masks[pool] for table, pool in zip(self.tables, self.pools, strict=True)]
        return window_program(self.units, self.positions, masks)

    def _engine_price(self, program: WindowProgram, prices: Prices) -> EnginePrice:
        """What an engine's sets cost at these prices."""
        costs = [table.cheapest(prices.springs) for table in self.tables]
        budget = float(prices.springs.sum())
        for row, taken, price in zip(self.rows, self.taken, prices.rows, strict=True):
            if price > 0.0:
                budget += price * row.most
                costs[0] = costs[0] + price * taken
        if self.units.plain:
            budget += self._capped(program, prices, costs)
        return EnginePrice(costs, budget)

    def _capped(self, program: WindowProgram, prices: Prices, costs: list[FloatArray]) -> float:
        """Price of using a window no more often than its springs allow; added to the costs of those windows."""
        paid = 0.0
        first = np.cumsum([0, *(pool.size for pool in self.pools)])
        for number, pool in enumerate(self.pools):
            caps = prices.caps[first[number] : first[number + 1]]
            np.add.at(costs[number], pool, caps)
            most = [source.most for source in program.sources[first[number] : first[number + 1]]]
            paid += float(caps @ np.array(most, dtype=np.float64))
        return paid


def _first_pool(table: PricedWindows, chosen: list[int]) -> IntArray:
    """The windows chosen, and for each spring the emptiest window that holds it."""
    chosen = list(chosen)
    sizes = table.masks.sum(axis=1)
    for unit in np.flatnonzero(table.masks.any(axis=0)):
        around = np.flatnonzero(table.masks[:, unit])
        chosen.append(int(around[np.argmin(sizes[around])]))
    return np.array(list(dict.fromkeys(chosen)), dtype=np.int64)


def _wanted(table: PricedWindows, cost: FloatArray, pool: IntArray) -> IntArray:
    """Cheap windows that the pool lacks, spread over the springs."""
    cheap = cost < cost[pool].min() - 1e-7
    cheap[pool] = False
    rows = np.flatnonzero(cheap)
    used = np.zeros(table.masks.shape[1], dtype=np.int64)
    chosen: list[int] = []
    for row in rows[np.argsort(cost[rows], kind="stable")][:MOST_LOOKED_AT]:
        mine = used[table.masks[row]]
        if (mine < 2).mean() > 0.5:
            chosen.append(int(row))
            used[table.masks[row]] += 1
        if len(chosen) == ADD_A_ROUND:
            break
    return np.array(chosen, dtype=np.int64)
