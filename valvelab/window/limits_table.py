"""A table of a spec that is typed into: what can't be taken stays in its cell, in the colour of its sentence."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from PySide6.QtCore import QAbstractTableModel, QEvent, QModelIndex, QSize, Qt, Signal
from PySide6.QtGui import QKeyEvent, QKeySequence, QResizeEvent, QShowEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QLineEdit,
    QStyleOptionViewItem,
    QTableView,
    QWidget,
)

from valvelab.inspection.characteristics import explained
from valvelab.language import aloud, marked, plain, say, say_cell, say_lines
from valvelab.tables.verdicts import SIGNS, WORDS, overall
from valvelab.units import System
from valvelab.window.icons import icon
from valvelab.window.named_table import Index
from valvelab.window.painting import CENTRE, LEFT, RIGHT
from valvelab.window.table_menu import PLAIN, let_copy
from valvelab.window.theme import current_theme
from valvelab.window.typed_table import CellKeys, CompletedLine, Offer, TypedTable
from valvelab.workbench.spec_sheet import Row, measured_text, outcome

MEASURED, VERDICT = marked("measured"), marked("verdict")
_AFTER_FIGURES = re.compile(r"\D*$")
_SHARES = (1.45, 1.55)
_MEASURED = 40
"""Rows whose cells are measured."""
_WORDS_EMS = 6
"""What a column of typed words keeps of its width, in ems, where others need the room; figures are never cut."""
_BARE_EMS = 4
"""What it keeps at the very least."""
_SIGN_EMS, _BESIDE_EMS = 1.6, 0.9
"""Room of the sign of a verdict, and beside the words of a cell."""
_MOST, _FAR, _NEAR_EMS = 0.8, 1.25, 0.5
"""A cell that is so much wider than that share of the cells of its column may be cut where there is no room,
unless it lacks less than that.
"""


@dataclass(frozen=True, slots=True)
class Field:
    """A column that is typed into: the name of its cell, its head, what it takes, whether figures stand in it.

    share: of the width.
    """

    name: str
    title: str
    tip: str
    number: bool = True
    share: float = 1.0


@dataclass(frozen=True, slots=True)
class Pending:
    """What was typed in a row and not taken: the cells, the sentence, and whether something only lacks."""

    cells: Mapping[str, str]
    sentence: str
    unfinished: bool


class SpecModel(QAbstractTableModel):
    """Rows with what was typed over them; where `grows`, an empty row below for the next.

    `typed(place, column, text)` when a cell was edited; the place of the empty row is that after the last.
    """

    typed = Signal(int, str, str)

    def __init__(self, fields: Sequence[Field], parent: QWidget, *, grows: bool) -> None:
        super().__init__(parent)
        self.fields = tuple(fields)
        self.rows: tuple[Row, ...] = ()
        self.pending: dict[int, Pending] = {}
        self.units: System = "metric"
        self._grows = grows

    def show_rows(self, rows: Sequence[Row], units: System, pending: Mapping[int, Pending]) -> None:
        """Show these rows; the cell in front stays, and the empty row becomes the one that was typed in it."""
        had, has = len(self.rows), len(rows)
        if has > had:
            self.beginInsertRows(QModelIndex(), had + self._grows, has - 1 + self._grows)
        elif has < had:
            self.beginRemoveRows(QModelIndex(), has + self._grows, had - 1 + self._grows)
        self.rows, self.units, self.pending = tuple(rows), units, dict(pending)
        if has > had:
            self.endInsertRows()
        elif has < had:
            self.endRemoveRows()
        if self.rowCount():
            self.dataChanged.emit(self.index(0, 0), self.index(self.rowCount() - 1, self.columnCount() - 1))

    def rowCount(self, parent: Index | None = None) -> int:
        """Rows, and one to go on with."""
        return 0 if parent is not None and parent.isValid() else len(self.rows) + self._grows

    def columnCount(self, parent: Index | None = None) -> int:
        """Cells that are typed, what was measured, the verdict."""
        return 0 if parent is not None and parent.isValid() else len(self.fields) + 2

    def flags(self, index: Index) -> Qt.ItemFlag:
        """What a limit says is typed; what it gives is only read."""
        flags = super().flags(index)
        return flags | Qt.ItemFlag.ItemIsEditable if index.column() < len(self.fields) else flags

    def row(self, place: int) -> Row | None:
        """The row at a place; None for the empty one."""
        return self.rows[place] if place < len(self.rows) else None

    def cell(self, place: int, name: str) -> str:
        """What stands in a cell: what was typed and not taken, else what the spec says."""
        pending, row = self.pending.get(place), self.row(place)
        if pending is not None and name in pending.cells:
            return pending.cells[name]
        return "" if row is None else row.cells[name]

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """Text, alignment, colour, sentence of a cell."""
        place, column = index.row(), index.column()
        if role == PLAIN:
            with plain():
                return self.data(index)
        if role == Qt.ItemDataRole.TextAlignmentRole:
            number = column == len(self.fields) or (column < len(self.fields) and self.fields[column].number)
            return RIGHT if number else LEFT
        if column >= len(self.fields):
            row, pending = self.row(place), self.pending.get(place)
            if pending is not None and column == len(self.fields) + 1:
                return self._untaken(pending, role)
            return None if row is None else self._given(row, column - len(self.fields), role)
        return self._typed(place, column, role)

    def _typed(self, place: int, column: int, role: int) -> Any:
        name = self.fields[column].name
        match role:
            case Qt.ItemDataRole.DisplayRole | Qt.ItemDataRole.EditRole:
                return self.cell(place, name)
            case Qt.ItemDataRole.ForegroundRole:
                return self._colour(place, name)
            case Qt.ItemDataRole.ToolTipRole:
                return self._tip(place, name)
            case Qt.ItemDataRole.AccessibleTextRole:
                return f"{self.spoken(place, column)}: {self.cell(place, name) or say('empty')}"
            case _:
                return None

    def _colour(self, place: int, name: str) -> Any:
        pending, row = self.pending.get(place), self.row(place)
        if pending is not None and name in pending.cells:
            return current_theme().colour("undecided" if pending.unfinished else "reject")
        return current_theme().colour("reject") if row is not None and row.wrong and name == "of" else None

    def _tip(self, place: int, name: str) -> str | None:
        pending, row = self.pending.get(place), self.row(place)
        if pending is not None:
            return pending.sentence
        if row is not None and row.wrong:
            return row.wrong
        if row is not None and row.characteristic is not None and name == "of":
            return say_lines(explained(row.characteristic.name, row.characteristic.unit))
        tip = say(next(field.tip for field in self.fields if field.name == name))
        return "\n".join(part for part in (self.cell(place, name), tip) if part)

    @staticmethod
    def _untaken(pending: Pending, role: int) -> Any:
        """In the place of a verdict: that the row does not count yet, and why."""
        name = "undecided" if pending.unfinished else "reject"
        match role:
            case Qt.ItemDataRole.DisplayRole:
                return say("not finished") if pending.unfinished else say("not taken")
            case Qt.ItemDataRole.ForegroundRole:
                return current_theme().colour(name)
            case Qt.ItemDataRole.DecorationRole:
                return icon(name, name)
            case Qt.ItemDataRole.ToolTipRole:
                return pending.sentence
            case _:
                return None

    def _given(self, row: Row, column: int, role: int) -> Any:
        """What a row gave: its values, and its verdicts as shape, words and colour."""
        worst = overall(row.verdicts)
        match role:
            case Qt.ItemDataRole.DisplayRole if column == 0:
                with aloud():
                    return measured_text(row, self.units)
            case Qt.ItemDataRole.DisplayRole:
                return self._verdict(row)
            case Qt.ItemDataRole.ForegroundRole if column == 1 and (worst or row.wrong):
                return current_theme().colour(worst or "reject")
            case Qt.ItemDataRole.DecorationRole if column == 1 and (worst or row.wrong):
                return icon(worst or "reject", worst or "reject")
            case Qt.ItemDataRole.ToolTipRole:
                return self._told(row) if column else self._given(row, 0, Qt.ItemDataRole.DisplayRole) or None
            case _:
                return None

    def _told(self, row: Row) -> str | None:
        """What the verdict of a row says when pointed at: what was measured, how many are what, and each of them."""
        said = [
            f"{SIGNS[one.decision]} {say_cell(one.item)}: {say(one.remark or WORDS[one.decision])}"
            for one in row.verdicts
        ]
        measured = self._given(row, 0, Qt.ItemDataRole.DisplayRole)
        given = [f"{say(MEASURED)}: {measured}"] * bool(measured)
        return row.wrong or "\n".join([*given, *[self._verdict(row)] * (len(said) > 1), *said]) or None

    @staticmethod
    def _verdict(row: Row) -> str:
        total = len(row.verdicts)
        for name, count in outcome(row.verdicts).items():
            if total == 1:
                return say(WORDS[name])
            told = say("all {total} {decided}") if count == total else say("{count} of {total} {decided}")
            return told.format(count=count, total=total, decided=say(WORDS[name]))
        return say("can't be judged") if row.wrong else ""

    def setData(self, index: Index, value: Any, _role: int = Qt.ItemDataRole.EditRole) -> bool:
        """A cell was typed; whoever listens to `typed` shows the rows that it gives."""
        name = self.fields[index.column()].name
        if str(value) != self.cell(index.row(), name):
            self.typed.emit(index.row(), name, str(value))
        return True

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """Heads and what their cells take; rows bear their numbers, the one to go on with none."""
        if orientation == Qt.Orientation.Vertical:
            return self._row_head(section, role)
        typed = self.fields[section] if section < len(self.fields) else None
        match role:
            case Qt.ItemDataRole.DisplayRole:
                return say(self._title(section))
            case Qt.ItemDataRole.ToolTipRole:
                return say(typed.tip) if typed is not None else None
            case int() if role == PLAIN:
                return self._title(section)
            case Qt.ItemDataRole.TextAlignmentRole:
                number = typed.number if typed is not None else section == len(self.fields)
                return RIGHT if number else LEFT
            case _:
                return None

    def _row_head(self, place: int, role: int) -> Any:
        match role:
            case Qt.ItemDataRole.DisplayRole:
                return str(place + 1) if place < len(self.rows) else ""
            case Qt.ItemDataRole.ToolTipRole if place < len(self.rows):
                return say("Choose the whole row; Delete takes it out")
            case Qt.ItemDataRole.AccessibleTextRole:
                return say("row {number}").format(number=place + 1)
            case Qt.ItemDataRole.TextAlignmentRole:
                return CENTRE
            case _:
                return None

    def _title(self, section: int) -> str:
        return (
            self.fields[section].title
            if section < len(self.fields)
            else (MEASURED, VERDICT)[section - len(self.fields)]
        )

    def spoken(self, place: int, column: int) -> str:
        """What a cell is, in words: `± of max_lift`."""
        of = self.cell(place, self.fields[0].name) if column else ""
        row = say("row {number}").format(number=place + 1)
        return say("{title} of {item}").format(title=say(self.fields[column].title), item=of or row)


class _Cells(CellKeys):
    """Lines with the words that a cell is completed to."""

    def __init__(self, table: SpecTable) -> None:
        super().__init__(table)
        self._spec_table = table

    def initStyleOption(self, option: QStyleOptionViewItem, index: Index) -> None:
        """Of a verdict the sign alone where there is no room for its figures."""
        super().initStyleOption(option, index)
        table = self._spec_table
        if index.column() == table.spec_model.columnCount() - 1 and not option.icon.isNull():
            metrics = option.fontMetrics
            room = table.columnWidth(index.column()) - round((_SIGN_EMS + _BESIDE_EMS) * metrics.height())
            if metrics.horizontalAdvance(_figures_of(option.text)) > room:
                option.text = ""

    def createEditor(self, parent: QWidget, _option: QStyleOptionViewItem, index: Index) -> QWidget:
        """A line with the name of its cell; its words say what they mean."""
        table, model = self._spec_table, self._spec_table.spec_model
        offers = table.offers(index.row(), model.fields[index.column()].name)
        editor = CompletedLine(parent, self, offers) if offers else QLineEdit(parent, frame=False)
        editor.setAlignment(index.data(Qt.ItemDataRole.TextAlignmentRole))
        editor.setAccessibleName(model.spoken(index.row(), index.column()))
        if isinstance(editor, CompletedLine):
            editor.list.highlighted.connect(lambda text: table.pointed.emit(editor.meaning(text)))
        return editor

    def setEditorData(self, editor: QWidget, index: Index) -> None:
        """What is being typed stays when verdicts arrive meanwhile."""
        if not (isinstance(editor, QLineEdit) and editor.isModified()):
            super().setEditorData(editor, index)


def _within(wides: Sequence[int], least: Sequence[int], room: int) -> list[int]:
    """Widths that have room together: the widest give way, none below its least."""
    low, high = 0, max(wides)
    while low < high:
        most = (low + high + 1) // 2
        total = sum(max(end, min(wide, most)) for wide, end in zip(wides, least, strict=True))
        low, high = (most, high) if total <= room else (low, most - 1)
    return [max(end, min(wide, low)) for wide, end in zip(wides, least, strict=True)]


def _figures_of(cell: str) -> str:
    """The start of what a row gave as it is seen when cut after its last figure; a word alone is said by its sign."""
    kept = _AFTER_FIGURES.sub("", cell)
    return kept if kept == cell else f"{kept}…"


class SpecTable(TypedTable):
    """The table; `entered(place, column, text)`, `pointed(sentence)` what a completion means, `placed()` a move.

    `dropped(place)`: what was typed in a row and not taken is to be forgotten. `emptied(cells)`: names of cells by
    place that are to be empty at once; `taken_out()`: the rows chosen are to go.

    `offers(place, column)` gives the texts that a cell can be completed to.
    """

    entered = Signal(int, str, str)
    pointed = Signal(str)
    placed = Signal()
    dropped = Signal(int)
    emptied = Signal(object)
    taken_out = Signal()

    def __init__(
        self,
        name: str,
        fields: Sequence[Field],
        parent: QWidget,
        offers: Callable[[int, str], Sequence[Offer]],
        *,
        grows: bool = True,
    ) -> None:
        super().__init__(parent, named=1)
        self.offers = offers
        self.setObjectName(name)
        self.setAccessibleName(name)
        self.spec_model = SpecModel(fields, self, grows=grows)
        self.spec_model.typed.connect(self.entered)
        self.setModel(self.spec_model)
        self.setItemDelegate(_Cells(self))
        self.setShowGrid(True)
        self.setFrameShape(QTableView.Shape.NoFrame)
        self.setSelectionMode(QAbstractItemView.SelectionMode.ContiguousSelection)
        self.verticalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
        self.verticalHeader().setHighlightSections(False)
        self._needs: list[tuple[int, int, int, int]] = []
        self._fit_rows()
        header = self.horizontalHeader()
        header.setHighlightSections(False)
        header.setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
        self.selectionModel().currentChanged.connect(lambda *_: self.placed.emit())
        let_copy(self)

    def show_rows(self, rows: Sequence[Row], units: System, pending: Mapping[int, Pending]) -> None:
        """Show these rows."""
        self.spec_model.show_rows(rows, units, pending)
        self._measure_anew()

    def beyond(self, on: bool) -> QModelIndex:
        """Along the cells that are typed, and from the last of a row to the next row."""
        here, wide = self.currentIndex(), len(self.spec_model.fields)
        place = here.row() * wide + min(here.column(), wide - 1 if on else wide) + (1 if on else -1)
        if not here.isValid() or not 0 <= place < self.spec_model.rowCount() * wide:
            return QModelIndex()
        return self.spec_model.index(*divmod(place, wide))

    def _chosen(self) -> dict[int, list[str]]:
        """Names of the cells chosen that are typed, by place; of the one in front where none is."""
        fields, found = self.spec_model.fields, dict[int, list[str]]()
        for index in self.selectedIndexes() or [self.currentIndex()]:
            if index.isValid() and index.column() < len(fields):
                found.setdefault(index.row(), []).append(fields[index.column()].name)
        return found

    def chosen_rows(self) -> list[int]:
        """Places of the rows that are chosen with all that is typed in them."""
        whole = len(self.spec_model.fields)
        return sorted(place for place, names in self._chosen().items() if len(names) == whole)

    def empty_chosen(self) -> None:
        """Empty the cells chosen, as if their text had been deleted; rows that are chosen as a whole go."""
        chosen = self._chosen()
        if self.chosen_rows():
            self.taken_out.emit()
        elif sum(map(len, chosen.values())) == 1:
            self.spec_model.setData(self.currentIndex(), "")
        elif chosen:
            self.emptied.emit(chosen)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Shift+Space chooses the row in front."""
        if event.key() == Qt.Key.Key_Space and event.modifiers() == Qt.KeyboardModifier.ShiftModifier:
            self.selectRow(self.currentIndex().row())
        else:
            super().keyPressEvent(event)

    def rest_on(self, place: int) -> None:
        """The cell in front is the first of a row, the last row where there is none so far down."""
        self.setCurrentIndex(self.spec_model.index(min(place, self.spec_model.rowCount() - 1), 0))

    @property
    def can_take_back(self) -> bool:
        """Whether the row in front holds what was typed and not taken."""
        return self.currentIndex().row() in self.spec_model.pending

    def take_back(self) -> bool:
        """Let what was typed and not taken go."""
        if not self.can_take_back:
            return False
        self.dropped.emit(self.currentIndex().row())
        return True

    def event(self, event: QEvent) -> bool:
        """Ctrl+Z takes back what was typed in the row before it takes back an edit of the bench."""
        if isinstance(event, QKeyEvent) and event.matches(QKeySequence.StandardKey.Undo) and self.can_take_back:
            event.accept()
            return event.type() != QEvent.Type.KeyPress or self.take_back()
        return super().event(event)

    def minimumSizeHint(self) -> QSize:
        """Head and two rows: with less room the pane around it is moved up and down."""
        least, rows = super().minimumSizeHint(), 2 * self.verticalHeader().defaultSectionSize()
        around = self.horizontalHeader().sizeHint().height() + self.horizontalScrollBar().sizeHint().height()
        return QSize(least.width(), max(least.height(), around + rows))

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Columns share the width."""
        super().resizeEvent(event)
        self._fit_columns()

    def showEvent(self, event: QShowEvent) -> None:
        """Columns are measured once they are seen."""
        super().showEvent(event)
        if not self._needs:
            self._fit_columns()

    def _measure_anew(self) -> None:
        """Forget what columns need, and fit them where they are seen."""
        self._needs = []
        if self.isVisible():
            self._fit_columns()

    def _fit_columns(self) -> None:
        """Each column as wide as its cells, and what is left by their shares.

        Without that room units and long words end in an ellipsis, those of what was measured and of verdicts last; then
        what was measured is left out, which a verdict says when pointed at; without room for figures the table moves
        sideways.
        """
        shares = [*(field.share for field in self.spec_model.fields), *_SHARES]
        self._needs = self._needs or [self._needed(column) for column in range(len(shares))]
        room, measured = self.viewport().width(), len(self.spec_model.fields)
        left_out = sum(need[-1] for need in self._needs) > room
        self.setColumnHidden(measured, left_out)
        needs = list(self._needs)
        if left_out:
            needs[measured], shares[measured] = (0, 0, 0, 0), 0.0
        whole, usual, least, bare = map(list, zip(*needs, strict=True))
        part = max(0, room - sum(whole)) / sum(shares)
        if sum(usual) <= room:
            taken = _within(whole, usual, room)
        elif sum(least) <= room:
            taken = _within(usual, least, room)
        elif sum(bare) <= room:
            taken = _within(least, bare, room)
        else:
            taken = bare
        wides = [wide + part * share for wide, share in zip(taken, shares, strict=True)]
        ends = [round(sum(wides[:number])) for number in range(len(wides) + 1)]
        for column, (start, end) in enumerate(pairwise(ends)):
            if not self.isColumnHidden(column):
                self.setColumnWidth(column, end - start)

    def _worded(self, column: int) -> bool:
        """Whether words are typed in a column."""
        return column < len(self.spec_model.fields) and not self.spec_model.fields[column].number

    def _needed(self, column: int) -> tuple[int, int, int, int]:
        """Width of the cells of a column, of many those at the top: of all, of most, the least, and the barest.

        The least shows a figure without its unit, or the start of the words; the barest less of the words, of what was
        measured its figures alone, and of a verdict the sign.
        """
        model, metrics, typed = self.spec_model, self.fontMetrics(), column < len(self.spec_model.fields)
        cells = [str(model.index(row, column).data() or "") for row in range(min(model.rowCount(), _MEASURED))]
        judged = column == len(model.fields) + 1
        side = round(_SIGN_EMS * metrics.height()) if judged else 0
        wides = sorted(metrics.horizontalAdvance(cell) for cell in [*cells, "00000"])
        far = round(_FAR * wides[round(_MOST * (len(wides) - 1))])
        most = wides[-1] if wides[-1] <= far + _NEAR_EMS * metrics.height() else far
        figures = [f"{cell.partition(' ')[0]}…" if " " in cell else cell for cell in cells]
        figure = max(map(metrics.horizontalAdvance, figures), default=0)
        least = min(most, _WORDS_EMS * metrics.height()) if self._worded(column) else figure if typed else wides[-1]
        beside, head = side + round(_BESIDE_EMS * metrics.height()), self.horizontalHeader().sectionSizeHint(column)
        given = max((metrics.horizontalAdvance(_figures_of(cell)) for cell in cells), default=0)
        words = _BARE_EMS * metrics.height()
        bare = min(least, words) if self._worded(column) else least if typed else 0 if judged else min(least, given)
        whole, usual, least, bare = (max(w + beside, head) for w in (wides[-1], max(most, least), least, bare))
        return whole, usual, least, bare

    def changeEvent(self, event: QEvent) -> None:
        """Rows follow the text size."""
        super().changeEvent(event)
        if event.type() in {QEvent.Type.FontChange, QEvent.Type.ApplicationFontChange}:
            self._fit_rows()
            self._measure_anew()

    def _fit_rows(self) -> None:
        self.verticalHeader().setDefaultSectionSize(round(1.55 * self.fontMetrics().height()))

    def type_into(self, place: int, column: int = 0) -> None:
        """Begin to type in a cell."""
        index = self.spec_model.index(place, column)
        self.setFocus(Qt.FocusReason.OtherFocusReason)
        self.setCurrentIndex(index)
        self.scrollTo(index)
        self.edit(index)
