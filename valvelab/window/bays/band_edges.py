"""The edges of an envelope's band over the deviation plot, to be dragged."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, Literal

import pyqtgraph as pg  # type: ignore[import-untyped]
from PySide6.QtCore import QObject, Qt, Signal
from PySide6.QtWidgets import QApplication

from valvelab.conformity.band import BandPiece
from valvelab.window.figure_item import FigureItem, plot_pen
from valvelab.window.theme import current_theme, scaled

Side = Literal["below", "above"]
_UM = 1000.0


class BandEdge(pg.PlotCurveItem):  # type: ignore[misc]
    """One edge of one piece; `dragged(size in the plot's unit)` under the pointer, and whether the drag is over."""

    def __init__(self, side: Side, dragged: Callable[[float, bool], object]) -> None:
        super().__init__(mouseWidth=12)
        self._side, self._dragged = side, dragged
        self.held = False
        self.setCursor(Qt.CursorShape.SizeVerCursor)
        self.setZValue(30)
        self.dress(hot=False)

    def dress(self, *, hot: bool) -> None:
        """Stand out under the pointer."""
        self.setPen(plot_pen(current_theme().colour("accept", 1.0 if hot else 0.7), 3.0 if hot else 1.0))

    def hoverEvent(self, event: Any) -> None:
        """Show that it can be dragged."""
        self.dress(hot=self.held or (not event.isExit() and event.acceptDrags(Qt.MouseButton.LeftButton)))

    def mouseDragEvent(self, event: Any) -> None:
        """Follow the pointer up and down, never past the nominal."""
        if event.button() != Qt.MouseButton.LeftButton:
            event.ignore()
            return
        event.accept()
        self.held = not event.isFinish()
        self.dress(hot=self.held)
        y = float(event.pos().y())
        self._dragged(max(0.0, y if self._side == "above" else -y), event.isFinish())


class BandEdges(QObject):
    """All edges of a band; `dragged(piece, side, size_mm, over)`."""

    dragged = Signal(int, str, float, bool)

    def __init__(self, parent: QObject) -> None:
        super().__init__(parent)
        self._item: FigureItem | None = None
        self.edges: dict[tuple[int, Side], BandEdge] = {}
        self._text = pg.TextItem(anchor=(0.5, 0.5))
        self._text.setZValue(31)

    def show_band(self, item: FigureItem | None, band: Sequence[BandPiece]) -> None:
        """Lie over a plot; without one, or without a band, be gone."""
        wanted: list[tuple[int, Side]] = []
        for number in range(len(band)):
            wanted += [(number, "below"), (number, "above")]
        if item is not self._item or list(self.edges) != wanted:
            self._clear()
            self._item = item
            for key in wanted if item is not None else ():
                self._add(item, *key)
        for (number, side), edge in self.edges.items():
            piece = band[number]
            if not edge.held:
                size = piece.above_mm if side == "above" else -piece.below_mm
                self._place(edge, piece, size)
                edge.dress(hot=False)

    def hold(self, piece: BandPiece, number: int, side: Side, size_mm: float, said: str) -> None:
        """Show an edge where it is dragged to, with a sentence beside it; an empty one when the drag is over."""
        self._place(self.edges[number, side], piece, size_mm if side == "above" else -size_mm)
        self._text.setVisible(bool(said))
        if self._item is None or not said:
            return
        self._text.setText(said)
        self._text.setColor(current_theme().colour("text"))
        self._text.setFont(scaled(QApplication.font(), 0.9, strong=True))
        self._text.fill = pg.mkBrush(current_theme().colour("panel", 0.85))
        edge = self.edges[number, side]
        x, y = edge.getData()
        self._text.setPos(float(x.mean()), 0.65 * float(y[0]))

    def _add(self, item: FigureItem | None, number: int, side: Side) -> None:
        assert item is not None

        def moved(shown: float, over: bool) -> None:
            item.held = not over
            self.dragged.emit(number, side, shown / (_UM * item.scale_y().scale), over)

        edge = BandEdge(side, moved)
        item.plot.addItem(edge, ignoreBounds=True)
        if self._text.scene() is None:
            item.plot.addItem(self._text, ignoreBounds=True)
        self._text.hide()
        self.edges[number, side] = edge

    def _place(self, edge: BandEdge, piece: BandPiece, size_mm: float) -> None:
        assert self._item is not None
        across, up = self._item.scale_x().scale, self._item.scale_y().scale
        y = size_mm * _UM * up
        edge.setData([piece.from_cam_deg * across, piece.to_cam_deg * across], [y, y])

    def _clear(self) -> None:
        if self._item is not None:  # a plot that left its scene still takes along what lies in it when it goes
            for thing in (*self.edges.values(), self._text):
                self._item.plot.removeItem(thing)
        self.edges = {}
