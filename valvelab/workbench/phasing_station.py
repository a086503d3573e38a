"""The degreeing station: a worksheet that starts empty or from a file, worked out at every entry."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, cast

from valvelab.errors import BadFile, BadSpec
from valvelab.workbench import edits
from valvelab.workbench.certificates import CertificateRequest, request_for
from valvelab.workbench.document import BenchFile, Document
from valvelab.workbench.held_spec import HeldSpec, held
from valvelab.workbench.questions import Question
from valvelab.workbench.spec_choice import spec_for
from valvelab.workbench.stations import Intake, Station

if TYPE_CHECKING:
    from valvelab.inspection.engine.phasing import PhasingInspection
    from valvelab.phasing.degreeing import Sheet
    from valvelab.records.result import Result, Source
    from valvelab.records.spec import Spec
    from valvelab.workbench.worksheet import Cell
    from valvelab.workbench.worksheet_guide import Target

NAME = "phasing"
KIND = "phasing sheet"
_NEW = "new sheet beside"
_NO_FILE = "no file"


@dataclass(frozen=True, slots=True, eq=False)
class Worksheet:
    """What the station shows: the inspection, the doubtful cells, the cell to fill next, and whether it is saved."""

    inspection: PhasingInspection
    doubts: dict[Cell, str]
    target: Target | None
    saved: bool


def file_in_front(document: Document) -> BenchFile | None:
    """The sheet's file; None while a new sheet is in front."""
    file = document.in_use(KIND)
    beside = document.choice(NAME, _NEW, "")
    return None if file is None or beside == file.path else file


def _key(file: BenchFile | None) -> str:
    return f"sheet {file.path}" if file else "sheet"


def _as_read(document: Document, file: BenchFile | None) -> tuple[Sheet, Source] | None:
    content = None if file is None else document.content(file)
    return None if content is None else cast("tuple[Sheet, Source] | None", content.value)


def sheet_in_front(document: Document) -> Sheet:
    """The sheet as it stands: what was typed, else the file's, else a blank one."""
    from valvelab.workbench.worksheet import blank_sheet

    file = file_in_front(document)
    typed = document.choice(NAME, _key(file), "")
    if typed:
        return _parsed(typed)
    read = _as_read(document, file)
    return blank_sheet() if read is None else read[0]


@lru_cache(maxsize=64)
def _parsed(text: str) -> Sheet:
    from valvelab.files.phasing_sheet import parse_sheet_toml

    return parse_sheet_toml(text)


def with_sheet(document: Document, sheet: Sheet) -> Document:
    """The document with this sheet in front; one that reads as its file does is not kept beside it."""
    from valvelab.files.phasing_sheet import sheet_toml

    file = file_in_front(document)
    read = _as_read(document, file)
    text = "" if read is not None and read[0] == sheet else sheet_toml(sheet)
    return edits.choose(document, NAME, _key(file), text)


def with_new_sheet(document: Document) -> Document:
    """The document with a blank sheet in front, or the one begun before a file came to the front; files stay."""
    file = document.in_use(KIND)
    begun = document.choice(NAME, "sheet", "") if file_in_front(document) is not None else ""
    with_new = edits.choose(document, NAME, _NEW, file.path if file else _NO_FILE)
    return edits.go_to_station(edits.choose(with_new, NAME, "sheet", begun), NAME)


def _read_twice(cell: Cell, value: float) -> str:
    return f"read twice {cell.part} {cell.row} {cell.name} {value!r}"


def confirmed(document: Document, cell: Cell, value: float) -> Document:
    """The document that knows a doubtful reading was taken again and came the same."""
    return edits.choose(document, NAME, _read_twice(cell, value), True)


def saved_as(document: Document, path: str) -> Document:
    """The document after the sheet in front was written to `path`: that file is on the bench, read anew, in front."""
    file = file_in_front(document)
    cleared = edits.choose(edits.choose(document, NAME, _key(file), ""), NAME, _NEW, "")
    cleared = edits.choose(cleared, NAME, f"sheet {path}", "")
    with_file = edits.add_files(edits.forget_file(cleared, path), [path])
    return replace(with_file, current={**with_file.current, KIND: path})


def sheet_text(document: Document) -> str:
    """The sheet in front as TOML."""
    from valvelab.files.phasing_sheet import sheet_toml

    return sheet_toml(sheet_in_front(document))


