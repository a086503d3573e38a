"""A field for one reading: empty or a number, marked where it is in doubt; Enter takes it and moves on."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QFocusEvent, QFontMetrics, QKeyEvent, QPaintEvent, QPen
from PySide6.QtWidgets import QApplication, QSizePolicy, QWidget

from valvelab.window.fields import Reader, TypedField
from valvelab.window.painting import LEFT, painting, write
from valvelab.window.theme import current_theme, scaled

_LEAST = 0.45
"""How small the sign of a doubt may be drawn, of the usual."""


class ReadingField(TypedField):
    """`entered(value)` with what the reader made of the text, None for an empty field; `went_on()` after Enter.

    `rank` sizes the text against the window's; `doubt` says why the reading is in doubt. `looked_at()` when the field
    gets the focus.
    """

    went_on = Signal()
    looked_at = Signal()

    def __init__(self, name: str, reader: Reader, parent: QWidget | None = None, rank: float = 1.0) -> None:
        super().__init__(name, name, reader, parent)
        self._rank, self._shown = rank, ""
        self.doubt = ""
        self.setAlignment(Qt.AlignmentFlag.AlignRight)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)
        self._fit()

    def ask(self, name: str, reader: Reader) -> None:
        """Read something else from now on."""
        self._reader, self._tip = reader, name
        self.setAccessibleName(name)
        self._dress()

    def show_text(self, text: str, doubt: str = "") -> None:
        """Show what the sheet holds, and why it is in doubt; what a person is typing stays."""
        self.doubt, self._shown = doubt, text
        if not (self.hasFocus() and self.isModified()):
            self.wrong = ""
            if self.text() != text:
                self.setText(text)
            self.setModified(False)
        self._dress()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter, or a line feed, takes the reading and moves on; Escape gives back what was there."""
        if event.key() in {Qt.Key.Key_Return, Qt.Key.Key_Enter} or event.text() == "\n":
            if self.take():
                self.went_on.emit()
            return
        if event.key() == Qt.Key.Key_Escape and (self.isModified() or self.wrong):
            self.setText(self._shown)
            self.setModified(False)
            self._say("")
            return
        super().keyPressEvent(event)

    def event(self, event: QEvent) -> bool:
        """A Tab after something typed is an Enter: gauges that type may end their readings with it."""
        if not (isinstance(event, QKeyEvent) and event.type() == QEvent.Type.KeyPress):
            return super().event(event)
        if event.key() != Qt.Key.Key_Tab or not self.isModified():
            return super().event(event)
        if self.take():
            self.went_on.emit()
        return True

    def focusInEvent(self, event: QFocusEvent) -> None:
        """The whole text is chosen, so that typing replaces it."""
        super().focusInEvent(event)
        self.looked_at.emit()
        if event.reason() != Qt.FocusReason.MouseFocusReason:
            self.selectAll()

    def changeEvent(self, event: QEvent) -> None:
        """Follow the text size."""
        super().changeEvent(event)
        if event.type() == QEvent.Type.ApplicationFontChange:
            self._fit()

    def sizeHint(self) -> QSize:
        """Room for a reading with two decimals."""
        metrics = self.fontMetrics()
        return QSize(metrics.horizontalAdvance("−000.00") + metrics.height(), round(1.55 * metrics.height()))

    def minimumSizeHint(self) -> QSize:
        """Room for a reading."""
        metrics = self.fontMetrics()
        return QSize(metrics.horizontalAdvance("000.00") + metrics.height() // 2, self.sizeHint().height())

    def paintEvent(self, event: QPaintEvent) -> None:
        """The field, framed with a mark in its corner where the reading is in doubt or can't be read."""
        super().paintEvent(event)
        if not (self.doubt or self.wrong):
            return
        sign, colour = ("✗", "reject") if self.wrong else ("▲", "undecided")
        whole = QRectF(self.rect())
        with painting(self) as painter:
            painter.setPen(QPen(current_theme().colour(colour), 1.6))
            painter.drawRoundedRect(whole.adjusted(1, 1, -1, -1), 2, 2)
            font = scaled(self.font(), 0.9, strong=True)
            left, wide = 5, QFontMetrics(font).horizontalAdvance(sign)
            room = self.width() - self.fontMetrics().horizontalAdvance(self.text()) - 2 * left
            if room < wide + left:  # a narrow field: smaller and at the edge, off the reading
                left, font = 3, scaled(self.font(), 0.9 * max(_LEAST, room / (wide + left)), strong=True)
            write(painter, whole.adjusted(left, 0, 0, 0), LEFT, sign, colour, font)

    def _dress(self) -> None:
        super()._dress()
        if self.doubt and not self.wrong:
            self.setToolTip(f"{self._tip}: {self.doubt}")
        self.setAccessibleDescription(self.wrong or self.doubt)
        self.update()

    def _fit(self) -> None:
        self.setFont(scaled(QApplication.font(), self._rank, strong=self._rank > 1.2))
        self.updateGeometry()
