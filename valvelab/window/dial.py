"""Draws a `figures.description.Dial`: directions on a circle seen from the drive end, clockwise from the top."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QFontMetrics, QMouseEvent, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QWidget

from valvelab.arrays import FloatArray
from valvelab.figures.description import Dial
from valvelab.language import say, say_figures, say_number
from valvelab.window.chips import cut
from valvelab.window.figure_item import role_colour
from valvelab.window.numbers import show
from valvelab.window.painting import CENTRE, LEFT, Drawn, about, painting, polar, write
from valvelab.window.plot_menu import Shown
from valvelab.window.theme import current_theme, scaled

_RANKS = {"measured": 0, "guide": 1, "readings": 3}
"""Which labels of a crowded side stay."""
_LABELS = 0.88
"""Size of labels, of the text's."""
_FIGURES = (0.8, 0.65, 0.5)
"""Sizes of the angles at the rim, of the text's, the usual first."""
_LEAST = 0.8
"""How small labels may be written, of the usual, so that all of them have room."""


def spread_apart(wanted: FloatArray, least: float, ends: tuple[float, float] = (-math.inf, math.inf)) -> FloatArray:
    """Places as near to the wanted ones as a few passes bring them, at least `least` apart, in the same order.

    All between the `ends`, as long as there is room for them.
    """
    placed = np.sort(wanted)
    for _ in range(200):
        short = np.maximum(0.0, least - np.diff(placed))
        if short.size == 0 or short.max() < 0.05:
            break
        placed[:-1] -= 0.5 * short
        placed[1:] += 0.5 * short
    steps = least * np.arange(placed.size)
    placed = np.maximum.accumulate(np.maximum(placed, ends[0] + steps) - steps) + steps
    ups = steps[::-1]
    placed = np.minimum.accumulate((np.minimum(placed, ends[1] - ups) + ups)[::-1])[::-1] - ups
    result: FloatArray = np.empty_like(wanted)
    result[np.argsort(wanted, kind="stable")] = placed
    return result


