"""Tables from columns of functions: right-aligned figures, unit in the header, sorting by value."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from heapq import nlargest
from itertools import chain
from math import ceil
from textwrap import wrap
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import (
    QAbstractTableModel,
    QEvent,
    QModelIndex,
    QPersistentModelIndex,
    QRect,
    QSignalBlocker,
    QSize,
    QSortFilterProxyModel,
    Qt,
    QTimer,
    Signal,
)
from PySide6.QtGui import QFocusEvent, QFont, QPainter, QPaintEvent, QRegion, QResizeEvent, QShowEvent, QTextLayout
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QTableView,
    QWidget,
)

from valvelab.language import aloud, is_english, plain, say, say_cell, say_figures, say_head, say_lines, word
from valvelab.tables.description import Column, Fact, Mark
from valvelab.tables.verdicts import WORDS, rank
from valvelab.units import System
from valvelab.window.icons import icon
from valvelab.window.painting import BESIDE, LEFT, RIGHT, columns_seen, painting, rows_seen, words_in, write
from valvelab.window.table_menu import DRAWN, PLAIN, let_copy, one_line, plain_minus
from valvelab.window.theme import arrow_wide, current_theme, scaled

if TYPE_CHECKING:
    from valvelab.records.result import Decision

Index = QModelIndex | QPersistentModelIndex
RAW = Qt.ItemDataRole.UserRole
_HEAD_WIDTH = 12
_WRAPPED_EMS = 24
"""Width that a table asks for at most of which one column wraps its words."""
AT_ONCE = 60
"""Rows whose cells are measured in one go."""
_MEASURED = 8
"""Cells measured for the width of a column."""
_NO_END = 1e6
"""Room, in pixels, that no line needs."""


@dataclass(frozen=True, slots=True)
class TableColumn:
    """One column over rows of any kind.

    text: what is shown. value: what sorting compares (the text where absent). colour: the name of a theme colour, or
    None. icon: an icon's name and colour, or None. number: right-aligned.
    cell_tip: what a cell says when pointed at. drawn: a delegate draws the cells, which have no words. Titles, texts
    and all tips are English here; `said_title` is the title as it is shown where it is more than the title's words.
    whole_unit: what follows the last comma, a unit, stays in one line where the words are wrapped.
    least: lines' heights that the column does with where a table is narrow, its words cut and whole in its tip; 0
    where its words are never cut.
    """

    title: str
    text: Callable[[Any], str]
    tip: str = ""
    number: bool = True
    value: Callable[[Any], Any] | None = None
    colour: Callable[[Any], str | None] | None = None
    icon: Callable[[Any], tuple[str, str] | None] | None = None
    strong: Callable[[Any], bool] | None = None
    cell_tip: Callable[[Any], str] | None = None
    drawn: bool = False
    said_title: str = ""
    whole_unit: bool = False
    least: float = 0.0


def of(column: Column[Any], units: System, rows: Sequence[Any] = (), **look: Any) -> TableColumn:
    """A column as tables everywhere have it over these rows: its unit under the head, what it means and its u as tip.

    A verdict is drawn as shape, word and colour.
    """
    shown = column.over(rows, units)
    label = column.label(units)

    def title(head: str, unit: str) -> str:
        lines = (wrap(line, _HEAD_WIDTH, break_long_words=False) for line in head.split("\n"))
        return "\n".join([*chain.from_iterable(lines), *([unit] if unit else [])])

    def decision(row: Any) -> Decision | None:
        cell = shown.cell(row, units)
        return cell.decision if isinstance(cell, Mark) else None

    def text(row: Any) -> str:
        cell = shown.cell(row, units)
        return say(WORDS[cell.decision]) if isinstance(cell, Mark) else cell

    def shape(row: Any) -> tuple[str, str] | None:
        found = decision(row)
        return None if found is None else (found, found)

    def order(row: Any) -> Any:
        found = decision(row)
        return text(row) if found is None else str(rank(found))

    def tip(row: Any) -> str:
        known = shown.u is not None and shown.u(row) is not None
        u = (
            [say("standard uncertainty {u_cell} {label}").format(u_cell=shown.u_cell(row, units), label=say(label))]
            if known
            else []
        )
        return "\n".join([*([column.tip] if column.tip else []), *u])

    with aloud():
        said_title = title(say_head(column.head), column.label(units))
    made = TableColumn(
        title(column.head, label),
        text,
        column.tip,
        column.is_number,
        column.value or order,
        cell_tip=tip,
        said_title=said_title,
    )
    if not column.is_number:
        made = replace(made, colour=decision, icon=shape)
    return replace(made, **look)


def fact_columns(*, item: bool = False) -> list[TableColumn]:
    """The columns of a list of facts, each of which says what it means; with `item` one in front says of what."""
    columns = [
        TableColumn("characteristic", _fact_label, "Point at one to read what it means", number=False, whole_unit=True),
        TableColumn("value", lambda fact: fact.shown, "From the readings", value=lambda fact: fact.value),
        TableColumn("u", lambda fact: fact.shown_u, "Standard uncertainty", value=lambda fact: fact.u),
    ]
    if item:
        columns.insert(0, TableColumn("item", lambda fact: fact.item, "Cylinder, kind or lobe", number=False))
    return [replace(column, cell_tip=lambda fact: fact.meaning) for column in columns]


def _fact_label(fact: Fact) -> str:
    return f"{say(fact.name)}, {word(fact.unit)}" if fact.unit else say(fact.name)


def _alignment(column: TableColumn) -> Qt.AlignmentFlag:
    return RIGHT if column.number else LEFT


@dataclass(frozen=True, slots=True)
class Kept:
    """Rows under their columns with the texts and widths that were found for them, to be shown again as they were."""

    rows: Sequence[Any]
    columns: Sequence[TableColumn]
    texts: dict[tuple[int, int], str]
    widths: tuple[int, ...]
    tight: tuple[int, ...]


class RowsModel(QAbstractTableModel):
    """Rows under columns; a cell's text is made when it is asked for.

    `show_rows` with as many rows as before only says that the data changed.
    """

    def __init__(self, columns: Sequence[TableColumn], parent: QWidget) -> None:
        super().__init__(parent)
        self.columns = tuple(columns)
        self.rows: list[Any] = []
        self.texts: dict[tuple[int, int], str] = {}
        self._said: dict[tuple[int, int], str] = {}
        self._owner = parent

    def show_rows(self, rows: Sequence[Any], columns: Sequence[TableColumn] | None = None) -> None:
        """Show these rows, under new columns where given."""
        same = columns is None and len(rows) == len(self.rows)
        if not same:
            self.beginResetModel()
        self.columns = tuple(columns) if columns is not None else self.columns
        self.rows = list(rows)
        self.texts, self._said = {}, {}
        if not same:
            self.endResetModel()
        elif self.rows:
            self.dataChanged.emit(self.index(0, 0), self.index(len(self.rows) - 1, len(self.columns) - 1))

    def show_kept(self, kept: Kept) -> None:
        """Show rows again, whose texts are known."""
        self.show_rows(kept.rows, kept.columns)
        self.texts = kept.texts

    def text(self, row: int, column: int) -> str:
        """What a cell holds, in English."""
        known = self.texts.get((row, column))
        if known is None:
            with plain():
                known = self.texts[row, column] = self.columns[column].text(self.rows[row])
        return known

    def said(self, row: int, column: int) -> str:
        """What a cell shows, in the window's language."""
        if is_english():
            return self.text(row, column)
        known = self._said.get((row, column))
        if known is None:
            of = self.columns[column]
            with aloud():
                text = of.text(self.rows[row])
                known = self._said[row, column] = say_figures(text) if of.number else say_cell(text)
        return known

    def longest(self, column: int, rows: range) -> list[int]:
        """Those of these rows among which the widest of a column is: those with the longest texts."""
        return nlargest(_MEASURED, rows, key=lambda row: len(self.text(row, column)))

    def rowCount(self, parent: Index | None = None) -> int:
        """Rows."""
        return 0 if parent is not None and parent.isValid() else len(self.rows)

    def columnCount(self, parent: Index | None = None) -> int:
        """Columns."""
        return 0 if parent is not None and parent.isValid() else len(self.columns)

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """Text, alignment, colour, icon or raw value of a cell."""
        if role == Qt.ItemDataRole.DisplayRole:
            return self.said(index.row(), index.column())
        if role == PLAIN:
            return self.text(index.row(), index.column())
        column = self.columns[index.column()]
        if role == Qt.ItemDataRole.TextAlignmentRole:
            return _alignment(column)
        return self._look(column, index, role)

    def _look(self, column: TableColumn, index: Index, role: int) -> Any:
        row = self.rows[index.row()]
        match role:
            case Qt.ItemDataRole.UserRole:
                return column.value(row) if column.value else self.text(index.row(), index.column())
            case Qt.ItemDataRole.ToolTipRole if column.cell_tip or column.least:
                return self._tip(column, index)
            case Qt.ItemDataRole.ForegroundRole if column.colour and (colour := column.colour(row)):
                return current_theme().colour(colour)
            case Qt.ItemDataRole.DecorationRole if column.icon and (named := column.icon(row)):
                return icon(*named)
            case Qt.ItemDataRole.FontRole if column.strong and column.strong(row):
                return scaled(self._owner.font(), 1.0, strong=True)
            case _:
                return None

    def _tip(self, column: TableColumn, index: Index) -> str:
        """What a cell says when pointed at: first its words, where they may be cut."""
        with aloud():
            tip = say_lines(column.cell_tip(self.rows[index.row()])) if column.cell_tip else ""
        words = "" if column.drawn or not column.least else self.said(index.row(), index.column())
        return tip if tip.startswith(words) else "\n".join(part for part in (words, tip) if part)

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """Titles, tips and their alignment."""
        if orientation != Qt.Orientation.Horizontal or section >= len(self.columns):
            return None
        column = self.columns[section]
        return {
            int(Qt.ItemDataRole.DisplayRole): column.said_title or say_head(column.title),
            int(Qt.ItemDataRole.ToolTipRole): say_lines(column.tip) or None,
            int(Qt.ItemDataRole.TextAlignmentRole): _alignment(column),
            PLAIN: column.title,
            DRAWN: column.drawn,
        }.get(int(role))


