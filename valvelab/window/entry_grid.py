"""The grid that readings are typed into: typing starts at once, Enter, Tab or a line feed takes and goes on."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from PySide6.QtCore import (
    QAbstractTableModel,
    QEvent,
    QLine,
    QModelIndex,
    QRect,
    QRectF,
    Qt,
    Signal,
)
from PySide6.QtGui import (
    QColor,
    QContextMenuEvent,
    QGuiApplication,
    QKeyEvent,
    QKeySequence,
    QPainter,
    QPaintEvent,
    QPen,
    QRegion,
)
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QLineEdit,
    QMenu,
    QStyle,
    QStyleOptionViewItem,
    QTableView,
    QWidget,
)

from valvelab.csv_text import csv_text
from valvelab.files.column_names import height_of, split_header
from valvelab.language import say
from valvelab.window.named_table import Index
from valvelab.window.painting import LEFT, RIGHT, columns_seen, painting, rows_seen, words_in, write
from valvelab.window.theme import current_theme, scaled
from valvelab.window.typed_table import CellKeys, TypedTable
from valvelab.workbench import entry
from valvelab.workbench.entry import Grid, Place
from valvelab.workbench.entry_paste import pasted, replaced
from valvelab.workbench.entry_told import Mark

_LONGEST_BLOCK = 20_000
SIGNS = {"wrong": ("✗", "reject"), "doubtful": ("▲", "undecided")}


class EntryModel(QAbstractTableModel):
    """A grid under its heads, with an empty row below; `typed(row, column, text)` when a cell was edited."""

    typed = Signal(int, int, str)

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.kind, self.grid = "", Grid()
        self._marks: dict[Place, Mark] = {}
        self._wrong: dict[tuple[int, str], Mark | None] = {}
        """What was found out of texts of a column."""

    def show_grid(self, kind: str, grid: Grid) -> None:
        """Show a grid; the place in front and the scroll stay where the columns do."""
        old, had = self.grid, self.rowCount()
        if (kind, grid.heads) != (self.kind, old.heads):
            self.beginResetModel()
            self.kind, self.grid = kind, grid
            self._marks, self._wrong = {}, {}
            self.endResetModel()
            return
        has = len(grid.rows) + 1
        if has > had:
            self.beginInsertRows(QModelIndex(), had, has - 1)
        elif has < had:
            self.beginRemoveRows(QModelIndex(), has, had - 1)
        self.grid = grid
        if has > had:
            self.endInsertRows()
        elif has < had:
            self.endRemoveRows()
        self.dataChanged.emit(self.index(0, 0), self.index(has - 1, len(grid.heads) - 1))

    def show_marks(self, marks: dict[Place, Mark]) -> None:
        """Mark these cells."""
        if marks != self._marks:
            self._marks = marks
            self.dataChanged.emit(self.index(0, 0), self.index(self.rowCount() - 1, self.columnCount() - 1))

    def rowCount(self, parent: Index | None = None) -> int:
        """Rows, and one to go on with."""
        return 0 if parent is not None and parent.isValid() else len(self.grid.rows) + 1

    def columnCount(self, parent: Index | None = None) -> int:
        """Columns."""
        return 0 if parent is not None and parent.isValid() else len(self.grid.heads)

    def flags(self, index: Index) -> Qt.ItemFlag:
        """Every cell can be typed into."""
        return super().flags(index) | Qt.ItemFlag.ItemIsEditable

    def mark(self, row: int, column: int) -> Mark | None:
        """The mark of a cell: one that can't be read bears it at once, others as soon as they are looked through."""
        text = self.grid.cell(row, column)
        if not text:
            return None
        if (column, text) not in self._wrong:
            why = entry.wrong(self.kind, self.grid.heads[column], text)
            self._wrong[column, text] = Mark("wrong", why) if why else None
        return self._wrong[column, text] or self._marks.get((row, column))

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """Text, alignment, mark and what is spoken of a cell."""
        row, column = index.row(), index.column()
        match role:
            case Qt.ItemDataRole.DisplayRole | Qt.ItemDataRole.EditRole:
                return self.grid.cell(row, column)
            case Qt.ItemDataRole.TextAlignmentRole:
                return self.side(column)
            case Qt.ItemDataRole.AccessibleTextRole:
                return f"{self.spoken(row, column)}: {self.grid.cell(row, column) or say('empty')}"
            case _:
                return self._marked(self.mark(row, column), role)

    @staticmethod
    def _marked(mark: Mark | None, role: int) -> Any:
        if mark is None:
            return None
        match role:
            case Qt.ItemDataRole.ToolTipRole | Qt.ItemDataRole.AccessibleDescriptionRole:
                return mark.why
            case Qt.ItemDataRole.ForegroundRole if mark.level == "wrong":
                return current_theme().colour("reject")
            case _:
                return None

    def setData(self, index: Index, value: Any, _role: int = Qt.ItemDataRole.EditRole) -> bool:
        """A cell was typed; whoever listens to `typed` shows the grid that it gives."""
        if str(value) != self.grid.cell(index.row(), index.column()):
            self.typed.emit(index.row(), index.column(), str(value))
        return True

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """Heads with the unit below."""
        if orientation == Qt.Orientation.Vertical or section >= len(self.grid.heads):
            return None
        if role == Qt.ItemDataRole.DisplayRole:
            title, unit = split_header(self.grid.heads[section])
            return f"{title}\n{'µm' if unit == 'um' else unit}" if unit else title
        if role == Qt.ItemDataRole.TextAlignmentRole:
            return self.side(section)
        return None

    def side(self, column: int) -> Qt.AlignmentFlag:
        """Where the words of a column stand: numbers at the right."""
        return LEFT if entry.takes(self.kind, self.grid.heads[column]) is None else RIGHT

    def spoken(self, row: int, column: int) -> str:
        """What a cell is, in words: `spring Q03 at 40 mm`, `1I at 25`."""
        titles = [split_header(head)[0] for head in self.grid.heads]
        name, title = self.grid.cell(row, 0), titles[column]
        if column == 0 or not name:
            return say("{title} of row {row}").format(title=title, row=row + 1)
        if entry.takes(self.kind, self.grid.heads[0]) is not None:
            return f"{title} at {name}"
        at = "at " if title[:1].isdigit() and height_of(title) is not None else ""
        return f"{titles[0]} {name} {at}{title}"


