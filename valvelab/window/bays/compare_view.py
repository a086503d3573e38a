"""The bay of comparisons: both curves of a lobe and what is left between them, or every spring's change of force."""

from __future__ import annotations

from typing import Any

from PySide6.QtCore import QSize, Qt
from PySide6.QtWidgets import QComboBox, QWidget

from valvelab.figures.comparison_figures import left_figure, overlay_figure, spring_changes_figure
from valvelab.inspection.comparison.inspect import CompareInspection
from valvelab.language import marked, say
from valvelab.measured import Measured
from valvelab.tables.comparison import changes_of
from valvelab.tables.verdicts import WORDS, worst_by_item
from valvelab.units import System
from valvelab.window.bays.view import BayView
from valvelab.window.bench import Bench
from valvelab.window.chips import Heading
from valvelab.window.drawing import FigureStack
from valvelab.window.fields import Choice
from valvelab.window.layouts import flowing, stacked
from valvelab.window.numbers import told
from valvelab.window.panes import button, labelled, look, offer, splitter, titled
from valvelab.window.tables import TableColumn, TableView, of
from valvelab.workbench import compare_bay
from valvelab.workbench.compare_bay import CompareState, chosen_item
from valvelab.workbench.document import Document
from valvelab.workbench.spec_choice import headline_of
from valvelab.workbench.state import entry_of

_STRETCH = {"overlay": 3, "after_less_before": 4, "changes": 1}


class FileBox(Choice):
    """A choice of files, as wide as the longest name where there is room."""

    letters = 22

    def sizeHint(self) -> QSize:
        """Room for every name."""
        usual = super().sizeHint()
        return QSize(usual.width() + self.beyond(self.itemText(n) for n in range(self.count())), usual.height())


class CompareView(BayView[CompareInspection]):
    """See the module text."""

    def __init__(self, bench: Bench) -> None:
        super().__init__(bench)
        self._names: list[str] = []
        self.before, self.after = self._chooser("before"), self._chooser("after")
        self.swap = button(self, "&Swap", "The later file as the earlier one, and the other way round", self._on_swap)
        self.stack = FigureStack("Before and after", self)
        self.table = TableView("changes", (), self, spoken="What changed, a row a lobe or spring")
        self.table.ask_width(close=True)
        self.table.chosen.connect(lambda row: self.choose_item(_name(row)))
        self.heading = Heading("", 1.05, self)
        self.heading.setTextFormat(Qt.TextFormat.PlainText)
        self._lay_out()

    def _chooser(self, field: str) -> QComboBox:
        made, entry = FileBox(self), entry_of(CompareState, field)
        made.setAccessibleName(say(entry.spoken))
        made.setToolTip(say(entry.spoken))
        made.activated.connect(lambda _row: self._on_chosen(field, made.currentData()))
        return made

    def _lay_out(self) -> None:
        left = titled(self, self.heading, self.stack)
        right = titled(self, "After − before", self.table)
        across = splitter(self, Qt.Orientation.Horizontal, (left, 5), (right, 6), sizes=(430, 610))
        stacked(self, self._files_strip(), (across, 1))

    def _files_strip(self) -> QWidget:
        fields = (("before", self.before), ("after", self.after))
        before, after = (labelled(self, entry_of(CompareState, name).text, box) for name, box in fields)
        line = QWidget(self)
        line.setLayout(flowing(before, self.swap, after, margins=(8, 4, 6, 2), spacing=12))
        return line

    # -- showing ----------------------------------------------------------------------------------------------------

    def headline(self, document: Document, inspection: CompareInspection) -> tuple[str, str]:
        """What was compared with what; the spec."""
        pair = compare_bay.pair_in_use(document)
        title = "" if pair is None else f"{pair[0][0].name} → {pair[1][0].name}"
        return title, headline_of(document, compare_bay.spec_in_use(document), inspection.question.spec)

    def show_answer(self, document: Document, inspection: CompareInspection) -> None:
        """Redraw what changed: the files offered, the lobe or spring in front, the table."""
        self._names = compare_bay.names_of(inspection)
        item, units = chosen_item(document, inspection), document.units
        self._offer_files(document)
        if self.changed("plots", inspection, units, look(), item):
            self._show_plots(inspection, item, units)
        if self.changed("table", inspection, units, look()):
            rows, _ = changes_of(inspection.result)
            self.draw("table", self.table.show_rows, rows, _columns(inspection, units))
        self.draw("row", self.table.select_where, lambda row: _name(row) == item)

    def _offer_files(self, document: Document) -> None:
        pair = compare_bay.pair_in_use(document)
        if pair is None:
            return
        later = compare_bay.later_files(document)
        for box, found, chosen in (
            (self.before, compare_bay.earlier_files(document), pair[0]),
            (self.after, later, pair[1]),
        ):
            offer(box, compare_bay.labelled([file for file, _ in found]), chosen[0].path)

    def _show_plots(self, inspection: CompareInspection, item: str, units: System) -> None:
        lobe = next((one for one in inspection.lobes if one.lobe == item), None)
        spring = next((one for one in inspection.springs if one.spring == item), None)
        if lobe is not None:
            self.draw_figures("plots", self.stack, [overlay_figure(lobe), left_figure(lobe)], units, _STRETCH)
            self.heading.setText(" · ".join([item, *_spoken(marked("worn by"), lobe.changes.wear, "um", units)]))
        elif spring is not None:
            self.draw_figures("plots", self.stack, [spring_changes_figure(inspection.result, item)], units, _STRETCH)
            change = spring.changes.seat_force_change_pct
            self.heading.setText(" · ".join([item, *_spoken(marked("seat force"), change, "%", units)]))

    # -- choosing -----------------------------------------------------------------------------------------------------

    def item_in_front(self, document: Document, inspection: CompareInspection) -> str:
        """The one in front."""
        return chosen_item(document, inspection)

    def choose_item(self, item: str) -> None:
        """Bring a lobe or spring to the front."""
        if item in self._names:
            self.bench.set(CompareState, item=item)

    def _on_chosen(self, field: str, path: str) -> None:
        self.bench.set(CompareState, entry_of(CompareState, field).edit, **{field: path})

    def _on_swap(self) -> None:
        pair = compare_bay.pair_in_use(self.bench.document)
        if pair is not None:
            self.bench.set(CompareState, "swap before and after", before=pair[1][0].path, after=pair[0][0].path)


def _name(row: Any) -> str:
    """A change's lobe or spring."""
    return str(getattr(row, "lobe", None) or row.spring)


def _spoken(what: str, measured: Measured, unit: str, units: System) -> list[str]:
    """A figure in the heading; nothing where there is none, or no wear."""
    return [f"{say(what)} {told(measured.value, unit, units, measured.u)}"] if measured.value else []


def _columns(inspection: CompareInspection, units: System) -> list[TableColumn]:
    """The columns that some row fills; the name bears the worst of its verdicts."""
    rows, columns = changes_of(inspection.result)
    worst = worst_by_item(inspection.result.verdicts)

    def icon(row: Any) -> tuple[str, str] | None:
        return (worst[_name(row)],) * 2 if _name(row) in worst else None

    def said(row: Any) -> str:
        return say(WORDS[worst[_name(row)]]) if _name(row) in worst else say("not judged")

    named, *numbers = (column for column in columns if column.filled(rows))
    return [of(named, units, rows, icon=icon, cell_tip=said), *(of(column, units, rows) for column in numbers)]