class ByValue(QSortFilterProxyModel):
    """Sorts by raw values, missing ones last; filters by a function of the row."""

    def __init__(self, model: RowsModel) -> None:
        super().__init__(model)
        self.keep: Callable[[Any], bool] = lambda _row: True
        self.setSourceModel(model)

    def rows(self) -> RowsModel:
        """The model below."""
        model = self.sourceModel()
        assert isinstance(model, RowsModel)
        return model

    def writing(self) -> Callable[[], list[list[str]]]:
        """What writes heads and rows as they are shown now, in their order, in English; any thread may."""
        model = self.rows()
        columns = [column for column in model.columns if not column.drawn]
        rows = [model.rows[self.mapToSource(self.index(number, 0)).row()] for number in range(self.rowCount())]

        def write() -> list[list[str]]:
            with plain():
                cells = [[plain_minus(column.text(row)) for column in columns] for row in rows]
            return [[one_line(column.title) for column in columns], *cells]

        return write

    def filter_by(self, keep: Callable[[Any], bool]) -> None:
        """Show only the rows that `keep` wants."""
        if hasattr(self, "endFilterChange"):  # from Qt 6.10 on; the older call is deprecated there
            self.beginFilterChange()
            self.keep = keep
            self.endFilterChange(QSortFilterProxyModel.Direction.Rows)
        else:
            self.keep = keep
            self.invalidateFilter()

    def lessThan(self, left: Index, right: Index) -> bool:
        """Compare raw values."""
        model = self.rows()
        a, b = model.data(left, RAW), model.data(right, RAW)
        if a is None or b is None:
            return a is not None
        return bool(a < b)

    def filterAcceptsRow(self, row: int, _parent: Index) -> bool:
        """Whether the filter keeps a row."""
        return self.keep(self.rows().rows[row])


