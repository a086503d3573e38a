"""Widgets and layouts put beside or above one another."""

from __future__ import annotations

from typing import TypeVar

from PySide6.QtCore import QSize, Qt
from PySide6.QtWidgets import QBoxLayout, QHBoxLayout, QLayout, QScrollArea, QSplitter, QVBoxLayout, QWidget

Part = QWidget | QLayout | int | tuple[QWidget | QLayout, int]
"""A widget or a layout, with its share of the room or without; a number is empty room of that share."""
Margins = tuple[int, int, int, int]
Box = TypeVar("Box", bound=QBoxLayout)
_LYING_EMS = 12
"""Height of a pane, at least, that lies above others for want of width."""


class FormArea(QScrollArea):
    """A form that scrolls up and down and takes no focus itself; `name` is how it is spoken of."""

    def __init__(self, name: str, parent: QWidget) -> None:
        super().__init__(parent)
        self.setWidgetResizable(True)
        self.setFrameShape(QScrollArea.Shape.NoFrame)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setAccessibleName(name)


class Panes(QSplitter):
    """Panes with handles between them. Those beside one another lie above one another where a page is too narrow."""

    def __init__(self, orientation: Qt.Orientation, parent: QWidget) -> None:
        super().__init__(orientation, parent)
        self.setHandleWidth(5)
        self._across = orientation == Qt.Orientation.Horizontal
        self._sizes: list[int] = []

    def fit(self, wide: int) -> None:
        """Lie as a page of this width lets them; a page that scrolls up and down is read with one hand."""
        if not self._across:
            return
        shown = [pane for pane in map(self.widget, range(self.count())) if not pane.isHidden()]
        need = sum(_least(pane).width() for pane in shown) + self.handleWidth() * (len(shown) - 1)
        lies = self.orientation() == Qt.Orientation.Vertical
        if lies == (need > wide):
            return
        if lies:
            self.setOrientation(Qt.Orientation.Horizontal)
            if self._sizes:
                self.setSizes(self._sizes)
        else:
            self._sizes = self.sizes() if any(self.sizes()) else self._sizes
            self.setOrientation(Qt.Orientation.Vertical)
            self.setSizes([self._high(pane) for pane in map(self.widget, range(self.count()))])
        self.updateGeometry()

    def _high(self, pane: QWidget) -> int:
        return max(_least(pane).height(), _LYING_EMS * self.fontMetrics().height())

    def minimumSizeHint(self) -> QSize:
        """The least of the panes, but where they were laid above one another: some rows of each."""
        least = super().minimumSizeHint()
        if not self._across or self.orientation() == Qt.Orientation.Horizontal:
            return least
        shown = [pane for pane in map(self.widget, range(self.count())) if not pane.isHidden()]
        return QSize(least.width(), sum(map(self._high, shown)) + self.handleWidth() * (len(shown) - 1))


def _least(pane: QWidget) -> QSize:
    return pane.minimumSizeHint().expandedTo(pane.minimumSize())


def beside(
    *parts: Part, on: QWidget | None = None, margins: Margins = (0, 0, 0, 0), spacing: int | None = None
) -> QHBoxLayout:
    """Parts beside one another, as the layout of `on` where it is given; margins: left, top, right, bottom."""
    return _filled(QHBoxLayout() if on is None else QHBoxLayout(on), parts, margins, spacing)


def above(
    *parts: Part, on: QWidget | None = None, margins: Margins = (0, 0, 0, 0), spacing: int | None = None
) -> QVBoxLayout:
    """Parts above one another."""
    return _filled(QVBoxLayout() if on is None else QVBoxLayout(on), parts, margins, spacing)


def strip(parent: QWidget, *parts: Part, margins: Margins = (0, 0, 0, 0), spacing: int | None = None) -> QWidget:
    """A widget with parts beside one another."""
    box = QWidget(parent)
    beside(*parts, on=box, margins=margins, spacing=spacing)
    return box


def stacked(parent: QWidget, *parts: Part) -> QVBoxLayout:
    """The layout of a widget whose parts lie close above one another, those with a share taking the room."""
    return above(*parts, on=parent, spacing=0)


def _filled(layout: Box, parts: tuple[Part, ...], margins: Margins, spacing: int | None) -> Box:
    layout.setContentsMargins(*margins)
    if spacing is not None:
        layout.setSpacing(spacing)
    for part in parts:
        what, share = part if isinstance(part, tuple) else (part, 0)
        if isinstance(what, int):
            layout.addStretch(what)
        elif isinstance(what, QLayout):
            layout.addLayout(what, share)
        else:
            layout.addWidget(what, share)
    return layout
