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
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QTableView,
    QWidget,
)

from valvelab.language import aloud, is_english, plain, say, say_cell, say_figures, say_head, say_lines, word
from valvelab.phrase import Phrase
from valvelab.tables.description import Column, Fact, Mark
from valvelab.tables.verdicts import WORDS, rank
from valvelab.units import System
from valvelab.window.heads import staying_columns
from valvelab.window.icons import icon
from valvelab.window.layouts import Panes
from valvelab.window.named_table import Index, NamedTable
from valvelab.window.narrowing import Given, Need, folded, given_width, whole_width, widest_word
from valvelab.window.painting import BESIDE, LEFT, RIGHT, columns_seen, painting, rows_seen, words_in, write
from valvelab.window.table_menu import DRAWN, PLAIN, let_copy, one_line, plain_minus
from valvelab.window.theme import current_theme, scaled

if TYPE_CHECKING:
    from valvelab.records.result import Decision

RAW = Qt.ItemDataRole.UserRole
_HEAD_WIDTH = 12
_WRAPPED_EMS = 24
"""Width that a table asks for at most of which one column wraps its words."""
SIGN_EMS = 1.9
"""Lines' heights that the sign of a verdict needs without its word."""
AT_ONCE = 60
"""Rows whose cells are measured in one go."""
_MEASURED = 8
"""Cells measured for the width of a column."""
_NEAR = 4
"""Room beside the words in a cell of a table that is narrow."""
_PROSE_EMS, _PROSE_LEAST = 10, 5.0
"""Lines' heights beyond which words of any column may be cut, and to how many."""
_PROSE_LETTERS = 16
"""Letters of which words are said whole in the tip: fewer than are ever as wide as that."""
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
    aside: how soon the column is left out where a table is narrow, the highest number first and equal ones together;
    the tip of the row's name says it then. 0 where it never is.
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
    aside: int = 0


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
        judged = any(decision(row) is not None for row in rows[:_MEASURED])
        made = replace(made, colour=decision, icon=shape, least=SIGN_EMS if judged else 0.0)
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
    heads: tuple[int, ...]
    cells: tuple[int, ...]


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
        self._folded: dict[int, str] = {}
        self._owner = parent
        self.left_out: set[int] = set()
        self.named = 1

    def show_rows(self, rows: Sequence[Any], columns: Sequence[TableColumn] | None = None) -> None:
        """Show these rows, under new columns where given."""
        same = columns is None and len(rows) == len(self.rows)
        if not same:
            self.beginResetModel()
        self.columns = tuple(columns) if columns is not None else self.columns
        self.rows = list(rows)
        self.texts, self._said = {}, {}
        self._folded = {} if columns is not None else self._folded
        if not same:
            self.endResetModel()
        elif self.rows:
            self.dataChanged.emit(self.index(0, 0), self.index(len(self.rows) - 1, len(self.columns) - 1))

    def title(self, column: int) -> str:
        """What a head says, in the window's language, in the lines that it has by itself."""
        of = self.columns[column]
        return of.said_title or say_head(of.title)

    def fold_heads(self, heads: dict[int, str]) -> bool:
        """Write heads in other lines where they are given, and as they are elsewhere; whether that changed any."""
        if heads == self._folded:
            return False
        self._folded = heads
        self.headerDataChanged.emit(Qt.Orientation.Horizontal, 0, len(self.columns) - 1)
        return True

    def show_kept(self, kept: Kept) -> None:
        """Show rows again, whose texts are known."""
        self.show_rows(kept.rows, kept.columns)
        self.texts = kept.texts

    def text(self, row: int, column: int) -> str:
        """What a cell holds, in English."""
        known = self.texts.get((row, column))
        if known is None:
            with plain():
                text = self.columns[column].text(self.rows[row])
                known = self.texts[row, column] = say(text) if isinstance(text, Phrase) else text
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
            case Qt.ItemDataRole.ToolTipRole:
                return self._tip(column, index) or None
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
        words = "" if column.drawn or column.number else self.said(index.row(), index.column())
        words = words if column.least or len(words) > _PROSE_LETTERS else ""
        parts = [tip] if tip.startswith(words) else [words, tip]
        return "\n".join(part for part in (*parts, *self._untold(index)) if part)

    def _untold(self, index: Index) -> Iterator[str]:
        """What the columns would say that are left out, at the name of a row."""
        for column in sorted(self.left_out if index.column() < self.named else ()):
            if said := self.said(index.row(), column):
                yield f"{one_line(self.title(column))}: {said}"

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """Titles, tips and their alignment."""
        if orientation != Qt.Orientation.Horizontal or section >= len(self.columns):
            return None
        column = self.columns[section]
        if role == Qt.ItemDataRole.DisplayRole:
            return self._folded.get(section) or self.title(section)
        return {
            int(Qt.ItemDataRole.ToolTipRole): self._head_tip(section),
            int(Qt.ItemDataRole.AccessibleTextRole): one_line(self.title(section)),
            int(Qt.ItemDataRole.TextAlignmentRole): _alignment(column),
            PLAIN: column.title,
            DRAWN: column.drawn,
        }.get(int(role))

    def _head_tip(self, section: int) -> str | None:
        """What a head says when pointed at: first its words, where they are cut."""
        tip = say_lines(self.columns[section].tip)
        words, shown = one_line(self.title(section)), self._folded.get(section)
        words = words if shown is not None and one_line(shown) != words else ""
        return "\n".join(part for part in (words, tip) if part) or None


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