_HARD_SPACE, _JOINED = "\u00a0", "\u2060"


def is_shaped(column: TableColumn, row: Any) -> bool:
    """Whether a cell is more than words in the usual type."""
    return bool(column.drawn or (column.icon and column.icon(row)) or (column.strong and column.strong(row)))


def _advance(text: str, font: QFont) -> float:
    """Width of a line of words as it is laid out, which is not always the sum of its letters."""
    layout = QTextLayout(text, font)
    layout.beginLayout()
    line = layout.createLine()
    line.setLineWidth(_NO_END)
    layout.endLayout()
    return line.naturalTextWidth()


class Cells(QStyledItemDelegate):
    """Measures cells as Qt does, and draws those that are more than words."""

    def __init__(self, sheet: TableView) -> None:
        super().__init__(sheet)
        self._sheet = sheet

    def initStyleOption(self, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex) -> None:
        """Words as Qt draws them."""
        super().initStyleOption(option, index)
        if self._sheet.rows_model.columns[index.column()].whole_unit:
            name, comma, unit = option.text.rpartition(", ")
            if comma:
                option.text = f"{name}{comma}{unit.replace(' ', _HARD_SPACE).replace('/', f'/{_JOINED}')}"

    def sizeHint(self, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex) -> QSize:
        """As Qt measures it, with room between the rows where words are wrapped."""
        found = super().sizeHint(option, index)
        room = self._sheet.fontMetrics().height() // 2 if self._sheet.wordWrap() else 0
        return QSize(found.width(), found.height() + room)