class DialView(Drawn):
    """The dial; `chosen(label)` on a click beside a direction."""

    chosen = Signal(str)
    least_ems, usual_ems = (13, 10), (16, 16)
    inner_share, outer_share = 0.18, 0.93
    """Where on the radius a direction's line begins and ends, unless it is the chosen one."""
    breadth = 1.6
    words_ems = 4.6
    """Room for the words at either side, whatever they are: the dial keeps its size as they come."""

    def __init__(self, name: str, parent: QWidget | None = None) -> None:
        super().__init__(name, parent)
        self.dial: Dial | None = None
        self.places: list[tuple[QPointF, str]] = []

    def show_dial(self, dial: Dial) -> None:
        """Draw a dial."""
        self.dial = dial
        unit = say("deg")
        said = [
            f"{say_figures(label)} {show(angle, 'deg', decimals=dial.decimals)} {unit} {remark}"
            for label, angle, remark in _rows(dial)
        ]
        self.setAccessibleDescription("; ".join(said))
        self.update()

    def circle(self) -> tuple[QPointF, float]:
        """Centre and radius of the dial, in pixels."""
        em = self.fontMetrics().height()
        across, down = self.width() / 2.0, (self.height() - 1.3 * em) / 2.0 - 1.2 * em
        radius = min(max(across - (self.words_ems + 0.8) * em, 0.34 * across), max(down, 20.0))
        return QPointF(across, (self.height() + 1.3 * em) / 2.0), radius / max(1.0, self.outer_share)

    def on_paper(self) -> Shown | None:
        """The dial."""
        return None if self.dial is None else Shown((self.dial,))

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Choose the nearest label."""
        near = [(math.dist(p.toTuple(), event.position().toTuple()), label) for p, label in self.places]
        if near and min(near)[0] < 2.5 * self.fontMetrics().height():
            self.chosen.emit(min(near)[1])

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Draw the whole dial."""
        em, dial = self.fontMetrics().height(), self.dial
        with painting(self, "panel") as painter:
            if dial is None:
                return
            title = QRectF(0.4 * em, 0.2 * em, self.width() - 0.8 * em, 1.3 * em)
            painter.setFont(scaled(self.font(), 0.9))
            write(painter, title, LEFT, self._told(dial, painter.fontMetrics(), title.width()), "quiet")
            centre, radius = self.circle()
            painter.setBrush(current_theme().colour("stripe"))
            painter.setPen(QPen(current_theme().colour("line"), 1.2))
            painter.drawEllipse(centre, radius, radius)
            self._draw_rim(painter, dial, centre, radius)
            self._draw_hub(painter, centre, radius)
            self._draw_directions(painter, dial, centre, radius)

    @staticmethod
    def _told(dial: Dial, metrics: QFontMetrics, room: float) -> str:
        """The title; where it has no room what follows the dial's name, which stands on the way here."""
        title = say(dial.title)
        if metrics.horizontalAdvance(title) > room:
            title = title.rpartition(": ")[2]
        return cut(title, metrics, round(room))

    def _draw_rim(self, painter: QPainter, dial: Dial, centre: QPointF, radius: float) -> None:
        """Ticks and the angles beside them."""
        for angle in range(0, 360, 10):
            self._tick(painter, centre, radius, angle, 0.09 if angle % 90 == 0 else 0.06 if angle % 30 == 0 else 0.03)
        self._number(painter, centre, radius, (0.16, 0.09), 90, dial.angles_deg)

    def _draw_hub(self, painter: QPainter, centre: QPointF, radius: float) -> None:
        painter.setPen(QPen(current_theme().colour("line"), 1.2))
        painter.setBrush(current_theme().colour("raised"))
        painter.drawEllipse(centre, 0.16 * radius, 0.16 * radius)

    @staticmethod
    def _tick(painter: QPainter, centre: QPointF, radius: float, angle: int, length: float) -> None:
        painter.drawLine(polar(centre, radius * (1.0 - length), angle), polar(centre, radius, angle))

    def _number(
        self,
        painter: QPainter,
        centre: QPointF,
        rim: float,
        within: tuple[float, float],
        every_deg: int,
        hands_deg: FloatArray | Sequence[float],
    ) -> None:
        """Angles in figures, but where a hand lies over them; smaller and fewer where they have little room.

        within: shares of the rim, from the outside of what is drawn about the hub to the length of the ticks.
        """
        size = next((size for size in _FIGURES if self._figures_fit(rim, within, size)), 0.0)
        painter.setFont(scaled(self.font(), size or _FIGURES[-1]))
        metrics = painter.fontMetrics()
        inner, ticks = within
        for angle in range(0, 360, every_deg if size == _FIGURES[0] else 90):
            wide, high = 0.5 * metrics.horizontalAdvance(str(angle) if not size else "000"), 0.5 * metrics.capHeight()
            reach = (
                wide if size else wide * abs(math.sin(math.radians(angle))) + high * abs(math.cos(math.radians(angle)))
            )
            radius = min((0.91 - ticks) * rim, (1.0 - ticks) * rim - reach - 2.0)
            off = radius * np.abs(np.sin(np.radians(np.asarray(hands_deg) - angle)))
            ahead = np.cos(np.radians(np.asarray(hands_deg) - angle)) > 0.0
            if radius - reach >= inner * rim and not np.any(ahead & (off < wide)):
                write(painter, about(polar(centre, radius, angle), 20.0, 10.0), CENTRE, str(angle), "quiet")

    def _figures_fit(self, rim: float, within: tuple[float, float], size: float = 0.8) -> bool:
        """Whether angles all around have room in that size, of the text's."""
        wide = 0.5 * QFontMetrics(scaled(self.font(), size)).horizontalAdvance("000")
        inner, ticks = within
        return min((0.91 - ticks) * rim, (1.0 - ticks) * rim - wide - 2.0) - wide >= inner * rim

    def _draw_directions(self, painter: QPainter, dial: Dial, centre: QPointF, radius: float) -> None:
        theme = current_theme()
        spots, rows = self._label_spots(dial, centre, radius), _rows(dial)
        size = self._size_of_labels(rows, spots)
        self.places = []
        for number, (label, angle, remark) in enumerate(rows):
            role = dial.roles[number]
            colour, strong = role_colour(role), role == "measured" or label == dial.chosen
            if dial.nominal_deg is not None:
                painter.setPen(QPen(theme.colour("nominal"), 1.0))
                ghost = float(dial.nominal_deg[number])
                painter.drawLine(polar(centre, radius * 0.93, ghost), polar(centre, radius * 1.03, ghost))
            pen = QPen(colour, 3.0 if strong else self.breadth, Qt.PenStyle.SolidLine, Qt.PenCapStyle.FlatCap)
            if role == "exhaust":
                pen.setDashPattern([4.0, 1.5])
            painter.setPen(pen)
            inner, outer = (0.18, 0.93) if strong else (self.inner_share, self.outer_share)
            painter.drawLine(polar(centre, inner * radius, angle), polar(centre, outer * radius, angle))
            spot = spots[number]
            if spot is None:
                continue
            painter.setPen(QPen(theme.colour("quiet" if strong else "line"), 1.0))
            painter.drawLine(polar(centre, radius, angle), spot)
            painter.setFont(scaled(self.font(), size, strong=strong))
            self._write(painter, spot, say_figures(label), remark, right=_on_right(angle), strong=strong)
            self.places.append((spot, label))

    def _label_spots(self, dial: Dial, centre: QPointF, radius: float) -> list[QPointF | None]:
        """Where the labels begin: on a circle outside the rim, moved up or down until none covers another.

        None where a side holds more than there is room for: single readings go first.
        """
        em = 0.92 * self.fontMetrics().height()
        outer = max(1.0, self.outer_share) * radius + 0.6 * em
        turns = np.radians(dial.angles_deg)
        heights = -outer * np.cos(turns)
        right = np.array([_on_right(float(angle)) for angle in dial.angles_deg], dtype=bool)
        ranks = (
            _RANKS.get(r, 2) if label != dial.chosen else 0 for r, label in zip(dial.roles, dial.labels, strict=True)
        )
        rank = np.fromiter(ranks, dtype=np.intp, count=right.size)
        room = max(1, int((self.height() - 2.5 * em) / em))
        said = np.zeros(right.size, dtype=bool)
        for side in (right, ~right):
            said[np.flatnonzero(side)[np.argsort(rank[side], kind="stable")[:room]]] = True
        for side in (right & said, ~right & said):
            if side.any():
                ends = (-centre.y() + 2.2 * em, self.height() - centre.y() - 0.6 * em)
                heights[side] = spread_apart(heights[side], em, ends)
        across = np.sqrt(np.maximum(outer**2 - np.minimum(np.abs(heights), 0.97 * outer) ** 2, 0.0))
        signs = np.where(right, 1.0, -1.0)
        places = zip(signs, across, heights, said, strict=True)
        return [QPointF(centre.x() + s * a, centre.y() + h) if seen else None for s, a, h, seen in places]

    def _size_of_labels(self, rows: Sequence[tuple[str, float, str]], spots: Sequence[QPointF | None]) -> float:
        """One size for all labels, the usual or as much smaller as those with the least room need."""
        metrics, share = QFontMetrics(scaled(self.font(), _LABELS)), 1.0
        for (label, angle, remark), spot in zip(rows, spots, strict=True):
            if spot is not None:
                wide = metrics.horizontalAdvance(f"{say_figures(label)} {remark}".strip())
                share = min(share, self._room_at(spot, right=_on_right(angle)) / max(1, wide))
        return _LABELS * max(_LEAST, share)

    def _room_at(self, spot: QPointF, *, right: bool) -> float:
        return (self.width() - spot.x() if right else spot.x()) - 0.3 * self.fontMetrics().height()

    def _write(self, painter: QPainter, spot: QPointF, label: str, remark: str, *, right: bool, strong: bool) -> None:
        """A label with its remark, or alone: a figure that is cut would be another."""
        em, metrics = self.fontMetrics().height(), painter.fontMetrics()
        room = self._room_at(spot, right=right)
        text = f"{label} {remark}".strip()
        if metrics.horizontalAdvance(text) > room:
            text = cut(label, metrics, round(room))
        wide = metrics.horizontalAdvance(text)
        left = spot.x() + 0.2 * em if right else spot.x() - wide - 0.2 * em
        write(painter, QRectF(left - 1, spot.y() - em / 2.0, wide + 2, em), CENTRE, text, "text" if strong else "quiet")


def _on_right(angle_deg: float) -> bool:
    return math.sin(math.radians(angle_deg)) >= 0.0


def _rows(dial: Dial) -> list[tuple[str, float, str]]:
    remarks = [say_number(remark) for remark in dial.remarks or ("",) * len(dial.labels)]
    return [(label, float(a), r) for label, a, r in zip(dial.labels, dial.angles_deg, remarks, strict=True)]
