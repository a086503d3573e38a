"""The sheet that is read at the bench: one table in large type, a box to tick at the end of each row."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from reportlab.lib.pagesizes import A4, LETTER, landscape
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, Flowable, Frame, PageTemplate

from valvelab.report.blocks import Layout, flowables
from valvelab.report.page_model import BuildSheet, Paragraph
from valvelab.report.paper import BOLD, MARGIN, MM, REGULAR, paper, write
from valvelab.report.tables import needed_widths
from valvelab.tables.description import Table
from valvelab.units import System

LARGEST, SMALLEST = 22.0, 9.0
"""Points of the sheet's type: as large as the table's width and its rows on one page allow."""
LINE = 1.32
ROW_PAD, HEAD_LINES = 3.0, 4.5
HEAD, FOOT = 26.0 * MM, 14.0 * MM


def _in_large_type(table: Table, width: float, height: float) -> Table:
    """The table in the largest type at which it fits a page of this width and height, in points."""
    size = LARGEST
    while size > SMALLEST:
        large = replace(table, type_size=size)
        tall = (len(table.rows) + HEAD_LINES) * (LINE * size + ROW_PAD)
        if sum(needed_widths(large)) <= width and tall <= height:
            return large
        size -= 0.5
    return replace(table, type_size=SMALLEST)


def build_sheet(sheet: BuildSheet, system: System) -> bytes:
    """PDF of a sheet, lying; equal sheets give equal bytes."""
    look = paper()
    target = io.BytesIO()
    size = landscape(LETTER if system == "inch" else A4)
    width, height = size
    files = " · ".join(f"{Path(source.file).name} {source.sha256[:8]}" for source in sheet.sources)

    def furniture(canvas: Canvas, _document: BaseDocTemplate) -> None:
        top = height - 14.0 * MM
        write(canvas, sheet.title, (MARGIN, top), 20.0, look.of("heading"), font=BOLD)
        write(canvas, sheet.line, (MARGIN, top - 6.5 * MM), 11.0, look.of("text"))
        write(
            canvas, f"{sheet.signed} ______________________", (width - MARGIN, top), 10.0, look.of("text"), end="right"
        )
        write(canvas, sheet.caution, (MARGIN, 8.0 * MM), 8.0, look.of("quiet"))
        write(canvas, files, (MARGIN, 4.5 * MM), 6.0, look.of("quiet"), width=width - 2 * MARGIN)
        write(canvas, f"page {canvas.getPageNumber()}", (width - MARGIN, 8.0 * MM), 8.0, look.of("quiet"), end="right")

    fonts: dict[str, Any] = {"initialFontName": REGULAR}
    document = BaseDocTemplate(target, pagesize=size, invariant=1, title=sheet.title, **fonts)
    frame = Frame(MARGIN, FOOT, width - 2 * MARGIN, height - HEAD - FOOT, 0, 0, 0, 0, id="sheet")
    document.addPageTemplates([PageTemplate(id="sheet", frames=[frame], onPage=furniture)])
    layout = Layout(look, system, width - 2 * MARGIN)
    table = _in_large_type(sheet.table, width - 2 * MARGIN, height - HEAD - FOOT)
    blocks: Sequence[Table | Paragraph] = (table, *(Paragraph(text, "strong") for text in sheet.sentences))
    story: list[Flowable] = [part for block in blocks for part in flowables(block, layout)]
    document.build(story)
    return target.getvalue()
