"""Draws any mixture of figures, maps and dials: one widget, as many drawings as it is given."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QSize, Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QGridLayout, QWidget

from valvelab.figures.description import Dial, Figure, HeatMap
from valvelab.language import say_measures
from valvelab.units import System
from valvelab.window.chips import Heading
from valvelab.window.dial import DialView
from valvelab.window.drawing import FigureView
from valvelab.window.heat_map import HeatMapView

Drawing = Figure | HeatMap | Dial


class DrawingPanel(QWidget):
    """Drawings under their titles, in `across` columns; `chosen(name)` on a click in a map's row or at a dial's label.

    Views are kept while the kinds of drawing stay the same, so that zoom and focus survive a new answer.
    """

    chosen = Signal(str)

    def __init__(self, across: int = 1, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._most = self._across = across
        self._kinds: list[tuple[type, str]] = []
        self._views: list[tuple[Heading, FigureView | HeatMapView | DialView]] = []
        self._grid = QGridLayout(self)
        self._grid.setContentsMargins(0, 0, 0, 0)
        self._grid.setSpacing(4)

    def show_drawings(self, drawings: Sequence[Drawing], units: System) -> None:
        """Draw these."""
        kinds = [(type(drawing), drawing.name) for drawing in drawings]
        if kinds != self._kinds:
            self._build(drawings)
            self._kinds = kinds
        for (heading, view), drawing in zip(self._views, drawings, strict=True):
            heading.setText(say_measures(drawing.title))
            if isinstance(view, FigureView) and isinstance(drawing, Figure):
                view.show_figure(drawing, units)
            elif isinstance(view, HeatMapView) and isinstance(drawing, HeatMap):
                view.show_map(drawing, units)
            elif isinstance(view, DialView) and isinstance(drawing, Dial):
                view.show_dial(drawing)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Fewer columns where they have no room."""
        super().resizeEvent(event)
        across = self._columns(event.size().width())
        if across != self._across:
            self._across = across
            self._place()

    def _columns(self, wide: int) -> int:
        """How many columns there is room for."""
        if not self._views:
            return self._most
        least = self._least()
        return max(1, min(self._most, (wide + self._grid.spacing()) // (least + self._grid.spacing())))

    def _least(self) -> int:
        return max(max(view.minimumSizeHint().width(), head.sizeHint().width()) for head, view in self._views)

    def minimumSizeHint(self) -> QSize:
        """One column wide."""
        if not self._views:
            return super().minimumSizeHint()
        wide = self._least()
        highs = [head.sizeHint().height() + view.minimumSizeHint().height() for head, view in self._views]
        rows = -(-len(highs) // self._across)
        return QSize(wide, rows * (max(highs) + 2 * self._grid.spacing()))

    def _place(self) -> None:
        for row in range(self._grid.rowCount()):
            self._grid.setRowStretch(row, 0)
        for number, (heading, view) in enumerate(self._views):
            row, column = divmod(number, self._across)
            self._grid.addWidget(heading, 2 * row, column)
            self._grid.addWidget(view, 2 * row + 1, column)
            self._grid.setRowStretch(2 * row + 1, 1)
        self.updateGeometry()

    def _build(self, drawings: Sequence[Drawing]) -> None:
        for heading, view in self._views:
            for widget in (heading, view):
                self._grid.removeWidget(widget)
                widget.hide()
                widget.deleteLater()
        self._views = []
        for drawing in drawings:
            heading = Heading(say_measures(drawing.title), 1.0, self)
            heading.setContentsMargins(8, 4, 0, 0)
            view = self._view(drawing)
            self._views.append((heading, view))
        self._across = self._columns(self.width())
        self._place()

    def _view(self, drawing: Drawing) -> FigureView | HeatMapView | DialView:
        if isinstance(drawing, Figure):
            return FigureView(drawing.title, self)
        if isinstance(drawing, HeatMap):
            heat = HeatMapView(drawing.title, self)
            heat.row_chosen.connect(self.chosen)
            return heat
        dial = DialView(drawing.title, self)
        dial.chosen.connect(self.chosen)
        return dial