def _is_signed(column: TableColumn) -> bool:
    """Whether its cells have a sign before their words, which says enough where the words have no room."""
    return bool(column.least and column.icon)


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
        of = self._sheet.rows_model.columns[index.column()]
        beside = self._sheet.beside
        if _is_signed(of) and not option.icon.isNull() and self._sheet.is_cut(index.column()):
            option.text = ""  # of a word with a sign before it the sign alone, before the word is cut
        if beside < BESIDE:
            option.rect = option.rect.adjusted(beside - BESIDE, 0, BESIDE - beside, 0)
        if of.whole_unit:
            name, comma, unit = option.text.rpartition(", ")
            if comma:
                option.text = f"{name}{comma}{unit.replace(' ', _HARD_SPACE).replace('/', f'/{_JOINED}')}"

    def sizeHint(self, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex) -> QSize:
        """As Qt measures it, with room between the rows where words are wrapped."""
        found = super().sizeHint(option, index)
        room = self._sheet.fontMetrics().height() // 2 if self._sheet.wordWrap() else 0
        return QSize(found.width(), found.height() + room)


class TableView(NamedTable):
    """A quiet table: no grid, stripes, whole rows, columns as wide as they need; `chosen(row)` when one is chosen.

    spoken: its accessible name where that is not `name`. wrapped: the column that takes the width that is left and
    wraps its words. empty: what to do while there are no rows.
    named: how many columns in front name the row; they stay in view while the others are moved sideways.
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
        named: int = 1,
    ) -> None:
        super().__init__(parent, named)
        self._wrapped = wrapped
        self._shared = self._asks = self._asks_least = self._sought = False
        self.verticalScrollBar().actionTriggered.connect(self._leave)
        self._fitting = QTimer(self, singleShot=True, interval=0)
        self._fitting.timeout.connect(self._fit_piece)
        self._fitted = self._needed = 0
        self._unfitted = False
        self._roomy, self._heads, self._cells, self._laid = (tuple[int, ...]() for _ in range(4))
        self._known_needs: tuple[object, dict[int, Need]] = (None, {})
        self.beside = BESIDE
        self.empty_text = empty
        self.setObjectName(name)
        self.setAccessibleName(say(spoken or name))
        self.rows_model = RowsModel(columns, self)
        self.rows_model.named = named
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
        self.verticalHeader().hide()
        header = self.horizontalHeader()
        header.setHighlightSections(False)
        header.setSectionResizeMode(QHeaderView.ResizeMode.Interactive)
        header.setSortIndicator(-1, Qt.SortOrder.AscendingOrder)
        self.setSortingEnabled(sortable)
        header.sortIndicatorChanged.connect(self.settle_columns)
        self._head.written_anew.connect(self.fit_columns)
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
        return Kept(model.rows, model.columns, model.texts, widths, self._heads, self._cells)

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
        self._lie_roomy()
        self.rows_model.show_kept(kept)
        for column, width in enumerate(kept.widths):
            self.setColumnWidth(column, width)
        self._fitting.stop()
        self._unfitted, self._fitted = False, len(kept.rows)
        self._roomy = self._laid = self._widths()
        self._heads, self._cells = kept.heads, kept.cells
        self.settle_columns()

    def _lie_roomy(self) -> None:
        """Columns that were left out are in their places again: a hidden one takes no width; heads are whole."""
        for column in self.left_out:
            self.setColumnHidden(column, False)
        self.rows_model.left_out = set()
        self._stand(BESIDE)
        self.rows_model.fold_heads({})

    def share_width(self) -> None:
        """Columns share the width instead of needing a scroll bar; no sorting by header."""
        self._shared = True
        self.setSortingEnabled(False)
        self.horizontalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Stretch)

    def ask_width(self, *, close: bool = False) -> None:
        """A pane is no narrower than every column needs: it rather lies above others than moves sideways.

        close: no narrower than columns need that stand as close as they can.
        """
        self._asks, self._asks_least = not close, close

    def _measured(self) -> bool:
        """Whether the table asks for the room of its columns."""
        return self._shared or self._asks or self._wrapped is not None

    def minimumSizeHint(self) -> QSize:
        """Head and two rows; wide enough for every column where the table asks for it, or one takes what is left."""
        least = super().minimumSizeHint()
        bar, rows = self.horizontalScrollBar().sizeHint().height(), self.verticalHeader().defaultSectionSize()
        least.setHeight(max(least.height(), self.horizontalHeader().sizeHint().height() + 2 * rows + bar))
        if self._asks_least:
            return QSize(max(least.width(), self._close_width()), least.height())
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

    def _close_width(self) -> int:
        """Width with which columns that stand close are in view, no more than the page is wide; 0 until it is known."""
        around = self.parentWidget()
        while around is not None and not (isinstance(around, Panes) and around.page_wide):
            around = around.parentWidget()
        if around is None or not self._is_fitted():
            return 0
        needed = whole_width(self._needs(self._seen()), 2 * (BESIDE - _NEAR))
        return min(needed + self.verticalScrollBar().sizeHint().width(), around.page_wide)

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
        self._lie_roomy()
        for column in range(self.rows_model.columnCount()):
            self.setColumnWidth(column, header.sectionSizeHint(column) + room)
        self._heads = tuple(map(header.bare_width, range(self.rows_model.columnCount())))
        self._cells = (0,) * len(self._heads)
        self._fitted, self._roomy = 0, ()
        self._fit_piece()

    def _fit_piece(self) -> None:
        """Make the columns as wide as the next rows need, and leave those after them to the next turn."""
        rows = range(self._fitted, min(self._fitted + AT_ONCE, len(self.rows_model.rows)))
        room, font = self.fontMetrics().height() // 2, self.font()
        cells = list(self._cells)
        for column in range(self.rows_model.columnCount()):
            longest = self.rows_model.longest(column, rows)
            wide = max((self._width(row, column, font) for row in longest), default=0)
            cells[column] = max(cells[column], wide)
            if wide + room > self.columnWidth(column):
                self.setColumnWidth(column, wide + room)
        self._fitted, self._cells = rows.stop, tuple(cells)
        self._roomy = self._laid = self._widths()
        if self._fitted < len(self.rows_model.rows):
            self._fitting.start()
        else:
            self.settle_columns()
            if self._asks_least:
                self.updateGeometry()

    def give_width(self, column: int, wide: int) -> None:
        """Make a column that is drawn as wide as its drawing wants."""
        self.setColumnWidth(column, wide)
        if self._roomy:
            self._roomy = (*self._roomy[:column], wide, *self._roomy[column + 1 :])
            self._cells = (*self._cells[:column], wide, *self._cells[column + 1 :])
            self._laid = self._widths()

    def settle_columns(self) -> None:
        """Columns do with less where that brings all of them into view; what a person drew wider or narrower stays."""
        if not self._is_fitted() or not self._lies_as_fitted():
            return
        seen = self._seen()
        given = Given({n: self._roomy[n] for n in seen})
        if sum(given.wides.values()) > self.viewport().width():
            given = given_width(self._needs(seen), self.viewport().width(), 2 * (BESIDE - _NEAR))
        self.rows_model.left_out = {n for n in seen if n not in given.wides}
        self._stand(_NEAR if given.close else BESIDE)
        metrics = self._head.fontMetrics()
        spared = 2 * self._head.spared
        narrow = {n: wide for n, wide in given.wides.items() if wide < self._whole_head(n) - spared}
        heads = {
            n: folded(self.rows_model.title(n), wide - self._beside_head(n) + spared, metrics, cut=given.cut)
            for n, wide in narrow.items()
        }
        for column in seen:
            if self.rows_model.columns[column].drawn or self.rows_model.columns[column].aside:
                self.setColumnHidden(column, column in self.left_out)
        for column, wide in given.wides.items():
            self.setColumnWidth(column, wide)
        self._laid = self._widths()
        if self.rows_model.fold_heads(heads):
            self.updateGeometries()

    @property
    def left_out(self) -> set[int]:
        """Numbers of the columns that have no room now."""
        return self.rows_model.left_out

    def _is_fitted(self) -> bool:
        """Whether every row was measured."""
        return bool(self._roomy) and self._fitted >= len(self.rows_model.rows)

    def _seen(self) -> list[int]:
        """Columns that are shown where they have room."""
        return [n for n in range(len(self._roomy)) if n in self.left_out or not self.isColumnHidden(n)]

    def _needs(self, seen: Sequence[int]) -> dict[int, Need]:
        """What each column needs, measured once for many widths of the table."""
        of = (tuple(seen), self._roomy, self._heads, self._cells, self._head.sortIndicatorSection())
        if self._known_needs[0] != of:
            self._known_needs = of, {n: self._need(n) for n in seen}
        return self._known_needs[1]

    def _stand(self, beside: int) -> None:
        """Words stand so far from the edges of their cells, and heads as much nearer as cells do."""
        self.beside, self._head.spared = beside, BESIDE - beside

    def _need(self, column: int) -> Need:
        """What a column needs, with an arrow in its head where the table is sorted by it."""
        of, title, metrics = self.rows_model.columns[column], self.rows_model.title(column), self._head.fontMetrics()
        around, em, cells = self._beside_head(column), self.fontMetrics().height(), self._cells[column]
        word, start = (around + widest_word(title, metrics, cut=cut) for cut in (False, True))
        prose = not (of.number or of.drawn) and cells > _PROSE_EMS * em
        least = max(self._head.minimumSectionSize(), round((of.least or _PROSE_LEAST * prose) * em))
        least = least if of.least or prose else 0
        narrowest = self._head.minimumSectionSize() + 2 * (BESIDE - _NEAR)
        head, word, start = (max(narrowest, wide) for wide in (self._whole_head(column), word, start))
        return Need(self._roomy[column], head, word, start, cells, least, of.drawn, of.aside, _is_signed(of))

    def _whole_head(self, column: int) -> int:
        """Width of a head in its own lines, with the arrow where the table is sorted by it."""
        return self._heads[column] + self._arrow(column)

    def _beside_head(self, column: int) -> int:
        """Room beside the words of a head."""
        lines = self.rows_model.title(column).split("\n")
        return self._whole_head(column) - max(map(self._head.fontMetrics().horizontalAdvance, lines))

    def _arrow(self, column: int) -> int:
        return self._head.arrow_room() if self._head.sortIndicatorSection() == column else 0

    def is_cut(self, column: int) -> bool:
        """Whether a column is narrower than its words."""
        return self.columnWidth(column) < self._cells[column] - 2 * (BESIDE - self.beside)

    def names_may_stay(self) -> bool:
        """Not over words in several lines, which are drawn otherwise."""
        return not self.wordWrap()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Another width may have room for all columns, another height for the row that was sought."""
        super().resizeEvent(event)
        self.settle_columns()
        if self._sought:
            self._seek()

    def _seek(self) -> None:
        """Bring the row that is chosen into view, from the top, as far as is needed; until a person moves on."""
        self._sought = True
        if self.viewport().height() >= self.verticalHeader().defaultSectionSize():
            self.scrollToTop()
            self.scrollTo(self.currentIndex())

    def _leave(self) -> None:
        self._sought = False

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
            chosen = self._chosen()
            self._lay_grounds(painter, seen, chosen)
            if not self.wordWrap():
                for _row, _column, cell in self._write_plain(painter, seen, chosen, columns_seen(self, seen)):
                    others += cell
        if not others.isEmpty():
            QTableView.paintEvent(self, QPaintEvent(others & region))
        self.paint_names(seen)
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

    def _chosen(self) -> set[int]:
        """Numbers of the rows that are chosen."""
        return {index.row() for index in self.selectionModel().selectedRows()}

    def lay_names(self, painter: QPainter, strip: QRect) -> Iterator[tuple[QModelIndex, QRect]]:
        """Grounds and mere words as elsewhere."""
        chosen, columns = self._chosen(), list(staying_columns(self.columnWidth, strip.width()))
        self._lay_grounds(painter, strip, chosen)
        for row, column, cell in list(self._write_plain(painter, strip, chosen, columns)):
            yield self.proxy.index(row, column), cell

    def _write_plain(
        self, painter: QPainter, seen: QRect, chosen: set[int], columns: Sequence[tuple[int, int, int]]
    ) -> Iterator[tuple[int, int, QRect]]:
        """Write the cells of mere words in a place; gives row, column and place of those that are more."""
        model, metrics, theme = self.rows_model, self.fontMetrics(), current_theme()
        figure, beside = max(map(metrics.horizontalAdvance, "0−")), self.beside
        front = self.currentIndex() if self.hasFocus() else QModelIndex()
        source_of = self.proxy.mapToSource
        rows = [(n, source_of(self.proxy.index(n, 0)).row(), y, high) for n, y, high in rows_seen(self, seen)]
        for number, x, wide in columns:
            column = model.columns[number]
            for at, source, y, high in rows:
                row, box = model.rows[source], QRect(x, y, wide, high)
                if is_shaped(column, row) or (front.row(), front.column()) == (at, number):
                    yield at, number, box
                    continue
                words, text = words_in(box, metrics.height(), beside), model.said(source, number)
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
        if seen and not self.viewport().rect().contains(self.visualRect(first)):
            self._seek()  # Qt goes by the news that nobody is told

    def choose_first(self) -> None:
        """Choose the first row there is, as a click on it does."""
        if self.proxy.rowCount():
            self.setCurrentIndex(QModelIndex())
            self.setCurrentIndex(self.proxy.index(0, 0))

    def _on_row(self, index: QModelIndex) -> None:
        self._sought = False
        if index.isValid():
            self.chosen.emit(self.row_of(index))

    def _fit_rows(self) -> None:
        self.verticalHeader().setDefaultSectionSize(round(1.55 * self.fontMetrics().height()))