class _Cells(CellKeys):
    """Editors of cells, what their keys do, and the marks beside the text."""

    def __init__(self, view: EntryGrid) -> None:
        super().__init__(view)
        self._view = view

    def createEditor(self, parent: QWidget, _option: QStyleOptionViewItem, index: Index) -> QWidget:
        """A line with the name of its cell."""
        editor = QLineEdit(parent)
        editor.setFrame(False)
        editor.setAlignment(index.data(Qt.ItemDataRole.TextAlignmentRole))
        model = self._view.entry_model
        editor.setAccessibleName(model.spoken(index.row(), index.column()))
        self._view.editor = editor
        return editor

    def ends(self, event: QKeyEvent) -> bool:
        """Enter, Tab and a line feed take and go on; up and down take and move."""
        return self._view.takes_key(event)

    def after(self, event: QKeyEvent) -> None:
        """Go where the key leads."""
        self._view.after_key(event)

    def take(self, editor: QLineEdit) -> None:
        """Take what stands in an editor and close it."""
        self._view.editor = None
        super().take(editor)

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: Index) -> None:
        """The cell, framed with a sign where it can't be read or is in doubt."""
        super().paint(painter, option, index)
        mark = self._view.entry_model.mark(index.row(), index.column())
        if mark is None:
            return
        sign, colour = SIGNS[mark.level]
        box = QRectF(option.rect)
        painter.save()
        painter.setPen(QPen(current_theme().colour(colour), 1.4))
        painter.drawRect(box.adjusted(1, 1, -1.5, -1.5))
        write(painter, box.adjusted(4, 0, 0, 0), LEFT, sign, colour, scaled(option.font, 0.85, strong=True))
        painter.restore()


