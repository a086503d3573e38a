"""Columns of the spring bay's tables."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from valvelab.records.result import Decision
from valvelab.tables.springs import spring_column
from valvelab.tables.verdicts import WORDS
from valvelab.units import System
from valvelab.window.tables import TableColumn, of

_SHOWN = (
    "seat_force", "open_force", "rate", "coil_bind_margin", "solid_height", "free_length", "hysteresis", "set_loss",
)  # fmt: skip


def spring_columns(
    springs: Sequence[Any], units: System, set_of: Mapping[str, int], worst: Mapping[str, Decision]
) -> list[TableColumn]:
    """One row a spring: name, stage, set, and what it is matched and judged by."""

    def told(row: Any) -> str:
        return WORDS[worst[row.spring]] if row.spring in worst else "not judged"

    def icon(row: Any) -> tuple[str, str] | None:
        return (worst[row.spring],) * 2 if row.spring in worst else None

    return [
        TableColumn("spring", lambda row: row.spring if row.stage is None else f"{row.spring} {row.stage}",
                    "Name of the spring, and its stage where several were read", number=False, icon=icon,
                    cell_tip=told),
        TableColumn("set", lambda row: str(set_of.get(row.spring, "–")), "The set it is in",
                    value=lambda row: set_of.get(row.spring)),
        *(of(spring_column(name), units, springs) for name in _SHOWN),
    ]  # fmt: skip
