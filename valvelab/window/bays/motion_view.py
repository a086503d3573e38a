"""The valve-motion bay: what the valve does behind its train, and what a change of the train would do to it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QComboBox, QLabel, QWidget

from valvelab.errors import ValvelabError
from valvelab.figures.motion_figures import (
    clearance_figure,
    clearance_moves_figure,
    film_figure,
    lift_figure,
    pressure_figure,
    trial_lift_figure,
    valve_of,
)
from valvelab.inspection.engine.motion import CAUTION, MotionInspection
from valvelab.language import aloud, marked, say
from valvelab.records.motion_result import Control, MotionValve, ValveDuration
from valvelab.tables.description import Column
from valvelab.tables.engine import CONTROL, LEAST_AT, LIFTS, events
from valvelab.units import System
from valvelab.window.bays.motion_controls import TrialPane
from valvelab.window.bays.motion_rule import RulePage
from valvelab.window.bays.motion_speed import SpeedPage
from valvelab.window.bays.springs_run import Run
from valvelab.window.bays.view import BayView
from valvelab.window.bench import Bench
from valvelab.window.drawing import FigureView
from valvelab.window.layouts import Stack, stacked
from valvelab.window.numbers import with_unit
from valvelab.window.panel import Drawing, DrawingPanel
from valvelab.window.panes import Chips, caution, colour_text, look, offer, splitter, titled
from valvelab.window.saving import save_as
from valvelab.window.tables import TableColumn, TableView
from valvelab.workbench import lobes_bay, motion_files, motion_readings, motion_trials
from valvelab.workbench.card_choice import corrected_by
from valvelab.workbench.document import Answer, Document, Problem
from valvelab.workbench.motion_files import Motion, MotionState, Trial
from valvelab.workbench.motion_trials import SWEEP, TRIAL_LIFT_MM
from valvelab.workbench.spec_choice import headline_of
from valvelab.workbench.state import entry_of

_PAGES = (("lift", marked("Lift")), ("clearance", marked("Clearance")), ("rule", marked("Rule lift")),
          ("contact", marked("Contact")), ("speed", marked("At speed")))  # fmt: skip
_SHORT_CAUTION = marked("Predicted speeds are estimates, never safe speeds. Valve springs hold energy: hands clear.")


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the comparison: as stated, as tried."""

    name: str
    stated: str
    tried: str
    tip: str = ""

    @property
    def moved(self) -> bool:
        """Whether the trial shows another figure."""
        return self.stated != self.tried


