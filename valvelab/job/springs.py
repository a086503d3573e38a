"""The springs of a job, one by one: forces at heights, rate, solid height, coil-bind margin, stress and surge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from valvelab.files.spring_readings import read_spring_readings
from valvelab.inspection.springs.analysis import joined
from valvelab.inspection.springs.inspect import CAUTION, SpringsInspection, SpringsQuestion, inspect_springs
from valvelab.inspection.springs.usable import ByHand
from valvelab.job.typed import reasons
from valvelab.job.use import Around, Asked, Told, Use
from valvelab.records.parts.springs import SetsPart, ShimsPart, SpringsPart, SpringTablePart
from valvelab.records.result import Source
from valvelab.records.spring_readings import SpringTable
from valvelab.records.springs_result import SpringsResult
from valvelab.records.wire_materials import read_wire_materials
from valvelab.tables.springs import due_tables, spring_tables
from valvelab.units import System, display_unit, show

if TYPE_CHECKING:  # what draws paper is loaded where paper is asked for
    from valvelab.report.assembly import Part

Springs = Asked[SpringsQuestion, SpringsInspection]


def question_of(
    part: SpringTablePart, around: Around, stress_factor: Literal["EN 13906-1", "Wahl"] = "EN 13906-1"
) -> SpringsQuestion:
    """Readings and spec of a part as a question; sets and shim plans ask it of their springs as well."""
    spec, sources = around.specs.of(part.spec)
    readings, cards = _readings(part.file, part)
    sources = (*sources, *cards)
    return SpringsQuestion(readings, spec, str(part.spec or ""), read_wire_materials(), stress_factor, sources)


def _readings(file: Path, part: SpringTablePart) -> tuple[SpringTable, tuple[Source, ...]]:
    """The readings in a file, corrected by the part's cards, and the cards' identities."""
    table = read_spring_readings(file, part.columns)
    if not part.instrument:
        return table, ()
    from valvelab.files.corrected import corrected_springs

    return corrected_springs(table, part.instrument)


def by_hand(part: SetsPart | ShimsPart) -> ByHand:
    """Which springs a part takes in or leaves out."""
    return ByHand(reasons(part.take, "--take"), reasons(part.leave_out, "--leave-out"), part.with_rejected)


def inspect(part: SpringsPart, around: Around) -> Springs:
    """The inspection that a part asks for."""
    question = question_of(part, around, part.stress_factor)
    if part.later:
        later = [_readings(file, part)[0] for file in part.later]
        sources = (*(table.source for table in later), *question.other_sources)
        question = replace(question, table=joined([question.table, *later]), other_sources=sources)
    return Asked(question, inspect_springs(question))


def tables(asked: Springs, system: System) -> Sequence[Told]:
    """The heights that were asked about, and the springs."""
    result = asked.inspection.result
    return [_heights(result, system), spring_tables(result.springs, system), due_tables(result.history, system)]


def _heights(result: SpringsResult, system: System) -> str:
    unit = display_unit("mm", system).label
    decimals = 3 if system == "inch" else 2
    if result.installed_height_mm is None:
        return ""
    line = f"installed height {show(result.installed_height_mm, 'mm', system, decimals)} {unit}"
    if result.valve_lift_mm is not None:
        opened = result.installed_height_mm - result.valve_lift_mm
        line += f", valve lift {show(result.valve_lift_mm, 'mm', system, decimals)} {unit}"
        line += f", open height {show(opened, 'mm', system, decimals)} {unit}"
    return line


def paper(asked: Springs, system: System) -> Part:
    """The springs' part of a certificate."""
    from valvelab.report.springs_certificate import springs_part

    return springs_part(asked.inspection, asked.question.table, system)


USE = Use(SpringsPart, SpringsResult, inspect, tables, paper, lambda _asked, _system: (CAUTION,))
