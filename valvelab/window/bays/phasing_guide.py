"""The strip above the worksheet: the next reading, which way to turn, why, about where, and a field to type it into."""

from __future__ import annotations

from html import escape

from PySide6.QtCore import QEvent, QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QFontMetrics, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import (
    QApplication,
    QGridLayout,
    QLabel,
    QPushButton,
    QSizePolicy,
    QWidget,
)

from valvelab.language import say, say_number
from valvelab.units import System
from valvelab.window.bays.reading_field import ReadingField
from valvelab.window.chips import Heading, cut, kept_together, tall
from valvelab.window.layouts import above
from valvelab.window.numbers import show
from valvelab.window.painting import CENTRE, RIGHT, Drawn, about, painting, turning, write
from valvelab.window.panes import caution, colour_text
from valvelab.window.theme import current_theme, in_ems, scaled
from valvelab.workbench import worksheet_words
from valvelab.workbench.phasing_bay import Worksheet, step_told

_NARROW_EMS = 38
"""A strip of fewer ems has its words below the sign and the field."""
_BESIDE = (0, 0, 2, 1), (0, 1, 1, 1), (1, 1, 1, 1), (0, 2, 2, 1)
_BELOW = (0, 0, 1, 1), (1, 0, 1, 3), (2, 0, 1, 3), (0, 2, 1, 1)
"""Places of sign, head, words and field: row and column, rows and columns."""


