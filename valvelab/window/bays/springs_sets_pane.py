"""The pane where sets are asked for, matched, edited and put on paper."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import partial
from pathlib import Path
from types import MappingProxyType

from PySide6.QtCore import QPoint, Qt, Signal
from PySide6.QtWidgets import (
    QGridLayout,
    QLabel,
    QMenu,
    QProgressBar,
    QPushButton,
    QSizePolicy,
    QWidget,
)

from valvelab.inspection.springs.sets import SetsInspection
from valvelab.language import say, say_many, say_number
from valvelab.sets.tray import Progress
from valvelab.units import System
from valvelab.window.bays.springs_menu import NOBODY, Decisions, called, fill_decisions, fill_moves
from valvelab.window.bays.springs_run import Run
from valvelab.window.bays.springs_tree import SetsTree
from valvelab.window.bays.springs_wishes import AskLine, PlacesForm, WishList
from valvelab.window.bench import Bench
from valvelab.window.chips import Chip
from valvelab.window.fields import QuantityField
from valvelab.window.layouts import FormArea, beside, stacked
from valvelab.window.numbers import display_unit
from valvelab.window.panes import BoundQuantity, Chips, button, number_field, show_number
from valvelab.window.saving import save_as
from valvelab.window.table_menu import add_copying, copy_by_key
from valvelab.workbench import set_wishes, sets, springs_bay
from valvelab.workbench.document import Answer, Document
from valvelab.workbench.set_wishes import NONE, Place, Told, Wishes
from valvelab.workbench.sets import Grouping, SpringsState, Wish
from valvelab.workbench.springs_bay import Usable
from valvelab.workbench.state import entry_of, with_item

_ORDER = ("seat_force", "rate", "open_force", "solid_height", "free_length")


class SetsPane(QWidget):
    """Set size, limits and time limit; the button that matches; the sets; what they go on paper as."""

    spring_chosen = Signal(str)

    def __init__(self, bench: Bench, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.bench = bench
        self.usable = NOBODY
        self.wish = Wish(sets.USUAL_SIZE, {})
        self.grouping = Grouping()
        self.units: System = "metric"
        self._key: object = None
        self._matched_wish = self.wish
        self.run = Run(self)
        self.run.progressed.connect(self._on_progress)
        self.run.ended.connect(self._on_matched)
        self.run.refused.connect(self._on_refused)
        self._make_fields()
        self._make_doing()
        self._make_wishes()
        self.tree = SetsTree(self)
        self.tree.decided.connect(lambda springs, what: self._say_refused(self.decisions.by_name(springs, what)))
        self.tree.moved.connect(self.move_springs)
        self.tree.considered.connect(self._on_considered)
        self.tree.chosen.connect(self.spring_chosen)
        self.tree.menu_wanted.connect(self._on_menu)
        copy_by_key(self.tree)
        self._make_papers()
        self._lay_out()

    # -- making -----------------------------------------------------------------------------------------------------

    def _make_fields(self) -> None:
        self.size_field = number_field(self.bench, self, SpringsState, "size")
        self.size_field.setToolTip(say("Springs in a set, 2 to 32"))
        self.time_field = BoundQuantity(self.bench, self, SpringsState, "time_limit_s")
        self.chips: dict[str, Chip] = {}
        self.limit_fields: dict[str, QuantityField] = {}
        steps = {"N": 0.5, "N/mm": 0.05, "mm": 0.05}
        for name in sets.KEYS:
            chip = Chip(sets.short(name), say("Match by {words}").format(words=say(sets.words(name))), self)
            chip.clicked.connect(lambda on, name=name: self._on_chip(name, on=on))
            field = QuantityField(
                say("Largest range of {words} in a set").format(words=say(sets.words(name))),
                sets.DIMENSIONS[name],
                sets.UNITS[name],
                steps[sets.UNITS[name]],
                self,
            )
            field.entered.connect(lambda value, name=name: self._on_limit(name, value))
            self.chips[name], self.limit_fields[name] = chip, field
        self.size_field.setAlignment(Qt.AlignmentFlag.AlignRight)
        for field in (self.time_field, *self.limit_fields.values()):
            field.setAlignment(Qt.AlignmentFlag.AlignRight)
            field.setMinimumWidth(round(4.2 * self.fontMetrics().height()))

    def _make_doing(self) -> None:
        tip = say("Find the most sets within the limits, then the tightest")
        self.match_button = button(self, "Match &sets", tip, self.toggle)
        self.match_button.setDefault(True)
        self.thorough = Chip("prove", "Go on until the least spread is proven or the time is up", self)
        self.thorough.clicked.connect(self._on_thorough)
        self.gauge = QProgressBar(self, minimum=0, maximum=100, textVisible=False)
        self.gauge.setAccessibleName(say("How much of the spread is proven"))
        self.gauge.setFixedHeight(round(0.28 * self.fontMetrics().height()))
        self.state = QLabel(self, wordWrap=True, textFormat=Qt.TextFormat.PlainText)
        self.state.setAccessibleName(say("State of the sets"))
        self.state.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)

    def _make_wishes(self) -> None:
        self.ask = AskLine(self)
        self.decisions = Decisions(self.ask, self._stated, self.decide)
        self.decided_list = WishList(self)
        self.decided_list.undone.connect(self._on_undone)
        self.places_form = PlacesForm(self)
        self.places_form.changed.connect(self._on_places)
        self.menu = QMenu(self)

    def _make_papers(self) -> None:
        self.move_button = QPushButton(say("&Move to"), self)
        self.move_button.setAccessibleName(say("Move the chosen springs to a set"))
        self.move_button.setToolTip(say("Move the chosen springs to another set, or leave them over"))
        self.move_menu = QMenu(self)
        self.move_menu.aboutToShow.connect(self._fill_move_menu)
        self.move_button.setMenu(self.move_menu)
        tip = say("A sheet of labels to cut out, one a set (PDF, A4)")
        self.labels_button = button(self, "Tra&y labels…", tip, self.do_labels)
        tip = say("Which spring is in which set, with its figures (CSV)")
        self.csv_button = button(self, "Sets as &table…", tip, self.do_csv)

    def _lay_out(self) -> None:
        fields = QGridLayout()
        fields.setContentsMargins(8, 4, 6, 2)
        fields.setHorizontalSpacing(self.fontMetrics().height() // 4)
        fields.setVerticalSpacing(3)
        cells: list[tuple[QWidget, QWidget]] = []
        for name, field in (("size", self.size_field), ("time_limit_s", self.time_field)):
            label = QLabel(say(entry_of(SpringsState, name).text), self)
            label.setBuddy(field)
            cells.append((label, field))
        cells += [(self.chips[name], self.limit_fields[name]) for name in _ORDER]
        for place, (left, right) in enumerate(cells):
            line, column = divmod(place, 2)
            fields.addWidget(left, line, 2 * column)
            fields.addWidget(right, line, 2 * column + 1)
        fields.addWidget(self.thorough, 3, 2)
        fields.addWidget(self.match_button, 3, 3)
        fields.setColumnStretch(1, 1)
        fields.setColumnStretch(3, 1)
        papers = beside(self.move_button, 1, self.csv_button, self.labels_button, margins=(8, 3, 6, 4), spacing=6)
        self.state.setContentsMargins(8, 2, 6, 2)
        self.state.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Minimum)
        self.below = Chips(
            self.bench,
            self,
            SpringsState,
            "below",
            (("sets", say("Sets")), ("places", say("Places")), ("decided", say("Decided"))),
            (self.tree, self._places_area(), self.decided_list),
            spoken={
                "sets": say("Show sets and springs left over"),
                "places": say("Say which places of the engine want their own sets"),
                "decided": say("List what was decided of springs, to take it back"),
            },
        )
        row = beside(self.below.row, 1, margins=(8, 2, 6, 2))
        stacked(self, fields, self.gauge, self.state, row, (self.below.stack, 1), self.ask, papers)

    def _places_area(self) -> FormArea:
        area = FormArea(say("Places of the engine"), self)
        area.setWidget(self.places_form)
        return area

    # -- showing ----------------------------------------------------------------------------------------------------

    def show_sets(self, document: Document, usable: Usable, wish: Wish, grouping: Grouping) -> None:
        """Take up what was asked and what there is, and show it, each in a turn of its own."""
        if self.run.running and usable is not self.usable:
            self.run.drop()
        self.usable, self.wish, self.grouping, self.units = usable, wish, grouping, document.units
        self.decisions.usable = usable
        self.bench.turns.in_steps("sets", [partial(self._show_asked, document), self._show_found])

    def _show_asked(self, document: Document) -> None:
        show_number(self.size_field, self.wish.size)
        self.time_field.show_in(self.wish.time_limit_s, self.units)
        self._show_limits(document.state(SpringsState))
        self.thorough.setChecked(self.wish.thorough)
        self._show_wishes()

    def _show_found(self) -> None:
        grouping = self.grouping
        self.tree.show_sets(grouping, self.usable, self.wish, self.units)
        self._say_state()
        for paper in (self.move_button, self.labels_button, self.csv_button):
            paper.setEnabled(bool(grouping.sets))

    def _show_limits(self, state: SpringsState) -> None:
        """What springs are matched by, and how far a set may range; what no spring has is greyed."""
        values, units = self.usable.values, self.units
        for name, field in self.limit_fields.items():
            chip, known = self.chips[name], any(row[name] is not None for row in values.values())
            chip.setEnabled(known)
            chip.setChecked(name in self.wish.within)
            why = say("Match by") if known else say("No spring of this tray has a")
            chip.setToolTip(f"{why} {say(sets.words(name))}")
            field.setEnabled(name in self.wish.within)
            if known:
                field.show_value(sets.limit_of(state, values, name, units), units, _limit_decimals(name, units))
            else:
                field.clear()

    def _show_wishes(self) -> None:
        stated = self._stated()
        self.decided_list.show_wishes(stated)
        self.places_form.show_places(stated.places, self.wish.size, self.units)
        self.size_field.setEnabled(not stated.places)
        many = self.decided_list.count_told()
        texts = {
            "places": say("Places: {count}").format(count=len(stated.places)) if stated.places else say("Places"),
            "decided": say("Decided: {many}").format(many=many) if many else say("Decided"),
        }
        for chip in self.below.buttons():
            chip.setText(texts.get(chip.property("name"), chip.text()))
            chip.updateGeometry()

    def _say_state(self) -> None:
        self.match_button.setText(say("&Stop") if self.run.running else say("Match &sets"))
        self.match_button.setEnabled(self.run.running or not self.wish.trouble)
        if self.run.running:
            return
        self.gauge.setRange(0, 100)
        self.gauge.setValue(0)
        said = [
            sets.verdict_on(self.grouping, self.usable.values, self.wish),
            sets.order_told(self.grouping, self.usable.values, self.wish),
            sets.kept_out_shortly(self.usable.out),
        ]
        text = ". ".join(part.removesuffix(".") for part in said if part)
        self.state.setText(f"{text}; {self.wish.trouble}" if self.wish.trouble else text)
        self.state.setToolTip(sets.kept_out(self.usable.out))

    # -- asking -----------------------------------------------------------------------------------------------------

    def _on_thorough(self, on: bool) -> None:
        self.bench.set(SpringsState, "prove the least spread" if on else "leave the spread unproven", thorough=on)

    def _on_chip(self, name: str, *, on: bool) -> None:
        matched = self.bench.document.state(SpringsState).matched_by
        label = f"{('match' if on else say('no match'))} by {sets.words(name)}"
        self.bench.set(SpringsState, label, matched_by=matched | {name} if on else matched - {name})

    def _on_limit(self, name: str, value: float) -> None:
        if value <= 0.0:
            self.bench.said.emit(
                say("Largest range of {words}: found {value}, expected above 0").format(
                    words=say(sets.words(name)), value=say_number(f"{value:g}")
                )
            )
            value = self.wish.within.get(name, 1.0)
        limits = with_item(self.bench.document.state(SpringsState).limits, name, value)
        self.bench.set(
            SpringsState,
            say("change the limit of {words}").format(words=sets.words(name)),
            f"limit {name}",
            limits=limits,
        )

    # -- deciding ---------------------------------------------------------------------------------------------------

    def _stated(self) -> Wishes:
        return springs_bay.stated_wishes(self.bench.document)

    def decide(self, wishes: Wishes, label: str) -> str:
        """Take what is decided of the tray; the sentence that refuses it, or nothing."""
        trouble = set_wishes.contradiction(wishes)
        if not trouble:
            document = self.bench.document
            kept = None if wishes == NONE else wishes
            every = with_item(document.state(SpringsState).wishes, springs_bay.readings_of(document), kept)
            self.bench.set(SpringsState, label, wishes=every)
        self._say_refused(trouble)
        return trouble

    def _say_refused(self, sentence: str) -> None:
        if sentence:
            self.state.setText(sentence)
            self.bench.said.emit(sentence)

    def _on_undone(self, one: Told) -> None:
        self.decide(one.without, f"undo {one.text}")

    def _on_places(self, places: tuple[Place, ...]) -> None:
        self.decide(replace(self._stated(), places=places), "change the places")

    # -- matching ---------------------------------------------------------------------------------------------------

    def toggle(self) -> None:
        """Begin to match, or end it with the best found."""
        if self.run.running:
            self.match_button.setEnabled(False)
            self.run.cancel()
            return
        work = springs_bay.match_work(self.bench.document, self.wish)
        if work is not None and not self.wish.trouble:
            self._settle()
            self._key, self._matched_wish = springs_bay.sets_key(self.bench.document, self.wish), self.wish
            self.run.start(work)
            self.state.setText(say("Looking for the most sets …"))
            self.gauge.setRange(0, 0)
            self._say_state()

    def _settle(self) -> None:
        """Keep what was proposed in the fields, so that other units or files do not propose anew."""
        limits = {**self.bench.document.state(SpringsState).limits, **self.wish.within}
        self.bench.set(SpringsState, size=self.wish.size, limits=MappingProxyType(limits))

    def _on_progress(self, progress: Progress) -> None:
        words = say_many("{count} set", "{count} sets", progress.sets)
        if progress.bound_sets is not None:
            words += say(" of at most {bound_sets}").format(bound_sets=progress.bound_sets)
            words += say(" · making them tighter") if progress.sets == progress.bound_sets else ""
        if progress.total_spread is not None:
            least = progress.bound_total_spread or 0.0
            words += say(" · total spread {total_spread}, at least {least}").format(
                total_spread=say_number(f"{progress.total_spread:.3f}"), least=say_number(f"{least:.3f}")
            )
            self.gauge.setRange(0, 100)
            self.gauge.setValue(round(100.0 * least / progress.total_spread) if progress.total_spread > 0.0 else 100)
        self.state.setText(words)

    def _on_matched(self, inspection: SetsInspection) -> None:
        found = sets.matched(inspection.result, self._matched_wish.asked)
        self.bench.answered(springs_bay.SETS, Answer(self._key, value=inspection))
        same = found == self.grouping
        self._keep(found, "match sets")
        if same:
            self._say_state()
        self.bench.set(SpringsState, below="sets")
        self.tree.setFocus()

    def _on_refused(self, sentence: str) -> None:
        self._say_state()
        self._say_refused(sentence)

    # -- editing ----------------------------------------------------------------------------------------------------

    def move_springs(self, springs: tuple[str, ...], to: int | None) -> None:
        """Put springs into a set; None leaves them over."""
        out = [name for name in springs if name not in self.usable.values]
        if out:
            self._say_refused(
                say("{what} is not used ({what_2}): take it in with a reason first").format(
                    what=out[0], what_2=self.usable.out[out[0]]
                )
            )
            return
        new = sets.moved(self.grouping, springs, to)
        if new is not self.grouping:
            where = "left over" if to is None else f"to set {to + 1}"
            self._keep(new, f"move {called(springs)} {where}")

    def _keep(self, grouping: Grouping, label: str) -> None:
        document = self.bench.document
        kept = with_item(document.state(SpringsState).groupings, springs_bay.readings_of(document), grouping)
        self.bench.set(SpringsState, label, groupings=kept)

    def _outcome(self, springs: tuple[str, ...], to: int | None) -> str:
        """What a move would give."""
        springs = self._used(springs)
        if to is None or to >= len(self.grouping.sets) or not springs:
            return say("{called} left over").format(called=called(springs))
        there = (*(name for name in self.grouping.sets[to] if name not in springs), *springs)
        then = sets.standing(there, self.usable.values, self.wish, self.grouping.place_of(to))
        told = sets.told(then, self.wish, self.units)
        return say("{title} with {called}: {told}").format(
            title=say(self.grouping.title(to)), called=called(springs), told=told
        )

    def _on_considered(self, springs: tuple[str, ...], to: int | None) -> None:
        if springs:
            self.state.setText(self._outcome(springs, to))
        elif not self.run.running:
            self._say_state()

    def _on_menu(self, at: QPoint) -> None:
        self.fill_menu()
        self.menu.addSeparator()
        add_copying(self.menu, self.tree)
        self.menu.popup(at)

    def fill_menu(self) -> None:
        """The menu of what can be done with the springs chosen."""
        self.menu.clear()
        springs = self.tree.selected_springs()
        if not springs:
            self._fill_moves(self.menu, springs)
            return
        fill_decisions(self.menu, self.decisions, springs, self.grouping)
        self.menu.addSeparator()
        moves = self.menu.addMenu(say("&Move to"))
        moves.setEnabled(bool(self.grouping.sets) and all(name in self.usable.values for name in springs))
        if moves.isEnabled():
            self._fill_moves(moves, springs)

    def _fill_move_menu(self) -> None:
        self.move_menu.clear()
        self._fill_moves(self.move_menu, self._used(self.tree.selected_springs()))

    def _fill_moves(self, menu: QMenu, springs: tuple[str, ...]) -> None:
        if springs:
            fill_moves(menu, springs, self.grouping, self.usable, self.wish, self.units, self.move_springs)
        else:
            menu.addAction(say("Choose springs first")).setEnabled(False)

    def _used(self, springs: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(name for name in springs if name in self.usable.values)

    # -- paper ------------------------------------------------------------------------------------------------------

    def do_labels(self) -> None:
        """Choose where the labels go."""
        save_as(self, say("Save tray labels"), self._suggestion("labels.pdf"), say("PDF (*.pdf)"), self.save_labels)

    def do_csv(self) -> None:
        """Choose where the table goes."""
        save_as(self, say("Save sets"), self._suggestion("sets.csv"), say("Table (*.csv)"), self.save_csv)

    def save_labels(self, path: Path) -> None:
        """Write the tray labels."""
        today = date.today().isoformat()  # noqa: DTZ011 - the date on the wall where the tray stands
        self.bench.make(path, partial(_labels, self.bench.document, self.grouping, self.usable, self.wish, today))

    def save_csv(self, path: Path) -> None:
        """Write the sets as a table."""
        usable = self.usable
        self.bench.make(path, partial(sets.as_csv, self.grouping, usable.values, self.wish, self.units, usable.out))

    def _suggestion(self, ending: str) -> str:
        tray = springs_bay.table_in_use(self.bench.document)
        stem = Path(tray[0].path).stem if tray is not None else "springs"
        return self.bench.suggested(f"{stem} {ending}")


def _labels(document: Document, grouping: Grouping, usable: Usable, wish: Wish, today: str) -> bytes:
    from valvelab.report.tray_labels import labels_bytes
    from valvelab.workbench import springs_papers

    return labels_bytes(springs_papers.label_sheet(document, grouping, usable, wish, today))


def _limit_decimals(name: str, units: System) -> int:
    return sets.finer(name, units) - (display_unit(sets.UNITS[name], units).label != "lbf")
