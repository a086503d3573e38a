"""Inputs that read quantities as people type them."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent, QPalette
from PySide6.QtWidgets import QLineEdit, QWidget

from valvelab.errors import BadQuantity
from valvelab.units import FACTORS, Dimension, System, display_unit, parse_quantity, show
from valvelab.window.theme import current_theme


class QuantityField(QLineEdit):
    """A quantity with or without a unit; without one it is in the unit shown. `entered(value)` is in `unit`.

    The arrow keys step it by `step`. What can't be read keeps its text in the colour of a rejection, with the reason as
    tip; nothing is emitted.
    """

    entered = Signal(float)

    def __init__(self, name: str, dimension: Dimension, unit: str, step: float, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName(name)
        self._name, self._dimension, self._unit = name, dimension, unit
        self._units: System = "metric"
        self._value: float | None = None
        self._step = step
        self._plain_tip = f"{name}: a number in the unit shown, or with its unit, such as 0.050 in"
        self.setToolTip(self._plain_tip)
        self.editingFinished.connect(self._read)
        self.textEdited.connect(lambda _text: self._mark(""))

    def show_value(self, value: float, units: System, decimals: int) -> None:
        """Show a value in `unit`, as the reader's system writes it."""
        self._units, self._value = units, value
        text = f"{show(value, self._unit, units, decimals)} {display_unit(self._unit, units).label}"
        if not self.hasFocus() or not self.isModified():
            self._mark("")
            self.setText(text)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """The arrow keys step the value."""
        step = {Qt.Key.Key_Up: 1.0, Qt.Key.Key_Down: -1.0}.get(Qt.Key(event.key()))
        if step is None or self._value is None:
            super().keyPressEvent(event)
            return
        self.setModified(False)
        self.entered.emit(self._value + step * self._step)

    def _read(self) -> None:
        if not self.isModified():
            return
        text = self.text().strip()
        try:
            try:
                float(text.replace(",", ".").replace("−", "-"))
                text = f"{text} {display_unit(self._unit, self._units).label}"
            except ValueError:
                pass
            value = parse_quantity(text, self._dimension, self._name)
        except BadQuantity as error:
            self._mark(str(error))
            return
        self._mark("")
        self.setModified(False)
        self.entered.emit(value / FACTORS[self._dimension].get(self._unit, 1.0))

    def _mark(self, wrong: str) -> None:
        palette = QPalette()
        if wrong:
            palette.setColor(QPalette.ColorRole.Text, current_theme().colour("reject"))
        self.setPalette(palette)
        self.setToolTip(wrong or self._plain_tip)