class Head(QHeaderView):
    """Heads of columns, with room for an arrow of one line beside each, however many lines it has."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(Qt.Orientation.Horizontal, parent)
        self.setSectionsClickable(True)

    def sectionSizeFromContents(self, section: int) -> QSize:
        """As Qt measures it, but for the arrow, which Qt makes as wide as the head is high."""
        found = super().sectionSizeFromContents(section)
        if self.isSortIndicatorShown():
            margin = self.style().pixelMetric(QStyle.PixelMetric.PM_HeaderMargin, None, self)
            found.setWidth(found.width() - found.height() - margin + arrow_wide(self.fontMetrics()))
        return found

    def bare_width(self, section: int) -> int:
        """Width of a head without the room for an arrow, of a hidden one too."""
        return self.sectionSizeFromContents(section).width() - self.arrow_room()

    def arrow_room(self) -> int:
        """Room that a head has for an arrow."""
        return arrow_wide(self.fontMetrics()) if self.isSortIndicatorShown() else 0

    def changeEvent(self, event: QEvent) -> None:
        """Heads in a type of their own are as wide as that needs."""
        super().changeEvent(event)
        around = self.parentWidget()
        own = event.type() == QEvent.Type.FontChange and self.testAttribute(Qt.WidgetAttribute.WA_SetFont)
        if own and isinstance(around, TableView):
            around.fit_columns()


class TableView(QTableView):
    """A quiet table: no grid, stripes, whole rows, columns as wide as they need; `chosen(row)` when one is chosen.

    spoken: its accessible name where that is not `name`. wrapped: the column that takes the width that is left and
    wraps its words. empty: what to do while there are no rows. left_out: numbers of drawings that have no room now.
    """

    chosen = Signal(object)

    def __init__(
        self,
        name: str,
        columns: Sequence[TableColumn],
        parent: QWidget | None = None,
        *,
        spoken: str = "",
        sortable: bool = True,
        wrapped: int | None = None,
        empty: str = "",
    ) -> None:
        super().__init__(parent)
        self._wrapped = wrapped
        self._shared = self._asks = False
        self._fitting = QTimer(self, singleShot=True, interval=0)
        self._fitting.timeout.connect(self._fit_piece)
        self._fitted = self._needed = 0
        self._unfitted = False
        self._roomy: tuple[int, ...] = ()
        self._tight: tuple[int, ...] = ()
        self._laid: tuple[int, ...] = ()
        self.left_out: set[int] = set()
        self.empty_text = empty
        self.setObjectName(name)
        self.setAccessibleName(say(spoken or name))
        self._head = Head(self)
        self.setHorizontalHeader(self._head)
        self.rows_model = RowsModel(columns, self)
        self.proxy = ByValue(self.rows_model)
        self.setModel(self.proxy)
        if wrapped is None:
            self.setItemDelegate(Cells(self))
        else:  # rows are as high as this column's words: the others, measured as often, are Qt's alone
            self.setItemDelegateForColumn(wrapped, Cells(self))
        self.setShowGrid(False)
        self.setAlternatingRowColors(True)
        self.setFrameShape(QTableView.Shape.NoFrame)
        self.setWordWrap(wrapped is not None)
        self.setTabKeyNavigation(False)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setSelectionMode(QAbstractItemView.SelectionMode.ExtendedSelection)
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setHorizontalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.verticalHeader().hide()
        header = self.horizontalHeader()
        header.setHighlightSections(False)
        header.setSectionResizeMode(QHeaderView.ResizeMode.Interactive)
        header.setSortIndicator(-1, Qt.SortOrder.AscendingOrder)
        self.setSortingEnabled(sortable)
        header.sortIndicatorChanged.connect(self.settle_columns)
        self.selectionModel().currentRowChanged.connect(self._on_row)
        let_copy(self)
        self._fit_rows()
        if wrapped is not None:
            self.verticalHeader().setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)

    def show_rows(self, rows: Sequence[Any], columns: Sequence[TableColumn] | None = None) -> None:
        """Show these rows; column widths follow only when the columns or the number of rows change."""
        fresh = columns is not None or len(rows) != len(self.rows_model.rows)
        self.rows_model.show_rows(rows, columns)
        if fresh:
            self.fit_columns()

    def kept(self) -> Kept | None:
        """What is shown, to be shown again; None while the columns are still being measured."""
        model = self.rows_model
        if self._unfitted or self._fitted < len(model.rows):
            return None
        widths = self._roomy if self._lies_as_fitted() else self._widths()
        return Kept(model.rows, model.columns, model.texts, widths, self._tight)

    def _widths(self) -> tuple[int, ...]:
        return tuple(self.columnWidth(column) for column in range(len(self.rows_model.columns)))

    def _lies_as_fitted(self) -> bool:
        """Whether the columns have their fitted widths, none that a person drew."""
        widths = self._widths()
        hidden = self.isColumnHidden
        return len(widths) == len(self._laid) and all(
            wide == laid or hidden(n) for n, (wide, laid) in enumerate(zip(widths, self._laid, strict=True))
        )

    def show_kept(self, kept: Kept) -> None:
        """Show rows again as they were, without measuring anything."""
        self._bring_drawings_back()
        self.rows_model.show_kept(kept)
        for column, width in enumerate(kept.widths):
            self.setColumnWidth(column, width)
        self._fitting.stop()
        self._unfitted, self._fitted = False, len(kept.rows)
        self._roomy = self._laid = self._widths()
        self._tight = kept.tight
        self.settle_columns()

    def _bring_drawings_back(self) -> None:
        """Drawings that were left out are in their places again: a hidden column takes no width."""
        for column in self.left_out:
            self.setColumnHidden(column, False)
        self.left_out = set()

    def share_width(self) -> None:
        """Columns share the width instead of needing a scroll bar; no sorting by header."""
        self._shared = True
        self.setSortingEnabled(False)
        self.horizontalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Stretch)

    def ask_width(self) -> None:
        """A pane is no narrower than every column needs: it rather lies above others than moves sideways."""
        self._asks = True

    def _measured(self) -> bool:
        """Whether the table asks for the room of its columns."""
        return self._shared or self._asks or self._wrapped is not None

    def minimumSizeHint(self) -> QSize:
        """Head and two rows; wide enough for every column where the table asks for it, or one takes what is left."""
        least = super().minimumSizeHint()
        bar, rows = self.horizontalScrollBar().sizeHint().height(), self.verticalHeader().defaultSectionSize()
        least.setHeight(max(least.height(), self.horizontalHeader().sizeHint().height() + 2 * rows + bar))
        if not self._measured():
            return least
        if not self._needed:
            header, em, count = self._head, self.fontMetrics().height(), self.rows_model.columnCount()
            head_wide = header.bare_width if self._asks else header.sectionSizeHint
            heads = {n: head_wide(n) for n in range(count)}
            cells = {n: self.sizeHintForColumn(n) for n in range(count) if n != self._wrapped}
            wide = sum(max(head, cells.get(n, 0)) for n, head in heads.items())
            wide += header.arrow_room() + self.verticalScrollBar().sizeHint().width() if self._asks else 2 * em
            self._needed = min(wide, _WRAPPED_EMS * em) if self._wrapped is not None else wide
        return QSize(max(self._needed, least.width()), least.height())

    def fit_columns(self) -> None:
        """Make each column as wide as it needs, once the table is seen."""
        if self._measured():
            self._needed = 0
            self.updateGeometry()
        if self._shared:
            return
        self._unfitted = not self.isVisible()
        if self._unfitted:
            return
        if self._wrapped is not None and self.rows_model.columnCount() > self._wrapped:
            header = self.horizontalHeader()
            header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
            header.setSectionResizeMode(self._wrapped, QHeaderView.ResizeMode.Stretch)
            return
        header, room = self._head, self.fontMetrics().height() // 2
        self._bring_drawings_back()
        for column in range(self.rows_model.columnCount()):
            self.setColumnWidth(column, header.sectionSizeHint(column) + room)
        self._tight = tuple(map(header.bare_width, range(self.rows_model.columnCount())))
        self._fitted, self._roomy = 0, ()
        self._fit_piece()

    def _fit_piece(self) -> None:
        """Make the columns as wide as the next rows need, and leave those after them to the next turn."""
        rows = range(self._fitted, min(self._fitted + AT_ONCE, len(self.rows_model.rows)))
        room, font = self.fontMetrics().height() // 2, self.font()
        tight = list(self._tight)
        for column in range(self.rows_model.columnCount()):
            longest = self.rows_model.longest(column, rows)
            wide = max((self._width(row, column, font) for row in longest), default=0)
            tight[column] = max(tight[column], wide)
            if wide + room > self.columnWidth(column):
                self.setColumnWidth(column, wide + room)
        self._fitted, self._tight = rows.stop, tuple(tight)
        self._roomy = self._laid = self._widths()
        if self._fitted < len(self.rows_model.rows):
            self._fitting.start()
        else:
            self.settle_columns()

    def give_width(self, column: int, wide: int) -> None:
        """Make a column that is drawn as wide as its drawing wants."""
        self.setColumnWidth(column, wide)
        if self._roomy:
            self._roomy = (*self._roomy[:column], wide, *self._roomy[column + 1 :])
            self._tight = (*self._tight[:column], wide, *self._tight[column + 1 :])
            self._laid = self._widths()

    def settle_columns(self) -> None:
        """Columns do with less where that brings all of them into view.

        First goes the room beside words and for arrows, then words of columns that may be cut, the last column first,
        then drawings, which say nothing that no figure says. What a person drew wider or narrower stays.
        """
        if not self._roomy or self._fitted < len(self.rows_model.rows) or not self._lies_as_fitted():
            return
        seen = [n for n in range(len(self._roomy)) if n in self.left_out or not self.isColumnHidden(n)]
        drawn = {n for n in seen if self.rows_model.columns[n].drawn}
        found = self._narrowed(seen)
        if found is None and drawn and (found := self._narrowed([n for n in seen if n not in drawn])) is not None:
            self.left_out = drawn
        else:
            self.left_out = set()
        if found is None:
            found = {column: self._tightest(column) for column in seen}
        for column in drawn:
            self.setColumnHidden(column, column in self.left_out)
        for column, wide in found.items():
            self.setColumnWidth(column, wide)
        self._laid = self._widths()

    def _narrowed(self, seen: Sequence[int]) -> dict[int, int] | None:
        """Widths with which these columns are all in view; None where there are none."""
        found = {column: self._roomy[column] for column in seen}
        whole = self.viewport().width()
        beyond = sum(found.values()) - whole
        if beyond <= 0:
            return found
        spare = {column: max(0, wide - self._tightest(column)) for column, wide in found.items()}
        share = min(1.0, beyond / max(1, sum(spare.values())))
        for column, room in spare.items():
            found[column] -= ceil(share * room)
        for column in reversed(seen):
            beyond = sum(found.values()) - whole
            if beyond > 0 and (least := self.rows_model.columns[column].least):
                kept = max(self._head.bare_width(column), round(least * self.fontMetrics().height()))
                found[column] -= max(0, min(beyond, found[column] - kept))
        return found if sum(found.values()) <= whole else None

    def _tightest(self, column: int) -> int:
        """Width that the words of a column need, with an arrow in its head where the table is sorted by it."""
        sorted_by = self._head.isSortIndicatorShown() and self._head.sortIndicatorSection() == column
        return max(self._tight[column], self._head.sectionSizeHint(column) if sorted_by else 0)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Another width may have room for all columns."""
        super().resizeEvent(event)
        self.settle_columns()

    def _width(self, row: int, column: int, font: QFont) -> int:
        """Width of a cell as Qt measures it, which is asked only about what is more than a line of words."""
        model = self.rows_model
        of, text = model.columns[column], model.said(row, column)
        shown = self.proxy.mapFromSource(model.index(row, column))
        if not shown.isValid() or is_shaped(of, model.rows[row]) or "\n" in text:
            return self.sizeHintForIndex(shown).width()
        return ceil(_advance(text, font)) + 2 * BESIDE

    def showEvent(self, event: QShowEvent) -> None:
        """Columns that came while nobody saw them are measured now."""
        super().showEvent(event)
        if self._unfitted:
            self.fit_columns()

    def paintEvent(self, event: QPaintEvent) -> None:
        """The rows, as wide as the table is, or what to do while there are none.

        Cells of mere words are written in one go: drawn one by one they take several times as long.
        """
        region, seen = event.region(), event.rect()
        others = QRegion(seen) if self.wordWrap() else QRegion()
        with painting(self.viewport(), smooth=False) as painter:
            painter.setClipRegion(region)
            chosen = {index.row() for index in self.selectionModel().selectedRows()}
            self._lay_grounds(painter, seen, chosen)
            if not self.wordWrap():
                for cell in self._write_plain(painter, seen, chosen):
                    others += cell
        if not others.isEmpty():
            super().paintEvent(QPaintEvent(others & region))
        if self.empty_text and not self.proxy.rowCount():
            room = round(0.8 * self.fontMetrics().height())
            box = self.viewport().rect().adjusted(room, room, -room, -room)
            with painting(self.viewport()) as painter:
                write(painter, box, Qt.AlignmentFlag.AlignTop | Qt.TextFlag.TextWordWrap, say(self.empty_text), "quiet")

    def _lay_grounds(self, painter: QPainter, seen: QRect, chosen: set[int]) -> None:
        """The grounds of rows that are chosen, or every other, on to the right of the last column."""
        theme = current_theme()
        for row, y, high in rows_seen(self, seen):
            if row in chosen or row % 2:
                ground = QRect(seen.left(), y, seen.width(), high)
                painter.fillRect(ground, theme.colour("chosen" if row in chosen else "stripe"))

    def _write_plain(self, painter: QPainter, seen: QRect, chosen: set[int]) -> Iterator[QRect]:
        """Write the cells of mere words in a place; gives those that are more."""
        model, metrics, theme = self.rows_model, self.fontMetrics(), current_theme()
        figure = max(map(metrics.horizontalAdvance, "0−"))
        front = self.currentIndex() if self.hasFocus() else QModelIndex()
        source_of = self.proxy.mapToSource
        rows = [(n, source_of(self.proxy.index(n, 0)).row(), y, high) for n, y, high in rows_seen(self, seen)]
        for number, x, wide in columns_seen(self, seen):
            column = model.columns[number]
            for at, source, y, high in rows:
                row, box = model.rows[source], QRect(x, y, wide, high)
                if is_shaped(column, row) or (front.row(), front.column()) == (at, number):
                    yield box
                    continue
                words, text = words_in(box, metrics.height()), model.said(source, number)
                if not (column.number and len(text) * figure <= words.width()):
                    text = metrics.elidedText(text, Qt.TextElideMode.ElideRight, words.width())
                painter.setPen(
                    theme.colour("text" if at in chosen else (column.colour and column.colour(row)) or "text")
                )
                painter.drawText(words, _alignment(column), text)

    def focusInEvent(self, event: QFocusEvent) -> None:
        """The focus alone chooses nothing: Qt puts the first row in front where none is."""
        with QSignalBlocker(self.selectionModel()):
            super().focusInEvent(event)
        self.viewport().update()

    def changeEvent(self, event: QEvent) -> None:
        """Rows follow the text size."""
        super().changeEvent(event)
        if event.type() in {QEvent.Type.FontChange, QEvent.Type.ApplicationFontChange}:
            self._fit_rows()
            self.fit_columns()

    def row_of(self, index: Index) -> Any:
        """The row behind an index of the view."""
        return self.rows_model.rows[self.proxy.mapToSource(index).row()]

    def select_where(self, wanted: Callable[[Any], bool], *, seen: bool = False) -> None:
        """Select the first row that is wanted, where it can be `seen`, without telling anyone."""
        model = self.rows_model
        found = (model.index(number, 0) for number, row in enumerate(model.rows) if wanted(row))
        shown = [index for index in map(self.proxy.mapFromSource, found) if index.isValid()]
        if not shown:
            self.clearSelection()
            return
        first = min(shown, key=lambda index: index.row())
        if self.currentIndex().row() != first.row():
            with QSignalBlocker(self.selectionModel()):
                self.setCurrentIndex(first)
            self.viewport().update()
        if seen:
            self.scrollTo(first)  # which by itself goes by the news that nobody is told

    def choose_first(self) -> None:
        """Choose the first row there is, as a click on it does."""
        if self.proxy.rowCount():
            self.setCurrentIndex(QModelIndex())
            self.setCurrentIndex(self.proxy.index(0, 0))

    def _on_row(self, index: QModelIndex) -> None:
        if index.isValid():
            self.chosen.emit(self.row_of(index))

    def _fit_rows(self) -> None:
        self.verticalHeader().setDefaultSectionSize(round(1.55 * self.fontMetrics().height()))
