"""Reading a lift-check sheet (TOML), and writing one."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from valvelab.errors import BadFile, BadQuantity
from valvelab.files.contents import Given, read_contents
from valvelab.files.spec_file import MAX_TOML_BYTES, parse_toml
from valvelab.files.toml_text import toml_keys, toml_table
from valvelab.records.lift_check import LiftCheck, LiftCheckSheet, event_words
from valvelab.records.result import Record, Source
from valvelab.units import FACTORS, INCH_MM, split_quantity

MOST_SHEET_BYTES = 8 * MAX_TOML_BYTES
_ENDS = ("min", "max", "nominal", "below", "above")
_OF_INSTRUMENT = ("uncertainty", "resolution", "repeatability")


def read_lift_check_sheet(path: Given) -> tuple[LiftCheckSheet, Source]:
    """The sheet, canonical, and the file's identity; raises BadFile with the key of what can't be used."""
    contents = read_contents(path, MOST_SHEET_BYTES)
    return parse_lift_check(contents.data, contents.file), contents.source


def parse_lift_check(data: bytes, file: str = "sheet") -> LiftCheckSheet:
    """The sheet that TOML says; `file` is the name used in refusals."""

    def prepared(keys: dict[str, Any]) -> dict[str, Any]:
        _refuse_bare_beside_inches(keys, file)
        return keys

    return parse_toml(data, file, LiftCheckSheet, prepare=prepared)


def _refuse_bare_beside_inches(keys: Mapping[str, Any], file: str) -> None:
    """A length without a unit on a sheet whose lengths are in inches could be either; 0 is 0 in both."""
    lengths = list(_lengths(keys))
    if not any(_is_inch(value) for _, value in lengths):
        return
    for place, value in lengths:
        if not _unit(value) and _number(value) not in {0.0, None}:
            raise BadFile(file, place, f"{value} without a unit beside inches", f'"{value} in" or "{value} mm"')


def _lengths(keys: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    """Every length of a sheet as typed, with its place; what is no table or list is left to the reader."""
    instrument = keys.get("instrument")
    if isinstance(instrument, Mapping):
        yield from _of(instrument, _OF_INSTRUMENT, "[instrument]")
    for number, row in _rows(keys, "limit"):
        yield from _of(row, (*_ENDS, "at") if row.get("of") == "rule_lift" else ("at",), f"[[limit]] {number}")
    for number, row in _rows(keys, "rule"):
        yield from _of(row, ("lift",), f"[[rule]] {number}")
    for number, row in _rows(keys, "check"):
        yield from _of(row, ("zero", "open"), f"[[check]] {number}")
        for count, at in _rows(row, "event"):
            yield from _of(at, ("lift",), f"[[check]] {number} event {count}")


def _of(row: Mapping[str, Any], names: Sequence[str], where: str) -> Iterator[tuple[str, Any]]:
    """The values of some keys, those of a list one by one."""
    for name in names:
        values = row.get(name, [])
        for value in values if isinstance(values, list) else [values]:
            yield f"{where} {name}", value


def _rows(keys: Mapping[str, Any], name: str) -> Iterator[tuple[int, Mapping[str, Any]]]:
    rows = keys.get(name)
    for number, row in enumerate(rows if isinstance(rows, list) else (), start=1):
        if isinstance(row, Mapping):
            yield number, row


def _number(value: Any) -> float | None:
    try:
        return split_quantity(str(value), "")[0]
    except BadQuantity:
        return None


def _unit(value: Any) -> str:
    try:
        return split_quantity(str(value), "")[1]
    except BadQuantity:
        return "?"


def _is_inch(value: Any) -> bool:
    return FACTORS["length"].get(_unit(value).lower(), 0.0) in {INCH_MM, INCH_MM / 1000.0}


def lift_check_toml(sheet: LiftCheckSheet) -> str:
    """The sheet as TOML that reads back to the same sheet."""
    head = toml_keys(_stated(sheet, ("event", "date", "inspector", "temperature")))
    parts = (("[instrument]", sheet.instrument), ("[wheel]", sheet.wheel), ("[decision]", sheet.decision))
    blocks = [
        *(["\n".join(head)] if head else []),
        *(toml_table(name, _stated(one)) for name, one in parts if _stated(one)),
        *(toml_table("[[limit]]", _stated(row)) for row in sheet.limit),
        *(toml_table("[[rule]]", _stated(row)) for row in sheet.rule),
        *(block for check in sheet.check for block in _check_toml(check)),
    ]
    return "\n\n".join(blocks) + "\n"


def _check_toml(check: LiftCheck) -> Iterator[str]:
    yield toml_table("[[check]]", _stated(check, but=("event", "set_aside")))
    for at in check.event:
        events = {
            name: tuple(event_words(one, before) for one in getattr(at, name))
            for name, before in (("opens", "B"), ("closes", "A"))
            if getattr(at, name)
        }
        yield toml_table("[[check.event]]", {"lift_mm": at.lift_mm, **events})
    for row in check.set_aside:
        yield toml_table("[[check.set_aside]]", dict(row))


def _stated(record: Record, names: Sequence[str] | None = None, but: Sequence[str] = ()) -> dict[str, Any]:
    """Fields that say something else than their default."""
    fields = type(record).model_fields
    wanted = [name for name in names or fields if name not in but]
    return {
        name: value for name in wanted if (value := getattr(record, name)) != fields[name].get_default() and value != ()
    }
