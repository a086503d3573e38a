"""Tray labels: an A4 sheet of labels to cut out, one a set, with the springs that belong to it."""

from __future__ import annotations

import io
from dataclasses import dataclass

from reportlab.lib.pagesizes import A4
from reportlab.pdfgen.canvas import Canvas

from valvelab.report.paper import BOLD, MM, REGULAR, Paper, fitted, paper, text_width

ACROSS, DOWN = 2, 4
MARGIN = 8.0 * MM
PAD = 4.0 * MM
MOST, LEAST = 12.0, 6.0
"""Type sizes of the springs' names, in points."""
LEADING, GAP = 1.3, 12.0


@dataclass(frozen=True, slots=True)
class Label:
    """One label: a short sign in large type, a line that says what it is, figures, and the springs with a figure each.

    `series` picks the data colour of the stripe along its side; None leaves it grey.
    """

    sign: str
    heading: str
    lines: tuple[str, ...]
    springs: tuple[tuple[str, str], ...]
    series: int | None = None


@dataclass(frozen=True, slots=True)
class LabelSheet:
    """All labels, with what stands at the foot of each."""

    title: str
    foot: str
    labels: tuple[Label, ...]


def labels_bytes(sheet: LabelSheet) -> bytes:
    """The PDF; equal sheets give equal bytes."""
    look = paper()
    target = io.BytesIO()
    canvas = Canvas(target, pagesize=A4, invariant=1)
    canvas.setTitle(sheet.title)
    width, height = (A4[0] - 2 * MARGIN) / ACROSS, (A4[1] - 2 * MARGIN) / DOWN
    on_page = ACROSS * DOWN
    for start in range(0, len(sheet.labels), on_page):
        for place, label in enumerate(sheet.labels[start : start + on_page]):
            row, column = divmod(place, ACROSS)
            canvas.saveState()
            canvas.translate(MARGIN + column * width, A4[1] - MARGIN - (row + 1) * height)
            _label(canvas, label, sheet, width, height, look)
            canvas.restoreState()
        _cut_marks(canvas, width, height, look)
        canvas.showPage()
    canvas.save()
    return target.getvalue()


def _cut_marks(canvas: Canvas, width: float, height: float, look: Paper) -> None:
    """Short lines outside the labels, where to cut."""
    canvas.setStrokeColor(look.of("quiet"))
    canvas.setLineWidth(0.3)
    for column in range(ACROSS + 1):
        x = MARGIN + column * width
        canvas.line(x, 2.0 * MM, x, MARGIN - 1.5 * MM)
        canvas.line(x, A4[1] - 2.0 * MM, x, A4[1] - MARGIN + 1.5 * MM)
    for row in range(DOWN + 1):
        y = MARGIN + row * height
        canvas.line(2.0 * MM, y, MARGIN - 1.5 * MM, y)
        canvas.line(A4[0] - 2.0 * MM, y, A4[0] - MARGIN + 1.5 * MM, y)


def _label(canvas: Canvas, label: Label, sheet: LabelSheet, width: float, height: float, look: Paper) -> None:
    canvas.setStrokeColor(look.of("line"))
    canvas.setLineWidth(0.3)
    canvas.rect(0.0, 0.0, width, height, stroke=1, fill=0)
    canvas.setFillColor(look.of("quiet") if label.series is None else look.role("series", label.series))
    canvas.rect(0.0, 0.0, 2.2 * MM, height, stroke=0, fill=1)
    left, right, top = 2.2 * MM + PAD, width - PAD, height - PAD
    canvas.setFillColor(look.of("text"))
    size = 34.0 if len(label.sign) < 3 else 20.0
    canvas.setFont(BOLD, size)
    canvas.drawString(left, top - 0.78 * size, label.sign)
    text_left = left + max(text_width(label.sign, size, BOLD), 12.0 * MM) + 3.0 * MM
    canvas.setFont(BOLD, 10.0)
    canvas.drawString(text_left, top - 8.0, fitted(label.heading, 10.0, right - text_left, BOLD))
    canvas.setFont(REGULAR, 7.5)
    y = top - 18.0
    for line in label.lines:
        canvas.drawString(text_left, y, fitted(line, 7.5, right - text_left))
        y -= 9.5
    top = min(y, top - 30.0)
    _springs(canvas, label, left, right, PAD + 8.0, top, look)
    canvas.setFillColor(look.of("quiet"))
    canvas.setFont(REGULAR, 6.0)
    canvas.drawString(left, PAD - 2.0, fitted(sheet.foot, 6.0, right - left))


def _springs(canvas: Canvas, label: Label, left: float, right: float, bottom: float, top: float, look: Paper) -> None:
    """Names in columns, read downwards, each with its figure, as large as all fit; what does not fit is counted."""
    canvas.setStrokeColor(look.of("line"))
    canvas.line(left, top + 2.0, right, top + 2.0)
    size, columns, rows = _grid(label, right - left + GAP, top - bottom)
    shown = label.springs
    if len(shown) > rows * columns:
        shown = shown[: rows * columns - 1]
    each = (right - left + GAP) / columns
    down = min(rows, -(-len(label.springs) // columns))
    for number, (name, figure) in enumerate(shown):
        column, row = divmod(number, down)
        x, y = left + column * each, top - (row + 0.95) * LEADING * size
        canvas.setFillColor(look.of("text"))
        canvas.setFont(BOLD, size)
        room = each - GAP - text_width(figure, size) - 4.0
        canvas.drawString(x, y, fitted(name, size, room, BOLD))
        canvas.setFillColor(look.of("quiet"))
        canvas.setFont(REGULAR, size)
        canvas.drawRightString(x + each - GAP, y, figure)
    if len(shown) < len(label.springs):
        column, row = divmod(len(shown), down)
        y = top - (row + 0.95) * LEADING * size
        canvas.drawString(left + column * each, y, f"and {len(label.springs) - len(shown)} more")


def _grid(label: Label, width: float, height: float) -> tuple[float, int, int]:
    """Type size, columns and rows: the largest type at which every spring has a place."""
    widest = max((text_width(f"{name}{figure}", 1.0, BOLD) for name, figure in label.springs), default=1.0)
    size, columns, rows = LEAST, 1, 1
    for step in range(round(2 * (MOST - LEAST)) + 1):
        size = MOST - 0.5 * step
        columns = max(1, int(width // (widest * size + 0.9 * size + GAP)))
        rows = max(1, int(height // (LEADING * size)))
        if rows * columns >= len(label.springs):
            break
    return size, columns, rows
