"""Boxes that sets can fill, each face touched by a spring; and, where springs have conditions, the sets themselves.

Source: own branch search.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import inf

import numpy as np

from valvelab.arrays import BoolArray, FloatArray, IntArray
from valvelab.sets.prices import PricedWindows
from valvelab.sets.tray import SLACK, Position, Units, Watch

LISTED = 40_000
"""Sets that are listed where springs have conditions."""
FORCED, OUTSIDE = 1e4, 1e7


@dataclass(frozen=True, slots=True)
class Boxes:
    """Boxes found: membership (b, u), the spread of a set that touches every face (b,), its spread + prices (b,).

    `complete` is False when there were too many, or time ran out: then boxes are missing.
    """

    masks: BoolArray
    cost: FloatArray
    value: FloatArray
    complete: bool


class _Full(Exception):
    """Enough boxes, or no time."""


class BoxSearch:
    """All boxes of a position that a set can touch on every face, or the sets themselves where units have conditions.

    Branches over one characteristic after another: a unit with the least and one with the greatest value are chosen,
    the units between them go on. A branch is cut when the spread so far, the least spread left and the lowest prices
    inside, the units on the faces among them, exceed `below`. `branches` bounds the work; those left over stay there.
    """

    def __init__(self, units: Units, position: Position, branches: int, watch: Watch) -> None:
        self.units, self.position, self.branches, self.watch = units, position, branches, watch
        self._allowed = np.flatnonzero(units.suiting(position))
        self._clear(np.zeros(units.count), inf, 0)

    def _clear(self, prices: FloatArray, below: float, most: int) -> None:
        self._prices, self._below, self._most = prices, below, most
        self._found: list[IntArray] = []
        self._cost: list[float] = []
        self._value: list[float] = []

    def run(self, prices: FloatArray, below: float, most: int) -> Boxes:
        """Those whose spread + prices (u,) come to no more than `below`, all plain numbers; at most `most`."""
        self._clear(prices, below, most)
        complete = True
        try:
            self._descend(self._allowed, 0, 0.0, ())
        except _Full:
            complete = False
        masks = np.zeros((len(self._found), self.units.count), dtype=np.bool_)
        for row, members in enumerate(self._found):
            masks[row, members] = True
        return Boxes(masks, np.array(self._cost), np.array(self._value), complete)

    def _step(self) -> None:
        self.branches -= 1
        if self.branches < 0 or (self.branches % 64 == 0 and self.watch.over()):
            raise _Full

    def _least_left(self, members: IntArray, c: int) -> float:
        """Least spread of any set of the members over the characteristics from `c` on."""
        if c >= self.units.limits.size or not self.units.plain:
            return 0.0
        k = self.position.size
        left = np.sort(self.units.low[members, c:], axis=0) / self.units.limits[c:]
        return float((left[k - 1 :] - left[: left.shape[0] - k + 1]).min(axis=0).sum())

    def _descend(self, members: IntArray, c: int, cost: float, faces: tuple[int, ...]) -> None:
        self._step()
        units = self.units
        ordered = members[np.argsort(units.low[members, c], kind="stable")]
        low, high = units.low[ordered, c], units.high[ordered, c]
        left = self._least_left(ordered, c + 1)
        first, last = np.triu_indices(ordered.size, self.position.size - 1 if units.plain else 0)
        ranges = (high[last] - low[first]) / self.units.limits[c]
        keep = (ranges <= SLACK) & (cost + ranges + left <= self._below)
        on_face = np.isin(ordered, faces)
        if faces:
            keep &= (low[first] <= low[on_face].min()) & (high[last] >= high[on_face].max())
        first, last, ranges = first[keep], last[keep], ranges[keep]
        inside = (low >= low[first, None]) & (high <= high[last, None])
        if units.plain:
            value = cost + ranges + self._lowest(self._prices[ordered], inside, on_face, first, last)
            rows = np.flatnonzero(value + left <= self._below)
        else:
            value = cost + ranges
            each = np.arange(first.size)
            whole = inside[each, first] & inside[each, last]
            rows = np.flatnonzero(whole & (inside @ units.weight[ordered] >= self.position.size))
        for row in rows:
            ends = (int(ordered[first[row]]), int(ordered[last[row]]))
            wider, inner = tuple(sorted({*faces, *ends})), ordered[inside[row]]
            total = cost + float(ranges[row])
            if c + 1 < self.units.limits.size:
                self._descend(inner, c + 1, total, wider)
            else:
                self._take(inner, total, float(value[row]), wider)

    def _lowest(
        self, prices: FloatArray, inside: BoolArray, on_face: BoolArray, first: IntArray, last: IntArray
    ) -> FloatArray:
        """The least prices of a set in each row of `inside` with the units on faces, and its two ends, among it."""
        k = self.position.size
        keys = np.where(inside, np.where(on_face, prices - FORCED, prices), OUTSIDE)
        rows = np.arange(first.size)
        for face in (first, last):
            keys[rows, face] = prices[face] - FORCED
        forced = (keys < -0.5 * FORCED).sum(axis=1)
        return np.asarray(np.partition(keys, k - 1, axis=1)[:, :k].sum(axis=1) + FORCED * forced)

    def _take(self, inner: IntArray, cost: float, value: float, faces: tuple[int, ...]) -> None:
        """A box, or every set in it that touches its faces."""
        rest = tuple(int(unit) for unit in inner if unit not in faces)
        room = self.position.size - int(self.units.weight[list(faces)].sum())
        for found in [inner] if self.units.plain else self._fillings(faces, rest, room):
            if len(self._found) >= self._most:
                raise _Full
            self._found.append(np.array(found))
            self._cost.append(cost)
            self._value.append(value)

    def _fillings(self, chosen: tuple[int, ...], rest: tuple[int, ...], room: int) -> Iterator[tuple[int, ...]]:
        """Beginnings of a set made whole with some of the rest."""
        self._step()
        if room <= 0:
            if room == 0 and not self.units.apart[np.ix_(chosen, chosen)].any():
                yield chosen
            return
        for place, unit in enumerate(rest):
            if not self.units.apart[unit, list(chosen)].any():
                weight = int(self.units.weight[unit])
                yield from self._fillings((*chosen, unit), rest[place + 1 :], room - weight)


class Stock:
    """Boxes or sets of one position, each once; `whole` when there are no others."""

    def __init__(self, units: Units, position: Position) -> None:
        self.units, self.position = units, position
        self.keys: set[bytes] = set()
        self.whole = False
        self._hold(np.zeros((0, units.count), dtype=np.bool_))

    def _hold(self, masks: BoolArray) -> None:
        low, high = self.units.extents(masks)
        self.cost: FloatArray = ((high - low) / self.units.limits).sum(axis=1)
        self.table = PricedWindows.of(masks, self.units.weight, self.position.size)

    @property
    def masks(self) -> BoolArray:
        """Units (b, u) in each, no unit."""
        return self.table.masks

    def add(self, masks: BoolArray) -> int:
        """Take boxes (b, u) in, each once; a count of those that were new."""
        fresh = []
        for row, mask in enumerate(masks):
            if mask.tobytes() not in self.keys:
                self.keys.add(mask.tobytes())
                fresh.append(row)
        if fresh:
            self._hold(np.concatenate([self.masks, masks[fresh]]))
        return len(fresh)

    def keep(self, rows: IntArray) -> None:
        """Forget all but the rows (r,), numbers without unit."""
        self._hold(self.masks[rows])
        self.keys = {mask.tobytes() for mask in self.masks}

    def paid(self, prices: FloatArray) -> FloatArray:
        """Spread + prices of each set held (b,), plain numbers."""
        return np.asarray(self.cost + self.masks @ prices)

    def best_sets(self, prices: FloatArray) -> tuple[FloatArray, IntArray]:
        """Spread + prices (plain numbers) of each box's cheapest filling, and that filling's units (b, size)."""
        values, chosen = self.table.fillings(prices)
        return values + self.cost, chosen


def every_box(units: Units, watch: Watch, branches: int, boxes: int, listed_up_to: int) -> list[Stock]:
    """For each position all its boxes, or all its sets where units have conditions, as far as they are few enough.

    `branches` of the search and `boxes` are the most of each, for a tray without conditions; above `listed_up_to`
    units nothing is listed.
    """
    stocks = [Stock(units, position) for position in units.positions]
    work, most = (branches, boxes) if units.plain else (2 * LISTED, LISTED)
    for stock in stocks if units.count <= listed_up_to else []:
        found = BoxSearch(units, stock.position, work, watch).run(np.zeros(units.count), inf, most)
        if found.complete:
            stock.add(found.masks)
            stock.whole = True
    return stocks
