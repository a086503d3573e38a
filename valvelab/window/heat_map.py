"""Draws a `figures.description.HeatMap`: named rows over x, a colour a cell; click or arrow keys choose a row."""

from __future__ import annotations

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QColor, QImage, QKeyEvent, QLinearGradient, QMouseEvent, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QToolTip, QWidget

from valvelab.arrays import FloatArray
from valvelab.figures.description import HeatMap
from valvelab.language import say, say_number
from valvelab.units import System
from valvelab.window.numbers import display_unit, told
from valvelab.window.painting import CENTRE, RIGHT, Drawn, painting, write
from valvelab.window.plot_menu import Shown
from valvelab.window.theme import Theme, current_theme, scaled

_SEPARATE_PX = 8.0
"""Rows taller than this are parted by a line."""


def colour_table(theme: Theme, diverging: bool) -> FloatArray:
    """256 RGB colours from low over middle to high, shape (256, 3)."""
    names = ("low", "middle", "high") if diverging else ("middle", "low")
    stops = np.array([_rgb(theme.colour(name)) for name in names], dtype=np.float64)
    at = np.linspace(0.0, 1.0, len(names))
    return np.stack([np.interp(np.linspace(0.0, 1.0, 256), at, stops[:, c]) for c in range(3)], axis=1)


def _rgb(colour: QColor) -> tuple[int, int, int]:
    return colour.red(), colour.green(), colour.blue()


def limits(heat: HeatMap) -> tuple[float, float]:
    """Ends of the colour scale: as stated, else symmetrical about zero where the map diverges."""
    if heat.value_axis.range is not None:
        return heat.value_axis.range
    finite = heat.values[np.isfinite(heat.values)]
    if not finite.size:
        return (-1.0, 1.0)
    if heat.diverging:
        end = float(np.abs(finite).max()) or 1.0
        return (-end, end)
    low, high = float(finite.min()), float(finite.max())
    return (low, high if high > low else low + 1.0)


def picture(heat: HeatMap, theme: Theme) -> QImage:
    """The map as an image, one pixel a cell, first row on top; cells without a value are grey."""
    low, high = limits(heat)
    place = np.clip((heat.values - low) / (high - low), 0.0, 1.0)
    index = np.where(np.isfinite(place), place * 255.0, 0.0).astype(np.intp)
    rgb = colour_table(theme, heat.diverging)[index].round().astype(np.uint32)
    rgb[~np.isfinite(heat.values)] = np.array(_rgb(theme.colour("raised")), dtype=np.uint32)
    pixels = np.ascontiguousarray(0xFF000000 | rgb[..., 0] << 16 | rgb[..., 1] << 8 | rgb[..., 2], dtype=np.uint32)
    rows, columns = pixels.shape
    return QImage(pixels.tobytes(), columns, rows, 4 * columns, QImage.Format.Format_RGB32).copy()


