"""Which limits are made of what was measured: characteristics, lifts, tolerances."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QCheckBox,
    QDialog,
    QDialogButtonBox,
    QGridLayout,
    QLabel,
    QLineEdit,
    QRadioButton,
    QScrollArea,
    QWidget,
)

from valvelab.errors import BadQuantity
from valvelab.inspection.characteristics import Characteristic
from valvelab.language import say
from valvelab.units import System
from valvelab.window.layouts import above, beside
from valvelab.window.panes import colour_text
from valvelab.workbench.spec_edit import SELECTED_BY
from valvelab.workbench.spec_from_part import Wish, usual_at, usual_sides, wish_of

_USUAL = {"max_lift", "duration", "seat_force", "rate", "tir", "straightness", "ra", "intake_centreline",
          "exhaust_centreline", "max_valve_lift"}  # fmt: skip


class PartLimits(QDialog):
    """Asks; `wanted(wishes, spread)` once what was typed can be read."""

    wanted = Signal(list, str)

    def __init__(self, rows: Sequence[Characteristic], units: System, bay: str, parent: QWidget) -> None:
        super().__init__(parent)
        self.setWindowTitle(say("Limits from this part"))
        self._units = units
        self.rows: dict[str, tuple[QCheckBox, QLineEdit | None, QLineEdit]] = {}
        self._known = {row.name: row for row in rows}
        self.sentence = QLabel(self, wordWrap=True)
        self.sentence.setAccessibleName(say("Limits from this part: what is wrong"))
        intro = QLabel(
            say(
                "What was measured becomes the nominal, rounded; ± takes a size, 5 %, or 3 u (3 times "
                "its standard uncertainty)."
            ),
            self,
            wordWrap=True,
        )
        self.each = QRadioButton(say("A row for each item"), self)
        self.kinds = QRadioButton(say("A row for each kind, with its mean"), self)
        self.each.setChecked(bay in {"lobes", "shaft"})
        self.kinds.setChecked(bay not in {"lobes", "shaft"})
        several = any(row.subject in SELECTED_BY for row in rows)
        for choice in (self.each, self.kinds):
            choice.setVisible(several)
        buttons = QDialogButtonBox(self)
        add = buttons.addButton(say("Add limits"), QDialogButtonBox.ButtonRole.AcceptRole)
        add.setDefault(True)
        buttons.addButton(QDialogButtonBox.StandardButton.Cancel)
        buttons.accepted.connect(self.accept)
        buttons.rejected.connect(self.reject)
        choices = beside(self.each, self.kinds, 1)
        above(
            intro, (self._table(rows), 1), choices, self.sentence, buttons, on=self, margins=(14, 12, 14, 12), spacing=8
        )
        em = self.fontMetrics().height()
        self.resize(32 * em, 26 * em)

    def _table(self, rows: Sequence[Characteristic]) -> QWidget:
        area = QScrollArea(self)
        area.setWidgetResizable(True)
        box = QWidget(area)
        grid = QGridLayout(box)
        for column, head in enumerate(("characteristic", "at", "±")):
            grid.addWidget(QLabel(head, box), 0, column)
        for number, row in enumerate(rows, start=1):
            chosen = QCheckBox(row.head, box)
            chosen.setChecked(row.name in _USUAL)
            chosen.setToolTip(row.explained)
            at = None
            if row.needs_at is not None:
                at = QLineEdit(usual_at(row, self._units), box)
                at.setAccessibleName(
                    say("{head}: {needs_at} it is judged at").format(head=row.head, needs_at=row.needs_at)
                )
                grid.addWidget(at, number, 1)
            sides = QLineEdit(usual_sides(row, self._units), box)
            sides.setAccessibleName(say("{head}: tolerance").format(head=row.head))
            sides.setAlignment(Qt.AlignmentFlag.AlignRight)
            grid.addWidget(chosen, number, 0)
            grid.addWidget(sides, number, 2)
            self.rows[row.name] = (chosen, at, sides)
        grid.setColumnStretch(0, 3)
        grid.setColumnStretch(1, 1)
        grid.setColumnStretch(2, 1)
        area.setWidget(box)
        return area

    def accept(self) -> None:
        """Take what was typed, or say what can't be read."""
        try:
            wishes = self._wishes()
        except BadQuantity as refusal:
            self.sentence.setText(f"✗ {say(str(refusal))}")
            colour_text(self.sentence, "reject")
            return
        if wishes:
            self.wanted.emit(wishes, "each" if self.each.isChecked() else "kinds")
        super().accept()

    def _wishes(self) -> list[Wish]:
        return [
            wish_of(self._known[name], "" if at is None else at.text(), sides.text(), self._units)
            for name, (chosen, at, sides) in self.rows.items()
            if chosen.isChecked()
        ]
