"""The first rows of a table that is being assigned, and above each column what it holds and in which unit."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager

from PySide6.QtCore import QEvent, QPoint, QSignalBlocker, QSize, Qt, Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QComboBox, QHeaderView, QMenu, QTableWidget, QTableWidgetItem, QWidget

from valvelab.files.guesses import UnitGuess
from valvelab.files.kinds import reader_of
from valvelab.files.table import Preview
from valvelab.files.workbook import column_letters
from valvelab.language import marked, say
from valvelab.window.painting import LEFT, RIGHT
from valvelab.window.table_menu import let_copy
from valvelab.window.theme import current_theme
from valvelab.workbench.columns_draft import Looked

_IGNORE = marked("not used")
_ROWS = 14
_ABOVE = 6
_CHOOSERS = 2
_WIDE_EMS, _NARROW_EMS = 7.0, 4.8
"""Widths of a column: the usual one, and the least, to which all are made where that brings them into view."""
_ASKED_EMS = 16.0
"""Width that columns ask for at most: where it isn't there, the table lies above what would be read."""


class ColumnsTable(QTableWidget):
    """`changed` when a person chose what a column holds or its unit; the rows that a person points out by number."""

    changed = Signal()
    names_stand_at = Signal(int)
    readings_begin_at = Signal(int)

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.setAccessibleName(say("First rows of the file"))
        self.setFrameShape(QTableWidget.Shape.NoFrame)
        self.setShowGrid(False)
        let_copy(self)
        rows = self.verticalHeader()
        rows.setSectionsClickable(True)
        rows.setToolTip(say("Click on a row's number to say what stands there"))
        rows.sectionClicked.connect(self._on_row)
        self.fields: list[QComboBox] = []
        self.units: list[QComboBox] = []
        self._offered: Mapping[str, tuple[str, ...]] = {}
        self._stated: list[str] = []
        self._chosen: set[int] = set()
        """Columns whose unit a person chose: no guess changes it."""
        self._filling = False
        self._numbers: list[int] = []

    # -- what is shown ------------------------------------------------------------------------------------------------

    def fill(self, looked: Looked, preview: Preview) -> None:
        """Show the first rows of what was found, and choosers set to what its draft says, else to what is guessed."""
        reader = reader_of(looked.draft.kind)
        self._offered = {} if reader is None else reader.columns or {}
        width = len(preview.rows[0]) if preview.rows else len(preview.headers)
        self._stated = [unit or "" for unit in (*preview.units, *[None] * width)][:width]
        over, rows = preview.above[-_ABOVE:], preview.rows[:_ROWS]
        named = preview.header_row is not None
        self._numbers = [row.row for row in over] + [preview.header_row or 0] * named + list(preview.numbers[:_ROWS])
        self.clear()
        self.clearSpans()
        self.setColumnCount(width)
        self.setRowCount(_CHOOSERS + len(self._numbers))
        self.setHorizontalHeaderLabels([column_letters(column) for column in range(width)])
        self.setVerticalHeaderLabels([say("holds"), say("unit"), *map(str, self._numbers)])
        self._add_choosers(looked, width)
        for at, row in enumerate(over, start=_CHOOSERS):
            self._write(at, [row.text], quiet=True)
            self.setSpan(at, 0, 1, width)
        if named:
            self._write(_CHOOSERS + len(over), preview.headers[:width], bold=True)
        for at, cells in enumerate(rows, start=_CHOOSERS + len(over) + named):
            self._write(at, cells)
        self._fit()

    def _write(self, row: int, cells: Sequence[str], *, bold: bool = False, quiet: bool = False) -> None:
        for column, text in enumerate(cells):
            cell = QTableWidgetItem(text)
            cell.setFlags(Qt.ItemFlag.ItemIsEnabled)
            cell.setTextAlignment(LEFT if quiet else RIGHT)
            if quiet:
                cell.setForeground(current_theme().colour("quiet"))
            font = cell.font()
            font.setBold(bold)
            cell.setFont(font)
            self.setItem(row, column, cell)

    def _add_choosers(self, looked: Looked, width: int) -> None:
        told = {column.index: column for column in looked.draft.columns.columns}
        lobes = [f"{cylinder}{kind}" for cylinder in range(1, 9) for kind in "IE"] if "lift" in self._offered else []
        self.fields, self.units, self._chosen = [], [], set()
        with self._quietly():
            for column in range(width):
                field, unit = QComboBox(self, editable=True), QComboBox(self, editable=True)
                field.setAccessibleName(say("What column {column} holds").format(column=column_letters(column)))
                unit.setAccessibleName(say("Unit of column {column}").format(column=column_letters(column)))
                field.addItems([say(_IGNORE), *self._offered, *lobes])
                role = looked.roles[column] if column < len(looked.roles) else ""
                if told:
                    role = told[column].name if column in told else ""
                field.setCurrentText(role or say(_IGNORE))
                self.fields.append(field)
                self.units.append(unit)
                self._offer_units(column)
                if column in told and (stated := told[column].unit):
                    unit.setCurrentText(stated)
                    self._chosen.add(column)
                field.currentTextChanged.connect(lambda _text, n=column: self._on_field(n))
                unit.currentTextChanged.connect(lambda _text, n=column: self._on_unit(n))
                self.setCellWidget(0, column, field)
                self.setCellWidget(1, column, unit)

    def changeEvent(self, event: QEvent) -> None:
        """Rows and columns follow the text size."""
        super().changeEvent(event)
        if event.type() in {QEvent.Type.FontChange, QEvent.Type.ApplicationFontChange}:
            self._fit()

    def _fit(self) -> None:
        em = self.fontMetrics().height()
        self.horizontalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Interactive)
        self.updateGeometry()
        self._share_width()
        for row in range(self.rowCount()):
            self.setRowHeight(row, round((1.8 if row < _CHOOSERS else 1.35) * em))
        self.scrollToTop()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Another width may have room for all columns; what a person drew stays."""
        super().resizeEvent(event)
        if len({self.columnWidth(column) for column in range(self.columnCount())}) == 1:
            self._share_width()

    def minimumSizeHint(self) -> QSize:
        """Room for some columns."""
        least, em = super().minimumSizeHint(), self.fontMetrics().height()
        beside = self.verticalHeader().sizeHint().width() + self.verticalScrollBar().sizeHint().width()
        wide = round(min(_NARROW_EMS * self.columnCount(), _ASKED_EMS) * em)
        return QSize(max(least.width(), beside + wide), least.height())

    def _share_width(self) -> None:
        """Columns as wide as usual, or less wide where that brings all of them into view."""
        count, em = self.columnCount(), self.fontMetrics().height()
        share, wide = self.viewport().width() // max(1, count), round(_WIDE_EMS * em)
        wide = share if round(_NARROW_EMS * em) <= share < wide else wide
        for column in range(count):
            self.setColumnWidth(column, wide)

    # -- what is chosen -----------------------------------------------------------------------------------------------

    def roles(self) -> dict[int, tuple[str, str]]:
        """Name and unit ("" for none) of each column that is used."""
        return {
            column: (field.currentText().strip(), unit.currentText().strip())
            for column, (field, unit) in enumerate(zip(self.fields, self.units, strict=True))
            if self._what(column)
        }

    def take_guesses(self, guesses: Sequence[UnitGuess]) -> None:
        """Give columns without a stated or chosen unit the one that is guessed."""
        guessed = {guess.what: guess.unit for guess in guesses}
        for column, unit in enumerate(self.units):
            what = self._what(column)
            if what in guessed and self._open(column):
                with QSignalBlocker(unit):
                    unit.setCurrentText(guessed[what])

    def unreasoned(self, guesses: Sequence[UnitGuess]) -> list[str]:
        """Columns with their units that nobody stated, chose or guessed: `x in mm`."""
        guessed = {guess.what for guess in guesses}
        return [
            f"{self.fields[column].currentText()} in {unit.currentText()}"
            for column, unit in enumerate(self.units)
            if unit.currentText() and self._what(column) not in guessed and self._open(column)
        ]

    def lift_units(self) -> list[str]:
        """The units of the columns that hold lifts."""
        return [unit.currentText() for column, unit in enumerate(self.units) if self._what(column) == "lift"]

    def set_lift_unit(self, unit: str) -> None:
        """Choose one unit for every column that holds lifts."""
        for column, chooser in enumerate(self.units):
            if self._what(column) == "lift":
                self._chosen.add(column)
                with QSignalBlocker(chooser):
                    chooser.setCurrentText(unit)
        self.changed.emit()

    def menu_of_row(self, number: int) -> QMenu:
        """What can be said of a row of the file."""
        menu = QMenu(self)
        menu.addAction(
            say("Row {number} holds the names").format(number=number), lambda: self.names_stand_at.emit(number)
        )
        menu.addAction(
            say("Readings begin at row {number}").format(number=number), lambda: self.readings_begin_at.emit(number)
        )
        return menu

    def _what(self, column: int) -> str:
        """The field that a column is assigned to, "" for none; every lobe is a lift."""
        name = self.fields[column].currentText().strip()
        if not name or name == say(_IGNORE):
            return ""
        return name if name in self._offered else "lift" if "lift" in self._offered else ""

    def _open(self, column: int) -> bool:
        """Whether neither the header nor a person says the unit of a column."""
        return column not in self._chosen and not self._stated[column]

    def _offer_units(self, column: int) -> None:
        """The units of what a column holds, its header's own first of all."""
        unit = self.units[column]
        offered = list(self._offered.get(self._what(column), ()))
        with QSignalBlocker(unit):
            if [unit.itemText(at) for at in range(unit.count())] != offered:
                unit.clear()
                unit.addItems(offered)
            if offered and self._stated[column]:
                unit.setCurrentText(self._stated[column])
        unit.setEnabled(bool(offered))

    def _on_field(self, column: int) -> None:
        if not self._filling:
            self._chosen.discard(column)
            self._offer_units(column)
            self.changed.emit()

    def _on_unit(self, column: int) -> None:
        if not self._filling:
            self._chosen.add(column)
            self.changed.emit()

    def _on_row(self, section: int) -> None:
        if section >= _CHOOSERS:
            header = self.verticalHeader()
            at = QPoint(header.width(), header.sectionViewportPosition(section) + header.sectionSize(section))
            self.menu_of_row(self._numbers[section - _CHOOSERS]).popup(header.viewport().mapToGlobal(at))

    @contextmanager
    def _quietly(self) -> Iterator[None]:
        """Fill choosers without taking it for a person's choice."""
        self._filling = True
        yield
        self._filling = False
