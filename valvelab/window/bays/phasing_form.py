"""The worksheet's own fields: stop, lobes, card, wheel, shelf; every one of them an edit."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import TYPE_CHECKING

from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtWidgets import (
    QButtonGroup,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QScrollArea,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from valvelab.units import System, display_unit
from valvelab.window.bays.reading_field import ReadingField
from valvelab.window.chips import Chip, Heading, press
from valvelab.window.panes import colour_text
from valvelab.workbench import worksheet, worksheet_words
from valvelab.workbench.worksheet import Cell

if TYPE_CHECKING:
    from valvelab.phasing.degreeing import Sheet

_SHEET_WORDS = ("part", "serial", "operator", "date")


class WorksheetForm(QScrollArea):
    """A form that says what a person does: `edited(cell, value)`, `refused(sentence)`, and about rows.

    `row_wanted(what, lobe)`, `row_unwanted(cell)`, `lobe_wanted(name)`. Fields stay while the rows stay, so that focus
    and what is being typed survive every answer.
    """

    edited = Signal(object, object)
    row_wanted = Signal(str, str)
    row_unwanted = Signal(object)
    lobe_wanted = Signal(str)
    refused = Signal(str)

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.setWidgetResizable(True)
        self.setFrameShape(QScrollArea.Shape.NoFrame)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setAccessibleName("Worksheet")
        self.fields: dict[Cell, ReadingField] = {}
        self.lobe_marks: dict[str, QLabel] = {}
        self.sense = QButtonGroup(self)
        self.sense_mark = QLabel("", self)
        self._shape: tuple[object, ...] = ()
        self._units: System = "metric"

    def show_sheet(self, sheet: Sheet, doubts: dict[Cell, str], target: Cell | None, units: System) -> None:
        """Show a sheet with its doubtful readings."""
        self._units = units
        shape = (worksheet.stop_cells(sheet), tuple((lobe, worksheet.lobe_rows(sheet, lobe))
                                                    for lobe in worksheet.lobes_of(sheet)), units)  # fmt: skip
        if shape != self._shape:
            self._build(sheet)
            self._shape = shape
        for cell, field in self.fields.items():
            field.show_text(worksheet_words.text_of(sheet, cell, units), doubts.get(cell, ""))
            field.setPlaceholderText("next" if cell == target else _EMPTY.get(cell, ""))
        press(self.sense, {sheet.sense})
        self._mark(self.sense_mark, doubts.get(Cell("wheel", name="sense"), ""))
        for lobe, mark in self.lobe_marks.items():
            self._mark(mark, doubts.get(Cell("lobe", name=lobe), ""))
        if target in self.fields and not any(field.hasFocus() for field in self.fields.values()):
            QTimer.singleShot(0, self, lambda field=self.fields[target]: self._bring(field))

    def _bring(self, field: ReadingField) -> None:
        """Scroll to a field, where it is still there."""
        if field in self.fields.values():
            self.ensureWidgetVisible(field, 0, 3 * self.fontMetrics().height())

    def _mark(self, mark: QLabel, doubt: str) -> None:
        mark.setText("▲" if doubt else "")
        mark.setToolTip(doubt)
        colour_text(mark, "undecided")
        mark.setAccessibleDescription(doubt)

    # -- building ---------------------------------------------------------------------------------------------------

    def _build(self, sheet: Sheet) -> None:
        focused = next((cell for cell, field in self.fields.items() if field.hasFocus()), None)
        self.fields, self.lobe_marks = {}, {}
        page = QWidget(self)
        page.setObjectName("worksheet")
        column = QVBoxLayout(page)
        em = self.fontMetrics().height()
        column.setContentsMargins(em // 2, em // 3, em // 2, em // 2)
        column.setSpacing(em // 3)
        self._build_stop(page, column, sheet)
        for lobe in worksheet.lobes_of(sheet):
            self._build_lobe(page, column, sheet, lobe)
        self._build_more(page, column)
        self._build_card(page, column, sheet)
        self._build_wheel(page, column, sheet)
        self._build_words(page, column, sheet)
        column.addStretch(1)
        old = self.takeWidget()
        if old is not None:
            old.deleteLater()
        self.setWidget(page)
        wide = page.minimumSizeHint().width() + self.verticalScrollBar().sizeHint().width() + 4
        self.setMinimumWidth(wide)
        self._tab_order()
        if focused in self.fields:
            self.fields[focused].setFocus()

    def _build_stop(self, page: QWidget, column: QVBoxLayout, sheet: Sheet) -> None:
        column.addWidget(self._head(page, "Piston stop", "wheel deg"))
        grid = self._grid(column)
        for n, text in enumerate(("turning forward", "turning backward")):
            grid.addWidget(self._quiet(page, text), 0, 1 + n)
        for cell in worksheet.stop_cells(sheet):
            row, side = divmod(cell.row, 2)
            if side == 0:
                grid.addWidget(
                    self._quiet(page, f"touch, {('once', 'again')[row]}" if row < 2 else "touch"), 1 + row, 0
                )
            grid.addWidget(self._field(page, cell, sheet), 1 + row, 1 + side)

    def _build_lobe(self, page: QWidget, column: QVBoxLayout, sheet: Sheet, lobe: str) -> None:
        from valvelab.phasing.timing import lobe_kind

        kind = lobe_kind(lobe)
        head = self._head(page, f"{lobe} {kind or ''}".strip(), "", kind or "text")
        self.lobe_marks[lobe] = QLabel("", head)
        row_layout = head.layout()
        assert isinstance(row_layout, QHBoxLayout)
        row_layout.insertWidget(1, self.lobe_marks[lobe])
        for what, text in (("pair", "+ pair"), ("event", "+ lift")):
            button = self._button(
                head, text, f"One more {'pair near the nose' if what == 'pair' else 'lift'} of {lobe}"
            )
            button.clicked.connect(lambda _on=False, what=what: self.row_wanted.emit(what, lobe))
            row_layout.addWidget(button)
        column.addWidget(head)
        grid = self._grid(column)
        unit = display_unit("mm", self._units).label
        line, last = 0, ""
        for cells in worksheet.lobe_rows(sheet, lobe):
            if cells[0].part != last:
                last = cells[0].part
                words = (("below", "rising", "falling") if last == "pair" else
                         ("lift", "opens", "closes", "card"))  # fmt: skip
                for n, text in enumerate(words):
                    grid.addWidget(self._quiet(page, f"{text}, {unit}" if n == 0 else text), line, n)
                line += 1
            for n, cell in enumerate(cells):
                grid.addWidget(self._field(page, cell, sheet), line, n)
            for n in range(4):
                grid.setColumnStretch(n, 3 if n else 2)
            remove = self._button(page, "×", f"Take out this row of {lobe}")
            remove.setFocusPolicy(Qt.FocusPolicy.NoFocus)
            remove.clicked.connect(lambda _on=False, cell=cells[0]: self.row_unwanted.emit(cell))
            grid.addWidget(remove, line, 4)
            line += 1

    def _build_more(self, page: QWidget, column: QVBoxLayout) -> None:
        row = QHBoxLayout()
        name = QLineEdit(page)
        name.setAccessibleName("Another lobe")
        name.setPlaceholderText("another lobe, as 1I2 or 3E")
        name.returnPressed.connect(lambda: self.lobe_wanted.emit(name.text()))
        row.addWidget(name)
        button = self._button(page, "+ lobe", "Put that lobe on the sheet")
        button.clicked.connect(lambda: self.lobe_wanted.emit(name.text()))
        row.addWidget(button)
        column.addLayout(row)

    def _build_card(self, page: QWidget, column: QVBoxLayout, sheet: Sheet) -> None:
        column.addWidget(self._head(page, "Card and shelf", "crank deg"))
        grid = self._grid(column)
        rows = ((Cell("card", name="intake"), "intake centreline, ATDC"),
                (Cell("card", name="exhaust"), "exhaust centreline, BTDC"))  # fmt: skip
        for n, (cell, text) in enumerate(rows):
            grid.addWidget(self._quiet(page, text), n, 0)
            grid.addWidget(self._field(page, cell, sheet), n, 1)
        grid.addWidget(self._quiet(page, "adjuster steps"), 2, 0)
        grid.addWidget(self._field(page, Cell("steps"), sheet), 2, 1)

    def _build_wheel(self, page: QWidget, column: QVBoxLayout, sheet: Sheet) -> None:
        column.addWidget(self._head(page, "Wheel", ""))
        grid = self._grid(column)
        grid.addWidget(self._quiet(page, "reading, as it runs"), 0, 0)
        chips = QWidget(page)
        row = QHBoxLayout(chips)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(2)
        for button in self.sense.buttons():
            self.sense.removeButton(button)
        for name, text in (("forward", "grows"), ("reverse", "falls")):
            chip = Chip(text, f"The wheel's reading {text} as the engine runs", chips)
            chip.setProperty("name", name)
            chip.clicked.connect(lambda _on=False, name=name: self.edited.emit(Cell("wheel", name="sense"), name))
            self.sense.addButton(chip)
            row.addWidget(chip)
        self.sense_mark = QLabel("", chips)
        row.addWidget(self.sense_mark)
        row.addStretch(1)
        grid.addWidget(chips, 0, 1)
        grid.addWidget(self._quiet(page, "uncertainty u, deg"), 1, 0)
        grid.addWidget(self._field(page, Cell("wheel", name="uncertainty"), sheet), 1, 1)

    def _build_words(self, page: QWidget, column: QVBoxLayout, sheet: Sheet) -> None:
        column.addWidget(self._head(page, "Sheet", ""))
        grid = self._grid(column)
        for n, word in enumerate(_SHEET_WORDS):
            grid.addWidget(self._quiet(page, word), n, 0)
            field = self._field(page, Cell("word", name=word), sheet)
            field.setAlignment(Qt.AlignmentFlag.AlignLeft)
            grid.addWidget(field, n, 1)

    def _field(self, page: QWidget, cell: Cell, sheet: Sheet) -> ReadingField:
        name = worksheet_words.spoken(cell, sheet)
        field = ReadingField(name[:1].upper() + name[1:], self._reader(cell), page)
        field.entered.connect(lambda value, cell=cell: self.edited.emit(cell, value))
        field.went_on.connect(lambda cell=cell: self._go_on(cell))
        field.refused.connect(self.refused)
        field.looked_at.connect(lambda field=field: self.ensureWidgetVisible(field))
        self.fields[cell] = field
        return field

    def _reader(self, cell: Cell) -> Callable[[str], object]:
        return lambda text: worksheet_words.read(cell, text, self._units)

    def _go_on(self, cell: Cell) -> None:
        """To the next field of the sheet; lifts are passed over, being settings and not readings."""
        order = [one for one in self.fields if one.name not in {"drop", "lift"} or one == cell]
        after = order.index(cell) + 1
        if after < len(order):
            self.fields[order[after]].setFocus(Qt.FocusReason.TabFocusReason)

    def _tab_order(self) -> None:
        fields = list(self.fields.values())
        for first, second in pairwise(fields):
            QWidget.setTabOrder(first, second)

    def _head(self, page: QWidget, text: str, unit: str, colour: str = "text") -> QWidget:
        box = QWidget(page)
        row = QHBoxLayout(box)
        row.setContentsMargins(0, 4, 0, 0)
        row.setSpacing(6)
        heading = Heading(text, 1.05, box)
        colour_text(heading, colour)
        row.addWidget(heading)
        row.addStretch(1)
        if unit:
            row.addWidget(self._quiet(box, unit))
        return box

    def _grid(self, column: QVBoxLayout) -> QGridLayout:
        grid = QGridLayout()
        grid.setHorizontalSpacing(6)
        grid.setVerticalSpacing(3)
        column.addLayout(grid)
        return grid

    def _quiet(self, page: QWidget, text: str) -> QLabel:
        label = QLabel(text, page)
        colour_text(label, "quiet")
        return label

    def _button(self, page: QWidget, text: str, tip: str) -> QToolButton:
        button = QToolButton(page)
        button.setText(text)
        button.setToolTip(tip)
        button.setAccessibleName(tip)
        button.setAutoRaise(True)
        return button

    def restyle(self) -> None:
        """Build anew at the next sheet: the colours changed."""
        self._shape = ()


_EMPTY = {
    Cell("steps"): "−4 −2 0 2 4",
    Cell("wheel", name="uncertainty"): "0.25",
}
