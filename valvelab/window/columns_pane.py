"""Column assignment: what each column of a file holds and in which unit, with what reading it so would give.

Everything chosen makes another draft, which is read away from the window; the answer to the newest one is shown.
"""

from __future__ import annotations

from dataclasses import replace

from PySide6.QtCore import QSignalBlocker, Qt, Signal
from PySide6.QtWidgets import QComboBox, QLabel, QListWidget, QPlainTextEdit, QPushButton, QWidget

from valvelab.files.body import Where
from valvelab.files.kinds import reader_of
from valvelab.files.table import Preview, Table
from valvelab.language import say
from valvelab.window.chips import Heading
from valvelab.window.columns_table import ColumnsTable
from valvelab.window.drawing import FigureView
from valvelab.window.layouts import FormArea, above, beside, flowing
from valvelab.window.panes import labelled, show_number, splitter
from valvelab.window.theme import CountField
from valvelab.workbench import bays
from valvelab.workbench.columns_draft import Draft, Looked, assigned, can_be_told, first_draft, moved
from valvelab.workbench.document import BenchFile

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
        self._filled: tuple[Table | None, str] = None, ""
        self._head = Heading("", 1.3, self)
        self._make_choosers()
        self._make_answers()
        self._lay_out()

    def _make_choosers(self) -> None:
        self.kind = QComboBox(self, placeholderText=say("choose…"))
        self.kind.setAccessibleName(say("What the file is"))
        for reader in bays.kinds():
            if reader.columns is not None:
                self.kind.addItem(say(reader.label), reader.name)
        self.kind.currentIndexChanged.connect(self._on_kind)
        self.sheet = QComboBox(self)
        self.sheet.setAccessibleName(say("Sheet of the workbook"))
        self.sheet.currentIndexChanged.connect(lambda at: self._move(Where(at + 1)))
        self.header_row = CountField(self, minimum=0, maximum=_LAST_ROW)
        self.header_row.setSpecialValueText(say("none"))
        self.header_row.setAccessibleName(say("Row that holds the names of the columns"))
        self.header_row.valueChanged.connect(self._on_header_row)
        self.first_row = CountField(self, minimum=1, maximum=_LAST_ROW)
        self.first_row.setAccessibleName(say("Row at which the readings begin"))
        self.first_row.valueChanged.connect(self._on_first_row)
        for row in (self.header_row, self.first_row):
            row.setKeyboardTracking(False)
        self.all_lifts = QComboBox(self, placeholderText=say("several"))
        self.all_lifts.setAccessibleName(say("Unit of all lift columns"))
        self.all_lifts.currentTextChanged.connect(self._on_all_lifts)
        self.table = ColumnsTable(self)
        self.table.changed.connect(self._redraft)
        self.table.names_stand_at.connect(self.header_row.setValue)
        self.table.readings_begin_at.connect(self.first_row.setValue)

    def _make_answers(self) -> None:
        self.view = FigureView("Readings as they would be read", self)
        self.words = _Sentence(self, wordWrap=True)
        self.words.setAccessibleName(say("What would be read"))
        self.words.setAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop)
        self.reasons = QPlainTextEdit(self, readOnly=True)
        self.reasons.setAccessibleName(say("Why these units"))
        self.reasons.setFrameShape(QPlainTextEdit.Shape.NoFrame)
        self.reasons.viewport().setAutoFillBackground(False)
        self.reasons.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.reasons.document().setDocumentMargin(0.0)
        self.left_out_head = QLabel(self)
        self.left_out = QListWidget(self)
        self.left_out.setAccessibleName(say("Rows left out"))
        self.left_out.setFrameShape(QListWidget.Shape.NoFrame)
        for box in (self.reasons, self.left_out, self.table):
            box.setMinimumHeight(round(3.2 * self.fontMetrics().height()))
        self.take = QPushButton(say("&Use these columns"), self, default=True)
        self.take.clicked.connect(self._on_take)
        self.leave = QPushButton(say("&Leave this file out"), self)
        self.leave.clicked.connect(lambda: self.given_up.emit(self.path))
        self.later = QPushButton(say("La&ter"), self)
        self.later.setToolTip(say("Go on with the rest; the file stays on the bench as it is"))
        self.hint = _Sentence(self, wordWrap=True)
        self.hint.setAccessibleName(say("What is missing"))
        self.hint.setMinimumHeight(2 * self.fontMetrics().lineSpacing())

    def _lay_out(self) -> None:
        self._sheets = labelled(self, "Sheet", self.sheet)
        self._lifts = labelled(self, "Lifts in", self.all_lifts)
        choosers = flowing(
            labelled(self, "This file is a", self.kind),
            self._sheets,
            labelled(self, "Names in row", self.header_row),
            labelled(self, "Readings from row", self.first_row),
            self._lifts,
            spacing=14,
        )
        told, listed = QWidget(self), QWidget(self)
        above((self.table, 3), self.left_out_head, (self.left_out, 1), on=listed, spacing=6)
        above(self.words, (self.view, 3), (self.reasons, 1), on=told, margins=(10, 0, 0, 0), spacing=6)
        halves = splitter(self, Qt.Orientation.Horizontal, (listed, 5), (told, 4))
        halves.setChildrenCollapsible(False)
        buttons = beside((self.hint, 1), self.later, self.leave, self.take)
        form, area = QWidget(self), FormArea(say("Columns of the file"), self)
        above(self._head, choosers, (halves, 1), on=form, spacing=8)
        area.setWidget(form)
        above((area, 1), buttons, on=self, margins=(18, 10, 18, 10), spacing=8)

    # -- what is shown ------------------------------------------------------------------------------------------------

    @property
    def path(self) -> str:
        """Path of the file asked about; "" while there is none."""
        return "" if self._file is None else self._file.path

    def assignment(self) -> str:
        """The assignment as it is typed after `--columns`."""
        return "" if self._draft is None else self._draft.columns.text()

    def show_file(self, file: BenchFile, kind: str) -> None:
        """Open the pane for a file that is most likely of that kind ("" for none); what is being chosen stays."""
        self._head.setText(say("What do the columns of {name} hold?").format(name=file.name))
        if self._file == file:
            self._show_answers()
            return
        self.put_away()
        self._file = file
        self._want(first_draft(file, kind))

    def put_away(self) -> None:
        """Forget the file asked about."""
        self._file = self._draft = self._asked = self._looked = None
        self._filled = None, ""

    def take_up(self, looked: Looked) -> None:
        """Show what a draft gave, if it is the newest; else ask for that."""
        if looked.draft != self._asked:
            return
        self._asked = None
        if self._draft is not None and looked.draft != self._draft:
            self._ask(self._draft)
            return
        if looked.preview is not None:
            self._looked = looked
            self._fill(looked, looked.preview)
        else:
            # what was shown before stays in view, so that another place can be chosen
            shown = self._looked or looked
            self._looked = replace(shown, draft=looked.draft, drawn=None, failure=looked.failure, table=None)
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

    def _fill(self, looked: Looked, preview: Preview) -> None:
        """Bring the choosers to what was found, where that is another table or another kind of file."""
        table, kind = self._filled
        if looked.table is not table or looked.draft.kind != kind:
            self._filled = looked.table, looked.draft.kind
            self._show_place(looked.draft, preview)
            self.table.fill(looked, preview)
        self._redraft()

    def _show_place(self, draft: Draft, preview: Preview) -> None:
        with QSignalBlocker(self.kind), QSignalBlocker(self.sheet), QSignalBlocker(self.all_lifts):
            self.kind.setCurrentIndex(self.kind.findData(draft.kind))
            if [self.sheet.itemText(at) for at in range(self.sheet.count())] != list(preview.sheets):
                self.sheet.clear()
                self.sheet.addItems(list(preview.sheets))
            self.sheet.setCurrentIndex(preview.sheet - 1)
            self.all_lifts.clear()
            self.all_lifts.addItems(list(self._assignable().get("lift", ())))
        self._sheets.setVisible(len(preview.sheets) > 1)
        show_number(self.header_row, preview.header_row or 0)
        show_number(self.first_row, preview.numbers[0] if preview.numbers else 1)

    def _show_answers(self) -> None:
        """Draw and tell what the draft gave."""
        looked = self._looked
        if looked is None:
            return
        drawn, many = looked.drawn, looked.left_out_count
        self.view.setVisible(drawn is not None)
        if drawn is not None:
            self.view.show_figure(drawn.figure, drawn.units)
        self.words.setText("" if drawn is None else say(drawn.words))
        self.words.setToolTip(self.words.text())
        self.words.setVisible(drawn is not None)
        reasons = [say(guess.reason) for guess in looked.guesses]
        if open_units := self.table.unreasoned(looked.guesses):
            reasons.append(
                say("No unit is stated: {names} until you choose another.").format(names=", ".join(open_units))
            )
        self.reasons.setPlainText("\n".join([*reasons, *(f"▲ {text}" for text in looked.said)]))
        self.reasons.setVisible(bool(self.reasons.toPlainText()))
        self.left_out.clear()
        for row in looked.left_out:
            self.left_out.addItem(f"{row.place}: {row.text} ({row.why})")
        if many > len(looked.left_out):
            self.left_out.addItem(say("and {many} more").format(many=many - len(looked.left_out)))
        self.left_out.setVisible(bool(many))
        none = "" if drawn is None else say("No row is left out.")
        self.left_out_head.setText(say("▲ Left out: {many}").format(many=many) if many else none)
        self._check()

    def _check(self) -> None:
        """Whether the assignment can be taken, and what is missing."""
        looked, draft = self._looked, self._draft
        if looked is None or draft is None or looked.draft != draft:
            self.take.setEnabled(False)
            self.hint.setText(self._lacking(draft))
            return
        failure = f"✗ {say(looked.failure)}" if looked.failure else ""
        hint = failure if failure and looked.table is None else self._lacking(draft) or failure
        self.hint.setText(hint)
        self.take.setEnabled(not hint and looked.drawn is not None)

    def _lacking(self, draft: Draft | None) -> str:
        """What a draft lacks before it can be read, in a sentence."""
        fields = self._assignable()
        names = [name for name, _ in self.table.roles().values()]
        twice = {name for name in names if names.count(name) > 1}
        if not fields:
            return say("Say what this file is.")
        if twice:
            return say("{names} is chosen twice.").format(names=", ".join(sorted(twice)))
        if "angle" in fields and "angle" not in names:
            return say("One column has to be the angle.")
        if len(names) < 2:
            return say("At least two columns have to be assigned.")
        return (
            ""
            if draft is None or can_be_told(draft.columns)
            else say("A name or unit can't hold =, commas or brackets.")
        )

    # -- what is chosen -----------------------------------------------------------------------------------------------

    def _assignable(self) -> dict[str, tuple[str, ...]]:
        """What columns of the kind chosen can be assigned to, with the units of each."""
        reader = None if self._draft is None else reader_of(self._draft.kind)
        return {} if reader is None else dict(reader.columns or {})

    def _redraft(self) -> None:
        """Make a draft of what the choosers say, guessed units included."""
        looked, draft = self._looked, self._draft
        if draft is None:
            return
        self.table.take_guesses(() if looked is None else looked.guesses)
        lifts = self.table.lift_units()
        self._lifts.setVisible(len(lifts) > 1)
        with QSignalBlocker(self.all_lifts):
            self.all_lifts.setCurrentIndex(self.all_lifts.findText(lifts[0]) if len(set(lifts)) == 1 else -1)
        roles, where = self.table.roles(), draft.columns.where
        if len({name for name, _ in roles.values()}) == len(roles):
            self._want(replace(draft, columns=assigned(roles, where), table=self._table_at(where)))
        self._check()

    def _on_all_lifts(self, unit: str) -> None:
        if unit:
            self.table.set_lift_unit(unit)

    def _table_at(self, where: Where) -> Table | None:
        """The table as it was read already, if it was from that place in the file."""
        looked = self._looked
        return looked.table if looked is not None and looked.draft.columns.where == where else None

    def _on_kind(self) -> None:
        kind = self.kind.currentData()
        if self._draft is not None and kind is not None:
            where = self._draft.columns.where
            self._want(replace(moved(self._draft, where), kind=str(kind), table=self._table_at(where)))

    def _move(self, where: Where) -> None:
        if self._draft is not None:
            self._want(moved(self._draft, where))

    def _sheet_told(self) -> int | None:
        """The sheet, where the file has several."""
        return self.sheet.currentIndex() + 1 if self.sheet.count() > 1 else None

    def _on_header_row(self, row: int) -> None:
        self._move(Where(self._sheet_told(), row or None, None if row else self.first_row.value()))

    def _on_first_row(self, row: int) -> None:
        header = self.header_row.value()
        self._move(Where(self._sheet_told(), header if 0 < header < row else None, row))

    def _on_take(self) -> None:
        if self._draft is not None:
            self.assigned.emit(self.path, self._draft.kind, self.assignment())
