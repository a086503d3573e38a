"""Rows and columns of short texts, drawn straight on the page: no paragraph is laid out for a cell."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import accumulate
from typing import Literal

from reportlab.lib.colors import Color
from reportlab.pdfbase.pdfmetrics import getAscentDescent
from reportlab.pdfgen.canvas import Canvas

from valvelab.records.result import Decision
from valvelab.report.page_layout import Flowable
from valvelab.report.paper import BOLD, REGULAR, Paper, text_width, write
from valvelab.report.symbols import draw_symbol
from valvelab.report.tags import decoration, grouped, tagged

LEADING = 1.32
SPLIT_LINES = 20
"""A row of more lines than this may go on on the next page."""
MOST_CELLS = 2_000
"""Of a grid with more cells each row is told as one."""
MARK = 10.0 / 7.0
"""Room for a verdict's symbol, in sizes of type."""
_SPACES = re.compile(r"[ \t\n\r\f\v]+")


@dataclass(frozen=True, slots=True)
class Setting:
    """How the text of a cell is set."""

    size: float
    colour: Color
    font: str = REGULAR
    right: bool = False
    split_words: bool = True

    @property
    def leading(self) -> float:
        """From line to line in points."""
        return LEADING * self.size


@dataclass(frozen=True, slots=True)
class Entry:
    """A cell: lines of text, or one word that is a verdict."""

    lines: tuple[str, ...]
    setting: Setting
    decision: Decision | None = None


@dataclass(frozen=True, slots=True)
class Pads:
    """Blank inside the edges of every cell in points."""

    left: float
    right: float
    top: float
    bottom: float


@dataclass(frozen=True, slots=True)
class Row:
    """Cells side by side. above, below: blank besides the pads in points. low: whether texts stand at the foot."""

    cells: tuple[Entry, ...]
    kinds: tuple[Literal["TH", "TD", "P"], ...]
    above: float = 0.0
    below: float = 0.0
    low: bool = False

    @property
    def deep(self) -> float:
        """Height of the texts in points."""
        return max(len(cell.lines) * cell.setting.leading for cell in self.cells)


@lru_cache(maxsize=4096)
def broken(text: str, size: float, font: str, room: float, *, split_words: bool) -> tuple[str, ...]:
    """The text in lines of at most `room` points; `split_words` breaks words that are wider."""
    lines, line = [], ""
    for word in filter(None, _SPACES.split(text)):
        longer = f"{line} {word}" if line else word
        if text_width(longer, size, font) <= room:
            line = longer
            continue
        if line:
            lines.append(line)
        line = word
        while split_words and len(line) > 1 and text_width(line, size, font) > room:
            count = max(1, sum(wide <= room for wide in accumulate(text_width(sign, size, font) for sign in line)))
            lines.append(line[:count])
            line = line[count:]
    return (*lines, line)


def entry(text: str, setting: Setting, room: float) -> Entry:
    """A cell of a text, in as many lines as it takes."""
    return Entry(broken(text, setting.size, setting.font, room, split_words=setting.split_words), setting)


