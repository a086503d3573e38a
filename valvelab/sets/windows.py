"""Most complete sets: how often each maximal tolerance window is used.

A set whose ranges keep their limits lies in a window: a box whose sides are the limits. It is enough to look at
windows that hold as many springs as such a box can. For each window an integer says how many sets it gives, and
springs flow into windows; for given integers the flow is a transport problem, whose corners are whole numbers, so
springs themselves need no integers. Springs with conditions (kept together, kept apart) get binaries in copies of a
window of their own.

Source: own.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from valvelab.arrays import BoolArray, FloatArray, IntArray
from valvelab.sets.tray import AT_ONCE, SLACK, Grouping, Position, Units, Watch

MOST_WINDOWS = 60_000
MOST_TRIED, MOST_TRIED_FOR_ALL = 8, 4
"""Windows looked at for each that may be kept: many turn out to lie inside another."""
PAIRED_UP_TO = 500
"""Windows of which every two are looked at together."""
EARLY, UNEVEN = 4, 1.5
"""Where all are wanted or none, runs of the first characteristic after which too many are told, and how much more than
their share they may give."""


def _runs(low: FloatArray, high: FloatArray, weight: IntArray, limit: float, size: int) -> BoolArray:
    """Groups (r, u) that fit one limit and can't be extended, for one characteristic; those too small for a set go."""
    starts = np.unique(low)
    reach = np.searchsorted(np.sort(high), starts + limit * SLACK, side="right")
    starts = starts[np.diff(reach, prepend=-1) > 0]
    groups = (low >= starts[:, None]) & (high <= starts[:, None] + limit * SLACK)
    return np.asarray(groups[groups @ weight >= size], dtype=np.bool_)


