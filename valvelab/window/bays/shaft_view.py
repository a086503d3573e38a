"""The shaft bay: the bowed shaft, its centres end on, the chosen journal's roundness and lobing, the figures."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLabel

from valvelab.camshaft.journal import JournalForm
from valvelab.decimals import decimals_among
from valvelab.figures import shaft_figures
from valvelab.inspection.form.shaft import ShaftInspection
from valvelab.language import aloud, marked, say
from valvelab.records.result import Decision
from valvelab.records.shaft_result import StationResult
from valvelab.tables.description import Column, Mark
from valvelab.tables.form import STATIONS, TAPERS, straightness_told
from valvelab.tables.verdicts import worst_by_item
from valvelab.units import System
from valvelab.window.bays.view import BayView, numbered
from valvelab.window.bench import Bench
from valvelab.window.chips import Heading
from valvelab.window.drawing import FigureView
from valvelab.window.layouts import stacked
from valvelab.window.numbers import display_unit, show
from valvelab.window.panes import Chips, labelled, look, splitter, titled
from valvelab.window.tables import TableColumn, TableView, of
from valvelab.workbench import shaft_bay
from valvelab.workbench.document import Document
from valvelab.workbench.shaft_bay import FILTERS, ShaftState, chosen_journal, journals
from valvelab.workbench.spec_choice import headline_of

_LISTS = (("journals", marked("Journals")), ("lobing", marked("Lobing")), ("taper", marked("Taper")))


class ShaftView(BayView[ShaftInspection]):
    """See the module text."""

    def __init__(self, bench: Bench) -> None:
        super().__init__(bench)
        self._inspection: ShaftInspection | None = None
        self.shaft = FigureView("The shaft from the side, its bow magnified", self)
        self.shaft.spot_clicked.connect(self._on_shaft_clicked)
        self.section = FigureView("Journal centres end on", self)
        self.polar = FigureView("Roundness of the chosen journal", self)
        self.lobing = FigureView("Lobing of the chosen journal by order", self)
        self.table = TableView("journals", (), self, spoken="Journals", sortable=False)
        self.table.chosen.connect(self._on_row)
        nothing = say("A taper needs two tracks of one lobe or journal at two positions, on one zero.")
        spoken = say("Taper between two tracks")
        self.tapers = TableView("tapers", (), self, spoken=spoken, sortable=False, empty=nothing)
        self.journal_name = Heading("", 1.05, self)
        self.straightness = QLabel(self, wordWrap=True, textFormat=Qt.TextFormat.PlainText)
        self._lay_out()

    def _lay_out(self) -> None:
        self.filters = Chips(self.bench, self, ShaftState, "undulations", FILTERS)
        self.filters.row.setToolTip(say("Gaussian cutoff of the form in undulations per turn (ISO 12181-2)"))
        pages = (self.table, self.lobing, self.tapers)
        self.lists = Chips(self.bench, self, ShaftState, "page", _LISTS, pages)
        self.list_pages = self.lists.stack
        across, down = Qt.Orientation.Horizontal, Qt.Orientation.Vertical
        axis = titled(self, "Axis", splitter(self, across, (self.shaft, 13), (self.section, 6)), self.straightness)
        form = titled(self, "Form", self.list_pages, self.lists.row)
        left = splitter(self, down, (axis, 6), (form, 5))
        right = titled(self, self.journal_name, self.polar, labelled(self, "filter", self.filters.row))
        stacked(self, splitter(self, across, (left, 14), (right, 9)))

    # -- showing ----------------------------------------------------------------------------------------------------

    def headline(self, document: Document, inspection: ShaftInspection) -> tuple[str, str]:
        """Part and serial; the spec, and whose uncertainty."""
        readings = inspection.question.readings
        title = numbered(readings.part or Path(readings.file).name, readings.serial)
        found = shaft_bay.spec_in_use(document)
        kind = shaft_bay.adopted_kind(document)
        counts = readings.adopted_probe is not None
        own = say("the readings' own uncertainty, not the smaller adopted one")
        adopted = f"; {(say('uncertainty adopted for {kind}').format(kind=kind) if counts else own)}" if kind else ""
        return title, headline_of(document, found, inspection.question.spec) + adopted

    def show_answer(self, document: Document, inspection: ShaftInspection) -> None:
        """Redraw what changed: everything, or the chosen journal."""
        journal = chosen_journal(document, inspection)
        if self.changed("figures", inspection, document.units):
            self.draw("figures", self._show_figures, document, inspection)
        if self.changed("drawings", inspection, document.units, journal, look()):
            self._draw(document, inspection, journal)
        self._inspection = inspection
        self.draw("row", self.table.select_where, lambda row: _name_of(inspection, row) == journal)

    def _show_figures(self, document: Document, inspection: ShaftInspection) -> None:
        units = document.units
        worst = worst_by_item(inspection.result.verdicts)
        decisions = {id(row): worst.get(_name_of(inspection, row)) for row in inspection.result.stations}
        self.table.show_rows(inspection.result.stations, _columns(inspection.result.stations, units, decisions))
        tapers = inspection.result.tapers
        self.tapers.show_rows(tapers, [of(column, units, tapers) for column in TAPERS])
        known = inspection.result.straightness.minimum_zone_um is not None
        with aloud():
            told = straightness_told(inspection.result, units)
        self.straightness.setText(told if known else say("no straightness: see Remarks"))
        self.straightness.setToolTip(self.straightness.text())

    def _draw(self, document: Document, inspection: ShaftInspection, journal: str) -> None:
        units = document.units
        rejected = {row.item: row.decision for row in inspection.result.verdicts if row.decision == "reject"}
        form = journals(inspection).get(journal)
        trace = "" if form is None else form.trace.name
        side = shaft_figures.bowed_shaft_figure(inspection, units, trace, rejected)
        self.draw_figures("shaft", self.shaft, [side], units)
        self.draw_figures("section", self.section, [shaft_figures.section_figure(inspection, units, trace)], units)
        self.polar.setVisible(form is not None)
        self.lobing.setVisible(form is not None)
        if form is None:
            self.journal_name.setText(say("No journal was read all the way round"))
            return
        round_by = _roundness_of(inspection, form, units) if form.has_roundness else say(", no roundness")
        self.journal_name.setText(f"{journal}{round_by}")
        self.draw_figures("polar", self.polar, [shaft_figures.roundness_figure(form, units)], units)
        self.draw_figures("lobing", self.lobing, [shaft_figures.harmonics_figure(form)], units)

    # -- what a person does -----------------------------------------------------------------------------------------

    def item_in_front(self, document: Document, inspection: ShaftInspection) -> str:
        """The one in front."""
        return chosen_journal(document, inspection)

    def choose_item(self, item: str) -> None:
        """Bring a journal to the front."""
        if self._inspection is not None and item in journals(self._inspection):
            self.bench.set(ShaftState, journal=item)

    def _on_row(self, row: StationResult) -> None:
        if self._inspection is not None:
            self.choose_item(_name_of(self._inspection, row))

    def _on_shaft_clicked(self, _plot: str, where: float) -> None:
        if self._inspection is None:
            return
        placed = {
            name: abs(form.trace.position_mm - where)
            for name, form in journals(self._inspection).items()
            if form.trace.position_mm is not None
        }
        if placed:
            self.choose_item(min(placed, key=placed.__getitem__))


def _roundness_of(inspection: ShaftInspection, form: JournalForm, units: System) -> str:
    def told(value_mm: float, key: str) -> str:
        return show(1000.0 * value_mm, "um", units, decimals_among(inspection.result.stations, key, "um", units))

    label = display_unit("um", units).label
    zone, least = form.circles.get("minimum zone"), form.least_squares.roundness_mm
    known = "" if zone is None else f"  MZC {told(zone.roundness_mm, 'roundness_mzc_um')}"
    return f"{known}  LSC {told(least, 'roundness_lsc_um')} {label}"


def _name_of(inspection: ShaftInspection, row: StationResult) -> str:
    return shaft_bay.name_of(inspection, row.station, row.position_mm)


def _columns(rows: Sequence[StationResult], units: System, decisions: dict[int, Decision | None]) -> list[TableColumn]:
    def mark(row: StationResult) -> Mark | str:
        decision = decisions.get(id(row))
        return "" if decision is None else Mark(decision)

    named, at, eccentricity, toward, tir, lsc, mzc, mic, mcc = (of(column, units, rows) for column in STATIONS)
    verdict: Column[StationResult] = Column("verdict", words=mark, tip="Against the spec on the bench")
    return [named, tir, mzc, lsc, of(verdict, units, rows), eccentricity, toward, mic, mcc, at]
