"""The answer of `valvelab shims`."""

from __future__ import annotations

from typing import ClassVar, Literal

from valvelab.records.result import Record, Result
from valvelab.records.springs_result import ExcludedSpring


class ShimPosition(Record):
    """What goes where: the spring, its shims (thickest first) and what that gives."""

    position: str
    spring: str
    shims_mm: tuple[float, ...]
    installed_height_mm: float
    seat_force_n: float
    coil_bind_margin_mm: float | None


class ShimsResult(Result):
    """The document of `valvelab shims`."""

    ITEMS: ClassVar[tuple[str, ...]] = ("positions",)
    command: Literal["shims"] = "shims"
    positions: tuple[ShimPosition, ...]
    spread_seat_force_n: float
    target_seat_force_n: float | None
    left_over: tuple[str, ...]
    excluded: tuple[ExcludedSpring, ...] = ()