class MotionView(BayView[Motion]):
    """See the module text."""

    def __init__(self, bench: Bench) -> None:
        super().__init__(bench)
        self._motion: Motion | None = None
        self._key: object = None
        self.valve_box = QComboBox(self)
        self.valve_box.setAccessibleName(say("Valve in front"))
        self.valve_box.setToolTip(say("The valve in front; arrow keys change it"))
        self.valve_box.currentIndexChanged.connect(lambda at: self.choose_item(str(self.valve_box.itemData(at) or "")))
        self.lift = FigureView("Valve lift over the crank", self)
        self.clearance = DrawingPanel(2, self)
        self.rule = RulePage(self)
        self.rule.read.connect(self._on_read)
        self.rule.saved.connect(self.save_train)
        self.contact = DrawingPanel(1, self)
        self.speed = SpeedPage(bench, self)
        self.speed.wanted.connect(self.run_model)
        self.run = Run(self)
        self.speed.unwanted.connect(self.run.cancel)
        self.run.progressed.connect(lambda share: self.speed.show_run(float(share)))
        self.run.ended.connect(self._on_swept)
        self.run.refused.connect(lambda text: self.speed.show_run(None, text))
        self.trial = TrialPane(self)
        self.trial.tried.connect(self._on_tried)
        self.trial.let_go.connect(self._on_let_go)
        self.trial.spring_tried.connect(lambda name: self._try("try another spring", spring=name))
        self.trial.given_up.connect(self._on_given_up)
        spoken = say("As stated and as tried")
        self.lines = TableView("valve motion compared", _LINE_COLUMNS, self, spoken=spoken, sortable=False, wrapped=0)
        self.nothing = QLabel(self, wordWrap=True, alignment=Qt.AlignmentFlag.AlignCenter)
        self._lay_out()

    # -- lay-out ----------------------------------------------------------------------------------------------------

    def _lay_out(self) -> None:
        self.pages = Stack(self)
        for page in (self.lift, self.clearance, self.rule, self.contact, self.speed, self.nothing):
            self.pages.addWidget(page)
        self.page_chips = Chips(self.bench, self, MotionState, "page", _PAGES)
        self.caution = caution(self, _SHORT_CAUTION, CAUTION)
        self.caution.setContentsMargins(8, 1, 6, 3)
        left, right = QWidget(self), QWidget(self)
        stacked(left, (titled(left, "", self.pages, self.valve_box, self.page_chips.row), 1), self.caution)
        stacked(right, self.trial, (self.lines, 1))
        stacked(self, splitter(self, Qt.Orientation.Horizontal, (left, 3), (right, 1), sizes=(640, 350)))

    def _show_valves(self, motion: Motion, valve: str) -> None:
        rows = [(f"{row.lobe} {say(row.kind or '')}".strip(), row.lobe) for row in motion.inspection.result.valves]
        offer(self.valve_box, rows, valve)

    # -- showing ----------------------------------------------------------------------------------------------------

    def headline(self, document: Document, motion: Motion) -> tuple[str, str]:
        """Part and train; the spec."""
        train = motion_files.train_in_use(document)
        table = lobes_bay.table_in_use(document)
        part = motion.table.part or (table.name if table else "")
        title = say("{part} behind {train}").format(part=part, train=train[0].name) if train else part
        found = motion_files.spec_in_use(document)
        refused = any(note.about == "spec" for note in motion.inspection.result.notes)
        against = headline_of(document, found, None if found is None or refused else found[1])
        return title, against + corrected_by(document, lobes_bay.card_in_use(document))

    def show_answer(self, document: Document, motion: Motion) -> None:
        """Redraw what changed."""
        self._motion = motion
        valve, trial = motion_files.chosen_valve(document, motion), document.state(MotionState).trial
        self._show_valves(motion, valve)
        swept = motion_trials.swept(document, motion)
        fresh = self.changed("swept", swept)
        if not self.changed("all", motion, document.units, look(), valve, document.state(MotionState)) and not fresh:
            return
        if self.run.running and self._key != motion_trials.sweep_question(document, motion)[0]:
            self.run.drop()
            self.speed.show_run(None, say("stopped: the trial changed"))
        colour_text(self.caution, "undecided")
        self.trial.show_trial(motion, trial, document.units)
        if document.state(MotionState).page == "rule":
            self._show_rule(document, motion, valve)
        self.draw("tried", self._show_tried, document, motion, valve, trial)

    def _show_tried(self, document: Document, motion: Motion, valve: str, trial: Trial) -> None:
        """Work out the trial, and have shown what comes of it."""
        page = document.state(MotionState).page
        try:
            both = page in {"lift", "clearance"}
            names = motion_files.pair_of(motion, valve) if both else (valve,)
            tried = motion_trials.tried(motion, trial, names)
        except ValvelabError as refused:
            self.nothing.setText(str(refused))
            self.pages.setCurrentWidget(self.nothing)
            return
        self.draw("page", self._show_page, document, motion, tried, valve, page)
        self.draw("lines", self._show_lines, motion, tried, valve, document.units)

    def _show_rule(self, document: Document, motion: Motion, valve: str) -> None:
        """The readings at the retainer: at once, so that no key meets an older state."""
        spec = motion_files.spec_in_use(document)
        if spec is not None:
            self.rule.judge_by(spec[1].decision.rule, spec[1].decision.confidence)
        self.rule.show_rule(document, motion, valve)

    def _show_lines(self, motion: Motion, tried: MotionInspection, valve: str, units: System) -> None:
        self.lines.show_rows(_lines(motion.inspection, tried, valve, units))

    def _show_page(self, document: Document, motion: Motion, tried: MotionInspection, valve: str, page: str) -> None:
        units = document.units
        trial = document.state(MotionState).trial
        pair = motion_files.pair_of(motion, valve)
        if page == "clearance":
            makers = (clearance_figure, clearance_moves_figure)
            needs = say("Clearance needs [clearance], [crank] and [timing] in the train.")
            self._draw(self.clearance, [draw(tried, name, units) for name in pair for draw in makers], units, needs)
        elif page == "rule":
            self.pages.setCurrentWidget(self.rule)
        elif page == "contact":
            drawings = [draw(tried, valve) for draw in (pressure_figure, film_figure)]
            self._draw(
                self.contact, drawings, units, say("Contact needs [contact] in the train, with spring and mass.")
            )
        elif page == "speed":
            dynamic = document.state(MotionState).dynamic
            self.speed.show_speed(tried, motion_trials.swept(document, motion), valve, units, dynamic=dynamic)
            self.pages.setCurrentWidget(self.speed)
        else:
            stated = motion.inspection
            figure = trial_lift_figure(stated, tried, pair) if trial.differs else lift_figure(tried, pair)
            self.lift.show_figure(figure, units)
            self.pages.setCurrentWidget(self.lift)

    def _draw(self, panel: DrawingPanel, drawings: Sequence[Drawing | None], units: System, needs: str) -> None:
        shown = [drawing for drawing in drawings if drawing is not None]
        if shown:
            panel.show_drawings(shown, units)
            self.pages.setCurrentWidget(panel)
        else:
            self.nothing.setText(needs)
            self.pages.setCurrentWidget(self.nothing)

    # -- what a person does -----------------------------------------------------------------------------------------

    def item_in_front(self, document: Document, inspection: Motion) -> str:
        """The one in front."""
        return motion_files.chosen_valve(document, inspection)

    def choose_item(self, item: str) -> None:
        """Bring a valve to the front."""
        if self.valve_box.findData(item) >= 0:
            self.bench.set(MotionState, valve=item)

    def run_model(self) -> None:
        """Run the dynamic model for the valve in front as tried, in the background."""
        if self._motion is None:
            return
        key, work = motion_trials.sweep_question(self.bench.document, self._motion)
        self._key = key
        self.speed.show_run(0.0)
        self.bench.set(MotionState, dynamic=True)

        def steps(report: Callable[[object], None], cancelled: Callable[[], bool]) -> object:
            def tell(share: float) -> bool:
                report(share)
                return not cancelled()

            return Answer(key, work(tell))

        self.run.start(steps)

    def save_train(self) -> None:
        """Choose a file and write the train with the readings at the retainer to it."""
        train = motion_files.train_in_use(self.bench.document)
        start = train[0].path if train else "train.toml"
        save_as(self, say("Save train"), start, say("Train (*.toml)"), self.save_train_to)

    def save_train_to(self, path: Path) -> None:
        """Write the train and work on from that file."""
        motion, whole = self._motion, path.absolute()
        if motion is None:
            return
        try:
            text = motion_readings.train_text(self.bench.document, motion)
        except ValvelabError as error:
            self.bench.done.emit(Problem("error", whole.name, str(error)))
            return
        if not self.bench.write(whole, text, "Train written", "train"):
            return
        document = motion_readings.saved_as(self.bench.document, motion, str(whole))
        self.bench.history.apply(document, "save the train")

    def _on_swept(self, answer: object) -> None:
        self.speed.show_run(None)
        if isinstance(answer, Answer):
            self.bench.answered(SWEEP, answer)

    def _on_tried(self, name: str, value: float, dragging: bool) -> None:
        entry = entry_of(Trial, name)
        kept = min(max(value, entry.least), entry.most)
        self._try(entry.edit, entry.edit if dragging else None, **{name: kept})

    def _try(self, label: str, gesture: str | None = None, **fields: Any) -> None:
        trial = replace(self.bench.document.state(MotionState).trial, **fields)
        self.bench.set(MotionState, label, gesture, trial=trial)

    def _on_let_go(self) -> None:
        self.bench.history.end_gesture()

    def _on_given_up(self) -> None:
        self.bench.set(MotionState, "give up the trial", trial=Trial())

    def _on_read(self, values: tuple[float, ...], u: float | None, set_aside: dict[int, str]) -> None:
        if self._motion is None:
            return
        document = self.bench.document
        valve = motion_files.chosen_valve(document, self._motion)
        new = motion_readings.with_readings(document, valve, values, u, set_aside)
        self.bench.history.apply(new, say("read {valve} at the retainer").format(valve=valve))


