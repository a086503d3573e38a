"""Draws directions on a circle: the end view of a shaft."""

from __future__ import annotations

import math

import numpy as np
from reportlab.pdfgen.canvas import Canvas

from valvelab.arrays import FloatArray
from valvelab.figures.description import Dial
from valvelab.report.paper import BOLD, Paper, rule, text_width, write
from valvelab.report.plots import SMALL, TITLE, Rectangle

LABEL = 6.5
LEADER = 10.0


def draw_dial(canvas: Canvas, dial: Dial, box: Rectangle, paper: Paper) -> None:
    """Rays from the centre, nominal places as ticks outside, names and remarks round the circle."""
    write(canvas, dial.title, (box.left, box.top - 8.0), TITLE, paper.of("text"), font=BOLD)
    texts = [_label(dial, index) for index in range(len(dial.labels))]
    radius = max(20.0, min(_widest(dial, box.width), (box.height - 12.0) / 2.0 - 18.0))
    middle = (box.left + box.width / 2.0, box.bottom + (box.height - 12.0) / 2.0)
    _rose(canvas, middle, radius, paper)
    anchors = label_anchors(dial.angles_deg, radius + LEADER, LABEL + 1.2)
    for index, (angle, (across, up)) in enumerate(zip(dial.angles_deg, anchors, strict=True)):
        colour = paper.role(dial.roles[index])
        rim = _at(middle, radius, angle)
        rule(canvas, colour, 1.1, (*middle, *rim))
        rule(canvas, colour, 0.4, (*rim, middle[0] + across, middle[1] + up))
        if dial.nominal_deg is not None:
            nominal = float(dial.nominal_deg[index])
            tick = (*_at(middle, radius - 5.0, nominal), *_at(middle, radius + 3.0, nominal))
            rule(canvas, paper.of("nominal"), 0.8, tick)
        place = middle[0] + across + math.copysign(1.5, across), middle[1] + up - 0.35 * LABEL
        write(canvas, texts[index], place, LABEL, colour, end="left" if across >= 0.0 else "right")


def dial_as_wide(dial: Dial, width: float) -> float:
    """How high a dial is at most in this width."""
    return 2.0 * max(20.0, _widest(dial, width)) + 48.0


def _widest(dial: Dial, width: float) -> float:
    """The radius that leaves room beside the circle for the longest label."""
    texts = (_label(dial, index) for index in range(len(dial.labels)))
    return width / 2.0 - max((text_width(text, LABEL) for text in texts), default=0.0) - 16.0


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
    quiet = paper.of("quiet")
    for angle in range(0, 360, 30):
        inner = radius - (6.0 if angle % 90 == 0 else 3.0)
        canvas.line(*_at(middle, inner, angle), *_at(middle, radius, angle))
        if angle % 90 == 0:
            x, y = _at(middle, radius - 12.0, angle)
            write(canvas, f"{angle}°", (x, y - 1.8), SMALL - 1.0, quiet, end="middle")
    canvas.setFillColor(quiet)
    canvas.circle(*middle, 1.2, stroke=0, fill=1)


def label_anchors(angles_deg: FloatArray, radius: float, line: float) -> list[tuple[float, float]]:
    """Where each label begins, from the middle: on the circle of `radius`, moved up or down so that lines don't touch.

    Labels of the right half run to the right, those of the left half to the left.
    """
    turn = np.radians(np.asarray(angles_deg, dtype=np.float64))
    right = np.sin(turn) >= 0.0
    up = radius * np.cos(turn)
    for side in (right, ~right):
        up[side] = spread_out(up[side], line)
    across = np.sqrt(np.maximum(radius**2 - up**2, (0.08 * radius) ** 2))
    return [(float(x if side else -x), float(y)) for x, y, side in zip(across, up, right, strict=True)]


def spread_out(places: FloatArray, apart: float) -> FloatArray:
    """Places nearest the given ones (least squares) that keep at least `apart` from each other, in the same order.

    Shape as given, any unit.
    """
    order = np.argsort(places, kind="stable")
    steps = apart * np.arange(order.size)
    result = np.empty(order.size)
    result[order] = _never_falling(places[order] - steps) + steps if order.size else places
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
