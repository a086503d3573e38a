"""A field for one reading: empty or a number, marked where it is in doubt; Enter takes it and moves on."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QEvent, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QFocusEvent, QKeyEvent, QPaintEvent, QPalette, QPen
from PySide6.QtWidgets import QApplication, QLineEdit, QSizePolicy, QWidget

from valvelab.errors import BadQuantity
from valvelab.window.painting import LEFT, painting, write
from valvelab.window.theme import current_theme, scaled

Reader = Callable[[str], object]


class ReadingField(QLineEdit):
    """`entered(value)` with what the reader made of the text, None for an empty field; `went_on()` after Enter.

    What can't be read keeps its text in the colour of a rejection with the reason as tip; nothing is emitted.
    `rank` sizes the text against the window's. `looked_at()` when the field gets the focus,
    `refused(sentence)` when the text can't be read.
    """

    entered = Signal(object)
    went_on = Signal()
    looked_at = Signal()
    refused = Signal(str)

    def __init__(self, name: str, reader: Reader, parent: QWidget | None = None, rank: float = 1.0) -> None:
        super().__init__(parent)
        self._reader, self._rank = reader, rank
        self._tip, self._doubt, self._wrong = name, "", ""
        self._shown = ""
        self.setAccessibleName(name)
        self.setAlignment(Qt.AlignmentFlag.AlignRight)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)
        self._fit()
        self.editingFinished.connect(self._leave)
        self.textEdited.connect(lambda _text: self._say(""))

    def ask(self, name: str, reader: Reader) -> None:
        """Read something else from now on."""
        self._reader, self._tip = reader, name
        self.setAccessibleName(name)
        self._dress()

    def show_text(self, text: str, doubt: str = "") -> None:
        """Show what the sheet holds, and why it is in doubt; what a person is typing stays."""
        self._doubt, self._shown = doubt, text
        if not (self.hasFocus() and self.isModified()):
            self._wrong = ""
            if self.text() != text:
                self.setText(text)
            self.setModified(False)
        self._dress()

    @property
    def doubt(self) -> str:
        """Why the reading is in doubt; empty where it is not."""
        return self._doubt

    @property
    def wrong(self) -> str:
        """Why the text can't be read; empty where it can."""
        return self._wrong

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter takes the reading and moves on; Escape gives back what was there."""
        if event.key() in {Qt.Key.Key_Return, Qt.Key.Key_Enter}:
            if self.take():
                self.went_on.emit()
            return
        if event.key() == Qt.Key.Key_Escape and (self.isModified() or self._wrong):
            self.setText(self._shown)
            self.setModified(False)
            self._say("")
            return
        super().keyPressEvent(event)

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
        if not (self._doubt or self._wrong):
            return
        sign, colour = ("✗", "reject") if self._wrong else ("▲", "undecided")
        whole = QRectF(self.rect())
        with painting(self) as painter:
            painter.setPen(QPen(current_theme().colour(colour), 1.6))
            painter.drawRoundedRect(whole.adjusted(1, 1, -1, -1), 2, 2)
            font = scaled(self.font(), 0.9, strong=True)
            write(painter, whole.adjusted(5, 0, 0, 0), LEFT, sign, colour, font)

    def _leave(self) -> None:
        self.take()

    def take(self) -> bool:
        """Read the text; False where it can't be read."""
        if not self.isModified():
            return not self._wrong
        try:
            value = self._reader(self.text())
        except BadQuantity as error:
            self._say(str(error))
            self.refused.emit(str(error))
            return False
        self._say("")
        self.setModified(False)
        self.entered.emit(value)
        return True

    def _say(self, wrong: str) -> None:
        self._wrong = wrong
        self._dress()

    def _dress(self) -> None:
        palette = QPalette()
        if self._wrong:
            palette.setColor(QPalette.ColorRole.Text, current_theme().colour("reject"))
        self.setPalette(palette)
        self.setToolTip(self._wrong or (f"{self._tip}: {self._doubt}" if self._doubt else self._tip))
        self.setAccessibleDescription(self._wrong or self._doubt)
        self.update()

    def _fit(self) -> None:
        self.setFont(scaled(QApplication.font(), self._rank, strong=self._rank > 1.2))
        self.updateGeometry()
