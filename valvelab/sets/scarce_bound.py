"""Fewer sets than the springs of use would give, from those that few others are near.

Most springs can always be exchanged for others; the number of sets fails where springs lie far out and a set about one
needs the mates that a set about the next needs too. So every other spring counts as used, and only sets that hold one
of the scarce springs are looked at: how many of these can such sets hold in all? The relaxation lets springs flow into
windows, and its prices prove what it says: where a window's cheapest filling costs no less than the scarce springs in
it, no grouping holds more of them than all prices come to. Windows are priced in as they are needed.

Source: own bound; pricing of columns after Gilmore and Gomory, weak duality of set packing (Nemhauser and Wolsey), from
memory.
"""

from __future__ import annotations

from math import inf
from typing import Any

import numpy as np

from valvelab.arrays import BoolArray, FloatArray, IntArray
from valvelab.sets.prices import PricedWindows, wanted
from valvelab.sets.programme import seconds
from valvelab.sets.tray import SLACK, Units, Watch
from valvelab.sets.windows import maximal_windows

SCARCE = 30
"""Springs that are looked at (bench_sets.py: with 20 a tray of 400 that gives 23 sets is not refused the 24th)."""
MOST_WINDOWS, MOST_ROUNDS = 1_000, 12
MOST_MENDED = 100
SURE, EXACT = 1e-6, 1e-12


def too_many(units: Units, of_use: BoolArray, count: int, watch: Watch) -> bool:
    """Whether so many sets of single springs of one kind are refuted; `of_use` (u,), no unit, as `useful_springs`."""
    size = units.positions[0].size
    scarce = _scarce(units, of_use)
    needed = int(scarce.sum()) - (int(of_use.sum()) - count * size)
    if needed <= 0:
        return False
    masks, whole = maximal_windows(
        units, units.positions[0], watch, MOST_WINDOWS, all_or_none=True, holding=scarce & of_use
    )
    if not whole or not len(masks):
        return whole
    table = PricedWindows.of(masks, units.weight, size)
    pool = _first(masks, scarce)
    for _ in range(MOST_ROUNDS):
        if watch.over():
            break
        answer = _relaxed(masks[pool], scarce, size, watch)
        if answer is None:
            break
        held, prices, caps = answer
        if held >= needed - SURE:
            break  # windows that are still missing only let sets hold more
        extra = np.zeros(len(masks))
        extra[pool] = caps
        left = needed - SURE - float(prices.sum()) - float(extra @ (masks.sum(axis=1) // size))
        proven, short = _mended(table, scarce, prices, extra, left)
        if proven:
            return True
        more = np.union1d(short, wanted(table, table.cheapest(prices - scarce) + extra, pool))
        new = np.setdiff1d(more, pool)
        if not new.size:
            break
        pool = np.concatenate([pool, new])
    return False


def _scarce(units: Units, of_use: BoolArray) -> BoolArray:
    """The springs (u,) of use that fewest others of use lie within all limits of."""
    values = units.low / units.limits
    near = np.zeros(units.count, dtype=np.int64)
    for spring in np.flatnonzero(of_use):
        near[spring] = int((of_use & (np.abs(values - values[spring]) <= SLACK).all(axis=1)).sum())
    chosen = np.argsort(np.where(of_use, near, units.count + 1), kind="stable")[: min(SCARCE, int(of_use.sum()))]
    scarce = np.zeros(units.count, dtype=np.bool_)
    scarce[chosen] = True
    return scarce


def _first(masks: BoolArray, scarce: BoolArray) -> IntArray:
    """For each scarce spring the emptiest window (w, u) that holds it, and the one with most other scarce springs."""
    many, rare = masks.sum(axis=1), masks[:, scarce].sum(axis=1)
    pool: list[int] = []
    for spring in np.flatnonzero(scarce):
        around = np.flatnonzero(masks[:, spring])
        if around.size:
            pool += [int(around[many[around].argmin()]), int(around[rare[around].argmax()])]
    return np.array(list(dict.fromkeys(pool)), dtype=np.int64)


def _mended(
    table: PricedWindows, scarce: BoolArray, prices: FloatArray, extra: FloatArray, left: float
) -> tuple[bool, IntArray]:
    """Whether no set costs less than the scarce springs in it once prices have risen, by less than `left` in all.

    A set costs its springs' prices (u,) and what its window asks beside (w,), all plain numbers. Where that is too
    little, the scarce spring that it pays least for becomes dearer; the windows where it was come back too.
    """
    net = prices - scarce
    short: list[int] = []
    for _ in range(MOST_MENDED):
        cost = table.cheapest(net) + extra
        row = int(cost.argmin())
        if left <= 0.0 or cost[row] >= 0.0:
            return left > 0.0, np.array(short, dtype=np.int64)
        inside = np.flatnonzero(table.masks[row] & scarce)
        missing = EXACT - float(cost[row])
        net[inside[net[inside].argmin()]] += missing
        left -= missing
        short.append(row)
    return False, np.array(short, dtype=np.int64)


def _relaxed(
    masks: BoolArray, scarce: BoolArray, size: int, watch: Watch
) -> tuple[float, FloatArray, FloatArray] | None:
    """How many scarce springs sets from windows (w, u) can hold, sets in parts allowed; prices of springs and windows.

    Prices (u,) of using a spring, and (w,) of a set more from a window than its springs are enough for.

    Variables: the flow of springs, those in the same windows together, into each window that holds them, then the sets
    from each window. None when the watch ends it.
    """
    from scipy.optimize import linprog
    from scipy.sparse import csr_array

    alike, kind, many = np.unique(np.vstack([masks, scarce]), axis=1, return_inverse=True, return_counts=True)
    window, of = np.nonzero(alike[:-1])
    flows, windows, kinds = window.size, len(masks), many.size
    flow, one = np.arange(flows), np.ones(flows)
    # no spring is used twice, and no more often in a window than there are sets from it
    entries = np.concatenate([one, one, -many[of].astype(np.float64)])
    places = (np.concatenate([of, kinds + flow, kinds + flow]), np.concatenate([flow, flow, flows + window]))
    at_most: Any = csr_array((entries, places), shape=(kinds + flows, flows + windows))
    entries = np.concatenate([one, np.full(windows, -float(size))])
    places = (np.concatenate([window, np.arange(windows)]), np.arange(flows + windows))
    filled: Any = csr_array((entries, places), shape=(windows, flows + windows))

    upper = np.concatenate([np.full(flows, inf), masks.sum(axis=1) // size])

    def run() -> Any:
        return linprog(
            np.concatenate([-alike[-1, of].astype(np.float64), np.zeros(windows)]),
            A_ub=at_most,
            b_ub=np.concatenate([many.astype(np.float64), np.zeros(flows)]),
            A_eq=filled,
            b_eq=np.zeros(windows),
            bounds=np.column_stack([np.zeros(flows + windows), upper]).tolist(),
            method="highs-ds",
            options={"time_limit": seconds(watch)},
        )

    answer = watch.aside(run, watch)
    if answer is None or answer.status != 0:
        return None
    springs = np.maximum(-np.asarray(answer.ineqlin.marginals)[:kinds], 0.0)[kind]
    return -float(answer.fun), springs, np.maximum(-np.asarray(answer.upper.marginals)[flows:], 0.0)
