"""The degreeing of a job: a degree-wheel sheet worked out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from valvelab.errors import BadFile
from valvelab.files.phasing_sheet import read_phasing_sheet
from valvelab.inspection.engine.phasing import CAUTION, PhasingInspection, inspect_phasing
from valvelab.job.use import Around, Told, Use
from valvelab.records.parts.phasing import PhasingPart
from valvelab.records.phasing_result import PhasingResult
from valvelab.records.said import plainly_in
from valvelab.tables.engine import engine_table, phasing_tables
from valvelab.units import System

if TYPE_CHECKING:  # what draws paper is loaded where paper is asked for
    from valvelab.report.assembly import Part


def inspect(part: PhasingPart, around: Around) -> PhasingInspection:
    """The inspection that a part asks for."""
    sheet, source = read_phasing_sheet(part.file)
    if not (sheet.stop_deg or sheet.events or sheet.pairs):
        raise BadFile(str(part.file), "", "no readings", "[stop] readings, [[near_peak]] or [[reading]]")
    spec, sources = around.specs.of(part.spec)
    return inspect_phasing(sheet, spec, (source, *sources), str(part.spec or ""))


def tables(inspection: PhasingInspection, system: System) -> Sequence[Told]:
    """The engine, centrelines and events."""
    return [engine_table(inspection.result), *phasing_tables(inspection.result, system)]


def closing(inspection: PhasingInspection, system: System) -> Sequence[str]:
    """What to read next, and the caution."""
    step = inspection.next_reading
    what, why = (plainly_in(text, system) for text in (step.instruction, step.why))
    return f"Next: {what}\n  Why: {why}.", CAUTION


def paper(inspection: PhasingInspection, system: System) -> Part:
    """The phasing's part of a certificate."""
    from valvelab.report.engine_certificate import phasing_part

    return phasing_part(inspection, system)


USE = Use(PhasingPart, PhasingResult, inspect, tables, paper, closing)
