"""The lash bay: clearances and shims of a head, the shim that each valve gets, and what a person fixed of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from valvelab.errors import CannotEvaluate
from valvelab.inspection.engine.lash import LashInspection, inspect_lash
from valvelab.language import say
from valvelab.quoting import written
from valvelab.records.job import Shown
from valvelab.records.lash import LashTable
from valvelab.records.parts.part import JobPart
from valvelab.records.result import Result
from valvelab.records.spec import Spec
from valvelab.workbench.background import Partly, Question
from valvelab.workbench.bay import Work, front_item
from valvelab.workbench.document import BenchFile, Document, Kind
from valvelab.workbench.papers import part_of
from valvelab.workbench.spec_choice import files_of, stamps
from valvelab.workbench.state import BayState, keyed, with_item

NAME = "lash"
SHEET: Kind[LashTable] = Kind("lash sheet")
Fixed = tuple[tuple[str, float], ...]
"""Valves with the shim in mm that a person fixed there."""


@dataclass(frozen=True, slots=True)
class LashState(BayState):
    """The valve in front, and the shims that were fixed by hand, by the path of the sheet."""

    bay = NAME
    valve: str = ""
    fixed: Mapping[str, Fixed] = keyed()

    @property
    def unsaved(self) -> bool:
        """Whether a shim was fixed that no file holds."""
        return bool(self.fixed)


def sheets(document: Document) -> tuple[tuple[BenchFile, LashTable], ...]:
    """Every sheet on the bench, the one in use first."""
    front = document.in_use(SHEET)
    return tuple(sorted(document.values_of(SHEET), key=lambda read: read[0] != front))


def spec_in_use(_document: Document) -> tuple[BenchFile, Spec] | None:
    """None: the band stands in the sheet."""
    return None


def fixed_in(document: Document, file: BenchFile, table: LashTable) -> Fixed:
    """What was fixed in a sheet, of valves that it still has."""
    valves = {one.valve for one in table.valves}
    return tuple(pair for pair in document.state(LashState).fixed.get(file.path, ()) if pair[0] in valves)


def fixed_in_use(document: Document) -> Fixed:
    """What was fixed in the sheet in use."""
    read = document.value_in_use(SHEET)
    return () if read is None else fixed_in(document, *read)


def with_fixed(document: Document, valve: str, size_mm: float | None) -> Mapping[str, Fixed]:
    """What is fixed in every sheet, with this shim at a valve of the one in use; None leaves the valve to the plan."""
    kept = document.state(LashState).fixed
    file = document.in_use(SHEET)
    if file is None:
        return kept
    others = tuple(pair for pair in kept.get(file.path, ()) if pair[0] != valve)
    return with_item(kept, file.path, (*others, *(() if size_mm is None else ((valve, size_mm),))) or None)


def question(document: Document) -> Question[LashInspection] | None:
    """Choose the shims of the sheet in use, around those that were fixed."""
    read = document.value_in_use(SHEET)
    if read is None:
        return None
    file, table = read
    fixed = fixed_in(document, file, table)
    return Question(
        (*stamps(document, file), fixed),
        say("Choosing shims for {name}").format(name=file.name),
        lambda: _inspect(table, fixed),
    )


def _inspect(table: LashTable, fixed: Fixed) -> LashInspection | Partly[LashInspection]:
    """The inspection; where what was fixed can't be had, the one without, and why."""
    try:
        return inspect_lash(table, dict(fixed))
    except CannotEvaluate as refusal:
        if not fixed:
            raise
        return Partly(inspect_lash(table), say("{refusal}; shown without what was fixed").format(refusal=refusal))


def result(inspection: LashInspection) -> Result:
    """The result document of a plan."""
    return inspection.result


def chosen_valve(document: Document, inspection: LashInspection) -> str:
    """The valve in front: the one chosen while the sheet has it, else the first."""
    names = [row.valve for row in inspection.result.valves]
    return front_item(inspection.result, names, document.state(LashState).valve)


def parts(document: Document) -> tuple[JobPart, ...]:
    """Every sheet, the one in use first, with what was fixed there."""
    return tuple(_part(file, fixed_in(document, file, table)) for file, table in sheets(document))


def _part(file: BenchFile, fixed: Fixed) -> JobPart:
    return part_of(NAME, file, None, fix=tuple(f"{written(valve)}={size!r} mm" for valve, size in fixed))


def certificate(document: Document, inspection: LashInspection) -> Shown:
    """The plan's part of a certificate."""
    return Shown(inspection.result, *parts(document)[:1])


def uses(document: Document) -> tuple[BenchFile, ...]:
    """The sheet of the question."""
    return files_of(document.in_use(SHEET))


WORK = Work(LashState, question, result, parts, certificate, uses, spec=spec_in_use, judges=())
