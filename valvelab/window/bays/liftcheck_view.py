"""The bay of lift checks: the car in front with its readings and decision in large type, beside it all cars."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import Any

from pydantic import ValidationError
from PySide6.QtCore import Qt
from PySide6.QtGui import QKeySequence, QShortcut, QShowEvent
from PySide6.QtWidgets import QApplication, QFileDialog, QWidget

from valvelab.errors import BadQuantity
from valvelab.inspection.lift_check.inspect import CAUTION
from valvelab.language import say, say_many, say_number
from valvelab.records.lift_check import LiftCheckSheet, ReadingList
from valvelab.tables.sentences import margin
from valvelab.tables.verdicts import RANKED, WORDS, rank
from valvelab.units import System
from valvelab.window.bays.liftcheck_desk import DeskPane
from valvelab.window.bays.liftcheck_rule import RulePane
from valvelab.window.bays.view import BayView
from valvelab.window.bench import Bench
from valvelab.window.chips import Heading
from valvelab.window.layouts import FormArea, Stack, above, beside
from valvelab.window.panes import button, caution, colour_text, look, splitter
from valvelab.window.papers import write_paper
from valvelab.window.printing import hand_over
from valvelab.window.saving import save_as
from valvelab.window.tables import TableColumn, TableView
from valvelab.window.theme import in_ems, scaled
from valvelab.workbench import edits, lift_desk, lift_rule, liftcheck_bay
from valvelab.workbench.document import Document, Paper, Problem
from valvelab.workbench.lift_desk import Car
from valvelab.workbench.liftcheck_bay import SHEETS, Desk, LiftCheckState


class LiftCheckView(BayView[Desk]):
    """See the module text."""

    def __init__(self, bench: Bench) -> None:
        super().__init__(bench)
        self._desk: Desk | None = None
        self._folder: Path | None = None
        self._aside: tuple[ReadingList, int] | None = None
        self.desk = DeskPane(self)
        self.rule = RulePane(bench, self)
        self.rule.edited.connect(self._on_rule)
        self.rule.told.connect(self._on_told)
        self._connect_desk()
        self.cars = TableView("cars", (), self, spoken="All cars of the event", sortable=False, empty="No car yet.")
        self.cars.ask_width(close=True)
        self.cars.chosen.connect(lambda car: self.bring(car.item))
        self.cars.setFont(scaled(QApplication.font(), 1.15))
        self.counts = Heading("", 1.1, self)
        self.caution = caution(self, CAUTION.split(". ", maxsplit=1)[0] + ".", CAUTION)
        self._lay_out()
        self._make_keys()

    def _connect_desk(self) -> None:
        desk = self.desk
        desk.car.connect(self._on_car)
        desk.entrant.connect(self._on_entrant)
        desk.valves.chosen.connect(lambda valve: self._look(valve=valve, asked=None))
        desk.valves.added.connect(self._on_valve)
        desk.reading.connect(self._on_reading)
        desk.went_on.connect(self.go_on)
        desk.turned.connect(self.turn)
        desk.stated.connect(self._on_stated)
        desk.event_read.connect(self._on_event)
        desk.reason.connect(self._on_reason)

    def _lay_out(self) -> None:
        em = self.fontMetrics().height()
        area = FormArea(say("Rule and instrument"), self)
        area.setWidget(self.rule)
        self.pages = Stack(self)
        for page in (self.desk, area):
            self.pages.addWidget(page)
        self._make_buttons()
        left = QWidget(self)
        above((self.pages, 1), self.caution, on=left, spacing=2)
        right = QWidget(self)
        buttons = (
            beside((self.next_button, 1), (self.rule_button, 1)),
            beside((self.page_button, 1), (self.print_button, 1)),
            beside((self.save_button, 1), (self.new_button, 1)),
        )
        margins = (em // 2, em // 3, em // 2, em // 3)
        in_ems(above(self.counts, (self.cars, 1), *buttons, on=right, margins=margins, spacing=em // 3))
        whole = splitter(self, Qt.Orientation.Horizontal, (left, 5), (right, 2), sizes=(605, 445))
        above((whole, 1), on=self)

    def _make_buttons(self) -> None:
        tip = say("Write this car's page (PDF); the next car need not wait")
        self.rule_button = button(self, "Rule (F4)", "State the rule once for the event", self.turn_page)
        self.next_button = button(self, "Next car (F6)", "Leave this car and read the next", self.next_car)
        self.page_button = button(self, "Page (F9)", tip, self.write_page)
        self.print_button = button(
            self, "Print (Ctrl+P)", say("{tip}, and hand it to the printer").format(tip=tip), self.print_page
        )
        self.save_button = button(self, "&Save sheet…", "Write the event as a sheet (TOML)", self.save)
        self.new_button = button(self, "New even&t", "Begin a blank sheet; files stay where they are", self.start_new)

    def _make_keys(self) -> None:
        keys: tuple[tuple[str, Callable[[], object]], ...] = (
            ("F4", self.turn_page), ("F6", self.next_car), ("F7", self.set_aside), ("F8", self.turn),
            ("F9", self.write_page), ("PgUp", partial(self._step, -1)),
            ("PgDown", partial(self._step, 1)),
        )  # fmt: skip
        for key, act in keys:
            made = QShortcut(QKeySequence(key), self)
            made.setContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)
            made.activated.connect(act)

    def showEvent(self, event: QShowEvent) -> None:
        """Ready to type."""
        super().showEvent(event)
        self.desk.to_reading()

    # -- showing ----------------------------------------------------------------------------------------------------

    def headline(self, document: Document, shown: Desk) -> tuple[str, str]:
        """The event or the car in front; the rule."""
        sheet = shown.inspection.sheet
        event = sheet.event or say("Lift check")
        title = f"{shown.item} · {event}" if shown.item else event
        title += self.bench.kept(in_file=shown.saved or not sheet.check)
        found = liftcheck_bay.spec_in_use(document)
        beside_it = "" if found is None else say(" and {name}").format(name=found[0].name)
        sure = 100.0 * sheet.decision.confidence
        limits = len(sheet.limit) + len(sheet.rule)
        if not limits and found is None:
            return title, say("no rule yet: F4 states it")
        return title, say("the event's own rule{beside_it}, {rule} at {sure} %").format(
            beside_it=beside_it, rule=say(sheet.decision.rule), sure=say_number(f"{sure:.0f}")
        )

    def progress(self, _document: Document, shown: Desk) -> str:
        """How many valves of the car in front are read, while some are not and none decides it alone."""
        if not shown.cars:
            return say("0 cars read; next: its number") if shown.ruled else say("0 cars read; next: the rule (F4)")
        car = next((car for car in shown.cars if car.item == shown.item), None)
        if car is None or car.decision is not None or car.read == car.valves:
            return ""
        waiting = next(row.valve for row in shown.shown.checks if not row.readings_mm)
        told = say("{car}: {read} of {count} valves read; next: {valve}")
        return told.format(car=shown.item, read=car.read, count=car.valves, valve=waiting)

    def show_answer(self, document: Document, shown: Desk) -> None:
        """Redraw what changed."""
        state = document.state(LiftCheckState)
        if self.changed("all", shown, document.units, look(), state):
            self._desk = shown
            self.pages.setCurrentIndex(int(state.rule))
            self.rule_button.setText(say("Cars (F4)") if state.rule else say("Rule (F4)"))
            self.desk.show_desk(shown, document.units)
            self.draw("found", self.desk.show_found, shown, document.units)
            if scales := self.desk.scales(shown, document.units):
                self.draw_figures("scale", self.desk.scale, scales, document.units)
            self.draw("cars", self._show_cars, shown, document.units)
            for one in (self.next_button, self.page_button, self.print_button):
                one.setEnabled(bool(shown.item))
            self.save_button.setEnabled(not shown.saved and bool(shown.inspection.sheet.check))
            colour_text(self.caution, "undecided")
        if state.rule and self.changed("rule", shown.inspection, document.units, look(), state):
            self.draw("rule", self.rule.show_sheet, document, shown.inspection.sheet, document.units)

    def _show_cars(self, shown: Desk, units: System) -> None:
        decided = Counter(car.decision for car in shown.cars)
        told = [f"{decided[kind]} {say(WORDS[kind])}" for kind in reversed(RANKED) if decided[kind]]
        told += [say("{what} being read").format(what=decided[None])] if decided[None] else []
        many = say_many("{count} checked", "{count} checked", len(shown.cars))
        self.counts.setText(f"{many}: {', '.join(told)}" if told else say("No car yet"))
        if self.changed("cars", shown.inspection, units, look()):
            self.cars.show_rows(list(reversed(shown.cars)), _car_columns(shown, units))
        self.cars.select_where(lambda car: car.item == shown.item)

    # -- what an inspector does -------------------------------------------------------------------------------------

    @property
    def _sheet(self) -> LiftCheckSheet:
        return SHEETS.in_front(self.bench.document)

    @property
    def _state(self) -> LiftCheckState:
        return self.bench.document.state(LiftCheckState)

    def _look(self, **fields: Any) -> None:
        self.bench.set(LiftCheckState, **fields)
        self.desk.to_reading()

    def _apply(self, sheet: LiftCheckSheet, label: str, **fields: Any) -> None:
        document = edits.set_fields(SHEETS.with_sheet(self.bench.document, sheet), LiftCheckState, **fields)
        self.bench.history.apply(document, label)

    def bring(self, item: str) -> None:
        """Bring a car to the front."""
        self._look(item=item, valve="", asked=None, rule=False)

    def open_rule(self) -> bool:
        """The rule stands on the sheet."""
        self.bench.set(LiftCheckState, rule=False)
        self.turn_page()
        return True

    def choose_item(self, item: str) -> None:
        """A verdict's item: its car and valve come to the front."""
        check = next((check for check in self._sheet.check if check.name == item), None)
        if check is not None:
            self._look(item=check.item, valve=check.valve, asked=None, rule=False)

    def next_car(self) -> None:
        """An empty desk for the next car."""
        self.bench.set(LiftCheckState, item="", valve="", asked=None, rule=False)
        self.desk.car_field.setFocus(Qt.FocusReason.TabFocusReason)

    def turn_page(self) -> None:
        """Rule and instrument to the front, or the desk."""
        self.bench.set(LiftCheckState, rule=not self._state.rule)
        if self._state.rule:
            self.draw("rule field", self._to_rule)
        else:
            self.desk.to_reading()

    def _to_rule(self) -> None:
        self.rule.fields[lift_rule.Cell("limit", "max", 0)].setFocus(Qt.FocusReason.OtherFocusReason)

    def turn(self) -> None:
        """The next reading goes to the other list: shut or open."""
        shut = self._desk is not None and self._desk.shut
        self._look(asked="open" if shut else "zero")

    def go_on(self) -> None:
        """The next valve of this car; after the last one the next car."""
        state, desk = self._state, self._desk
        after = None if desk is None else lift_desk.next_valve(self._sheet, state.item, desk.valve)
        if after is None:
            self.next_car()
        else:
            self._look(valve=after, asked=None)

    def _step(self, by: int) -> None:
        """To the car before or after."""
        items = self._sheet.items()
        at = items.index(self._state.item) + by if self._state.item in items else len(items) + min(by, 0)
        if 0 <= at < len(items):
            self.bring(items[at])
        elif by > 0:
            self.next_car()

    def _on_car(self, typed: object) -> None:
        text = str(typed)
        if not text:
            return
        state, sheet = self._state, self._sheet
        item = lift_desk.item_named(sheet, text, state.word)
        known = item in sheet.items()
        new = sheet if known else lift_desk.with_car(sheet, item, lift_desk.planned(state.plan) or ("1I",))
        self._apply(new, f"begin {item}", item=item, valve="", asked=None)
        if known:
            self.bench.said.emit(
                say("{item} was checked before: its readings stand, further ones are added").format(item=item)
            )

    def _on_entrant(self, typed: object) -> None:
        self._apply(lift_desk.with_entrant(self._sheet, self._state.item, str(typed) or None), "name the entrant")

    def _on_valve(self, typed: object) -> None:
        names = lift_desk.planned(str(typed))
        if names and self._state.item:
            new = lift_desk.with_car(self._sheet, self._state.item, names)
            self._apply(new, say("add valve {what}").format(what=names[0]), valve=names[0], asked=None)
            self.desk.to_reading()

    def _on_reading(self, value: float) -> None:
        desk = self._desk
        if desk is None or desk.row is None:
            return
        of: ReadingList = "zero" if desk.shut else "open"
        new = lift_desk.with_reading(self._sheet, desk.item, desk.valve, of, value, desk.row)
        self._apply(new, f"read {desk.item} {desk.valve}")

    def _on_event(self, said: object) -> None:
        desk = self._desk
        if desk is not None and isinstance(said, tuple):
            self._try("read an event", lift_desk.with_events, desk.item, desk.valve, *said)

    def _on_stated(self, name: str, value: object) -> None:
        desk = self._desk
        if desk is not None and desk.row is not None:
            stated = partial(lift_desk.with_field, name=name, value=value)
            self._try(f"state {name.replace('_', ' ')}", stated, desk.item, desk.valve)

    def _try(self, label: str, change: Callable[..., LiftCheckSheet], *how: object) -> None:
        """Make a change that may be refused, with its sentence in the problems list."""
        try:
            new = change(self._sheet, *how)
        except (BadQuantity, ValidationError) as error:
            self._complain(error)
        else:
            self._apply(new, label)

    def _complain(self, error: Exception) -> None:
        text = error.errors(include_url=False)[0]["msg"] if isinstance(error, ValidationError) else str(error)
        self.bench.done.emit(Problem("error", "lift check", text.removeprefix("Value error, ")))

    # -- readings that don't count ------------------------------------------------------------------------------------

    def set_aside(self) -> None:
        """Ask why a reading does not count: the one that stands off, else the one chosen, else the last."""
        row = None if self._desk is None else self._desk.row
        if row is None:
            return
        chosen = self.desk.readings.currentIndex()
        place = self.desk.readings.row_of(chosen).number - 1 if chosen.isValid() else len(row.readings_mm) - 1
        of: ReadingList = "open"
        if row.doubtful_readings:
            place = row.doubtful_readings[0]
        elif row.doubtful_zero:
            of, place = "zero", row.doubtful_zero[0]
        if any((out.of, out.reading) == (of, place) for out in row.set_aside):
            self._with_aside(of, place, None)
            return
        self._aside = (of, place)
        self.desk.ask_why(_why_asked(of, place))

    def _on_reason(self, text: object) -> None:
        if self._aside is not None and str(text):
            self._with_aside(*self._aside, str(text))
        self._aside = None
        self.desk.ask_why("")
        self.desk.to_reading()

    def _with_aside(self, of: ReadingList, place: int, reason: str | None) -> None:
        state, desk = self._state, self._desk
        assert desk is not None
        new = lift_desk.with_set_aside(self._sheet, state.item, desk.valve, of, place, reason)
        self._apply(new, f"{'count' if reason is None else 'set aside'} reading {place + 1}")

    # -- rule -------------------------------------------------------------------------------------------------------

    def _on_rule(self, cell: lift_rule.Cell, text: str) -> None:
        try:
            new = lift_rule.with_text(self._sheet, cell, text, self.bench.document.units)
        except BadQuantity as error:
            self.rule.complain(say(str(error)))
            return
        self.rule.complain("")
        self._apply(new, f"state {lift_rule.asked(cell).label.lower()}")

    def _on_told(self, name: str, text: object) -> None:
        self.bench.set(LiftCheckState, f"state the {name}", **{name: str(text)})

    # -- files and paper --------------------------------------------------------------------------------------------

    def start_new(self) -> None:
        """A blank event in front."""
        self.bench.history.apply(SHEETS.with_new(self.bench.document), "begin a new event")
        self.next_car()

    def save(self) -> None:
        """Choose a file and write the sheet to it."""
        file = SHEETS.file_in_front(self.bench.document)
        start = file.path if file else self.bench.suggested("lift_check.toml")
        save_as(self, say("Save sheet"), start, say("Lift-check sheet (*.toml)"), self.save_to)

    def save_to(self, path: Path) -> None:
        """Write the sheet and work on from that file."""
        whole, document = path.absolute(), self.bench.document
        text = SHEETS.text(SHEETS.in_front(document))
        if self.bench.write(whole, text, "Sheet written", liftcheck_bay.KIND):
            self.bench.history.apply(SHEETS.saved_as(document, str(whole)), "save the sheet")

    def write_page(self) -> None:
        """Write the page of the car in front, in the background."""
        self._page(printed=False)

    def print_page(self) -> None:
        """Write it and hand it to the printer."""
        self._page(printed=True)

    def print_own(self) -> bool:
        """The page of the car in front, at once: the next car need not wait; without a car the paper of the event."""
        if self._state.item:
            self.print_page()
        return bool(self._state.item)

    def _page(self, *, printed: bool) -> None:
        item = self._state.item
        if not item:
            return
        if self._folder is None:
            start = self.bench.start()
            name = QFileDialog.getExistingDirectory(self, say("Folder for the pages of this event"), start)
            if not name:
                return
            self._folder = Path(name)
        self.write_page_to(free_name(self._folder, item), printed=printed)

    def write_page_to(self, path: Path, *, printed: bool = False) -> None:
        """Write the page of the car in front to a file; the next car need not wait for it."""
        document, item = self.bench.document, self._state.item
        if item:
            made, taken = partial(liftcheck_bay.page_of, document, item), partial(self._written, printed=printed)
            write_paper(self.bench, path, made, taken, hand_over if printed else None)

    def _written(self, paper: Paper, *, printed: bool) -> None:
        self.bench.history.follow(edits.add_paper(self.bench.document, paper), counts=True)
        what = say("Page printed") if printed else say("Page written")
        self.bench.said.emit(f"{what}: {paper.path}")


