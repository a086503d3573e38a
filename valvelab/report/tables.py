"""Tables of the certificate: repeated heads, units under the heads, verdict marks in cells."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from html import escape
from typing import Literal

from reportlab.pdfgen.canvas import Canvas

from valvelab.report.blocks import Layout, RunningText, Together, flowables, text_style
from valvelab.report.grid import MARK, Entry, Grid, Pads, Row, Setting, entry
from valvelab.report.page_layout import Flowable, Spacer
from valvelab.report.page_model import Style
from valvelab.report.paper import BOLD, MM, REGULAR, Paper, fill_with, rule, text_width
from valvelab.tables.description import Cell, Mark, Table

CELL, LEAST_CELL = 8.5, 7.0
"""Points of a table's type: the usual, and the least where a wide one would not fit."""
BROKEN = 95.0
"""Points that a column at least has whose text may be broken."""
PAD = 3.0
KEPT_ROWS = 24


PADS = Pads(PAD, PAD, 1.3, 1.6)
FONTS: dict[Style, str] = {"strong": BOLD, "small": REGULAR, "body": REGULAR}


def mark_width(mark: Mark, size: float) -> float:
    """Width of a verdict in a cell."""
    return MARK * size + text_width(mark.decision, size, BOLD)


@flowables.register
def _(block: Table, layout: Layout) -> list[Flowable]:
    if not block.rows:
        return []
    block = loosened(sized(block, layout.width, layout.look.size), layout.width, layout.look.size)
    heads = 1 + bool(block.units)
    widths = column_widths(block, layout.width, layout.look.size)
    styles: list[tuple[Sequence[Cell], Style]] = [(block.header, "strong")]
    if block.units:
        styles.append((block.units, "small"))
    styles += [(row, "body") for row in block.rows]
    rows = [_row(row, block, widths, layout.look, style) for row, style in styles]
    table = Grid(rows, widths, PADS, layout.look, _stripes(layout.look), heads)
    parts: list[Flowable] = []
    if block.title:
        title = RunningText(escape(block.title), text_style("strong", layout.look, size=9.0))
        title.keepWithNext = 1
        parts += [title, Spacer(1, 0.8 * MM)]
    together: list[Flowable] = [*parts, table]
    if len(rows) <= KEPT_ROWS:
        together = [Together(together)]
    return [*together, Spacer(1, 2.5 * MM)]


def _row(row: Sequence[Cell], block: Table, widths: Sequence[float], look: Paper, style: Style) -> Row:
    size = (type_size(block) - (0.8 if style == "small" else 0.0)) * look.size
    colour = look.of("quiet" if style == "small" else "text")
    settings = [Setting(size, colour, FONTS[style], right, split_words=style != "strong") for right in (False, True)]

    def of(column: int, cell: Cell) -> Entry:
        if isinstance(cell, Mark):
            return Entry((cell.decision,), settings[0], cell.decision)
        how = settings[column >= block.left and column not in block.flush_left]
        return entry(cell, how, widths[column] - 2.0 * PAD)

    kinds: tuple[Literal["TH", "TD"], ...] = ("TD" if style == "body" else "TH",) * len(row)
    return Row(tuple(of(*cell) for cell in enumerate(row)), kinds, low=style != "body")


def _stripes(look: Paper) -> Callable[[Canvas, Grid], None]:
    """Every other row shaded, a rule under the heads and one at the foot."""

    def draw(canvas: Canvas, grid: Grid) -> None:
        top = grid.height
        for number, height in enumerate(grid.heights):
            top -= height
            if number >= grid.heads and (number - grid.heads) % 2:
                fill_with(canvas, look.of("stripe"))
                canvas.rect(0.0, top, grid.width, height, stroke=0, fill=1)
        under = grid.height - sum(grid.heights[: grid.heads])
        rule(canvas, look.of("quiet"), 0.7, (0.0, under, grid.width, under))
        rule(canvas, look.of("line"), 0.4, (0.0, 0.0, grid.width, 0.0))

    return draw


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


def loosened(block: Table, width: float, times: float = 1.0) -> Table:
    """The table with columns of words broken too, the widest first, where it does not fit without."""
    needs = needed_widths(block, times)
    words = {*range(block.left), *block.flush_left} - {*block.wrap}
    for column in sorted(words, key=lambda column: -needs[column]):
        if block.widths or _fits(block, width, times):
            break
        block = replace(block, wrap=(*block.wrap, column))
    return block


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
        shares = _shares([needs[column] for column in block.wrap], spare)
        given = dict(zip(block.wrap, shares, strict=True))
        return [given.get(column, need) for column, need in enumerate(needs)]
    total = sum(needs)
    if total > width:
        kept = needs[: block.left] if sum(needs[: block.left]) < width / 3.0 else []
        rest = needs[len(kept) :]
        return [*kept, *((width - sum(kept)) * need / sum(rest) for need in rest)]
    extra = min(12.0, (width - total) / len(needs))
    return [need + extra for need in needs]


def _shares(needs: Sequence[float], spare: float) -> list[float]:
    """What columns get of the width that is left: as they need, but none less than it needs or can be read in."""
    shares = [spare * need / sum(needs) for need in needs]
    least = [min(need, BROKEN, spare / len(needs)) for need in needs]
    if all(share >= low for share, low in zip(shares, least, strict=True)):
        return shares
    over = [need - low for need, low in zip(needs, least, strict=True)]
    return [low + (spare - sum(least)) * more / sum(over) for low, more in zip(least, over, strict=True)]


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
