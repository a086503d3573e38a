"""Turns the blocks of a certificate into what the page layout places."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import singledispatch
from xml.sax.saxutils import escape

from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfgen.canvas import Canvas

from valvelab.figures.description import Dial, Figure, HeatMap
from valvelab.report.dial import draw_dial
from valvelab.report.heat_map import draw_heat_map
from valvelab.report.page_layout import Flowable, KeepTogether, LongTable, Spacer, TableStyle, TextFlow, TopPadder
from valvelab.report.page_model import (
    Banner,
    Block,
    Box,
    FigureBlock,
    Heading,
    Identity,
    Letterhead,
    Paragraph,
    Pictures,
    Plot,
    Signatures,
    Style,
)
from valvelab.report.paper import BOLD, MM, REGULAR, Paper, rule, write
from valvelab.report.pictures import picture_reader
from valvelab.report.plots import Rectangle, draw_figure
from valvelab.report.symbols import draw_symbol
from valvelab.units import System

SIZES: dict[Style, float] = {"body": 8.5, "small": 7.5, "strong": 8.5}


def text_style(style: Style, look: Paper, *, right: bool = False, size: float | None = None) -> ParagraphStyle:
    """Layout of running text."""
    points = look.size * (SIZES[style] if size is None else size)
    return ParagraphStyle(
        style,
        fontName=BOLD if style == "strong" else REGULAR,
        fontSize=points,
        leading=1.32 * points,
        textColor=look.of("quiet" if style == "small" else "text"),
        alignment=TA_RIGHT if right else 0,
        splitLongWords=int(style != "strong"),
    )


@dataclass(frozen=True, slots=True)
class Layout:
    """What every block is drawn with: colours, units, and the width of the column in points."""

    look: Paper
    system: System
    width: float


class Drawing(Flowable):
    """A block of fixed size drawn by a function `draw(canvas, box)`."""

    def __init__(self, width: float, height: float, draw: Callable[[Canvas, Rectangle], None]) -> None:
        super().__init__()
        self.width = width
        self.height = height
        self._drawing = draw

    def wrap(self, aW: float, aH: float) -> tuple[float, float]:  # noqa: ARG002 - the layout library's signature
        """Size taken, whatever is offered."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw from the block's own lower left corner."""
        self._drawing(self.canv, Rectangle(0.0, 0.0, self.width, self.height))


class Together(KeepTogether):
    """Parts that stay on one page where they fit on one."""

    def __init__(self, parts: list[Flowable]) -> None:
        super().__init__(parts)
        self.parts = parts


def heading(title: str, layout: Layout, *, first: bool) -> Flowable:
    """A section's heading; the first one is the title of the paper."""
    size = 18.0 if first else 11.0 * layout.look.size

    def draw(canvas: Canvas, box: Rectangle) -> None:
        place = 0.0, box.bottom + 0.55 * size
        write(canvas, title, place, size, layout.look.of("heading"), font=BOLD, width=box.width)

    flowable = Drawing(layout.width, 1.85 * size, draw)
    flowable.keepWithNext = 1
    flowable.spaceBefore = 0.0 if first else 3.0 * MM
    return flowable


def under_heading(head: Flowable, parts: list[Flowable]) -> list[Flowable]:
    """Heading and parts, the first part on the heading's page."""
    if parts and isinstance(parts[0], Together):
        return [Together([head, *parts[0].parts]), *parts[1:]]
    return [head, *parts]


@singledispatch
def flowables(block: Block, layout: Layout) -> list[Flowable]:
    """What the layout places for one block on a sheet."""
    raise TypeError(f"no drawing for {type(block).__name__} in {layout}")


@flowables.register
def _(block: Paragraph, layout: Layout) -> list[Flowable]:
    return [TextFlow(escape(block.text), text_style(block.style, layout.look)), Spacer(1, 1.2 * MM)]


@flowables.register
def _(block: Heading, layout: Layout) -> list[Flowable]:
    return [heading(block.text, layout, first=True)]


MARK_WIDE_MM, MARK_HIGH_MM = 40.0, 16.0
PICTURES_ACROSS, PICTURE_HIGH_MM = 3, 24.0


@flowables.register
def _(block: Letterhead, layout: Layout) -> list[Flowable]:
    height = max(13.0 + 11.0 * len(block.lines) + 6.0, 0.0 if block.mark is None else MARK_HIGH_MM * MM + 4.0)

    def draw(canvas: Canvas, box: Rectangle) -> None:
        write(canvas, block.name, (0.0, box.height - 12.0), 12.0, layout.look.of("heading"), font=BOLD)
        for row, line in enumerate(block.lines, start=1):
            write(canvas, line, (0.0, box.height - 12.0 - 11.0 * row), 8.5, layout.look.of("text"))
        if block.mark is not None:
            reader = picture_reader(block.mark, "the mark")
            wide, high = _within(reader.getSize(), MARK_WIDE_MM * MM, MARK_HIGH_MM * MM)
            canvas.drawImage(reader, box.width - wide, box.height - high, wide, high, mask="auto")
        rule(canvas, layout.look.of("line"), 0.7, (0.0, 0.0, box.width, 0.0))

    return [Drawing(layout.width, height, draw), Spacer(1, 3.0 * MM)]


