"""What a table shows, without a toolkit: terminal, paper and window draw the same columns and the same texts."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

from valvelab.records.result import Decision
from valvelab.tables.decimals import Usual, figure
from valvelab.units import System, display_unit

Row = TypeVar("Row")


@dataclass(frozen=True, slots=True)
class Mark:
    """A verdict in a table cell: drawn as shape, word and colour."""

    decision: Decision


Cell = str | Mark


@dataclass(frozen=True, slots=True)
class Table:
    """Header, unit line and rows; the first `left` columns flush left, the others flush right.

    `flush_left` names further columns to set flush left; `wrap` names columns whose text may run over several lines.
    `widths` are relative; without them columns get what their text needs. Header and units repeat on every page.
    """

    header: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    units: tuple[str, ...] = ()
    left: int = 1
    widths: tuple[float, ...] = ()
    wrap: tuple[int, ...] = ()
    flush_left: tuple[int, ...] = ()
    title: str = ""


@dataclass(frozen=True, slots=True)
class Column(Generic[Row]):
    """One column over rows of a kind: a figure with its uncertainty, or words.

    head: the printed name. unit: canonical. value, u: the figure and its standard uncertainty in that unit. usual:
    decimals where no u is known. with_u: a column of u beside it. words: what stands there instead of a figure.
    tip: what it means.
    """

    head: str
    unit: str = ""
    value: Callable[[Row], float | None] | None = None
    u: Callable[[Row], float | None] | None = None
    usual: Usual | None = None
    with_u: bool = False
    words: Callable[[Row], Cell] | None = None
    tip: str = ""

    def cell(self, row: Row, system: System) -> Cell:
        """What stands in a row."""
        if self.words is not None:
            return self.words(row)
        return figure(self._value(row), self._u(row), self.unit, system, self.usual)

    def u_cell(self, row: Row, system: System) -> str:
        """The uncertainty beside it, to the same place."""
        return figure(self._u(row), self._u(row), self.unit, system, self.usual)

    def filled(self, rows: Iterable[Row]) -> bool:
        """Whether any row has something here."""
        return self.words is not None or any(self._value(row) is not None for row in rows)

    def known_u(self, rows: Iterable[Row]) -> bool:
        """Whether a column of u belongs beside it."""
        return self.with_u and any(self._u(row) is not None for row in rows)

    def label(self, system: System) -> str:
        """The unit as it is printed."""
        return display_unit(self.unit, system).label

    def _value(self, row: Row) -> float | None:
        return None if self.value is None else self.value(row)

    def _u(self, row: Row) -> float | None:
        return None if self.u is None else self.u(row)


def table_of(
    rows: Sequence[Row], columns: Sequence[Column[Row]], system: System, title: str = "", *, keep_empty: bool = False
) -> Table:
    """The rows under the columns; columns that no row fills are left out unless they are to be kept."""
    shown = [column for column in columns if keep_empty or column.filled(rows)]
    header: list[str] = []
    units: list[str] = []
    for column in shown:
        beside = column.known_u(rows)
        header += [column.head, *["u"] * beside]
        units += [column.label(system)] * (1 + beside)
    cells = [
        tuple(cell for column in shown for cell in _cells(column, row, system, beside=column.known_u(rows)))
        for row in rows
    ]
    left = next((number for number, column in enumerate(shown) if column.words is None), len(shown))
    plain = tuple(units) if any(units) else ()
    return Table(tuple(header), tuple(cells), plain, left=left, flush_left=_words_after(shown, rows, left), title=title)


def _cells(column: Column[Row], row: Row, system: System, *, beside: bool) -> list[Cell]:
    return [column.cell(row, system), *([column.u_cell(row, system)] if beside else [])]


def _words_after(columns: Sequence[Column[Row]], rows: Sequence[Row], left: int) -> tuple[int, ...]:
    """Columns of words that stand after figures."""
    found, place = [], 0
    for number, column in enumerate(columns):
        if column.words is not None and number >= left:
            found.append(place)
        place += 1 + column.known_u(rows)
    return tuple(found)
