"""Which spring at which valve and at which height: exact, by assignment.

Source: assignment and bottleneck matching, textbook.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations_with_replacement

import numpy as np

from valvelab.arrays import BoolArray, FloatArray, IntArray, finite
from valvelab.assignment import all_served, cheapest
from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.phrase import Phrase

FORBIDDEN = 1e15


@frozen
class Stack:
    """What goes with a spring: shims below it, a packer, and what its keepers and its retainer raise its top by. mm."""

    shims_mm: tuple[float, ...] = ()
    packer_mm: float | None = None
    keeper_mm: float = 0.0
    retainer_mm: float = 0.0

    def raised_mm(self, measured: Stack) -> float:
        """How much higher the retainer stands than with the keepers and the retainer of the measurement."""
        return (self.keeper_mm - measured.keeper_mm) + (self.retainer_mm - measured.retainer_mm)

    def installed_mm(self, bare_mm: float, measured: Stack) -> float:
        """Installed height, of a height from seat to retainer measured without shims and packer."""
        return bare_mm + self.raised_mm(measured) - sum(self.shims_mm) - (self.packer_mm or 0.0)


@frozen
class ShimChoice:
    """All ways to fit a spring at a position by its height: seat force and leave to use it, (positions, springs, m).

    `installed_mm` (positions, m): the heights that each position can be brought to; a force that isn't allowed may be
    anything.
    """

    installed_mm: FloatArray
    force_n: FloatArray
    allowed: BoolArray


@frozen
class ShimPlan:
    """For each position the spring and the height chosen, as indices; the seat forces and their spread.

    window_n: the least window of forces, where the least spread was sought.
    """

    spring: tuple[int, ...]
    height: tuple[int, ...]
    seat_force_n: FloatArray
    spread_n: float
    window_n: tuple[float, float] | None = None


def stacks_of(stock_mm: Sequence[float], most: int, *, every: bool = False) -> tuple[tuple[float, ...], ...]:
    """Every stack of up to `most` shims, thinnest first; of equal thicknesses the one with fewest shims only. mm.

    every: those of equal thicknesses too, where it matters which shims a stack takes.
    """
    best: dict[int, list[tuple[float, ...]]] = {}
    for count in range(most + 1):
        for stack in combinations_with_replacement(sorted(set(stock_mm), reverse=True), count):
            best.setdefault(round(sum(stack) * 1e6), []).append(stack)
    return tuple(stack for key in sorted(best) for stack in best[key][: None if every else 1])


def choose_shims(choice: ShimChoice, target_n: float | None) -> ShimPlan:
    """The plan nearest the target by least sum of squares, or without one the plan of least spread; one spring a valve.

    Raises CannotEvaluate(NOT_FEASIBLE) when no plan keeps the limits. Exact: with a target each pair of position and
    spring takes its best height, and pairs are assigned; without one, the least window of forces over which every
    position still finds a spring of its own is found by moving both its ends over all forces there are.
    """
    positions, springs, _ = choice.force_n.shape
    if springs < positions:
        raise CannotEvaluate(
            Reason.NOT_FEASIBLE,
            Phrase(
                "found {springs} springs for {positions} positions, expected at least as many",
                springs=springs,
                positions=positions,
            ),
        )
    _refuse_blocked(choice)
    if target_n is not None:
        return _nearest(choice, target_n)
    return _narrowest(choice)


def _refuse_blocked(choice: ShimChoice) -> None:
    reachable = np.asarray(choice.allowed.any(axis=2), dtype=np.bool_)
    if not all_served(reachable):
        raise CannotEvaluate(
            Reason.NOT_FEASIBLE,
            Phrase("the limits leave too few springs: not every position can have a spring of its own"),
        )


def _nearest(choice: ShimChoice, target_n: float) -> ShimPlan:
    error = np.where(choice.allowed, (choice.force_n - target_n) ** 2, FORBIDDEN)
    height = error.argmin(axis=2)
    cost = np.take_along_axis(error, height[:, :, None], axis=2)[:, :, 0]
    return _plan(choice, cheapest(cost), height)


def _plan(choice: ShimChoice, spring: IntArray, height: IntArray) -> ShimPlan:
    each = np.arange(spring.size)
    chosen = height[each, spring]
    forces = finite(choice.force_n[each, spring, chosen], "seat forces", 1)
    return ShimPlan(tuple(int(i) for i in spring), tuple(int(i) for i in chosen), forces, float(np.ptp(forces)))


def _narrowest(choice: ShimChoice) -> ShimPlan:
    """Least spread; among plans of that spread, the one nearest the middle of its window."""
    low, high = narrowest_window(choice)
    inside = choice.allowed & (choice.force_n >= low) & (choice.force_n <= high)
    nearest = _nearest(ShimChoice(choice.installed_mm, choice.force_n, inside), 0.5 * (low + high))
    return replace(nearest, window_n=(low, high))


def narrowest_window(choice: ShimChoice) -> tuple[float, float]:
    """Least window of forces that every position can meet with a spring of its own.

    For each lower end taken in turn, only windows narrower than the best so far matter; most lower ends fail that one
    test, and where it passes the upper end is found by halving. N.
    """
    positions, springs, _ = choice.force_n.shape
    at, spring, _ = np.nonzero(choice.allowed)
    forces = choice.force_n[choice.allowed]
    order = np.argsort(forces, kind="stable")
    forces, at, spring = forces[order], at[order], spring[order]

    def possible(first: int, last: int) -> bool:
        held = slice(first, last + 1)
        if np.count_nonzero(np.bincount(at[held], minlength=positions)) < positions:
            return False
        edges = np.zeros((positions, springs), dtype=np.bool_)
        edges[at[held], spring[held]] = True
        return all_served(edges)

    low, high = 0, forces.size - 1
    for start in _outside_in(forces.size):
        width = forces[high] - forces[low]
        limit = int(np.searchsorted(forces, forces[start] + width, side="left")) - 1
        if limit < start + positions - 1 or not possible(int(start), limit):
            continue
        first, last = int(start), limit
        while first < last:
            middle = (first + last) // 2
            if possible(int(start), middle):
                last = middle
            else:
                first = middle + 1
        low, high = int(start), last
    return float(forces[low]), float(forces[high])


def _outside_in(count: int) -> IntArray:
    """An order of indices that samples the whole range early, so that the best width falls fast."""
    order: list[int] = []
    seen = np.zeros(count, dtype=np.bool_)
    step = max(count // 2, 1)
    while True:
        fresh = np.flatnonzero(~seen[::step]) * step
        order.extend(int(i) for i in fresh)
        seen[fresh] = True
        if step == 1:
            return np.array(order, dtype=np.int64)
        step = max(step // 2, 1)