class EntryGrid(TypedTable):
    """See the module text. `changed(grid, label)` with every edit; `along`: going on is along the row, else down.

    `moved()` when another cell came to the front; `refused(sentence)` for a block that is not taken;
    `replacing(grid, sentence)` for one that would write over what is there, which is to be asked first.
    """

    changed = Signal(object, str)
    moved = Signal()
    refused = Signal(str)
    replacing = Signal(object, str)

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.along = False
        self.editor: QLineEdit | None = None
        self.entry_model = EntryModel(self)
        self.entry_model.typed.connect(self._on_typed)
        self.setModel(self.entry_model)
        self.setObjectName("readings grid")
        self.setAccessibleName(say("Readings"))
        self._keys = _Cells(self)
        self.setItemDelegate(self._keys)
        self.setFrameShape(QTableView.Shape.NoFrame)
        self.setSelectionMode(QAbstractItemView.SelectionMode.ContiguousSelection)
        self.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setHorizontalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.horizontalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Interactive)
        self.horizontalHeader().setHighlightSections(False)
        self.verticalHeader().hide()
        self.horizontalHeader().setContextMenuPolicy(Qt.ContextMenuPolicy.CustomContextMenu)
        self.horizontalHeader().customContextMenuRequested.connect(self._head_menu)
        self.selectionModel().currentChanged.connect(lambda _now, _before: self.moved.emit())
        self._fit()

    @property
    def grid(self) -> Grid:
        """The grid as it stands."""
        return self.entry_model.grid

    def show_grid(self, kind: str, grid: Grid) -> None:
        """Show a grid and stay where the person is."""
        place = self.place()
        fresh = (kind, grid.heads) != (self.entry_model.kind, self.grid.heads)
        self.entry_model.show_grid(kind, grid)
        if fresh:
            self._fit()
            self.go_to(*place)

    def place(self) -> Place:
        """The cell in front; the first one at the beginning."""
        index = self.currentIndex()
        return (index.row(), index.column()) if index.isValid() else (0, 0)

    def go_to(self, row: int, column: int) -> None:
        """Bring a cell to the front."""
        row = min(row, self.entry_model.rowCount() - 1)
        column = min(column, self.entry_model.columnCount() - 1)
        self.setCurrentIndex(self.entry_model.index(row, column))

    def settle(self) -> None:
        """Take what stands in an open editor."""
        if self.editor is not None:
            self._keys.take(self.editor)

    # -- keys -------------------------------------------------------------------------------------------------------

    @staticmethod
    def takes_key(event: QKeyEvent) -> bool:
        """Whether a key ends the typing of a cell: digital gauges end theirs with Enter, Tab or a line feed."""
        ends = {Qt.Key.Key_Return, Qt.Key.Key_Enter, Qt.Key.Key_Tab, Qt.Key.Key_Backtab, Qt.Key.Key_Up, Qt.Key.Key_Down}
        return event.key() in ends or event.text() == "\n"

    def after_key(self, event: QKeyEvent) -> None:
        """Go where a key that ended the typing leads."""
        row, column = self.place()
        match event.key():
            case Qt.Key.Key_Up:
                self.go_to(max(0, row - 1), column)
            case Qt.Key.Key_Down:
                self.go_to(row + 1, column)
            case Qt.Key.Key_Tab | Qt.Key.Key_Backtab:
                self.go_or_leave(event)
                return
            case _:
                self.go_to(*self._next(row, column))
        self.setFocus(Qt.FocusReason.OtherFocusReason)

    def beyond(self, on: bool) -> QModelIndex:
        """Where Enter leads, and back from there."""
        row, column = self._next(*self.place()) if on else self._before(*self.place())
        return self.entry_model.index(row, column)

    def _next(self, row: int, column: int) -> Place:
        """The cell that is read after one."""
        last, columns = len(self.grid.rows), self.entry_model.columnCount()
        if self.along or columns == 1:
            if column + 1 < columns:
                return row, column + 1
            named = self.grid.cell(row + 1, 0) or self._names_itself(row)
            return row + 1, 1 if named and columns > 1 else 0
        if row + 1 < last or column == 0:
            return row + 1, column
        return (0, column + 1) if column + 1 < columns else (last, 0)

    def _before(self, row: int, column: int) -> Place:
        """The cell that is read before one; no cell before the first."""
        last, columns = len(self.grid.rows), self.entry_model.columnCount()
        if self.along or columns == 1 or row == last:
            return (row, column - 1) if column else (row - 1, columns - 1)
        return (row - 1, column) if row else (last - 1, column - 1)

    def _names_itself(self, row: int) -> str:
        """The name that the row below one takes by itself; empty where it has to be typed."""
        if entry.takes(self.entry_model.kind, self.grid.heads[0]) is not None:
            return ""
        return entry.next_name(self.grid.cell(row, 0))

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Keys on a cell that is not being typed into."""
        if event.matches(QKeySequence.StandardKey.Copy):
            self.copy()
        elif event.matches(QKeySequence.StandardKey.Cut):
            self.copy()
            self.empty("cut readings")
        elif event.matches(QKeySequence.StandardKey.Paste):
            self.paste(QGuiApplication.clipboard().text())
        elif event.key() in {Qt.Key.Key_Return, Qt.Key.Key_Enter} or event.text() == "\n":
            self.go_to(*self._next(*self.place()))
        else:
            super().keyPressEvent(event)

    def _on_typed(self, row: int, column: int, text: str) -> None:
        self.entry_model.show_grid(kind := self.entry_model.kind, entry.with_cell(kind, self.grid, row, column, text))
        self.changed.emit(self.grid, f"type {self.entry_model.spoken(row, column)}")

    def _edit(self, grid: Grid, label: str) -> None:
        if grid != self.grid:
            self.show_grid(self.entry_model.kind, grid)
            self.changed.emit(grid, label)

    # -- blocks, rows and columns -----------------------------------------------------------------------------------

    def chosen(self) -> set[Place]:
        """The cells that are selected, or the one in front."""
        found = {(index.row(), index.column()) for index in self.selectionModel().selectedIndexes()}
        return found or {self.place()}

    def copy(self) -> None:
        """Put the selected cells on the clipboard, with tabs between."""
        places = self.chosen()
        rows, columns = sorted({row for row, _ in places}), sorted({column for _, column in places})
        cells = [[self.grid.cell(row, column) for column in columns] for row in rows]
        QGuiApplication.clipboard().setText(csv_text(cells, "\t"))

    def paste(self, block: str) -> None:
        """Put a block in, its corner at the first selected cell."""
        if block.count("\n") > _LONGEST_BLOCK:
            self.refused.emit(
                say("A block of over {rows} rows is no typing: save it as a file and open that.").format(
                    rows=_LONGEST_BLOCK
                )
            )
        elif block.strip():
            new = pasted(self.entry_model.kind, self.grid, min(self.chosen()), block)
            lost = replaced(self.grid, new)
            if lost:
                self.replacing.emit(new, self._told_of(lost, new))
            else:
                self._edit(new, "paste readings")

    def _told_of(self, lost: Sequence[Place], new: Grid) -> str:
        """Which entries a block would write over, the first by name."""
        row, column = lost[0]
        at = entry.head_like(new.heads, self.grid.heads[column]) or 0
        first = say("{spoken}, {cell} by {other}").format(
            spoken=self.entry_model.spoken(row, column), cell=self.grid.cell(row, column), other=new.cell(row, at)
        )
        return (
            say("{count} entries would be replaced: {first}, …").format(count=len(lost), first=first)
            if len(lost) > 1
            else say("Replace {first}?").format(first=first)
        )

    def empty_chosen(self) -> None:
        """Empty the selected cells."""
        self.empty("empty cells")

    def empty(self, label: str) -> None:
        """Empty the selected cells."""
        self._edit(entry.emptied(self.grid, self.chosen()), label)

    def repeat(self) -> None:
        """A further row under the name of the one in front, for a reading that is taken again; the old one stays."""
        row, column = self.place()
        name = self.grid.cell(row, 0)
        if name:
            self._edit(entry.with_row(self.grid, row + 1, name), f"repeat {name}")
            self.go_to(row + 1, max(1, column))

    def insert(self) -> None:
        """An empty row above the one in front."""
        self._edit(entry.with_row(self.grid, self.place()[0]), "insert a row")

    def remove(self) -> None:
        """Take out the selected rows."""
        rows = {row for row, _ in self.chosen()}
        self._edit(entry.without_rows(self.grid, rows), "take out a row" if len(rows) == 1 else "take out rows")

    def remove_column(self, column: int) -> None:
        """Take out a column."""
        title = split_header(self.grid.heads[column])[0]
        self._edit(entry.without_head(self.grid, column), say("take out {title}").format(title=title))

    def contextMenuEvent(self, event: QContextMenuEvent) -> None:
        """What can be done with cells and rows."""
        index = self.indexAt(event.pos())
        if index.isValid() and (index.row(), index.column()) not in self.chosen():
            self.setCurrentIndex(index)
        menu = QMenu(self)
        menu.addAction(say("Copy"), self.copy)
        menu.addAction(say("Paste"), lambda: self.paste(QGuiApplication.clipboard().text()))
        menu.addAction(say("Empty"), lambda: self.empty("empty cells"))
        menu.addSeparator()
        menu.addAction(say("Repeat this reading in a row below"), self.repeat)
        menu.addAction(say("Insert a row above"), self.insert)
        menu.addAction(say("Take out the row"), self.remove)
        if self.place()[1]:
            menu.addAction(say("Take out the column"), lambda: self.remove_column(self.place()[1]))
        menu.exec(event.globalPos())

    def _head_menu(self, where: Any) -> None:
        header = self.horizontalHeader()
        column = header.logicalIndexAt(where)
        if column > 0:
            menu = QMenu(self)
            menu.addAction(say("Take out the column"), lambda: self.remove_column(column))
            menu.exec(header.mapToGlobal(where))

    # -- size -------------------------------------------------------------------------------------------------------

    def paintEvent(self, event: QPaintEvent) -> None:
        """Cells of mere words are written in one go, for one asked after another they take several times as long."""
        others, seen = QRegion(), event.rect()
        with painting(self.viewport(), smooth=False) as painter:
            painter.setClipRegion(event.region())
            self._rule(painter, seen)
            painter.setPen(current_theme().colour("text"))
            for cell in self._write_plain(painter, seen):
                others += cell
        if not others.isEmpty():
            super().paintEvent(QPaintEvent(others & event.region()))

    def _write_plain(self, painter: QPainter, seen: QRect) -> Iterator[QRect]:
        """Write the cells of mere words in a place; gives those that are more."""
        model, chosen = self.entry_model, self.chosen()
        metrics = self.fontMetrics()
        rows = rows_seen(self, seen)
        for column, x, wide in columns_seen(self, seen):
            side = model.side(column)
            for row, y, high in rows:
                text = model.grid.cell(row, column)
                if (row, column) in chosen or model.mark(row, column):
                    yield QRect(x, y, wide, high)
                elif text:
                    words = words_in(QRect(x, y, wide - 1, high - 1), metrics.height())
                    painter.drawText(words, side, metrics.elidedText(text, Qt.TextElideMode.ElideRight, words.width()))

    def _rule(self, painter: QPainter, seen: QRect) -> None:
        """Lines between the cells in a place."""
        option = QStyleOptionViewItem()
        self.initViewItemOption(option)
        shade = self.style().styleHint(QStyle.StyleHint.SH_Table_GridLineColor, option, self)
        painter.setPen(QColor.fromRgba(shade & 0xFFFFFFFF))
        right = [x + wide - 1 for _, x, wide in columns_seen(self, seen)]
        below = [y + high - 1 for _, y, high in rows_seen(self, seen)]
        if right and below:
            painter.drawLines([QLine(x, seen.top(), x, min(seen.bottom(), below[-1])) for x in right])
            painter.drawLines([QLine(seen.left(), y, min(seen.right(), right[-1]), y) for y in below])

    def changeEvent(self, event: QEvent) -> None:
        """Rows follow the text size."""
        super().changeEvent(event)
        if event.type() in {QEvent.Type.FontChange, QEvent.Type.ApplicationFontChange}:
            self._fit()

    def _fit(self) -> None:
        metrics = self.fontMetrics()
        self.verticalHeader().setDefaultSectionSize(round(1.55 * metrics.height()))
        for column, head in enumerate(self.grid.heads):
            title, unit = split_header(head)
            usual = "−00.000" if entry.takes(self.entry_model.kind, head) is not None else "00000"
            wide = max(metrics.horizontalAdvance(one) for one in (title, unit or "", usual))
            self.setColumnWidth(column, wide + round(metrics.height()))
