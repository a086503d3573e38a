"""The answer of `valvelab sets`."""

from __future__ import annotations

from typing import ClassVar, Literal

from valvelab.records.result import Record, Result
from valvelab.records.springs_result import ExcludedSpring, TakenSpring


class SpringSet(Record):
    """One matched set and the range of each characteristic in it; keys carry their unit."""

    springs: tuple[str, ...]
    position: str | None
    spread: dict[str, float]
    mean: dict[str, float]


class SetsResult(Result):
    """The document of `valvelab sets`; `proven_optimal` speaks of both the number of sets and their total spread."""

    ITEMS: ClassVar[tuple[str, ...]] = ("sets",)
    command: Literal["sets"] = "sets"
    size: int
    within: dict[str, float]
    sets: tuple[SpringSet, ...]
    left_over: tuple[str, ...]
    excluded: tuple[ExcludedSpring, ...] = ()
    taken_in: tuple[TakenSpring, ...] = ()
    total_spread: float
    proven_optimal: bool
    bound_sets: int
    number_proven: bool
    spread_proven: bool
    bound_total_spread: float
    values: dict[str, dict[str, float | None]]
