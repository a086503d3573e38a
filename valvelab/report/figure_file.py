"""One plot as a file of its own: a vector page (PDF), a vector drawing (SVG) or a picture (PNG)."""

from __future__ import annotations

import io
from typing import cast

from reportlab.pdfgen.canvas import Canvas

from valvelab.figures.description import Figure
from valvelab.report.paper import MM, paper
from valvelab.report.plots import Rectangle, draw_figure
from valvelab.report.svg import SvgCanvas
from valvelab.units import System

WIDTH, HEIGHT, MARGIN = 180.0 * MM, 100.0 * MM, 4.0 * MM
PICTURE_DPI = 200


def figure_bytes(figure: Figure, ending: str, system: System = "metric") -> bytes:
    """The file's bytes, the same for the same figure; `ending`: .svg, .png or .pdf."""
    if ending == ".svg":
        drawing = SvgCanvas(WIDTH, HEIGHT)
        _draw(cast("Canvas", drawing), figure, system)
        return drawing.text().encode()
    target = io.BytesIO()
    canvas = Canvas(target, pagesize=(WIDTH, HEIGHT), invariant=1)
    canvas.setTitle(figure.title)
    _draw(canvas, figure, system)
    canvas.showPage()
    canvas.save()
    return target.getvalue() if ending == ".pdf" else _picture(target.getvalue())


def _draw(canvas: Canvas, figure: Figure, system: System) -> None:
    look = paper()
    canvas.setFillColor(look.of("paper"))
    canvas.rect(0.0, 0.0, WIDTH, HEIGHT, stroke=0, fill=1)
    box = Rectangle(MARGIN, MARGIN, WIDTH - 2.0 * MARGIN, HEIGHT - 2.0 * MARGIN)
    draw_figure(canvas, figure, box, look, system)


def _picture(page: bytes) -> bytes:
    """A one-page PDF as PNG."""
    from pypdfium2 import PdfDocument  # type: ignore[import-untyped]

    target = io.BytesIO()
    with PdfDocument(page) as document:
        picture = document[0].render(scale=PICTURE_DPI / 72.0).to_pil()
        picture.save(target, "png")
    return target.getvalue()