def _lines(stated: MotionInspection, tried: MotionInspection, valve: str, units: System) -> list[Line]:
    before, after = valve_of(stated, valve), valve_of(tried, valve)

    def at_trial(valve: MotionValve) -> ValveDuration | None:
        return next((row for row in valve.durations if abs(row.at_mm - TRIAL_LIFT_MM) < 5e-4), None)

    def of_column(column: Column[Any], read: Callable[[MotionValve], Any], at: str = "") -> Line:
        held = column.over([row for one in stated.result.valves if (row := read(one)) is not None], units)
        old, new = ("–" if (row := read(one)) is None else str(held.cell(row, units)) for one in (before, after))
        with aloud():
            unit = "" if column.after else column.label(units)
        head = say(column.head) + at
        return Line(f"{head}, {unit}" if unit else head, old, new, column.tip)

    def of_control(row: MotionValve) -> tuple[MotionValve, Control] | None:
        return None if row.control is None else (row, row.control)

    at = say(" at {lift}").format(lift=with_unit(TRIAL_LIFT_MM, "mm", units, 2, 3))
    opens, closes, span = events()
    _, greatest, rule, _, at_dead_centre, to_piston, _ = LIFTS
    _, leaves, _, margin, *_ = CONTROL
    return [
        *(of_column(column, lambda row: row) for column in (greatest, rule)),
        *(of_column(column, at_trial, at) for column in (opens, closes)),
        of_column(span, at_trial),
        *(of_column(column, lambda row: row) for column in (at_dead_centre, to_piston, LEAST_AT)),
        *(of_column(column, of_control) for column in (margin, leaves)),
    ]


_LINE_COLUMNS = (
    TableColumn("", lambda line: line.name, "Point at one to read what it is", number=False,
                cell_tip=lambda line: line.tip, whole_unit=True),
    TableColumn("stated", lambda line: line.stated, "As the train's file states it"),
    TableColumn("tried", lambda line: line.tried, "With the trial above", strong=lambda line: line.moved,
                colour=lambda line: "accent" if line.moved else None),
)  # fmt: skip
