"""The answer of `valvelab sets`."""

from __future__ import annotations

from typing import ClassVar, Literal

from valvelab.records.result import Record, Result
from valvelab.records.springs_result import ExcludedSpring, TakenSpring


class SpringSet(Record):
    """One matched set and the range of each characteristic in it; keys carry their unit.

    `worst_share` is the greatest of range / limit, of the characteristic `worst_in`.
    """

    springs: tuple[str, ...]
    position: str | None
    spread: dict[str, float]
    mean: dict[str, float]
    worst_share: float
    worst_in: str


class SetsResult(Result):
    """The document of `valvelab sets`; `proven_optimal` speaks of both the number of sets and their total spread.

    Matched sets stand in order of position, then of mean seat force, or of the first characteristic of `within`.
    `ended_by_time`: the time limit ended the search.
    """

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
    ended_by_time: bool = False
    values: dict[str, dict[str, float | None]]
