"""Draws directions on a circle: the end view of a shaft."""

from __future__ import annotations

import math

import numpy as np
from reportlab.pdfgen.canvas import Canvas

from valvelab.arrays import FloatArray
from valvelab.figures.description import Dial
from valvelab.report.paper import BOLD, REGULAR, Paper, text_width
from valvelab.report.plots import SMALL, TITLE, Rectangle

LABEL = 6.5


def draw_dial(canvas: Canvas, dial: Dial, box: Rectangle, paper: Paper) -> None:
    """Rays from the centre, nominal places as ticks outside, names and remarks round the circle."""
    canvas.setFillColor(paper.of("text"))
    canvas.setFont(BOLD, TITLE)
    canvas.drawString(box.left, box.top - 8.0, dial.title)
    texts = [_label(dial, index) for index in range(len(dial.labels))]
    widest = max((text_width(text, LABEL) for text in texts), default=0.0)
    radius = max(20.0, min(box.width / 2.0 - widest - 14.0, (box.height - 12.0) / 2.0 - 18.0))
    middle = (box.left + box.width / 2.0, box.bottom + (box.height - 12.0) / 2.0)
    _rose(canvas, middle, radius, paper)
    spread = spread_out(dial.angles_deg, math.degrees((LABEL + 1.5) / (radius + 12.0)))
    for index, (angle, label_angle) in enumerate(zip(dial.angles_deg, spread, strict=True)):
        colour = paper.role(dial.roles[index])
        canvas.setStrokeColor(colour)
        canvas.setLineWidth(1.1)
        canvas.line(*middle, *_at(middle, radius, angle))
        canvas.setLineWidth(0.4)
        canvas.line(*_at(middle, radius, angle), *_at(middle, radius + 9.0, label_angle))
        if dial.nominal_deg is not None:
            canvas.setStrokeColor(paper.of("nominal"))
            canvas.setLineWidth(0.8)
            nominal = float(dial.nominal_deg[index])
            canvas.line(*_at(middle, radius - 5.0, nominal), *_at(middle, radius + 3.0, nominal))
        canvas.setFillColor(colour)
        canvas.setFont(REGULAR, LABEL)
        x, y = _at(middle, radius + 11.0, label_angle)
        draw = canvas.drawString if math.sin(math.radians(label_angle)) >= 0.0 else canvas.drawRightString
        draw(x, y - 0.35 * LABEL, texts[index])


def _label(dial: Dial, index: int) -> str:
    remark = dial.remarks[index] if index < len(dial.remarks) else ""
    return f"{dial.labels[index]} {remark}".strip()


def _at(middle: tuple[float, float], radius: float, angle_deg: float) -> tuple[float, float]:
    """Point at an angle clockwise from the top."""
    turn = math.radians(angle_deg)
    return middle[0] + radius * math.sin(turn), middle[1] + radius * math.cos(turn)


def _rose(canvas: Canvas, middle: tuple[float, float], radius: float, paper: Paper) -> None:
    canvas.setStrokeColor(paper.of("line"))
    canvas.setLineWidth(0.5)
    canvas.circle(*middle, radius, stroke=1, fill=0)
    canvas.setFont(REGULAR, SMALL - 1.0)
    canvas.setFillColor(paper.of("quiet"))
    for angle in range(0, 360, 30):
        inner = radius - (6.0 if angle % 90 == 0 else 3.0)
        canvas.line(*_at(middle, inner, angle), *_at(middle, radius, angle))
        if angle % 90 == 0:
            x, y = _at(middle, radius - 12.0, angle)
            canvas.drawCentredString(x, y - 1.8, f"{angle}°")
    canvas.circle(*middle, 1.2, stroke=0, fill=1)


def spread_out(angles_deg: FloatArray, apart_deg: float) -> FloatArray:
    """Label directions nearest `angles_deg` (least squares) that keep at least `apart_deg` from each other, in order.

    Shape as given. The circle is opened at its widest gap; where that leaves too little room, labels go round evenly.
    """
    angles = np.asarray(angles_deg, dtype=np.float64)
    count = angles.size
    if count < 2 or count * apart_deg >= 360.0:
        return angles.copy()
    folded = np.mod(angles, 360.0)
    order = np.argsort(folded, kind="stable")
    gaps = np.diff(np.append(folded[order], folded[order[0]] + 360.0))
    order = np.roll(order, -(int(np.argmax(gaps)) + 1))
    line = folded[order] + 360.0 * (folded[order] < folded[order[0]])
    steps = apart_deg * np.arange(count)
    placed = _never_falling(line - steps) + steps
    if placed[-1] - placed[0] > 360.0 - apart_deg:
        placed = placed.mean() + 360.0 / count * (np.arange(count) - 0.5 * (count - 1))
    result = np.empty(count)
    result[order] = placed
    return result


def _never_falling(values: FloatArray) -> FloatArray:
    """Least-squares fit that never falls: neighbours out of order share their mean."""
    blocks: list[tuple[float, int]] = []
    for value in values:
        mean, size = float(value), 1
        while blocks and blocks[-1][0] > mean:
            before, number = blocks.pop()
            mean, size = (mean * size + before * number) / (size + number), size + number
        blocks.append((mean, size))
    return np.concatenate([np.full(size, mean) for mean, size in blocks])
