"""Verdict marks: the shape tells the verdict without its colour."""

from __future__ import annotations

from collections.abc import Sequence

from reportlab.lib.colors import Color
from reportlab.pdfgen.canvas import Canvas

from valvelab.report.paper import Paper


def draw_symbol(
    canvas: Canvas, role: str, left: float, middle: float, size: float, colour: Color, paper: Paper
) -> None:
    """A mark around a point: verdict roles as disc with tick, square with cross, triangle with query; else a disc."""
    canvas.setFillColor(colour)
    canvas.setStrokeColor(colour)
    if role == "reject":
        canvas.roundRect(left - size, middle - size, 2.0 * size, 2.0 * size, 0.2 * size, stroke=0, fill=1)
    elif role == "undecided":
        low = middle - size
        corners = [(left - 1.25 * size, low), (left + 1.25 * size, low), (left, middle + 1.15 * size)]
        draw_path(canvas, corners, filled=True)
    else:
        canvas.circle(left, middle, size if role == "accept" else 0.5 * size, stroke=0, fill=1)
    canvas.setStrokeColor(paper.of("paper"))
    canvas.setLineWidth(0.3 * size)
    canvas.setLineCap(1)
    canvas.setLineJoin(1)
    if role == "accept":
        _stroke(canvas, left, middle, size, [(-0.45, 0.0), (-0.1, -0.4), (0.5, 0.4)])
    elif role == "reject":
        _stroke(canvas, left, middle, size, [(-0.45, -0.45), (0.45, 0.45)])
        _stroke(canvas, left, middle, size, [(-0.45, 0.45), (0.45, -0.45)])
    elif role == "undecided":
        _stroke(canvas, left, middle, size, [(0.0, 0.35), (0.0, -0.25)])
        _stroke(canvas, left, middle, size, [(0.0, -0.66), (0.0, -0.67)])


def _stroke(canvas: Canvas, left: float, middle: float, size: float, points: Sequence[tuple[float, float]]) -> None:
    draw_path(canvas, [(left + across * size, middle + up * size) for across, up in points])


def draw_path(canvas: Canvas, points: Sequence[tuple[float, float]], *, filled: bool = False) -> None:
    """Straight pieces from point to point, stroked; or `filled`, and then closed and not stroked."""
    steps = [f"{x:.2f} {y:.2f} l" for x, y in points]
    steps[0] = f"{steps[0][:-1]}m"
    canvas.addLiteral(f"{' '.join(steps)} {'h f' if filled else 'S'}")
