"""Tray labels: an A4 sheet of labels to cut out, one a set, with the springs that belong to it."""

from __future__ import annotations

import io
from dataclasses import dataclass

from reportlab.lib.pagesizes import A4
from reportlab.pdfgen.canvas import Canvas

from valvelab.report.paper import BOLD, MM, Paper, fitted, paper, rule, text_width, write

ACROSS, DOWN = 2, 4
MARGIN = 8.0 * MM
PAD = 4.0 * MM
MOST, LEAST = 12.0, 6.0
"""Type sizes of the springs' names, in points."""
LEADING, GAP = 1.3, 12.0
ARM = 11.0
"""Type size that is read at arm's length: 11 points are 3.9 mm, letters of about 2 mm (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Label:
    """One label: a short sign in large type, what it is, means, details in small type, springs with a figure each.

    What is read at arm's length, sign, heading, means and date, is 11 points or more. `series` picks the data colour of
    the stripe along its side; None leaves it grey.
    """

    sign: str
    heading: str
    means: tuple[str, ...]
    springs: tuple[tuple[str, str], ...]
    series: int | None = None
    details: tuple[str, ...] = ()


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
    marks: list[tuple[float, float, float, float]] = []
    for column in range(ACROSS + 1):
        x = MARGIN + column * width
        marks += [(x, 2.0 * MM, x, MARGIN - 1.5 * MM), (x, A4[1] - 2.0 * MM, x, A4[1] - MARGIN + 1.5 * MM)]
    for row in range(DOWN + 1):
        y = MARGIN + row * height
        marks += [(2.0 * MM, y, MARGIN - 1.5 * MM, y), (A4[0] - 2.0 * MM, y, A4[0] - MARGIN + 1.5 * MM, y)]
    rule(canvas, look.of("quiet"), 0.3, *marks)


def _label(canvas: Canvas, label: Label, sheet: LabelSheet, width: float, height: float, look: Paper) -> None:
    canvas.setStrokeColor(look.of("line"))
    canvas.setLineWidth(0.3)
    canvas.rect(0.0, 0.0, width, height, stroke=1, fill=0)
    canvas.setFillColor(look.of("quiet") if label.series is None else look.role("series", label.series))
    canvas.rect(0.0, 0.0, 2.2 * MM, height, stroke=0, fill=1)
    left, right, top = 2.2 * MM + PAD, width - PAD, height - PAD
    text, size = look.of("text"), 34.0 if len(label.sign) < 3 else 20.0
    write(canvas, label.sign, (left, top - 0.78 * size), size, text, font=BOLD)
    text_left = left + max(text_width(label.sign, size, BOLD), 12.0 * MM) + 3.0 * MM
    write(canvas, label.heading, (text_left, top - 10.0), 13.0, text, font=BOLD, width=right - text_left)
    y = top - 24.0
    for line in label.means:
        write(canvas, line, (text_left, y), ARM, text, width=right - text_left)
        y -= 1.2 * ARM
    for line in label.details:
        write(canvas, line, (text_left, y), 7.5, text, width=right - text_left)
        y -= 9.5
    top = min(y + 2.0, top - 30.0)
    _springs(canvas, label, left, right, PAD + 1.2 * ARM, top, look)
    write(canvas, sheet.foot, (left, PAD - 2.0), ARM, text, width=right - left)


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
        beside = max(each - GAP - text_width(name, size, BOLD) - 4.0, 0.45 * (each - GAP))
        told = fitted(figure, size, beside)
        room = each - GAP - text_width(told, size) - 4.0
        write(canvas, name, (x, y), size, look.of("text"), font=BOLD, width=room)
        write(canvas, told, (x + each - GAP, y), size, look.of("quiet"), end="right")
    if len(shown) < len(label.springs):
        column, row = divmod(len(shown), down)
        y = top - (row + 0.95) * LEADING * size
        more = f"and {len(label.springs) - len(shown)} more"
        write(canvas, more, (left + column * each, y), size, look.of("quiet"))


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
