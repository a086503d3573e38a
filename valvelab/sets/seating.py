"""More sets by annealing: one window at a time moves, and springs follow along augmenting paths.

As many windows as sets are wanted lie over the tray. The most springs that can be seated in them, no set above its
size and no spring in two, is a flow; when it fills every set the number is reached. A window is moved to a neighbour
or to a spring left over, the flow is mended by a few paths, and a fall is taken with a chance that shrinks. Springs are
bits of whole numbers, so a move costs some tens of microseconds.

Source: own search; augmenting paths as in bipartite matching are common practice.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from random import Random
from typing import TYPE_CHECKING

import numpy as np

from valvelab.sets.annealing import anneal
from valvelab.sets.tray import Grouping, Units, Watch

if TYPE_CHECKING:
    from scipy.spatial import cKDTree

    from valvelab.arrays import BoolArray, FloatArray, IntArray

TRIES = (60_000, 150_000)
"""Moves of each attempt at one engine more; the later ones only where the first did not get there."""
HOT, COLD = 0.4, 0.15
"""Springs by which the flow may fall, at the start and at the end of an attempt (bench_sets.py: trays of 400)."""
NEIGHBOURS = 40
TO_NEIGHBOUR, AT_DEFICIT, SEATING = 0.85, 0.35, 0.15


@dataclass(frozen=True, slots=True)
class Ground:
    """What stays the same: windows as bit patterns, by position; units that move freely, and those with conditions."""

    bits: list[list[int]]
    middles: list[FloatArray]
    trees: list[cKDTree]
    holders: list[list[IntArray]]
    sizes: tuple[int, ...]
    usable: int
    constrained: tuple[int, ...]
    weight: tuple[int, ...]
    apart: tuple[int, ...]
    near: dict[tuple[int, int], list[int]] = field(default_factory=dict)

    @staticmethod
    def of(units: Units, windows: list[BoolArray]) -> Ground:
        """The ground of a tray's windows, masks (w, u) by position, no unit."""
        from scipy.spatial import cKDTree

        free = ~units.constrained()
        middles = [sum(units.extents(masks)) / (2.0 * units.limits) for masks in windows]
        anywhere = np.any([masks.any(axis=0) for masks in windows], axis=0)
        return Ground(
            bits=[[_pattern(mask) for mask in masks] for masks in windows],
            middles=middles,
            trees=[cKDTree(points) for points in middles],
            holders=[[np.flatnonzero(column) for column in masks.T] for masks in windows],
            sizes=tuple(position.size for position in units.positions),
            usable=_pattern(anywhere & free),
            constrained=tuple(int(unit) for unit in np.flatnonzero(~free & anywhere)),
            weight=tuple(int(weight) for weight in units.weight),
            apart=tuple(_pattern(row) for row in units.apart),
        )

    def neighbours(self, position: int, window: int) -> list[int]:
        """Windows of a position nearest to one of them."""
        known = self.near.get((position, window))
        if known is None:
            count = min(NEIGHBOURS + 1, len(self.bits[position]))
            _, rows = self.trees[position].query(self.middles[position][window], k=count)
            known = [int(row) for row in np.atleast_1d(rows) if row != window] or [window]
            self.near[position, window] = known
        return known


def _pattern(mask: BoolArray) -> int:
    return int.from_bytes(np.packbits(mask, bitorder="little").tobytes(), "little")


def _ones(pattern: int) -> Iterator[int]:
    while pattern:
        lowest = pattern & -pattern
        yield lowest.bit_length() - 1
        pattern ^= lowest


