"""Tables that are typed: rows of cells as they stand, what a cell takes, and the edits a person makes.

A grid is what `entry_kinds` makes of a table's text and writes as one; every edit gives a new grid.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from functools import lru_cache

from valvelab.errors import BadQuantity
from valvelab.files.column_names import height_of, lobe_name, plain_name, split_header
from valvelab.language import say
from valvelab.phrase import Phrase
from valvelab.units import (
    CANONICAL,
    FACTORS,
    LARGEST,
    AngleKind,
    Dimension,
    factor,
    parse_angle,
    split_quantity,
)

Row = tuple[str, ...]
Place = tuple[int, int]
"""Row and column of a cell, counted from 0."""


@dataclass(frozen=True, slots=True)
class Grid:
    """A table as it is typed. form: what its preamble states, by key. heads: as in a file, units in brackets.

    A cell that could not be read holds what was typed.
    """

    form: tuple[tuple[str, str], ...] = ()
    heads: Row = ()
    rows: tuple[Row, ...] = ()

    def said(self, key: str) -> str:
        """What the form states under a key; empty where nothing is."""
        return next((value for known, value in self.form if known == key), "")

    def cell(self, row: int, column: int) -> str:
        """The text of a cell; empty below the last row."""
        return self.rows[row][column] if row < len(self.rows) else ""


@dataclass(frozen=True, slots=True)
class Takes:
    """What the cells below a head take: a quantity in `unit`, at least `least` (more than that where `above`)."""

    dimension: Dimension
    unit: str
    least: float = float("-inf")
    above: bool = False
    turn: AngleKind | None = None


@lru_cache(maxsize=4096)
def takes(kind: str, head: str) -> Takes | None:
    """What a column of a kind of table takes; None for names and other words."""
    title, unit = split_header(head)
    if unit is None:
        return Takes("number", "") if kind == "gauge study" and plain_name(title) == "reading" else None
    bare = unit.removeprefix("cam ").removeprefix("crank ")
    order: tuple[Dimension, ...] = ("length", "force", "angle", "stress", "mass", "time", "frequency", "speed")
    found = next((one for one in order if bare in FACTORS[one]), None)
    if found is None:
        return None
    if plain_name(title) == "squareness":
        return Takes(found, unit, 0.0)
    if found == "angle":
        turn: AngleKind | None = "crank" if unit.startswith("crank") else "cam" if unit.startswith("cam") else None
        return Takes("angle", unit, turn=turn)
    if kind in {"spring readings", "lash sheet"} and plain_name(title) != "offset":
        return Takes(found, unit, 0.0, above=found == "length" and plain_name(title) != "clearance")
    above = kind in {"heights", "phasing sheet"} and found == "length"
    return Takes(found, unit, 0.0, above=True) if above else Takes(found, unit)


def taken(kind: str, head: str, typed: str) -> str:
    """The text that stands in a cell once this was typed: a number in the column's unit, or a name.

    Raises BadQuantity where it can't be read, or is none that the column takes.
    """
    words = " ".join(typed.split())
    wanted = takes(kind, head)
    if wanted is None or not words:
        return words.lstrip("# ")
    title = split_header(head)[0]
    number, unit = split_quantity(words, title)
    scale = 1.0
    if wanted.turn is not None and unit:
        number = parse_angle(words, wanted.turn, title)
    elif unit:
        scale = factor(unit, wanted.dimension, title) / _scale(wanted)
    value = number * scale
    shown = f"{value:g} {wanted.unit}".rstrip()
    if value < wanted.least or (wanted.above and value == wanted.least):
        raise BadQuantity(title, shown, f"{'more than' if wanted.above else 'at least'} {wanted.least:g}")
    if abs(value) * _scale(wanted) > LARGEST[wanted.dimension]:
        expected = f"at most {LARGEST[wanted.dimension]:g} {CANONICAL[wanted.dimension]}".rstrip()
        raise BadQuantity(title, shown, expected)
    return _as_typed(words, unit, value) if scale == 1.0 else f"{value:.8g}"


def _scale(wanted: Takes) -> float:
    return 1.0 if wanted.turn is not None else FACTORS[wanted.dimension][wanted.unit]


def _as_typed(words: str, unit: str, value: float) -> str:
    """The digits that were typed, its noughts at the end as well, where they are a plain number of that value."""
    digits = words.removesuffix(unit).replace(" ", "").rstrip(",;").replace(",", ".").replace("−", "-").lstrip("+")
    return digits if re.fullmatch(r"-?\d+(\.\d+)?", digits) and float(digits) == value else f"{value:.10g}"


@lru_cache(maxsize=65536)
def _read(kind: str, head: str, text: str) -> tuple[float | None, str]:
    """The number in a cell's text, or why there is none; neither for an empty cell and for words."""
    try:
        stands = taken(kind, head, text)
    except BadQuantity as error:
        return None, say(str(error))
    return (float(stands) if stands and takes(kind, head) is not None else None), ""


