"""The draggable checking lift over the lift plot."""

from __future__ import annotations

import pyqtgraph as pg  # type: ignore[import-untyped]
from PySide6.QtCore import QSignalBlocker, Qt
from PySide6.QtWidgets import QApplication

from valvelab.units import System
from valvelab.window.figure_item import FigureItem
from valvelab.window.numbers import display_unit, with_unit
from valvelab.window.theme import current_theme, scaled


class CheckingLine(pg.InfiniteLine):  # type: ignore[misc]
    """The draggable checking lift over the lift plot, with the chosen lobe's opening, closing and duration."""

    def __init__(self) -> None:
        super().__init__(angle=0, movable=True, label="", labelOpts={"position": 0.012, "movable": False})
        self._item: FigureItem | None = None
        self._ends = pg.ScatterPlotItem(size=9, symbol="d")
        self._span = pg.TextItem(anchor=(0.5, 1.0))
        self.setZValue(20)
        self._ends.setZValue(21)
        self.label.anchors = [(0.0, 0.0), (0.0, 1.0)]
        self.setCursor(Qt.CursorShape.SizeVerCursor)

    def join(self, item: FigureItem) -> None:
        """Lie over a plot, in the colours of the theme."""
        theme = current_theme()
        self.setPen(pg.mkPen(theme.colour("exhaust"), width=1))
        self.setHoverPen(pg.mkPen(theme.colour("exhaust"), width=3))
        for text in (self.label, self._span):
            text.setColor(theme.colour("text"))
            text.setFont(scaled(QApplication.font(), 0.9, strong=True))
        self._ends.setBrush(pg.mkBrush(theme.colour("exhaust")))
        self._ends.setPen(pg.mkPen(theme.colour("panel")))
        if self._item is not item:
            for part in (self, self._ends, self._span):
                item.plot.addItem(part, ignoreBounds=True)
            self._item = item

    def lift_mm(self) -> float:
        """Where the line stands."""
        assert self._item is not None
        return float(self.value()) / self._item.scale_y().scale

    def show_lift(self, lift_mm: float, units: System, opening: float | None, closing: float | None, span: str) -> None:
        """Stand at a lift and say the chosen lobe's duration there, in words."""
        unit = display_unit("mm", units)
        with QSignalBlocker(self):
            self.setValue(lift_mm * unit.scale)
        ends = [angle for angle in (opening, closing) if angle is not None]
        self._ends.setData(ends, [lift_mm * unit.scale] * len(ends))
        self.label.setFormat(with_unit(lift_mm, "mm", units, 3, 4))
        if opening is None or closing is None:
            self._span.setText("")
            return
        low, high = self.getViewBox().viewRange()[1] if self.getViewBox() is not None else (0.0, 1.0)
        near_top = lift_mm * unit.scale > low + 0.62 * (high - low)
        self._span.setAnchor((0.5, -0.1 if near_top else 1.0))
        self._span.setText(span)
        self._span.setPos(0.5 * (opening + closing), lift_mm * unit.scale)
