"""Turns the blocks of a certificate into what the page layout places."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import singledispatch
from html import escape
from itertools import accumulate

from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfgen.canvas import Canvas

from valvelab.figures.description import Dial, Figure, HeatMap
from valvelab.report.dial import dial_as_wide, draw_dial
from valvelab.report.grid import Grid, Pads, Row, Setting, entry
from valvelab.report.heat_map import draw_heat_map
from valvelab.report.page_layout import Flowable, KeepTogether, Spacer, TextFlow, TopPadder
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
from valvelab.report.paper import BOLD, MM, REGULAR, Paper, fill_with, rule, stroke_with, write
from valvelab.report.pictures import picture_reader
from valvelab.report.plots import Rectangle, draw_figure, high_as_wide
from valvelab.report.symbols import draw_symbol
from valvelab.report.tags import tagged
from valvelab.units import System

GAP = 6.0
"""Between the columns of label and value."""
BETWEEN_PLOTS = 10.0
BOX_PADS = Pads(8.0, 6.0, 2.0, 2.0)
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
    """A block of fixed size drawn by a function `draw(canvas, box)`; `kind` and `said`: what it is told as."""

    def __init__(
        self, width: float, height: float, draw: Callable[[Canvas, Rectangle], None], kind: str = "P", said: str = ""
    ) -> None:
        super().__init__()
        self.width = width
        self.height = height
        self._drawing = draw
        self._told = kind, said

    def wrap(self, aW: float, aH: float) -> tuple[float, float]:  # noqa: ARG002 - the layout library's signature
        """Size taken, whatever is offered."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw from the block's own lower left corner."""
        with tagged(self.canv, *self._told, box=(0.0, 0.0, self.width, self.height)):
            self._drawing(self.canv, Rectangle(0.0, 0.0, self.width, self.height))


class RunningText(TextFlow):
    """A paragraph, told as one."""

    def draw(self) -> None:
        """Draw its lines."""
        with tagged(self.canv, "P"):
            super().draw()


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

    flowable = Drawing(layout.width, 1.85 * size, draw, "H1" if first else "H2", title)
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
    return [RunningText(escape(block.text), text_style(block.style, layout.look)), Spacer(1, 1.2 * MM)]


@flowables.register
def _(block: Heading, layout: Layout) -> list[Flowable]:
    return [heading(block.text, layout, first=True)]


MARK_WIDE_MM, MARK_HIGH_MM = 40.0, 16.0
HEAD_LINES = 5
"""Lines under the shop's name; further ones share the last."""
PICTURES_ACROSS, PICTURE_HIGH_MM = 3, 24.0


@flowables.register
def _(block: Letterhead, layout: Layout) -> list[Flowable]:
    last = [", ".join(block.lines[HEAD_LINES - 1 :])] if len(block.lines) >= HEAD_LINES else []
    lines = [*block.lines[: HEAD_LINES - 1], *last]
    height = max(13.0 + 11.0 * len(lines) + 6.0, 0.0 if block.mark is None else MARK_HIGH_MM * MM + 4.0)
    room = layout.width - (0.0 if block.mark is None else (MARK_WIDE_MM + 4.0) * MM)

    def draw(canvas: Canvas, box: Rectangle) -> None:
        write(canvas, block.name, (0.0, box.height - 12.0), 12.0, layout.look.of("heading"), font=BOLD, width=room)
        for row, line in enumerate(lines, start=1):
            write(canvas, line, (0.0, box.height - 12.0 - 11.0 * row), 8.5, layout.look.of("text"), width=room)
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
    share = layout.width / 100.0
    widths = [15 * share, 33 * share, 16 * share, 36 * share]
    rows = []
    for pairs in zip(block.pairs[:half], [*block.pairs[half:], ("", "")][:half], strict=True):
        cells = [cell for label, value in pairs for cell in _labelled(label, value, layout.look)]
        entries = (entry(text, how, wide - GAP) for (text, how), wide in zip(cells, widths, strict=True))
        rows.append(Row(tuple(entries), ("TH", "TD", "TH", "TD")))

    def lines(canvas: Canvas, grid: Grid) -> None:
        levels = [grid.height - below for below in accumulate(grid.heights)]
        rule(canvas, layout.look.of("line"), 0.25, *((0.0, level, grid.width, level) for level in levels))

    return [Grid(rows, widths, Pads(0.0, GAP, 1.6, 1.6), layout.look, lines), Spacer(1, 2.5 * MM)]


