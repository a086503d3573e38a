"""Small widgets of the house: a switch that shows its state by fill and frame, and a flat bar."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Collection, Mapping, Sequence
from typing import Any

from PySide6.QtCore import QEvent, QRectF, QSize, Qt
from PySide6.QtGui import QFontMetrics, QPaintEvent, QPen, QTextDocument
from PySide6.QtWidgets import (
    QApplication,
    QButtonGroup,
    QLabel,
    QSizePolicy,
    QToolBar,
    QToolButton,
    QWidget,
)

from valvelab.language import say, say_within
from valvelab.window.layouts import flowing, strip
from valvelab.window.painting import LEFT, painting, write
from valvelab.window.theme import current_theme, scaled


class Chip(QToolButton):
    """A checkable word: filled and framed while on."""

    def __init__(self, text: str, spoken: str, parent: QWidget) -> None:
        super().__init__(parent)
        self.setText(say(text))
        self.setCheckable(True)
        self.setAccessibleName(say(spoken))
        self.setToolTip(say(spoken))
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)
        self.setCursor(Qt.CursorShape.PointingHandCursor)

    def sizeHint(self) -> QSize:
        """Text, icon and some room."""
        em = self.fontMetrics().height()
        wide = self.fontMetrics().horizontalAdvance(self.text()) + round(0.66 * em)
        if not self.icon().isNull():
            wide += round(1.1 * em)
        return QSize(wide, round(1.45 * em))

    def minimumSizeHint(self) -> QSize:
        """Room for the start of the text; the rest is in the tip and the accessible name."""
        whole = self.sizeHint()
        return QSize(min(whole.width(), round(2.2 * self.fontMetrics().height())), whole.height())

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Draw the chip."""
        theme, em = current_theme(), self.fontMetrics().height()
        on, hover = self.isChecked(), self.underMouse()
        left = 0.33 * em
        with painting(self) as painter:
            painter.setPen(QPen(theme.colour("accent" if on or self.hasFocus() else "line"), 1.0))
            painter.setBrush(theme.colour("chosen" if on else "raised" if hover else "panel"))
            painter.drawRoundedRect(QRectF(self.rect()).adjusted(0.75, 0.75, -0.75, -0.75), 0.3 * em, 0.3 * em)
            if not self.icon().isNull():
                side = round(em)
                self.icon().paint(painter, round(left), (self.height() - side) // 2, side, side)
                left += 1.1 * em
            box = QRectF(left, 0, self.width() - left - 0.2 * em, self.height())
            text = self.fontMetrics().elidedText(self.text(), Qt.TextElideMode.ElideRight, round(box.width()) + 2)
            write(painter, box, LEFT, text, "text" if on else "quiet")


def chip_row(
    parent: QWidget,
    group: QButtonGroup,
    names: Sequence[tuple[Any, str]],
    chosen: Callable[[Any, bool], None],
    spoken: Mapping[Any, str],
    spacing: int = 2,
    *,
    wraps: bool = False,
) -> QWidget:
    """Chips beside one another; `chosen(name, on)` when one is clicked. `spoken` where it is not `Show …`.

    Where it `wraps`, those that have no room stand in a further line.
    """
    for name, text in names:
        chip = Chip(text, spoken.get(name) or say("Show {what}").format(what=say_within(text)), parent)
        chip.setProperty("name", name)
        chip.clicked.connect(lambda on, name=name: chosen(name, on))
        group.addButton(chip)
    if not wraps:
        return strip(parent, *group.buttons(), spacing=spacing)
    row = QWidget(parent)
    row.setLayout(flowing(*group.buttons(), spacing=spacing))
    return row


def press(group: QButtonGroup, names: Collection[Any]) -> None:
    """Set which chips are on, without telling anyone."""
    exclusive = group.exclusive()
    group.setExclusive(False)
    for button in group.buttons():
        button.setChecked(button.property("name") in names)
    group.setExclusive(exclusive)


class Heading(QLabel):
    """A heading that keeps its rank at every text size."""

    def __init__(self, text: str, rank: float, parent: QWidget | None = None) -> None:
        super().__init__(text, parent)
        self._rank = rank
        self._fit()

    def event(self, event: QEvent) -> bool:
        """Follow the application's text size."""
        if event.type() == QEvent.Type.ApplicationFontChange:
            self._fit()
        return super().event(event)

    def _fit(self) -> None:
        self.setFont(scaled(QApplication.font(), self._rank, strong=True))


def cut(text: str, metrics: QFontMetrics, room: int) -> str:
    """A text as wide as there is room, ended by an ellipsis after a whole word: a figure that is cut is another."""
    said = metrics.elidedText(text, Qt.TextElideMode.ElideRight, room)
    if said == text or not said.endswith("…"):
        return said
    kept = said[:-1]
    within = not text[len(kept) : len(kept) + 1].isspace()
    whole = kept.rpartition(" ")[0].rstrip(" ,;:·") if within else ""
    return f"{whole}…" if 2 * len(whole) > len(kept) else said


def kept_together(text: str) -> str:
    """A text whose figures stay beside their units and what follows them where lines are broken."""
    whole = re.sub(r"(?<=\d) (?=\S)|(?<=±) |(?<=\bu) (?=\d)", "\u00a0", text)
    return re.sub(r"(?<=\w)/(?=(?:min|mm|in|s)\b)", "/\u2060", whole)


class Line(QLabel):
    """Words in one line that takes what room there is; where that is too little they end in an ellipsis."""

    def __init__(self, text: str = "", parent: QWidget | None = None) -> None:
        super().__init__(text, parent, textFormat=Qt.TextFormat.PlainText)

    def minimumSizeHint(self) -> QSize:
        """Room for the start of the words."""
        em = self.fontMetrics().height()
        return QSize(min(4 * em, super().sizeHint().width()), super().minimumSizeHint().height())

    def shown(self) -> str:
        """The words as they are written."""
        return cut(self.text(), self.fontMetrics(), self.contentsRect().width())

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Write them."""
        with painting(self) as painter:
            colour = self.palette().color(self.foregroundRole())
            write(painter, self.contentsRect(), self.alignment(), self.shown(), colour, self.font())


class Sentence(QLabel):
    """Words that wrap, each figure in a line with its unit."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent, wordWrap=True)

    def setText(self, text: str) -> None:
        """Show a text."""
        super().setText(kept_together(text))

    def text(self) -> str:
        """The text as it was given."""
        return super().text().replace("\u00a0", " ").replace("\u2060", "")


class Words(Sentence):
    """Words that wrap, as high as they need, and no lower than some lines: what lies below seldom moves."""

    def __init__(self, lines: float, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._lines = lines
        policy = QSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Minimum)
        policy.setHeightForWidth(True)
        self.setSizePolicy(policy)
        self.setAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop)

    def heightForWidth(self, width: int) -> int:
        """Height of all the words, or of the lines that are kept."""
        return max(self.minimumSizeHint().height(), super().heightForWidth(width))

    def minimumSizeHint(self) -> QSize:
        """The lines that are kept."""
        return QSize(0, round(self._lines * self.fontMetrics().height()))

    def sizeHint(self) -> QSize:
        """No wider than there is room."""
        return self.minimumSizeHint()


def tall(label: QLabel, width: int) -> int:
    """Height of all the words of a label at a width, whatever height it was given: Qt's own is never less than that."""
    document = QTextDocument()
    document.setDefaultFont(label.font())
    document.setDocumentMargin(0.0)
    if "</" in label.text():
        document.setHtml(label.text())
    else:
        document.setPlainText(label.text())
    document.setTextWidth(width)
    return math.ceil(document.size().height())


class FlatBar(QToolBar):
    """A tool bar on the window's own colour with one line where it ends."""

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Draw the ground; the buttons draw themselves."""
        with painting(self, "window", smooth=False) as painter:
            painter.setPen(current_theme().colour("line"))
            if self.orientation() == Qt.Orientation.Vertical:
                painter.drawLine(self.width() - 1, 0, self.width() - 1, self.height())
            else:
                painter.drawLine(0, self.height() - 1, self.width(), self.height() - 1)
