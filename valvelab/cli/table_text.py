"""Tables as text: as wide as they are in a file; on a terminal no wider than it is, and no number is ever cut."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import zip_longest

from valvelab.cli.screen import Screen, wrapped
from valvelab.errors import one_line
from valvelab.frozen import frozen
from valvelab.records.result import Decision
from valvelab.tables.description import Mark, Table
from valvelab.tables.verdicts import cell_words

GAP = "  "
LEAST_WORDS = 12
"""Signs that a column of words keeps before the table is divided instead."""
UNCERTAINTY = "u"
"""The head of a column that belongs to the one before it."""


@frozen
class _Column:
    """A column as text. words: it stands flush left, and its cells may run over several lines."""

    head: str
    unit: str
    cells: tuple[str, ...]
    marks: tuple[Decision | None, ...]
    words: bool

    @property
    def widest(self) -> int:
        """Width in which nothing is broken."""
        return max(map(len, (self.head, self.unit, *self.cells)))

    @property
    def narrow(self) -> int:
        """Width in which the head alone is broken, between its words."""
        return max(map(len, ("", *self.head.split(), self.unit, *self.cells)))

    @property
    def least(self) -> int:
        """Width in which words are broken too; a number never is."""
        if not self.words:
            return self.narrow
        longest = max(map(len, (text for cell in (self.head, *self.cells) for text in cell.split())), default=0)
        return min(self.narrow, max(LEAST_WORDS, longest))

    def put(self, text: str, width: int) -> str:
        """The text at the column's side of so much room."""
        return text.ljust(width) if self.words else text.rjust(width)


def table_text(table: Table, screen: Screen | None = None) -> str:
    """A table as plain text, its units under the heads; on a terminal as it fits there."""
    columns = _columns(table)
    title = one_line(table.title)
    if screen is None:
        return "\n".join([*([title] if title else []), *_in_full(columns)])
    lines = list(_fitted(columns, min(table.left, len(columns)), screen))
    return "\n".join([*(screen.paint(line, "strong") for line in wrapped(title, screen.width) if title), *lines])


def _columns(table: Table) -> list[_Column]:
    units = table.units or ("",) * len(table.header)
    return [
        _Column(
            one_line(head),
            one_line(units[place]),
            tuple(one_line(cell_words(row[place])) for row in table.rows),
            tuple(cell.decision if isinstance(cell := row[place], Mark) else None for row in table.rows),
            words=place < table.left or place in table.flush_left,
        )
        for place, head in enumerate(table.header)
    ]


def _in_full(columns: Sequence[_Column]) -> Iterator[str]:
    """The lines of a table in which nothing is broken."""
    units = any(column.unit for column in columns)
    texts = []
    for column in columns:
        width = column.widest
        heads = [column.head, column.unit] if units else [column.head]
        put = [column.put(text, width) for text in (*heads, *column.cells)]
        texts.append([*put[: len(heads)], "─" * width, *put[len(heads) :]])
    return (GAP.join(line).rstrip() for line in zip(*texts, strict=True))


def _fitted(columns: Sequence[_Column], named: int, screen: Screen) -> Iterator[str]:
    """The lines of a table that fits: whole, in blocks of columns behind the names, or a paragraph a row."""
    widths = _widths(columns, screen.width)
    if widths is not None:
        yield from _lines(columns, widths, screen)
        return
    stub = list(columns[: named if named < len(columns) else 1])
    blocks = _blocks(stub, _groups(columns[len(stub) :]), screen.width)
    if blocks is None:
        yield from _paragraphs(columns, screen)
        return
    for number, block in enumerate(blocks):
        if number:
            yield ""
        yield from _lines(block, _widths(block, screen.width) or [], screen)


def _widths(columns: Sequence[_Column], room: int) -> list[int] | None:
    """Widths in which the columns stand beside one another, the least broken that fits; None where none does."""
    room -= len(GAP) * (len(columns) - 1)
    for widths in ([column.widest for column in columns], [column.narrow for column in columns]):
        if sum(widths) <= room:
            return widths
    least = [column.least for column in columns]
    spare = room - sum(least)
    if spare < 0:
        return None
    for place, column in enumerate(columns):  # what is left over goes to the first columns of words
        more = min(spare, column.narrow - least[place])
        least[place] += more
        spare -= more
    return least


def _groups(columns: Sequence[_Column]) -> list[list[_Column]]:
    """Columns that stay together: each figure with its uncertainty."""
    groups: list[list[_Column]] = []
    for column in columns:
        if groups and column.head == UNCERTAINTY:
            groups[-1].append(column)
        else:
            groups.append([column])
    return groups


def _blocks(stub: list[_Column], groups: Iterable[list[_Column]], room: int) -> list[list[_Column]] | None:
    """As many groups beside the names as fit, then the names again; None where one alone does not."""
    blocks: list[list[_Column]] = []
    for group in groups:
        if blocks and _widths([*blocks[-1], *group], room) is not None:
            blocks[-1] += group
        elif _widths([*stub, *group], room) is not None:
            blocks.append([*stub, *group])
        else:
            return None
    return blocks or None


def _lines(columns: Sequence[_Column], widths: Sequence[int], screen: Screen) -> Iterator[str]:
    heads = [_broken(column.head, width) for column, width in zip(columns, widths, strict=True)]
    tall = max(map(len, heads))
    yield from _row(columns, widths, [[""] * (tall - len(head)) + head for head in heads])
    if any(column.unit for column in columns):
        yield from _row(columns, widths, [[column.unit] for column in columns])
    yield GAP.join("─" * width for width in widths)
    for number in range(len(columns[0].cells)):
        cells = [_broken(column.cells[number], width) for column, width in zip(columns, widths, strict=True)]
        yield from _row(columns, widths, cells, screen, [column.marks[number] for column in columns])


def _broken(text: str, width: int) -> list[str]:
    return [text] if len(text) <= width else wrapped(text, width)


def _row(
    columns: Sequence[_Column],
    widths: Sequence[int],
    cells: Sequence[Sequence[str]],
    screen: Screen | None = None,
    marks: Sequence[Decision | None] = (),
) -> Iterator[str]:
    """One row, of as many lines as its tallest cell."""
    for pieces in zip_longest(*cells, fillvalue=""):
        put = [column.put(text, width) for column, text, width in zip(columns, pieces, widths, strict=True)]
        put[-1] = put[-1].rstrip()
        if screen is not None:
            put = [screen.paint(text, mark) for text, mark in zip_longest(put, marks)]
        yield GAP.join(put).rstrip()


def _paragraphs(columns: Sequence[_Column], screen: Screen) -> Iterator[str]:
    """A paragraph a row: every head with its value and unit, for a terminal too narrow for two columns."""
    for number in range(len(columns[0].cells)):
        told = [
            " ".join(filter(None, (column.head, column.cells[number], column.unit)))
            for column in columns
            if column.cells[number]
        ]
        yield from wrapped(", ".join(told), screen.width)
