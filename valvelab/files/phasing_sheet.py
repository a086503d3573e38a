"""Reading a degree-wheel sheet (TOML) into canonical readings, and writing one."""

from __future__ import annotations

from dataclasses import asdict

from valvelab.files.contents import Given
from valvelab.files.spec_file import parse_toml, read_toml_with_source
from valvelab.files.toml_text import toml_keys, toml_table
from valvelab.phasing.degreeing import Sheet
from valvelab.records.phasing_sheet import PhasingSheet
from valvelab.records.result import Source


def read_phasing_sheet(path: Given) -> tuple[Sheet, Source]:
    """The sheet's readings, canonical, and the file's identity; raises BadFile with the key of what can't be used."""
    record, source = read_toml_with_source(path, PhasingSheet)
    return record.sheet, source


def parse_sheet_toml(text: str, file: str = "sheet") -> Sheet:
    """The sheet that `sheet_toml` wrote."""
    return parse_toml(text.encode(), file, PhasingSheet).sheet


def sheet_toml(sheet: Sheet) -> str:
    """The sheet as TOML that reads back to the same sheet."""
    words = toml_keys({name: getattr(sheet, name) for name in ("part", "serial", "operator", "date")})
    blocks = [
        *(["\n".join(words)] if words else []),
        toml_table("[wheel]", {"uncertainty": sheet.wheel_uncertainty_deg, "sense": sheet.sense}),
        toml_table("[stop]", {"readings": sheet.stop_deg}),
        *(toml_table("[[near_peak]]", asdict(row)) for row in sheet.pairs),
        *(toml_table("[[reading]]", asdict(row)) for row in sheet.events),
        toml_table("[card]", {name: value for name, value in asdict(sheet.card).items() if name != "duration"}),
        *(toml_table("[[card.duration]]", asdict(row)) for row in sheet.card.duration),
        toml_table("[adjuster]", {"steps": sheet.steps_deg}),
        *(toml_table("[[set_aside]]", asdict(row)) for row in sheet.set_aside),
    ]
    return "\n\n".join(blocks) + "\n"
