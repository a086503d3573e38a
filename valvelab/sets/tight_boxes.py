"""Boxes that sets can fill: every face touched by a spring, priced by the springs inside."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from valvelab.arrays import BoolArray, FloatArray, IntArray
from valvelab.sets.tray import Position, Units, Watch

SLACK = 1.0 + 1e-12
FORCED = 1e4
OUTSIDE = 1e7


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


def tight_boxes(
    units: Units,
    limits: FloatArray,
    position: Position,
    prices: FloatArray,
    below: float,
    watch: Watch,
    most: int,
    effort: int,
) -> tuple[Boxes, int]:
    """All boxes a set of `position.size` single springs can touch on every face, whose spread + prices ≤ `below`.

    Branches over one characteristic after another; a branch is cut when the spread so far, the least spread left and
    the lowest prices inside, the springs on the faces among them,
    exceed `below`. `effort` bounds the branches; those used are returned too.
    """
    search = _Search(units.low, limits, position.size, prices, below, watch, most, effort)
    allowed = np.flatnonzero((units.low >= position.low).all(axis=1) & (units.high <= position.high).all(axis=1))
    complete = True
    try:
        search.descend(allowed, 0, 0.0, ())
    except _Full:
        complete = False
    masks = np.zeros((len(search.members), len(units.members)), dtype=np.bool_)
    for row, members in enumerate(search.members):
        masks[row, members] = True
    return Boxes(masks, np.array(search.cost), np.array(search.value), complete), effort - search.effort


@dataclass(slots=True)
class _Search:
    values: FloatArray
    limits: FloatArray
    size: int
    prices: FloatArray
    below: float
    watch: Watch
    most: int
    effort: int

    members: list[IntArray]
    cost: list[float]
    value: list[float]

    def __init__(
        self,
        values: FloatArray,
        limits: FloatArray,
        size: int,
        prices: FloatArray,
        below: float,
        watch: Watch,
        most: int,
        effort: int,
    ) -> None:
        self.values, self.limits, self.size, self.prices = values, limits, size, prices
        self.below, self.watch, self.most, self.effort = below, watch, most, effort
        self.members, self.cost, self.value = [], [], []

    def least_left(self, members: IntArray, c: int) -> float:
        """Least spread of any `size` members over the characteristics from `c` on."""
        left = np.sort(self.values[members, c:], axis=0) / self.limits[c:]
        return float((left[self.size - 1 :] - left[: left.shape[0] - self.size + 1]).min(axis=0).sum())

    def descend(self, members: IntArray, c: int, cost: float, forced: tuple[int, ...]) -> None:
        self.effort -= 1
        if self.effort < 0 or (self.effort % 64 == 0 and self.watch.over()):
            raise _Full
        k = self.size
        ordered = members[np.argsort(self.values[members, c], kind="stable")]
        v = self.values[ordered, c]
        m = ordered.size
        left = self.least_left(ordered, c + 1) if c + 1 < self.limits.size else 0.0
        first, last = np.triu_indices(m, k - 1)
        ranges = (v[last] - v[first]) / self.limits[c]
        is_forced = np.isin(ordered, forced)
        keep = (ranges <= SLACK) & (cost + ranges + left <= self.below)
        if forced:
            places = np.flatnonzero(is_forced)
            keep &= (first <= places[0]) & (last >= places[-1])
        first, last, ranges = first[keep], last[keep], ranges[keep]
        if not first.size:
            return
        priced = np.where(is_forced, self.prices[ordered] - FORCED, self.prices[ordered])
        inside = np.arange(m)
        keys = np.where((inside >= first[:, None]) & (inside <= last[:, None]), priced, OUTSIDE)
        rows = np.arange(first.size)
        for face in (first, last):
            keys[rows, face] = self.prices[ordered[face]] - FORCED
        count = (keys < -0.5 * FORCED).sum(axis=1)
        lowest = np.partition(keys, k - 1, axis=1)[:, :k].sum(axis=1) + FORCED * count
        value = cost + ranges + lowest
        good = np.flatnonzero(value + left <= self.below)
        for row in good:
            inner = ordered[first[row] : last[row] + 1]
            total = cost + float(ranges[row])
            if c + 1 == self.limits.size:
                if len(self.members) >= self.most:
                    raise _Full
                self.members.append(inner)
                self.cost.append(total)
                self.value.append(float(value[row]))
            else:
                faces = tuple(sorted({*forced, int(ordered[first[row]]), int(ordered[last[row]])}))
                self.descend(inner, c + 1, total, faces)