def spec_in_use(document: Document) -> tuple[BenchFile, Spec] | None:
    """The spec that verdicts are reached by."""
    return spec_for(document, {"phasing"}) or spec_for(document, {"camshaft"}) or spec_for(document, {"event"})


def uses(document: Document) -> tuple[BenchFile, ...]:
    """The sheet and the spec."""
    found = spec_in_use(document)
    return tuple(file for file in (file_in_front(document), found[0] if found else None) if file is not None)


def question(_document: Document) -> Question | None:
    """Nothing is left to the background: a sheet is worked out at once."""
    return None


def at_once(document: Document, _value: object | None) -> Worksheet:
    """The worksheet worked out."""
    file = file_in_front(document)
    read = _as_read(document, file)
    sheet = sheet_in_front(document)
    found = spec_in_use(document)
    saved = read is not None and read[0] == sheet
    twice = frozenset(name for name in document.choices.get(NAME, {}) if name.startswith("read twice"))
    return _worked(sheet, read[1] if read is not None and saved else None, twice, held(document, found))


@lru_cache(maxsize=16)
def _worked(sheet: Sheet, source: Source | None, twice: frozenset[str], spec_held: HeldSpec) -> Worksheet:
    from valvelab.files.contents import read_contents
    from valvelab.inspection.engine.phasing import inspect_phasing
    from valvelab.records.result import warning
    from valvelab.workbench.worksheet import value_of
    from valvelab.workbench.worksheet_guide import doubts, target

    sources = () if source is None else (source,)
    if spec_held.found is None:
        inspection = inspect_phasing(sheet, None, sources)
    else:
        file, spec = spec_held.found
        try:
            inspection = inspect_phasing(sheet, spec, sources, file.path)
            inspection = _with_source(inspection, read_contents(file.path).source)
        except BadSpec as refusal:
            plain = inspect_phasing(sheet, None, sources)
            notes = (*plain.result.notes, warning("spec", f"{refusal}; measured without the spec"))
            inspection = replace(plain, result=plain.result.model_copy(update={"notes": notes}))
        except OSError:  # the file is gone since it was read; its limits still stand
            inspection = inspect_phasing(sheet, spec, sources, file.path)
    doubtful = doubts(sheet, inspection.degreeing)
    open_ones = {
        cell: text
        for cell, text in doubtful.items()
        if not (isinstance(value := value_of(sheet, cell), float) and _read_twice(cell, value) in twice)
    }
    step = inspection.next_reading
    settled = step.what == "repeat" and doubtful and not open_ones
    wanted = None if settled else target(sheet, step, open_ones)
    return Worksheet(inspection, doubtful, wanted, source is not None)


def _with_source(inspection: PhasingInspection, source: Source) -> PhasingInspection:
    sources = (*inspection.result.source, source)
    return replace(inspection, result=inspection.result.model_copy(update={"source": sources}))


def result(value: object) -> Result:
    """The result document of the worksheet."""
    return cast("Worksheet", value).inspection.result


def certificate(document: Document, value: object) -> CertificateRequest:
    """The degreeing's part of a certificate; it carries the sheet's file, so the sheet has to be one."""
    worksheet = cast("Worksheet", value)
    file = file_in_front(document)
    if file is None or not worksheet.saved:
        raise BadFile("the worksheet", "", "readings that are in no file", "the sheet saved first: Save sheet…")
    found = spec_in_use(document) if worksheet.inspection.result.verdicts else None
    if found is None and len(worksheet.inspection.result.source) > 1:
        found = spec_in_use(document)
    return request_for(worksheet.inspection.result, "phasing", file, found)


STATION = Station(
    name=NAME,
    title="Phasing",
    icon="phasing",
    intakes=(
        Intake(KIND, "degree-wheel sheet", "valvelab.files.phasing_sheet:read_phasing_sheet"),
        Intake("spec", "spec", "valvelab.files.spec_file:read_spec"),
    ),
    empty="Type degree-wheel readings as the worksheet asks for them, or drop a sheet (TOML) here.",
    question=question,
    result=result,
    certificate=certificate,
    uses=uses,
    at_once=at_once,
    sample=("quillmere_four_degree_wheel_misread.toml", "quillmere_four_engine.toml"),
)
