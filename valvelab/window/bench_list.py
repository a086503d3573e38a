"""What lies on the bench: files with their kind and state; a place to drop more."""

from __future__ import annotations

from PySide6.QtCore import QModelIndex, QPersistentModelIndex, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QContextMenuEvent, QPainter, QPaintEvent
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
_ICONS = {"lift table": "table", "spec": "spec"}


class TwoLines(QStyledItemDelegate):
    """File name above, kind and state below."""

    def sizeHint(self, option: QStyleOptionViewItem, _index: QModelIndex | QPersistentModelIndex) -> QSize:
        """Two lines and some room."""
        return QSize(6 * option.fontMetrics.height(), round(2.7 * option.fontMetrics.height()))

    def paint(
        self, painter: QPainter, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex
    ) -> None:
        """Draw one file."""
        theme = current_theme()
        em = option.fontMetrics.height()
        rect = QRectF(option.rect)
        selected = bool(option.state & QStyle.StateFlag.State_Selected)
        painter.save()
        if selected:
            painter.fillRect(rect, theme.colour("chosen"))
        if index.data(_USED):
            painter.fillRect(QRectF(rect.left(), rect.top() + 2, 3, rect.height() - 4), theme.colour("accent"))
        side = round(1.3 * em)
        left = rect.left() + 0.6 * em
        index.data(Qt.ItemDataRole.DecorationRole).paint(
            painter, round(left), round(rect.center().y() - side / 2), side, side
        )
        text = QRectF(left + side + 0.5 * em, rect.top() + 0.3 * em, rect.right() - left - side - 0.7 * em, 1.1 * em)
        painter.setFont(scaled(option.font, 1.0, strong=bool(index.data(_USED))))
        name = painter.fontMetrics().elidedText(index.data(), Qt.TextElideMode.ElideMiddle, int(text.width()))
        write(painter, text, LEFT, name, "text")
        painter.setFont(scaled(option.font, 0.85))
        state, colour = index.data(_STATE)
        state = painter.fontMetrics().elidedText(state, Qt.TextElideMode.ElideRight, int(text.width()))
        write(painter, text.translated(0, 1.1 * em), LEFT, state, colour)
        painter.restore()


class BenchList(QListWidget):
    """The list of files; `used(path)` and the other signals tell what a person asked for."""

    used = Signal(str)
    removed = Signal(str)
    columns_wanted = Signal(str)
    edit_wanted = Signal(str)
    columns_forgotten = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("bench list")
        self.setAccessibleName(say("Files on the bench"))
        self.setFrameShape(QListWidget.Shape.NoFrame)
        self.setItemDelegate(TwoLines(self))
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.itemClicked.connect(lambda item: self.used.emit(item.data(_PATH)))
        self.itemActivated.connect(lambda item: self.used.emit(item.data(_PATH)))

    def show_document(self, document: Document) -> None:
        """Show the files of a document."""
        chosen = self.selected_path()
        if self.count() != len(document.files):
            self.clear()
            for _file in document.files:
                self.addItem(QListWidgetItem())
        in_use = bays.files_in_use(document)
        for row, file in enumerate(document.files):
            item = self.item(row)
            state, colour, name = state_of(document, file)
            item.setText(file.name)
            item.setIcon(icon(name, colour if colour != "quiet" else "text"))
            item.setData(_PATH, file.path)
            item.setData(_STATE, (state, colour))
            item.setData(_USED, file.path in in_use)
            item.setToolTip(f"{file.path}\nColumns: {file.columns}" if file.columns else file.path)
            item.setData(Qt.ItemDataRole.AccessibleTextRole, f"{file.name}, {state}")
            if file.path == chosen:
                self.setCurrentItem(item)
        self.viewport().update()

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


def state_of(document: Document, file: BenchFile) -> tuple[str, str, str]:
    """State in words, the name of its colour, the name of its icon."""
    content = document.content(file)
    if content is None:
        return say("reading…"), "quiet", "waiting"
    if content.preview is not None:
        return say("columns to be assigned"), "undecided", "columns"
    if content.problem is not None and file.text is not None:
        return say("typed, to be completed"), "undecided", "table"
    if content.problem is not None:
        return say("can't be used: see Problems"), "reject", "error"
    reader = reader_of(content.kind)
    label = say(content.kind if reader is None else reader.label)
    if reader is not None and not bays.takers(reader.name):
        label = say("{label}: valvelab {command} inspects it").format(label=label, command=reader.command)
    if file.text is not None:
        label = f"{label}, {(say('typed') if file.path.startswith(TYPED) else say('edited here'))}"
    return label, "quiet", _ICONS.get(content.kind, "file")
