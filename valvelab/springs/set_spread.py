"""The least total spread for a given number of sets, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.springs.set_swaps import tightened
from valvelab.springs.tight_boxes import Boxes, tight_boxes
from valvelab.springs.tray import BoolArray, Grouping, Position, Progress, Units, Watch, spread_of
from valvelab.springs.window_program import WindowProgram, solve_program, spring_prices, window_program

EQUAL = 1e-7
STEPS = (0.3, 0.1, 0.03, 0.01, EQUAL)
"""How far below the best known a box has to be priced to be taken in: the best first, then any."""
ADD_A_ROUND = 300


@dataclass(frozen=True, slots=True)
class LeastSpread:
    """The tightest grouping found, its total spread, and a bound below every grouping with as many sets."""

    grouping: Grouping
    total: float
    bound: float

    @property
    def proven(self) -> bool:
        """Whether no grouping is tighter (within one part in ten million)."""
        return self.total <= self.bound + EQUAL * max(1.0, self.total)


@dataclass(frozen=True, slots=True)
class Effort:
    """Work allowed, in counts rather than seconds so that the answer does not depend on the machine."""

    kicks: int = 40
    rounds: int = 60
    boxes: int = 40_000
    branches: int = 20_000


def total_spread(units: Units, limits: FloatArray, grouping: Grouping) -> float:
    """Σ over sets and characteristics of range / limit."""
    return sum(spread_of(units, limits, chosen) for _, chosen in grouping.sets)


@dataclass(slots=True)
class _Pool:
    """Boxes gathered for one position: masks and costs, each box once."""

    masks: dict[bytes, tuple[BoolArray, float]]

    def add(self, mask: BoolArray, cost: float) -> bool:
        key = mask.tobytes()
        fresh = key not in self.masks or self.masks[key][1] > cost + EQUAL
        if fresh:
            self.masks[key] = (mask, cost)
        return fresh

    def arrays(self, count: int) -> tuple[BoolArray, FloatArray]:
        rows = list(self.masks.values())
        masks = np.array([mask for mask, _ in rows], dtype=np.bool_).reshape(-1, count)
        return masks, np.array([cost for _, cost in rows])


def _box_of(units: Units, chosen: tuple[int, ...], allowed: BoolArray) -> BoolArray:
    low, high = units.low[list(chosen)].min(axis=0), units.high[list(chosen)].max(axis=0)
    return np.asarray(allowed & (units.low >= low).all(axis=1) & (units.high <= high).all(axis=1), dtype=np.bool_)


def least_spread(
    units: Units,
    limits: FloatArray,
    positions: tuple[Position, ...],
    start: Grouping,
    watch: Watch,
    effort: Effort,
) -> LeastSpread:
    """The tightest grouping with as many sets as `start`.

    Exchanges find a tight grouping. Boxes around sets, with the springs in them, form a programme whose relaxation
    gives prices; boxes that its prices say are missing are added until none is. The prices then bound every grouping
    from below, and only boxes within the gap between bound and grouping can be part of a tighter one: the programme
    over all of those is exact.
    """
    met = tightened(units, limits, positions, start, watch, effort.kicks)
    best = met[-1]
    found = LeastSpread(best, total_spread(units, limits, best), 0.0)
    watch.report(Progress("spread", len(best.sets), None, found.total, 0.0))
    if not units.plain or not best.sets or watch.over():
        return found
    search = _BoxSearch(units, limits, positions, watch, effort)
    for grouping in met:
        search.take(grouping)
    return search.run(found)


class _BoxSearch:
    """Column generation over boxes for one tray."""

    def __init__(
        self, units: Units, limits: FloatArray, positions: tuple[Position, ...], watch: Watch, effort: Effort
    ) -> None:
        self.units, self.limits, self.positions = units, limits, positions
        self.watch, self.effort = watch, effort
        self.allowed: list[BoolArray] = [
            np.asarray((units.low >= position.low).all(axis=1) & (units.high <= position.high).all(axis=1), np.bool_)
            for position in positions
        ]
        self.pools = [_Pool({}) for _ in positions]
        self.branches = effort.branches

    def take(self, grouping: Grouping) -> None:
        """Boxes around the sets of a grouping."""
        for position, chosen in grouping.sets:
            mask = _box_of(self.units, chosen, self.allowed[position])
            self.pools[position].add(mask, spread_of(self.units, self.limits, chosen))

    def run(self, found: LeastSpread) -> LeastSpread:
        """From a tight grouping to a proven one, as far as effort and time allow."""
        engines = len(found.grouping.sets) // len(self.positions)
        prices = None
        for _ in range(self.effort.rounds):
            if self.watch.over() or found.proven:
                return found
            program = self._program()
            answer = spring_prices(program, engines, engines, self.watch, most=False)
            if answer is None:
                return found
            prices = answer[1]
            bound, fresh = self._price(prices, engines)
            if bound is None and not fresh:
                break
            if bound is not None:
                found = LeastSpread(found.grouping, found.total, max(found.bound, min(bound, found.total)))
            self.watch.report(Progress("spread", len(found.grouping.sets), None, found.total, found.bound))
            if not fresh or (bound is not None and answer[0] - bound < EQUAL):
                break
        if prices is None or found.proven:
            return found
        found = self._whole(found, engines)
        if found.proven or self.watch.over():
            return found
        return self._close(found, engines, prices)

    def _program(self, extra: list[Boxes] | None = None) -> WindowProgram:
        """The programme over the pool, or over the boxes given."""
        count = len(self.units.members)
        arrays = [pool.arrays(count) for pool in self.pools] if extra is None else [(b.masks, b.cost) for b in extra]
        return window_program(self.units, self.positions, [a for a, _ in arrays], [c for _, c in arrays])

    def _reward(self, number: int, prices: FloatArray) -> float:
        """Least spread + prices of a set from the pool's boxes of one position."""
        masks, costs = self.pools[number].arrays(len(self.units.members))
        keys = np.where(masks, prices, inf)
        size = self.positions[number].size
        return float((np.partition(keys, size - 1, axis=1)[:, :size].sum(axis=1) + costs).min())

    def _boxes(self, number: int, prices: FloatArray, below: float, most: int) -> Boxes:
        """Boxes of one position worth no more than `below`, paid for from the effort left."""
        position = self.positions[number]
        boxes, used = tight_boxes(self.units, self.limits, position, prices, below, self.watch, most, self.branches)
        self.branches -= used
        return boxes

    def _price(self, prices: FloatArray, engines: int) -> tuple[float | None, bool]:
        """A bound from these prices (None where the search was cut short), and whether boxes came in.

        Weak duality: engines · Σ least (spread + prices) − Σ prices is below every grouping's spread.
        """
        total: float | None = 0.0
        fresh = False
        for number in range(len(self.positions)):
            reward = self._reward(number, prices)
            for step in STEPS:
                boxes = self._boxes(number, prices, reward - step, ADD_A_ROUND)
                for mask, cost in zip(boxes.masks, boxes.cost, strict=True):
                    fresh |= self.pools[number].add(mask, float(cost))
                if not boxes.complete or boxes.cost.size:
                    break
            least = reward if boxes.complete and not boxes.cost.size else None
            if boxes.complete and boxes.cost.size:
                least = float(boxes.value.min())
            total = None if total is None or least is None else total + engines * least
        return (None if total is None else total - float(prices.sum())), fresh

    def _close(self, found: LeastSpread, engines: int, prices: FloatArray) -> LeastSpread:
        """The programme over every box that a tighter grouping could use: nothing else can be part of one."""
        gap = found.total - found.bound + EQUAL
        gathered: list[Boxes] = []
        for number in range(len(self.positions)):
            boxes = self._boxes(number, prices, self._reward(number, prices) + gap, self.effort.boxes)
            if not boxes.complete:
                return found
            gathered.append(boxes)
        return self._whole(found, engines, gathered)

    def _whole(self, found: LeastSpread, engines: int, boxes: list[Boxes] | None = None) -> LeastSpread:
        """Whole sets from the pool, or from all the boxes that matter: then the answer is exact."""
        grouping, solved = solve_program(self._program(boxes), engines, engines, self.watch, most=False)
        total = inf if grouping is None else total_spread(self.units, self.limits, grouping)
        bound = found.bound
        if boxes is not None and solved.bound > bound:
            bound = min(solved.bound, found.total, total)
        if grouping is not None and total < found.total - EQUAL:
            self.take(grouping)
            return LeastSpread(grouping, total, min(bound, total))
        return LeastSpread(found.grouping, found.total, min(bound, found.total))
