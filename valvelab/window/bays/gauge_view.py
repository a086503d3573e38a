"""The gauge bay: means and ranges, where the variation comes from, figures; a plan, and the result adopted."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QHBoxLayout, QLabel, QLineEdit, QSizePolicy, QWidget

from valvelab.figures import gauge_figures
from valvelab.inspection.form.gauge import GaugeInspection
from valvelab.language import marked, say
from valvelab.records.gauge_result import GaugeFigures, GaugeResult
from valvelab.tables.form import ANALYSIS, StudyRow, study_cell, study_rows
from valvelab.units import System
from valvelab.window.bays.gauge_start import PlanStrip
from valvelab.window.bays.view import BayView
from valvelab.window.bench import Bench
from valvelab.window.drawing import FigureStack, FigureView
from valvelab.window.layouts import flowing, stacked, strip
from valvelab.window.numbers import display_unit, told
from valvelab.window.panes import BoundQuantity, Chips, button, labelled, look, splitter, titled
from valvelab.window.saving import save_as
from valvelab.window.tables import TableColumn, TableView, of
from valvelab.workbench import gauge_bay
from valvelab.workbench.document import Document, Problem
from valvelab.workbench.gauge_bay import GaugeState, adopt_as, dimension_of
from valvelab.workbench.shaft_bay import ADOPTED
from valvelab.workbench.spec_choice import headline_of

_LISTS = (("figures", marked("Figures")), ("analysis", marked("Analysis")), ("plan", marked("New study")))
_STRETCH = {"gauge_means": 3, "gauge_ranges": 2}
_GOOD, _USABLE = 10.0, 30.0


class GaugeView(BayView[GaugeInspection]):
    """See the module text."""

    def __init__(self, bench: Bench) -> None:
        super().__init__(bench)
        self._inspection: GaugeInspection | None = None
        self._study = ("", "")
        self._adopting: Path | None = None
        self.stack = FigureStack("Means and ranges by part and appraiser", self)
        self.components = FigureView("Where the variation comes from", self)
        self.table = TableView("study figures", (), self, spoken="Figures by both methods", sortable=False)
        self.table.ask_width()
        columns = [of(column, "metric") for column in ANALYSIS]
        self.analysis = TableView("analysis of variance", columns, self, spoken="Analysis of variance", sortable=False)
        self.plan = PlanStrip(bench, self)
        self._tolerance_place = QHBoxLayout()
        self.tolerance: BoundQuantity | None = None
        self._tolerance_box: QWidget | None = None
        self.kind = QLineEdit(self)
        self.kind.setAccessibleName(say("Kind of reading that the result is adopted for"))
        self.kind.setToolTip(say("What the uncertainty is of, such as tir or journal diameter"))
        tip = say("Keep GRR as one reading's standard uncertainty, in a small file that the bench takes")
        self.adopt = button(self, "Adopt as &uncertainty…", tip, self._on_adopt)
        self.kind.textChanged.connect(lambda text: self.adopt.setEnabled(bool(text.strip())))
        self.bench.done.connect(self._on_done)
        self.judgement = QLabel(self, wordWrap=True)
        self.judgement.setToolTip(
            say("Common practice: under 10 % of the total good, over 30 % not fit; 5 categories or more")
        )
        self._lay_out()

    def _lay_out(self) -> None:
        self.lists = Chips(self.bench, self, GaugeState, "page", _LISTS, (self.table, self.analysis, self.plan))
        share = titled(self, "Share of the variation", self.components)
        study = titled(self, "Study", self.lists.stack, self.lists.row)
        right = splitter(self, Qt.Orientation.Vertical, (share, 10), (study, 12))
        left = titled(self, "By part and appraiser", self.stack)
        across = splitter(self, Qt.Orientation.Horizontal, (left, 12), (right, 10))
        self.kind.setMaximumWidth(8 * self.fontMetrics().height())
        policy = QSizePolicy.Policy
        self.judgement.setSizePolicy(policy.Expanding, policy.Preferred)
        adopting = strip(self, labelled(self, "kind", self.kind), self.adopt, spacing=10)
        parts = (self._tolerance_place, self.judgement, adopting)
        stacked(self, flowing(*parts, margins=(8, 4, 6, 2), spacing=10), (across, 1))

    # -- showing ----------------------------------------------------------------------------------------------------

    def headline(self, document: Document, inspection: GaugeInspection) -> tuple[str, str]:
        """What was studied and how large; the spec."""
        found, readings = inspection.result, inspection.question.readings
        size = say("{count} parts × {count_2} appraisers × {trials} trials").format(
            count=len(found.parts), count_2=len(found.appraisers), trials=found.trials
        )
        what = (readings.characteristic or Path(readings.file).name).replace("_", " ")
        title = f"{what}, {size}"
        return title, headline_of(document, gauge_bay.spec_in_use(document), inspection.question.spec)

    def show_answer(self, document: Document, inspection: GaugeInspection) -> None:
        """Redraw where the answer, the units or the theme changed."""
        self.plan.show_document(document)
        units = document.units
        if not self.changed("all", inspection, units, look()):
            return
        study = (inspection.question.readings.file, inspection.result.unit)
        if study != self._study:
            self._study = study
            self._meet(inspection)
        self._inspection = inspection
        drawn = [gauge_figures.means_figure(inspection), gauge_figures.ranges_figure(inspection)]
        self.draw_figures("study", self.stack, drawn, units, _STRETCH)
        self.draw_figures("components", self.components, [gauge_figures.components_figure(inspection)], units)
        rows, columns = study_rows(inspection.result, units), _columns(inspection.result, units)
        self.draw("rows", self.table.show_rows, rows, columns)
        self.analysis.show_rows(inspection.result.analysis)
        width = inspection.result.tolerance
        assert self.tolerance is not None
        if width is not None:
            self.tolerance.show_in(width, units)
        self.judgement.setText(_judgement(inspection.result.anova.grr_percent, inspection.result.anova.ndc))

    def _meet(self, inspection: GaugeInspection) -> None:
        """A study that was not in front before: its dimension, its kind of reading."""
        if self._tolerance_box is not None:
            self._tolerance_box.deleteLater()
        unit = inspection.result.unit
        self.tolerance = BoundQuantity(
            self.bench, self, GaugeState, "tolerance", dimension=dimension_of(unit), unit=unit
        )
        self.tolerance.setPlaceholderText(say("none known"))
        self.tolerance.setMaximumWidth(6 * self.fontMetrics().height())
        self._tolerance_box = labelled(self, "tolerance", self.tolerance)
        self._tolerance_place.addWidget(self._tolerance_box)
        self.kind.setText(inspection.question.readings.characteristic or "")
        self.adopt.setEnabled(bool(self.kind.text().strip()))

    # -- what a person does -----------------------------------------------------------------------------------------

    def _on_adopt(self) -> None:
        suggestion = self.bench.suggested(f"{self.kind.text().strip().replace(' ', '_')}_uncertainty.toml")
        save_as(self, say("Adopt as uncertainty"), suggestion, say("Adopted uncertainty (*.toml)"), self.adopt_to)

    def adopt_to(self, path: Path) -> None:
        """Write the adopted uncertainty and put it on the bench, where the shaft bay uses it."""
        inspection, kind = self._inspection, self.kind.text().strip()
        if inspection is None or not kind or not self.bench.may_write(path, ADOPTED):
            return
        self._adopting = path
        self.bench.do(say("Writing {name}").format(name=path.name), path.name, lambda: adopt_as(inspection, kind, path))

    def _on_done(self, outcome: Problem) -> None:
        path = self._adopting
        if path is None or outcome.about != path.name:
            return
        self._adopting = None
        if outcome.level != "info":
            return
        if self.bench.document.file(str(path.absolute())) is not None:
            self.bench.read_again()
        else:
            self.bench.add_files([str(path)])


def _judgement(percent: float | None, categories: int | None) -> str:
    if percent is None:
        return say("no variation was seen")
    fit = (
        "good"
        if percent < _GOOD
        else say("usable with care")
        if percent <= _USABLE
        else say("not fit to judge these parts by")
    )
    count = "" if categories is None else say(", {categories} distinct categories").format(categories=categories)
    return say("GRR {percent} of the total{count}: {fit}").format(percent=told(percent, "%"), count=count, fit=fit)


def _columns(result: GaugeResult, units: System) -> list[TableColumn]:
    def method(title: str, found: GaugeFigures, tip: str) -> TableColumn:
        return TableColumn(
            title,
            lambda row: study_cell(row, found, units),
            tip,
            value=lambda row: getattr(found, row.key),
            strong=leads,
        )

    def leads(row: StudyRow) -> bool:
        return row.name.startswith("GRR") or row.key == "ndc"

    return [
        TableColumn("standard deviation", lambda row: row.name, "Point at one to read what it means", number=False,
                    cell_tip=lambda row: row.meaning, strong=leads),
        method("analysis of\nvariance", result.anova, "Crossed analysis of variance"),
        method("averages\nand ranges", result.ranges, "Method of averages and ranges"),
        TableColumn("unit", lambda row: display_unit(row.unit, units).label, "", number=False),
    ]  # fmt: skip
