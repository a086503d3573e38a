"""Two drawings of the spring bay: the map of the tray that springs are picked from, and coils at open height."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QMouseEvent, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QApplication, QSizePolicy, QWidget

from valvelab.figures.spring_figures import CoilBind, CoilState
from valvelab.language import say, say_figures
from valvelab.window.drawing import FigureView
from valvelab.window.painting import CENTRE, LEFT, RIGHT, Drawn, painting, write
from valvelab.window.theme import current_theme, scaled

_NEAR_PX = 14.0


class MapView(FigureView):
    """A figure of marks, one a spring: the nearest is named under the pointer, `picked(spring)` on a click."""

    picked = Signal(str)

    def __init__(self, name: str, parent: QWidget | None = None) -> None:
        super().__init__(name, parent)
        self._names: list[str] = []
        self._said: Callable[[str], str] = str
        self._points = np.empty((0, 2))

    def minimumSizeHint(self) -> QSize:
        """Narrower than other plots: what lies beside it is read more."""
        return QSize(11 * self.fontMetrics().height(), super().minimumSizeHint().height())

    def name_marks(self, names: list[str], said: Callable[[str], str]) -> None:
        """Names of all marks of the figure, in its order, and what gives the words about each."""
        item = next(iter(self.items_by_name.values()))
        self._names, self._said = names, said
        groups = [np.column_stack([marks.x, marks.y]) for marks in item.figure.marks if not marks.bare]
        self._points = np.concatenate(groups) if groups else np.empty((0, 2))

    def _nearest(self, position: object) -> int | None:
        item = next(iter(self.items_by_name.values()), None)
        if item is None or not self._names:
            return None
        assert isinstance(position, QPointF)
        there = item.pixels(self._points * np.array([item.scale_x().scale, item.scale_y().scale]))
        distance = np.hypot(*(there - np.array(item.view.mapFromScene(position).toTuple())).T)
        nearest = int(np.argmin(distance))
        return nearest if distance[nearest] <= _NEAR_PX else None

    def _on_mouse(self, position: object) -> None:
        item = next(iter(self.items_by_name.values()), None)
        if item is None:
            return
        nearest = self._nearest(position)
        if nearest is None:
            item.read_out("")
            self.setToolTip("")
            return
        name = self._names[nearest]
        text = f"{name}: {self._said(name)}"
        item.read_out(text)
        self.setToolTip(text)

    def _on_left_click(self, where: QPointF) -> None:
        nearest = self._nearest(where)
        if nearest is not None:
            self.picked.emit(self._names[nearest])


class CoilBindView(Drawn):
    """A spring in section at open height above the same spring at solid height, to scale, with the gap between."""

    least_ems, usual_ems = (12, 6), (22, 8)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(say("Coil bind to scale"), parent)
        self._bind: CoilBind | None = None
        self._decision = ""
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Preferred)

    def show_bind(self, bind: CoilBind | None, decision: str = "") -> None:
        """Show a spring; `decision` is the verdict on its margin where one was reached."""
        self._bind, self._decision = bind, decision
        self.setAccessibleDescription(self._words())
        self.setToolTip(self._words())
        self.update()

    def _words(self) -> str:
        bind = self._bind
        if bind is None:
            return say("Coil bind can't be drawn: open height or solid height is not known")
        said = {name: say_figures(size) for name, size in bind.said.items()}
        text = say("{spring}: open {what}, solid {what_2}, margin {what_3}").format(
            spring=bind.spring, what=said["open"], what_2=said["solid"], what_3=said["margin"]
        )
        return text + (say(", {what} per coil").format(what=said["coil"]) if "coil" in said else "")

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Draw both states from the seat on the left to the retainer on the right."""
        em = float(self.fontMetrics().height())
        with painting(self, "panel") as painter:
            if self._bind is None:
                box = QRectF(self.rect()).adjusted(em, 0, -em, 0)
                write(painter, box, CENTRE | Qt.TextFlag.TextWordWrap, self._words(), "quiet")
            else:
                self._draw(painter, self._bind, em)

    def _draw(self, painter: QPainter, bind: CoilBind, em: float) -> None:
        theme = current_theme()
        tallest = max(bind.open_mm, bind.solid_mm)
        beside = max(self.fontMetrics().horizontalAdvance(bind.said[state.name]) for state in bind.states)
        left, head, label = 3.6 * em, 1.7 * em, beside + em
        row = (self.height() - head - 0.5 * em) / 2.0
        thick = bind.wire_mm if bind.wire_mm is not None else 0.1 * tallest
        scale = min((self.width() - left - label) / tallest, (row - 0.3 * em) / thick)
        bad = bind.margin_mm <= 0.0 or self._decision == "reject"
        name = "reject" if bad else "undecided" if self._decision == "undecided" else "accept"
        ends = sorted((left + bind.solid_mm * scale, left + bind.open_mm * scale))
        gap = QRectF(ends[0], head - 0.2 * em, ends[1] - ends[0], 2 * row + 0.4 * em)
        painter.fillRect(gap, theme.colour(name, 0.22))
        painter.setPen(QPen(theme.colour(name), 1.2))
        for x in ends:
            painter.drawLine(QPointF(x, head - 0.35 * em), QPointF(x, head + 2 * row + 0.2 * em))
        painter.setPen(QPen(theme.colour("quiet"), 2.0))
        painter.drawLine(QPointF(left, head), QPointF(left, head + 2 * row))
        font = scaled(QApplication.font(), 0.9)
        for number, state in enumerate(bind.states):
            box = QRectF(left, head + number * row, state.height_mm * scale, row)
            self._coils(painter, state, bind, box, scale)
            write(painter, QRectF(0, box.top(), left - 0.5 * em, row), RIGHT, say(state.name), "quiet", font)
            text = QRectF(ends[1] + 0.5 * em, box.top(), self.width() - ends[1], row)
            write(painter, text, LEFT, say_figures(bind.said[state.name]), "text")
        margin = say("margin {size}").format(size=say_figures(bind.said["margin"]))
        if "coil" in bind.said:
            margin += say(" · {what} per coil").format(what=say_figures(bind.said["coil"]))
        painter.setFont(scaled(QApplication.font(), 1.0, strong=True))
        wide = painter.fontMetrics().horizontalAdvance(margin)
        write(painter, QRectF(0, 0, max(ends[1], wide + 8.0), head), RIGHT, margin, name)

    @staticmethod
    def _coils(painter: QPainter, state: CoilState, bind: CoilBind, box: QRectF, scale: float) -> None:
        painter.setPen(QPen(current_theme().colour("measured"), 1.2))
        painter.setBrush(current_theme().colour("measured", 0.25))
        if bind.wire_mm is None:
            painter.drawRect(box.adjusted(0, 0.2 * box.height(), 0, -0.2 * box.height()))
            return
        radius = 0.5 * bind.wire_mm * scale
        painter.save()
        painter.setClipRect(box.adjusted(-0.6, 0, 0.6, 0))
        for centre in state.centres_mm:
            painter.drawEllipse(QPointF(box.left() + float(centre) * scale, box.center().y()), radius, radius)
        painter.restore()
        painter.setBrush(Qt.BrushStyle.NoBrush)

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        """Nothing to zoom."""
        event.ignore()