def _within(size: tuple[int, int], wide: float, high: float) -> tuple[float, float]:
    """The greatest size of the same shape inside a box."""
    times = min(wide / size[0], high / size[1])
    return size[0] * times, size[1] * times


@flowables.register
def _(block: Pictures, layout: Layout) -> list[Flowable]:
    gap = 10.0
    each = (layout.width - gap * (PICTURES_ACROSS - 1)) / PICTURES_ACROSS
    rows = [block.pictures[start : start + PICTURES_ACROSS] for start in range(0, len(block.pictures), PICTURES_ACROSS)]
    high, under = PICTURE_HIGH_MM * MM, 14.0

    def draw_row(number: int) -> Callable[[Canvas, Rectangle], None]:
        def draw(canvas: Canvas, _: Rectangle) -> None:
            for place, picture in enumerate(rows[number]):
                reader = picture_reader(picture.content, picture.name)
                left = place * (each + gap)
                size = _within(reader.getSize(), each, high)
                canvas.drawImage(reader, left, under, *size)
                write(canvas, picture.caption or picture.name, (left, 4.0), 7.5, layout.look.of("text"), width=each)

        return draw

    drawn: list[Flowable] = [Drawing(layout.width, high + under, draw_row(number)) for number in range(len(rows))]
    return [*drawn, Spacer(1, 2.0 * MM)]