def free_name(folder: Path, item: str) -> Path:
    """A file for a car's page that nothing lies under yet."""
    stem = "".join(sign if sign.isalnum() else "_" for sign in item)
    names = (folder / f"{stem}{number}.pdf" for number in ("", *(f"-{n}" for n in range(2, 10_000))))
    return next(path for path in names if not path.exists())


def _car_columns(shown: Desk, units: System) -> Sequence[TableColumn]:
    decimals = shown.decimals_of_all(units)

    def state(car: Car) -> str:
        return (
            say(WORDS[car.decision])
            if car.decision
            else say("{read} of {valves} read").format(read=car.read, valves=car.valves)
        )

    def told(car: Car) -> str:
        return "" if car.worst is None else margin(car.worst, decimals[car.worst], units)

    return (
        TableColumn("no.", lambda car: car.item, "Car, boat or engine", number=False),
        TableColumn("decision", state, "On all its valves", number=False, value=lambda car: str(rank(car.decision)),
                    colour=lambda car: car.decision, icon=lambda car: car.decision and (car.decision, car.decision)),
        TableColumn("from the limit", told, "Of the valve nearest its limit", number=False),
        TableColumn("entrant", lambda car: car.entrant, number=False, least=4.0),
    )  # fmt: skip


def _why_asked(of: str, place: int) -> str:
    shut = say("Why shut reading {number} does not count:")
    return (shut if of == "zero" else say("Why reading {number} does not count:")).format(number=place + 1)
