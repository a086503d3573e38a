"""The degreeing bay: a worksheet that starts empty or from a file, worked out at every entry."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

from valvelab.errors import BadFile, BadSpec
from valvelab.files.contents import read_contents
from valvelab.files.phasing_sheet import parse_sheet_toml, sheet_toml
from valvelab.inspection.engine.phasing import PhasingInspection, inspect_phasing
from valvelab.language import aloud, say
from valvelab.phasing.degreeing import Sheet
from valvelab.records.job import Shown
from valvelab.records.parts.part import JobPart
from valvelab.records.result import Result, Source
from valvelab.records.spec import Spec
from valvelab.tables.headline import adjustment
from valvelab.workbench import edits
from valvelab.workbench.background import Question
from valvelab.workbench.bay import Work
from valvelab.workbench.document import BenchFile, Document, Kind
from valvelab.workbench.held_spec import HeldSpec, held
from valvelab.workbench.papers import part_of
from valvelab.workbench.sheets import Sheets, SheetState, kept_sheets
from valvelab.workbench.spec_choice import files_of, noted, spec_for
from valvelab.workbench.worksheet import Cell, blank_sheet, reading_cells, value_of
from valvelab.workbench.worksheet_guide import Target, doubts, target
from valvelab.workbench.worksheet_words import spoken

NAME = "phasing"
JUDGES = ("phasing", "event", "camshaft lobe_separation", "lobe duration")
KIND: Kind[tuple[Sheet, Source]] = Kind("phasing sheet")


@dataclass(frozen=True, slots=True)
class PhasingState(SheetState):
    """What is looked at, and what was typed. read_twice: doubtful readings that came the same again."""

    bay = NAME
    drawing: str = "wheel"
    page: str = "result"
    sheets: Mapping[str, Sheet] = kept_sheets(sheet_toml, parse_sheet_toml)
    read_twice: frozenset[tuple[Cell, float]] = frozenset()


SHEETS = Sheets(NAME, KIND, PhasingState, blank_sheet, sheet_toml, "wheel.toml")
file_in_front, sheet_in_front, with_sheet = SHEETS.file_in_front, SHEETS.in_front, SHEETS.with_sheet
with_new_sheet, saved_as = SHEETS.with_new, SHEETS.saved_as


@dataclass(frozen=True, slots=True, eq=False)
class Worksheet:
    """What the bay shows: the inspection, the doubtful cells, the cell to fill next, and whether it is saved."""

    inspection: PhasingInspection
    doubts: dict[Cell, str]
    target: Target | None
    saved: bool


def step_told(shown: Worksheet) -> str:
    """What to do next, in a few words."""
    if shown.inspection.next_reading.what == "done":
        return say("Everything is read")
    if shown.target is None:
        return say("A reading does not fit")
    words = spoken(shown.target.cell, shown.target.sheet)
    return (
        say("Take again: {words}").format(words=words)
        if shown.target.again
        else say("Next: {words}").format(words=words)
    )


def progress(shown: Worksheet) -> str:
    """How far the sheet is read and what comes next; empty once nothing is lacking and nothing is to be taken again.

    A reading that is to be taken again does not count. The touches are read twice for certainty's sake alone.
    """
    again = shown.target is not None and shown.target.again
    if shown.inspection.next_reading.what in {"done", "repeat"} and not again:
        return ""
    sheet = shown.inspection.sheet
    cells = reading_cells(sheet)
    read = sum(value_of(sheet, cell) is not None for cell in cells) - again
    told = step_told(shown)
    words = say("{read} of {count} readings; {lower}{what}").format(
        read=read, count=len(cells), lower=told[:1].lower(), what=told[1:]
    )
    with aloud():
        so_far = "" if again else adjustment(shown.inspection.result)
    return say("{words}. So far: {so_far}").format(words=words, so_far=so_far) if so_far else words


def confirmed(document: Document, cell: Cell, value: float) -> Document:
    """The document that knows a doubtful reading was taken again and came the same."""
    twice = document.state(PhasingState).read_twice | {(cell, value)}
    return edits.set_fields(document, PhasingState, read_twice=twice)


def sheet_text(document: Document) -> str:
    """The sheet in front as TOML."""
    return sheet_toml(sheet_in_front(document))


def spec_in_use(document: Document) -> tuple[BenchFile, Spec] | None:
    """The spec that verdicts are reached by."""
    has_card = spec_for(document, {"phasing"}, also=lambda spec: spec.card is not None)
    return has_card or spec_for(document, {"camshaft"}) or spec_for(document, {"event"})


def uses(document: Document) -> tuple[BenchFile, ...]:
    """The sheet and the spec."""
    return files_of(file_in_front(document), spec_in_use(document))


def question(_document: Document) -> Question[Worksheet] | None:
    """Nothing is left to the background: a sheet is worked out at once."""
    return None


def at_once(document: Document, _value: Worksheet | None) -> Worksheet:
    """The worksheet worked out."""
    read_twice, found = document.state(PhasingState).read_twice, spec_in_use(document)
    return _worked(sheet_in_front(document), SHEETS.source(document), read_twice, held(document, found))


@lru_cache(maxsize=16)
def _worked(
    sheet: Sheet, source: Source | None, twice: frozenset[tuple[Cell, float]], spec_held: HeldSpec
) -> Worksheet:
    sources = () if source is None else (source,)
    if spec_held.found is None:
        inspection = inspect_phasing(sheet, None, sources)
    else:
        file, spec = spec_held.found
        try:
            inspection = inspect_phasing(sheet, spec, sources, file.path)
            inspection = _with_source(inspection, read_contents(file.given).source)
        except BadSpec as refusal:
            plain = inspect_phasing(sheet, None, sources)
            inspection = replace(plain, result=noted(plain.result, refusal))
        except OSError:  # the file is gone since it was read; its limits still stand
            inspection = inspect_phasing(sheet, spec, sources, file.path)
    doubtful = doubts(sheet, inspection.degreeing)
    open_ones = {
        cell: text
        for cell, text in doubtful.items()
        if not (isinstance(value := value_of(sheet, cell), float) and (cell, value) in twice)
    }
    step = inspection.next_reading
    settled = step.what == "repeat" and doubtful and not open_ones
    wanted = None if settled else target(sheet, step, open_ones)
    return Worksheet(inspection, doubtful, wanted, source is not None)


def _with_source(inspection: PhasingInspection, source: Source) -> PhasingInspection:
    sources = (*inspection.result.source, source)
    return replace(inspection, result=inspection.result.model_copy(update={"source": sources}))


def result(worksheet: Worksheet) -> Result:
    """The result document of the worksheet."""
    return worksheet.inspection.result


def parts(document: Document) -> tuple[JobPart, ...]:
    """The sheet's file as it is; a sheet that stands in no file as it is has no part yet."""
    file = file_in_front(document)
    if file is None or SHEETS.typed(document) is not None:
        return ()
    return (part_of("phasing", file, spec_in_use(document)),)


def certificate(document: Document, worksheet: Worksheet) -> Shown:
    """The degreeing's part of a certificate."""
    if not (found := parts(document)):
        raise BadFile("the worksheet", "", "no readings", "a dead centre and a lobe read on the wheel")
    return Shown(worksheet.inspection.result, *found)


WORK = Work(
    PhasingState,
    question,
    result,
    parts,
    certificate,
    uses,
    at_once,
    SHEETS.written,
    spec=spec_in_use,
    judges=JUDGES,
    progress=progress,
)
