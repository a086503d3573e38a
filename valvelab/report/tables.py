"""Tables of the certificate: repeated heads, units under the heads, verdict marks in cells."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any, Literal
from xml.sax.saxutils import escape

from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase.pdfmetrics import getAscentDescent

from valvelab.report.blocks import Layout, Together, flowables, text_style
from valvelab.report.page_layout import Flowable, LongTable, Spacer, TableStyle, TextFlow
from valvelab.report.page_model import Style
from valvelab.report.paper import BOLD, MM, REGULAR, Paper, text_width, write
from valvelab.report.symbols import draw_symbol
from valvelab.tables.description import Cell, Mark, Table

CELL, LEAST_CELL = 8.5, 7.0
"""Points of a table's type: the usual, and the least where a wide one would not fit."""
BROKEN = 95.0
"""Points that a column at least has whose text may be broken."""
PAD = 3.0
KEPT_ROWS = 24


class MarkFlow(Flowable):
    """A verdict in a table cell: shape, then word."""

    def __init__(self, mark: Mark, look: Paper, size: float) -> None:
        super().__init__()
        self._mark = mark
        self._look = look
        self._size = size
        self.width = mark_width(mark, size)
        self.height = 1.32 * size

    def wrap(self, aW: float, aH: float) -> tuple[float, float]:  # noqa: ARG002 - the layout library's signature
        """Size of symbol and word."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw symbol and word."""
        colour = self._look.of(self._mark.decision)
        middle = 0.5 * self.height
        times = self._size / LEAST_CELL
        draw_symbol(self.canv, self._mark.decision, 4.0 * times, middle - 0.4, 3.0 * times, colour, self._look)
        write(self.canv, self._mark.decision, (10.0 * times, middle - 0.36 * self._size), self._size, colour, font=BOLD)


class LineFlow(Flowable):
    """A cell of one line, placed as running text is: whoever has many cells is spared laying out each."""

    def __init__(self, text: str, style: ParagraphStyle) -> None:
        super().__init__()
        self._text = text
        self._style = style
        self.width = 0.0
        self.height = float(style.leading)

    def wrap(self, aW: float, aH: float) -> tuple[float, float]:  # noqa: ARG002 - the layout library's signature
        """The width that there is, and the height of a line."""
        self.width = aW
        return self.width, self.height

    def draw(self) -> None:
        """Draw the line at its end of the cell."""
        look, right = self._style, self._style.alignment == TA_RIGHT
        place = (self.width if right else 0.0, self.height - getAscentDescent(look.fontName, look.fontSize)[0])
        end: Literal["left", "right"] = "right" if right else "left"
        write(self.canv, self._text, place, look.fontSize, look.textColor, font=look.fontName, end=end)


def mark_width(mark: Mark, size: float) -> float:
    """Width of a verdict in a cell."""
    return 10.0 * size / LEAST_CELL + text_width(mark.decision, size, BOLD)


@flowables.register
def _(block: Table, layout: Layout) -> list[Flowable]:
    if not block.rows:
        return []
    block = sized(block, layout.width, layout.look.size)
    heads = 1 + bool(block.units)
    widths = column_widths(block, layout.width, layout.look.size)
    rows: list[list[Any]] = [
        list(_cells(block.header, block, widths, layout.look, "strong")),
    ]
    if block.units:
        rows.append(list(_cells(block.units, block, widths, layout.look, "small")))
    rows += [list(_cells(row, block, widths, layout.look, "body")) for row in block.rows]
    table = LongTable(rows, colWidths=widths, repeatRows=heads, hAlign="LEFT", splitInRow=1)
    style = TableStyle([
        ("FONTNAME", (0, 0), (-1, -1), REGULAR),
        ("VALIGN", (0, 0), (-1, -1), "TOP"), ("VALIGN", (0, 0), (-1, heads - 1), "BOTTOM"),
        ("LEFTPADDING", (0, 0), (-1, -1), PAD), ("RIGHTPADDING", (0, 0), (-1, -1), PAD),
        ("TOPPADDING", (0, 0), (-1, -1), 1.3), ("BOTTOMPADDING", (0, 0), (-1, -1), 1.6),
        ("LINEBELOW", (0, heads - 1), (-1, heads - 1), 0.7, layout.look.of("quiet")),
        ("LINEBELOW", (0, -1), (-1, -1), 0.4, layout.look.of("line")),
        ("ROWBACKGROUNDS", (0, heads), (-1, -1), [layout.look.of("paper"), layout.look.of("stripe")]),
    ])  # fmt: skip
    table.setStyle(style)
    parts: list[Flowable] = []
    if block.title:
        title = TextFlow(escape(block.title), text_style("strong", layout.look, size=9.0))
        title.keepWithNext = 1
        parts += [title, Spacer(1, 0.8 * MM)]
    together: list[Flowable] = [*parts, table]
    if len(rows) <= KEPT_ROWS:
        together = [Together(together)]
    return [*together, Spacer(1, 3.5 * MM)]