class TurnSign(Drawn):
    """An arrow round a crank: the sense to turn in, with its word under it."""

    least_ems = usual_ems = (5.4, 4.6)

    def __init__(self, parent: QWidget) -> None:
        super().__init__(say("Which way to turn"), parent)
        self._turn: str | None = None
        self._again = False
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Preferred)

    def show_turn(self, turn: str | None, *, again: bool) -> None:
        """Show a sense, or that nothing is left to turn for."""
        self._turn, self._again = turn, again
        self.setAccessibleDescription(say("turn {way}").format(way=say(turn)) if turn else say("nothing left to read"))
        self.update()

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Draw the arrow."""
        em = self.fontMetrics().height()
        colour = current_theme().colour("undecided" if self._again else "accent" if self._turn else "accept")
        centre = QPointF(0.5 * self.width(), 0.5 * (self.height() - 1.5 * em))
        with painting(self) as painter:
            if self._turn is None:
                write(painter, about(centre, 1.35 * em), CENTRE, "✓", colour, scaled(self.font(), 2.2, strong=True))
            else:
                turning(
                    painter,
                    centre,
                    1.35 * em,
                    1.0 if self._turn == "forward" else -1.0,
                    colour,
                    width=0.24 * em,
                    start_deg=130.0,
                    head_deg=112.0,
                    size=0.62 * em,
                )
                painter.drawEllipse(centre, 0.16 * em, 0.16 * em)
            foot = QRectF(0, self.height() - 1.5 * em, self.width(), 1.4 * em)
            write(painter, foot, CENTRE, say(self._turn or "all read"), colour, scaled(self.font(), 0.95, strong=True))


class GuideStrip(QWidget):
    """`typed(value)`: the next reading was typed and Enter pressed."""

    typed = Signal(object)

    def __init__(self, whole: str, parent: QWidget) -> None:
        super().__init__(parent)
        self.turn = TurnSign(self)
        self.head = Heading("", 1.15, self)
        self.head.setTextFormat(Qt.TextFormat.PlainText)
        self._told = ""
        self.words = QLabel(self, wordWrap=True)
        self.words.setAccessibleName(say("What to do, and why"))
        first = say(f"{whole.split('. ', maxsplit=1)[0]}.")
        short = f"{first} {say('Results support, never replace, qualified judgement.')}"
        self.caution = caution(self, short, whole)
        self.expected = QLabel(self, alignment=RIGHT)
        self.field = ReadingField(say("Next reading"), str, self, rank=2.0)
        self.field.entered.connect(self.typed)
        self.field.refused.connect(self.complain)
        self.field.went_on.connect(self.field.selectAll)
        self.enter = QPushButton(say("Enter"), self)
        self.enter.setToolTip(say("Take this reading and go on to the next (Enter)"))
        self.enter.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.enter.clicked.connect(self._on_enter)
        for label in (self.head, self.words):
            label.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        self.words.setAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop)
        self.field.setMinimumWidth(round(7.5 * self.fontMetrics().height()))
        self._lay_out()

    def _lay_out(self) -> None:
        em = self.fontMetrics().height()
        side = QWidget(self)
        asked = QGridLayout(side)
        asked.setContentsMargins(0, 0, 0, 0)
        asked.setSpacing(4)
        asked.addWidget(self.expected, 0, 0, 1, 2)
        asked.addWidget(self.field, 1, 0)
        asked.addWidget(self.enter, 1, 1)
        asked.setRowStretch(2, 1)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)
        self._grid = grid = QGridLayout()
        grid.setHorizontalSpacing(em // 2)
        grid.setVerticalSpacing(2)
        grid.setColumnStretch(1, 1)
        grid.setRowStretch(1, 1)
        grid.addWidget(self.turn, 0, 0, 2, 1)
        grid.addWidget(self.head, 0, 1)
        grid.addWidget(self.words, 1, 1)
        grid.addWidget(side, 0, 2, 2, 1)
        self._side = side
        in_ems(grid)
        in_ems(above(grid, self.caution, on=self, margins=(em // 2, em // 3, em // 2, em // 3), spacing=3))

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Head and words below, over the whole width, where they have no room between the sign and the field."""
        super().resizeEvent(event)
        self._fit_words()

    def event(self, event: QEvent) -> bool:
        """Words that have another width, or another size, in as many lines as they need."""
        known = super().event(event)
        if event.type() == QEvent.Type.LayoutRequest:
            self._fit_words()
        return known

    def _say_head(self, told: str) -> None:
        self._told = told
        self.head.setToolTip(told)
        self._fit_words()

    def _fit_words(self) -> None:
        metrics = QFontMetrics(QApplication.font())
        narrow = self.width() < _NARROW_EMS * metrics.height()
        parts = (self.turn, self.head, self.words, self._side)
        for part, place in zip(parts, _BELOW if narrow else _BESIDE, strict=True):
            if self._grid.getItemPosition(self._grid.indexOf(part)) != place:
                self._grid.addWidget(part, *place)
        self._grid.activate()
        self.head.setWordWrap(narrow)
        head, wide = self.head.fontMetrics(), max(self.head.width(), metrics.height())
        lines = 2 if narrow and head.horizontalAdvance(self._told) > wide else 1
        room = round((1.8 if lines > 1 else 1.0) * wide)
        self.head.setText(cut(self._told, head, room))
        self.head.setFixedHeight(lines * head.lineSpacing())
        usual = round((5.2 if narrow else 4.1) * metrics.height())
        for label, least in ((self.words, usual), (self.caution, 0)):
            label.setFixedHeight(max(least, tall(label, max(label.width(), metrics.height()))))

    def show_step(self, shown: Worksheet, units: System) -> None:
        """Show what to do next."""
        step, target, sheet = shown.inspection.next_reading, shown.target, shown.inspection.sheet
        again = target is not None and target.again
        theme = current_theme()
        self.turn.show_turn(step.turn, again=again)
        self._say_head(step_told(shown))
        what = kept_together(escape(say(step.instruction)))
        quiet = theme.colours["quiet"]
        reason = say(step.why)
        why = kept_together(say("Why: {reason}.").format(reason=escape(reason)))
        self.words.setText(f'{what}<br/><span style="color:{quiet}">{why}</span>')
        self.words.setToolTip(reason)
        for label, name in ((self.caution, "undecided"), (self.expected, "quiet")):
            colour_text(label, name)
        font = QApplication.font()
        self.caution.setFont(scaled(font, 0.9))
        self._fit_words()
        if step.expected_wheel_deg is not None:
            self.expected.setText(
                say("expected about {expected_wheel_deg} deg").format(
                    expected_wheel_deg=show(step.expected_wheel_deg, "deg", "metric", 0)
                )
            )
        elif again and target is not None:
            self.expected.setText(
                say("stands at {text_of} deg").format(
                    text_of=say_number(worksheet_words.text_of(sheet, target.cell, units))
                )
            )
        elif step.lobe is not None:
            self.expected.setText(say("no card: none expected"))
        else:
            self.expected.setText(say("wheel reading, deg"))
        self.field.setEnabled(target is not None)
        self.enter.setEnabled(target is not None)
        if target is not None:
            cell = target.cell
            name = say("Next reading: {spoken}").format(spoken=worksheet_words.spoken(cell, target.sheet))
            self.field.ask(name, lambda text: worksheet_words.read(cell, text, units))
        self.field.show_text("")

    def complain(self, sentence: str) -> None:
        """Say why a text can't be read, until the next step is shown."""
        self._say_head(f"✗ {sentence}")

    def hasHeightForWidth(self) -> bool:
        """Lines as many as usual, more only where the words need them: the wheel below seldom moves."""
        return False

    def _on_enter(self) -> None:
        self.field.setFocus()
        self.field.take()
