"""The most sets there can be: prices of springs from the relaxation over windows, priced in as they are needed.

Source: pricing of columns after Gilmore and Gomory, weak duality of set packing (Nemhauser and Wolsey), from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import floor, inf

import numpy as np

from valvelab.arrays import BoolArray, FloatArray, IntArray
from valvelab.sets.programme import Prices, WindowProgram, relaxed, window_program
from valvelab.sets.tray import MostSets, Units, Watch
from valvelab.sets.windows import windows_around

ADD_A_ROUND = 80
MOST_LOOKED_AT = 2000
WHOLE = 1e-6
MOST_ROUNDS = 40


@dataclass(frozen=True, slots=True)
class PricedWindows:
    """Windows or boxes of one position as a padded table of units, for pricing all of them at once."""

    masks: BoolArray
    padded: IntArray
    weight: IntArray
    size: int

    @staticmethod
    def of(masks: BoolArray, weight: IntArray, size: int) -> PricedWindows:
        """The table of one position's windows (w, u); `weight` (u,) and `size` count springs."""
        counts = masks.sum(axis=1)
        padded = np.full((len(masks), int(counts.max(initial=size))), masks.shape[1], dtype=np.int64)
        rows, units = np.nonzero(masks)
        padded[rows, np.arange(rows.size) - np.repeat(np.cumsum(counts) - counts, counts)] = units
        return PricedWindows(masks, padded, weight, size)

    def cheapest(self, prices: FloatArray) -> FloatArray:
        """Σ (w,) of the lowest prices (u,) that fill a set from each window; prices and answer have the same unit.

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

    def fillings(self, prices: FloatArray) -> tuple[FloatArray, IntArray]:
        """Σ of the lowest prices that fill a set from each window, and the units of that set (w, size).

        For single springs, or where each window is one set; then rows may end with the number of units, for no unit.
        """
        if (self.weight > 1).any():
            return self.cheapest(prices), self.padded
        values = np.where(self.masks, prices, inf)
        units = np.argpartition(values, self.size - 1, axis=1)[:, : self.size]
        return np.take_along_axis(values, units, axis=1).sum(axis=1), units


@dataclass(frozen=True, slots=True)
class EnginePrice:
    """Least price of a set from every window of each position, and the sum of all that can be paid."""

    costs: list[FloatArray]
    budget: float

    @property
    def limit(self) -> float:
        """The most engines that can be paid for, a count."""
        engine = sum(float(cost.min()) for cost in self.costs)
        return self.budget / engine if engine > WHOLE else inf


class Ceiling:
    """The bound on complete engines, lowered step by step.

    Weak duality of set packing: give each spring a price; if no engine's sets cost less than Σ over positions of the
    cheapest window, then Σ of all prices over that is the most there can be.
    """

    def __init__(self, units: Units, windows: list[BoolArray], start: MostSets, watch: Watch) -> None:
        self.units, self.bound, self.watch = units, start.bound, watch
        pairs = zip(windows, units.positions, strict=True)
        self.tables = [PricedWindows.of(masks, units.weight, position.size) for masks, position in pairs]
        around = windows_around(windows, start.grouping)
        self.pools = [_first_pool(table, mine) for table, mine in zip(self.tables, around, strict=True)]
        self.best: EnginePrice | None = None
        self.rounds = MOST_ROUNDS

    def lower(self) -> bool:
        """One round of pricing; False when no further round lowers the bound."""
        if self.rounds <= 0:
            return False
        self.rounds -= 1
        program = self._program()
        prices = relaxed(program, 0, self.units.count, self.watch, most=True)
        if prices is None:
            self.rounds = 0
            return False
        price = self._engine_price(program, prices)
        if self.best is None or price.limit < self.best.limit:
            self.best = price
            self.bound = min(self.bound, floor(min(price.limit, 1e9) + WHOLE))
        new = [wanted(table, c, old) for table, c, old in zip(self.tables, price.costs, self.pools, strict=True)]
        self.pools = [np.concatenate([old, part]) for old, part in zip(self.pools, new, strict=True)]
        hopeless = prices.value >= self.bound - WHOLE  # windows that are still missing only allow more
        if hopeless or not any(part.size for part in new):
            self.rounds = 0
        return self.rounds > 0

    def useful(self) -> list[BoolArray]:
        """Every window that a grouping as large as the bound could use, by reduced cost: masks (w, u), no unit."""
        if self.best is None:
            return [table.masks for table in self.tables]
        least = [float(cost.min()) for cost in self.best.costs]
        room = self.best.budget - self.bound * sum(least) + 1e-7
        return [t.masks[cost - cost.min() <= room] for t, cost in zip(self.tables, self.best.costs, strict=True)]

    def _program(self) -> WindowProgram:
        masks = [table.masks[pool] for table, pool in zip(self.tables, self.pools, strict=True)]
        return window_program(self.units, masks)

    def _engine_price(self, program: WindowProgram, prices: Prices) -> EnginePrice:
        """What an engine's sets cost at these prices."""
        costs = [table.cheapest(prices.springs) for table in self.tables]
        budget = float(prices.springs.sum())
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


def wanted(table: PricedWindows, cost: FloatArray, pool: IntArray) -> IntArray:
    """Rows (n,) of windows cheaper than all in the pool, spread over the springs; costs (w,) are plain numbers."""
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
