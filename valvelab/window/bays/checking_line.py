"""The draggable checking lift over the lift plot."""

from __future__ import annotations

import pyqtgraph as pg  # type: ignore[import-untyped]
from PySide6.QtCore import QSignalBlocker, Qt

from valvelab.units import System
from valvelab.window.figure_item import FigureItem, plot_pen
from valvelab.window.labels import Anchor
from valvelab.window.numbers import display_unit, with_unit
from valvelab.window.theme import current_theme


class CheckingLine(pg.InfiniteLine):  # type: ignore[misc]
    """The draggable checking lift over the lift plot, with the chosen lobe's opening, closing and duration."""

    def __init__(self) -> None:
        super().__init__(angle=0, movable=True)
        self._item: FigureItem | None = None
        self._ends = pg.ScatterPlotItem(size=9, symbol="d")
        self.setZValue(20)
        self._ends.setZValue(21)
        self.setCursor(Qt.CursorShape.SizeVerCursor)

    def join(self, item: FigureItem) -> None:
        """Lie over a plot, in the colours of the theme."""
        theme = current_theme()
        self.setPen(plot_pen(theme.colour("text")))
        self.setHoverPen(plot_pen(theme.colour("text"), 3.0))
        self._ends.setBrush(pg.mkBrush(theme.colour("text")))
        self._ends.setPen(plot_pen(theme.colour("panel")))
        if self._item is not item:
            for part in (self, self._ends):
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
        assert self._item is not None
        height = lift_mm * unit.scale
        words: list[tuple[str, tuple[float, float], Anchor]] = [
            (with_unit(lift_mm, "mm", units, 3, 4), (0.0, height), "along y left")
        ]
        if opening is not None and closing is not None and span:
            words.insert(0, (span, (0.5 * (opening + closing), height), "beside"))
        self._item.add_words(words)
