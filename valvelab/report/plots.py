"""Draws figures as vectors on a PDF canvas: quiet axes, limits as a filled band, offending stretches marked."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from reportlab.lib.colors import Color, white
from reportlab.pdfgen.canvas import Canvas

from valvelab.arrays import FloatArray
from valvelab.figures.description import Axis, Band, Curve, Figure, Guide, Marks, Role
from valvelab.report.paper import BOLD, Paper, fill_with, fitted, rule, text_width, write
from valvelab.report.scales import Scale, runs, scale_for, thinned, tick_texts, ticks, x_ends, y_ends
from valvelab.report.symbols import draw_path, draw_symbol
from valvelab.units import System

TITLE = 7.5
SMALL = 6.0
LEFT = 30.0
"""Width kept for the numbers of every left axis, so that stacked plots line up."""
TOLERANCE = 0.05
WIDTHS: dict[Role, float] = {
    "measured": 0.9, "fit": 0.9, "nominal": 0.5, "measured_quiet": 0.35, "outside": 1.4, "guide": 0.5, "readings": 0.4,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Rectangle:
    """A region of the page in points, from its lower left corner."""

    left: float
    bottom: float
    width: float
    height: float

    @property
    def right(self) -> float:
        """Right edge."""
        return self.left + self.width

    @property
    def top(self) -> float:
        """Upper edge."""
        return self.bottom + self.height


def draw_figure(
    canvas: Canvas, figure: Figure, box: Rectangle, paper: Paper, system: System, x_label: bool = True
) -> None:
    """One plot in its box; `x_label` False leaves the angle numbers to the plot below in a stack."""
    foot = (17.0 if x_label else 5.0) * paper.size if figure.axes != "none" else 0.0
    left = LEFT * paper.size if "y" in figure.axes else 0.0
    field = Rectangle(box.left + left, box.bottom + foot, box.width - left - 6.0, box.height - foot - 12.0 * paper.size)
    if figure.equal_scale:
        field = _equal(figure, field)
    x = scale_for(own_or_data(figure.x_axis, x_ends(figure)), x_ends(figure), (field.left, field.right), system)
    y = scale_for(figure.y_axis, y_ends(figure), (field.bottom, field.top), system)
    _heading(canvas, figure, box, paper, y.unit.label if "y" in figure.axes else figure.y_axis.label)
    if figure.axes != "none":
        label = figure.x_axis.label if x_label else None
        draw_axes(canvas, field, x, y if "y" in figure.axes else None, paper, label, figure.x_axis.names)
    canvas.saveState()
    clip = canvas.beginPath()
    clip.rect(field.left, field.bottom, field.width, field.height)
    canvas.clipPath(clip, stroke=0, fill=0)
    for band in figure.bands:
        _band(canvas, band, x, y, paper)
    for guide in figure.guides:
        _guide(canvas, guide, field, x, y, paper)
    for curve in figure.curves:
        _curve(canvas, curve, x, y, paper)
    canvas.restoreState()
    for marks in figure.marks:
        _marks(canvas, marks, x, y, paper)


def high_as_wide(figure: Figure, width: float, paper: Paper) -> float | None:
    """How high a plot of equal scales without axes is at most in this width; None where more height is of use."""
    if not figure.equal_scale or figure.axes != "none":
        return None
    return _equal(figure, Rectangle(0.0, 0.0, width - 6.0, math.inf)).height + 12.0 * paper.size


def own_or_data(axis: Axis, ends: tuple[float, float]) -> Axis:
    """An x axis runs exactly from first to last point, without the room a y axis gets."""
    usable = np.isfinite(ends).all() and ends[1] > ends[0]
    return axis if axis.range or not usable else Axis(axis.label, axis.unit, ends, axis.reversed)


def _equal(figure: Figure, field: Rectangle) -> Rectangle:
    """The largest part of the field in which x and y have one scale."""
    (x_low, x_high), (y_low, y_high) = figure.x_axis.range or x_ends(figure), figure.y_axis.range or y_ends(figure)
    ratio = (x_high - x_low) / ((y_high - y_low) * (1.0 if figure.y_axis.range else 1.12))
    width, height = min(field.width, field.height * ratio), min(field.height, field.width / ratio)
    foot = field.bottom + ((field.height - height) / 2.0 if figure.axes == "none" else 0.0)
    return Rectangle(field.left + (field.width - width) / 2.0, foot, width, height)


def _heading(canvas: Canvas, figure: Figure, box: Rectangle, paper: Paper, scale: str) -> None:
    """Title with the y unit (or what else says the scale) at the left, what the lines are at the right."""
    names, size, top = _names(figure), SMALL * paper.size, box.top - 8.0 * paper.size
    keys = sum(text_width(label, size) + 16.0 for label, _, _ in names)
    filled = {band.label for band in figure.bands}
    large, unit = TITLE * paper.size, f", {scale}" if scale else ""
    room = box.width - keys - 4.0 - text_width(unit, large, BOLD)
    title = fitted(figure.title, large, room, BOLD) + unit  # however little room there is, the unit is said
    write(canvas, title, (box.left, top), large, paper.of("text"), font=BOLD)
    right = box.right - 6.0
    for label, role, series in reversed(names):
        right -= text_width(label, size)
        write(canvas, label, (right, top), size, paper.of("quiet"))
        right -= 11.0
        _key(canvas, right, top + 2.0 * paper.size, role, paper.role(role, series), filled=label in filled)
        right -= 5.0


def _names(figure: Figure) -> list[tuple[str, Role, int]]:
    parts = [(curve.label, curve.role, curve.series) for curve in figure.curves]
    parts += [(marks.label, marks.role, marks.series) for marks in figure.marks]
    parts += [(band.label, band.role, band.series) for band in figure.bands]
    rows: dict[str, tuple[str, Role, int]] = {}
    for part in parts:
        if part[0]:
            rows.setdefault(part[0], part)
    return list(rows.values())


def _key(canvas: Canvas, left: float, middle: float, role: Role, colour: Color, *, filled: bool) -> None:
    if filled:
        canvas.setFillColor(colour if role == "band" else paled(colour))
        canvas.rect(left, middle - 2.0, 9.0, 4.0, stroke=0, fill=1)
        return
    rule(canvas, colour, WIDTHS.get(role, 0.8), (left, middle, left + 9.0, middle))


def draw_axes(
    canvas: Canvas,
    field: Rectangle,
    x: Scale,
    y: Scale | None,
    paper: Paper,
    x_label: str | None,
    names: tuple[tuple[float, str], ...] = (),
) -> None:
    """Faint grid, numbers left and (where `x_label` is given) below, no box; `names` instead of numbers below."""
    grid, quiet, size = paper.of("line"), paper.of("quiet"), SMALL * paper.size
    x_ticks = [place * x.unit.scale for place, _ in names] or ticks(x, 34.0 * paper.size)
    x_texts = [name for _, name in names] or tick_texts(x_ticks)
    rule(canvas, grid, 0.25, *((x.at(value), field.bottom, x.at(value), field.top) for value in x_ticks))
    if y is not None:
        y_ticks = ticks(y, 13.0 * paper.size)
        for value, text in zip(y_ticks, tick_texts(y_ticks), strict=True):
            rule(canvas, grid, 0.25, (field.left, y.at(value), field.right, y.at(value)))
            write(canvas, text, (field.left - 3.0, y.at(value) - 2.0 * paper.size), size, quiet, end="right")
        if y.low < 0.0 < y.high:
            rule(canvas, quiet, 0.4, (field.left, y.at(0.0), field.right, y.at(0.0)))
    if x_label is not None:
        for value, text in zip(x_ticks, x_texts, strict=True):
            write(canvas, text, (x.at(value), field.bottom - 7.0 * paper.size), size, quiet, end="middle")
        whole = f"{x_label}, {x.unit.label}" if x.unit.label else x_label
        write(
            canvas,
            whole,
            ((field.left + field.right) / 2.0, field.bottom - 15.0 * paper.size),
            size,
            quiet,
            end="middle",
        )


def polyline(canvas: Canvas, x: FloatArray, y: FloatArray) -> None:
    """Stroke one unbroken line through points on paper."""
    draw_path(canvas, _points(x, y))


def _curve(canvas: Canvas, curve: Curve, x: Scale, y: Scale, paper: Paper) -> None:
    canvas.setStrokeColor(paper.role(curve.role, curve.series))
    canvas.setLineWidth(WIDTHS.get(curve.role, 0.8))
    canvas.setLineCap(1)
    canvas.setLineJoin(1)
    if curve.role == "guide":
        canvas.setDash(2, 2)
    across, up = x.place(curve.x), y.place(curve.y)
    for run in runs(up):
        polyline(canvas, across[run], up[run])
    canvas.setDash()


def _band(canvas: Canvas, band: Band, x: Scale, y: Scale, paper: Paper) -> None:
    across, low, high = x.place(band.x), y.place(band.lower), y.place(band.upper)
    colour = paper.role(band.role, band.series)
    canvas.setFillColor(colour if band.role == "band" else paled(colour))
    canvas.setStrokeColor(paper.of("band_edge") if band.role == "band" else colour)
    canvas.setLineWidth(0.35)
    for run in runs(low + high):
        edge = [*_points(across[run], low[run]), *reversed(_points(across[run], high[run]))]
        draw_path(canvas, edge, filled=True)
        polyline(canvas, across[run], low[run])
        polyline(canvas, across[run], high[run])


def paled(colour: Color) -> Color:
    """The colour mixed with white, to fill with."""
    return Color(*(1.0 - 0.35 * (1.0 - part) for part in (colour.red, colour.green, colour.blue)))


def _points(x: FloatArray, y: FloatArray) -> list[tuple[float, float]]:
    return [(float(x[index]), float(y[index])) for index in thinned(x, y, TOLERANCE)]


def _guide(canvas: Canvas, guide: Guide, field: Rectangle, x: Scale, y: Scale, paper: Paper) -> None:
    colour, size = paper.role(guide.role), SMALL * paper.size
    canvas.setDash(3, 2)
    if guide.along == "y":
        level = float(y.place(np.array(guide.value)))
        rule(canvas, colour, 0.5, (field.left, level, field.right, level))
        write(canvas, guide.label, (field.right - 2.0, level + 2.0), size, colour, end="right")
    else:
        place = float(x.place(np.array(guide.value)))
        rule(canvas, colour, 0.5, (place, field.bottom, place, field.top))
        write(canvas, guide.label, (place + 2.0, field.top - size), size, colour)
    canvas.setDash()


def off_circle(
    place: tuple[float, float], half: tuple[float, float], middle: tuple[float, float], radius: float
) -> tuple[float, float]:
    """Where a box of these half sizes stands that keeps to its side of a circle: moved along its own ray, if it must.

    place, middle: centres of the box and of the circle. All in points.
    """
    across, up = place[0] - middle[0], place[1] - middle[1]
    far = math.hypot(across, up)
    turn = (across / far, up / far) if far else (0.0, 1.0)
    outside = far >= radius
    corner = abs(turn[0]) * half[0] + abs(turn[1]) * half[1]
    far = max(far, radius + corner) if outside else min(far, _inside(turn, half, radius))
    return middle[0] + far * turn[0], middle[1] + far * turn[1]


def _inside(turn: tuple[float, float], half: tuple[float, float], radius: float) -> float:
    """How far from the middle of a circle a box may stand with its farthest corner on it; 0 for one that is larger."""
    along = abs(turn[0]) * half[0] + abs(turn[1]) * half[1]
    rest = along**2 - half[0] ** 2 - half[1] ** 2 + radius**2
    return max(0.0, math.sqrt(rest) - along) if rest > 0.0 else 0.0


def _word(
    canvas: Canvas,
    text: str,
    place: tuple[float, float],
    half: tuple[float, float],
    size: float,
    colour: Color,
) -> None:
    """A word about its place, on a piece of bare paper: no line runs through it."""
    if not text:
        return
    fill_with(canvas, white)
    canvas.rect(place[0] - half[0], place[1] - half[1], 2.0 * half[0], 2.0 * half[1], stroke=0, fill=1)
    write(canvas, text, (place[0], place[1] - 0.35 * size), size, colour, end="middle")


def _marks(canvas: Canvas, marks: Marks, x: Scale, y: Scale, paper: Paper) -> None:
    colour, points = paper.role(marks.role, marks.series), SMALL * paper.size
    across, up = np.atleast_1d(x.place(marks.x)), np.atleast_1d(y.place(marks.y))
    low, high = sorted((y.start, y.end))
    for index, (left, height) in enumerate(zip(across, up, strict=True)):
        text = marks.texts[index] if index < len(marks.texts) else ""
        if marks.bare and np.isfinite(left + height):
            half = text_width(text, points) / 2.0 + 1.0, 0.5 * points + 0.5
            middle = float(x.place(np.array(0.0))), float(y.place(np.array(0.0)))
            circle = marks.off * abs(float(x.place(np.array(1.0))) - middle[0])
            place = off_circle((float(left), float(height)), half, middle, circle) if circle else (left, height)
            _word(canvas, text, place, half, points, colour)
        elif np.isfinite(left + height) and low - 1.0 <= height <= high + 1.0:
            size = (3.2 if marks.role == "series" else 2.2) * paper.size * marks.size
            draw_symbol(canvas, marks.role, float(left), float(height), size, colour, paper)
            if text:
                write(canvas, text, (left + 4.0 * paper.size, height - 2.0 * paper.size), points, paper.of("text"))
