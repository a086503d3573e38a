"""The search for the most sets: windows are priced in as they are needed, then whole numbers are asked for."""

from __future__ import annotations

from dataclasses import dataclass
from math import floor, inf

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.springs.tolerance_windows import MostSets
from valvelab.springs.tray import BoolArray, IntArray, Position, Progress, Units, Watch
from valvelab.springs.window_program import solve_program, spring_prices, window_program

ADD_A_ROUND = 80
WHOLE = 1e-6
SETTLED = 0.01


@dataclass(frozen=True, slots=True)
class PricedWindows:
    """Windows of one position as a padded table of units, for pricing all of them at once."""

    masks: BoolArray
    padded: IntArray
    size: int

    def cheapest(self, prices: FloatArray) -> FloatArray:
        """Σ of the `size` lowest prices in each window."""
        values = np.append(prices, inf)[self.padded]
        return np.asarray(np.partition(values, self.size - 1, axis=1)[:, : self.size].sum(axis=1))


def priced(masks: BoolArray, size: int) -> PricedWindows:
    """The table of one position's windows."""
    counts = masks.sum(axis=1)
    padded = np.full((len(masks), int(counts.max(initial=size))), masks.shape[1], dtype=np.int64)
    rows, units = np.nonzero(masks)
    padded[rows, np.arange(rows.size) - np.repeat(np.cumsum(counts) - counts, counts)] = units
    return PricedWindows(masks, padded, size)


def search_windows(
    units: Units, positions: tuple[Position, ...], windows: list[BoolArray], start: MostSets, watch: Watch
) -> MostSets:
    """The most complete engines from `start` on.

    A bound from prices: if no set is cheaper than Σ over positions of its cheapest window, the sum of all prices over
    that is the most there can be (weak duality of set packing). Windows that would push the count below the next whole
    number are left out for good, so the programme that remains is exact.
    """
    if not units.plain:
        return _ask(units, positions, windows, start, watch)
    tables = [priced(windows[number], position.size) for number, position in enumerate(positions)]
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
            best = _ask(
                units, positions, [t.masks[p] for t, p in zip(tables, pool, strict=True)], best, watch, keep=True
            )
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
        before = best
        best = _ask(units, positions, useful, best, watch, lowest=best.bound)
        if best == before:
            return best
    return best


def _ask(
    units: Units,
    positions: tuple[Position, ...],
    windows: list[BoolArray],
    best: MostSets,
    watch: Watch,
    *,
    keep: bool = False,
    lowest: int = 0,
) -> MostSets:
    """Engines from these windows, at least `lowest`; with `keep` the windows are only some, and the bound stays."""
    program = window_program(units, positions, windows)
    lowest = max(lowest, best.complete + 1)
    grouping, solved = solve_program(program, lowest, best.bound, watch, most=True)
    complete, bound = best.complete, best.bound
    if grouping is not None:
        complete = len(grouping.sets) // len(positions)
    if not keep:
        bound = lowest - 1 if solved.infeasible else min(bound, floor(min(-solved.bound, 1e9) + WHOLE))
    return MostSets(grouping or best.grouping, complete, max(bound, complete))


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
