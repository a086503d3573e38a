"""Draws figures: one by itself, or a stack over a linked x axis with a cursor through all of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Any

import numpy as np
import pyqtgraph as pg  # type: ignore[import-untyped]
from PySide6.QtCore import QElapsedTimer, QEvent, QObject, QPoint, QPointF, QSize, Qt, Signal
from PySide6.QtGui import QContextMenuEvent, QResizeEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from valvelab.arrays import FloatArray
from valvelab.figures.description import Figure
from valvelab.language import say, say_number
from valvelab.units import DisplayUnit, System
from valvelab.window.figure_item import FigureItem, plot_pen
from valvelab.window.plot_menu import Shown, Zoom, open_plot_menu
from valvelab.window.theme import current_theme
from valvelab.window.turns import turns_at

DRAGGED, DRAGGED_MS = 3, 200
"""Sizes that follow one another within that time are dragged from the so manieth on: plots then stay in sight."""


class _Unstirred(QObject):
    """Keeps from a scene whether its window is active: nothing drawn depends on it, and it would draw all anew."""

    def eventFilter(self, _scene: QObject, event: QEvent) -> bool:
        """Whether the event stops here."""
        return event.type() in {QEvent.Type.WindowActivate, QEvent.Type.WindowDeactivate}


class FigureStack(pg.GraphicsLayoutWidget):  # type: ignore[misc]
    """Figures above one another over one x axis, with a cursor through all of them.

    `cursor_moved(x)` gives the canonical x under the pointer, `cursor_left` that there is none, `spot_clicked(name, x)`
    the plot that was clicked and where.
    """

    cursor_moved = Signal(float)
    cursor_left = Signal()
    spot_clicked = Signal(str, float)

    def __init__(self, name: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName(name)
        self.setAccessibleName(say(name))
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.ci.layout.setContentsMargins(2, 4, 8, 2)
        self.ci.layout.setVerticalSpacing(4)
        self.items_by_name: dict[str, FigureItem] = {}
        self._wanted: list[str] = []
        self._cursors: list[pg.InfiniteLine] = []
        self._units: System = "metric"
        self._resized, self._in_a_row = QElapsedTimer(), 0
        self._away: list[pg.PlotItem] = []
        """Plots out of sight until their turn after another size."""
        self.scene().installEventFilter(_Unstirred(self))
        self.scene().sigMouseMoved.connect(self._on_mouse)
        self.scene().sigMouseClicked.connect(self._on_click)
        self.setBackground(None)

    def show_figures(self, figures: Sequence[Figure], units: System, stretch: Mapping[str, int] | None = None) -> None:
        """Draw the figures from top to bottom; the plots are built anew only where their names changed."""
        for step in self.steps(figures, units, stretch):
            step()

    def steps(
        self, figures: Sequence[Figure], units: System, stretch: Mapping[str, int] | None = None
    ) -> list[Callable[[], object]]:
        """What draws the figures, a plot a step: those that are not there yet are made first."""
        names = [figure.name for figure in figures]
        made = [partial(self.grow, names, stretch) for _ in names] if self.lacks(names) else []
        shown = [partial(self._show_one, figures, number, units) for number in range(len(names))]
        return [*made, *shown, partial(self._level, figures)]

    def _show_one(self, figures: Sequence[Figure], number: int, units: System) -> None:
        figure, above = figures[number], figures[:number]
        curves = {curve.label for one in above for curve in one.curves}
        bands = {band.label for one in above for band in one.bands}
        item = self.items_by_name[figure.name]
        item.show(figure, units, frozenset(curves | bands))
        item.plot.setOpacity(1.0)
        self._units = units

    def _level(self, figures: Sequence[Figure]) -> None:
        """What all plots share: ground, cursor, room for numbers, and the name of the axis under the last."""
        theme = current_theme()
        self.setBackground(theme.colour("panel"))
        pen = plot_pen(theme.colour("quiet"), style=Qt.PenStyle.DotLine)
        for cursor in self._cursors:
            cursor.setPen(pen)
        self._level_axes()
        if figures and self.items_by_name:
            last = self.items_by_name[figures[-1].name]
            axis = figures[-1].x_axis
            unit = last.scale_x().label
            name = say(axis.label)
            last.plot.getAxis("bottom").name_axis(f"{name}, {unit}" if unit else name, unit or name)
            last.plot.layout.invalidate()  # a plot made while it is not seen would not know of its height

    def veil(self) -> list[Callable[[], object]]:
        """Hide the plots, without giving up their room, and what brings each of them back; drawing one does so too."""
        plots = [item.plot for item in self.items_by_name.values()]
        for plot in plots:
            plot.setOpacity(0.0)
        return [partial(plot.setOpacity, 1.0) for plot in plots]

    def on_paper(self) -> Shown:
        """The figures as they are looked at."""
        return Shown(tuple(item.seen() for item in self.items_by_name.values()), self._units)

    def set_boxing(self, on: bool) -> None:
        """Whether a drag draws the box to zoom to, without Shift too."""
        for item in self.items_by_name.values():
            item.view.boxing = on

    def contextMenuEvent(self, event: QContextMenuEvent) -> None:
        """The menu by its key; a right button may begin a drag that zooms, and opens it when it is let go."""
        if event.reason() == QContextMenuEvent.Reason.Keyboard:
            self._open_menu(event.globalPos())
        event.accept()

    def _open_menu(self, at: QPoint) -> None:
        boxing = any(item.view.boxing for item in self.items_by_name.values())
        open_plot_menu(self, at, self.on_paper(), Zoom(self.reset_range, self.set_boxing, boxing))

    def minimumSizeHint(self) -> QSize:
        """Room for each plot at the text size in force."""
        em = self.fontMetrics().height()
        return QSize(13 * em, round((3.2 * max(1, len(self._wanted)) + 2.5) * em))

    def sizeHint(self) -> QSize:
        """No more than it needs, and so whatever room there is: Qt's own hint is the size that it has."""
        return self.minimumSizeHint()

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        """Another size; what is seen takes it in a turn of its own, once however often it changed until then."""
        turns = turns_at(self)
        if event is None or turns is None:  # None: while the view is being made
            super().resizeEvent(event)
            return
        self.viewport().setUpdatesEnabled(False)
        follows = self._resized.isValid() and self._resized.elapsed() < DRAGGED_MS
        self._resized.start()
        self._in_a_row = self._in_a_row + 1 if follows else 0
        if self._in_a_row < DRAGGED:
            self._away = [item.plot for item in reversed(self.items_by_name.values())]
        back = [self._bring_back] * len(self._away)
        turns.in_steps(f"size of {id(self)}", [self._take_size, *back])

    def _take_size(self) -> None:
        for plot in self._away:
            plot.setOpacity(0.0)
        super().resizeEvent(None)
        self.viewport().setUpdatesEnabled(True)

    def _bring_back(self) -> None:
        self._away.pop().setOpacity(1.0)

    def reset_range(self) -> None:
        """Show everything."""
        for item in self.items_by_name.values():
            item.reset_range()

    def mouseDoubleClickEvent(self, event: object) -> None:
        """Show everything again."""
        self.reset_range()
        super().mouseDoubleClickEvent(event)

    def leaveEvent(self, event: object) -> None:
        """No cursor without a pointer."""
        for cursor in self._cursors:
            cursor.hide()
        for item in self.items_by_name.values():
            item.read_out("")
        self.cursor_left.emit()
        super().leaveEvent(event)

    def lacks(self, names: Sequence[str]) -> bool:
        """Whether other plots are there than these, from top to bottom."""
        return self._wanted != list(names) or len(self.items_by_name) < len(names)

    def grow(self, names: Sequence[str], stretch: Mapping[str, int] | None = None) -> None:
        """Make the next of these plots, after the others were taken away."""
        if self._wanted != list(names):
            self.clear()
            self.items_by_name, self._cursors, self._wanted = {}, [], list(names)
            self.updateGeometry()
        row = len(self.items_by_name)
        if row == len(names):
            return
        item = FigureItem(zoom_y=len(names) == 1)
        self.addItem(item.plot, row=row, col=0)
        self.ci.layout.setRowStretchFactor(row, (stretch or {}).get(names[row], 2))
        if row:
            item.plot.setXLink(self.items_by_name[names[0]].plot)
        if row < len(names) - 1:
            item.plot.getAxis("bottom").setStyle(showValues=False)
            item.plot.getAxis("bottom").setHeight(4)
        cursor = pg.InfiniteLine(angle=90)
        cursor.hide()
        item.plot.addItem(cursor, ignoreBounds=True)
        self._cursors.append(cursor)
        self.items_by_name[names[row]] = item

    def _level_axes(self) -> None:
        digits = self.fontMetrics().horizontalAdvance("−0.00000" if len(self.items_by_name) > 1 else "−00.000")
        for item in self.items_by_name.values():
            item.plot.getAxis("left").setWidth(digits + 10)

    def point_at(self, name: str, places: Sequence[float]) -> None:
        """Ring these places of one plot, and no others."""
        for known, item in self.items_by_name.items():
            item.point_at(places if known == name else ())

    def _on_click(self, event: Any) -> None:
        if event.button() == Qt.MouseButton.RightButton:
            self._open_menu(event.screenPos().toPoint())
        elif event.button() == Qt.MouseButton.LeftButton:
            self._on_left_click(event.scenePos())

    def _on_left_click(self, where: QPointF) -> None:
        for name, item in self.items_by_name.items():
            if item.plot.sceneBoundingRect().contains(where):
                self.spot_clicked.emit(name, item.view.mapSceneToView(where).x() / item.scale_x().scale)
                return

    def _on_mouse(self, position: object) -> None:
        for item in self.items_by_name.values():
            if "y" in item.figure.axes and item.plot.sceneBoundingRect().contains(position):
                shown = item.view.mapSceneToView(position).x()
                for cursor in self._cursors:
                    cursor.setValue(shown)
                    cursor.show()
                self._read_out(shown / item.scale_x().scale)
                return

    def _read_out(self, x: float) -> None:
        for item in self.items_by_name.values():
            curve = next((c for c in item.figure.curves if c.role in {"measured", "series"}), None)
            if curve is None or not curve.x[0] <= x <= curve.x[-1]:
                item.read_out("")
                continue
            unit = item.scale_y()
            value = float(np.interp(x, curve.x, curve.y)) * unit.scale
            across = item.scale_x()
            at = f"{x * across.scale:.2f}".replace("-", "−")
            read = say("{value} at {place}").format(value=f"{value:.{_decimals(curve.y, unit)}f}", place=at)
            item.read_out(say_number(read).replace("-", "−"))
        self.cursor_moved.emit(x)


def _decimals(values: FloatArray, unit: DisplayUnit) -> int:
    largest = float(np.nanmax(np.abs(values))) * unit.scale if values.size else 1.0
    return int(np.clip(4 - np.floor(np.log10(largest or 1.0)), 1, 8))


class FigureView(FigureStack):
    """One figure by itself."""

    def show_figure(self, figure: Figure, units: System = "metric") -> None:
        """Draw the figure under the theme in force."""
        self.show_figures([figure], units)
