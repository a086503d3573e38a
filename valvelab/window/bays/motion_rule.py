"""The inspector's page: repeated indicator readings at the retainer against the rule, with its guard band."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QGridLayout,
    QInputDialog,
    QLabel,
    QSizePolicy,
    QWidget,
)

from valvelab.conformity.decision import Rule, guard_band
from valvelab.decimals import decimals_among
from valvelab.errors import BadQuantity
from valvelab.figures.motion_figures import valve_of
from valvelab.figures.rule_figures import rule_figure
from valvelab.language import say
from valvelab.records.result import Verdict
from valvelab.tables.verdicts import SIGNS, WORDS, counts
from valvelab.units import System
from valvelab.window.bays.reading_field import ReadingField
from valvelab.window.chips import Heading, Words
from valvelab.window.drawing import FigureView
from valvelab.window.fields import typed_quantity
from valvelab.window.layouts import above, beside, stacked
from valvelab.window.numbers import display_unit, limit, percent, show, with_unit
from valvelab.window.panes import button, colour_text, splitter
from valvelab.window.theme import in_ems
from valvelab.workbench import motion_readings
from valvelab.workbench.document import Document
from valvelab.workbench.motion_files import Motion, train_in_use
from valvelab.workbench.worksheet_words import trimmed

_SLOTS = 8
_ROWS = 4


class RulePage(QWidget):
    """`read(values, u, set_aside)` when a reading, the indicator's uncertainty or what does not count changed.

    `saved()` to write them. There is always an empty field for one more reading.
    """

    read = Signal(object, object, object)
    saved = Signal()

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self._values: tuple[float, ...] = ()
        self._u: float | None = None
        self._aside: dict[int, str] = {}
        self._doubtful: tuple[int, ...] = ()
        self._units: System = "metric"
        self.head = Heading("", 1.15, self)
        self.verdict = Heading("", 1.25, self)
        self.words = Words(5.8, self)
        self.words.setAccessibleName(say("What the readings say"))
        self.words.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.scale = FigureView("Rule lift on its scale", self)
        self.fields: list[ReadingField] = []
        self.numbers: list[QLabel] = []
        self._grid = QGridLayout()
        self._grid.setSpacing(4)
        self._grow(_SLOTS)
        self.aside = button(self, "Set a reading asi&de…", "", self._on_aside)
        self.u_field = ReadingField(say("Standard uncertainty of the indicator"), self._length, self)
        self.u_field.entered.connect(lambda value: self.read.emit(self._values, value, self._aside))
        tip = say("Write the train's file with the readings in it; a certificate carries that file")
        self.save = button(self, "&Save train with these readings…", tip, self.saved.emit)
        self._lay_out()

    def _field(self, number: int) -> ReadingField:
        field = ReadingField(
            say("Reading {number} at the retainer").format(number=number + 1), self._length, self, rank=1.15
        )
        field.entered.connect(lambda value, n=number: self._on_reading(n, value))
        field.went_on.connect(lambda n=number: self._go_on(n))
        return field

    def _go_on(self, number: int) -> None:
        """To the next reading, at the latest to the first empty field: what is there is not typed over."""
        after = min(number + 1, len(self._values), len(self.fields) - 1)
        self.fields[after].setFocus(Qt.FocusReason.TabFocusReason)

    def _grow(self, count: int) -> None:
        """Fields for that many readings, numbered down the columns."""
        for n in range(len(self.fields), count):
            self.fields.append(self._field(n))
            self.numbers.append(QLabel(f"{n + 1}", self))
            self.numbers[n].setContentsMargins(0 if n < _ROWS else 8, 0, 0, 0)
            row, column = n % _ROWS, 2 * (n // _ROWS)
            self._grid.addWidget(self.numbers[n], row, column, Qt.AlignmentFlag.AlignRight)
            self._grid.addWidget(self.fields[n], row, column + 1)
            self._grid.setColumnStretch(column + 1, 1)
            if n:
                self.setTabOrder(self.fields[n - 1], self.fields[n])

    def _lay_out(self) -> None:
        em = self.fontMetrics().height()
        self.u_label = QLabel(say("indicator u"), self)
        self.u_label.setBuddy(self.u_field)
        left, right = QWidget(self), QWidget(self)
        margins = (em // 2, em // 3, em // 2, em // 3)
        form = (self.head, self._grid, beside(self.u_label, self.u_field, 1), self.aside, self.save, 1)
        in_ems(above(*form, on=left, margins=margins))
        in_ems(above(self.verdict, self.words, (self.scale, 1), on=right, margins=margins))
        stacked(self, splitter(self, Qt.Orientation.Horizontal, (left, 2), (right, 3), sizes=(235, 425)))
        self.verdict.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)

    def show_rule(self, document: Document, motion: Motion, valve: str) -> None:
        """Show one valve's readings and what they mean."""
        self._units = document.units
        self._values, self._u = motion_readings.readings_of(document, motion, valve)
        unit = display_unit("mm", self._units).label
        self.head.setText(say("{valve}: indicator at the retainer, {unit}").format(valve=valve, unit=unit))
        self._aside = motion_readings.set_aside_of(document, motion, valve)
        found = valve_of(motion.inspection, valve).rule_readings
        self._doubtful = () if found is None else found.doubtful_readings
        self._grow(len(self._values) + 1)
        for n, field in enumerate(self.fields):
            field.show_text(self._text(self._values[n]) if n < len(self._values) else "", self._doubt(n))
            field.setPlaceholderText(say("next") if n == len(self._values) else "")
            shown = n < max(_SLOTS, len(self._values) + 1)
            field.setVisible(shown)
            self.numbers[n].setVisible(shown)
            self.numbers[n].setText(f"({n + 1})" if n in self._aside else f"{n + 1}")
        self._offer_aside()
        self.u_field.show_text("" if self._u is None else self._text(self._u))
        self.u_label.setText(say("indicator u, {unit}").format(unit=unit))
        stated = train_in_use(document)
        readings = motion_readings.rule_readings(document, motion)
        self.save.setEnabled(stated is not None and readings != stated[1].rule_reading)
        self._show_outcome(motion, valve)

    def _doubt(self, number: int) -> str:
        if number in self._aside:
            return say("set aside: {what}").format(what=self._aside[number])
        return (
            say("stands off from the others: repeat it, or set it aside with a reason")
            if number in self._doubtful
            else ""
        )

    def _offer_aside(self) -> None:
        """Setting aside what stands off; else taking back what was set aside."""
        if self._doubtful:
            self.aside.setText(say("Set reading {what} aside…").format(what=self._doubtful[0] + 1))
            self.aside.setToolTip(say("Leave it out of the mean and say why; the reason is printed"))
        elif self._aside:
            self.aside.setText(say("Count reading {max} again").format(max=max(self._aside) + 1))
            self.aside.setToolTip(say("Take the reading back into the mean"))
        self.aside.setVisible(bool(self._doubtful or self._aside))

    def _on_aside(self) -> None:
        if not self._doubtful:
            kept = {place: reason for place, reason in self._aside.items() if place != max(self._aside)}
            self.read.emit(self._values, self._u, kept)
            return
        number = self._doubtful[0]
        said, fine = QInputDialog.getText(
            self, say("Set a reading aside"), say("Why reading {number} does not count:").format(number=number + 1)
        )
        if fine and said.strip():
            self.set_aside(number, said.strip())

    def set_aside(self, number: int, reason: str) -> None:
        """Leave a reading, counted from 0, out of the mean."""
        self.read.emit(self._values, self._u, {**self._aside, number: reason})

    def _show_outcome(self, motion: Motion, valve: str) -> None:
        result = motion.inspection.result
        found = valve_of(motion.inspection, valve)
        verdict = next((v for v in result.verdicts if v.characteristic == "rule_lift" and v.item == valve), None)
        guard = 0.0 if verdict is None else guard_band(verdict.standard_uncertainty, *self._spec_rule)
        colour = "quiet" if verdict is None else verdict.decision
        colour_text(self.verdict, colour)
        if verdict is None:
            self.verdict.setText(say("No rule on the bench"))
        else:
            self.verdict.setText(f"{SIGNS[verdict.decision]} {say(WORDS[verdict.decision].capitalize())}")
        units = self._units
        of_lobes = decimals_among(result.valves, "rule_lift_mm", "mm", units)
        decimals = of_lobes if verdict is None else counts(result, units)[verdict]
        derived = "" if found.rule_lift_mm is None else with_unit(found.rule_lift_mm, "mm", units, of_lobes, of_lobes)
        self.words.setText(" ".join([*self._doubts(), self._sentence(verdict, derived, guard, decimals)]))
        drawn = rule_figure(verdict, self._values, found.rule_lift_mm, guard, units, decimals)
        self.scale.show_figure(drawn, units)

    _spec_rule: tuple[Rule, float] = ("guarded", 0.95)

    def judge_by(self, rule: Rule, confidence: float) -> None:
        """The rule that decides, for the guard band."""
        self._spec_rule = (rule, confidence)

    def _doubts(self) -> list[str]:
        """What has to be settled before anything is decided, first."""
        if not self._doubtful:
            return []
        named = ", ".join(f"{place + 1} ({self._text(self._values[place])})" for place in self._doubtful)
        return [
            say("Reading {named} stands off from the others: repeat it, or set it aside with a reason.").format(
                named=named
            )
        ]

    def _sentence(self, verdict: Verdict | None, derived: str, guard: float, decimals: int) -> str:
        units, unit = self._units, display_unit("mm", self._units).label

        def length(value: float) -> str:
            return f"{limit(value, decimals, 'mm', units)} {unit}"

        count = len(self._values)
        parts = [
            say("{count} readings at the retainer{without}.").format(count=count, without=self._without())
            if count
            else say("No readings at the retainer: derived from the lobe.")
        ]
        if verdict is None:
            parts.append(say("A limit on rule_lift in a spec (TOML) gives a verdict."))
        elif verdict.measured is not None:
            u = verdict.standard_uncertainty
            said = f"{show(verdict.measured, 'mm', units, decimals)} {unit}"
            said += "" if u is None else f", u {show(u, 'mm', units, decimals)} {unit}"
            parts.append(f"{(say('Mean') if count else say('Lift'))} {said}.")
            ends = [
                f"{word} {length(end)}"
                for word, end in ((say("at least"), verdict.lower), (say("at most"), verdict.upper))
                if end is not None
            ]
            clause = f" ({verdict.clause})" if verdict.clause else ""
            parts.append(say("The rule: {names}{clause}.").format(names=say(" and ").join(ends), clause=clause))
            if verdict.probability_conforming is not None:
                parts.append(
                    say("Probability that the true lift conforms: {probability_conforming}.").format(
                        probability_conforming=percent(verdict.probability_conforming)
                    )
                )
            if guard > 0.0:
                parts.append(
                    say("Accepted only {guard} or more inside the limit (guard band).").format(
                        guard=with_unit(guard, "mm", units, 3, 4)
                    )
                )
        if derived and count:
            parts.append(say("The measured lobe behind this rocker would give {derived}.").format(derived=derived))
        return " ".join(parts)

    def _without(self) -> str:
        return say(", {count} of them set aside").format(count=len(self._aside)) if self._aside else ""

    def _text(self, value: float) -> str:
        inch = self._units == "inch"
        return trimmed(show(value, "mm", self._units, 5 if inch else 4), 4 if inch else 2)

    def _length(self, text: str) -> float | None:
        if not text.strip():
            return None
        value = typed_quantity(text, "length", "mm", self._units, "reading at the retainer")
        if not 0.0 < value < 100.0:
            raise BadQuantity("reading at the retainer", text, "a length above 0 and below 100 mm")
        return value

    def _on_reading(self, number: int, value: object) -> None:
        kept, aside = list(self._values), dict(self._aside)
        aside.pop(number, None)
        if isinstance(value, float):
            kept[number : number + 1] = [value]
        elif number < len(kept):
            del kept[number]
            aside = {place - (place > number): reason for place, reason in aside.items()}
        self.read.emit(tuple(kept), self._u, aside)
