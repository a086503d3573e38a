"""Rule and instrument of an event: a form of fields and two tables of limits, each with a row for the next."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtWidgets import QGridLayout, QLabel, QSizePolicy, QSpinBox, QWidget

from valvelab.language import marked, say, say_number
from valvelab.phrase import Phrase
from valvelab.records.lift_check import LiftCheckSheet
from valvelab.units import System
from valvelab.window.bays.reading_field import ReadingField
from valvelab.window.bench import Bench
from valvelab.window.chips import Heading
from valvelab.window.fields import TypedField
from valvelab.window.layouts import above, flowing
from valvelab.window.panes import colour_text, number_field, show_number
from valvelab.window.theme import in_ems
from valvelab.workbench import lift_rule
from valvelab.workbench.document import Document
from valvelab.workbench.lift_rule import Cell, Part, asked
from valvelab.workbench.liftcheck_bay import LiftCheckState

_TABLES: tuple[tuple[str, Part], ...] = (
    (marked("Lift at the valve"), "limit"),
    (marked("Opening and closing, where a wheel is read"), "rule"),
)
_MOST_EMS, _CLAUSE_EMS = 10, 2
"""Width that a field asks for at most, and that where a clause is named does with."""
_FRAME = 8
"""What lies around the words of a field, in pixels."""


def _wide(field: TypedField) -> int:
    """Room for what is typed, as long as that is no sentence."""
    metrics = field.fontMetrics()
    wide = metrics.horizontalAdvance(field.text()) + metrics.height() // 5 + _FRAME
    return min(wide, _MOST_EMS * metrics.height())


class _Clause(ReadingField):
    """Where a clause is named: whole where there is room, and of figures beside it nothing is cut for it."""

    def sizeHint(self) -> QSize:
        """Room for the words."""
        usual = super().sizeHint()
        return QSize(max(usual.width(), _wide(self) + self.fontMetrics().height()), usual.height())

    def minimumSizeHint(self) -> QSize:
        """Room for their start."""
        return QSize(_CLAUSE_EMS * self.fontMetrics().height(), super().minimumSizeHint().height())


class RulePane(QWidget):
    """`edited(cell, text)` when a cell was typed; `told(word, plan)` for what stands outside the sheet."""

    edited = Signal(object, str)
    told = Signal(str, object)

    def __init__(self, bench: Bench, parent: QWidget) -> None:
        super().__init__(parent)
        self._bench = bench
        self.fields: dict[Cell, TypedField] = {}
        self.wrong = QLabel("", self, wordWrap=True)
        self.wrong.setAccessibleName(say("What can't be read"))
        self.wrong.hide()
        self._tables: dict[Part, QGridLayout] = {}
        self._em = self.fontMetrics().height()
        self.word = self._plain(say("What is checked"), "word")
        self.plan = self._plain(say("Valves of every car, in their order"), "plan")
        self.shut: QSpinBox = number_field(bench, self, LiftCheckState, "shut_first")
        em = self._em
        first = (self._block(say("Event"), "sheet"), self._block(say("Decision"), "decision"))
        second = (self._block(say("Instrument"), "instrument"),)
        third = (self._cars(say("Cars")), self._block(say("Wheel"), "wheel"))
        tables = [self._table(say(title), part) for title, part in _TABLES]
        across = in_ems(flowing(*map(self._column, (first, second, third)), spacing=3 * em // 2))
        across.top = True
        margins = (em // 2, em // 3, em // 2, em // 3)
        in_ems(above(self.wrong, *tables, across, 1, on=self, margins=margins, spacing=em))

    def _plain(self, name: str, field: str) -> TypedField:
        made = ReadingField(name, str.strip, self)
        made.setAlignment(Qt.AlignmentFlag.AlignLeft)
        made.entered.connect(lambda text: self.told.emit(field, text))
        return made

    def _cars(self, title: str) -> QGridLayout:
        rows = (
            (say("What is checked"), self.word),
            (say("Valves in their order"), self.plan),
            (say("Shut readings first"), self.shut),
        )
        return self._grid(title, rows)

    def _column(self, blocks: Sequence[QGridLayout]) -> QWidget:
        made = QWidget(self)
        in_ems(above(*blocks, 1, on=made, spacing=self._em))
        made.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Preferred)
        return made

    def _block(self, title: str, part: Part) -> QGridLayout:
        cells = [Cell(part, name) for name in lift_rule.columns_of(part)]
        return self._grid(title, [(say(asked(cell).label), self._field(cell)) for cell in cells])

    def _empty_grid(self) -> QGridLayout:
        grid = QGridLayout()
        grid.setVerticalSpacing(self._em // 4)
        grid.setHorizontalSpacing(self._em // 4)
        return in_ems(grid)

    def _grid(self, title: str, rows: Sequence[tuple[str, QWidget]]) -> QGridLayout:
        """A heading, and under it a field with its name in each row."""
        grid = self._empty_grid()
        grid.addWidget(Heading(title, 1.05, self), 0, 0, 1, 2)
        for at, (name, field) in enumerate(rows, start=1):
            label = QLabel(name, self)
            label.setBuddy(field)
            grid.addWidget(label, at, 0)
            field.setMinimumWidth(6 * self._em)
            grid.addWidget(field, at, 1)
        grid.setColumnStretch(1, 1)
        return grid

    def _table(self, title: str, part: Part) -> QGridLayout:
        grid = self._empty_grid()
        names = lift_rule.columns_of(part)
        grid.addWidget(Heading(title, 1.05, self), 0, 0, 1, len(names))
        for at, name in enumerate(names):
            head = QLabel(say(asked(Cell(part, name)).label), self, wordWrap=True)
            grid.addWidget(head, 1, at, Qt.AlignmentFlag.AlignBottom)
        self._tables[part] = grid
        return grid

    def _field(self, cell: Cell) -> TypedField:
        how = asked(cell)
        kind = _Clause if cell.name == "clause" else ReadingField
        field = self.fields[cell] = kind(say(how.label), str.strip, self)
        field.setAlignment(Qt.AlignmentFlag.AlignLeft)
        field.entered.connect(partial(self._on_text, cell))
        field.went_on.connect(self.focusNextChild)
        return field

    def _on_text(self, cell: Cell, text: object) -> None:
        self.edited.emit(cell, str(text))

    def show_sheet(self, document: Document, sheet: LiftCheckSheet, units: System) -> None:
        """Show what a sheet states."""
        for part, grid in self._tables.items():
            self._grow(part, grid, lift_rule.rows_of(sheet, "limit" if part == "limit" else "rule"))
        for cell, field in self.fields.items():
            assert isinstance(field, ReadingField)
            example = asked(cell).example_in(units)
            field.setPlaceholderText(example and say("e.g. {example}").format(example=_example(example)))
            field.show_text(lift_rule.shown(sheet, cell, units))
            if isinstance(field, _Clause):
                field.updateGeometry()
            else:
                field.setMinimumWidth(_wide(field))
            if not field.hasFocus():
                field.setCursorPosition(0)
        state = document.state(LiftCheckState)
        for field, text in ((self.word, state.word), (self.plan, state.plan)):
            if not field.isModified():
                field.setText(text)
        show_number(self.shut, state.shut_first)

    def _grow(self, part: Part, grid: QGridLayout, rows: int) -> None:
        for row in range(rows):
            for at, name in enumerate(lift_rule.columns_of(part)):
                cell = Cell(part, name, row)
                if cell not in self.fields:
                    grid.addWidget(self._field(cell), row + 2, at)
        for cell, field in self.fields.items():
            if cell.part == part:
                field.setVisible(cell.row < rows)

    def complain(self, sentence: str) -> None:
        """Say why a text can't be taken; empty where all can."""
        self.wrong.setText(f"✗ {sentence}" if sentence else "")
        self.wrong.setVisible(bool(sentence))
        colour_text(self.wrong, "reject")


def _example(text: str) -> str:
    """An example as it may be typed: a name in the window's language, a number with its decimal mark."""
    return say(text) if isinstance(text, Phrase) else say_number(text)
