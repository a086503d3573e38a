"""What matching is asked and what it answers.

Source: own conventions.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from math import inf
from typing import Protocol, TypeVar

import numpy as np

from valvelab.arrays import BoolArray, FloatArray, IntArray, finite, read_only
from valvelab.errors import CannotEvaluate, Reason
from valvelab.phrase import Phrase

SMALLEST_SET, LARGEST_SET = 2, 32
SLACK = 1.0 + 1e-12
"""A range counts as within its limit up to this times the limit: what rounding may add."""
AT_ONCE = 2048
"""Rows of a large table that are worked out together."""

Answer = TypeVar("Answer")


@dataclass(frozen=True, slots=True)
class Position:
    """A kind of place in the engine that wants its own set, such as intake: how many springs, and between which values.

    `low` and `high` bound each characteristic of the tray, (d,); infinite where nothing is asked.
    """

    name: str
    size: int
    low: FloatArray
    high: FloatArray


@dataclass(frozen=True, slots=True)
class Tray:
    """Springs to be matched: (n, d) values, the (d,) largest range allowed inside a set, the set size.

    `together`: groups of springs that go into the same set or none; `apart`: pairs that never share one.
    With `positions`, one complete engine takes one set for each of them; else every set has `size` springs.
    """

    names: tuple[str, ...]
    values: FloatArray
    limits: FloatArray
    size: int
    together: tuple[tuple[int, ...], ...] = ()
    apart: tuple[tuple[int, int], ...] = ()
    positions: tuple[Position, ...] = ()

    def asked(self) -> tuple[Position, ...]:
        """The positions, or the one nameless position that a plain tray stands for."""
        if self.positions:
            return self.positions
        d = self.values.shape[1]
        return (Position("", self.size, np.full(d, -inf), np.full(d, inf)),)


def tray(
    names: tuple[str, ...],
    values: FloatArray,
    limits: FloatArray,
    size: int,
    together: tuple[tuple[int, ...], ...] = (),
    apart: tuple[tuple[int, int], ...] = (),
    positions: tuple[Position, ...] = (),
) -> Tray:
    """A checked tray of values (n, d) and limits (d,), each characteristic in its own unit.

    Raises CannotEvaluate on sizes outside 2 to 32, limits at or below zero and values that are not finite.
    """
    table = finite(values, "spring values", 2)
    bounds = finite(limits, "limits", 1)
    if table.shape != (len(names), bounds.size):
        raise CannotEvaluate(
            Reason.BAD_VALUES, Phrase("values: found shape {shape}, expected a row for each spring", shape=table.shape)
        )
    if (bounds <= 0.0).any():
        raise CannotEvaluate(
            Reason.OUT_OF_RANGE, Phrase("limit: found {min}, expected above 0", min=f"{bounds.min():g}")
        )
    for wanted in [size, *(position.size for position in positions)]:
        if not SMALLEST_SET <= wanted <= LARGEST_SET:
            raise CannotEvaluate(
                Reason.OUT_OF_RANGE,
                Phrase(
                    "set size: found {wanted}, expected {least} to {most}",
                    wanted=wanted,
                    least=SMALLEST_SET,
                    most=LARGEST_SET,
                ),
            )
    return Tray(names, read_only(table.copy()), read_only(bounds.copy()), size, together, apart, positions)


@dataclass(frozen=True, slots=True)
class Units:
    """What is searched: springs kept together melted into one unit each, and what the tray asks of its sets.

    Members, weight, and the (u, d) low and high values; `apart`: (u, u) matrix of units that never share a set. A unit
    that breaks one of the (d,) limits by itself is left out.
    """

    members: tuple[tuple[int, ...], ...]
    weight: IntArray
    low: FloatArray
    high: FloatArray
    apart: BoolArray
    limits: FloatArray
    positions: tuple[Position, ...]

    @property
    def count(self) -> int:
        """Number of units u."""
        return len(self.members)

    @property
    def plain(self) -> bool:
        """Whether every unit is a single spring that may join any other."""
        return bool((self.weight == 1).all() and not self.apart.any())

    def constrained(self) -> BoolArray:
        """Units (u,), no unit, that are heavier than one spring or have to be kept apart from another."""
        return np.asarray((self.weight > 1) | self.apart.any(axis=1), dtype=np.bool_)

    def suiting(self, position: Position) -> BoolArray:
        """Units (u,), no unit, whose values lie between those that a position asks for."""
        return np.asarray((self.low >= position.low).all(axis=1) & (self.high <= position.high).all(axis=1))

    def mask(self, chosen: tuple[int, ...]) -> BoolArray:
        """The units of one set as a row of truth values (u,)."""
        mask = np.zeros(self.count, dtype=np.bool_)
        mask[list(chosen)] = True
        return mask

    def extents(self, masks: BoolArray) -> tuple[FloatArray, FloatArray]:
        """Least and greatest value (w, d), in their own unit, of the units in each row of masks (w, u)."""
        low, high = np.empty((len(masks), self.limits.size)), np.empty((len(masks), self.limits.size))
        for start in range(0, len(masks), AT_ONCE):
            rows = slice(start, start + AT_ONCE)
            for c in range(self.limits.size):
                low[rows, c] = np.where(masks[rows], self.low[:, c], inf).min(axis=1)
                high[rows, c] = np.where(masks[rows], self.high[:, c], -inf).max(axis=1)
        return low, high

    def spread(self, chosen: tuple[int, ...]) -> float:
        """Σ over characteristics of range / limit of one set, a plain number."""
        index = list(chosen)
        return float(((self.high[index].max(axis=0) - self.low[index].min(axis=0)) / self.limits).sum())

    def total(self, grouping: Grouping) -> float:
        """Σ over sets and characteristics of range / limit, a plain number."""
        return sum(self.spread(chosen) for _, chosen in grouping.sets)


def units_of(problem: Tray) -> Units:
    """The units of a tray; groups that share a spring become one.

    Raises CannotEvaluate where springs are to be both together and apart.
    """
    parent = list(range(len(problem.names)))

    def root(i: int) -> int:
        while parent[i] != i:
            parent[i] = parent[parent[i]]
            i = parent[i]
        return i

    for group in problem.together:
        for i in group[1:]:
            parent[max(root(group[0]), root(i))] = min(root(group[0]), root(i))
    groups: dict[int, list[int]] = {}
    for i in range(len(problem.names)):
        groups.setdefault(root(i), []).append(i)
    for i, j in problem.apart:
        if root(i) == root(j):
            raise CannotEvaluate(
                Reason.NOT_FEASIBLE,
                Phrase(
                    "{names} and {other_names} are to be both together and apart",
                    names=problem.names[i],
                    other_names=problem.names[j],
                ),
            )
    bounds = problem.limits * SLACK
    kept = [key for key, rows in groups.items() if (np.ptp(problem.values[rows], axis=0) <= bounds).all()]
    members = tuple(tuple(groups[key]) for key in kept)
    place = {key: number for number, key in enumerate(kept)}
    apart = np.zeros((len(kept), len(kept)), dtype=np.bool_)
    for i, j in problem.apart:
        if root(i) in place and root(j) in place:
            a, b = place[root(i)], place[root(j)]
            apart[a, b] = apart[b, a] = True
    return Units(
        members,
        np.array([len(group) for group in members], dtype=np.int64),
        np.array([problem.values[list(group)].min(axis=0) for group in members]).reshape(-1, problem.limits.size),
        np.array([problem.values[list(group)].max(axis=0) for group in members]).reshape(-1, problem.limits.size),
        apart,
        problem.limits,
        problem.asked(),
    )


@dataclass(frozen=True, slots=True)
class Progress:
    """How far matching has come: complete sets found and the most there can be; total spread found and its bound."""

    stage: str
    sets: int
    bound_sets: int | None
    total_spread: float | None = None
    bound_total_spread: float | None = None


class Aside(Protocol):
    """How work is run that can't be interrupted: its answer, or None when the watch ends before it does."""

    def __call__(self, work: Callable[[], Answer], watch: Watch, /) -> Answer | None:
        """Run it."""