class Grid(Flowable):
    """Rows of cells. widths: of the columns in points. heads: so many rows are repeated on every page.

    under: draws what lies behind the texts. group: what all of it is told as.
    """

    def __init__(
        self,
        rows: Sequence[Row],
        widths: Sequence[float],
        pads: Pads,
        look: Paper,
        under: Callable[[Canvas, Grid], None],
        heads: int = 0,
        group: Literal["Table", "Sect"] = "Table",
        fine: bool | None = None,
    ) -> None:
        super().__init__()
        self.rows, self.widths, self.heads = tuple(rows), tuple(widths), heads
        self._pads, self._look, self._under, self._group = pads, look, under, group
        self._fine = len(self.rows) * len(self.widths) <= MOST_CELLS if fine is None else fine
        self.heights = [row.deep + row.above + row.below + pads.top + pads.bottom for row in self.rows]
        self.width, self.height = sum(self.widths), sum(self.heights)
        self.hAlign = "LEFT"

    def wrap(self, aW: float, aH: float) -> tuple[float, float]:  # noqa: ARG002 - the layout library's signature
        """Size taken, whatever is offered."""
        return self.width, self.height

    def split(self, aW: float, aH: float) -> list[Flowable]:  # noqa: ARG002 - the layout library's signature
        """What fits `aH` points, and the rest under the same heads; nothing where not even one row fits."""
        fits = sum(used <= aH for used in accumulate(self.heights))
        if fits >= len(self.rows):
            return [self]
        top, rest = self.rows[:fits], self.rows[fits:]
        if fits <= self.heads:
            top, rest = self.rows[: self.heads], self.rows[self.heads :]
            parts = _split_row(rest[0], aH - sum(self.heights[: self.heads]) - self._pads.top - self._pads.bottom)
            if parts is None:
                return []
            top, rest = (*top, parts[0]), (parts[1], *rest[1:])
        return [self._of(top), self._of((*self.rows[: self.heads], *rest))]

    def _of(self, rows: Sequence[Row]) -> Grid:
        return Grid(rows, self.widths, self._pads, self._look, self._under, self.heads, self._group, self._fine)

    def draw(self) -> None:
        """Draw what lies behind, then the texts."""
        canvas: Canvas = self.canv
        with decoration(canvas):
            self._under(canvas, self)
        with grouped(canvas, self._group):
            top = self.height
            for row, height in zip(self.rows, self.heights, strict=True):
                self._row(canvas, row, top - row.above - self._pads.top)
                top -= height

    def _row(self, canvas: Canvas, row: Row, top: float) -> None:
        deep = row.deep
        if self._group == "Sect":
            self._cells(canvas, row, top, deep, told=True)
        elif self._fine:
            with grouped(canvas, "TR"):
                self._cells(canvas, row, top, deep, told=True)
        else:
            with grouped(canvas, "TR"), tagged(canvas, row.kinds[0], columns=len(row.cells)):
                self._cells(canvas, row, top, deep, told=False)

    def _cells(self, canvas: Canvas, row: Row, top: float, deep: float, *, told: bool) -> None:
        left = 0.0
        for cell, kind, width in zip(row.cells, row.kinds, self.widths, strict=True):
            from_top = deep - len(cell.lines) * cell.setting.leading if row.low else 0.0
            if told:
                with tagged(canvas, kind, "" if self.heads or kind != "TH" else "Row"):
                    self._cell(canvas, cell, left, width, top - from_top)
            else:
                self._cell(canvas, cell, left, width, top - from_top)
            left += width

    def _cell(self, canvas: Canvas, cell: Entry, left: float, width: float, top: float) -> None:
        how, x = cell.setting, left + self._pads.left
        if cell.decision is not None:
            colour, middle = self._look.of(cell.decision), top - 0.5 * how.leading
            symbol = x + 0.4 * MARK * how.size
            draw_symbol(canvas, cell.decision, symbol, middle - 0.4, 0.3 * MARK * how.size, colour, self._look)
            write(canvas, cell.lines[0], (x + MARK * how.size, middle - 0.36 * how.size), how.size, colour, font=BOLD)
            return
        x = left + width - self._pads.right if how.right else x
        base = top - getAscentDescent(how.font, how.size)[0]
        for number, line in enumerate(cell.lines):
            end: Literal["left", "right"] = "right" if how.right else "left"
            write(canvas, line, (x, base - number * how.leading), how.size, how.colour, font=how.font, end=end)


def _split_row(row: Row, height: float) -> tuple[Row, Row] | None:
    """A tall row in two, the first of at most so many points; None for one that stays whole."""
    kept = int(height / max(cell.setting.leading for cell in row.cells))
    if kept < 1 or max(len(cell.lines) for cell in row.cells) <= SPLIT_LINES:
        return None
    first = tuple(replace(cell, lines=cell.lines[:kept]) for cell in row.cells)
    rest = tuple(replace(cell, lines=cell.lines[kept:] or ("",)) for cell in row.cells)
    return replace(row, cells=first, below=0.0), replace(row, cells=rest, above=0.0)
