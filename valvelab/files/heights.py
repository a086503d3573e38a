"""Heights for shims: `position, height`, with the parts in stock and what is asked in the preamble."""

from __future__ import annotations

from typing import Literal

from valvelab.errors import BadFile
from valvelab.files.column_assignment import ColumnAssignment
from valvelab.files.contents import Given
from valvelab.files.plausible import LARGEST_READING_MM, height_doubt, positive, refuse_beyond
from valvelab.files.stock import read_stock, sizes_in
from valvelab.files.table import Column, Table, read_table
from valvelab.phrase import Phrase
from valvelab.records.result import warning
from valvelab.records.spring_readings import HeightsTable, PartKind, StockSize, ValvePosition
from valvelab.springs.shims import Stack

EXAMPLE = "position=0, height=1 [mm]"
STOCK: dict[PartKind, str] = {"shim": "shims", "packer": "packers", "keeper": "keepers", "retainer": "retainers"}
"""The preamble key of each kind of part."""
OFFSETS: tuple[PartKind, ...] = ("keeper", "retainer")
"""Parts whose size is what they raise the spring's top by: 0 and below it too."""
KNOWN_KEYS = {
    *STOCK.values(), "max shims", "target seat force", "minimum coil-bind margin", "valve lift", "height uncertainty",
    "minimum retainer-to-seal margin", "retainer-to-seal uncertainty",
}  # fmt: skip
FITTED = ("spring", "shims", "packer", "keeper", "retainer")
"""Columns that say what is fitted now."""
MOST_POSITIONS = 200
MOST_SHIMS = 10


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
    fitted = {name: found for name in FITTED if (found := table.find(name)) is not None}
    seal = table.find("retainer to seal")
    positions = []
    for name, rows in table.groups(position_column).items():
        if len(rows) > 1:
            raise BadFile(
                table.file,
                table.place(int(rows[1])),
                Phrase("position {name} twice", name=f"{name!r}"),
                "each position once",
            )
        row = int(rows[0])
        if heights[row] <= 0.0:
            raise table.bad(row, column, "a height above 0")
        spring = table.texts(fitted["spring"])[row] if "spring" in fitted else ""
        to_seal = None if seal is None else _one(table, seal, row)
        positions.append(ValvePosition(name, float(heights[row]), spring or None, _stack(table, fitted, row), to_seal))
    if len(positions) > MOST_POSITIONS:
        raise BadFile(
            table.file,
            "",
            Phrase("{count} positions", count=len(positions)),
            Phrase("at most {most}", most=MOST_POSITIONS),
        )
    if "spring" in fitted:
        _refuse_twice(table, fitted["spring"])
    used = (position_column, column, *fitted.values(), *([] if seal is None else [seal]))
    table.note_unknown(one.name for one in used)
    doubt = height_doubt({} if column.unit is not None else {"height": float(heights.max())})
    return HeightsTable(
        file=table.file,
        source=table.source,
        positions=tuple(positions),
        stock=_stock(table),
        max_shims=_max_shims(table),
        target_seat_force_n=positive(table, "target seat force", "force"),
        minimum_coil_bind_margin_mm=positive(table, "minimum coil-bind margin", zero=True),
        minimum_retainer_to_seal_mm=positive(table, "minimum retainer-to-seal margin", zero=True),
        valve_lift_mm=positive(table, "valve lift"),
        height_uncertainty_mm=positive(table, "height uncertainty"),
        retainer_to_seal_uncertainty_mm=positive(table, "retainer-to-seal uncertainty"),
        states=frozenset(_STATED[name] for name in fitted),
        remarks={key: value for key, value in table.preamble.items() if key not in KNOWN_KEYS},
        notes=(*table.notes, *([warning("unit", doubt)] if doubt else [])),
    )


_STATED: dict[str, PartKind | Literal["spring"]] = {
    "spring": "spring", "shims": "shim", "packer": "packer", "keeper": "keeper", "retainer": "retainer",
}  # fmt: skip


def _stock(table: Table) -> dict[PartKind, tuple[StockSize, ...]]:
    found = {kind: read_stock(table, key, signed=kind in OFFSETS) for kind, key in STOCK.items()}
    return {kind: sizes for kind, sizes in found.items() if sizes}


def _stack(table: Table, fitted: dict[str, Column], row: int) -> Stack:
    """What a row says is fitted; keepers and retainer are plain ones where it says nothing."""

    def one(name: str) -> float | None:
        return _one(table, fitted[name], row, signed=_STATED[name] in OFFSETS) if name in fitted else None

    shims = sizes_in(table, fitted["shims"], row) if "shims" in fitted else ()
    return Stack(tuple(sorted(shims, reverse=True)), one("packer"), one("keeper") or 0.0, one("retainer") or 0.0)


def _one(table: Table, column: Column, row: int, *, signed: bool = False) -> float | None:
    """The one size in a cell, or None."""
    sizes = sizes_in(table, column, row, signed=signed)
    if len(sizes) > 1:
        raise table.bad(row, column, "one size")
    return sizes[0] if sizes else None


def _refuse_twice(table: Table, column: Column) -> None:
    """Refuse a spring that stands at two positions."""
    seen: set[str] = set()
    for row, spring in enumerate(table.texts(column)):
        if spring and spring in seen:
            raise BadFile(
                table.file,
                table.place(row, column),
                Phrase("spring {spring} twice", spring=f"{spring!r}"),
                "each spring at one position",
            )
        seen.add(spring)


def _max_shims(table: Table) -> int:
    value = table.quantity("max shims", "number")
    if value is None:
        return 3
    if value != int(value) or not 0 <= value <= MOST_SHIMS:
        raise table.bad_key("max shims", f"{value:g}", f"a whole number from 0 to {MOST_SHIMS}")
    return int(value)
