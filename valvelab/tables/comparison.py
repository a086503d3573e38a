"""Tables of a comparison: a row a lobe or spring, later less earlier."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from valvelab.inspection.comparison.characteristics import CURVES, FORCES, LOBE, SPRING
from valvelab.records.comparison_result import CompareResult, LobeChange, SpringChange
from valvelab.tables.description import Column, Table, recorded_column, table_of
from valvelab.units import System

LOBES: tuple[Column[Any], ...] = (
    Column("lobe", words=lambda row: row.lobe, tip="Cylinder and kind"),
    *(recorded_column(row) for row in LOBE),
)
SPRINGS: tuple[Column[Any], ...] = (
    Column("spring", words=lambda row: row.spring),
    *(recorded_column(row) for row in SPRING),
)


def changes_of(result: CompareResult) -> tuple[Sequence[LobeChange | SpringChange], tuple[Column[Any], ...]]:
    """The rows of a comparison and their columns."""
    return (result.lobes, LOBES) if result.kind == "lobes" else (result.springs, SPRINGS)


def comparison_tables(result: CompareResult, system: System) -> list[Table]:
    """What changed of each lobe or spring."""
    rows, columns = changes_of(result)
    return [table_of(rows, columns, system, CURVES if result.kind == "lobes" else FORCES)]
