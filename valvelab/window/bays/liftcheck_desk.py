"""The inspector's desk: the car and its valves, one large field for the next reading, the decision, the readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QApplication, QHBoxLayout, QLabel, QSizePolicy, QWidget

from valvelab.errors import BadQuantity
from valvelab.figures.description import Figure
from valvelab.figures.rule_figures import scale_figure
from valvelab.language import aloud, marked, say, say_number
from valvelab.phasing.timing import EventName
from valvelab.records.lift_check_result import CheckedLift
from valvelab.records.result import Decision, Verdict
from valvelab.tables.lift_check import as_read, reading_columns, readings_of
from valvelab.tables.sentences import chance, margin
from valvelab.tables.verdicts import SIGNS, WORDS, overall
from valvelab.units import System, parse_quantity
from valvelab.window.bays.reading_field import ReadingField
from valvelab.window.chips import Chip, Heading, Sentence
from valvelab.window.drawing import FigureView
from valvelab.window.fields import typed_quantity
from valvelab.window.layouts import Flow, above, beside, flowing, strip
from valvelab.window.numbers import display_unit, show
from valvelab.window.panes import colour_text, splitter
from valvelab.window.tables import TableView, of
from valvelab.window.theme import in_ems, scaled
from valvelab.workbench.lift_desk import check_of, event_text, events_wanted, read_events
from valvelab.workbench.liftcheck_bay import Desk

MOST_MM = 100.0
_KEYS = marked("Enter takes a reading; Enter alone goes on. / changes between open and shut.")


class EntryField(ReadingField):
    """The field of the next reading: `alone()` for Enter without a reading, `turned()` for a slash."""

    alone = Signal()
    turned = Signal()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """A slash in the empty field changes the list; Enter in it goes on."""
        empty = not self.text().strip()
        if empty and event.text() == "/":
            self.turned.emit()
            return
        if empty and event.key() in {Qt.Key.Key_Return, Qt.Key.Key_Enter}:
            self.alone.emit()
            return
        super().keyPressEvent(event)


class ValveRow(QWidget):
    """The valves of a car, each with its decision; `chosen(valve)`, `added(text)`."""

    chosen = Signal(str)
    added = Signal(object)

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self._names: tuple[str, ...] = ()
        self._chips: list[Chip] = []
        self._row: QHBoxLayout = beside(spacing=4)
        self.more = ReadingField(say("Another valve of this car"), str.strip, self)
        self.more.setPlaceholderText(say("add"))
        self.more.entered.connect(self.added)
        beside(self._row, self.more, 1, on=self, spacing=6)

    def show_valves(self, rows: Sequence[CheckedLift], verdicts: Sequence[Verdict], front: str) -> None:
        """Show these valves, one of them in front."""
        names = tuple(row.valve for row in rows)
        if names != self._names:
            for chip in self._chips:
                self._row.removeWidget(chip)
                chip.hide()
                chip.deleteLater()
            self._names, self._chips = names, [self._chip(name) for name in names]
        for row, chip in zip(rows, self._chips, strict=True):
            decision = overall([one for one in verdicts if one.item == row.name]) if row.readings_mm else None
            sign = f"{SIGNS[decision]} " if decision else ""
            chip.setText(f"{sign}{row.valve} · {len(row.readings_mm)}")
            chip.setChecked(row.valve == front)
        self.more.setVisible(bool(rows))
        self.more.show_text("")

    def _chip(self, name: str) -> Chip:
        chip = Chip(name, say("Valve {name}").format(name=name), self)
        chip.setFont(scaled(QApplication.font(), 1.3))
        chip.clicked.connect(lambda _on, name=name: self.chosen.emit(name))
        self._row.addWidget(chip)
        return chip


@dataclass(frozen=True, slots=True)
class Said:
    """What the desk says in large type: a line, its colour, and a sentence under it."""

    word: str
    colour: str
    sentence: str


def said_of(desk: Desk, units: System) -> Said:
    """The decision on the valve in front, or what is wanted next."""
    row = desk.row
    if row is None and not desk.ruled:
        return Said(
            say("First the rule: F4"), "quiet", say("Once for the event: limit, instrument, the valves that are read.")
        )
    if row is None:
        return Said(say("Next: type its number"), "quiet", say("Enter, and its readings follow."))
    if not row.readings_mm:
        what = say("with the valve shut") if desk.shut else say("at full lift")
        return Said(
            say("Read {valve}").format(valve=row.valve),
            "quiet",
            say("{valve} {what}: type the reading, Enter.").format(valve=row.valve, what=what),
        )
    if row.doubtful_readings or row.doubtful_zero:
        return Said(say("? Take again"), "undecided", _standing(row, units))
    own = [verdict for verdict in desk.shown.verdicts if verdict.item == row.name]
    lift = [verdict for verdict in own if verdict.characteristic == "rule_lift"]
    decimals = desk.decimals(units)
    decision: Decision | None = overall(own)
    if decision is None:
        unit = display_unit("mm", units).label
        return Said(
            f"{show(row.mean_mm, 'mm', units)} {unit}", "text", say("No rule stands for this valve: F4 states it.")
        )
    told = [_told(row.valve, verdict, decimals[verdict], units) for verdict in (lift or own)]
    return Said(f"{SIGNS[decision]} {say(WORDS[decision].capitalize())}", decision, " ".join(told))


def _standing(row: CheckedLift, units: System) -> str:
    """Which readings stand off."""
    lists = ((row.readings_mm, row.doubtful_readings, ""), (row.zero_mm, row.doubtful_zero, say("shut ")))
    unit = display_unit("mm", units).label
    named = [
        f"{what}{n + 1} ({say_number(as_read(values[n], units))} {unit})"
        for values, found, what in lists
        for n in found
    ]
    return say("Reading {names} stands off: read again, or set it aside with a reason (F7).").format(
        names=", ".join(named)
    )


def _told(valve: str, verdict: Verdict, decimals: int, units: System) -> str:
    if verdict.measured is None:
        return f"{valve}: {verdict.reason}."
    value = f"{show(verdict.measured, verdict.unit, units, decimals)} {display_unit(verdict.unit, units).label}"
    parts = [margin(verdict, decimals, units), chance(verdict)]
    return f"{valve} {value}: {', '.join(filter(None, parts))}."


class DeskPane(QWidget):
    """`car(text)`, `entrant(text)`, `valve(name)`, `valve_added(text)`, `reading(mm)`, `went_on()`, `turned()`.

    `field(name, value)` for what else is stated of the valve; `reason(place, of, text)` for a reading set aside.
    """

    car = Signal(object)
    entrant = Signal(object)
    reading = Signal(float)
    went_on = Signal()
    turned = Signal()
    stated = Signal(str, object)
    event_read = Signal(object)
    reason = Signal(object)

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self._units: System = "metric"
        self.car_field = ReadingField(say("Car, boat or engine"), str.strip, self, rank=1.9)
        self.car_field.entered.connect(self.car)
        self.car_field.went_on.connect(self.to_reading)
        self.entrant_field = ReadingField(say("Entrant"), str.strip, self, rank=1.3)
        self.entrant_field.entered.connect(self.entrant)
        self.entrant_field.went_on.connect(self.to_reading)
        self.valves = ValveRow(self)
        self.asked = Heading("", 1.7, self)
        self.asked.setWordWrap(True)
        self.entry = EntryField(say("Next reading"), self._length, self, rank=2.8)
        self.entry.entered.connect(self._on_reading)
        self.entry.alone.connect(self.went_on)
        self.entry.turned.connect(self.turned)
        self.keys = QLabel(say(_KEYS), self, wordWrap=True)
        self.word = Heading("", 3.2, self)
        self.word.setAccessibleName(say("Decision"))
        self.sentence = Sentence(self)
        self.sentence.setAccessibleName(say("Decision in words"))
        self.sentence.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.why = ReadingField(say("Why the reading does not count"), str.strip, self, rank=1.3)
        self.why.entered.connect(self.reason)
        self.why_label = QLabel("", self)
        self.readings = TableView("readings", (), self, spoken="Readings of this valve", sortable=False, wrapped=4)
        self.readings.setFont(scaled(QApplication.font(), 1.3))
        self.scale = FigureView("Lift on the rule's scale", self)
        self.more: dict[str, ReadingField] = {}
        self._of_valve: list[QWidget] = []
        self.events: dict[tuple[float, EventName], ReadingField] = {}
        self._event_row: QHBoxLayout = beside(spacing=4)
        self._lay_out()

    def _lay_out(self) -> None:
        em = self.fontMetrics().height()
        for field, ems in ((self.car_field, 13), (self.entrant_field, 12), (self.entry, 15)):
            field.setFixedWidth(ems * em)
        for field in (self.car_field, self.entrant_field, self.why):
            field.setAlignment(Qt.AlignmentFlag.AlignLeft)
        for label in (self.word, self.sentence, self.asked, self.keys):
            label.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        top = in_ems(flowing(self.car_field, self.entrant_field, self.valves, spacing=em))
        entry = in_ems(beside(self.entry, (above((self.asked, 1), self.keys), 1), spacing=em))
        why = beside(self.why_label, (self.why, 1))
        below = splitter(self, Qt.Orientation.Horizontal, (self.readings, 2), (self.scale, 3))
        below.setMinimumHeight(9 * em)
        rows = (top, entry, self.word, self.sentence, why, (below, 1), self._event_row, self._more())
        in_ems(above(*rows, on=self, margins=(em, em // 2, em, em // 2), spacing=em // 2))
        self.ask_why("")

    def _more(self) -> Flow:
        """What else may be stated of a valve."""
        pairs = []
        rows = (
            ("ratio", say("Rocker off: ratio"), _ratio), ("ratio_uncertainty", say("its uncertainty"), _ratio),
            ("temperature", say("Temperature, °C"), _celsius), ("remark", say("Remark"), _words),
        )  # fmt: skip
        for name, text, reader in rows:
            field = self.more[name] = ReadingField(text, reader, self)
            field.entered.connect(lambda value, name=name: self.stated.emit(name, value))
            field.setMinimumWidth(4 * self.fontMetrics().height())
            label = QLabel(text, self)
            label.setBuddy(field)
            pairs.append(strip(self, label, (field, 1), spacing=4))
        for pair, ems in zip(pairs, (10, 10, 12, 14), strict=True):
            pair.setMinimumWidth(min(pair.sizeHint().width(), ems * self.fontMetrics().height()))
        self._of_valve = list(pairs)
        pairs[-1].setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        return flowing(*pairs, spacing=8)

    def to_reading(self) -> None:
        """Ready for the next reading; for the next car where none is in front."""
        wanted = self.car_field if self.entry.isHidden() else self.entry
        wanted.setFocus(Qt.FocusReason.TabFocusReason)

    def ask_why(self, what: str) -> None:
        """Ask why a reading does not count; empty for no longer."""
        self.why_label.setText(what)
        for widget in (self.why_label, self.why):
            widget.setVisible(bool(what))
        self.why.show_text("")
        if what:
            self.why.setFocus(Qt.FocusReason.OtherFocusReason)

    def show_desk(self, desk: Desk, units: System) -> None:
        """Show the car in front, ready for its next reading; `show_found` tells what was read."""
        self._units = units
        row, rows = desk.row, desk.shown.checks if desk.item else ()
        self.car_field.show_text(desk.item)
        self.car_field.setPlaceholderText(say("number"))
        entrant = next((one.entrant for one in rows if one.entrant), "") or ""
        self.entrant_field.show_text(entrant)
        self.entrant_field.setPlaceholderText(say("entrant"))
        self.entrant_field.setEnabled(bool(rows))
        for widget in (self.entry, self.keys, *self._of_valve):
            widget.setVisible(row is not None)
        self.entry.show_text("")
        self._show_next(desk, row, units)

    def show_found(self, desk: Desk, units: System) -> None:
        """Show what was read of the car in front, and what is decided of the valve."""
        row, rows = desk.row, desk.shown.checks if desk.item else ()
        self.valves.show_valves(rows, desk.shown.verdicts, desk.valve)
        with aloud():
            said = said_of(desk, units)
        self.word.setText(said.word)
        colour_text(self.word, said.colour)
        self.sentence.setText(said.sentence)
        self.sentence.setFont(scaled(QApplication.font(), 1.5))
        colour_text(self.keys, "quiet")
        self._show_readings(desk, row, units)
        check = None if row is None else check_of(desk.inspection.sheet, desk.item, desk.valve)
        self._show_events(desk, units)
        for name, field in self.more.items():
            value = None if check is None else getattr(check, name)
            field.show_text("" if value is None else f"{value:g}" if isinstance(value, float) else str(value))

    def _show_events(self, desk: Desk, units: System) -> None:
        """A field for each event that the rule limits on the valve in front; several readings apart by semicolons."""
        wanted = events_wanted(desk.inspection.sheet, desk.valve) if desk.row is not None else ()
        if wanted != tuple(self.events):
            while (item := self._event_row.takeAt(0)) is not None:
                if (widget := item.widget()) is not None:
                    widget.deleteLater()
            self.events = {at: self._event_field(at, units) for at in wanted}
            self._event_row.addStretch(1)
        check = check_of(desk.inspection.sheet, desk.item, desk.valve)
        for (lift_mm, which), field in self.events.items():
            field.show_text(event_text(check, lift_mm, which))

    def _event_field(self, at: tuple[float, EventName], units: System) -> ReadingField:
        lift_mm, which = at
        named = say("opens at {lift} {unit}") if which == "opening" else say("closes at {lift} {unit}")
        name = named.format(lift=say_number(as_read(lift_mm, units)), unit=display_unit("mm", units).label)
        field = ReadingField(name, lambda text: read_events(text, which), self)
        field.setAlignment(Qt.AlignmentFlag.AlignLeft)
        field.setPlaceholderText("9 BTDC; 9.5 BTDC" if which == "opening" else "41 ABDC")
        field.entered.connect(lambda value: self.event_read.emit((lift_mm, which, value)))
        label = QLabel(name, self)
        label.setBuddy(field)
        self._event_row.addWidget(label)
        self._event_row.addWidget(field, 1)
        return field

    def _show_next(self, desk: Desk, row: CheckedLift | None, units: System) -> None:
        unit = display_unit("mm", units).label
        if row is None:
            self.asked.setText("")
            return
        known = row.zero_mm if desk.shut else row.readings_mm
        self.asked.setText(
            say("{valve} {what}, reading {count}, {unit}").format(
                valve=row.valve, what=say("shut") if desk.shut else say("open"), count=len(known) + 1, unit=unit
            )
        )
        self.entry.setAccessibleName(self.asked.text())

    def _show_readings(self, desk: Desk, row: CheckedLift | None, units: System) -> None:
        self.readings.setVisible(row is not None and bool(row.readings_mm or row.zero_mm))
        self.scale.setVisible(row is not None)
        if row is None:
            return
        found = readings_of(row)
        self.readings.show_rows(found, [of(column, units, found) for column in reading_columns(row, units)])
        self.scale.setVisible(bool(self.scales(desk, units)))

    @staticmethod
    def scales(desk: Desk, units: System) -> list[Figure]:
        """The reading in front on the scale of its limits; none while it has no verdict."""
        row = desk.row
        named = "" if row is None else row.name
        verdict = next((v for v in desk.shown.verdicts if v.item == named and v.characteristic == "rule_lift"), None)
        if row is None or verdict is None or row.mean_mm is None:
            return []
        return [scale_figure(row, verdict, desk.inspection.sheet.decision, desk.decimals(units)[verdict], units)]

    def _on_reading(self, value: object) -> None:
        if isinstance(value, float):
            self.entry.setText("")
            self.reading.emit(value)

    def _length(self, text: str) -> float | None:
        if not text.strip():
            return None
        value = typed_quantity(text, "length", "mm", self._units, "reading")
        if not abs(value) < MOST_MM:
            raise BadQuantity("reading", text, f"a length within ±{MOST_MM:g} mm")
        return value


def _ratio(text: str) -> float | None:
    return parse_quantity(text, "number", "ratio") if text.strip() else None


def _celsius(text: str) -> float | None:
    return parse_quantity(text, "temperature", "temperature") if text.strip() else None


def _words(text: str) -> str | None:
    return text.strip() or None
