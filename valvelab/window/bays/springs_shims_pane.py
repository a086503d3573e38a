"""The fitting of springs: which spring and what else at which valve, found in the background and changed by hand."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Any

from PySide6.QtCore import QEvent, QSignalBlocker, Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QApplication, QComboBox, QLabel, QSizePolicy, QWidget

from valvelab.errors import CannotEvaluate
from valvelab.inspection.springs.shim_case import Evaluation, FittingPlan
from valvelab.inspection.springs.shims import ShimsInspection
from valvelab.language import aloud, say, say_many
from valvelab.records.shims_result import ShimPosition, ShimsResult
from valvelab.tables.shims import WITHOUT, move_columns, purchase_columns, shim_columns, spread_told
from valvelab.units import System
from valvelab.window.bays.springs_fit_edit import FitEdit, StandingPlan
from valvelab.window.bays.springs_run import Run
from valvelab.window.bench import Bench
from valvelab.window.layouts import above, beside, flowing, stacked, strip
from valvelab.window.panes import button, labelled, offer, splitter, titled
from valvelab.window.saving import save_as
from valvelab.window.table_menu import table_csv
from valvelab.window.tables import TableColumn, TableView, of
from valvelab.window.theme import scaled
from valvelab.workbench import fitting as by_hand
from valvelab.workbench import springs_bay
from valvelab.workbench.background import Question
from valvelab.workbench.document import Answer, Document
from valvelab.workbench.fitting import Fitting, margin_mark
from valvelab.workbench.sets import Grouping, SpringsState

_LARGE = 1.15
_WHOLE = -1
_SIGNS = {"reject": "reject", "undecided": "warning"}
_MARGINS = {"coil bind margin": "coil_bind_margin_mm", "retainer to seal": "retainer_to_seal_margin_mm"}


class ShimsPane(QWidget):
    """A row each valve, what changes place and what to buy; what is missing or impossible in a sentence instead."""

    spring_chosen = Signal(str)

    def __init__(self, bench: Bench, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.bench = bench
        self._asked: Question[ShimsInspection] | None = None
        self._found: ShimsInspection | None = None
        self._fitting = Fitting()
        self._shown: tuple[object, ...] = ()
        self.evaluation: Evaluation | None = None
        self.run = Run(self)
        self.run.ended.connect(lambda plan: self._keep(value=plan))
        self.run.refused.connect(lambda sentence: self._keep(failure=sentence))
        self.state = QLabel(self, wordWrap=True, textFormat=Qt.TextFormat.PlainText)
        self.state.setAccessibleName(say("State of the shim plan"))
        self.state.setContentsMargins(8, 4, 6, 4)
        self.source = QComboBox(self)
        self.source.setAccessibleName(say("Springs that are fitted"))
        self.source.setToolTip(say("The whole tray, or one of the matched sets"))
        self.source.currentIndexChanged.connect(lambda _index: self._on_source())
        self.sheet = TableView("shim plan", (), self, spoken="Spring and shims at each valve", sortable=False)
        self.sheet.ask_width(close=True)
        self.sheet.chosen.connect(self._on_row)
        self.edit = FitEdit(self)
        self.edit.done.connect(self._on_done)
        self.edit.position_chosen.connect(self._on_position)
        self.moves = TableView("parts that change place", (), self, empty="No part changes its place.")
        self.purchases = TableView("parts to buy", (), self, empty="Nothing has to be bought.")
        self._make_buttons()
        self._lay_out()

    def _make_buttons(self) -> None:
        tip = say("What stands at this position stays when the rest is solved again")
        self.lock_button = button(self, "Loc&k", tip, self.turn_lock)
        self.again_button = button(self, "&Solve again", "Find the best plan around what is locked", self.solve_again)
        tip = say("Back to the plan as it is found without anything decided by hand")
        self.found_button = button(self, "&Found plan", tip, self.back_to_found)
        self.csv_button = button(self, "Plan as &table…", "Spring and shims at each valve (CSV)", self.do_csv)
        tip = say("The plan in large type, to be read at the bench (PDF, A4)")
        self.sheet_button = button(self, "B&uild sheet…", tip, self.do_sheet)

    def _lay_out(self) -> None:
        self.whose = labelled(self, "Springs", self.source)
        policy = QSizePolicy.Policy
        self.state.setSizePolicy(policy.Expanding, policy.Preferred)
        papers = strip(self, self.csv_button, self.sheet_button, spacing=6)
        head = flowing(self.whose, self.state, papers, margins=(8, 0, 6, 2))
        self.changing = QWidget(self)
        self.edit.doing.insertWidget(2, self.lock_button)
        above(
            self.edit,
            beside(self.again_button, self.found_button, 1, spacing=6),
            1,
            on=self.changing,
            margins=(8, 2, 6, 2),
            spacing=3,
        )
        moves = self.moving = titled(self, "What moves where", self.moves)
        purchases = self.buying = titled(self, "To buy", self.purchases)
        for table in (self.moves, self.purchases):
            table.setMinimumHeight(round(3.5 * self.fontMetrics().height()))
        self.work = work = splitter(self, Qt.Orientation.Horizontal, (moves, 2), (purchases, 1))
        plan = splitter(self, Qt.Orientation.Vertical, (self.sheet, 3), (work, 1), sizes=(320, 90))
        self.body = splitter(self, Qt.Orientation.Horizontal, (plan, 5), (self.changing, 1), sizes=(680, 280))
        self.body.setCollapsible(1, False)
        stacked(self, head, (self.body, 1))
        self.setMinimumWidth(1)  # it has the room of the drawings while it is in front, and must not take it before
        self._fit_type()

    def changeEvent(self, event: QEvent) -> None:
        """The plan stays larger than the text around it."""
        super().changeEvent(event)
        if event.type() == QEvent.Type.ApplicationFontChange:
            self._fit_type()

    def _fit_type(self) -> None:
        self.sheet.setFont(scaled(QApplication.font(), _LARGE))
        self.sheet.horizontalHeader().setFont(QApplication.font())

    # -- showing ----------------------------------------------------------------------------------------------------

    def show_plan(self, document: Document, grouping: Grouping, spring: str, *, wanted: bool) -> None:
        """Show the plan as it stands; where it is looked at and not known yet, have it found."""
        answer = springs_bay.shim_plan(document)
        plan, failure = (None, "") if answer is None else (answer.value, answer.failure or "")
        question = springs_bay.shims_question(document)
        self._fitting = springs_bay.fitting_of(document)
        self._found = plan
        whole = [(say("whole tray"), _WHOLE)]
        rows = [(f"{grouping_title} · {len(one)}", n) for n, (grouping_title, one) in enumerate(_titled(grouping))]
        offer(self.source, [*whole, *rows], _WHOLE if self._fitting.set is None else self._fitting.set)
        for widget in (self.body, self.csv_button, self.sheet_button):
            widget.setVisible(plan is not None)
        self.whose.setVisible(question is not None)
        if question is None:
            self.state.setText(
                say(
                    "Put heights on the bench for a shim plan: position and height (seat to retainer "
                    "without a shim), with the shims in stock in lines above it."
                )
            )
        elif plan is not None:
            self._show(document, plan, spring)
        elif failure:
            self.state.setText(say(failure))
        elif wanted and (self._asked is None or self._asked.key != question.key or not self.run.running):
            self._asked = question
            self.state.setText(question.label)
            self.run.start(lambda _report, _cancelled: question.work())

    def _show(self, document: Document, found: ShimsInspection, spring: str) -> None:
        units, fitting = document.units, self._fitting
        if (found, fitting, units) != self._shown:
            self._shown = (found, fitting, units)
            self._show_plan(found, fitting, units)
        if not self.edit.open:
            place = next((row.position for row in self.rows if row.spring == spring), self.edit.position)
            self._show_position(place)

    def _show_plan(self, found: ShimsInspection, fitting: Fitting, units: System) -> None:
        plan = by_hand.standing_plan(fitting, found.plan)
        evaluation = self.evaluation = found.case.evaluate(plan)
        self.rows = [row for row in evaluation.rows if row is not None]
        self.standing = StandingPlan(found.case, plan, fitting.locked, units)
        self.state.setText(self._told(found, fitting, evaluation, units))
        self.sheet.show_rows(self.rows, self._columns(units))
        self.moves.show_rows(evaluation.moves or (), [of(column, units) for column in move_columns(units)])
        stocked, fitted = bool(found.case.work.counted), evaluation.moves is not None
        self.moving.setHidden(not fitted)
        self.buying.setHidden(not stocked)
        self.work.setHidden(not (fitted or stocked))
        bought = evaluation.purchases
        self.purchases.show_rows(bought, [of(column, units, bought) for column in purchase_columns()])
        self.again_button.setEnabled(bool(fitting.locked) or bool(fitting.settings) or bool(fitting.kept))
        self.found_button.setEnabled(fitting != Fitting(fitting.set))

    def _told(self, found: ShimsInspection, fitting: Fitting, evaluation: Evaluation, units: System) -> str:
        result = found.result.model_copy(update={"spread_seat_force_n": evaluation.spread_n or 0.0})
        left = len(found.case.springs) - len({one.spring for one in evaluation.plan.settings})
        with aloud():
            spread = spread_told(result, units).removesuffix(".")
        parts = [
            spread,
            say_many("{count} spring left over", "{count} springs left over", left),
        ]
        if fitting.by_hand:
            parts.append(say("by hand: {names}").format(names=", ".join(fitting.by_hand)))
        parts += [
            say("can't be fitted at {position}: {reason}").format(position=one.position, reason=one.reason)
            for one in evaluation.refusals
        ]
        return "; ".join(parts)

    def _columns(self, units: System) -> list[TableColumn]:
        """The plan in large type, with margins marked that are below a minimum or guidance, and what was decided."""
        made = [
            of(c, units, self.rows, **self._marked(c.head)) for c in shim_columns(self.rows, units) if c.head != WITHOUT
        ]
        tip = say("Locked: stays when the rest is solved again. By hand: decided by a person")
        kept = TableColumn("kept", self._kept, tip, number=False)
        return [*made, *([kept] if any(map(self._kept, self.rows)) else [])]

    def _marked(self, head: str) -> dict[str, Any]:
        key = _MARGINS.get(head)
        if key is None or self._found is None:
            return {}
        heights = self._found.case.heights

        def mark(row: ShimPosition) -> tuple[str, str] | None:
            found = margin_mark(row, key, heights)
            return None if found is None else (_SIGNS[found[0]], found[0])

        return {
            "icon": mark,
            "colour": lambda row: (margin_mark(row, key, heights) or (None,))[0],
            "cell_tip": lambda row: (
                margin_mark(row, key, heights) or ("", say("no mark: neither minimum nor guidance"))
            )[1],
        }

    def _kept(self, row: ShimPosition) -> str:
        words = ["locked"] if row.position in self._fitting.locked else []
        return ", ".join([*words, *([say("by hand")] if row.position in self._fitting.by_hand else [])])

    def _show_position(self, position: str) -> None:
        self.edit.show_standing(self.standing, position)
        here = self.edit.position
        with QSignalBlocker(self.sheet):
            self.sheet.select_where(lambda row: row.position == here)
        locked = here in self._fitting.locked
        self.lock_button.setText(
            say("Unloc&k {here}").format(here=here) if locked else say("Loc&k {here}").format(here=here)
        )

    # -- deciding ---------------------------------------------------------------------------------------------------

    def _on_row(self, row: ShimPosition) -> None:
        self._show_position(row.position)
        self.spring_chosen.emit(row.spring)

    def _on_position(self, position: str) -> None:
        self._show_position(position)
        row = next((row for row in self.rows if row.position == position), None)
        if row is not None:
            self.spring_chosen.emit(row.spring)

    def _on_source(self) -> None:
        number = self.source.currentData()
        label = "fit the whole tray" if number == _WHOLE else f"fit set {number + 1}"
        self._decide(Fitting(None if number == _WHOLE else number), label)

    def _on_done(self, plan: FittingPlan, position: str) -> None:
        if self._found is not None:
            self._decide(
                by_hand.edited(self._fitting, plan, self._found.plan),
                say("change the plan at {position}").format(position=position),
            )

    def turn_lock(self) -> None:
        """Lock what stands at the position, or unlock it."""
        place = self.edit.position
        word = "unlock" if place in self._fitting.locked else "lock"
        self._decide(by_hand.lock_turned(self._fitting, place), f"{word} {place}")

    def solve_again(self) -> None:
        """Find the best plan around what is locked."""
        self._decide(by_hand.to_solve_again(self._fitting, self.standing.plan), "solve the plan again")

    def back_to_found(self) -> None:
        """Forget what was decided by hand."""
        self._decide(by_hand.as_found(self._fitting), "go back to the found plan")

    def _decide(self, fitting: Fitting, label: str) -> None:
        kept = springs_bay.with_fitting(self.bench.document, fitting)
        self.bench.set(SpringsState, label, fittings=kept)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter does what is considered, Escape leaves it."""
        keys = {Qt.Key.Key_Return: self.edit.do_it, Qt.Key.Key_Enter: self.edit.do_it}
        act = {**keys, Qt.Key.Key_Escape: self.edit.leave_it}.get(Qt.Key(event.key()))
        if act is None or not self.edit.open:
            super().keyPressEvent(event)
        else:
            act()

    def _keep(self, **found: Any) -> None:
        if self._asked is not None:
            self.bench.answered(springs_bay.SHIMS, Answer(self._asked.key, **found))

    # -- paper ------------------------------------------------------------------------------------------------------

    def do_csv(self) -> None:
        """Choose where the plan goes."""
        save_as(self, say("Save shim plan"), self.bench.suggested("shims.csv"), say("Table (*.csv)"), self.save_csv)

    def save_csv(self, path: Path) -> None:
        """Write the plan as a table."""
        self.bench.make(path, table_csv(self.sheet))

    def do_sheet(self) -> None:
        """Choose where the build sheet goes."""
        save_as(
            self, say("Save build sheet"), self.bench.suggested("build sheet.pdf"), say("PDF (*.pdf)"), self.save_sheet
        )

    def save_sheet(self, path: Path) -> None:
        """Write the build sheet of the plan as it stands; one that can't be fitted is refused."""
        if self._found is None:
            return
        try:
            result = springs_bay.fitted(self._found, self._fitting).result
        except CannotEvaluate as refusal:
            self.bench.said.emit(say(str(refusal)))
            return
        self.bench.make(path, partial(_build_sheet, result, self.bench.document.units))


def _build_sheet(result: ShimsResult, units: System) -> bytes:
    from valvelab.report.build_sheet import build_sheet
    from valvelab.report.shims_certificate import shims_sheet

    return build_sheet(shims_sheet(result, units), units)


def _titled(grouping: Grouping) -> list[tuple[str, tuple[str, ...]]]:
    return [(say("set {number}").format(number=number), one) for number, one in enumerate(grouping.sets, start=1)]
