"""More sets by annealing: one window at a time moves, and springs follow along augmenting paths.

As many windows as sets are wanted lie over the tray. The most springs that can be seated in them, no set above its
size and no spring in two, is a flow; when it fills every set the number is reached. A window is moved to a neighbour
or to a spring left over, the flow is mended by a few paths, and a fall is taken with a chance that shrinks (simulated
annealing, Kirkpatrick 1983, from memory). Springs are bits of whole numbers, so a move costs some tens of microseconds.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from math import exp
from random import Random

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.springs.tolerance_windows import runs_of
from valvelab.springs.tray import BoolArray, Grouping, Position, Units, Watch

TRIES = (60_000, 150_000, 150_000, 150_000, 150_000)
"""Moves of each attempt at one engine more; the later ones only where the first did not get there."""
HOT, COLD = 0.4, 0.15
"""Springs by which the flow may fall, at the start and at the end of an attempt (bench_sets.py: trays of 400)."""
STEP = 0.1
"""Farthest step of a window, as a share of the runs there are."""
TO_NEIGHBOUR, AT_DEFICIT, SEATING = 0.85, 0.35, 0.15
LOOK_EVERY = 128


Window = tuple[int, ...]
"""A run of each characteristic; what lies in all of them lies in the window."""


@dataclass(frozen=True, slots=True)
class Ground:
    """What stays the same: for each characteristic its runs, groups that fit the limit, as bit patterns in order.

    `first` and `last`: the runs that hold a unit, which are neighbours; units in no run of some kind have none.
    """

    runs: list[list[int]]
    first: list[list[int]]
    last: list[list[int]]
    allowed: list[int]
    sizes: tuple[int, ...]
    usable: int
    constrained: tuple[int, ...]
    weight: tuple[int, ...]
    apart: tuple[int, ...]

    @staticmethod
    def of(units: Units, positions: tuple[Position, ...], limits: FloatArray) -> Ground:
        """The ground of a tray."""
        masks = [
            (units.low >= position.low).all(axis=1) & (units.high <= position.high).all(axis=1)
            for position in positions
        ]
        runs, first, last = [], [], []
        for c, limit in enumerate(limits):
            groups = runs_of(units.low[:, c], units.high[:, c], float(limit))
            runs.append([_pattern(group) for group in groups])
            first.append([int(row) for row in groups.argmax(axis=0)])
            last.append([int(row) for row in len(groups) - 1 - groups[::-1].argmax(axis=0)])
        constrained = units.constrained()
        anywhere = np.asarray(np.any(masks, axis=0), dtype=np.bool_)
        return Ground(
            runs=runs,
            first=first,
            last=last,
            allowed=[_pattern(np.asarray(mask)) for mask in masks],
            sizes=tuple(position.size for position in positions),
            usable=_pattern(anywhere & ~constrained),
            constrained=tuple(int(unit) for unit in np.flatnonzero(constrained & anywhere)),
            weight=tuple(int(weight) for weight in units.weight),
            apart=tuple(_pattern(row) for row in units.apart),
        )

    def pattern(self, position: int, window: Window) -> int:
        """The units in a window that a position may take."""
        pattern = self.allowed[position]
        for runs, run in zip(self.runs, window, strict=True):
            pattern &= runs[run]
        return pattern

    def neighbour(self, window: Window, random: Random) -> Window:
        """A window a little way off along some of the characteristics."""
        moved = list(window)
        for c in random.sample(range(len(moved)), random.randint(1, len(moved))):
            count = len(self.runs[c])
            step = 1 + int(random.random() ** 2 * STEP * count)
            moved[c] = min(max(moved[c] + (step if random.random() < 0.5 else -step), 0), count - 1)
        return tuple(moved)

    def around(self, units: Iterable[int], random: Random) -> Window:
        """A window that holds these units, which fit together."""
        members = list(units)
        return tuple(
            random.randint(max(first[u] for u in members), min(last[u] for u in members))
            for first, last in zip(self.first, self.last, strict=True)
        )


def _pattern(mask: BoolArray) -> int:
    return int.from_bytes(np.packbits(mask, bitorder="little").tobytes(), "little")


def _ones(pattern: int) -> Iterator[int]:
    while pattern:
        lowest = pattern & -pattern
        yield lowest.bit_length() - 1
        pattern ^= lowest


Kept = tuple[list[Window], list[int], list[int], list[int], list[int], int]


class Seating:
    """Windows chosen, and who sits where; `slots` are the positions of the sets wanted."""

    def __init__(self, ground: Ground, slots: list[int], windows: list[Window], generator: Random) -> None:
        self.ground, self.slots, self.random = ground, slots, generator
        self.window = list(windows)
        self.room = [ground.sizes[slot] for slot in slots]
        self.mask = [ground.pattern(slot, window) for slot, window in zip(slots, windows, strict=True)]
        self.single = [0] * len(slots)
        self.bound = [0] * len(slots)
        self.free = ground.usable
        self.fill()

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

    def kept(self) -> Kept:
        """What a move changes."""
        return self.window[:], self.mask[:], self.room[:], self.single[:], self.bound[:], self.free

    def restore(self, kept: Kept) -> None:
        """Take a move back."""
        self.window, self.mask, self.room, self.single, self.bound, self.free = kept

    def move(self) -> None:
        """Change something at random and mend the flow."""
        if self.ground.constrained and self.random.random() < SEATING:
            self._seat()
        else:
            self._shift()
        self.fill()

    def _shift(self) -> None:
        short = [slot for slot, room in enumerate(self.room) if room]
        draw = self.random.random()
        slot = self.random.choice(short) if draw < AT_DEFICIT else self.random.randrange(len(self.slots))
        position = self.slots[slot]
        if self.random.random() < TO_NEIGHBOUR or not self.free:
            window = self.ground.neighbour(self.window[slot], self.random)
        else:
            window = self.ground.around([any_of(self.free, self.random)], self.random)
        mask = self.ground.pattern(position, window)
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
            slot for slot, mask in enumerate(self.mask)
            if mask & bit and not self.bound[slot] & self.ground.apart[unit]
            and self.room[slot] + self.single[slot].bit_count() >= weight
        ]  # fmt: skip
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
        return Grouping(tuple(sorted(
            (position, tuple(_ones(single | bound)))
            for position, single, bound in zip(self.slots, self.single, self.bound, strict=True)
        )))  # fmt: skip


def anneal(seating: Seating, moves: int, stop: Callable[[], bool]) -> bool:
    """Move until every place is filled; False when the moves are used up or `stop` says so."""
    empty = seating.empty
    for number in range(moves):
        if not empty:
            return True
        if number % LOOK_EVERY == 0 and stop():
            return False
        kept = seating.kept()
        seating.move()
        now = seating.empty
        heat = HOT * (COLD / HOT) ** (number / moves)
        if now <= empty or seating.random.random() < exp((empty - now) / heat):
            empty = now
        else:
            seating.restore(kept)
    return not empty


def any_of(pattern: int, random: Random) -> int:
    """One of the ones of a pattern that has some: the first at or above a random place."""
    place = random.randrange(pattern.bit_length())
    above = pattern >> place
    return place + (above & -above).bit_length() - 1


def one_engine_more(
    ground: Ground,
    start: Grouping,
    attempt: int,
    watch: Watch,
    reached: Callable[[], bool],
) -> Grouping | None:
    """One set more at every position, from windows around those there are; None when this attempt gives none.

    The same start and attempt give the same answer, unless the watch ends it or `reached` says that no more can be.
    """
    engines = len(start.sets) // len(ground.sizes)
    generator = Random(1000 * engines + attempt)  # noqa: S311 - the same search every time, nothing secret
    if not ground.usable:
        return None
    slots = [position for position, _ in start.sets] + list(range(len(ground.sizes)))
    windows = [ground.around(chosen, generator) for _, chosen in start.sets]
    windows += [ground.around([any_of(ground.usable, generator)], generator) for _ in ground.sizes]
    seating = Seating(ground, slots, windows, generator)
    if not anneal(seating, TRIES[attempt], lambda: watch.over() or reached()):
        return None
    return seating.grouping()
