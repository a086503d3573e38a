"""What a table shows, without a toolkit: terminal, paper and window draw the same columns and the same texts."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from functools import partial
from operator import itemgetter
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from valvelab.decimals import Usual, decimals_of, stated_u
from valvelab.frozen import frozen
from valvelab.inspection.characteristics import Characteristic
from valvelab.language import word
from valvelab.pieces import in_pieces
from valvelab.units import System, display_unit, show

if TYPE_CHECKING:
    from valvelab.records.result import Decision

Row = TypeVar("Row")


@frozen
class Mark:
    """A verdict in a table cell: drawn as shape, word and colour."""

    decision: Decision


Cell = str | Mark
BOX = "[\u00a0\u00a0\u00a0\u00a0]"
"""A box to tick on paper."""


def counted(many: int, what: str) -> str:
    """`1 spring`, `2 springs`."""
    return f"{many} {what}" if many == 1 else f"{many} {what}s"


@frozen
class Table:
    """Header, unit line and rows; the first `left` columns flush left, the others flush right.

    `flush_left` names further columns to set flush left; `wrap` names columns whose text may run over several lines.
    `widths` are relative; without them columns get what their text needs. Header and units repeat on every page.
    `type_size`: points of its type on paper, where that is not the usual one.
    """

    header: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    units: tuple[str, ...] = ()
    left: int = 1
    widths: tuple[float, ...] = ()
    wrap: tuple[int, ...] = ()
    flush_left: tuple[int, ...] = ()
    title: str = ""
    type_size: float | None = None


@frozen
class Column(Generic[Row]):
    """One column over rows of a kind: a figure with its uncertainty, or words.

    head: the printed name. unit: canonical. value, u: the figure and its standard uncertainty in that unit. usual:
    decimals where no u is known. with_u: a column of u beside it. words: what stands there instead of a figure.
    after: what follows the figure. tip: what it means. decimals: the count that it was given, else each figure's own.
    """

    head: str
    unit: str = ""
    value: Callable[[Row], float | None] | None = None
    u: Callable[[Row], float | None] | None = None
    usual: Usual | None = None
    with_u: bool = False
    words: Callable[[Row], Cell] | None = None
    after: Callable[[Row], str] | None = None
    tip: str = ""
    decimals: int | None = None

    def over(self, rows: Iterable[Row], system: System) -> Column[Row]:
        """The column with one count of decimals for all its rows."""
        if self.value is None or self.decimals is not None:
            return self
        us = () if self.u is None else map(self.u, rows)
        return replace(self, decimals=decimals_of(us, self.unit, system, self.usual))

    def cell(self, row: Row, system: System) -> Cell:
        """What stands in a row."""
        if self.words is not None:
            return self.words(row)
        value = self._value(row)
        text = self._number(value, row, system)
        return text if self.after is None or value is None else f"{text} {word(self.after(row))}"

    def u_cell(self, row: Row, system: System) -> str:
        """The uncertainty beside it, to the same place."""
        return self._number(self._u(row), row, system)

    def filled(self, rows: Iterable[Row]) -> bool:
        """Whether any row has something here."""
        value = self.value
        return self.words is not None or (value is not None and any(value(row) is not None for row in rows))

    def known_u(self, rows: Iterable[Row]) -> bool:
        """Whether a column of u belongs beside it."""
        return self.with_u and any(self._u(row) is not None for row in rows)

    @property
    def is_number(self) -> bool:
        """Whether its cells stand flush right."""
        return self.value is not None

    def label(self, system: System) -> str:
        """The unit as it is printed."""
        return display_unit(self.unit, system).label

    def _number(self, number: float | None, row: Row, system: System) -> str:
        own = self.over((row,), system).decimals
        return show(number, self.unit, system, own)

    def _value(self, row: Row) -> float | None:
        return None if self.value is None else self.value(row)

    def _u(self, row: Row) -> float | None:
        return None if self.u is None else self.u(row)


def recorded_column(row: Characteristic, *, with_u: bool = True) -> Column[Any]:
    """A characteristic of records that hold it under its key; empty for one that does not."""
    value, u = partial(_field, key=row.key), u_of(row.key)
    return Column(row.head, row.unit, value, u, with_u=with_u and row.u_column, tip=row.explained)


def u_of(key: str) -> Callable[[Any], float | None]:
    """The standard uncertainty of a record's field."""
    return partial(stated_u, key=key)


def _field(record: Any, *, key: str) -> float | None:
    value: float | None = getattr(record, key, None)
    return value


def reached_by(column: Column[Any], of: Callable[[Any], Any]) -> Column[Any]:
    """The column for other rows, `of` each of which its own row is."""

    def read_of(read: Callable[[Any], Any] | None) -> Callable[[Any], Any] | None:
        return None if read is None else lambda row: read(of(row))

    found: dict[str, Any] = {name: read_of(getattr(column, name)) for name in ("value", "u", "words", "after")}
    return replace(column, **found)


def second(column: Column[Any]) -> Column[Any]:
    """The column for pairs, of the second of each."""
    return reached_by(column, itemgetter(1))


def named_pairs(named: Column[Any], columns: Iterable[Column[Any]]) -> tuple[Column[Any], ...]:
    """Columns for pairs: the name of the first of each, then these of the second."""
    assert named.words is not None
    words = named.words
    return (replace(named, words=lambda pair: words(pair[0])), *map(second, columns))


def table_of(
    rows: Sequence[Row], columns: Sequence[Column[Row]], system: System, title: str = "", *, keep_empty: bool = False
) -> Table:
    """The rows under the columns; columns that no row fills are left out unless they are to be kept."""
    filled = [column.over(rows, system) for column in columns if keep_empty or column.filled(rows)]
    shown = [(column, beside) for column in filled for beside in (False, True) if not beside or column.known_u(rows)]
    header = tuple("u" if beside else column.head for column, beside in shown)
    units = tuple(column.label(system) for column, _ in shown)
    cells = tuple(
        tuple(column.u_cell(row, system) if beside else column.cell(row, system) for column, beside in shown)
        for row in in_pieces(rows)
    )
    left = next((place for place, (column, _) in enumerate(shown) if column.is_number), len(shown))
    words_after = tuple(place for place, (column, _) in enumerate(shown) if place >= left and not column.is_number)
    return Table(header, cells, units if any(units) else (), left=left, flush_left=words_after, title=title)


@frozen
class Fact:
    """One characteristic of one item as a row of its own: its texts as the tables print them, and its numbers."""

    item: str
    name: str
    unit: str
    shown: str
    shown_u: str
    meaning: str
    value: float | None
    u: float | None

    @property
    def label(self) -> str:
        """Name and unit."""
        return f"{self.name}, {self.unit}" if self.unit else self.name


def facts(columns: Iterable[Column[Row]], row: Row, rows: Sequence[Row], system: System, item: str = "") -> list[Fact]:
    """One row's figures as a list, to the decimals that they have over all rows."""
    found = []
    for plain in columns:
        column = plain.over(rows, system)
        value, u = (None if of is None else of(row) for of in (column.value, column.u))
        text = str(column.cell(row, system))
        fact = Fact(item, column.head, column.label(system), text, column.u_cell(row, system), column.tip, value, u)
        found.append(fact)
    return found