@dataclass(frozen=True, slots=True)
class Watch:
    """How a long search is watched: seconds left, whether it has been cancelled, and where progress goes.

    `aside` runs the solver's calls; without one they are waited for.
    """

    seconds_left: Callable[[], float] = field(default=lambda: inf)
    cancelled: Callable[[], bool] = field(default=lambda: False)
    report: Callable[[Progress], None] = field(default=lambda _progress: None)
    aside: Aside = field(default=lambda work, _watch: work())

    def share(self, part: float) -> Watch:
        """A watch that ends after a part, a share, of the time left now."""
        end = (1.0 - part) * self.seconds_left()
        return self if end == inf else replace(self, seconds_left=lambda: self.seconds_left() - end)

    def over(self) -> bool:
        """Whether to stop and keep the best found."""
        return self.cancelled() or self.seconds_left() <= 0.0


@dataclass(frozen=True, slots=True)
class Grouping:
    """Units put into sets: for each set its position's index and its units."""

    sets: tuple[tuple[int, tuple[int, ...]], ...]


@dataclass(frozen=True, slots=True)
class MostSets:
    """Answer of the first stage: the grouping found, how many engines it completes, the most there can be."""

    grouping: Grouping
    complete: int
    bound: int

    @property
    def proven(self) -> bool:
        """Whether no grouping has more."""
        return self.complete == self.bound
