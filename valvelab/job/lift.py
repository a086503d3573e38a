"""The lift table that a part names."""

from __future__ import annotations

from valvelab.files.lift_table import read_lift_table
from valvelab.records.measurement import LiftTable
from valvelab.records.parts.part import LiftPart
from valvelab.records.result import Source


def lift_table_of(part: LiftPart) -> tuple[LiftTable, tuple[Source, ...]]:
    """A part's lift table, corrected by its instrument's card where one is named, and that card's identity."""
    table = read_lift_table(part.file, part.columns)
    if part.instrument is None:
        return table, ()
    from valvelab.files.corrected import corrected_lift_table

    return corrected_lift_table(table, part.instrument)
