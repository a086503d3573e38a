"""The tour: a ring about a control of the window and a card beside it, step by step; the window stays usable."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from PySide6.QtCore import QEvent, QObject, QRect, QRectF, Qt, QTimer, Signal
from PySide6.QtGui import QCloseEvent, QKeyEvent, QPaintEvent, QPen
from PySide6.QtWidgets import QLabel, QPushButton, QWidget

from valvelab.language import say
from valvelab.window.chips import Heading
from valvelab.window.layouts import above, beside
from valvelab.window.painting import painting
from valvelab.window.theme import current_theme
from valvelab.workbench.tour import STEPS, Target

Place = tuple[QWidget, QRect]
"""A widget, and the part of it that is meant."""
_CARD_EMS = 26
_ROOM = 10


class Ring(QWidget):
    """A ring over the window that lets every click through."""

    def __init__(self, window: QWidget) -> None:
        super().__init__(window)
        self.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self.about = QRect()

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Draw it about what is meant."""
        with painting(self) as painter:
            painter.setPen(QPen(current_theme().colour("accent"), 3.0))
            painter.drawRoundedRect(QRectF(self.about).adjusted(1.5, 1.5, -1.5, -1.5), 6, 6)


class Tour(QWidget):
    """The card with its buttons. `places` finds what a step points at; `entered(target)` as a step begins, `ended`.

    Enter goes on, Escape ends, Tab leaves the card for the window.
    """

    entered = Signal(str)
    ended = Signal()

    def __init__(self, window: QWidget, places: Mapping[Target, Callable[[], Place]]) -> None:
        super().__init__(window)
        self._window, self._places = window, places
        self.at = 0
        self.ring = Ring(window)
        self.head = Heading("", 1.15, self)
        self.text = QLabel(self, wordWrap=True)
        self.count = QLabel(self)
        self.back = QPushButton(say("Bac&k"), self)
        self.on = QPushButton(say("&Next"), self)
        self.end = QPushButton(say("En&d the tour"), self)
        self.back.clicked.connect(lambda: self.go(-1))
        self.on.clicked.connect(lambda: self.go(1))
        self.end.clicked.connect(self.close)
        self.setTabOrder(self.on, self.back)
        self.setTabOrder(self.back, self.end)
        buttons = beside(self.end, 1, self.count, self.back, self.on, spacing=6)
        self._lines = above(self.head, self.text, buttons, on=self, margins=(14, 10, 14, 10), spacing=8)
        self.setFixedWidth(_CARD_EMS * self.fontMetrics().height())
        window.installEventFilter(self)

    def begin(self) -> None:
        """Show the first step."""
        self.at = 0
        self._show()

    def go(self, by: int) -> None:
        """Go on, or back; past the last step the tour is over."""
        self.at += by
        if self.at >= len(STEPS):
            self.close()
        else:
            self._show()

    def _show(self) -> None:
        step = STEPS[self.at]
        self.entered.emit(step.target)
        self.head.setText(say(step.head))
        self.text.setText(say(step.text))
        self.count.setText(say("{number} of {count}").format(number=self.at + 1, count=len(STEPS)))
        self.back.setEnabled(self.at > 0)
        self.on.setText(say("Do&ne") if self.at == len(STEPS) - 1 else say("&Next"))
        self.setAccessibleName(say("Tour: {head}").format(head=self.head.text()))
        self.setAccessibleDescription(self.text.text())
        self.show()
        self.place()
        self.on.setFocus()

    def place(self) -> None:
        """Put the ring about what is meant, and the card below it or above it, wherever there is room."""
        if self.isHidden():
            return
        window = self._window
        widget, part = self._places[STEPS[self.at].target]()
        meant = QRect(widget.mapTo(window, part.topLeft()), part.size()).adjusted(-3, -3, 3, 3)
        self.ring.setGeometry(window.rect())
        self.ring.about = meant
        self.setFixedHeight(self._lines.heightForWidth(self.width()))
        below, over = meant.bottom() + _ROOM, meant.top() - _ROOM - self.height()
        top = below if below + self.height() <= window.height() else max(_ROOM, over)
        left = max(_ROOM, min(meant.left(), window.width() - self.width() - _ROOM))
        self.move(left, top)
        self.ring.show()
        self.ring.raise_()
        self.raise_()
        self.ring.update()

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Follow the window's size."""
        if event.type() in {QEvent.Type.Resize, QEvent.Type.LayoutRequest}:
            QTimer.singleShot(0, self, self.place)
        return super().eventFilter(watched, event)

    def paintEvent(self, _event: QPaintEvent) -> None:
        """A raised panel in the ring's colour."""
        with painting(self, "raised") as painter:
            painter.setPen(QPen(current_theme().colour("accent"), 2.0))
            painter.drawRect(QRectF(self.rect()).adjusted(1.0, 1.0, -1.0, -1.0))

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Escape ends the tour; Enter presses the button that has the focus."""
        if event.key() == Qt.Key.Key_Escape:
            self.close()
        elif event.key() in {Qt.Key.Key_Return, Qt.Key.Key_Enter}:
            focused = self.focusWidget()
            (focused if isinstance(focused, QPushButton) else self.on).click()
        else:
            super().keyPressEvent(event)

    def closeEvent(self, event: QCloseEvent) -> None:
        """The tour is over."""
        self.ring.hide()
        self.ended.emit()
        super().closeEvent(event)
