"""Column assignment: what each column of a file holds and in which unit, with what reading it so would give.

Everything chosen makes another draft, which is read away from the window; the answer to the newest one is shown.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING

from PySide6.QtCore import QPoint, QSignalBlocker, Qt, Signal
from PySide6.QtWidgets import (
    QComboBox,
    QHeaderView,
    QLabel,
    QListWidget,
    QMenu,
    QPlainTextEdit,
    QPushButton,
    QSpinBox,
    QTableWidget,
    QTableWidgetItem,
    QWidget,
)

from valvelab.files.body import Where
from valvelab.files.kinds import reader_of
from valvelab.window.chips import Heading
from valvelab.window.drawing import FigureView
from valvelab.window.layouts import above, beside
from valvelab.window.painting import LEFT, RIGHT
from valvelab.window.panes import labelled, show_number, splitter
from valvelab.window.theme import current_theme
from valvelab.workbench import bays
from valvelab.workbench.columns_draft import Draft, Looked, assigned, first_draft, moved

if TYPE_CHECKING:
    from valvelab.files.table import Preview, Table
    from valvelab.workbench.document import BenchFile

_IGNORE = "not used"
_ROWS = 14
_ABOVE = 6
_CHOOSERS = 2
_LAST_ROW = 5_000_000


class _Sentence(QLabel):
    """A text in lines. A page whose height follows its width would get its usual height, not the room that is there."""

    def hasHeightForWidth(self) -> bool:
        """Never."""
        return False


class ColumnsPane(QWidget):
    """`assigned(path, kind, columns)` when the assignment is taken, `given_up(path)` when the file is left out.

    `wanted(draft)` asks for a look at a draft, whose answer is given to `take_up`.
    """

    wanted = Signal(object)
    assigned = Signal(str, str, str)
    given_up = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("columns pane")
        self._file: BenchFile | None = None
        self._draft: Draft | None = None
        self._asked: Draft | None = None
        self._looked: Looked | None = None
        self._filled: tuple[object, ...] = ()
        self._filling = False
        self._chosen: set[int] = set()
        """Columns whose unit a person chose: no guess changes it."""
        self._head = Heading("", 1.3, self)
        self._make_choosers()
        self._make_table()
        self._make_answers()
        self._lay_out()

    def _make_choosers(self) -> None:
        self.kind = QComboBox(self, placeholderText="choose…")
        self.kind.setAccessibleName("What the file is")
        for reader in bays.kinds():
            if reader.columns is not None:
                self.kind.addItem(reader.label, reader.name)
        self.kind.currentIndexChanged.connect(self._on_kind)
        self.sheet = QComboBox(self)
        self.sheet.setAccessibleName("Sheet of the workbook")
        self.sheet.currentIndexChanged.connect(lambda at: self._move(Where(at + 1)))
        self.header_row = QSpinBox(self, minimum=0, maximum=_LAST_ROW)
        self.header_row.setSpecialValueText("none")
        self.header_row.setAccessibleName("Row that holds the names of the columns")
        self.header_row.valueChanged.connect(self._on_header_row)
        self.first_row = QSpinBox(self, minimum=1, maximum=_LAST_ROW)
        for row in (self.header_row, self.first_row):
            row.setKeyboardTracking(False)
        self.first_row.setAccessibleName("Row at which the readings begin")
        self.first_row.valueChanged.connect(self._on_first_row)
        self.all_lifts = QComboBox(self, placeholderText="several")
        self.all_lifts.setAccessibleName("Unit of all lift columns")
        self.all_lifts.currentTextChanged.connect(self._on_all_lifts)

    def _make_table(self) -> None:
        self.table = QTableWidget(self)
        self.table.setAccessibleName("First rows of the file")
        self.table.setFrameShape(QTableWidget.Shape.NoFrame)
        self.table.setShowGrid(False)
        rows = self.table.verticalHeader()
        rows.setSectionsClickable(True)
        rows.setToolTip("Click on a row's number to say what stands there")
        rows.sectionClicked.connect(self._on_row)
        self.fields: list[QComboBox] = []
        self.units: list[QComboBox] = []
        self._numbers: list[int] = []

    def _make_answers(self) -> None:
        self.view = FigureView("Readings as they would be read", self)
        self.words = _Sentence(self, wordWrap=True)
        self.words.setAccessibleName("What would be read")
        self.words.setAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop)
        self.reasons = QPlainTextEdit(self, readOnly=True)
        self.reasons.setAccessibleName("Why these units")
        self.reasons.setFrameShape(QPlainTextEdit.Shape.NoFrame)
        self.reasons.viewport().setAutoFillBackground(False)
        self.reasons.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.reasons.document().setDocumentMargin(0.0)
        self.left_out_head = QLabel(self)
        self.left_out = QListWidget(self)
        self.left_out.setAccessibleName("Rows left out")
        self.left_out.setFrameShape(QListWidget.Shape.NoFrame)
        for box in (self.reasons, self.left_out, self.table):
            box.setMinimumHeight(round(3.2 * self.fontMetrics().height()))
        self.take = QPushButton("Use these columns", self, default=True)
        self.take.clicked.connect(self._on_take)
        self._leave = QPushButton("Leave this file out", self)
        self._leave.clicked.connect(lambda: self.given_up.emit("" if self._file is None else self._file.path))
        self.later = QPushButton("Later", self)
        self.later.setToolTip("Go on with the rest; the file stays on the bench as it is")
        self.hint = _Sentence(self, wordWrap=True)
        self.hint.setAccessibleName("What is missing")
        self.hint.setMinimumHeight(2 * self.fontMetrics().lineSpacing())

    def _lay_out(self) -> None:
        self._sheets = labelled(self, "Sheet", self.sheet)
        self._lifts = labelled(self, "Lifts in", self.all_lifts)
        choosers = beside(
            labelled(self, "This file is a", self.kind),
            self._sheets,
            labelled(self, "Names in row", self.header_row),
            labelled(self, "Readings from row", self.first_row),
            self._lifts,
            1,
            spacing=14,
        )
        told, listed = QWidget(self), QWidget(self)
        above((self.table, 3), self.left_out_head, (self.left_out, 1), on=listed, spacing=6)
        above(self.words, (self.view, 3), (self.reasons, 1), on=told, spacing=6)
        halves = splitter(self, Qt.Orientation.Horizontal, (listed, 5), (told, 4))
        halves.setChildrenCollapsible(False)
        buttons = beside((self.hint, 1), self.later, self._leave, self.take)
        above(
            self._head,
            choosers,
            (halves, 1),
            buttons,
            on=self,
            margins=(18, 10, 18, 10),
            spacing=8,
        )

    # -- what is shown ------------------------------------------------------------------------------------------------

    @property
    def path(self) -> str:
        """Path of the file asked about; "" while there is none."""
        return "" if self._file is None else self._file.path

    def show_file(self, file: BenchFile, kind: str) -> None:
        """Open the pane for a file that is most likely of that kind ("" for none); what is being chosen stays."""
        self._head.setText(f"What do the columns of {file.name} hold?")
        if self._file == file:
            self._show_answers()
            return
        self.put_away()
        self._file = file
        self._want(first_draft(file, kind))

    def put_away(self) -> None:
        """Forget the file asked about."""
        self._file = self._draft = self._asked = self._looked = None
        self._filled, self._chosen = (), set()

    def assignment(self) -> str:
        """The assignment as it is typed after `--columns`."""
        return "" if self._draft is None else self._draft.columns.text()

    def take_up(self, looked: Looked) -> None:
        """Show what a draft gave, if it is the newest; else ask for that."""
        if looked.draft != self._asked:
            return
        self._asked = None
        if self._draft is not None and looked.draft != self._draft:
            self._ask(self._draft)
            return
        if looked.preview is None and self._looked is not None:
            # what was shown before stays in view, so that another place can be chosen
            looked = replace(self._looked, draft=looked.draft, drawn=None, failure=looked.failure, table=None)
            self._looked = looked
        else:
            self._looked = looked
            self._fill(looked)
        self._show_answers()

    def _want(self, draft: Draft) -> None:
        if draft == self._draft:
            return
        self._draft = draft
        if self._asked is None:
            self._ask(draft)
        self._check()

    def _ask(self, draft: Draft) -> None:
        self._asked = draft
        self.wanted.emit(draft)

    def _fill(self, looked: Looked) -> None:
        """Bring the choosers to what was found, where that is another table or another kind of file."""
        preview, draft = looked.preview, looked.draft
        if preview is None:
            return
        form = (looked.table, draft.kind)
        if len(form) != len(self._filled) or any(a is not b for a, b in zip(form, self._filled, strict=True)):
            self._filled = form
            self._show_place(draft, preview)
            self._fill_table(looked, preview)
        self._take_guesses()
        self._want(self._drafted())

    def _show_place(self, draft: Draft, preview: Preview) -> None:
        with self._quietly(self.kind, self.sheet):
            self.kind.setCurrentIndex(self.kind.findData(draft.kind))
            if [self.sheet.itemText(at) for at in range(self.sheet.count())] != list(preview.sheets):
                self.sheet.clear()
                self.sheet.addItems(list(preview.sheets))
            self.sheet.setCurrentIndex(preview.sheet - 1)
        self._sheets.setVisible(len(preview.sheets) > 1)
        show_number(self.header_row, preview.header_row or 0)
        show_number(self.first_row, preview.numbers[0] if preview.numbers else 1)

    def _fill_table(self, looked: Looked, preview: Preview) -> None:
        width = len(preview.rows[0]) if preview.rows else len(preview.headers)
        over = preview.above[-_ABOVE:]
        named = preview.header_row is not None
        self.table.clear()
        self.table.clearSpans()
        self.table.setColumnCount(width)
        rows = preview.rows[:_ROWS]
        self.table.setRowCount(_CHOOSERS + len(over) + named + len(rows))
        self.table.setHorizontalHeaderLabels([str(column) for column in range(width)])
        self._numbers = [row.row for row in over] + [preview.header_row or 0] * named + list(preview.numbers[:_ROWS])
        self.table.setVerticalHeaderLabels(["holds", "unit", *map(str, self._numbers)])
        self._add_choosers(looked, width)
        at = _CHOOSERS
        for row in over:
            self._write(at, 0, row.text, heading=False, quiet=True)
            self.table.setSpan(at, 0, 1, width)
            at += 1
        for cells, heading in ((preview.headers, True),) * named + tuple((cells, False) for cells in rows):
            for column, text in enumerate(cells[:width]):
                self._write(at, column, text, heading=heading)
            at += 1
        self._fit()

    def _write(self, row: int, column: int, text: str, *, heading: bool, quiet: bool = False) -> None:
        cell = QTableWidgetItem(text)
        cell.setFlags(Qt.ItemFlag.ItemIsEnabled)
        cell.setTextAlignment(LEFT if quiet else RIGHT)
        if quiet:
            cell.setForeground(current_theme().colour("quiet"))
        font = cell.font()
        font.setBold(heading)
        cell.setFont(font)
        self.table.setItem(row, column, cell)

    def _add_choosers(self, looked: Looked, width: int) -> None:
        """A chooser of what and one of the unit above each column, set to what the draft or else the guess says."""
        told = {column.index: column for column in looked.draft.columns.columns}
        self.fields, self.units, self._chosen = [], [], set()
        names = self._offered_names()
        with self._quietly():
            for column in range(width):
                field, unit = QComboBox(self.table, editable=True), QComboBox(self.table, editable=True)
                field.setAccessibleName(f"What column {column} holds")
                unit.setAccessibleName(f"Unit of column {column}")
                field.addItems(names)
                role = looked.roles[column] if column < len(looked.roles) else ""
                if told:
                    role = told[column].name if column in told else ""
                field.setCurrentText(role or _IGNORE)
                self.fields.append(field)
                self.units.append(unit)
                self._offer_units(column)
                stated = told[column].unit if column in told else None
                if stated:
                    unit.setCurrentText(stated)
                    self._chosen.add(column)
                field.currentTextChanged.connect(lambda _text, n=column: self._on_field(n))
                unit.currentTextChanged.connect(lambda _text, n=column: self._on_unit(n))
                self.table.setCellWidget(0, column, field)
                self.table.setCellWidget(1, column, unit)

    def _fit(self) -> None:
        em = self.fontMetrics().height()
        self.table.horizontalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Interactive)
        for column in range(self.table.columnCount()):
            self.table.setColumnWidth(column, 7 * em)
        for row in range(self.table.rowCount()):
            self.table.setRowHeight(row, round((1.8 if row < _CHOOSERS else 1.35) * em))
        self.table.scrollToTop()

    def _show_answers(self) -> None:
        """Draw and tell what the draft gave."""
        looked = self._looked
        if looked is None:
            return
        drawn = looked.drawn
        self.view.setVisible(drawn is not None)
        if drawn is not None:
            self.view.show_figure(drawn.figure, drawn.units)
        self.words.setText("" if drawn is None else drawn.words)
        self.words.setToolTip(self.words.text())
        self.words.setVisible(drawn is not None)
        reasons = [*(guess.reason for guess in looked.guesses), *self._unreasoned(looked)]
        self.reasons.setPlainText("\n".join([*reasons, *(f"▲ {text}" for text in looked.said)]))
        self.reasons.setVisible(bool(self.reasons.toPlainText()))
        self.left_out.clear()
        many = looked.left_out_count
        for row in looked.left_out:
            self.left_out.addItem(f"{row.place}: {row.text} ({row.why})")
        if many > len(looked.left_out):
            self.left_out.addItem(f"and {many - len(looked.left_out)} more")
        self.left_out.setVisible(bool(many))
        none = "" if drawn is None else "No row is left out."
        self.left_out_head.setText(f"▲ Left out: {many}" if many else none)
        self._check()

    def _unreasoned(self, looked: Looked) -> list[str]:
        """What is said of units that nobody stated, chose or guessed."""
        guessed = {guess.what for guess in looked.guesses}
        named = [
            f"{self.fields[column].currentText()} in {unit.currentText()}"
            for column, unit in enumerate(self.units)
            if unit.currentText()
            and self._what(column) not in guessed
            and column not in self._chosen
            and not self._stated(column)
        ]
        return [f"No unit is stated: {', '.join(named)} until you choose another."] if named else []

    def _check(self) -> None:
        """Whether the assignment can be taken, and what is missing."""
        names = self._names()
        twice = {name for name in names if names.count(name) > 1}
        looked, fields = self._looked, self._assignable()
        waiting = looked is None or looked.draft != self._draft
        failure = f"✗ {looked.failure}" if looked is not None and looked.failure and not waiting else ""
        hint = ""
        if failure and looked is not None and looked.table is None:
            hint = failure
        elif not fields and not waiting:
            hint = "Say what this file is."
        elif twice:
            hint = f"{', '.join(sorted(twice))} is chosen twice."
        elif "angle" in fields and "angle" not in names:
            hint = "One column has to be the angle."
        elif len(names) < 2 and not waiting:
            hint = "At least two columns have to be assigned."
        self.hint.setText(hint or failure)
        self.take.setEnabled(not hint and not waiting and looked is not None and looked.drawn is not None)

    # -- what is chosen -----------------------------------------------------------------------------------------------

    def _assignable(self) -> dict[str, tuple[str, ...]]:
        """What columns of the kind chosen can be assigned to, with the units of each."""
        reader = None if self._draft is None else reader_of(self._draft.kind)
        return {} if reader is None else dict(reader.columns or {})

    def _offered_names(self) -> list[str]:
        fields = self._assignable()
        lobes = [f"{cylinder}{kind}" for cylinder in range(1, 9) for kind in "IE"] if "lift" in fields else []
        return [_IGNORE, *fields, *lobes]

    def _names(self) -> list[str]:
        """What the columns are chosen to hold, those that are not used left out."""
        chosen = (field.currentText().strip() for field in self.fields)
        return [name for name in chosen if name and name != _IGNORE]

    def _what(self, column: int) -> str:
        """The name of the field that a column is assigned to; every lobe is a lift."""
        name = self.fields[column].currentText().strip()
        if not name or name == _IGNORE:
            return ""
        fields = self._assignable()
        return name if name in fields else "lift" if "lift" in fields else ""

    def _stated(self, column: int) -> str:
        """The unit that the column's header states; "" where it states none."""
        preview = None if self._looked is None else self._looked.preview
        return (preview.units[column] or "") if preview is not None and column < len(preview.units) else ""

    def _offer_units(self, column: int) -> None:
        """The units of what a column holds, its header's own first of all."""
        unit, stated = self.units[column], self._stated(column)
        offered = list(self._assignable().get(self._what(column), ()))
        with QSignalBlocker(unit):
            if [unit.itemText(at) for at in range(unit.count())] != offered:
                unit.clear()
                unit.addItems(offered)
            if offered and stated:
                unit.setCurrentText(stated)
        unit.setEnabled(bool(offered))

    def _take_guesses(self) -> None:
        """Give columns without a stated or chosen unit the one that is guessed."""
        looked = self._looked
        guessed = {guess.what: guess.unit for guess in looked.guesses} if looked is not None else {}
        for column, unit in enumerate(self.units):
            what = self._what(column)
            if what in guessed and column not in self._chosen and not self._stated(column):
                with QSignalBlocker(unit):
                    unit.setCurrentText(guessed[what])
        self._show_all_lifts()

    def _show_all_lifts(self) -> None:
        """The one unit that every lift column has; none where they differ."""
        lifts = [unit for column, unit in enumerate(self.units) if self._what(column) == "lift"]
        told = {unit.currentText() for unit in lifts}
        self._lifts.setVisible(len(lifts) > 1)
        with QSignalBlocker(self.all_lifts):
            if not self.all_lifts.count():
                self.all_lifts.addItems(list(self._assignable().get("lift", ())))
            self.all_lifts.setCurrentIndex(self.all_lifts.findText(told.pop()) if len(told) == 1 else -1)

    def _drafted(self) -> Draft:
        """The draft that the choosers say."""
        assert self._draft is not None
        roles = {
            column: (field.currentText().strip(), unit.currentText().strip())
            for column, (field, unit) in enumerate(zip(self.fields, self.units, strict=True))
            if self._what(column)
        }
        where = self._draft.columns.where
        return replace(self._draft, columns=assigned(roles, where), table=self._table_at(where))

    def _table_at(self, where: Where) -> Table | None:
        """The table as it was read already, if it was from that place in the file."""
        looked = self._looked
        return looked.table if looked is not None and looked.draft.columns.where == where else None

    def _on_field(self, column: int) -> None:
        if self._filling:
            return
        self._chosen.discard(column)
        self._offer_units(column)
        self._redraft()

    def _on_unit(self, column: int) -> None:
        if not self._filling:
            self._chosen.add(column)
            self._redraft()

    def _on_all_lifts(self, unit: str) -> None:
        if self._filling or not unit:
            return
        for column, chooser in enumerate(self.units):
            if self._what(column) == "lift":
                self._chosen.add(column)
                with QSignalBlocker(chooser):
                    chooser.setCurrentText(unit)
        self._redraft()

    def _redraft(self) -> None:
        names = self._names()
        if len(set(names)) == len(names):
            self._take_guesses()
            self._want(self._drafted())
        self._check()

    def _on_kind(self) -> None:
        kind = self.kind.currentData()
        if not self._filling and self._draft is not None and kind is not None:
            where = self._draft.columns.where
            self.all_lifts.clear()
            self._want(replace(moved(self._draft, where), kind=str(kind), table=self._table_at(where)))

    def _move(self, where: Where) -> None:
        if not self._filling and self._draft is not None:
            self._want(moved(self._draft, where))

    def _sheet_told(self) -> int | None:
        """The sheet, where the file has several."""
        return self.sheet.currentIndex() + 1 if self.sheet.count() > 1 else None

    def _on_header_row(self, row: int) -> None:
        if row:
            self._move(Where(self._sheet_told(), row))
        else:
            self._move(Where(self._sheet_told(), None, self.first_row.value()))

    def _on_first_row(self, row: int) -> None:
        header = self.header_row.value()
        self._move(Where(self._sheet_told(), header if 0 < header < row else None, row))

    def _on_row(self, section: int) -> None:
        if section >= _CHOOSERS:
            header = self.table.verticalHeader()
            at = QPoint(header.width(), header.sectionViewportPosition(section) + header.sectionSize(section))
            self.menu_of_row(self._numbers[section - _CHOOSERS]).popup(header.viewport().mapToGlobal(at))

    def menu_of_row(self, number: int) -> QMenu:
        """What can be said of a row of the file."""
        menu = QMenu(self)
        menu.addAction(f"Row {number} holds the names", lambda: self.header_row.setValue(number))
        menu.addAction(f"Readings begin at row {number}", lambda: self.first_row.setValue(number))
        return menu

    @contextmanager
    def _quietly(self, *widgets: QWidget) -> Iterator[None]:
        """Fill choosers without taking it for a person's choice."""
        before, self._filling = self._filling, True
        blockers = [QSignalBlocker(widget) for widget in widgets]
        yield
        for blocker in blockers:
            blocker.unblock()
        self._filling = before

    def _on_take(self) -> None:
        if self._draft is not None:
            self.assigned.emit(self.path, self._draft.kind, self.assignment())
