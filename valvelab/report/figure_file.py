"""Figures of an inspection as files of their own: SVG, PNG or PDF, drawn as on the certificate."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from typing import cast

from reportlab.pdfgen.canvas import Canvas

from valvelab.errors import WrongUsage
from valvelab.figures.description import Figure
from valvelab.figures.endings import ENDINGS
from valvelab.report.assembly import Part
from valvelab.report.blocks import Layout, draw_columns
from valvelab.report.page_model import Block, FigureBlock
from valvelab.report.paper import MM, paper
from valvelab.report.plots import Rectangle
from valvelab.report.svg_canvas import SvgCanvas
from valvelab.units import System

WIDTH, HEIGHT = 176.0 * MM, 66.0
"""Width of a figure, points, as on paper; and height of one alone, mm."""
EDGE = 3.0 * MM
PIXELS_PER_POINT = 200.0 / 72.0


def figures_of(part: Part) -> dict[str, FigureBlock]:
    """Every figure of an inspection's full paper by its name, the main one first; none where it has none.

    The main one is the first that has axes, its panels together; the others stand alone, in the paper's order.
    """
    sections = [[block for block in blocks if isinstance(block, FigureBlock)] for blocks in _blocks(part)]
    blocks = [block for section in sections for block in section]
    if not blocks:
        return {}
    found = {"main": next((block for block in blocks if not _drawing(block)), blocks[0])}
    for section in sections:
        over: tuple[str, ...] = ()
        for block in section:
            over = block.titles or over
            for number, column in enumerate(block.columns):
                head = next((title for title in (*over[number : number + 1], *over[:1]) if title), "")
                for plot in column:
                    name = f"{head}: {plot.title}" if head else plot.title
                    found.setdefault(name, FigureBlock(((plot,),), HEIGHT))
    return found


def _drawing(block: FigureBlock) -> bool:
    """Whether a block draws the part itself, not what was measured on it."""
    return all(isinstance(plot, Figure) and plot.axes == "none" for column in block.columns for plot in column)


def _blocks(part: Part) -> Iterator[Sequence[Block]]:
    yield part.picture
    yield part.found
    sections = part.annexes() if part.pages is None else part.pages(part.result)
    yield from (section.blocks for section in sections)


def figure_bytes(block: FigureBlock, ending: str, system: System) -> bytes:
    """The file of a figure, by its ending; the same figure gives the same bytes. WrongUsage for another ending."""
    ending = ending.lower()
    if ending not in ENDINGS:
        raise WrongUsage(f"figure: found ending {ending!r}, expected {', '.join(ENDINGS)}")
    height = block.height_mm * MM
    size = WIDTH + 2.0 * EDGE, height + 2.0 * EDGE
    box = Rectangle(EDGE, EDGE, WIDTH, height)
    layout = Layout(paper(), system, WIDTH)
    if ending == ".svg":
        drawn = SvgCanvas(*size)
        draw_columns(cast("Canvas", drawn), block, box, layout)
        return drawn.text().encode()
    stream = io.BytesIO()
    canvas = Canvas(stream, size, invariant=1)
    draw_columns(canvas, block, box, layout)
    canvas.save()
    return stream.getvalue() if ending == ".pdf" else _pixels(stream.getvalue())


def _pixels(pdf: bytes) -> bytes:
    import pypdfium2  # type: ignore[import-untyped]

    target = io.BytesIO()
    with pypdfium2.PdfDocument(pdf) as document:
        picture = document[0].render(scale=PIXELS_PER_POINT).to_pil()
        picture.save(target, "PNG")
    return target.getvalue()
