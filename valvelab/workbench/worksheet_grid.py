"""The degree-wheel worksheet as a table of lobes: a row a lift, where it opens and closes, a pair near the peak."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import zip_longest

from valvelab.errors import BadQuantity
from valvelab.language import say
from valvelab.phasing.degreeing import EventReading, NosePair, Sheet
from valvelab.units import INCH_MM, System
from valvelab.workbench import worksheet_words
from valvelab.workbench.entry import Grid, Place, Row, number_in, wrong
from valvelab.workbench.worksheet import USUAL_LIFT_MM, Cell, lobes_of, value_of

KIND = "phasing sheet"
_COLUMNS = ("lift", "opening", "closing", "drop", "rising", "falling")


def heads(units: System) -> Row:
    """Heads of the table in metric or inch units."""
    length = "in" if units == "inch" else "mm"
    return ("lobe", f"lift [{length}]", "opens [deg]", "closes [deg]", f"below peak [{length}]", "rising [deg]",
            "falling [deg]")  # fmt: skip


def _rows(sheet: Sheet) -> Iterator[tuple[str, list[Cell | None]]]:
    """Lobe and cells of each row; None where the row has no events, or no pair."""
    for lobe in lobes_of(sheet):
        events = [n for n, event in enumerate(sheet.events) if event.lobe == lobe]
        pairs = [n for n, pair in enumerate(sheet.pairs) if pair.lobe == lobe]
        for event, pair in zip_longest(events, pairs):
            numbers = (("event", event),) * 3 + (("pair", pair),) * 3
            yield (
                lobe,
                [
                    None if n is None else Cell("event" if part == "event" else "pair", n, name)
                    for (part, n), name in zip(numbers, _COLUMNS, strict=True)
                ],
            )


def grid_of_sheet(sheet: Sheet, units: System) -> Grid:
    """The lobes of a sheet as a table."""
    rows = (
        (lobe, *("" if cell is None else _text(sheet, cell, units) for cell in cells)) for lobe, cells in _rows(sheet)
    )
    return Grid(heads=heads(units), rows=tuple(rows))


def _text(sheet: Sheet, cell: Cell, units: System) -> str:
    value = value_of(sheet, cell)
    if not isinstance(value, float):
        return ""
    inches = units == "inch" and cell.name in {"lift", "drop"}
    return f"{value / INCH_MM if inches else value:.8g}"


def misplaced(grid: Grid) -> dict[Place, str]:
    """Readings that no wheel and no lobe gives, and those whose lobe is not named, with the sentence that says why."""
    found: dict[Place, str] = {}
    for at, row in enumerate(grid.rows):
        for column, (head, text, name) in enumerate(zip(grid.heads[1:], row[1:], _COLUMNS, strict=True), start=1):
            if text and not row[0]:
                found[at, column] = say("the lobe of this row is wanted")
            elif text and not wrong(KIND, head, text):
                try:
                    _value(grid, at, column, name)
                except BadQuantity as error:
                    found[at, column] = say(str(error))
    return found


def _value(grid: Grid, at: int, column: int, name: str) -> float | None:
    """A cell's value in mm or deg; None for an empty or unreadable one. Raises BadQuantity for what no wheel gives."""
    number = number_in(KIND, grid.heads[column], grid.rows[at][column])
    if number is None:
        return None
    unit = " in" if grid.heads[column].endswith("[in]") else ""
    value = worksheet_words.read(Cell("event", 0, name), f"{number!r}{unit}", "metric")
    return value if isinstance(value, float) else None


def with_grid(sheet: Sheet, grid: Grid) -> tuple[Sheet, dict[Cell, Place]]:
    """The sheet with the lobes of a table, and where its cells stand there; what can't be read stays out."""
    out = misplaced(grid)
    events: list[EventReading] = []
    pairs: list[NosePair] = []
    places: dict[Cell, Place] = {}
    for at, row in enumerate(grid.rows):
        lift, opening, closing, drop, rising, falling = (
            None if (at, column) in out else _value(grid, at, column, name)
            for column, name in enumerate(_COLUMNS, start=1)
        )
        if row[0] and (lift, opening, closing) != (None, None, None):
            places |= {Cell("event", len(events), name): (at, n) for n, name in enumerate(_COLUMNS[:3], start=1)}
            events.append(EventReading(row[0], lift or USUAL_LIFT_MM, opening, closing))
        if row[0] and (drop, rising, falling) != (None, None, None):
            places |= {Cell("pair", len(pairs), name): (at, n) for n, name in enumerate(_COLUMNS[3:], start=4)}
            pairs.append(NosePair(row[0], drop or USUAL_LIFT_MM, rising, falling))
    return replace(sheet, events=tuple(events), pairs=tuple(pairs)), places
