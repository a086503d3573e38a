"""Tables whose first columns name the rows: those stay in view while the others are moved sideways."""

from __future__ import annotations

from collections.abc import Iterable

from PySide6.QtCore import QModelIndex, QPersistentModelIndex, QPoint, QRect
from PySide6.QtGui import QColor, QPainter, QPaintEvent
from PySide6.QtWidgets import QAbstractItemView, QStyle, QStyleOptionViewItem, QTableView, QWidget

from valvelab.window.heads import Head, staying_columns
from valvelab.window.painting import painting, rows_seen
from valvelab.window.theme import current_theme

Index = QModelIndex | QPersistentModelIndex
_GRID, _UNSIGNED = QStyle.StyleHint.SH_Table_GridLineColor, 0xFFFFFFFF


class NamedTable(QTableView):
    """The first columns, as many as are `named`, stay where they leave half of the room to the others."""

    def __init__(self, parent: QWidget | None, named: int) -> None:
        super().__init__(parent)
        self._named = named
        self._head = Head(self)
        self.setHorizontalHeader(self._head)
        self._head.sectionResized.connect(self._on_resized)
        self.setHorizontalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.horizontalScrollBar().valueChanged.connect(self._keep_names)

    def names_may_stay(self) -> bool:
        """Whether they can be drawn over the others."""
        return True

    def _keep_names(self) -> None:
        if not self._named:
            return
        names = sum(map(self.columnWidth, range(min(self._named, self.model().columnCount()))))
        moved = self.horizontalScrollBar().value() > 0 and self.names_may_stay()
        self._head.staying = names if moved and 2 * names <= self.viewport().width() else 0
        self.updateEditorGeometries()  # Qt moves what is being typed with the columns that move
        self.viewport().update()
        self._head.viewport().update()

    def _on_resized(self, section: int) -> None:
        if self._head.staying and section < self._named:
            self._keep_names()

    def _stays(self, index: Index) -> bool:
        """Whether a cell stays in view."""
        return bool(self._head.staying) and index.isValid() and index.column() < self._named

    def indexAt(self, place: QPoint) -> QModelIndex:
        """The cell that is seen there."""
        moved = self._head.offset() if place.x() < self._head.staying else 0
        return super().indexAt(QPoint(place.x() - moved, place.y()))

    def visualRect(self, index: Index) -> QRect:
        """Where a cell is seen."""
        place = super().visualRect(index)
        return place.translated(self._head.offset(), 0) if self._stays(index) else place

    def scrollTo(
        self, index: Index, hint: QAbstractItemView.ScrollHint = QAbstractItemView.ScrollHint.EnsureVisible
    ) -> None:
        """Bring a cell into view, beside the columns that stay."""
        bar = self.horizontalScrollBar()
        before = bar.value()
        super().scrollTo(index, hint)
        if self._stays(index):
            bar.setValue(before)
        elif index.isValid() and self.columnViewportPosition(index.column()) < self._head.staying:
            bar.setValue(bar.value() + self.columnViewportPosition(index.column()) - self._head.staying)

    def paintEvent(self, event: QPaintEvent) -> None:
        """The columns that stay lie over those that move."""
        super().paintEvent(event)
        self.paint_names(event.rect())

    def paint_names(self, seen: QRect) -> None:
        """Draw the columns that stay, as far as they reach into a place."""
        if self._head.staying <= seen.left():
            return
        strip, grid = QRect(0, seen.top(), self._head.staying, seen.height()), int(self.showGrid())
        with painting(self.viewport(), smooth=False) as painter:
            painter.setClipRect(strip)
            painter.fillRect(strip, self.palette().base())
            for index, cell in self.lay_names(painter, strip):
                option = QStyleOptionViewItem()
                self.initViewItemOption(option)
                option.rect = cell.adjusted(0, 0, -grid, -grid)
                if self.selectionModel().isSelected(index):
                    option.state |= QStyle.StateFlag.State_Selected
                if self.hasFocus() and index == self.currentIndex():
                    option.state |= QStyle.StateFlag.State_HasFocus
                self.itemDelegateForIndex(index).paint(painter, option, index)
                if grid:
                    painter.setPen(QColor.fromRgba(self.style().styleHint(_GRID, option, self) & _UNSIGNED))
                    painter.drawLine(cell.bottomLeft(), cell.bottomRight())
            painter.setClipRect(strip)
            painter.setPen(current_theme().colour("line"))
            painter.drawLine(strip.topRight(), strip.bottomRight())

    def lay_names(self, _painter: QPainter, strip: QRect) -> Iterable[tuple[QModelIndex, QRect]]:
        """What is below the cells that stay; gives those that a delegate draws, and where they are."""
        columns = list(staying_columns(self.columnWidth, strip.width()))
        for row, y, high in rows_seen(self, strip):
            for column, x, wide in columns:
                yield self.model().index(row, column), QRect(x, y, wide, high)