class Seating:
    """Windows chosen, and who sits where; `slots` are the positions of the sets wanted."""

    def __init__(self, ground: Ground, slots: list[int], windows: list[int], generator: Random) -> None:
        self.ground, self.slots, self.random = ground, slots, generator
        self.window = list(windows)
        self.room = [ground.sizes[slot] for slot in slots]
        self.mask = [ground.bits[slot][window] for slot, window in zip(slots, windows, strict=True)]
        self.single = [0] * len(slots)
        self.bound = [0] * len(slots)
        self.free = ground.usable
        self.fill()
        self._before = self._now()

    @property
    def empty(self) -> int:
        """Places not filled."""
        return sum(self.room)

    def fill(self) -> None:
        """Seat free springs wherever a path leads to a place."""
        for slot in range(len(self.slots)):
            while self.room[slot] and self._augment(slot):
                self.room[slot] -= 1

    def _augment(self, slot: int) -> bool:
        """One spring more in a slot, others moving up if needed: breadth first over slots."""
        mask, single, free = self.mask, self.single, self.free
        came: dict[int, tuple[int, int] | None] = {slot: None}
        queue = [slot]
        for here in queue:
            direct = mask[here] & free
            if direct:
                spring = direct & -direct
                self.free ^= spring
                single[here] |= spring
                giver, back = here, came[here]
                while back is not None:
                    taker, moved = back
                    single[giver] ^= moved
                    single[taker] |= moved
                    giver, back = taker, came[taker]
                return True
            reach = mask[here]
            for there, sitting in enumerate(single):
                shared = sitting & reach
                if shared and there not in came:
                    came[there] = (here, shared & -shared)
                    queue.append(there)
        return False

    def _now(self) -> tuple[list[int], list[int], list[int], list[int], list[int], int]:
        """What a change changes."""
        return self.window[:], self.mask[:], self.room[:], self.single[:], self.bound[:], self.free

    def offer(self) -> float:
        """Change something at random and mend the flow; how many places more are empty, a count."""
        self._before, empty = self._now(), self.empty
        if self.ground.constrained and self.random.random() < SEATING:
            self._seat()
        else:
            self._shift()
        self.fill()
        return float(self.empty - empty)

    def take(self) -> None:
        """The change stands."""

    def leave(self) -> None:
        """As before the change."""
        self.window, self.mask, self.room, self.single, self.bound, self.free = self._before

    def anneal(self, moves: int, stop: Callable[[], bool]) -> bool:
        """Change until every place is filled; False when the moves are used up or `stop` says so."""
        if self.empty:
            for _ in anneal(self, moves, HOT, COLD, stop):
                if not self.empty:
                    break
        return not self.empty

    def _shift(self) -> None:
        short = [slot for slot, room in enumerate(self.room) if room]
        draw = self.random.random()
        slot = self.random.choice(short) if draw < AT_DEFICIT else self.random.randrange(len(self.slots))
        position = self.slots[slot]
        if self.random.random() < TO_NEIGHBOUR or not self.free:
            window = self.random.choice(self.ground.neighbours(position, self.window[slot]))
        else:
            above = self.free >> self.random.randrange(self.free.bit_length())
            spring = self.free.bit_length() - above.bit_length() + (above & -above).bit_length() - 1
            around = self.ground.holders[position][spring]
            if not around.size:
                return
            window = int(around[self.random.randrange(around.size)])
        mask = self.ground.bits[position][window]
        lost = self.single[slot] & ~mask
        self.single[slot] &= mask
        self.free |= lost
        self.room[slot] += lost.bit_count()
        for unit in _ones(self.bound[slot] & ~mask):
            self._stand(slot, unit)
        self.window[slot], self.mask[slot] = window, mask

    def _stand(self, slot: int, unit: int) -> None:
        self.bound[slot] ^= 1 << unit
        self.room[slot] += self.ground.weight[unit]

    def _seat(self) -> None:
        """Seat a unit that has conditions, or let it stand when it sits."""
        unit = self.random.choice(self.ground.constrained)
        bit, weight = 1 << unit, self.ground.weight[unit]
        for slot, sitting in enumerate(self.bound):
            if sitting & bit:
                self._stand(slot, unit)
                return
        fitting = [
            slot
            for slot, mask in enumerate(self.mask)
            if mask & bit
            and not self.bound[slot] & self.ground.apart[unit]
            and self.room[slot] + self.single[slot].bit_count() >= weight
        ]
        if not fitting:
            return
        slot = self.random.choice(fitting)
        while self.room[slot] < weight:
            spring = self.single[slot] & -self.single[slot]
            self.single[slot] ^= spring
            self.free |= spring
            self.room[slot] += 1
        self.bound[slot] |= bit
        self.room[slot] -= weight

    def grouping(self) -> Grouping:
        """The sets of a seating without empty places."""
        seated = zip(self.slots, self.single, self.bound, strict=True)
        return Grouping(tuple(sorted((position, tuple(_ones(single | bound))) for position, single, bound in seated)))


def one_engine_more(
    ground: Ground, around: list[list[int]], attempt: int, watch: Watch, reached: Callable[[], bool]
) -> tuple[Grouping, list[list[int]]] | None:
    """One set more at every position, from windows around those there are; None when this attempt gives none.

    The same start and attempt give the same answer, unless the watch ends it or `reached` says that no more can be.
    """
    generator = Random(1000 * len(around[0]) + attempt)  # noqa: S311 - the same search every time, nothing secret
    slots = [position for position, mine in enumerate(around) for _ in range(len(mine) + 1)]
    windows = [w for p, mine in enumerate(around) for w in [*mine, generator.randrange(len(ground.bits[p]))]]
    seating = Seating(ground, slots, windows, generator)
    if not seating.anneal(TRIES[attempt], lambda: watch.over() or reached()):
        return None
    chosen: list[list[int]] = [[] for _ in around]
    for position, window in zip(slots, seating.window, strict=True):
        chosen[position].append(window)
    return seating.grouping(), chosen
