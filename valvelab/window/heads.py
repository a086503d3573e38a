"""Heads of the columns of a table: an arrow beside each, and the first of them stay while the others move sideways."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from PySide6.QtCore import QEvent, QPoint, QPointF, QRect, QSize, Qt, Signal
from PySide6.QtGui import QHelpEvent, QMouseEvent, QPainter, QPaintEvent
from PySide6.QtWidgets import QHeaderView, QStyle, QWidget

from valvelab.window.theme import arrow_wide


class Head(QHeaderView):
    """Heads of columns, with room for an arrow of one line beside each, however many lines it has.

    spared: what is left out of the room on either side of the words. staying: width of the first heads, which stay in
    view while the others are moved sideways; 0 while nothing is. `written_anew` in another type of their own.
    """

    written_anew = Signal()

    def __init__(self, parent: QWidget) -> None:
        super().__init__(Qt.Orientation.Horizontal, parent)
        self.spared = self.staying = self._moved_by = 0
        self.setSectionsClickable(True)

    def sectionSizeFromContents(self, section: int) -> QSize:
        """As Qt measures it, but for the arrow, which Qt makes as wide as the head is high."""
        found = super().sectionSizeFromContents(section)
        if self.isSortIndicatorShown():
            margin = self.style().pixelMetric(QStyle.PixelMetric.PM_HeaderMargin, None, self)
            found.setWidth(found.width() - found.height() - margin + arrow_wide(self.fontMetrics()))
        return QSize(found.width() - 2 * self.spared, found.height())

    def bare_width(self, section: int) -> int:
        """Width of a head without the room for an arrow, of a hidden one too."""
        return self.sectionSizeFromContents(section).width() - self.arrow_room()

    def arrow_room(self) -> int:
        """Room that a head has for an arrow."""
        return arrow_wide(self.fontMetrics()) if self.isSortIndicatorShown() else 0

    def changeEvent(self, event: QEvent) -> None:
        """Heads in a type of their own are as wide as that needs."""
        super().changeEvent(event)
        if event.type() == QEvent.Type.FontChange and self.testAttribute(Qt.WidgetAttribute.WA_SetFont):
            self.written_anew.emit()

    def paintEvent(self, event: QPaintEvent) -> None:
        """Heads that stay lie over those that move."""
        super().paintEvent(event)
        if not self.staying:
            return
        with QPainter(self.viewport()) as painter:
            for section, x, wide in staying_columns(self.sectionSize, self.staying):
                self.paintSection(painter, QRect(x, 0, wide, self.height()), section)

    def viewportEvent(self, event: QEvent) -> bool:
        """A head that stays says its own tip."""
        if self.staying and isinstance(event, QHelpEvent) and event.x() < self.staying:
            place = QPoint(event.x() - self.offset(), event.y())
            return super().viewportEvent(QHelpEvent(event.type(), place, event.globalPos()))
        return super().viewportEvent(event)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """On the head that is seen there."""
        super().mousePressEvent(self._below(event, begins=True))

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        """On the head that is seen there."""
        super().mouseDoubleClickEvent(self._below(event, begins=True))

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """What began on a head that stays goes on there."""
        super().mouseMoveEvent(self._below(event, begins=not event.buttons()))

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """What began on a head that stays ends there."""
        super().mouseReleaseEvent(self._below(event, begins=False))

    def _below(self, event: QMouseEvent, *, begins: bool) -> QMouseEvent:
        """The event as it would be where the head lies that is seen in its place."""
        if begins:
            self._moved_by = self.offset() if event.position().x() < self.staying else 0
        if not self._moved_by:
            return event
        place = event.position() - QPointF(self._moved_by, 0.0)
        held = (event.button(), event.buttons(), event.modifiers())
        return QMouseEvent(event.type(), place, event.scenePosition(), event.globalPosition(), *held)


def staying_columns(width: Callable[[int], int], whole: int) -> Iterator[tuple[int, int, int]]:
    """The first columns, which stay in view and are together so wide: number, place and width of each."""
    x = number = 0
    while x < whole:
        wide = width(number)
        if wide:
            yield number, x, wide
        x, number = x + wide, number + 1
