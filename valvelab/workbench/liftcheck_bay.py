"""The bay of lift checks: rule and instrument once an event, then car after car, decided at every reading."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path

from valvelab.errors import BadFile, BadSpec, ValvelabError
from valvelab.files.lift_check_sheet import lift_check_toml, parse_lift_check
from valvelab.inspection.lift_check.inspect import Known, LiftCheckInspection, inspect_lift_check
from valvelab.job.liftcheck import known_instrument
from valvelab.phrase import Phrase
from valvelab.records.gauge_result import AdoptedUncertainty
from valvelab.records.job import Shown
from valvelab.records.lift_check import Indicator, LiftCheckSheet, ReadingList
from valvelab.records.lift_check_result import CheckedLift, LiftCheckResult
from valvelab.records.parts.part import JobPart
from valvelab.records.result import Result, Source, Verdict, warning
from valvelab.records.spec import Spec
from valvelab.tables.verdicts import counts
from valvelab.units import System
from valvelab.workbench import edits, lift_desk
from valvelab.workbench.background import Question
from valvelab.workbench.bay import Work
from valvelab.workbench.card_choice import card_for
from valvelab.workbench.contents import with_text
from valvelab.workbench.document import TYPED, BenchFile, Document, Kind
from valvelab.workbench.held_spec import HeldSpec, held
from valvelab.workbench.papers import part_of
from valvelab.workbench.sheets import Sheets, SheetState, kept_sheets
from valvelab.workbench.spec_choice import files_of, noted, spec_for, stamps
from valvelab.workbench.state import entered

NAME = "liftcheck"
JUDGES = ("valve rule_lift", "event")
ADOPTED: Kind[AdoptedUncertainty] = Kind("adopted uncertainty")
KIND: Kind[tuple[LiftCheckSheet, Source]] = Kind("lift-check sheet")


def _parsed(text: str) -> LiftCheckSheet:
    return parse_lift_check(text.encode())


@dataclass(frozen=True, slots=True)
class LiftCheckState(SheetState):
    """What was typed, and what is in front: the car, its valve, the list that the next reading goes to.

    word: what a bare number gets in front. plan: valves of every car in the order they are read. shut_first: readings
    with the valve shut that begin each valve. asked: the list asked for by hand. rule: whether rule and instrument are
    in front.
    """

    bay = NAME
    sheets: Mapping[str, LiftCheckSheet] = kept_sheets(lift_check_toml, _parsed)
    item: str = ""
    valve: str = ""
    asked: ReadingList | None = None
    rule: bool = False
    word: str = entered("car", "What is checked: car, boat or engine", edit="say what is checked")
    plan: str = entered("1I", "Valves of every car, in the order they are read", edit="choose the valves")
    shut_first: int = entered(
        0, "Readings with the valve shut before those at full lift", edit="choose the shut readings", least=0, most=5
    )


SHEETS = Sheets(NAME, KIND, LiftCheckState, LiftCheckSheet, lift_check_toml, "lift_check.toml")


@dataclass(frozen=True, slots=True)
class HeldFiles:
    """What the bench says of the instrument, its card and an adopted uncertainty, told from others by their reading."""

    stamp: tuple[int, ...]
    card: BenchFile | None = field(compare=False)
    gauge: BenchFile | None = field(compare=False)


@dataclass(frozen=True, slots=True, eq=False)
class Desk:
    """What the bay shows: the whole event, and the part of it that is on the car in front.

    saved: whether it stands in a file as it is. shut: whether the next reading is one with the valve shut. ruled:
    whether anything judges it.
    """

    inspection: LiftCheckInspection
    cars: tuple[lift_desk.Car, ...]
    item: str
    valve: str
    shown: LiftCheckResult
    saved: bool
    shut: bool
    ruled: bool

    def decimals(self, units: System) -> Mapping[Verdict, int]:
        """Decimals of the verdicts on the car in front."""
        return counts(self.shown, units)

    def decimals_of_all(self, units: System) -> Mapping[Verdict, int]:
        """Decimals of the event's verdicts, for the list of cars."""
        return self.inspection.once(_counts, units)

    @property
    def row(self) -> CheckedLift | None:
        """The valve in front."""
        return next((row for row in self.shown.checks if row.valve == self.valve), None)


def _counts(inspection: LiftCheckInspection, units: System) -> Mapping[Verdict, int]:
    return counts(inspection.result, units)


def spec_in_use(document: Document) -> tuple[BenchFile, Spec] | None:
    """A spec beside the sheet's own rule."""
    found = spec_for(document, {"valve", "event"})
    known = found is not None and any(limit.of in {"rule_lift", "opening", "closing"} for limit in found[1].limit)
    return found if known else None


def uses(document: Document) -> tuple[BenchFile, ...]:
    """The sheet, the spec, the instrument's card and an adopted uncertainty."""
    instrument = card_in_use(document), document.in_use(ADOPTED)
    return files_of(SHEETS.file_in_front(document), spec_in_use(document), *instrument)


def card_in_use(document: Document) -> BenchFile | None:
    """The card of the bench that readings are corrected by; None where the sheet names its own, or there is none."""
    instrument = SHEETS.in_front(document).instrument
    return None if instrument.card is not None else card_for(document, "length", instrument.name)


def question(_document: Document) -> Question[Desk] | None:
    """Nothing is left to the background: every reading counts at once."""
    return None


