"""The lash bay: which shim goes into which valve, what has to be bought, and what another shim would give."""

from __future__ import annotations

from functools import partial
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLabel, QWidget

from valvelab.cautions import ENGINE, SPRINGS
from valvelab.figures.lash_figures import lash_figure
from valvelab.inspection.engine.lash import SAME_MM, LashInspection, LashShim, shims_for
from valvelab.language import aloud, say
from valvelab.records.lash import LashResult, LashValve
from valvelab.tables.lash import lash_columns, purchase_columns, shim_columns, spare_told
from valvelab.units import System
from valvelab.window.bays.view import BayView, numbered
from valvelab.window.bench import Bench
from valvelab.window.chips import Heading
from valvelab.window.drawing import FigureView
from valvelab.window.layouts import stacked, strip
from valvelab.window.panes import button, caution, colour_text, look, splitter, titled
from valvelab.window.saving import save_as
from valvelab.window.table_menu import table_csv
from valvelab.window.tables import TableColumn, TableView, of
from valvelab.workbench import lash_bay
from valvelab.workbench.document import Document
from valvelab.workbench.lash_bay import LashState, chosen_valve

_KEPT = "by hand"
_BAND = {"at least", "at most"}
"""Columns that are left out where the table is narrow: the plot shows them too."""
_SHIMS_EMS = 12
"""Width of the list of shims at least: its three columns."""


