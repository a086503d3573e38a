"""The degreeing bay: guide, worksheet, wheel and what the readings give, beside the engine."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtGui import QShowEvent

from valvelab.decimals import decimals_among, decimals_of
from valvelab.figures.phasing_figures import event_diagram, wheel_dial
from valvelab.inspection.engine.phasing import CAUTION
from valvelab.language import aloud, figures, marked, plain, say, say_lines, say_number, word
from valvelab.phasing import degreeing as phasing
from valvelab.records.phasing_result import AdjusterOutcome, PhasingResult
from valvelab.tables.description import Fact
from valvelab.tables.engine import AT_LOBE, STEPS, AtLobe, degreeing, degrees, signed
from valvelab.units import System
from valvelab.window.bays.phasing_form import WorksheetForm
from valvelab.window.bays.phasing_grid import LobeGrid
from valvelab.window.bays.phasing_guide import GuideStrip
from valvelab.window.bays.phasing_wheel import DegreeWheel
from valvelab.window.bays.view import BayView, numbered
from valvelab.window.bench import Bench
from valvelab.window.drawing import FigureView
from valvelab.window.layouts import stacked
from valvelab.window.numbers import show
from valvelab.window.panes import Chips, button, look, splitter, titled
from valvelab.window.saving import save_as
from valvelab.window.tables import TableColumn, TableView, of
from valvelab.workbench import phasing_bay, worksheet
from valvelab.workbench.document import Document
from valvelab.workbench.phasing_bay import PhasingState, Worksheet
from valvelab.workbench.spec_choice import headline_of
from valvelab.workbench.worksheet import Cell
from valvelab.workbench.worksheet_words import spoken, trimmed

_DRAWINGS = (("wheel", marked("Wheel")), ("events", marked("Valve events")), ("lobes", marked("Table of lobes")))
_FROM = {
    "near_peak": marked("Centreline, from pairs near the nose"),
    "events": marked("Centreline, from events: a symmetrical lobe is supposed"),
}
_LISTS = (("result", marked("Result")), ("events", marked("Events")), ("steps", marked("Steps")))


@dataclass(frozen=True, slots=True)
class Figure:
    """One line of the result: what, value with uncertainty, what it should be."""

    name: str
    value: str
    u: str = ""
    card: str = ""
    tip: str = ""
    strong: bool = False


class PhasingView(BayView[Worksheet]):
    """See the module text."""

    def __init__(self, bench: Bench) -> None:
        super().__init__(bench)
        self._worksheet: Worksheet | None = None
        self.guide = GuideStrip(CAUTION, self)
        self.guide.typed.connect(self._on_typed)
        self.form = WorksheetForm(self)
        self.form.edited.connect(self._on_edit)
        self.form.row_wanted.connect(self._on_row_wanted)
        self.form.row_unwanted.connect(lambda cell: self._change("take out a row", worksheet.without_row, cell))
        self.form.lobe_wanted.connect(
            lambda name: self._change(say("add lobe {strip}").format(strip=name.strip()), worksheet.add_lobe, name)
        )
        self.wheel = DegreeWheel("Degree wheel")
        self.events = FigureView("Valve-event diagram", self)
        self.lobes = LobeGrid(self)
        self.lobes.edited.connect(self._apply)
        nothing = say("Type the steps on the shelf, a centreline of the card, and read a pair near the nose.")
        self.figures = TableView(
            "degreeing result", _FIGURE_COLUMNS, self, spoken="Result of the readings", sortable=False, wrapped=0
        )
        self.event_rows = TableView("valve events", (), self, spoken="Events and durations", sortable=False)
        self.steps = TableView(
            "adjuster steps", (), self, spoken="What each adjuster step would give", sortable=False, empty=nothing
        )
        self._lay_out()

    # -- lay-out ----------------------------------------------------------------------------------------------------

    def _lay_out(self) -> None:
        self.drawings = Chips(
            self.bench, self, PhasingState, "drawing", _DRAWINGS, (self.wheel, self.events, self.lobes)
        )
        tables = (self.figures, self.event_rows, self.steps)
        self.lists = Chips(self.bench, self, PhasingState, "page", _LISTS, tables)
        self.drawing_pages, self.list_pages = self.drawings.stack, self.lists.stack
        tip = say("Start a blank worksheet; files stay where they are")
        self.new_button = button(self, "New shee&t", tip, self.start_new)
        self.save_button = button(
            self, "&Save sheet…", "Write the worksheet as TOML and put it on the bench", self.save
        )
        left = titled(self, "", self.form, self.new_button, self.save_button)
        middle = titled(self, "", self.drawing_pages, self.drawings.row)
        right = titled(self, "", self.list_pages, self.lists.row)
        across = ((left, 3), (middle, 4), (right, 3))
        whole = splitter(self, Qt.Orientation.Horizontal, *across, sizes=(340, 316, 380))
        stacked(self, self.guide, (whole, 1))

    def showEvent(self, event: QShowEvent) -> None:
        """Ready to type the next reading."""
        super().showEvent(event)
        if self.guide.field.isEnabled():
            self.guide.field.setFocus(Qt.FocusReason.OtherFocusReason)

    # -- showing ----------------------------------------------------------------------------------------------------

    def headline(self, document: Document, shown: Worksheet) -> tuple[str, str]:
        """The part and how far it is read; the spec."""
        sheet = shown.inspection.sheet
        file = phasing_bay.file_in_front(document)
        title = numbered(sheet.part or "", sheet.serial) or (file.name if file else say("New worksheet"))
        title += self.bench.kept(in_file=shown.saved)
        found = phasing_bay.spec_in_use(document)
        if found is None:
            return title, say("no spec on the bench: the card is what it is held against")
        return title, headline_of(document, found, found[1])

    def progress(self, _document: Document, shown: Worksheet) -> str:
        """How many readings there are, and the next one."""
        return phasing_bay.progress(shown)

    def show_answer(self, document: Document, shown: Worksheet) -> None:
        """Redraw what changed."""
        if self.changed("colours", None, document.units, look()):
            self.form.restyle()
        if self.changed("all", shown, document.units, look()):
            self._worksheet = shown
            self._show(shown, document.units)

    def _show(self, shown: Worksheet, units: System) -> None:
        result = shown.inspection.result
        self.guide.show_step(shown, units)
        if self.changed("form", None, units, look()):
            self.draw("form", lambda: self._show_form(self.bench.document.units))
        else:
            self._show_form(units)  # at once: no key meets an older sheet
        self.wheel.show_wheel(wheel_dial(shown.inspection, units), shown)
        self.lobes.show_worksheet(shown, units)
        self.draw("diagram", self._show_diagram, shown, units)
        self.draw("figures", self.figures.show_rows, _figures(result, units), _FIGURE_COLUMNS)
        rows = [(lobe, row) for lobe in result.lobes for row in lobe.durations]
        self.draw("event rows", self.event_rows.show_rows, rows, _event_columns(rows, units))
        self.draw("steps", self.steps.show_rows, result.adjuster_outcomes, _step_columns(result))
        self.save_button.setEnabled(not shown.saved)

    def _show_diagram(self, shown: Worksheet, units: System) -> None:
        self.draw_figures("events", self.events, [event_diagram(shown.inspection)], units, next_up=True)

    def _show_form(self, units: System) -> None:
        shown = self._worksheet
        if shown is not None:
            target = None if shown.target is None else shown.target.cell
            self.form.show_sheet(shown.inspection.sheet, shown.doubts, target, units)

    # -- what a person does -----------------------------------------------------------------------------------------

    def start_new(self) -> None:
        """A blank worksheet in front."""
        self.bench.history.apply(phasing_bay.with_new_sheet(self.bench.document), "start a new sheet")
        self.guide.field.setFocus()

    def save(self) -> None:
        """Choose a file and write the sheet to it."""
        file = phasing_bay.file_in_front(self.bench.document)
        start = file.path if file else self.bench.suggested("degree_wheel.toml")
        save_as(self, say("Save sheet"), start, say("Degree-wheel sheet (*.toml)"), self.save_to)

    def save_to(self, path: Path) -> None:
        """Write the sheet and work on from that file."""
        whole = path.absolute()
        document = self.bench.document
        if self.bench.write(whole, phasing_bay.sheet_text(document), "Sheet written", phasing_bay.KIND):
            self.bench.history.apply(phasing_bay.saved_as(document, str(whole)), "save the sheet")

    def choose_item(self, item: str) -> None:
        """A verdict's item: a lobe's first reading gets the focus."""
        cells = [cells[1] for cells in self._rows_of(item)]
        if cells and cells[0] in self.form.fields:
            self.form.fields[cells[0]].setFocus()

    def _rows_of(self, lobe: str) -> tuple[tuple[Cell, ...], ...]:
        return () if self._worksheet is None else worksheet.lobe_rows(self._worksheet.inspection.sheet, lobe)

    def _apply(self, sheet: phasing.Sheet, label: str) -> None:
        self.bench.history.apply(phasing_bay.with_sheet(self.bench.document, sheet), label)

    def _on_typed(self, value: object) -> None:
        shown = self._worksheet
        if shown is None or shown.target is None or not isinstance(value, float):
            return
        target = shown.target
        if target.again and value == worksheet.value_of(target.sheet, target.cell):
            self.bench.history.apply(
                phasing_bay.confirmed(self.bench.document, target.cell, value), "read the same again"
            )
            return
        label = f"read {spoken(target.cell, target.sheet)}"
        self._apply(worksheet.with_value(target.sheet, target.cell, value), label)

    def _change(self, label: str, change: Callable[..., phasing.Sheet], *how: object) -> None:
        self._apply(change(phasing_bay.sheet_in_front(self.bench.document), *how), label)

    def _on_edit(self, cell: Cell, value: worksheet.Value) -> None:
        sheet = phasing_bay.sheet_in_front(self.bench.document)
        self._change(f"enter {spoken(cell, sheet)}", worksheet.with_value, cell, value)

    def _on_row_wanted(self, what: str, lobe: str) -> None:
        add = worksheet.add_pair if what == "pair" else worksheet.add_event
        self._change(say("add a row of {lobe}").format(lobe=lobe), add, lobe)


def _figures(result: PhasingResult, units: System) -> list[Figure]:
    """The degreeing with its centrelines and overlap between; what it is done for stands strong."""
    first, *others = (
        Figure(_fact_label(fact), fact.shown, fact.shown_u, tip=say_lines(fact.meaning)) for fact in degreeing(result)
    )
    rows = [first]

    def both(value: float | None, u: float | None, decimals: int) -> tuple[str, str]:
        return show(value, "crank deg", decimals=decimals), show(u, "crank deg", decimals=decimals)

    of_centres = decimals_among(result.lobes, "centreline_crank_deg", "crank deg")
    of_overlaps = decimals_of((row.standard_uncertainty_crank_deg for row in result.overlap), "crank deg")
    for lobe in result.lobes:
        if lobe.kind is None:
            continue
        side = -1.0 if lobe.kind == "exhaust" else 1.0
        word = say("BTDC") if lobe.kind == "exhaust" else say("ATDC")
        value, card = (
            None if angle is None else side * angle
            for angle in (lobe.centreline_crank_deg, lobe.card_centreline_crank_deg)
        )
        u = lobe.uncertainty["centreline_crank_deg"]
        tip = say(_FROM.get(lobe.centreline_from or "", ""))
        rows.append(Figure(f"{lobe.lobe} {word}", *both(value, u, of_centres), degrees(card), tip))
    separation, advance, correction, step = others
    tip = say("Intake opening BTDC + exhaust closing ATDC")
    overlap = [
        Figure(
            say("overlap at {lift}").format(lift=_lift(row.at_mm, units)), *both(row.crank_deg, u, of_overlaps), tip=tip
        )
        for row in result.overlap
        for u in (row.standard_uncertainty_crank_deg,)
    ]
    strong = (replace(correction, card="0", strong=True), replace(step, strong=True))
    return [*rows, separation, *overlap, advance, *strong]


def _fact_label(fact: Fact) -> str:
    with aloud():
        unit = word(fact.unit)
    return f"{say(fact.name)}, {unit}" if fact.unit == "cam deg" else say(fact.name)


def _lift(at_mm: float, units: System) -> str:
    with plain():
        shown = trimmed(show(at_mm, "mm", units, 4), 3 if units == "inch" else 2)
    return say_number(shown)


_FIGURE_COLUMNS = (
    TableColumn("crank deg", lambda row: row.name, "Point at one to read what it means", number=False,
                cell_tip=lambda row: row.tip, strong=lambda row: row.strong, whole_unit=True),
    TableColumn("value", lambda row: row.value, "From the readings", strong=lambda row: row.strong),
    TableColumn("u", lambda row: row.u, "Standard uncertainty, from that of one wheel reading"),
    TableColumn("card", lambda row: row.card, "What was ordered"),
)  # fmt: skip


def _event_columns(rows: Sequence[AtLobe], units: System) -> list[TableColumn]:
    lobe, *others = (of(column, units, rows) for column in AT_LOBE)
    return [replace(lobe, colour=lambda row: row[0].kind), *others]


def _step_columns(result: PhasingResult) -> list[TableColumn]:
    def best(row: object) -> bool:
        return getattr(row, "step_crank_deg", None) == result.nearest_adjuster_crank_deg

    def marked(row: AdjusterOutcome) -> str:
        with plain():
            step = signed(row.step_crank_deg).removesuffix(".00")
        return ("▶ " if best(row) else "") + figures(step)

    step, *others = (of(column, "metric", result.adjuster_outcomes, strong=best) for column in STEPS)
    return [replace(step, text=marked), *others]
