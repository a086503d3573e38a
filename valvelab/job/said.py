"""What spec, readings and instrument cards say of a part of a job besides figures: whose, which, when, with what."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from os.path import normpath
from pathlib import Path
from typing import Any

from valvelab.errors import BadFile, ValvelabError, one_line
from valvelab.files.contents import Contents, read_contents
from valvelab.files.instrument_card import read_instrument_card
from valvelab.files.lift_check_sheet import read_lift_check_sheet
from valvelab.files.phasing_sheet import read_phasing_sheet
from valvelab.files.spec_file import parse_toml
from valvelab.files.table import Table, table_in
from valvelab.job.uses import use
from valvelab.phasing.degreeing import Sheet
from valvelab.records.instrument_card import InstrumentCard
from valvelab.records.lift_check import LiftCheckSheet
from valvelab.records.parts.liftcheck import LiftCheckPart
from valvelab.records.parts.part import JobPart, TablePart
from valvelab.records.parts.phasing import PhasingPart
from valvelab.records.parts.springs import SpringsPart
from valvelab.records.result import Note, info
from valvelab.records.spec import LimitSpec, Spec

LONGEST_TEXT = 500
_PREAMBLE = {
    "part": "part", "serial": "serial", "customer": "customer", "operator": "operator", "instrument": "instrument",
    "calibrated": "instrument_calibrated",
}  # fmt: skip
"""Keys of a table's preamble, and what a record calls them."""

Files = Mapping[str, bytes]
"""Files of a part by name, as the part names them."""


def files_of(part: JobPart) -> dict[str, bytes]:
    """Every file that a located part reads of itself, as it lies on the disk."""
    paths = (*part.files, *use(part.inspect).named(part))
    return {_name(path): read_contents(path).data for path in paths}


def said_of(part: JobPart, files: Files, notes: list[Note]) -> dict[str, Any]:
    """What is said of a part, by the fields of a record; `notes` is told what can't be used."""
    told = dict(_of_spec(part, files)) | _of_readings(part, files, notes)
    return told | _of_cards(_cards(part, files))


def limits_of(part: JobPart, files: Files) -> tuple[LimitSpec, ...]:
    """The limits that a part is judged by: those of its spec and those of its sheet."""
    sheet = _sheet(part, files).spec.limit if isinstance(part, LiftCheckPart) else ()
    return (*sheet, *(_spec(part.spec, files).limit if part.spec is not None else ()))


def _of_spec(part: JobPart, files: Files) -> Iterator[tuple[str, str]]:
    if part.spec is None:
        return
    spec = _spec(part.spec, files)
    for key, value in (("spec_title", spec.title), ("spec_revision", spec.revision)):
        if value is not None:
            yield key, _short(value)


def _of_readings(part: JobPart, files: Files, notes: list[Note]) -> dict[str, Any]:
    """What the readings say of themselves: above the table, or on the sheet."""
    if isinstance(part, LiftCheckPart):
        return _of_sheet(_sheet(part, files))
    if isinstance(part, PhasingPart):
        return _of_wheel(read_phasing_sheet(_contents(part.file, files))[0], notes)
    table = _table(part, files)
    if table is None:
        return {}
    preamble = table.preamble
    told: dict[str, Any] = {to: _short(preamble[key]) for key, to in _PREAMBLE.items() if preamble.get(key)}
    for key, to in (("date", "date"), ("calibration due", "instrument_due")):
        told |= _day(to, key, preamble.get(key), f"{table.file}: ", notes)
    try:
        told["temperature_degc"] = table.quantity("temperature", "temperature")
    except BadFile as error:
        notes.append(info("temperature", str(error)))
    return told


def _of_wheel(sheet: Sheet, notes: list[Note]) -> dict[str, Any]:
    told = {"part": sheet.part, "serial": sheet.serial, "operator": sheet.operator}
    return {name: _short(text) for name, text in told.items() if text} | _day("date", "date", sheet.date, "", notes)


def _of_sheet(sheet: LiftCheckSheet) -> dict[str, Any]:
    instrument = sheet.instrument
    told = {
        "date": sheet.date,
        "operator": sheet.inspector,
        "instrument": " ".join(filter(None, (instrument.name, instrument.serial))),
        "instrument_calibrated": instrument.calibrated,
        "instrument_due": instrument.due,
    }
    return {name: _short(text) for name, text in told.items() if text} | {"temperature_degc": sheet.temperature}


def _cards(part: JobPart, files: Files) -> Iterator[InstrumentCard]:
    """The cards that readings were corrected by: those that the part names, else the one that its sheet names."""
    named = getattr(part, "instrument", None)
    cards = named if isinstance(named, tuple) else () if named is None else (named,)
    if isinstance(part, LiftCheckPart) and not cards:
        cards = tuple(file for key, file in _sheet(part, files).beside(part.file).items() if key == "card")
    return (read_instrument_card(_contents(file, files))[0] for file in cards)


def _of_cards(cards: Iterable[InstrumentCard]) -> dict[str, str]:
    """What cards say; where two instruments were used, the due date is the earlier."""
    known = list(cards)
    told = {
        "instrument": "; ".join(" ".join(filter(None, (card.name, card.serial))) for card in known),
        "instrument_calibrated": "; ".join(card.calibrated for card in known if card.calibrated),
        "instrument_due": min((card.due_on for card in known if card.due_on), default=""),
    }
    return {name: _short(text) for name, text in told.items() if text}


def _sheet(part: LiftCheckPart, files: Files) -> LiftCheckSheet:
    return read_lift_check_sheet(_contents(part.file, files))[0]


def _spec(path: Path, files: Files) -> Spec:
    found = _contents(path, files)
    return parse_toml(found.data, found.file, Spec)


def _contents(file: Path, files: Files) -> Contents:
    name = _name(file)
    return Contents.of(name, files[name])


def _name(file: Path) -> str:
    return normpath(file.as_posix()).replace("\\", "/")


def later(part: JobPart) -> tuple[Path, ...]:
    """Readings of the same items taken later."""
    return part.later if isinstance(part, SpringsPart) else ()


def _table(part: JobPart, files: Files) -> Table | None:
    """The table that was read, the last of several; None for what is none."""
    if not isinstance(part, TablePart):
        return None
    try:
        return table_in(_contents((part.file, *later(part))[-1], files), part.columns)
    except ValvelabError:
        return None  # a trace in a form of its own has no preamble


def _day(to: str, key: str, text: str | None, file: str, notes: list[Note]) -> dict[str, str]:
    """A date that a record is looked for by; `notes` is told of a text that is none."""
    if not text:
        return {}
    day = _iso(text)
    if day is None:
        notes.append(info(key, f"{file}{text!r:.60} is no date as YYYY-MM-DD and is not looked for by"))
        return {}
    return {to: day}


def _iso(text: str) -> str | None:
    try:
        return date.fromisoformat(text.strip()).isoformat()
    except ValueError:
        return None


def _short(text: str) -> str:
    """A text that any database takes."""
    return one_line(text.strip())[:LONGEST_TEXT]