class LashView(BayView[LashInspection]):
    """See the module text."""

    def __init__(self, bench: Bench) -> None:
        super().__init__(bench)
        self._inspection: LashInspection | None = None
        self._valve = ""
        self.told = QLabel(self, wordWrap=True, textFormat=Qt.TextFormat.PlainText)
        self.told.setAccessibleName(say("What the plan leaves over"))
        self.plan = TableView("lash plan", (), self, spoken="Shim at each valve", sortable=False)
        self.plan.ask_width(close=True)
        self.plan.chosen.connect(lambda row: self.choose_item(row.valve))
        self.figure = FigureView("Lash as measured and by the plan", self)
        self.purchases = TableView("shims to buy", (), self, sortable=False, empty="Nothing has to be bought.")
        self.shims = TableView("shims for the valve", (), self, spoken="Shims that the valve could have")
        self.shims.doubleClicked.connect(lambda _index: self.fix())
        self.valve_name = Heading("", 1.05, self)
        self.valve_name.setTextFormat(Qt.TextFormat.PlainText)
        tip = say("This shim goes into this valve, and the plan is found around it (or double-click the shim)")
        self.fix_button = button(self, "&Fix this shim", tip, self.fix)
        self.free_button = button(self, "As p&lanned", "Leave this valve to the plan again", self.free)
        self.csv_button = button(self, "Plan as &table…", "The shim of each valve (CSV)", self.do_csv)
        tip = say("The plan in large type, to be read at the bench (PDF, A4)")
        self.sheet_button = button(self, "B&uild sheet…", tip, self.do_sheet)
        self._lay_out()

    def _lay_out(self) -> None:
        whole = f"{ENGINE} {SPRINGS}"
        self.caution = caution(self, whole, whole)
        self.caution.setContentsMargins(8, 1, 6, 3)
        head = strip(self, (self.told, 1), self.csv_button, self.sheet_button, margins=(8, 4, 6, 2))
        plan = QWidget(self)
        stacked(plan, head, (self.plan, 1))
        drawn = titled(self, "Lash of each valve: ○ as measured, ● by the plan", self.figure)
        left = splitter(self, Qt.Orientation.Vertical, (plan, 3), (drawn, 2), sizes=(300, 200))
        deciding = strip(self, self.fix_button, self.free_button, spacing=6)
        shims = titled(self, self.valve_name, self.shims, deciding)
        self.shims.setMinimumWidth(round(_SHIMS_EMS * self.fontMetrics().height()))
        bought = titled(self, "To buy", self.purchases)
        right = splitter(self, Qt.Orientation.Vertical, (shims, 3), (bought, 1), sizes=(360, 160))
        across = splitter(self, Qt.Orientation.Horizontal, (left, 5), (right, 2), sizes=(795, 250))
        stacked(self, (across, 1), self.caution)

    # -- showing ----------------------------------------------------------------------------------------------------

    def headline(self, _document: Document, inspection: LashInspection) -> tuple[str, str]:
        """Part and serial; where the bands come from."""
        remarks = inspection.table.remarks
        title = numbered(remarks.get("part") or Path(inspection.table.file).name, remarks.get("serial"))
        return title, say("against the lash that the sheet states")

    def show_answer(self, document: Document, inspection: LashInspection) -> None:
        """Redraw what changed: the plan, or the valve in front."""
        units, valve = document.units, chosen_valve(document, inspection)
        self._inspection, self._valve = inspection, valve
        fixed = lash_bay.fixed_in_use(document)
        colour_text(self.caution, "undecided")
        if self.changed("plan", inspection, units, look(), fixed):
            self.draw("plan", self._show_plan, inspection, units, dict(fixed))
            self.draw_figures("figure", self.figure, [lash_figure(inspection.result)], units)
        self.draw("row", self.plan.select_where, lambda row: row.valve == valve)
        if self.changed("valve", inspection, units, look(), valve, fixed):
            self._show_valve(inspection, valve, units, dict(fixed))

    def _show_plan(self, inspection: LashInspection, units: System, fixed: dict[str, float]) -> None:
        result = inspection.result
        with aloud():
            self.told.setText(spare_told(result, units))
        look = {"colour": _colour, "strong": _moves}
        columns = [of(c, units, result.valves, **look, aside=int(c.head in _BAND)) for c in lash_columns()]
        kept = TableColumn("", lambda row: _KEPT if row.valve in fixed else "", "Fixed by hand", number=False)
        self.plan.show_rows(result.valves, [*columns, *([kept] if fixed else [])])
        bought = result.purchases
        self.purchases.show_rows(bought, [of(column, units, bought) for column in purchase_columns()])

    def _show_valve(self, inspection: LashInspection, valve: str, units: System, fixed: dict[str, float]) -> None:
        row = next(row for row in inspection.result.valves if row.valve == valve)
        self.valve_name.setText(say("{valve}: another shim").format(valve=valve))
        shims = shims_for(inspection.table, valve)

        def goes_in(shim: LashShim) -> bool:
            return abs(shim.size_mm - row.shim_mm) < SAME_MM

        def colour(shim: LashShim) -> str | None:
            return "accept" if row.lower_mm <= shim.lash_mm <= row.upper_mm else None

        columns = [of(column, units, shims, colour=colour, strong=goes_in) for column in shim_columns()]
        self.shims.show_rows(shims, columns)
        self.shims.select_where(goes_in)
        self.free_button.setEnabled(valve in fixed)

    # -- what a person does -----------------------------------------------------------------------------------------

    def choose_item(self, item: str) -> None:
        """Bring a valve to the front."""
        if self._inspection is not None and any(row.valve == item for row in self._inspection.result.valves):
            self.bench.set(LashState, valve=item)

    def fix(self) -> None:
        """The shim that is chosen goes into the valve in front, whatever the plan would have there."""
        index = self.shims.currentIndex()
        if index.isValid():
            self._keep(self.shims.row_of(index).size_mm, say("fix the shim of {valve}").format(valve=self._valve))

    def free(self) -> None:
        """Leave the valve in front to the plan."""
        self._keep(None, say("leave {valve} to the plan").format(valve=self._valve))

    def _keep(self, size_mm: float | None, label: str) -> None:
        fixed = lash_bay.with_fixed(self.bench.document, self._valve, size_mm)
        self.bench.set(LashState, label, fixed=fixed)

    def do_csv(self) -> None:
        """Choose where the plan goes."""
        save_as(self, say("Save lash plan"), self.bench.suggested("lash.csv"), say("Table (*.csv)"), self.save_csv)

    def save_csv(self, path: Path) -> None:
        """Write the plan as a table."""
        self.bench.make(path, table_csv(self.plan))

    def do_sheet(self) -> None:
        """Choose where the build sheet goes."""
        save_as(
            self, say("Save build sheet"), self.bench.suggested("build sheet.pdf"), say("PDF (*.pdf)"), self.save_sheet
        )

    def save_sheet(self, path: Path) -> None:
        """Write the build sheet of the plan."""
        if self._inspection is not None:
            self.bench.make(path, partial(_build_sheet, self._inspection.result, self.bench.document.units))


def _build_sheet(result: LashResult, units: System) -> bytes:
    from valvelab.report.build_sheet import build_sheet
    from valvelab.report.lash_certificate import lash_sheet

    return build_sheet(lash_sheet(result, units), units)


def _moves(row: LashValve) -> bool:
    return row.origin != "stays"


def _colour(row: LashValve) -> str | None:
    return None if row.in_band else "reject"
