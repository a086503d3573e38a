"""Sizes of parts as people list them: `0.25 mm, 0.50 mm x 12` in a preamble, `0.50 + 0.25` in a cell."""

from __future__ import annotations

import re

from valvelab.errors import BadFile, BadQuantity
from valvelab.files.plausible import refuse_key_beyond
from valvelab.files.table import Column, Table
from valvelab.records.spring_readings import StockSize
from valvelab.units import parse_quantity, split_quantity

LARGEST_SIZE_MM = 100.0
MOST_SIZES = 200
MOST_OF_ONE = 10_000
_BETWEEN = re.compile(r"[;\s]*[;]\s*|,\s+|,(?=\s*$)")
_COUNTED = re.compile(r"(.*?)\s*[x×*]\s*(\S+)", re.IGNORECASE)
_SERIES = re.compile(r"(.+?)\s+to\s+(.+?)\s+by\s+(.+)", re.IGNORECASE)
_NONE = {"", "-", "–", "none", "n/a", "0"}


def read_stock(table: Table, key: str, *, signed: bool = False) -> tuple[StockSize, ...]:
    """The sizes of a preamble key, each with its count where one stands behind it (`0.50 mm x 12`); () when absent.

    A comma inside a number is a decimal comma, so one between sizes needs a space after it. `2.00 mm to 3.20 mm by
    0.05 mm` is a series. signed: sizes may be 0 or below it, as offsets are.
    """
    found: dict[float, int | None] = {}
    for part in listed(table, key):
        counted = _COUNTED.fullmatch(part)
        text, many = counted.groups() if counted is not None else (part, None)
        count = None if many is None else _count(table, key, part, many)
        series = _SERIES.fullmatch(text)
        for size in (
            (_size(table, key, text, signed=signed),) if series is None else _series(table, key, *series.groups())
        ):
            known = found.get(size, 0)
            found[size] = None if known is None or count is None else known + count
    if len(found) > MOST_SIZES:
        raise table.bad_key(key, f"{len(found)} sizes", f"at most {MOST_SIZES}")
    return tuple(StockSize(size, count) for size, count in found.items())


def listed(table: Table, key: str) -> list[str]:
    """The parts of a preamble list as written; [] when absent."""
    return [part.strip() for part in _BETWEEN.split(table.text(key) or "") if part.strip()]


def _count(table: Table, key: str, part: str, many: str) -> int:
    if not many.isascii() or not many.isdigit() or int(many) > MOST_OF_ONE:
        raise table.bad_key(key, repr(part), f"how many there are, a whole number from 0 to {MOST_OF_ONE}")
    return int(many)


def _size(table: Table, key: str, text: str, *, signed: bool = False) -> float:
    table.refuse_bare(key, text=text)
    try:
        size = parse_quantity(text, "length", key)
    except BadQuantity as error:
        raise table.bad_key(key, error.found, f"{error.expected}, one after each comma and space") from None
    if size <= 0.0 and not signed:
        raise table.bad_key(key, f"{size:g} mm", "thicknesses above 0")
    refuse_key_beyond(table, key, size, LARGEST_SIZE_MM, "mm")
    return size


def _series(table: Table, key: str, first: str, last: str, step: str) -> tuple[float, ...]:
    low, high, by = (_size(table, key, text) for text in (first, last, step))
    count = round((high - low) / by) + 1
    if not 1 <= count <= MOST_SIZES:
        raise table.bad_key(key, f"{first} to {last} by {step}", f"a rising series of at most {MOST_SIZES} sizes")
    return tuple(round(low + number * by, 9) for number in range(count))


def sizes_in(table: Table, column: Column, row: int, *, signed: bool = False) -> tuple[float, ...]:
    """The sizes in a cell, a plus between them, in mm; () for one that is empty or says none.

    A number without a unit is in the column's; where that has none either, in mm, and refused beside inches.
    """
    text = table.texts(column)[row]
    if text.strip().casefold() in _NONE:
        return ()
    parts = [text] if signed else text.split("+")
    return tuple(_cell_size(table, column, row, part.strip(), signed=signed) for part in parts)


def _cell_size(table: Table, column: Column, row: int, text: str, *, signed: bool) -> float:
    expected = "a length" if signed else "thicknesses above 0, a plus between them"
    try:
        _, unit = split_quantity(text, column.title)
        if not unit and column.unit is None and table.in_inches():
            raise table.bad(row, column, "its unit, in or mm, beside columns in inches")
        size = parse_quantity(text if unit else f"{text} {column.unit or 'mm'}", "length", column.title)
    except BadQuantity:
        raise table.bad(row, column, expected) from None
    if size <= 0.0 and not signed:
        raise table.bad(row, column, expected)
    if abs(size) > LARGEST_SIZE_MM:
        raise BadFile(table.file, table.place(row, column), f"{column.title} {text}", f"at most {LARGEST_SIZE_MM:g} mm")
    return size
