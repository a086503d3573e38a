"""Lash sheets: `position, clearance, shim` of each valve, the lash wanted and the shims at hand in the preamble."""

from __future__ import annotations

import re
from math import hypot

from valvelab.arrays import rectangular_sd
from valvelab.errors import BadFile, BadQuantity
from valvelab.files.column_assignment import ColumnAssignment
from valvelab.files.column_names import lobe_name, plain_name
from valvelab.files.contents import Given
from valvelab.files.plausible import positive
from valvelab.files.stock import read_stock, sizes_in
from valvelab.files.table import Column, Table, read_table
from valvelab.records.lash import LashBand, LashReading, LashTable
from valvelab.records.result import Kind
from valvelab.units import parse_quantity

EXAMPLE = "position=0, clearance=1 [mm], shims=2 [mm]"
MOST_VALVES = 200
LARGEST_LASH_MM = 10.0
KINDS: dict[str, Kind] = {"intake": "intake", "inlet": "intake", "exhaust": "exhaust"}
LASHES: tuple[str, ...] = ("intake lash", "exhaust lash", "lash")
KNOWN_KEYS = {
    *LASHES, "lash band", "shims", "shims sold", "feeler uncertainty", "feeler step", "micrometer uncertainty",
    "least chance",
}  # fmt: skip
_PLUS_MINUS = re.compile(r"(.+?)\s*(?:±|\+/-|\+-)\s*(.+)")
_RANGE = re.compile(r"(.+?)\s+to\s+(.+)", re.IGNORECASE)
_BAND_WANTED = "its band, such as `0.20 mm ± 0.03 mm`, `0.17 mm to 0.23 mm` or a key `lash band`"


def read_lash(path: Given, columns: ColumnAssignment | str | None = None) -> LashTable:
    """The lash sheet in a file; BadFile says what is wrong with it."""
    return lash_table(read_table(path, columns))


def lash_table(table: Table) -> LashTable:
    """A table that was read already, as a lash sheet."""
    clearance, position = table.require("clearance", EXAMPLE), table.require("position", EXAMPLE)
    shim, kind = table.require("shims", EXAMPLE), table.find("kind")
    table = table.with_numbers(clearance, names=position)
    values = table.numbers(clearance, "length")
    wanted = {key: band for key in LASHES if (band := _band(table, key)) is not None}
    valves = []
    for name, rows in table.groups(position, MOST_VALVES).items():
        if len(rows) > 1:
            raise BadFile(table.file, table.place(int(rows[1])), f"valve {name!r} twice", "each valve once")
        row = int(rows[0])
        if not 0.0 <= values[row] <= LARGEST_LASH_MM:
            raise table.bad(row, clearance, f"a clearance from 0 to {LARGEST_LASH_MM:g} mm")
        sizes = sizes_in(table, shim, row)
        if len(sizes) != 1:
            raise table.bad(row, shim, "the shim that is fitted")
        of = _kind(table, kind, row, name)
        lash = wanted.get(f"{of} lash", wanted.get("lash"))
        if lash is None:
            keys = "`lash`, or `intake lash` and `exhaust lash`" if of is None else f"`{of} lash` or `lash`"
            raise BadFile(table.file, table.place(row), f"valve {name!r} without a lash wanted", f"a key {keys}")
        valves.append(LashReading(name, of, float(values[row]), sizes[0], lash))
    table.note_unknown(one.name for one in (clearance, position, shim, *([] if kind is None else [kind])))
    feeler, step = positive(table, "feeler uncertainty"), positive(table, "feeler step")
    known = None if feeler is None and step is None else hypot(feeler or 0.0, rectangular_sd(step or 0.0))
    return LashTable(
        file=table.file,
        source=table.source,
        valves=tuple(valves),
        shelf=read_stock(table, "shims"),
        sold_mm=tuple(one.size_mm for one in read_stock(table, "shims sold")),
        feeler_u_mm=known,
        micrometer_u_mm=positive(table, "micrometer uncertainty"),
        least_chance=_chance(table),
        remarks={key: value for key, value in table.preamble.items() if key not in KNOWN_KEYS},
        notes=table.notes,
    )


def _kind(table: Table, column: Column | None, row: int, valve: str) -> Kind | None:
    """Intake or exhaust: as the column says, else as the valve's name does; None where neither does."""
    if column is not None:
        found = KINDS.get(plain_name(table.texts(column)[row]))
        if found is None:
            raise table.bad(row, column, "intake or exhaust")
        return found
    lobe = lobe_name(valve)
    return None if lobe is None else "intake" if "I" in lobe else "exhaust"


def _band(table: Table, key: str) -> LashBand | None:
    """The lash that a key wants, with its band; None when absent."""
    text = table.text(key)
    if text is None:
        return None
    if either := _PLUS_MINUS.fullmatch(text):
        found = LashBand(_length(table, key, either[1]), _length(table, key, either[2]))
    elif between := _RANGE.fullmatch(text):
        low, high = (_length(table, key, one) for one in between.groups())
        found = LashBand(0.5 * (low + high), 0.5 * (high - low))
    else:
        band = positive(table, "lash band")
        if band is None:
            raise table.bad_key(key, repr(text), _BAND_WANTED)
        found = LashBand(_length(table, key, text), band)
    if found.band_mm <= 0.0 or not 0.0 <= found.wanted_mm <= LARGEST_LASH_MM:
        raise table.bad_key(key, repr(text), f"a lash from 0 to {LARGEST_LASH_MM:g} mm with a band above 0")
    return found


def _length(table: Table, key: str, text: str) -> float:
    table.refuse_bare(key, text=text)
    try:
        return parse_quantity(text, "length", key)
    except BadQuantity as error:
        raise table.bad_key(key, error.found, error.expected) from None


def _chance(table: Table) -> float | None:
    """`least chance: 90 %` as a share."""
    text = table.text("least chance")
    if text is None:
        return None
    try:
        share = float(text.removesuffix("%").strip()) / 100.0
    except ValueError:
        share = 0.0
    if not 0.0 < share < 1.0:
        raise table.bad_key("least chance", repr(text), "per cent between 0 and 100, such as 90 %")
    return share
