"""The shim plan: which spring and which shims at which valve, worked out in the background when it is looked at."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QLabel, QWidget

from valvelab.inspection.springs.shims import ShimsInspection
from valvelab.tables.shims import shim_columns, spread_told
from valvelab.window import pages
from valvelab.window.bays.springs_run import Run
from valvelab.window.bench import Bench
from valvelab.window.layouts import beside, stacked
from valvelab.window.panes import button
from valvelab.window.tables import TableView, of
from valvelab.workbench import sets, springs_bay
from valvelab.workbench.background import Question
from valvelab.workbench.document import Answer, Document


class ShimsPane(QWidget):
    """A row each valve; what is missing or impossible in a sentence instead."""

    spring_chosen = Signal(str)

    def __init__(self, bench: Bench, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.bench = bench
        self._asked: Question[ShimsInspection] | None = None
        self._shown: tuple[object, ...] = ()
        self.run = Run(self)
        self.run.ended.connect(lambda plan: self._keep(value=plan))
        self.run.refused.connect(lambda sentence: self._keep(failure=sentence))
        self.state = QLabel(self, wordWrap=True, textFormat=Qt.TextFormat.PlainText)
        self.state.setAccessibleName("State of the shim plan")
        self.state.setContentsMargins(8, 4, 6, 4)
        self.sheet = TableView("shim plan", (), self, spoken="Spring and shims at each valve")
        self.sheet.chosen.connect(lambda row: self.spring_chosen.emit(row.spring))
        self.csv_button = button(self, "Plan as table…", "Spring and shims at each valve (CSV)", self.do_csv)
        stacked(self, self.state, (self.sheet, 1), beside(1, self.csv_button, margins=(8, 3, 6, 4)))

    def show_plan(self, document: Document, *, wanted: bool) -> None:
        """Show the plan; where it is looked at and not known yet, have it worked out."""
        answer = springs_bay.shim_plan(document)
        plan, failure = (None, "") if answer is None else (answer.value, answer.failure or "")
        question = springs_bay.shims_question(document)
        self.sheet.setVisible(plan is not None)
        self.csv_button.setVisible(plan is not None)
        if question is None:
            self.state.setText(
                "Put heights on the bench for a shim plan: position and height (seat to retainer without a shim), "
                "with the shims in stock in the preamble."
            )
        elif plan is not None:
            self._show(document, plan)
        elif failure:
            self.state.setText(failure)
        elif wanted and (self._asked is None or self._asked.key != question.key or not self.run.running):
            self._asked = question
            self.state.setText(question.label)
            self.run.start(lambda _report, _cancelled: question.work())

    def _show(self, document: Document, plan: ShimsInspection) -> None:
        result, units = plan.result, document.units
        text = spread_told(result, units).removesuffix(".")
        self.state.setText(f"{text}; {sets.counted(len(result.left_over), 'spring')} left over")
        if (plan, units) != self._shown:
            self._shown = (plan, units)
            rows = result.positions
            self.sheet.show_rows(rows, [of(column, units, rows) for column in shim_columns(rows, units)])

    def _keep(self, **found: Any) -> None:
        if self._asked is not None:
            self.bench.answered(springs_bay.SHIMS, Answer(self._asked.key, **found))

    def do_csv(self) -> None:
        """Choose where the plan goes."""
        pages.save_as(self, "Save shim plan", self.bench.suggested("shims.csv"), "Table (*.csv)", self.save_csv)

    def save_csv(self, path: Path) -> None:
        """Write the plan as a table."""
        self.bench.write(path, pages.table_csv(self.sheet))
