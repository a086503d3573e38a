"""Reading a degree-wheel sheet (TOML) into canonical readings, and writing one."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from valvelab.files.spec_file import parse_toml, read_toml_with_source
from valvelab.phasing.degreeing import Sheet
from valvelab.records.phasing_sheet import PhasingSheet
from valvelab.records.result import Source
from valvelab.records.typed import key_of


def read_phasing_sheet(path: Path) -> tuple[Sheet, Source]:
    """The sheet's readings, canonical, and the file's identity; raises BadFile with the key of what can't be used."""
    record, source = read_toml_with_source(path, PhasingSheet)
    return record.sheet, source


def parse_sheet_toml(text: str, file: str = "sheet") -> Sheet:
    """The sheet that `sheet_toml` wrote."""
    return parse_toml(text.encode(), file, PhasingSheet).sheet


def sheet_toml(sheet: Sheet) -> str:
    """The sheet as TOML that reads back to the same sheet."""
    words = _keys({name: getattr(sheet, name) for name in ("part", "serial", "operator", "date")})
    blocks = [
        *(["\n".join(words)] if words else []),
        _block("[wheel]", {"uncertainty": sheet.wheel_uncertainty_deg, "sense": sheet.sense}),
        _block("[stop]", {"readings": sheet.stop_deg}),
        *(_block("[[near_peak]]", asdict(row)) for row in sheet.pairs),
        *(_block("[[reading]]", asdict(row)) for row in sheet.events),
        _block("[card]", {name: value for name, value in asdict(sheet.card).items() if name != "duration"}),
        *(_block("[[card.duration]]", asdict(row)) for row in sheet.card.duration),
        _block("[adjuster]", {"steps": sheet.steps_deg}),
        *(_block("[[set_aside]]", asdict(row)) for row in sheet.set_aside),
    ]
    return "\n\n".join(blocks) + "\n"


def _block(head: str, values: Mapping[str, Any]) -> str:
    return "\n".join([head, *_keys(values)])


def _keys(values: Mapping[str, Any]) -> list[str]:
    """`key = value` of what is stated, keyed by the fields' names."""
    return [f"{key_of(name)} = {_value(name, value)}" for name, value in values.items() if value is not None]


def _value(name: str, value: Any) -> str:
    if isinstance(value, tuple):
        return f"[{', '.join(repr(float(one)) for one in value)}]"
    if isinstance(value, str):
        # the escapes of a JSON string are those of a basic TOML string
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    number = repr(float(value))
    return f'"{number} mm"' if name.endswith("_mm") else number
