"""The degreeing bay: a worksheet that starts empty or from a file, worked out at every entry."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

from valvelab.errors import BadFile, BadSpec
from valvelab.files.contents import read_contents
from valvelab.files.phasing_sheet import parse_sheet_toml, sheet_toml
from valvelab.inspection.engine.phasing import PhasingInspection, inspect_phasing
from valvelab.phasing.degreeing import Sheet
from valvelab.records.job import JobPart, Shown
from valvelab.records.result import Result, Source
from valvelab.records.spec import Spec
from valvelab.workbench import edits
from valvelab.workbench.background import Question
from valvelab.workbench.bay import Work
from valvelab.workbench.contents import with_text
from valvelab.workbench.document import TYPED, BenchFile, Document, Kind
from valvelab.workbench.held_spec import HeldSpec, held
from valvelab.workbench.papers import part_of
from valvelab.workbench.spec_choice import files_of, noted, spec_for
from valvelab.workbench.state import BayState, Kept, keyed, with_item
from valvelab.workbench.worksheet import Cell, blank_sheet, value_of
from valvelab.workbench.worksheet_guide import Target, doubts, target

NAME = "phasing"
JUDGES = ("phasing", "event", "camshaft lobe_separation", "lobe duration")
KIND: Kind[tuple[Sheet, Source]] = Kind("phasing sheet")
_NO_FILE = "no file"


def _to_toml(sheets: Mapping[str, Sheet]) -> dict[str, str]:
    return {path: sheet_toml(sheet) for path, sheet in sheets.items()}


def _from_toml(texts: Mapping[str, str]) -> dict[str, Sheet]:
    return {path: parse_sheet_toml(text) for path, text in texts.items()}


@dataclass(frozen=True, slots=True)
class PhasingState(BayState):
    """What is looked at, and what was typed.

    sheets: those that stand in no file as they are, by the path of the file they were read from, "" for a new one.
    beside: the file that a new sheet lies in front of. read_twice: doubtful readings that came the same again.
    """

    bay = NAME
    drawing: str = "wheel"
    page: str = "result"
    sheets: Mapping[str, Sheet] = keyed(Kept(_to_toml, _from_toml))
    beside: str = ""
    read_twice: frozenset[tuple[Cell, float]] = frozenset()

    @property
    def unsaved(self) -> bool:
        """Whether a degree-wheel sheet was typed that no file holds."""
        return bool(self.sheets)


@dataclass(frozen=True, slots=True, eq=False)
class Worksheet:
    """What the bay shows: the inspection, the doubtful cells, the cell to fill next, and whether it is saved."""

    inspection: PhasingInspection
    doubts: dict[Cell, str]
    target: Target | None
    saved: bool


def file_in_front(document: Document) -> BenchFile | None:
    """The sheet's file; None while a new sheet is in front."""
    file = document.in_use(KIND)
    return None if file is None or document.state(PhasingState).beside == file.path else file


def _key(file: BenchFile | None) -> str:
    return file.path if file else ""


def _as_read(document: Document, file: BenchFile | None) -> tuple[Sheet, Source] | None:
    return None if file is None else document.value_of(file, KIND)


def sheet_in_front(document: Document) -> Sheet:
    """The sheet as it stands: what was typed, else the file's, else a blank one."""
    file = file_in_front(document)
    typed, read = document.state(PhasingState).sheets.get(_key(file)), _as_read(document, file)
    return typed or (blank_sheet() if read is None else read[0])


def with_sheet(document: Document, sheet: Sheet) -> Document:
    """The document with this sheet in front; one that reads as its file does is not kept beside it."""
    file = file_in_front(document)
    read = _as_read(document, file)
    return _with_sheets(document, {_key(file): None if read is not None and read[0] == sheet else sheet})


def _with_sheets(document: Document, changed: Mapping[str, Sheet | None], **fields: str) -> Document:
    sheets = document.state(PhasingState).sheets
    for key, sheet in changed.items():
        sheets = with_item(sheets, key, sheet)
    return edits.set_fields(document, PhasingState, sheets=sheets, **fields)


def with_new_sheet(document: Document) -> Document:
    """The document with a blank sheet in front, or the one begun before a file came to the front; files stay."""
    file = document.in_use(KIND)
    begun = document.state(PhasingState).sheets.get("") if file_in_front(document) is not None else None
    with_new = _with_sheets(document, {"": begun}, beside=file.path if file else _NO_FILE)
    return edits.go_to_bay(with_new, NAME)


def confirmed(document: Document, cell: Cell, value: float) -> Document:
    """The document that knows a doubtful reading was taken again and came the same."""
    twice = document.state(PhasingState).read_twice | {(cell, value)}
    return edits.set_fields(document, PhasingState, read_twice=twice)


def saved_as(document: Document, path: str) -> Document:
    """The document after the sheet in front was written to `path`: that file is on the bench, read anew, in front."""
    cleared = _with_sheets(document, {_key(file_in_front(document)): None, path: None}, beside="")
    with_file = edits.add_files(edits.forget_file(cleared, path), [path])
    return replace(with_file, current={**with_file.current, KIND: path})


def sheet_text(document: Document) -> str:
    """The sheet in front as TOML."""
    return sheet_toml(sheet_in_front(document))


def spec_in_use(document: Document) -> tuple[BenchFile, Spec] | None:
    """The spec that verdicts are reached by."""
    return spec_for(document, {"phasing"}) or spec_for(document, {"camshaft"}) or spec_for(document, {"event"})


def uses(document: Document) -> tuple[BenchFile, ...]:
    """The sheet and the spec."""
    return files_of(file_in_front(document), spec_in_use(document))


def question(_document: Document) -> Question[Worksheet] | None:
    """Nothing is left to the background: a sheet is worked out at once."""
    return None


def at_once(document: Document, _value: Worksheet | None) -> Worksheet:
    """The worksheet worked out."""
    file = file_in_front(document)
    read = _as_read(document, file)
    sheet = sheet_in_front(document)
    found = spec_in_use(document)
    saved = read is not None and read[0] == sheet
    source = read[1] if read is not None and saved else None
    return _worked(sheet, source, document.state(PhasingState).read_twice, held(document, found))


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
    if file is None or file.path in document.state(PhasingState).sheets:
        return ()
    return (part_of("phasing", file, spec_in_use(document)),)


def written(document: Document, _worksheet: Worksheet) -> Document:
    """The document whose sheet in front reads as it stands."""
    file = file_in_front(document)
    if _key(file) not in document.state(PhasingState).sheets:
        return document
    path = file.path if file else f"{TYPED}sheet/wheel.toml"
    cleared = _with_sheets(document, {_key(file): None}, beside="")
    return with_text(cleared, path, KIND, sheet_text(document))


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
    written,
    spec=spec_in_use,
    judges=JUDGES,
)