def _cells(row: Sequence[Cell], block: Table, widths: Sequence[float], look: Paper, style: Style) -> Iterator[Flowable]:
    points = type_size(block) - (0.8 if style == "small" else 0.0)
    size = points * look.size
    looks = [text_style(style, look, right=right, size=points) for right in (False, True)]
    for column, cell in enumerate(row):
        if isinstance(cell, Mark):
            yield MarkFlow(cell, look, size)
            continue
        like = looks[column >= block.left and column not in block.flush_left]
        one_line = cell.isprintable() and "  " not in cell and cell.strip() == cell
        if one_line and text_width(cell, size, like.fontName) <= widths[column] - 2.0 * PAD:
            yield LineFlow(cell, like)
        else:
            yield TextFlow(escape(cell), like)


def type_size(block: Table) -> float:
    """Points of a table's type on a page of the usual size."""
    return block.type_size or CELL


def sized(block: Table, width: float, times: float = 1.0) -> Table:
    """The table in the largest type, `times` its size, in which nothing is broken that should not be."""
    if block.type_size:
        return block
    points = CELL
    while points > LEAST_CELL and not _fits(replace(block, type_size=points), width, times):
        points -= 0.5
    return replace(block, type_size=points)


def _fits(block: Table, width: float, times: float) -> bool:
    needs = needed_widths(block, times)
    if block.widths:
        shares = [width * share / sum(block.widths) for share in block.widths]
        return all(
            need <= share
            for column, (need, share) in enumerate(zip(needs, shares, strict=True))
            if column not in block.wrap
        )
    return sum(min(need, BROKEN) if column in block.wrap else need for column, need in enumerate(needs)) <= width


def _words(head: str, size: float) -> list[str]:
    """The pieces of a head that stay on one line: of large type its words."""
    return head.split() if size > CELL else [head]


def column_widths(block: Table, width: float, times: float = 1.0) -> list[float]:
    """Widths in points: stated shares, or what text `times` its size needs, wrapping columns taking the rest."""
    if block.widths:
        return [width * share / sum(block.widths) for share in block.widths]
    needs = needed_widths(block, times)
    spare = width - sum(need for column, need in enumerate(needs) if column not in block.wrap)
    if block.wrap and spare > 0.0:
        wanted = sum(needs[column] for column in block.wrap)
        return [spare * need / wanted if column in block.wrap else need for column, need in enumerate(needs)]
    total = sum(needs)
    if total > width:
        kept = needs[: block.left] if sum(needs[: block.left]) < width / 3.0 else []
        rest = needs[len(kept) :]
        return [*kept, *((width - sum(kept)) * need / sum(rest) for need in rest)]
    extra = min(12.0, (width - total) / len(needs))
    return [need + extra for need in needs]


def needed_widths(block: Table, times: float = 1.0) -> list[float]:
    """Widths in points that no text of a column need be broken for, of so many times its size."""
    return [_need(block, column, type_size(block) * times) for column in range(len(block.header))]


def _need(block: Table, column: int, size: float) -> float:
    texts = [text_width(word, size, BOLD) for word in _words(block.header[column], type_size(block))]
    if block.units:
        texts.append(text_width(block.units[column], size * (1.0 - 0.8 / type_size(block))))
    for row in block.rows:
        cell = row[column]
        texts.append(mark_width(cell, size) if isinstance(cell, Mark) else text_width(cell, size))
    return max(texts) + 2.0 * PAD + 1.0
