"""What a plan asks for: parts that come out or go in, where they come from, and what has to be bought."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from valvelab.frozen import frozen
from valvelab.records.shims_result import PartMove, Purchase
from valvelab.records.spring_readings import HeightsTable, PartKind, ValvePosition
from valvelab.springs.shims import Stack

Part = tuple[PartKind, float]
"""A kind of part and its size in mm, rounded to what any gauge tells apart."""


@frozen
class Setting:
    """What goes to one position: its spring, by name, and what goes with it."""

    position: str
    spring: str
    stack: Stack


def parts_of(stack: Stack) -> list[Part]:
    """Every part of a stack."""
    parts: list[Part] = [("shim", round(size, 6)) for size in stack.shims_mm]
    if stack.packer_mm is not None:
        parts.append(("packer", round(stack.packer_mm, 6)))
    return [*parts, ("keeper", round(stack.keeper_mm, 6)), ("retainer", round(stack.retainer_mm, 6))]


@frozen
class Work:
    """The parts at hand: counted: sizes that there are so many of, on the shelf and in the head together."""

    heights: HeightsTable
    counted: dict[Part, int]

    @classmethod
    def of(cls, heights: HeightsTable) -> Work:
        """The parts that the heights speak of."""
        head = Counter(part for position in heights.positions for part in parts_of(position.fitted))
        counted = {}
        for kind, sizes in heights.stock.items():
            for one in sizes:
                if one.count is not None:
                    part = (kind, round(one.size_mm, 6))
                    counted[part] = one.count + head[part]
        return cls(heights, counted)

    @property
    def matters(self) -> bool:
        """Whether the heights say what is fitted now, or how many parts there are: else no plan is more work."""
        return bool(self.heights.states or self.counted)

    def uses(self, stack: Stack) -> tuple[int, ...]:
        """How many a stack takes of each counted size."""
        taken = Counter(parts_of(stack))
        return tuple(taken[part] for part in self.counted)

    def changes(self, position: ValvePosition, stack: Stack) -> int:
        """Parts that come out or go in, the spring left aside."""
        now, then = Counter(parts_of(position.fitted)), Counter(parts_of(stack))
        return ((now - then) + (then - now)).total()

    def new_spring(self, position: ValvePosition, spring: str) -> int:
        """The same for the spring: 0 where it stays, or where nobody says which one stands there."""
        if "spring" not in self.heights.states or position.spring == spring:
            return 0
        return 1 if position.spring is None else 2

    def purchases(self, plan: Sequence[Setting]) -> tuple[Purchase, ...]:
        """What has to be bought for a plan: what it takes of counted sizes beyond those there are."""
        taken = Counter(part for setting in plan for part in parts_of(setting.stack))
        return tuple(
            Purchase(part=kind, size_mm=size, count=taken[kind, size] - there)
            for (kind, size), there in self.counted.items()
            if taken[kind, size] > there
        )

    def moves(self, plan: Sequence[Setting]) -> tuple[PartMove, ...] | None:
        """Every part that changes its place; None where the heights don't say what is fitted now."""
        return tuple(self._moves(plan)) if self.heights.states else None

    def _moves(self, plan: Sequence[Setting]) -> Iterator[PartMove]:
        pairs = list(zip(self.heights.positions, plan, strict=True))
        if "spring" in self.heights.states:
            stood = {now.spring: now.position for now, _ in pairs if now.spring is not None}
            goes = {then.spring: then.position for _, then in pairs}
            for spring in (*goes, *(name for name in stood if name not in goes)):
                out_of, into = stood.get(spring), goes.get(spring)
                if out_of != into:
                    yield PartMove(part="spring", spring=spring, out_of=out_of, into=into)
        out: dict[Part, list[str]] = {}
        wanted: dict[Part, list[str]] = {}
        for now, then in pairs:
            fitted, fits = Counter(parts_of(now.fitted)), Counter(parts_of(then.stack))
            for part in (fitted - fits).elements():
                out.setdefault(part, []).append(now.position)
            for part in (fits - fitted).elements():
                wanted.setdefault(part, []).append(now.position)
        for kind, size in sorted(out.keys() | wanted.keys(), key=lambda part: (_ORDER.index(part[0]), part[1])):
            loose, asked = out.get((kind, size), []), wanted.get((kind, size), [])
            for number in range(max(len(loose), len(asked))):
                out_of = loose[number] if number < len(loose) else None
                into = asked[number] if number < len(asked) else None
                yield PartMove(part=kind, size_mm=size, out_of=out_of, into=into)


_ORDER: tuple[PartKind, ...] = ("shim", "packer", "keeper", "retainer")
