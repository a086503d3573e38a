"""Rule and instrument of an event: a form of fields and two tables of limits, each with a row for the next."""

from __future__ import annotations

from functools import partial

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QGridLayout, QLabel, QSpinBox, QWidget

from valvelab.records.lift_check import LiftCheckSheet
from valvelab.units import System
from valvelab.window.bays.reading_field import ReadingField
from valvelab.window.bench import Bench
from valvelab.window.chips import Heading
from valvelab.window.fields import TypedField
from valvelab.window.layouts import above, beside
from valvelab.window.panes import colour_text, number_field, show_number
from valvelab.workbench import lift_rule
from valvelab.workbench.document import Document
from valvelab.workbench.lift_rule import Cell, Part, asked
from valvelab.workbench.liftcheck_bay import LiftCheckState

_BLOCKS: tuple[tuple[str, Part, int], ...] = (
    ("Event", "sheet", 2), ("Instrument", "instrument", 2), ("Decision", "decision", 2), ("Wheel", "wheel", 2),
)  # fmt: skip
_TABLES: tuple[tuple[str, Part], ...] = (
    ("Lift at the valve", "limit"),
    ("Opening and closing, where a wheel is read", "rule"),
)


class RulePane(QWidget):
    """`edited(cell, text)` when a cell was typed; `told(word, plan)` for what stands outside the sheet."""

    edited = Signal(object, str)
    told = Signal(str, object)

    def __init__(self, bench: Bench, parent: QWidget) -> None:
        super().__init__(parent)
        self._bench = bench
        self.fields: dict[Cell, TypedField] = {}
        self.wrong = QLabel("", self, wordWrap=True)
        self.wrong.setAccessibleName("What can't be read")
        self._tables: dict[Part, QGridLayout] = {}
        self._em = self.fontMetrics().height()
        self.word = self._plain("What is checked", "word")
        self.plan = self._plain("Valves of every car, in their order", "plan")
        self.shut: QSpinBox = number_field(bench, self, LiftCheckState, "shut_first")
        blocks = [above(Heading(title, 1.05, self), self._block(part, across)) for title, part, across in _BLOCKS]
        tables = [above(Heading(title, 1.05, self), self._table(part)) for title, part in _TABLES]
        em = self._em
        above(
            self.wrong, *tables, beside((blocks[0], 1), (blocks[1], 1), spacing=2 * em),
            beside((blocks[2], 1), (blocks[3], 1), spacing=2 * em), self._cars(), 1,
            on=self, margins=(em // 2, em // 3, em // 2, em // 3), spacing=em // 2,
        )  # fmt: skip

    def _plain(self, name: str, field: str) -> TypedField:
        made = TypedField(name, name, str.strip, self)
        made.entered.connect(lambda text: self.told.emit(field, text))
        return made

    def _cars(self) -> QGridLayout:
        grid = QGridLayout()
        rows = (
            ("What is checked", self.word), ("Valves in their order", self.plan), ("Shut readings first", self.shut),
        )  # fmt: skip
        for at, (name, field) in enumerate(rows):
            label = QLabel(name, self)
            label.setBuddy(field)
            grid.addWidget(label, 0, 2 * at)
            grid.addWidget(field, 0, 2 * at + 1)
        grid.setColumnStretch(3, 1)
        return grid

    def _block(self, part: Part, across: int) -> QGridLayout:
        grid = QGridLayout()
        grid.setSpacing(4)
        for at, name in enumerate(lift_rule.columns_of(part)):
            cell = Cell(part, name)
            label = QLabel(asked(cell).label, self)
            label.setBuddy(self._field(cell))
            row, column = divmod(at, across)
            grid.addWidget(label, row, 2 * column)
            grid.addWidget(self.fields[cell], row, 2 * column + 1)
        return grid

    def _table(self, part: Part) -> QGridLayout:
        grid = QGridLayout()
        grid.setSpacing(4)
        for at, name in enumerate(lift_rule.columns_of(part)):
            grid.addWidget(QLabel(asked(Cell(part, name)).label, self), 0, at)
        self._tables[part] = grid
        return grid

    def _field(self, cell: Cell) -> TypedField:
        how = asked(cell)
        field = self.fields[cell] = ReadingField(how.label, str.strip, self)
        field.setPlaceholderText(f"for example {how.example}" if how.example else "")
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
            field.show_text(lift_rule.shown(sheet, cell, units))
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
                    grid.addWidget(self._field(cell), row + 1, at)
        for cell, field in self.fields.items():
            if cell.part == part:
                field.setVisible(cell.row < rows)

    def complain(self, sentence: str) -> None:
        """Say why a text can't be taken; empty where all can."""
        self.wrong.setText(f"✗ {sentence}" if sentence else "")
        colour_text(self.wrong, "reject")
