"""Draws a map of rows by angle on a PDF canvas."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from reportlab.lib.colors import Color
from reportlab.pdfgen.canvas import Canvas

from valvelab.arrays import FloatArray
from valvelab.figures.description import Axis, HeatMap
from valvelab.report.paper import BOLD, Paper, write
from valvelab.report.plots import LEFT, SMALL, TITLE, Rectangle, draw_axes, own_or_data
from valvelab.report.scales import Scale, scale_for, tick_texts, ticks
from valvelab.units import System


def draw_heat_map(canvas: Canvas, heat_map: HeatMap, box: Rectangle, paper: Paper, system: System) -> None:
    """Rows of coloured cells with a colour scale at the right; a cell on paper shows its worst value."""
    ends = (float(heat_map.x[0]), float(heat_map.x[-1]))
    field = Rectangle(box.left + LEFT, box.bottom + 17.0, box.width - LEFT - 44.0, box.height - 29.0)
    x = scale_for(own_or_data(heat_map.x_axis, ends), ends, (field.left, field.right), system)
    value = _value_scale(heat_map, field, system)
    text, title = paper.of("text"), f"{heat_map.title}, {value.unit.label}"
    write(canvas, title, (box.left, box.top - 8.0), TITLE, text, font=BOLD, width=box.width)
    height = field.height / len(heat_map.rows)
    columns = max(1, min(heat_map.x.size, round(field.width / 1.5)))
    for number, (name, values) in enumerate(zip(heat_map.rows, heat_map.values, strict=True)):
        bottom = field.top - (number + 1) * height
        place = field.left - 3.0, bottom + 0.5 * height - 2.2
        write(canvas, name, place, min(SMALL + 1.0, 0.9 * height), text, end="right")
        _cells(canvas, values, columns, (field.left, bottom, field.width, height - 0.6), value, paper)
    draw_axes(canvas, Rectangle(field.left, field.bottom, field.width, 0.0), x, None, paper, heat_map.x_axis.label)
    _colour_bar(canvas, field, value, paper)


def _value_scale(heat_map: HeatMap, field: Rectangle, system: System) -> Scale:
    finite = heat_map.values[np.isfinite(heat_map.values)]
    low, high = (float(finite.min()), float(finite.max())) if finite.size else (0.0, 1.0)
    if heat_map.diverging:
        high = max(abs(low), abs(high)) or 1.0
        low = -high
    axis = heat_map.value_axis
    fixed = Axis(axis.label, axis.unit, axis.range or (low, high if high > low else low + 1.0))
    return scale_for(fixed, (low, high), (field.bottom, field.top), system)


def _cells(
    canvas: Canvas, values: FloatArray, columns: int, box: tuple[float, float, float, float], scale: Scale, paper: Paper
) -> None:
    """One row, neighbouring cells of one shade joined."""
    left, bottom, width, height = box
    edges = np.linspace(0, values.size, columns + 1).astype(int)
    shades = [_shade(values[start:end], scale) for start, end in pairwise(edges)]
    step = width / columns
    first = 0
    for column in range(1, columns + 1):
        if column < columns and shades[column] == shades[first]:
            continue
        shade = shades[first]
        if shade is not None:
            canvas.setFillColor(_blend(paper, shade, scale))
            canvas.rect(left + first * step, bottom, (column - first) * step + 0.15, height, stroke=0, fill=1)
        first = column


def _shade(values: FloatArray, scale: Scale) -> float | None:
    """The value furthest from zero as a share of the scale, in 1/40 steps; None without a value."""
    finite = values[np.isfinite(values)]
    if not finite.size:
        return None
    worst = float(finite[np.argmax(np.abs(finite))]) * scale.unit.scale
    return round(40.0 * min(1.0, max(0.0, (worst - scale.low) / (scale.high - scale.low)))) / 40.0


def _blend(paper: Paper, share: float, scale: Scale) -> Color:
    """Low – middle – high for a scale through zero, middle – low for one from zero."""
    low, middle, high = paper.of("low"), paper.of("middle"), paper.of("high")
    if scale.low < 0.0:
        ends, part = ((low, middle), 2.0 * share) if share < 0.5 else ((middle, high), 2.0 * share - 1.0)
    else:
        ends, part = (middle, low), share
    first, last = ends
    return Color(*(a + part * (b - a) for a, b in zip(first.rgb(), last.rgb(), strict=True)))


def _colour_bar(canvas: Canvas, field: Rectangle, scale: Scale, paper: Paper) -> None:
    left = field.right + 10.0
    step = field.height / 40.0
    for number in range(40):
        canvas.setFillColor(_blend(paper, (number + 0.5) / 40.0, scale))
        canvas.rect(left, field.bottom + number * step, 7.0, step + 0.15, stroke=0, fill=1)
    values = ticks(scale, 16.0)
    for value, text in zip(values, tick_texts(values), strict=True):
        write(canvas, text, (left + 9.0, scale.at(value) - 2.0), SMALL, paper.of("quiet"))