@flowables.register
def _(block: Identity, layout: Layout) -> list[Flowable]:
    half = (len(block.pairs) + 1) // 2
    rows = []
    for left, right in zip(block.pairs[:half], [*block.pairs[half:], ("", "")][:half], strict=True):
        rows.append([cell for label, value in (left, right) for cell in _labelled(label, value, layout.look)])
    share = layout.width / 100.0
    grid = LongTable(rows, colWidths=[15 * share, 33 * share, 16 * share, 36 * share], splitInRow=1)
    style = TableStyle([
        ("FONTNAME", (0, 0), (-1, -1), REGULAR),
        ("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("TOPPADDING", (0, 0), (-1, -1), 1.6), ("BOTTOMPADDING", (0, 0), (-1, -1), 1.6),
        ("LINEBELOW", (0, 0), (-1, -1), 0.25, layout.look.of("line")),
    ])  # fmt: skip
    grid.setStyle(style)
    return [grid, Spacer(1, 2.5 * MM)]


def _labelled(label: str, value: str | None, look: Paper) -> list[Flowable]:
    shown = "" if not label else (value or "not stated")
    return [
        TextFlow(escape(label), text_style("small", look, size=7.5)),
        TextFlow(escape(shown), text_style("strong" if value else "small", look, size=8.0)),
    ]


@flowables.register
def _(block: Banner, layout: Layout) -> list[Flowable]:
    kind = block.decision
    sentence = TextFlow(escape(block.sentence).replace("\n", "<br/>"), text_style("body", layout.look))
    size = layout.look.size
    _, deep = sentence.wrap(layout.width - 60.0 * size, 1000.0)
    height = max(40.0 * size, deep + 30.0 * size)

    def draw(canvas: Canvas, box: Rectangle) -> None:
        colour = layout.look.of(kind or "quiet")
        canvas.setFillColor(layout.look.of(f"{kind}_tint" if kind else "stripe"))
        canvas.rect(0.0, 0.0, box.width, box.height, stroke=0, fill=1)
        canvas.setFillColor(colour)
        canvas.rect(0.0, 0.0, 3.0, box.height, stroke=0, fill=1)
        draw_symbol(canvas, kind or "none", 26.0 * size, box.height / 2.0, 12.0 * size, colour, layout.look)
        write(canvas, block.word, (50.0 * size, box.height - 18.0 * size), 14.0 * size, colour, font=BOLD)
        sentence.drawOn(canvas, 50.0 * size, box.height - 24.0 * size - deep)

    return [Drawing(layout.width, height, draw), Spacer(1, 3.0 * MM)]


@flowables.register
def _(block: Box, layout: Layout) -> list[Flowable]:
    rows = [[TextFlow(escape(block.title), text_style("strong", layout.look))]]
    rows += [[TextFlow(escape(sentence), text_style("body", layout.look))] for sentence in block.sentences]
    box = LongTable(rows, colWidths=[layout.width], splitInRow=1)
    style = TableStyle([
        ("FONTNAME", (0, 0), (-1, -1), REGULAR),
        ("BOX", (0, 0), (-1, -1), 0.8, layout.look.of("undecided")),
        ("BACKGROUND", (0, 0), (-1, -1), layout.look.of("undecided_tint")),
        ("TOPPADDING", (0, 0), (-1, -1), 2.0), ("BOTTOMPADDING", (0, 0), (-1, -1), 2.0),
        ("LEFTPADDING", (0, 0), (-1, -1), 8.0), ("BOTTOMPADDING", (0, -1), (-1, -1), 6.0),
        ("TOPPADDING", (0, 0), (-1, 0), 6.0),
    ])  # fmt: skip
    box.setStyle(style)
    return [Together([box]), Spacer(1, 3.0 * MM)]


@flowables.register
def _(block: Signatures, layout: Layout) -> list[Flowable]:
    gap = 14.0
    each = (layout.width - gap * (len(block.roles) - 1)) / len(block.roles)

    def draw(canvas: Canvas, _: Rectangle) -> None:
        for number, role in enumerate(block.roles):
            left = number * (each + gap)
            rule(canvas, layout.look.of("text"), 0.5, (left, 12.0, left + each, 12.0))
            write(canvas, role, (left, 11.0 - 8.0 * layout.look.size), 7.0 * layout.look.size, layout.look.of("quiet"))

    return [TopPadder(Drawing(layout.width, 46.0, draw))]


@flowables.register
def _(block: FigureBlock, layout: Layout) -> list[Flowable]:
    height = block.height_mm * MM
    weights = block.weights or (1.0,) * len(block.columns)

    def draw(canvas: Canvas, box: Rectangle) -> None:
        gap = 10.0
        unit = (box.width - gap * (len(weights) - 1)) / sum(weights)
        left = 0.0
        for number, column in enumerate(block.columns):
            wide = weights[number] * unit
            top = box.height
            if number < len(block.titles) and block.titles[number]:
                text = layout.look.of("text")
                size = 9.0 * layout.look.size
                write(canvas, block.titles[number], (left, top - size), size, text, font=BOLD, width=wide)
                top -= size + 6.0
            _stack(canvas, column, Rectangle(left, 0.0, wide, top), layout.look, layout.system)
            left += wide + gap

    parts: list[Flowable] = [Drawing(layout.width, height, draw)]
    if block.caption:
        parts.append(TextFlow(escape(block.caption), text_style("small", layout.look)))
    return [Together(parts), Spacer(1, 3.0 * MM)]


LEAST_PLOT_MM, SPARE = 24.0, 6.0


def on_one_page(blocks: Sequence[Block], layout: Layout, room: float) -> list[Block]:
    """Blocks with their plots as high as the rest leaves room for on a page `room` points high."""
    plots = [block for block in blocks if isinstance(block, FigureBlock)]
    if not plots:
        return list(blocks)
    taken = sum(_height(block, layout) for block in blocks)
    stated = sum(block.height_mm for block in plots)
    times = (stated + (room - SPARE - taken) / MM) / stated
    return [
        replace(block, height_mm=max(min(LEAST_PLOT_MM, block.height_mm), min(times, MOST_TIMES) * block.height_mm))
        if isinstance(block, FigureBlock)
        else block
        for block in blocks
    ]


MOST_TIMES = 1.5
"""How many times its stated height a plot takes at most."""


def _height(block: Block, layout: Layout) -> float:
    """Points that a block takes on a page of its own."""
    parts = (part for one in flowables(block, layout) for part in (one.parts if isinstance(one, Together) else [one]))
    return sum(float(part.wrap(layout.width, LONG)[1]) + float(part.getSpaceBefore()) for part in parts)


LONG = 1e5


def _stack(canvas: Canvas, plots: Sequence[Plot], box: Rectangle, look: Paper, system: System) -> None:
    """Plots one above the other; only the lowest carries the numbers of a shared x axis."""
    foot = 12.0 * look.size
    each = (box.height - foot) / max(1, len(plots))
    top = box.top
    for number, plot in enumerate(plots):
        last = number == len(plots) - 1
        height = each + (foot if last else 0.0)
        place = Rectangle(box.left, top - height, box.width, height)
        top -= height
        if isinstance(plot, HeatMap):
            draw_heat_map(canvas, plot, place, look, system)
        elif isinstance(plot, Dial):
            draw_dial(canvas, plot, place, look)
        else:
            below = None if last else plots[number + 1]
            shares = isinstance(below, Figure | HeatMap) and below.x_axis == plot.x_axis
            draw_figure(canvas, plot, place, look, system, x_label=not shares)
