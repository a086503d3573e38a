"""Heights for shims: `position, height`, with the shims in stock and what is asked in the preamble."""

from __future__ import annotations

import re

from valvelab.errors import BadFile, BadQuantity
from valvelab.files.column_assignment import ColumnAssignment
from valvelab.files.contents import Given
from valvelab.files.plausible import LARGEST_READING_MM, positive, refuse_beyond, refuse_key_beyond
from valvelab.files.table import Table, read_table
from valvelab.records.spring_readings import HeightsTable, ValvePosition
from valvelab.units import parse_quantity

EXAMPLE = "position=0, height=1 [mm]"
KNOWN_KEYS = {"shims", "max shims", "target seat force", "minimum coil-bind margin", "valve lift"}
MOST_POSITIONS = 200
MOST_SHIMS = 10
LARGEST_SHIM_MM = 100.0
_BETWEEN = re.compile(r"[;\s]*[;]\s*|,\s+|,(?=\s*$)")


def read_heights(path: Given, columns: ColumnAssignment | str | None = None) -> HeightsTable:
    """The heights in a file; BadFile says what is wrong with it."""
    return heights_table(read_table(path, columns))


def heights_table(table: Table) -> HeightsTable:
    """A table that was read already, as heights."""
    column = table.require("height", EXAMPLE)
    position_column = table.require("position", EXAMPLE)
    table = table.with_numbers(column, names=position_column)
    heights = table.numbers(column, "length")
    refuse_beyond(table, column, heights, LARGEST_READING_MM, "mm")
    positions = []
    for name, rows in table.groups(position_column).items():
        if len(rows) > 1:
            raise BadFile(table.file, table.place(int(rows[1])), f"position {name!r} twice", "each position once")
        if heights[rows[0]] <= 0.0:
            raise table.bad(int(rows[0]), column, "a height above 0")
        positions.append(ValvePosition(name, float(heights[rows[0]])))
    if len(positions) > MOST_POSITIONS:
        raise BadFile(table.file, "", f"{len(positions)} positions", f"at most {MOST_POSITIONS}")
    table.note_unknown((position_column.name, column.name))
    return HeightsTable(
        file=table.file,
        source=table.source,
        positions=tuple(positions),
        shims_mm=_shims(table),
        max_shims=_max_shims(table),
        target_seat_force_n=positive(table, "target seat force", "force"),
        minimum_coil_bind_margin_mm=positive(table, "minimum coil-bind margin", zero=True),
        valve_lift_mm=positive(table, "valve lift"),
        remarks={key: value for key, value in table.preamble.items() if key not in KNOWN_KEYS},
        notes=table.notes,
    )


def _shims(table: Table) -> tuple[float, ...]:
    """`0.25 mm, 0.50 mm`; a comma inside a number is a decimal comma, so one between needs a space after it."""
    text = table.text("shims")
    if text is None:
        return ()
    parts = [part.strip() for part in _BETWEEN.split(text) if part.strip()]
    for part in parts:
        table.refuse_bare("shims", text=part)
    try:
        sizes = tuple(parse_quantity(part, "length", "shims") for part in parts)
    except BadQuantity as error:
        raise table.bad_key("shims", error.found, f"{error.expected}, one after each comma and space") from None
    for size in sizes:
        if size <= 0.0:
            raise table.bad_key("shims", f"{size:g} mm", "thicknesses above 0")
        refuse_key_beyond(table, "shims", size, LARGEST_SHIM_MM, "mm")
    return sizes


def _max_shims(table: Table) -> int:
    value = table.quantity("max shims", "number")
    if value is None:
        return 3
    if value != int(value) or not 0 <= value <= MOST_SHIMS:
        raise table.bad_key("max shims", f"{value:g}", f"a whole number from 0 to {MOST_SHIMS}")
    return int(value)
