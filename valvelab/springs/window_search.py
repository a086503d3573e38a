"""The search for the most sets: windows are priced in as they are needed, then whole numbers are asked for."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import floor, inf

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.springs.one_more import one_more
from valvelab.springs.tolerance_windows import MostSets
from valvelab.springs.tray import BoolArray, Grouping, IntArray, Position, Progress, Units, Watch
from valvelab.springs.window_program import solve_program, spring_prices, window_program

ADD_A_ROUND = 80
WHOLE = 1e-6
SETTLED = 0.01


@dataclass(frozen=True, slots=True)
class PricedWindows:
    """Windows of one position as a padded table of units, for pricing all of them at once."""

    masks: BoolArray
    padded: IntArray
    weight: IntArray
    size: int

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


def priced(masks: BoolArray, weight: IntArray, size: int) -> PricedWindows:
    """The table of one position's windows."""
    counts = masks.sum(axis=1)
    padded = np.full((len(masks), int(counts.max(initial=size))), masks.shape[1], dtype=np.int64)
    rows, units = np.nonzero(masks)
    padded[rows, np.arange(rows.size) - np.repeat(np.cumsum(counts) - counts, counts)] = units
    return PricedWindows(masks, padded, weight, size)


def search_windows(
    units: Units,
    positions: tuple[Position, ...],
    windows: list[BoolArray],
    limits: FloatArray,
    start: MostSets,
    watch: Watch,
) -> MostSets:
    """The most complete engines from `start` on.

    A bound from prices: if no set is cheaper than Σ over positions of its cheapest window, the sum of all prices over
    that is the most there can be (weak duality of set packing). Windows that would push the count below the next whole
    number are left out for good, so the programme that remains is exact.
    """
    tables = [priced(windows[number], units.weight, position.size) for number, position in enumerate(positions)]
    pool = [_first_pool(tables[number], start, number) for number in range(len(positions))]
    best = start
    prices, last = np.zeros(len(units.members)), 0.0
    while not best.proven and not watch.over():
        program = window_program(units, positions, [t.masks[p] for t, p in zip(tables, pool, strict=True)])
        answer = spring_prices(program, 0, len(units.members), watch, most=True)
        if answer is None:
            return best
        costs = [table.cheapest(answer[1]) for table in tables]
        engine = sum(float(cost.min()) for cost in costs)
        bound = float(answer[1].sum()) / engine if engine > WHOLE else float(best.bound)
        if floor(bound + WHOLE) < best.bound or not prices.any():
            prices = answer[1]
            best = MostSets(best.grouping, best.complete, max(best.complete, min(best.bound, floor(bound + WHOLE))))
        watch.report(Progress("sets", best.complete, best.bound))
        new = [_wanted(table, cost, old) for table, cost, old in zip(tables, costs, pool, strict=True)]
        settled = best.bound <= floor(-answer[0] + WHOLE) and -answer[0] < last + SETTLED
        last = -answer[0]
        if settled or not any(part.size for part in new):
            prices = answer[1]
            known = [table.masks[part] for table, part in zip(tables, pool, strict=True)]
            best = _by_neighbourhoods(units, positions, known, limits, best, watch)
            best = _from_pool(units, positions, known, best, watch)
            break
        pool = [np.concatenate([old, part]) for old, part in zip(pool, new, strict=True)]
    return _close(units, positions, tables, prices, best, watch)


def _close(
    units: Units,
    positions: tuple[Position, ...],
    tables: list[PricedWindows],
    prices: FloatArray,
    best: MostSets,
    watch: Watch,
) -> MostSets:
    """Ask for the count at the bound with every window that it could use; without one the bound falls by one."""
    while not best.proven and not watch.over():
        costs = [table.cheapest(prices) for table in tables]
        engine = sum(float(cost.min()) for cost in costs)
        room = prices.sum() - best.bound * engine + 1e-7
        useful = [table.masks[cost - cost.min() <= room] for table, cost in zip(tables, costs, strict=True)]
        grouping, impossible = _ask(units, positions, useful, best.bound, watch)
        if grouping is not None:
            return MostSets(grouping, best.bound, best.bound)
        if not impossible:
            return best
        best = replace(best, bound=best.bound - 1)
    return best


def _by_neighbourhoods(
    units: Units,
    positions: tuple[Position, ...],
    windows: list[BoolArray],
    limits: FloatArray,
    best: MostSets,
    watch: Watch,
) -> MostSets:
    """Set by set more, as long as some neighbourhood gives one."""
    while len(positions) == 1 and not best.proven and best.complete and not watch.over():
        grouping = one_more(units, positions[0], windows[0], limits, best.grouping, watch)
        if grouping is None:
            break
        best = MostSets(grouping, best.complete + 1, best.bound)
        watch.report(Progress("sets", best.complete, best.bound))
    return best


def _from_pool(
    units: Units, positions: tuple[Position, ...], windows: list[BoolArray], best: MostSets, watch: Watch
) -> MostSets:
    """The most engines that some of the windows give; asked for from the bound downwards.

    Each count may take most of the time left.

    A count that these windows can't give is not disproved by that, so the bound stays.
    """
    for target in range(best.bound, best.complete, -1):
        if watch.over():
            break
        grouping, _ = _ask(units, positions, windows, target, watch.share(0.8))
        if grouping is not None:
            return MostSets(grouping, target, best.bound)
    return best


def _ask(
    units: Units, positions: tuple[Position, ...], windows: list[BoolArray], target: int, watch: Watch
) -> tuple[Grouping | None, bool]:
    """`target` complete engines from these windows, or None; and whether that is impossible."""
    program = window_program(units, positions, windows)
    grouping, solved = solve_program(program, target, target, watch, most=True)
    return grouping, solved.infeasible


def _first_pool(table: PricedWindows, start: MostSets, number: int) -> IntArray:
    """Windows around the sets of the start, and for each spring the fullest window that holds it."""
    chosen = [
        int(np.flatnonzero(table.masks[:, list(members)].all(axis=1))[0])
        for position, members in start.grouping.sets
        if position == number
    ]
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
    for row in rows[np.argsort(cost[rows], kind="stable")][:2000]:
        mine = used[table.masks[row]]
        if (mine < 2).mean() > 0.5:
            chosen.append(int(row))
            used[table.masks[row]] += 1
        if len(chosen) == ADD_A_ROUND:
            break
    return np.array(chosen, dtype=np.int64)
