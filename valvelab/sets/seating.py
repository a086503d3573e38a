"""More sets by annealing: one window at a time moves, and springs follow along augmenting paths.

As many windows as sets are wanted lie over the tray: boxes whose sides are the limits, each from some spring's value on
along every characteristic. The most springs that can be seated in them, no set above its size and no spring in two, is
a flow; when it fills every set the number is reached. A window is moved a little, to one near it where all are listed,
or over a spring left over, the flow is mended by a few paths, and a fall is taken with a chance that shrinks; springs
that a move over another leaves behind draw a second window and a third over themselves before the fall is judged.
Springs are bits of whole numbers, so a move costs some tens of microseconds.

Source: own search; augmenting paths as in bipartite matching are common practice.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from random import Random
from typing import TYPE_CHECKING

import numpy as np

from valvelab.arrays import BoolArray, FloatArray
from valvelab.sets.annealing import anneal
from valvelab.sets.tray import SLACK, Grouping, Units, Watch

if TYPE_CHECKING:
    from scipy.spatial import cKDTree

HOT, COLD = 0.4, 0.1
"""Springs by which the flow may fall, at the start and at the end of an attempt (bench_sets.py: trays of 400)."""
OVER_A_SPRING, NEAREST = 0.5, 8
"""Share of moves over a spring left over; how many of the windows nearest to it may move, the nearest mostly."""
STEP, TWO_WAYS = 20, 0.3
"""Values by which a window moves at most, and how often along two characteristics at once."""
LINKS = 3
"""Windows that move one after another before the fall is judged."""
AT_DEFICIT, SEATING = 0.35, 0.15
NEIGHBOURS = 40
"""Listed windows nearest to one that it may move to."""

Window = tuple[int, ...]
"""Along each characteristic the number of the value that a window begins at."""


@dataclass(frozen=True, slots=True)
class Listed:
    """The windows of a position, and where each begins, in limits, to find those near one."""

    windows: list[Window]
    tree: cKDTree
    near: dict[Window, list[int]] = field(default_factory=dict)

    @staticmethod
    def of(units: Units, masks: BoolArray, starts: list[FloatArray]) -> Listed:
        """Of masks (w, u) of windows and the values, in limits, that windows may begin at along each characteristic."""
        from scipy.spatial import cKDTree

        low = units.extents(masks)[0] / units.limits
        begins = [np.searchsorted(mine, column) for mine, column in zip(starts, low.T, strict=True)]
        return Listed([tuple(window) for window in np.transpose(begins).tolist()], cKDTree(low))

    def beside(self, window: Window, at: FloatArray) -> list[int]:
        """The numbers of the windows nearest to one, which begins at some values (d,), in limits."""
        known = self.near.get(window)
        if known is None:
            _, rows = self.tree.query(at, k=min(NEIGHBOURS + 1, len(self.windows)))
            known = self.near[window] = np.atleast_1d(rows).tolist()
        return known


@dataclass(frozen=True, slots=True)
class Ground:
    """What stays the same: values in limits, the bit patterns of units by where a window begins, and units' conditions.

    starts: by characteristic, in order. runs: by characteristic, the units within a limit from each start on. suiting:
    by position. usable: units that move freely. listed: by position, all windows worth moving to, where they are known.
    """

    low: FloatArray
    high: FloatArray
    starts: list[list[float]]
    runs: list[list[int]]
    suiting: tuple[int, ...]
    sizes: tuple[int, ...]
    usable: int
    constrained: tuple[int, ...]
    weight: tuple[int, ...]
    apart: tuple[int, ...]
    listed: list[Listed]

    @staticmethod
    def of(units: Units, of_use: BoolArray, windows: list[BoolArray] | None = None) -> Ground:
        """The ground of a tray; `of_use` (u,), no unit: those that may be in a set. `windows`: all, masks (w, u)."""
        low, high = units.low / units.limits, units.high / units.limits
        starts = [np.unique(column) for column in low.T]
        runs = [
            [_pattern(mask) for mask in (mine >= begins[:, None]) & (far <= begins[:, None] + SLACK)]
            for begins, mine, far in zip(starts, low.T, high.T, strict=True)
        ]
        free = ~units.constrained()
        return Ground(
            low=low,
            high=high,
            starts=[begins.tolist() for begins in starts],
            runs=runs,
            suiting=tuple(_pattern(units.suiting(position) & of_use) for position in units.positions),
            sizes=tuple(position.size for position in units.positions),
            usable=_pattern(of_use & free),
            constrained=tuple(np.flatnonzero(~free & of_use).tolist()),
            weight=tuple(units.weight.tolist()),
            apart=tuple(_pattern(row) for row in units.apart) if units.apart.any() else (0,) * units.count,
            listed=[Listed.of(units, masks, starts) for masks in windows or []],
        )

    def inside(self, position: int, window: Window) -> int:
        """The units that suit a position and lie in a window."""
        pattern = self.suiting[position]
        for runs, begin in zip(self.runs, window, strict=True):
            pattern &= runs[begin]
        return pattern

    def around(self, chosen: tuple[int, ...]) -> Window:
        """The window about the middle of some units: around all of them where they keep the limits."""
        window = []
        for c, begins in enumerate(self.starts):
            low, high = float(self.low[list(chosen), c].min()), float(self.high[list(chosen), c].max())
            begin = low if high - low <= SLACK else 0.5 * (low + high) - 0.5
            window.append(min(bisect_left(begins, begin), len(begins) - 1))
        return tuple(window)

    def over(self, window: Window, unit: int) -> Window:
        """The window moved as little as it takes to hold a unit."""
        moved = list(window)
        for c, (low, high, begins) in enumerate(
            zip(self.low[unit].tolist(), self.high[unit].tolist(), self.starts, strict=True)
        ):
            if low < begins[moved[c]]:
                moved[c] = bisect_left(begins, low)
            elif high > begins[moved[c]] + SLACK:
                moved[c] = bisect_left(begins, high - SLACK)
        return tuple(moved)


def _pattern(mask: BoolArray) -> int:
    return int.from_bytes(np.packbits(mask, bitorder="little").tobytes(), "little")


def _ones(pattern: int) -> Iterator[int]:
    while pattern:
        lowest = pattern & -pattern
        yield lowest.bit_length() - 1
        pattern ^= lowest


class Seating:
    """Windows chosen, and who sits where; `slots` are the positions of the sets wanted."""

    def __init__(self, ground: Ground, slots: list[int], windows: list[Window], generator: Random) -> None:
        self.ground, self.slots, self.random = ground, slots, generator
        self.window = list(windows)
        self.at = np.array([self._begins(window) for window in windows])
        self.room = [ground.sizes[slot] for slot in slots]
        self.mask = [ground.inside(slot, window) for slot, window in zip(slots, windows, strict=True)]
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
        """Seat free springs wherever a path leads to a place.

        Slots from which a search came to no free spring need not be looked at again.
        """
        rest = list(range(len(self.slots)))
        for slot, places in enumerate(self.room):
            for _ in range(places):
                if slot not in rest:
                    break
                seen = self._augment(slot, rest)
                if seen:
                    rest = [there for there in rest if there not in seen]
                else:
                    self.room[slot] -= 1

    def _augment(self, slot: int, rest: list[int]) -> dict[int, tuple[int, int] | None]:
        """One spring more in a slot, others moving up if needed: breadth first over the `rest` of the slots.

        The slots that were looked at where no path leads to a free spring, none where one does.
        """
        mask, single, free = self.mask, self.single, self.free
        came: dict[int, tuple[int, int] | None] = {slot: None}
        waiting = [there for there in rest if there != slot]
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
                return {}
            reach = mask[here]
            sharing = [there for there in waiting if single[there] & reach]
            if sharing:
                for there in sharing:
                    shared = single[there] & reach
                    came[there] = (here, shared & -shared)
                queue += sharing
                waiting = [there for there in waiting if there not in came]
        return came

    def _begins(self, window: Window) -> list[float]:
        return [begins[begin] for begins, begin in zip(self.ground.starts, window, strict=True)]

    def _now(self) -> tuple[list[Window], FloatArray, list[int], list[int], list[int], list[int], int]:
        """What a change changes."""
        return self.window[:], self.at.copy(), self.mask[:], self.room[:], self.single[:], self.bound[:], self.free

    def offer(self) -> float | None:
        """Change something at random and mend the flow; how many places more are empty, a count."""
        self._before, empty = self._now(), self.empty
        if self.ground.constrained and self.random.random() < SEATING:
            self._seat()
            self.fill()
            return float(self.empty - empty)
        moved = self._shift() if not self.free or self.random.random() > OVER_A_SPRING else self._draw(self.free)
        for _ in range(LINKS - 1):
            if not moved or self.empty <= empty:
                break
            left_behind = self.free & ~self._before[-1]
            moved = bool(left_behind) and self._draw(left_behind)
        return float(self.empty - empty)

    def take(self) -> None:
        """The change stands."""

    def leave(self) -> None:
        """As before the change."""
        self.window, self.at, self.mask, self.room, self.single, self.bound, self.free = self._before

    def anneal(self, moves: int, stop: Callable[[], bool]) -> bool:
        """Change until every place is filled; False when the moves are used up or `stop` says so."""
        if self.empty:
            for _ in anneal(self, moves, HOT, COLD, stop):
                if not self.empty:
                    break
        return not self.empty

    def _shift(self) -> bool:
        """Some window moves a little."""
        if self.random.random() < AT_DEFICIT:
            slot = self.random.choice([slot for slot, room in enumerate(self.room) if room])
        else:
            slot = self.random.randrange(len(self.slots))
        if self.ground.listed:
            listed = self.ground.listed[self.slots[slot]]
            near = listed.beside(self.window[slot], self.at[slot])
            return self._move(slot, listed.windows[self.random.choice(near)])
        window, ways = list(self.window[slot]), len(self.ground.starts)
        for c in self.random.sample(range(ways), min(ways, 1 + (self.random.random() < TWO_WAYS))):
            begin = window[c] + self.random.randint(-STEP, STEP)
            window[c] = min(max(begin, 0), len(self.ground.starts[c]) - 1)
        return self._move(slot, tuple(window))

    def _draw(self, springs: int) -> bool:
        """A window near one of some springs moves over it."""
        above = springs >> self.random.randrange(springs.bit_length())
        spring = springs.bit_length() - above.bit_length() + (above & -above).bit_length() - 1
        apart = np.maximum(self.at - self.ground.low[spring], self.ground.high[spring] - SLACK - self.at)
        way = np.maximum(apart, 0.0, out=apart).sum(axis=1)
        near = np.argsort(way, kind="stable")[int(np.count_nonzero(way == 0.0)) :]
        if not near.size:
            return False
        slot = int(near[min(int(NEAREST * self.random.random() ** 2), near.size - 1)])
        return self._move(slot, self.ground.over(self.window[slot], spring))

    def _move(self, slot: int, window: Window) -> bool:
        """Whether a window moves: not where it would hold too few springs."""
        mask = self.ground.inside(self.slots[slot], window)
        if not self.ground.constrained and mask.bit_count() < self.ground.sizes[self.slots[slot]]:
            return False
        lost = self.single[slot] & ~mask
        self.single[slot] &= mask
        self.free |= lost
        self.room[slot] += lost.bit_count()
        for unit in _ones(self.bound[slot] & ~mask):
            self._stand(slot, unit)
        self.window[slot], self.at[slot], self.mask[slot] = window, self._begins(window), mask
        self.fill()
        return True

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

    def left_over(self) -> list[int]:
        """Springs that move freely and have no place."""
        return list(_ones(self.free))

    def fullest(self, count: int) -> list[Window]:
        """So many of the windows, those with the fewest empty places."""
        slots = sorted(range(len(self.slots)), key=lambda slot: self.room[slot])[:count]
        return [self.window[slot] for slot in sorted(slots)]

    def grouping(self) -> Grouping:
        """The sets of a seating without empty places."""
        seated = zip(self.slots, self.single, self.bound, strict=True)
        return Grouping(tuple(sorted((position, tuple(_ones(single | bound))) for position, single, bound in seated)))


def one_engine_more(
    ground: Ground, around: list[list[Window]], moves: int, watch: Watch, reached: Callable[[], bool]
) -> tuple[Grouping, list[list[Window]]] | None:
    """One set more at every position, from windows around those there are; None when so many moves give none.

    The same start and moves give the same answer, unless the watch ends it or `reached` says that no more can be.
    """
    generator = Random(1000 * len(around[0]) + moves)  # noqa: S311 - the same search every time, nothing secret
    slots = [position for position, mine in enumerate(around) for _ in range(len(mine) + 1)]
    windows = []
    for suiting, mine in zip(ground.suiting, around, strict=True):
        windows += [*mine, ground.around((generator.choice(list(_ones(suiting))),))]
    seating = Seating(ground, slots, windows, generator)
    if not seating.anneal(moves, lambda: watch.over() or reached()):
        return None
    chosen: list[list[Window]] = [[] for _ in around]
    for position, window in zip(slots, seating.window, strict=True):
        chosen[position].append(window)
    return seating.grouping(), chosen
