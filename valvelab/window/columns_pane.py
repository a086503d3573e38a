"""Column assignment: the first rows of a file, and above each column what it holds and in which unit."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QComboBox,
    QHeaderView,
    QLabel,
    QPushButton,
    QTableWidget,
    QTableWidgetItem,
    QWidget,
)

from valvelab.files.kinds import reader_of
from valvelab.window.chips import Heading
from valvelab.window.layouts import above, beside
from valvelab.window.painting import RIGHT
from valvelab.workbench import bays

if TYPE_CHECKING:
    from valvelab.files.table import Preview

_IGNORE = "not used"
_ROWS = 14


class ColumnsPane(QWidget):
    """`assigned(path, kind, columns)` when the assignment is taken, `given_up(path)` when the file is left out."""

    assigned = Signal(str, str, str)
    given_up = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("columns pane")
        self.path = ""
        self._head = Heading("", 1.3, self)
        self._what = QLabel(
            "The columns of this file have no names that say what they hold. Choose above each column what it is and "
            "its unit; lobes are called 1I, 1E, 2I … The assignment is remembered for files of the same shape.",
            self,
            wordWrap=True,
        )
        self._kind = QComboBox(self)
        self._kind.setAccessibleName("What the file is")
        for reader in bays.kinds():
            if reader.columns is not None:
                self._kind.addItem(reader.label, reader.name)
        self._kind.currentIndexChanged.connect(self._refill)
        self.table = QTableWidget(self)
        self.table.setAccessibleName("First rows of the file")
        self.table.setFrameShape(QTableWidget.Shape.NoFrame)
        self.table.setShowGrid(False)
        self.table.setAlternatingRowColors(True)
        self.table.verticalHeader().hide()
        self.fields: list[QComboBox] = []
        self.units: list[QComboBox] = []
        self.take = QPushButton("Use these columns", self, default=True)
        self.take.clicked.connect(self._on_take)
        leave = QPushButton("Leave this file out", self)
        leave.clicked.connect(lambda: self.given_up.emit(self.path))
        self.later = QPushButton("Later", self)
        self.later.setToolTip("Go on with the rest; the file waits on the bench")
        self._hint = QLabel(self)
        self._preview: Preview | None = None
        self._lay_out(leave)

    def _lay_out(self, leave: QPushButton) -> None:
        label = QLabel("This file is a", self)
        label.setBuddy(self._kind)
        buttons = beside((self._hint, 1), self.later, leave, self.take)
        above(
            self._head,
            self._what,
            beside(label, self._kind, 1),
            (self.table, 1),
            buttons,
            on=self,
            margins=(18, 14, 18, 14),
            spacing=10,
        )

    def show_preview(self, path: str, name: str, kind: str, preview: Preview) -> None:
        """Open the pane for a file."""
        self._head.setText(f"What do the columns of {name} hold?")
        if self.path == path and self._preview is preview:
            return
        self.path, self._preview = path, preview
        place = self._kind.findData(kind)
        if place >= 0 and place != self._kind.currentIndex():
            self._kind.setCurrentIndex(place)
        else:
            self._refill()

    def assignment(self) -> str:
        """The assignment as it is typed after `--columns`."""
        parts = []
        for number, (field, unit) in enumerate(zip(self.fields, self.units, strict=True)):
            name = field.currentText().strip()
            if name and name != _IGNORE:
                parts.append(f"{name}={number}" + (f" [{unit.currentText()}]" if unit.currentText() else ""))
        return ", ".join(parts)

    def _refill(self) -> None:
        preview = self._preview
        fields = self._assignable()
        if preview is None or not fields:
            return
        width = len(preview.rows[0]) if preview.rows else len(preview.headers)
        self.table.clear()
        self.table.setColumnCount(width)
        self.table.setRowCount(2 + min(_ROWS, len(preview.rows)))
        titles = [
            f"{n}: {preview.headers[n]}" if n < len(preview.headers) and preview.headers[n] else f"{n}"
            for n in range(width)
        ]
        self.table.setHorizontalHeaderLabels(titles)
        self.fields, self.units = [], []
        for column in range(width):
            self._add_choosers(column, fields, width)
        for row, cells in enumerate(preview.rows[:_ROWS]):
            for column, text in enumerate(cells):
                cell = QTableWidgetItem(text)
                cell.setFlags(Qt.ItemFlag.ItemIsEnabled)
                cell.setTextAlignment(RIGHT)
                self.table.setItem(row + 2, column, cell)
        self._fit()
        self._check()

    def _assignable(self) -> dict[str, tuple[str, ...]]:
        """What columns of the kind chosen can be assigned to, with the units of each."""
        reader = reader_of(str(self._kind.currentData()))
        return {} if reader is None else dict(reader.columns or {})

    def _add_choosers(self, column: int, fields: dict[str, tuple[str, ...]], width: int) -> None:
        field = QComboBox(self.table, editable=True)
        field.setAccessibleName(f"What column {column} holds")
        free = [name for name in fields if name != "lobe column"]
        field.addItems([_IGNORE, *free])
        if "lift" in fields:
            field.addItems([f"{cylinder}{kind}" for cylinder in range(1, 9) for kind in "IE"])
        unit = QComboBox(self.table, editable=True)
        unit.setAccessibleName(f"Unit of column {column}")
        self.fields.append(field)
        self.units.append(unit)
        field.currentTextChanged.connect(lambda text, n=column: self._offer_units(n, text))
        unit.currentTextChanged.connect(self._check)
        field.setCurrentText(_first_guess(column, width, fields))
        self._offer_units(column, field.currentText())
        self.table.setCellWidget(0, column, field)
        self.table.setCellWidget(1, column, unit)

    def _offer_units(self, column: int, name: str) -> None:
        fields = self._assignable()
        found = fields.get(name.strip())
        offered = () if name == _IGNORE else found if found is not None else fields.get("lift", ())
        unit = self.units[column]
        if [unit.itemText(n) for n in range(unit.count())] != list(offered):
            unit.clear()
            unit.addItems(list(offered))
        unit.setEnabled(bool(offered))
        preview = self._preview
        if offered and preview is not None and column < len(preview.units) and preview.units[column]:
            unit.setCurrentText(preview.units[column] or "")
        self._check()

    def _check(self) -> None:
        names = [field.currentText().strip() for field in self.fields]
        used = [name for name in names if name and name != _IGNORE]
        twice = {name for name in used if used.count(name) > 1}
        hint = ""
        if twice:
            hint = f"{', '.join(sorted(twice))} is chosen twice."
        elif "angle" in self._assignable() and "angle" not in used:
            hint = "One column has to be the angle."
        elif len(used) < 2:
            hint = "At least two columns have to be assigned."
        self._hint.setText(hint)
        self.take.setEnabled(not hint)

    def _fit(self) -> None:
        em = self.fontMetrics().height()
        self.table.horizontalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Interactive)
        for column in range(self.table.columnCount()):
            self.table.setColumnWidth(column, 8 * em)
        for row in (0, 1):
            self.table.setRowHeight(row, round(2.0 * em))

    def _on_take(self) -> None:
        self.assigned.emit(self.path, str(self._kind.currentData()), self.assignment())


def _first_guess(column: int, width: int, fields: dict[str, tuple[str, ...]]) -> str:
    names = [name for name in fields if name not in {"lobe", "sweep"}]
    if "angle" in fields and "lift" in fields:
        lobes = [f"{cylinder}{kind}" for cylinder in range(1, 13) for kind in "IE"]
        if column == 0:
            return "angle"
        return lobes[column - 1] if width <= 1 + len(lobes) else _IGNORE
    return names[column] if column < len(names) else _IGNORE