def _labelled(label: str, value: str | None, look: Paper) -> list[tuple[str, Setting]]:
    shown = "" if not label else (value or "not stated")
    stated = Setting(8.0 * look.size, look.of("text"), BOLD)
    quiet, small = (Setting(size * look.size, look.of("quiet")) for size in (8.0, 7.5))
    return [(label, small), (shown, stated if value else quiet)]


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
    size, text = SIZES["body"] * layout.look.size, layout.look.of("text")
    room = layout.width - BOX_PADS.left - BOX_PADS.right
    title = entry(block.title, Setting(size, text, BOLD), room)
    cells = [title, *(entry(sentence, Setting(size, text), room) for sentence in block.sentences)]
    ends = range(len(cells))
    rows = [
        Row((cell,), ("P",), above=4.0 * (number == 0), below=4.0 * (number == ends[-1]))
        for number, cell in enumerate(cells)
    ]

    def frame(canvas: Canvas, grid: Grid) -> None:
        fill_with(canvas, layout.look.of("undecided_tint"))
        stroke_with(canvas, layout.look.of("undecided"), 0.8)
        canvas.rect(0.0, 0.0, grid.width, grid.height, stroke=1, fill=1)

    box = Grid(rows, [layout.width], BOX_PADS, layout.look, frame, group="Sect")
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


def draw_columns(canvas: Canvas, block: FigureBlock, box: Rectangle, layout: Layout) -> None:
    """The plots of a block in a box, without its caption."""
    left = box.left
    for number, (column, wide) in enumerate(zip(block.columns, _widths(block, box.width), strict=True)):
        top = box.height
        if number < len(block.titles) and block.titles[number]:
            text = layout.look.of("text")
            size = 9.0 * layout.look.size
            place = left, box.bottom + top - size
            write(canvas, block.titles[number], place, size, text, font=BOLD, width=wide)
            top -= size + 6.0
        _stack(canvas, column, Rectangle(left, box.bottom, wide, top), layout.look, layout.system)
        left += wide + BETWEEN_PLOTS


def _widths(block: FigureBlock, width: float) -> list[float]:
    """How wide each column of plots is."""
    weights = block.weights or (1.0,) * len(block.columns)
    unit = (width - BETWEEN_PLOTS * (len(weights) - 1)) / sum(weights)
    return [weight * unit for weight in weights]


def shaped(block: FigureBlock, layout: Layout) -> FigureBlock:
    """The block no higher than its plots can be in its width, where every one of them is round."""
    highs = []
    for number, (column, wide) in enumerate(zip(block.columns, _widths(block, layout.width), strict=True)):
        high = _as_wide(column[0], wide, layout.look) if len(column) == 1 else None
        if high is None:
            return block
        titled = number < len(block.titles) and block.titles[number]
        highs.append(high + (9.0 * layout.look.size + 6.0 if titled else 0.0))
    return replace(block, height_mm=min(block.height_mm, max(highs) / MM))


def _as_wide(plot: Plot, width: float, look: Paper) -> float | None:
    """How high a plot is at most in a width; None for one that takes whatever height there is."""
    if isinstance(plot, Dial):
        return dial_as_wide(plot, width)
    return high_as_wide(plot, width, look) if isinstance(plot, Figure) else None


@flowables.register
def _(block: FigureBlock, layout: Layout) -> list[Flowable]:
    shown = shaped(block, layout)

    def draw(canvas: Canvas, box: Rectangle) -> None:
        draw_columns(canvas, shown, box, layout)

    parts: list[Flowable] = [Drawing(layout.width, shown.height_mm * MM, draw, "Figure", _in_words(block))]
    if block.caption:
        parts.append(RunningText(escape(block.caption), text_style("small", layout.look)))
    return [Together(parts), Spacer(1, 3.0 * MM)]


def _in_words(block: FigureBlock) -> str:
    """What plots show, for whoever doesn't see them: of each its title and what stands over what."""
    told = []
    for number, column in enumerate(block.columns):
        over = block.titles[number] if number < len(block.titles) else ""
        for plot in column:
            axes = f"{plot.y_axis.label} over {plot.x_axis.label}" if isinstance(plot, Figure) else ""
            told.append(" – ".join(filter(None, (over, plot.title, axes))))
    return "; ".join(dict.fromkeys(filter(None, told))) or "plot"


LEAST_PLOT_MM, SPARE = 24.0, 6.0


def on_one_page(blocks: Sequence[Block], layout: Layout, room: float) -> list[Block]:
    """Blocks with their plots as high as the rest leaves room for on a page `room` points high."""
    blocks = [shaped(block, layout) if isinstance(block, FigureBlock) else block for block in blocks]
    plots = [block for block in blocks if isinstance(block, FigureBlock)]
    if not plots:
        return list(blocks)
    taken = sum(height_of(block, layout) for block in blocks)
    stated = sum(block.height_mm for block in plots)
    times = (stated + (room - SPARE - taken) / MM) / stated
    return [
        shaped(_times_as_high(block, min(times, MOST_TIMES)), layout) if isinstance(block, FigureBlock) else block
        for block in blocks
    ]


def _times_as_high(block: FigureBlock, times: float) -> FigureBlock:
    return replace(block, height_mm=max(min(LEAST_PLOT_MM, block.height_mm), times * block.height_mm))


MOST_TIMES = 1.5
"""How many times its stated height a plot takes at most."""


def height_of(block: Block, layout: Layout) -> float:
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
