"""What lies on the bench: files with their kind and state; a place to drop more."""

from __future__ import annotations

from PySide6.QtCore import QModelIndex, QPersistentModelIndex, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QContextMenuEvent, QPainter, QPaintEvent, QPalette, QPen, QPolygonF
from PySide6.QtWidgets import (
    QAbstractItemView,
    QListWidget,
    QListWidgetItem,
    QMenu,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QWidget,
)

from valvelab.files.kinds import reader_of
from valvelab.language import say
from valvelab.window.icons import icon
from valvelab.window.painting import LEFT, painting, write
from valvelab.window.theme import current_theme, scaled
from valvelab.workbench import bays
from valvelab.workbench.document import TYPED, BenchFile, Document

_PATH = Qt.ItemDataRole.UserRole
_STATE = Qt.ItemDataRole.UserRole + 1
_USED = Qt.ItemDataRole.UserRole + 2


class PartTag(QStyledItemDelegate):
    """A file as a tag: its name, and below it what it is; the hole is filled where the bay in front works on it."""

    def sizeHint(self, option: QStyleOptionViewItem, _index: QModelIndex | QPersistentModelIndex) -> QSize:
        """Two lines and some room."""
        return QSize(6 * option.fontMetrics.height(), round(2.9 * option.fontMetrics.height()))

    def paint(
        self, painter: QPainter, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex
    ) -> None:
        """Draw one tag."""
        theme, em = current_theme(), float(option.fontMetrics.height())
        selected, used = bool(option.state & QStyle.StateFlag.State_Selected), bool(index.data(_USED))
        rect = QRectF(option.rect).adjusted(6.5, 0.12 * em, -6.5, -0.12 * em)
        painter.save()
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(QPen(theme.colour("accent" if selected else "line"), 1.0))
        painter.setBrush(theme.colour("chosen" if selected else "panel"))
        painter.drawPolygon(_outline(rect, 0.55 * em))
        painter.setPen(QPen(theme.colour("accent" if used else "quiet"), 1.2))
        painter.setBrush(theme.colour("accent" if used else "window"))
        painter.drawEllipse(QPointF(rect.left() + 0.75 * em, rect.center().y()), 0.24 * em, 0.24 * em)
        state, colour, mark = index.data(_STATE)
        left, right = rect.left() + 1.4 * em, rect.right() - (1.5 * em if mark else 0.4 * em)
        if mark:
            side = round(1.1 * em)
            icon(mark, colour).paint(painter, round(right + 0.2 * em), round(rect.center().y() - side / 2), side, side)
        text = QRectF(left, rect.center().y() - 1.12 * em, right - left, 1.1 * em)
        for line, what, pen, font in (
            (text, Qt.TextElideMode.ElideMiddle, "text", scaled(option.font, 1.0, strong=used)),
            (text.translated(0.0, 1.1 * em), Qt.TextElideMode.ElideRight, colour, scaled(option.font, 0.85)),
        ):
            painter.setFont(font)
            told = index.data() if pen == "text" else state
            write(painter, line, LEFT, painter.fontMetrics().elidedText(told, what, int(line.width())), pen)
        painter.restore()


def _outline(rect: QRectF, cut: float) -> QPolygonF:
    """A tag: a rectangle with its corners cut off where it is tied."""
    left, top, right, bottom = rect.left(), rect.top(), rect.right(), rect.bottom()
    corners = ((left + cut, top), (right, top), (right, bottom), (left + cut, bottom), (left, bottom - cut))
    return QPolygonF([QPointF(x, y) for x, y in (*corners, (left, top + cut))])