def maximal_windows(
    units: Units,
    position: Position,
    watch: Watch,
    most: int = MOST_WINDOWS,
    *,
    all_or_none: bool = False,
    holding: BoolArray | None = None,
) -> tuple[BoolArray, bool]:
    """The maximal windows with springs enough for a set as masks (windows, units), and whether they are all (no unit).

    Only those that hold one of some units, where `holding` (units,) says which. Above `most` windows, or when the watch
    ends, the search stops, and the matrix lacks some, or all where it is to be `all_or_none`.
    """
    most_tried = most * (MOST_TRIED_FOR_ALL if all_or_none else MOST_TRIED)
    suiting = units.suiting(position)
    allowed = np.flatnonzero(suiting)
    width = -(-units.count // 8)
    batches: list[NDArray[np.uint8]] = [np.zeros((0, width), dtype=np.uint8)]
    count, allowed_so_far = 0, float(most_tried)
    last = units.limits.size - 1

    def descend(members: IntArray, c: int, held: int | None = None) -> bool:
        nonlocal count, allowed_so_far
        low, high = units.low[members, c], units.high[members, c]
        groups = _runs(low, high, units.weight[members], float(units.limits[c]), position.size)
        if held is not None:
            groups = groups[groups[:, members == held].any(axis=1)]
        if c < last:
            for number, group in enumerate(groups[_mixed(len(groups))] if c == 0 else groups):
                if c == 0 and held is None and all_or_none:
                    allowed_so_far = most_tried * min(1.0, UNEVEN * (number + EARLY) / len(groups))
                if not descend(members[group], c + 1, held):
                    return False
            return True
        masks = np.zeros((len(groups), units.count), dtype=np.bool_)
        masks[:, members] = groups
        batches.append(np.packbits(masks, axis=1))
        count += len(masks)
        return count <= allowed_so_far and (len(batches) % 64 != 0 or not watch.over())

    if holding is None:
        whole = descend(allowed, 0) if allowed.size else True
    else:
        held = np.flatnonzero(suiting & holding).tolist()
        whole = all(descend(np.flatnonzero(suiting & _beside(units, unit)), 0, unit) for unit in held)
    if all_or_none and not whole:
        return np.zeros((0, units.count), dtype=np.bool_), False
    packed = np.unique(np.concatenate(batches), axis=0)
    masks = np.unpackbits(packed, axis=1, count=units.count).astype(np.bool_)
    windows = _maximal_only(masks, units, allowed)
    return windows[:most], whole and len(windows) <= most


def _mixed(many: int) -> IntArray:
    """The numbers below `many`, so that any beginning is spread over all of them."""
    return np.argsort(np.arange(many) * 0.6180339887498949 % 1.0, kind="stable")


def _beside(units: Units, unit: int) -> BoolArray:
    """Units (u,) that keep all limits with one of them."""
    wide = np.maximum(units.high, units.high[unit]) - np.minimum(units.low, units.low[unit])
    return np.asarray((wide <= units.limits * SLACK).all(axis=1))


def _maximal_only(masks: BoolArray, units: Units, allowed: IntArray) -> BoolArray:
    """Windows to which no further unit can be added."""
    keep = np.ones(len(masks), dtype=np.bool_)
    unit_low, unit_high = units.low[allowed], units.high[allowed]
    low, high = units.extents(masks)
    for start in range(0, len(masks), AT_ONCE):
        rows = slice(start, start + AT_ONCE)
        part = masks[rows, allowed]
        fits = np.ones(part.shape, dtype=np.bool_)
        for c, limit in enumerate(units.limits * SLACK):
            fits &= (unit_high[:, c] <= (low[rows, c] + limit)[:, None]) & (
                unit_low[:, c] >= (high[rows, c] - limit)[:, None]
            )
        keep[start : start + AT_ONCE] = (fits | part).sum(axis=1) == part.sum(axis=1)
    return np.asarray(masks[keep], dtype=np.bool_)


def windows_around(windows: list[BoolArray], grouping: Grouping) -> list[list[int]]:
    """For each position the number of a window (w, u) around each of its sets; no units of measure."""
    around: list[list[int]] = [[] for _ in windows]
    for position, chosen in grouping.sets:
        around[position].append(int(np.flatnonzero(windows[position][:, list(chosen)].all(axis=1))[0]))
    return around


def greedy_sets(units: Units, windows: list[BoolArray]) -> Grouping:
    """Sets taken one engine after another around the spring that fits fewest windows; a quick start, not the most.

    `windows`: masks (w, u) of each position, no unit.
    """
    free = np.ones(units.count, dtype=np.bool_)
    chosen: list[tuple[int, tuple[int, ...]]] = []
    while True:
        engine: list[tuple[int, tuple[int, ...]]] = []
        trial = free.copy()
        for number, position in enumerate(units.positions):
            members = _one_set(units, position, windows[number], trial)
            if members is None:
                return Grouping(tuple(chosen))
            trial[list(members)] = False
            engine.append((number, members))
        free = trial
        chosen.extend(engine)


def _one_set(units: Units, position: Position, windows: BoolArray, free: BoolArray) -> tuple[int, ...] | None:
    live = windows & free
    live = live[live @ units.weight >= position.size]
    if not len(live):
        return None
    popularity = live.sum(axis=0)
    rarity = np.where(popularity > 0, popularity, np.iinfo(np.int64).max)
    for seed in np.argsort(rarity, kind="stable"):
        if popularity[seed] == 0:
            return None
        candidates = live[live[:, seed]]
        for row in np.argsort(candidates.sum(axis=1), kind="stable")[:3]:
            members = _fill(units, position.size, np.flatnonzero(candidates[row]), int(seed), popularity)
            if members is not None:
                return members
    return None


def _fill(units: Units, size: int, members: IntArray, seed: int, popularity: IntArray) -> tuple[int, ...] | None:
    chosen, weight = [seed], int(units.weight[seed])
    for unit in sorted((int(m) for m in members if m != seed), key=lambda m: (-units.weight[m], popularity[m], m)):
        if weight + units.weight[unit] <= size and not units.apart[unit, chosen].any():
            chosen.append(unit)
            weight += int(units.weight[unit])
    return tuple(sorted(chosen)) if weight == size else None


def simple_bound(units: Units, windows: list[BoolArray]) -> int:
    """An upper bound, a count, on complete engines that needs no solver: springs in some window (w, u).

    Two sets of single springs of one kind also need two windows that hold enough springs together.
    """
    usable = [masks.any(axis=0) for masks in windows]
    bounds = [
        int(units.weight[mine].sum()) // position.size for mine, position in zip(usable, units.positions, strict=True)
    ]
    engine = sum(position.size for position in units.positions)
    bound = min([*bounds, int(units.weight[np.any(usable, axis=0)].sum()) // engine])
    if bound > 1 and len(windows) == 1 and units.plain and len(windows[0]) <= PAIRED_UP_TO:
        masks = windows[0].astype(np.float64)
        held = masks.sum(axis=1)
        together = held[:, None] + held - masks @ masks.T
        if together.max() < 2 * engine:
            return 1
    return bound