def at_once(document: Document, _value: Desk | None) -> Desk:
    """The desk as it stands."""
    sheet, state = SHEETS.in_front(document), document.state(LiftCheckState)
    file = SHEETS.file_in_front(document)
    folder = "" if file is None or file.path.startswith(TYPED) else file.path
    files = card_in_use(document), document.in_use(ADOPTED)
    known = HeldFiles(stamps(document, *files), *files)
    whole = _inspected(sheet, SHEETS.source(document), folder, held(document, spec_in_use(document)), known)
    valves = lift_desk.valves_of(sheet, state.item)
    valve = state.valve if state.valve in valves else next(iter(valves), "")
    shut = lift_desk.reads_shut(lift_desk.check_of(sheet, state.item, valve), state.shut_first, state.asked)
    ruled = bool(sheet.limit or sheet.rule) or spec_in_use(document) is not None
    return _desk(whole, state.item, valve, SHEETS.source(document) is not None, shut, ruled)


@lru_cache(maxsize=16)
def _inspected(
    sheet: LiftCheckSheet, source: Source | None, path: str, spec_held: HeldSpec, files: HeldFiles
) -> LiftCheckInspection:
    known, sources = _known(sheet.instrument, sheet.date, path, files)
    sources = (*(() if source is None else (source,)), *sources)
    file, spec = spec_held.found or (None, None)
    name = path or "the sheet"
    try:
        return inspect_lift_check(sheet, known, sources, name, spec, "" if file is None else file.path)
    except BadSpec as refusal:
        plain = inspect_lift_check(sheet.model_copy(update={"limit": (), "rule": ()}), known, sources, name)
        return replace(plain, sheet=sheet, result=noted(plain.result, refusal))


@lru_cache(maxsize=16)
def _known(instrument: Indicator, read_on: str | None, path: str, files: HeldFiles) -> tuple[Known, tuple[Source, ...]]:
    """What is known of the instrument; a file that it names and that can't be read is said, and left out."""
    sheet = LiftCheckSheet(instrument=instrument, date=read_on)
    try:
        card, gauge = (None if file is None else file.given for file in (files.card, files.gauge))
        return known_instrument(sheet, Path(path), card, gauge)
    except (ValvelabError, OSError) as error:
        stated = Known.stated(instrument)
        return replace(
            stated, notes=(warning("instrument", Phrase("{error}; the sheet's own figures count", error=error)),)
        ), ()


@lru_cache(maxsize=16)
def _desk(whole: LiftCheckInspection, item: str, valve: str, *is_so: bool) -> Desk:
    """is_so: whether it is saved, whether the next reading is a shut one, whether anything judges it."""
    result = whole.result
    rows, verdicts = whole.rows_of(item), whole.verdicts_of(item)
    names = {row.name for row in rows} | {"instrument", "spec"}
    about = tuple(note for note in result.notes if names & {name.strip() for name in note.about.split(",")})
    own = result.model_copy(update={"checks": tuple(rows), "verdicts": tuple(verdicts), "notes": about})
    return Desk(whole, tuple(lift_desk.cars(result.checks, result.verdicts)), item, valve, own, *is_so)


def result(desk: Desk) -> Result:
    """The result document of the car in front; of the whole event while none is."""
    return desk.shown if desk.item else desk.inspection.result


def _part(document: Document, file: BenchFile) -> JobPart:
    files = {"instrument": card_in_use(document), "gauge": document.in_use(ADOPTED)}
    named = {key: None if known is None else Path(known.path) for key, known in files.items()}
    return part_of(NAME, file, spec_in_use(document), **named)


def parts(document: Document) -> tuple[JobPart, ...]:
    """The sheet's file as it is; a sheet that stands in no file as it is has no part yet."""
    file = SHEETS.file_in_front(document)
    if file is None or SHEETS.typed(document) is not None or not SHEETS.in_front(document).check:
        return ()
    return (_part(document, file),)


def certificate(document: Document, desk: Desk) -> Shown:
    """The event's list and a page a car."""
    if not (found := parts(document)):
        raise BadFile("the sheet", "", "no car", "a valve that was read")
    return Shown(desk.inspection.result, *found)


def page_of(document: Document, item: str) -> tuple[Document, Shown]:
    """One car's page: it carries that car's readings alone. The document with them as a file, and what is shown."""
    sheet = SHEETS.in_front(document)
    own = sheet.model_copy(update={"check": tuple(row for row in sheet.check if row.item == item)})
    name = "".join(sign if sign.isalnum() else "_" for sign in item)
    file = SHEETS.file_in_front(document)
    path = f"{TYPED}page/{name}.toml" if file is None or file.path.startswith(TYPED) else _beside(file, name)
    with_page = with_text(document, path, KIND, lift_check_toml(own))
    page = with_page.file(path)
    assert page is not None
    cleared = edits.set_fields(with_page, LiftCheckState, sheets={}, beside="", item=item)
    desk = at_once(cleared, None)
    return cleared, Shown(desk.inspection.result, _part(document, page))


def page(_document: Document, desk: Desk) -> str:
    """The car in front, whose page is what is printed."""
    return desk.item


def _beside(file: BenchFile, name: str) -> str:
    """A path in the sheet's folder, where the files that its instrument names are found."""
    return str(Path(file.path).with_name(f"{name}.toml"))


WORK = Work(
    LiftCheckState,
    question,
    result,
    parts,
    certificate,
    uses,
    at_once,
    SHEETS.written,
    spec=spec_in_use,
    judges=JUDGES,
    page=page,
)
