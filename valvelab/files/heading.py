"""Which row of a table is its header: titles, dates and the like may stand above it, a row of units below."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import compress, islice

from valvelab.errors import BadFile
from valvelab.files.body import Where
from valvelab.files.column_names import are_units, bare_unit, is_known, split_header
from valvelab.frozen import frozen

SEARCHED_ROWS = 50
SAMPLED_ROWS = 64


@frozen
class Heading:
    """Index of the header among the rows looked at, or None; of the first row of readings; and the units between."""

    header: int | None
    first: int
    units: tuple[str, ...] | None = None


def find_heading(rows: Sequence[Sequence[str]], numeric: Callable[[str], object]) -> Heading:
    """The header among the first rows of a file, blank ones left out.

    A row of two or more known names is the header; else the first row of words with numbers below them, unless readings
    began before it.
    """
    numbers = [frozenset(compress(range(len(row)), map(numeric, row))) for row in rows]
    searched = range(min(SEARCHED_ROWS, len(rows)))
    known = [sum(_known(cell) for index, cell in enumerate(rows[at]) if index not in numbers[at]) for at in searched]
    named = [at for at in searched if known[at] >= 2]
    if named:
        best = max(named, key=lambda at: (_stands_above(at, rows, numbers), known[at], -at))
        return below(rows, best)
    at = _words_above_numbers(rows, numbers)
    if at is not None:
        return below(rows, at)
    first = _first_below_titles(rows, numbers)
    if first is None and _is_header(rows, numbers):
        return below(rows, 0)
    return Heading(None, first or 0)


def told_or_found(
    file: str, line: str, rows: Sequence[tuple[int, Sequence[str]]], where: Where, numeric: Callable[[str], object]
) -> Heading:
    """The heading as `where` tells, `rows` beginning there; else as found among the first rows. Rows bear their number.

    Refuses a row told that holds nothing; `line` is what a row is called in this file.
    """
    for name, row in (("header", where.header), ("first row", where.first_row)):
        if row is not None and all(number != row for number, _ in rows):
            raise BadFile(file, f"{line} {row}", "no row of a table", f"a row that holds something, for {name}={row}")
    sample = [cells for _, cells in islice(rows, SAMPLED_ROWS)]
    if where.header is not None:
        return below(sample, 0)
    return Heading(None, 0) if where.first_row is not None else find_heading(sample, numeric)


def below(rows: Sequence[Sequence[str]], header: int) -> Heading:
    """The heading with the header at that index; a row of nothing but units right below belongs to it."""
    if header + 1 < len(rows) and are_units(rows[header + 1]):
        return Heading(header, header + 2, tuple(map(bare_unit, rows[header + 1])))
    return Heading(header, header + 1)


def with_units(header: Sequence[str], units: Sequence[str] | None) -> list[str]:
    """Header cells, each with the unit that stands below it where it names none itself."""
    if units is None:
        return list(header)
    padded = (*units, *("",) * (len(header) - len(units)))
    return [
        f"{cell} [{unit}]" if cell and unit and "[" not in cell and split_header(cell)[1] in {None, "deg"} else cell
        for cell, unit in zip(header, padded, strict=False)
    ]


def _known(cell: str) -> bool:
    return bool(cell) and len(cell) < 100 and is_known(split_header(cell)[0])


def _stands_above(at: int, rows: Sequence[Sequence[str]], numbers: Sequence[frozenset[int]]) -> bool:
    """Whether one of the next rows has numbers below the words of a row."""
    words = {index for index, cell in enumerate(rows[at]) if cell} - numbers[at]
    return any(words & held for held in numbers[at + 1 : at + 4])


def _words_above_numbers(rows: Sequence[Sequence[str]], numbers: Sequence[frozenset[int]]) -> int | None:
    """Index of the first row of words alone that stands above numbers which go on in the next row."""
    for at in range(min(SEARCHED_ROWS, len(rows) - 1)):
        if at and len(numbers[at - 1]) > 1 and numbers[at - 1] <= numbers[at]:
            return None
        words = {index for index, cell in enumerate(rows[at]) if cell}
        first = at + 2 if at + 2 < len(rows) and are_units(rows[at + 1]) else at + 1
        goes_on = first + 1 >= len(rows) or numbers[first] & numbers[first + 1]
        names = len(words) > 1 and numbers[first] & words and max(words) >= max(numbers[first])
        if not numbers[at] and names and goes_on and not are_units(rows[at]):
            return at
    return None


def _first_below_titles(rows: Sequence[Sequence[str]], numbers: Sequence[frozenset[int]]) -> int | None:
    """Index of the first row of readings, where what stands above names too few columns to be more than titles."""
    for at in range(min(SEARCHED_ROWS, len(rows) - 1)):
        if len(numbers[at]) > 1 and numbers[at] <= numbers[at + 1]:
            reach = [max((index for index, cell in enumerate(row) if cell), default=-1) for row in rows[:at]]
            titles = bool(reach) and max(reach) < max(numbers[at]) and not any(numbers[:at])
            return at if titles else None
    return None


def _is_header(rows: Sequence[Sequence[str]], numbers: Sequence[frozenset[int]]) -> bool:
    """A first row is a header when it has words where the next row has numbers, or nothing but words."""
    if not numbers[0]:
        return True
    if len(rows) == 1:
        return any("[" in cell for cell in rows[0])
    return any(cell and index not in numbers[0] and index in numbers[1] for index, cell in enumerate(rows[0]))