def wrong(kind: str, head: str, text: str) -> str:
    """Why a cell's text can't be read; empty where it can."""
    return _read(kind, head, text)[1]


def number_in(kind: str, head: str, text: str) -> float | None:
    """The number in a cell, in the column's unit; None for an empty one and for one that can't be read."""
    return _read(kind, head, text)[0]


# -- edits ------------------------------------------------------------------------------------------------------------


def with_form(grid: Grid, key: str, value: str) -> Grid:
    """The grid whose form states this; an empty value states nothing."""
    words = " ".join(value.split())
    new = tuple((known, words if known == key else old) for known, old in grid.form)
    if all(known != key for known, _ in grid.form):
        new = (*new, (key, words))
    return replace(grid, form=tuple(pair for pair in new if pair[1]))


def with_cell(kind: str, grid: Grid, row: int, column: int, typed: str) -> Grid:
    """The grid with this typed into a cell; a row that had no name takes the next one. What can't be read stays."""
    return with_cells(kind, grid, {(row, column): typed})


def with_cells(kind: str, grid: Grid, typed: dict[Place, str]) -> Grid:
    """The grid with these typed into its cells; otherwise as `with_cell`."""
    blank = ("",) * len(grid.heads)
    rows = [*grid.rows, *[blank] * (1 + max(row for row, _ in typed) - len(grid.rows))]
    changed = {row: list(rows[row]) for row in sorted({row for row, _ in typed})}
    for (row, column), text in typed.items():
        try:
            changed[row][column] = taken(kind, grid.heads[column], text)
        except BadQuantity:
            changed[row][column] = " ".join(text.split())
    names = takes(kind, grid.heads[0]) is None
    for row, cells in changed.items():
        if names and not cells[0] and any(cells[1:]):
            cells[0] = next_name(rows[row - 1][0] if row else "")
        rows[row] = tuple(cells)
    while rows and not any(rows[-1]):
        rows.pop()
    return replace(grid, rows=tuple(rows))


def next_name(name: str) -> str:
    """The name after one: `Q09` gives `Q10`, none gives `1`; empty after one without a number."""
    match = re.search(r"\d+$", name)
    if match is None:
        return "" if name else "1"
    return f"{name[: match.start()]}{int(match[0]) + 1:0{len(match[0])}d}"


def emptied(grid: Grid, places: set[Place]) -> Grid:
    """The grid with these cells empty; rows stay where they are."""
    rows = [
        tuple("" if (at, column) in places else text for column, text in enumerate(row))
        for at, row in enumerate(grid.rows)
    ]
    while rows and not any(rows[-1]):
        rows.pop()
    return replace(grid, rows=tuple(rows))


def with_row(grid: Grid, at: int, name: str = "") -> Grid:
    """The grid with one more row above row `at`: an empty one, or a further one under the same name."""
    new = (name, *("",) * (len(grid.heads) - 1))
    return replace(grid, rows=(*grid.rows[:at], new, *grid.rows[at:]))


def without_rows(grid: Grid, rows: set[int]) -> Grid:
    """The grid without these rows."""
    return replace(grid, rows=tuple(row for at, row in enumerate(grid.rows) if at not in rows))