class HeatMapView(Drawn):
    """The map with its row names, angle axis and colour key; `row_chosen(name)` on a click or a key."""

    least_ems, usual_ems = (12, 9), (20, 16)
    row_chosen = Signal(str)

    def __init__(self, name: str, parent: QWidget | None = None) -> None:
        super().__init__(name, parent)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setMouseTracking(True)
        self._heat: HeatMap | None = None
        self._image = QImage()
        self._units: System = "metric"
        self._chosen = ""
        self._bad: frozenset[str] = frozenset()

    def show_map(self, heat: HeatMap, units: System, bad_rows: frozenset[str] = frozenset()) -> None:
        """Draw a map; `bad_rows` get the mark of a rejected item beside their name."""
        self._heat, self._units, self._bad = heat, units, bad_rows
        self._image = picture(heat, current_theme())
        self.update()

    def on_paper(self) -> Shown | None:
        """The map."""
        return None if self._heat is None else Shown((self._heat,), self._units)

    def choose(self, row: str) -> None:
        """Mark the chosen row."""
        self._chosen = row
        self.setAccessibleDescription(say("chosen row {row}").format(row=row))
        self.update()

    def _frame(self) -> QRectF:
        em = self.fontMetrics().height()
        names = [*(self._heat.rows if self._heat else ()), "00"]
        left = max(self.fontMetrics().horizontalAdvance(name) for name in names) + 1.6 * em
        return QRectF(left, 1.7 * em, max(10.0, self.width() - left - 0.6 * em), max(10.0, self.height() - 4.6 * em))

    def _row_at(self, position: QPointF) -> str | None:
        if self._heat is None or not self._heat.rows:
            return None
        frame = self._frame()
        row = int((position.y() - frame.top()) / frame.height() * len(self._heat.rows))
        inside = frame.top() <= position.y() < frame.bottom()
        return self._heat.rows[row] if inside and 0 <= row < len(self._heat.rows) else None

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Choose a row."""
        row = self._row_at(event.position())
        if row is not None:
            self.row_chosen.emit(row)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Say the value under the pointer."""
        row, heat = self._row_at(event.position()), self._heat
        frame = self._frame()
        if row is None or heat is None or not frame.contains(event.position()):
            QToolTip.hideText()
            return
        share = (event.position().x() - frame.left()) / frame.width()
        column = min(int(share * heat.x.size), heat.x.size - 1)
        value = heat.values[heat.rows.index(row), column]
        said = told(value, heat.value_axis.unit, self._units) if np.isfinite(value) else say("no nominal here")
        text = (
            say("{row} at {x}°: {said}")
            .format(row=row, x=say_number(f"{heat.x[column]:.1f}"), said=said)
            .replace("-", "−")
        )
        QToolTip.showText(event.globalPosition().toPoint(), text, self)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Up and down walk through the rows."""
        step = {Qt.Key.Key_Up: -1, Qt.Key.Key_Down: 1}.get(Qt.Key(event.key()))
        if step is None or self._heat is None or self._chosen not in self._heat.rows:
            super().keyPressEvent(event)
            return
        row = self._heat.rows.index(self._chosen) + step
        self.row_chosen.emit(self._heat.rows[max(0, min(row, len(self._heat.rows) - 1))])

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Draw the whole map."""
        with painting(self, "panel", smooth=False) as painter:
            if self._heat is None:
                return
            frame = self._frame()
            painter.drawImage(frame, self._image)
            self._draw_rows(painter, self._heat, frame)
            self._draw_axis(painter, self._heat, frame)
            self._draw_key(painter, self._heat, frame)

    def _draw_rows(self, painter: QPainter, heat: HeatMap, frame: QRectF) -> None:
        theme, em = current_theme(), self.fontMetrics().height()
        height = frame.height() / max(1, len(heat.rows))
        painter.setPen(QPen(theme.colour("panel"), 1.0))
        for row in range(1, len(heat.rows) if height > _SEPARATE_PX else 0):
            y = frame.top() + row * height
            painter.drawLine(QPointF(frame.left(), y), QPointF(frame.right(), y))
        size = min(0.95, max(0.7, 0.95 * height / em))
        every = max(1, int(np.ceil(0.62 * em / height)))
        chosen_row = heat.rows.index(self._chosen) if self._chosen in heat.rows else -len(heat.rows)
        for row, name in enumerate(heat.rows):
            if name != self._chosen and (row % every or abs(row - chosen_row) < every):
                continue
            chosen, bad = name == self._chosen, name in self._bad
            tall = max(height, em)
            top = frame.top() + (row + 0.5) * height - 0.5 * tall
            box = QRectF(1.2 * em, top, frame.left() - 1.6 * em, tall)
            font = scaled(self.font(), size, strong=chosen)
            write(painter, box, RIGHT, name, "text" if chosen else "quiet", font)
            if bad:
                write(painter, QRectF(0.3 * em, box.top(), em, tall), CENTRE, "✗", "reject")
        if self._chosen in heat.rows:
            top = frame.top() + heat.rows.index(self._chosen) * height
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.setPen(QPen(theme.colour("text"), 2.0 if self.hasFocus() else 1.5))
            painter.drawRect(QRectF(frame.left(), top, frame.width(), height).adjusted(-0.5, 0.5, 0.5, -0.5))

    def _draw_axis(self, painter: QPainter, heat: HeatMap, frame: QRectF) -> None:
        theme, em = current_theme(), self.fontMetrics().height()
        painter.setFont(scaled(self.font(), 0.9))
        low, high = float(heat.x[0]), float(heat.x[-1])
        steps = [
            step for step in (10.0, 20.0, 30.0, 45.0, 60.0, 90.0) if (high - low) / step * 2.6 * em <= frame.width()
        ]
        step = steps[0] if steps else 90.0
        for value in np.arange(np.ceil(low / step) * step, high + 1e-9, step):
            x = frame.left() + (value - low) / (high - low) * frame.width()
            painter.setPen(theme.colour("line"))
            painter.drawLine(QPointF(x, frame.bottom()), QPointF(x, frame.bottom() + 4))
            text = f"{round(value):d}".replace("-", "−")
            write(painter, QRectF(x - 2 * em, frame.bottom() + 4, 4 * em, em), CENTRE, text, "quiet")
        box = QRectF(0, frame.bottom() + 4 + 0.95 * em, self.width() - 0.3 * em, em * 1.1)
        unit = display_unit(heat.x_axis.unit, self._units).label
        name = f"{say(heat.x_axis.label)}, {unit}"
        fits = painter.fontMetrics().horizontalAdvance(name) <= box.width()
        write(painter, box, RIGHT, name if fits else unit, "quiet")

    def _draw_key(self, painter: QPainter, heat: HeatMap, frame: QRectF) -> None:
        """Title and colour scale above the map."""
        theme, em = current_theme(), self.fontMetrics().height()
        unit = display_unit(heat.value_axis.unit, self._units)
        low, high = (end * unit.scale for end in limits(heat))
        decimals = int(np.clip(2 - np.floor(np.log10(max(abs(low), abs(high), 1e-9))), 0, 5))
        sign = "+" if heat.diverging else ""
        low_text, high_text = (say_number(f"{end:{sign}z.{decimals}f}") for end in (low, high))
        texts = [low_text.replace("-", "−"), f"{high_text} {unit.label}"]
        painter.setFont(scaled(self.font(), 0.9))
        metrics = painter.fontMetrics()
        right = frame.right()
        top, height = 0.45 * em, 0.75 * em
        painter.setPen(theme.colour("quiet"))
        wide = metrics.horizontalAdvance(texts[1])
        painter.drawText(QPointF(right - wide, top + height), texts[1])
        bar = QRectF(right - wide - 0.4 * em - 5 * em, top, 5 * em, height)
        gradient = QLinearGradient(bar.topLeft(), bar.topRight())
        table = colour_table(theme, heat.diverging)
        for place in (0.0, 0.25, 0.5, 0.75, 1.0):
            gradient.setColorAt(place, QColor(*(int(c) for c in table[round(place * 255)])))
        painter.fillRect(bar, gradient)
        painter.drawText(QPointF(bar.left() - 0.4 * em - metrics.horizontalAdvance(texts[0]), top + height), texts[0])
