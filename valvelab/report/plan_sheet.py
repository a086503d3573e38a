"""The plan of a gauge study as a sheet to print and fill in by hand."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from reportlab.lib.pagesizes import A4
from reportlab.pdfgen.canvas import Canvas

from valvelab.report.paper import BOLD, MARGIN, MM, REGULAR, Paper, paper, rule, write

ROW = 6.4 * MM
TOP = 58.0 * MM
BOTTOM = 17.0 * MM
COLUMNS = 3
GAP = 6.0 * MM
_HEADS = (("no.", 0.13), ("part", 0.14), ("appraiser", 0.26), ("trial", 0.14), ("reading", 0.33))
_ADVICE = (
    "Read the parts in this order. Nobody sees earlier readings, nor which part it is while reading.",
    "Fill in the table of the same plan (CSV) and put it on the bench.",
)


def plan_sheet(rows: Sequence[tuple[str, str, str]], seed: int) -> bytes:
    """PDF of a plan: a row for each reading (part, appraiser, trial) with room to write it in.

    Equal plans give equal bytes.
    """
    look = paper()
    target = io.BytesIO()
    fonts: dict[str, Any] = {"initialFontName": REGULAR}
    canvas = Canvas(target, pagesize=A4, invariant=1, **fonts)
    canvas.setTitle("Gauge study, plan sheet")
    height = A4[1]
    lines = int((height - TOP - BOTTOM) / ROW) - 1
    whole = COLUMNS * lines
    pages = max(1, -(-len(rows) // whole))
    for page in range(pages):
        shown = rows[page * whole : (page + 1) * whole]
        parts, people, trials = (len({row[k] for row in rows}) for k in range(3))
        _head(canvas, look, f"{parts} parts, {people} appraisers, {trials} trials; order {seed}", page + 1, pages)
        for column in range(COLUMNS):
            block = shown[column * lines : (column + 1) * lines]
            if block:
                _column(canvas, look, block, page * whole + column * lines, column)
        canvas.showPage()
    canvas.save()
    return target.getvalue()


def _head(canvas: Canvas, look: Paper, what: str, page: int, pages: int) -> None:
    width, height = A4
    quiet, top = look.of("quiet"), height - 20.0 * MM
    write(canvas, "Gauge study, plan sheet", (MARGIN, top), 15.0, look.of("heading"), font=BOLD)
    write(canvas, f"{what} · page {page} of {pages}", (width - MARGIN, top), 8.0, quiet, end="right")
    for number, line in enumerate(_ADVICE):
        write(canvas, line, (MARGIN, height - 26.0 * MM - number * 4.0 * MM), 8.0, quiet)
    step = (width - 2 * MARGIN) / 3.0
    blanks = ("what is measured", "gauge", "unit", "appraisers", "date", "temperature")
    for number, name in enumerate(blanks):
        row, column = divmod(number, 3)
        left, level = MARGIN + column * step, height - (39.0 + 8.0 * row) * MM
        write(canvas, name, (left, level), 8.0, look.of("text"))
        begin = left + canvas.stringWidth(name, REGULAR, 8.0) + 3.0
        rule(canvas, quiet, 0.5, (begin, level - 1.5, left + step - 10.0, level - 1.5))


def _column(canvas: Canvas, look: Paper, rows: Sequence[tuple[str, str, str]], before: int, column: int) -> None:
    width = (A4[0] - 2 * MARGIN - (COLUMNS - 1) * GAP) / COLUMNS
    left = MARGIN + column * (width + GAP)
    top = A4[1] - TOP
    canvas.setFillColor(look.of("stripe"))
    canvas.rect(left, top - ROW, width, ROW, stroke=0, fill=1)
    _cells(canvas, look, left, top, width, [name for name, _ in _HEADS], strong=True)
    for number, (part, appraiser, trial) in enumerate(rows, start=1):
        level = top - number * ROW
        if number > 1 and (appraiser, trial) != rows[number - 2][1:]:
            rule(canvas, look.of("text"), 0.9, (left, level, left + width, level))
        _cells(canvas, look, left, level, width, [str(before + number), part, appraiser, trial, ""], strong=False)
        rule(canvas, look.of("line"), 0.4, (left, level - ROW, left + width, level - ROW))
    canvas.setStrokeColor(look.of("quiet"))
    canvas.rect(left + 0.67 * width, top - (len(rows) + 1) * ROW, 0.33 * width, len(rows) * ROW, stroke=1, fill=0)


def _cells(
    canvas: Canvas, look: Paper, left: float, level: float, width: float, texts: list[str], *, strong: bool
) -> None:
    font, size = (BOLD, 6.8) if strong else (REGULAR, 8.5)
    for number, (text, (_, share)) in enumerate(zip(texts, _HEADS, strict=True)):
        colour = look.of("quiet" if number == 0 or strong else "text")
        write(canvas, text, (left + 4.0, level - 0.68 * ROW), size, colour, font=font)
        left += share * width