def with_heads(grid: Grid, heads: Row) -> Grid:
    """The grid with further columns, empty; heads that are there already stay as they are."""
    new = tuple(head for head in dict.fromkeys(heads) if head_like(grid.heads, head) is None)
    blank = ("",) * len(new)
    return replace(grid, heads=(*grid.heads, *new), rows=tuple((*row, *blank) for row in grid.rows))


def without_head(grid: Grid, column: int) -> Grid:
    """The grid without a column."""
    rows = tuple((*row[:column], *row[column + 1 :]) for row in grid.rows)
    return replace(grid, heads=(*grid.heads[:column], *grid.heads[column + 1 :]), rows=rows)


def head_like(heads: Row, head: str) -> int | None:
    """The column that a head means: that of the same name, lobe or height, whatever its unit."""
    return next((at for at, known in enumerate(heads) if _same(split_header(known)[0], split_header(head)[0])), None)


@lru_cache(maxsize=4096)
def _same(first: str, second: str) -> bool:
    if plain_name(first) == plain_name(second):
        return True
    one, other = height_of(first), height_of(second)
    if one is not None and other is not None:
        return abs(one.mm - other.mm) < 1e-6
    return lobe_name(first) is not None and lobe_name(first) == lobe_name(second)


# -- laying out -------------------------------------------------------------------------------------------------------

_MOST_ROWS = 2000


def series(text: str) -> tuple[str, ...]:
    """The names or places of `Q01 to Q16`, `0 to 355 by 5`; of anything else, itself. Raises BadQuantity."""
    span, _, step = text.partition(" by ")
    first, to, last = (part.strip() for part in span.partition(" to "))
    if not to:
        return (" ".join(text.split()),) if text.strip() else ()
    match = re.fullmatch(r"(.*?\D)?0*(\d+)", first)
    prefix = (match[1] or "") if match else ""
    if match and prefix.strip("-+") and last.startswith(prefix):
        digits = len(first) - len(prefix)
        start, end = int(match[2]), int(split_quantity(last.removeprefix(prefix), "last")[0])
        _refuse_many(end - start)
        return tuple(f"{prefix}{number:0{digits}d}" for number in range(start, end + 1))
    begin, end_at = split_quantity(first, "first")[0], split_quantity(last, "last")[0]
    by = split_quantity(step, "step")[0] if step.strip() else 1.0
    if by == 0.0 or (end_at - begin) / by < 0.0:
        raise BadQuantity("step", f"{by:g}", "a step that leads from the first to the last")
    count = int((end_at - begin) / by + 1e-9)
    _refuse_many(count)
    return tuple(f"{begin + n * by:.10g}" for n in range(count + 1))


def further(grid: Grid, text: str, what: str) -> tuple[str, ...]:
    """Names of rows to be laid out: so many free ones after the last where a count was typed, else as `series`.

    Raises BadQuantity, also where the last name leads to no next one.
    """
    count = text.strip()
    if not count.isdecimal():
        return series(text)
    if not int(count[:9]):
        raise BadQuantity(what, count, Phrase("from 1 to {most}", most=_MOST_ROWS))
    _refuse_many(int(count[:9]) - 1)
    taken = {row[0] for row in grid.rows}
    name, names = next((row[0] for row in reversed(grid.rows) if row[0]), ""), list[str]()
    while len(names) < int(count):
        before, name = name, next_name(name)
        if not name:
            raise BadQuantity(
                what,
                Phrase("{count} more after {before}", count=count, before=repr(before)),
                "their first and last name",
            )
        if name not in taken:
            names.append(name)
    return tuple(names)


def _refuse_many(count: int) -> None:
    if not 0 <= count < _MOST_ROWS:
        raise BadQuantity("rows", f"{count + 1}", Phrase("from 1 to {most}", most=_MOST_ROWS))


def laid_out(grid: Grid, names: Row) -> Grid:
    """The grid with a row for each of these names or places, below the rows that are there."""
    blank = ("",) * (len(grid.heads) - 1)
    return replace(grid, rows=(*grid.rows, *((name, *blank) for name in names)))
