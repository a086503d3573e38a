"""Inputs that read what people type."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from PySide6.QtCore import QEvent, QPoint, QSize, Qt, Signal
from PySide6.QtGui import QHideEvent, QKeyEvent, QKeySequence, QPalette
from PySide6.QtWidgets import QComboBox, QLabel, QLineEdit, QWidget

from valvelab.errors import BadQuantity
from valvelab.language import say
from valvelab.units import FACTORS, Dimension, System, parse_quantity, split_quantity
from valvelab.window.numbers import display_unit, show
from valvelab.window.theme import current_theme

Reader = Callable[[str], object]
"""Makes a value of what was typed; raises BadQuantity."""


def typed_quantity(text: str, dimension: Dimension, unit: str, units: System, name: str) -> float:
    """The canonical value of what was typed, without a unit in that in which `unit` is shown. Raises BadQuantity."""
    number, stated = split_quantity(text, name)
    return parse_quantity(text if stated else f"{number!r} {display_unit(unit, units).label}", dimension, name)


_MOST_EMS = 6


def refusal_told(refusal: BadQuantity) -> str:
    """A refusal of something typed in the window's language: the field, what was found, what was expected."""
    return say(str(refusal))


_BACK_AND_FORTH = (QKeySequence.StandardKey.Undo, QKeySequence.StandardKey.Redo)


class TypedField(QLineEdit):
    """`entered(value)` with what the reader makes of the text, when the field is left or Enter is pressed.

    What can't be read, for the reason in `wrong`, keeps its text in the colour of a rejection with that reason as tip;
    nothing is emitted but `refused(sentence)`. Where nobody takes that up, the sentence stands under the field.
    """

    entered = Signal(object)
    refused = Signal(str)

    def __init__(self, name: str, tip: str, reader: Reader, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._tip, self._reader = tip, reader
        self.wrong = ""
        self.sentence: QLabel | None = None
        self.setAccessibleName(name)
        self.setToolTip(tip)
        self.editingFinished.connect(self.take)
        self.textEdited.connect(lambda _text: self._say(""))

    def take(self) -> bool:
        """Read the text; False where it can't be read."""
        if not self.isModified():
            return not self.wrong
        try:
            value = self._reader(self.text())
        except BadQuantity as error:
            sentence = refusal_told(error)
            self._say(sentence)
            self.refused.emit(sentence)
            return False
        self._say("")
        self.setText(self.text())  # what was typed is an edit of the bench from now on, and undone there
        self.setModified(False)
        self.entered.emit(value)
        return True

    def minimumSizeHint(self) -> QSize:
        """Room for the whole of the text, up to a usual length of one."""
        least, em = super().minimumSizeHint(), self.fontMetrics().height()
        wide = self.fontMetrics().horizontalAdvance(self.text()) + em
        return QSize(max(least.width(), min(wide, _MOST_EMS * em)), least.height())

    def event(self, event: QEvent) -> bool:
        """Undo and redo are the field's while something is being typed, and else the bench's."""
        keys = event if isinstance(event, QKeyEvent) and event.type() == QEvent.Type.ShortcutOverride else None
        if keys is not None and not self.isModified() and any(keys.matches(one) for one in _BACK_AND_FORTH):
            event.ignore()
            return False
        return super().event(event)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """A line feed is an Enter: some gauges end what they type with it."""
        if event.text() == "\n":
            event = QKeyEvent(event.type(), Qt.Key.Key_Return, Qt.KeyboardModifier.NoModifier, "\r")
        super().keyPressEvent(event)

    def _say(self, wrong: str) -> None:
        if wrong or self.wrong:
            self.wrong = wrong
            self._dress()

    def _dress(self) -> None:
        palette = QPalette()
        if self.wrong:
            palette.setColor(QPalette.ColorRole.Text, current_theme().colour("reject"))
        self.setPalette(palette)
        self.setToolTip(self.wrong or self._tip)
        self.setAccessibleDescription(self.wrong)
        self._say_below()

    def _say_below(self) -> None:
        """The sentence under the field, over whatever lies there, as long as the field is wrong and seen."""
        known = self.metaObject()  # `QMetaMethod.fromSignal(self.refused)` would hold the field for ever
        taken_up = self.isSignalConnected(known.method(known.indexOfSignal("refused(QString)")))
        if self.sentence is not None:
            self.sentence.deleteLater()
            self.sentence = None
        if not self.wrong or taken_up or not self.isVisible():
            return
        window, theme = self.window(), current_theme()
        made = self.sentence = QLabel(f"✗ {self.wrong}", window, wordWrap=True, margin=4)
        made.setStyleSheet(f"background: {theme.colours['panel']}; color: {theme.colours['reject']};")
        made.setFixedWidth(min(window.width(), 24 * self.fontMetrics().height()))
        made.adjustSize()
        below = self.mapTo(window, QPoint(0, self.height() + 2))
        above = below.y() - self.height() - made.height() - 4
        room = below.y() + made.height() <= window.height()
        made.move(max(0, min(below.x(), window.width() - made.width())), below.y() if room else above)
        made.show()
        made.raise_()

    def hideEvent(self, event: QHideEvent) -> None:
        """The sentence goes with the field."""
        super().hideEvent(event)
        if self.sentence is not None:
            self.sentence.hide()


class QuantityField(TypedField):
    """A quantity with or without a unit; without one it is in the unit shown. `entered(value)` is in `unit`.

    The arrow keys step it by `step`.
    """

    def __init__(self, name: str, dimension: Dimension, unit: str, step: float, parent: QWidget | None = None) -> None:
        super().__init__(
            name,
            say("{name}: a number in the unit shown, or with its unit, such as 0.050 in").format(name=name),
            self._read,
            parent,
        )
        self._name, self._dimension, self._unit, self._step = name, dimension, unit, step
        self._units: System = "metric"
        self._value: float | None = None

    def _read(self, text: str) -> float:
        value = typed_quantity(text, self._dimension, self._unit, self._units, self._name)
        return value / FACTORS[self._dimension].get(self._unit, 1.0)

    def show_value(self, value: float, units: System, decimals: int) -> None:
        """Show a value in `unit`, as the reader's system writes it."""
        self._units, self._value = units, value
        text = f"{show(value, self._unit, units, decimals)} {display_unit(self._unit, units).label}"
        if not self.hasFocus() or not self.isModified():
            self._say("")
            if len(text) != len(self.text()):
                self.updateGeometry()
            self.setText(text)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """The arrow keys step the value."""
        step = {Qt.Key.Key_Up: 1.0, Qt.Key.Key_Down: -1.0}.get(Qt.Key(event.key()))
        if step is None or self._value is None:
            super().keyPressEvent(event)
            return
        self.setModified(False)
        self.entered.emit(self._value + step * self._step)


class Choice(QComboBox):
    """A choice that asks for the room of some letters, and by itself for no more; its kinds ask for what they show."""

    letters: int

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.setMinimumContentsLength(self.letters)

    def wide(self, text: str) -> int:
        """Width of a text in the box, with a pixel on both sides, as the style has it."""
        return self.fontMetrics().horizontalAdvance(text) + 2

    def beyond(self, texts: Iterable[str]) -> int:
        """Pixels by which the widest of these needs more than the letters that are asked for."""
        usual = self.fontMetrics().horizontalAdvance("X") * self.minimumContentsLength()
        return max(0, max(map(self.wide, texts), default=0) - usual)