class BenchList(QListWidget):
    """The list of files; `used(path)` and the other signals tell what a person asked for."""

    used = Signal(str)
    removed = Signal(str)
    columns_wanted = Signal(str)
    edit_wanted = Signal(str)
    columns_forgotten = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._written: list[tuple[object, ...]] = []
        self.setObjectName("bench list")
        self.setAccessibleName(say("Files on the bench"))
        self.setFrameShape(QListWidget.Shape.NoFrame)
        self.setItemDelegate(PartTag(self))
        self.viewport().setBackgroundRole(QPalette.ColorRole.Window)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.itemClicked.connect(lambda item: self.used.emit(item.data(_PATH)))
        self.itemActivated.connect(lambda item: self.used.emit(item.data(_PATH)))

    def show_document(self, document: Document) -> None:
        """Show the files of a document."""
        chosen = self.selected_path()
        if self.count() != len(document.files):
            self.clear()
            self._written = [()] * len(document.files)
            for _file in document.files:
                self.addItem(QListWidgetItem())
        in_use = bays.files_in_use(document)
        for row, file in enumerate(document.files):
            told = (file.name, file.path, file.columns, state_of(document, file), file.path in in_use)
            if told != self._written[row]:
                self._written[row] = told
                _write(self.item(row), *told)
            if file.path == chosen:
                self.setCurrentRow(row)

    def selected_path(self) -> str | None:
        """Path of the selected file."""
        item = self.currentItem()
        return None if item is None else str(item.data(_PATH))

    def contextMenuEvent(self, event: QContextMenuEvent) -> None:
        """What can be done with one file."""
        item = self.itemAt(event.pos())
        if item is None:
            return
        self.menu_of(item.data(_PATH)).exec(event.globalPos())

    def menu_of(self, path: str) -> QMenu:
        """The menu of one file."""
        menu = QMenu(self)
        menu.addAction(say("Use this file"), lambda: self.used.emit(path))
        menu.addAction(icon("table"), say("Edit these readings"), lambda: self.edit_wanted.emit(path))
        menu.addAction(icon("columns"), say("Assign columns…"), lambda: self.columns_wanted.emit(path))
        menu.addAction(say("Forget columns of this shape"), lambda: self.columns_forgotten.emit(path))
        menu.addAction(icon("remove"), say("Take off the bench"), lambda: self.removed.emit(path))
        return menu

    def paintEvent(self, event: QPaintEvent) -> None:
        """The list, or what to do while it is empty."""
        super().paintEvent(event)
        used = sum(self.sizeHintForRow(row) for row in range(self.count()))
        box = self.viewport().rect().adjusted(14, 14 + used, -14, -14)
        words = say("Drop more files here") if self.count() else say("Drop files here, or press Ctrl+O.")
        if box.height() >= 3 * self.fontMetrics().height():
            with painting(self.viewport()) as painter:
                write(painter, box, Qt.AlignmentFlag.AlignTop | Qt.TextFlag.TextWordWrap, words, "quiet")


def _write(
    item: QListWidgetItem, name: str, path: str, columns: str | None, state: tuple[str, str, str], used: bool
) -> None:
    item.setText(name)
    item.setData(_PATH, path)
    item.setData(_STATE, state)
    item.setData(_USED, used)
    item.setToolTip(f"{path}\nColumns: {columns}" if columns else path)
    item.setData(Qt.ItemDataRole.AccessibleTextRole, f"{name}, {state[0]}")


def state_of(document: Document, file: BenchFile) -> tuple[str, str, str]:
    """State in words, the name of its colour, the name of its icon where there is something to do about it."""
    content = document.content(file)
    if content is None:
        return say("reading…"), "quiet", "waiting"
    if content.preview is not None:
        return say("columns to be assigned"), "undecided", "columns"
    if content.problem is not None and file.text is not None:
        return say("typed, to be completed"), "undecided", "caution"
    if content.problem is not None:
        return say("can't be used: see Remarks"), "reject", "error"
    reader = reader_of(content.kind)
    label = say(content.kind if reader is None else reader.label)
    if reader is not None and not bays.takers(reader.name):
        label = say("{label}: valvelab {command} inspects it").format(label=label, command=reader.command)
    if file.text is not None:
        label = f"{label}, {(say('typed') if file.path.startswith(TYPED) else say('edited here'))}"
    return label, "quiet", ""
