"""The worksheet's own fields: stop, lobes, card, wheel, shelf; every one of them an edit."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import partial
from itertools import pairwise

from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtWidgets import (
    QButtonGroup,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from valvelab.language import marked, say, say_number
from valvelab.phasing.degreeing import Sheet
from valvelab.phasing.timing import lobe_kind
from valvelab.units import System
from valvelab.window.bays.reading_field import ReadingField
from valvelab.window.chips import Heading, chip_row, press
from valvelab.window.layouts import FormArea, beside
from valvelab.window.numbers import display_unit
from valvelab.window.panes import colour_text
from valvelab.window.theme import in_ems
from valvelab.workbench import worksheet, worksheet_words
from valvelab.workbench.worksheet import Cell

_CARD = (
    (marked("intake centreline, ATDC"), Cell("card", name="intake")),
    (marked("exhaust centreline, BTDC"), Cell("card", name="exhaust")),
    (marked("adjuster steps, as −4 0 4"), Cell("steps")),
)
_SHEET_WORDS = (marked("part"), marked("serial"), marked("operator"), marked("date"))


_PAIR = (marked("below"), marked("rising"), marked("falling"))
_EVENT = (marked("lift"), marked("opens"), marked("closes"), marked("card"))
_TOUCHES = (marked("touch, once"), marked("touch, again"), marked("touch"))


class WorksheetForm(FormArea):
    """A form that says what a person does: `edited(cell, value)`, and about rows.

    `row_wanted(what, lobe)`, `row_unwanted(cell)`, `lobe_wanted(name)`. Fields stay while the rows stay, so that focus
    and what is being typed survive every answer.
    """

    edited = Signal(object, object)
    row_wanted = Signal(str, str)
    row_unwanted = Signal(object)
    lobe_wanted = Signal(str)

    def __init__(self, parent: QWidget) -> None:
        super().__init__(say("Worksheet"), parent)
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
            text = worksheet_words.text_of(sheet, cell, units)
            field.show_text(text if cell.part == "word" else say_number(text), doubts.get(cell, ""))
            field.setPlaceholderText(say("next") if cell == target else "")
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
        in_ems(column)
        self._build_stop(column, sheet)
        for lobe in worksheet.lobes_of(sheet):
            self._build_lobe(column, sheet, lobe)
        self._build_more(column)
        self._build_rows(_section(column, say("Cam card and adjuster"), say("crank deg"))[1], sheet, _CARD)
        self._build_wheel(column, sheet)
        words = [Cell("word", name=word) for word in _SHEET_WORDS]
        self._build_rows(_section(column, say("Sheet"))[1], sheet, [(cell.name, cell) for cell in words])
        for cell in words:
            self.fields[cell].setAlignment(Qt.AlignmentFlag.AlignLeft)
        column.addStretch(1)
        old = self.takeWidget()
        if old is not None:
            old.deleteLater()
        self.setWidget(page)
        wide = page.minimumSizeHint().width() + self.verticalScrollBar().sizeHint().width() + 4
        self.setMinimumWidth(wide)
        for first, second in pairwise(self.fields.values()):
            QWidget.setTabOrder(first, second)
        if focused in self.fields:
            self.fields[focused].setFocus()

    def _build_rows(self, grid: QGridLayout, sheet: Sheet, rows: Iterable[tuple[str, Cell]], first: int = 0) -> None:
        """A line each: what it is, and its field."""
        for line, (text, cell) in enumerate(rows, start=first):
            grid.addWidget(_quiet(say(text)), line, 0)
            grid.addWidget(self._field(cell, sheet), line, 1)

    def _build_stop(self, column: QVBoxLayout, sheet: Sheet) -> None:
        _, grid = _section(column, say("Piston stop"), say("wheel deg"))
        for n, text in enumerate((say("turning forward"), say("turning backward"))):
            grid.addWidget(_quiet(text), 0, 1 + n)
        for cell in worksheet.stop_cells(sheet):
            line, side = divmod(cell.row, 2)
            if side == 0:
                grid.addWidget(_quiet(say(_TOUCHES[min(line, 2)])), 1 + line, 0)
            grid.addWidget(self._field(cell, sheet), 1 + line, 1 + side)

    def _build_lobe(self, column: QVBoxLayout, sheet: Sheet, lobe: str) -> None:
        kind = lobe_kind(lobe)
        head, grid = _section(column, f"{lobe} {say(kind or '')}".strip(), colour=kind or "text")
        self.lobe_marks[lobe] = QLabel("")
        head.insertWidget(1, self.lobe_marks[lobe])
        for what, text, told in (
            ("pair", say("+ pair"), say("pair near the nose")),
            ("event", say("+ lift"), say("lift")),
        ):
            wanted = partial(self.row_wanted.emit, what, lobe)
            head.addWidget(_tool(text, say("One more {told} of {lobe}").format(told=told, lobe=lobe), wanted))
        unit = display_unit("mm", self._units).label
        line, last = 0, ""
        for cells in worksheet.lobe_rows(sheet, lobe):
            if cells[0].part != last:
                last = cells[0].part
                words = _PAIR if last == "pair" else _EVENT
                for n, text in enumerate(words):
                    grid.addWidget(_quiet(f"{say(text)}, {unit}" if n == 0 else say(text)), line, n)
                line += 1
            for n, cell in enumerate(cells):
                grid.addWidget(self._field(cell, sheet), line, n)
            for n in range(4):
                grid.setColumnStretch(n, 3 if n else 2)
            remove = _tool(
                "×", say("Take out this row of {lobe}").format(lobe=lobe), partial(self.row_unwanted.emit, cells[0])
            )
            remove.setFocusPolicy(Qt.FocusPolicy.NoFocus)
            grid.addWidget(remove, line, 4)
            line += 1

    def _build_more(self, column: QVBoxLayout) -> None:
        name = QLineEdit()
        name.setAccessibleName(say("Another lobe"))
        name.setPlaceholderText(say("another lobe, as 1I2 or 3E"))

        def want() -> None:
            self.lobe_wanted.emit(name.text())

        name.returnPressed.connect(want)
        column.addLayout(beside(name, _tool(say("+ lobe"), say("Put that lobe on the sheet"), want)))

    def _build_wheel(self, column: QVBoxLayout, sheet: Sheet) -> None:
        _, grid = _section(column, say("Wheel"))
        grid.addWidget(_quiet(say("reading, as it runs")), 0, 0)
        for button in self.sense.buttons():
            self.sense.removeButton(button)
        names = (("forward", marked("grows")), ("reverse", marked("falls")))
        spoken = {
            name: say("The wheel's reading {text} as the engine runs").format(text=say(text)) for name, text in names
        }
        cell = Cell("wheel", name="sense")
        chips = chip_row(self, self.sense, names, lambda name, _on: self.edited.emit(cell, name), spoken)
        self.sense_mark = QLabel("")
        grid.addLayout(beside(chips, self.sense_mark, 1, spacing=2), 0, 1)
        self._build_rows(grid, sheet, [(say("uncertainty u, deg"), Cell("wheel", name="uncertainty"))], first=1)

    def _field(self, cell: Cell, sheet: Sheet) -> ReadingField:
        name = worksheet_words.spoken(cell, sheet)
        field = ReadingField(name[:1].upper() + name[1:], self._reader(cell))
        field.entered.connect(lambda value: self.edited.emit(cell, value))
        field.went_on.connect(lambda: self._go_on(cell))
        field.looked_at.connect(lambda: self.ensureWidgetVisible(field))
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

    def restyle(self) -> None:
        """Build anew at the next sheet: the colours changed."""
        self._shape = ()


def _section(column: QVBoxLayout, text: str, unit: str = "", colour: str = "text") -> tuple[QHBoxLayout, QGridLayout]:
    """The line of a heading, and the grid below it."""
    heading, grid = Heading(text, 1.05), QGridLayout()
    colour_text(heading, colour)
    head = beside(heading, 1, *([_quiet(unit)] if unit else []), margins=(0, 4, 0, 0), spacing=6)
    column.addLayout(head)
    column.addLayout(grid)
    grid.setHorizontalSpacing(6)
    grid.setVerticalSpacing(3)
    return head, grid


def _quiet(text: str) -> QLabel:
    label = QLabel(text)
    colour_text(label, "quiet")
    return label


def _tool(text: str, tip: str, pressed: Callable[[], object]) -> QToolButton:
    made = QToolButton()
    made.setText(text)
    made.setToolTip(tip)
    made.setAccessibleName(tip)
    made.setAutoRaise(True)
    made.clicked.connect(lambda _on=False: pressed())
    return made
