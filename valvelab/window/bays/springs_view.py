"""The spring bay: force lines, coil bind to scale, map of the tray, and lists: sets, springs, the fit, stages."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial
from typing import Any

from PySide6.QtCore import QEvent, Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QLabel

from valvelab.cautions import SPRINGS
from valvelab.figures import spring_figures
from valvelab.inspection.springs.inspect import SpringsInspection
from valvelab.language import marked, say, say_many
from valvelab.records.result import Decision
from valvelab.tables.springs import spring_column, spring_facts
from valvelab.tables.verdicts import WORDS, worst_by_item
from valvelab.units import System
from valvelab.window.bays.springs_drawings import CoilBindView, MapView
from valvelab.window.bays.springs_history_pane import HistoryPane
from valvelab.window.bays.springs_sets_pane import SetsPane
from valvelab.window.bays.springs_shims_pane import ShimsPane
from valvelab.window.bays.view import BayView, numbered
from valvelab.window.bench import Bench
from valvelab.window.chips import Heading
from valvelab.window.drawing import FigureStack
from valvelab.window.layouts import Stack, stacked
from valvelab.window.panes import Chips, caution, colour_text, look, splitter, titled
from valvelab.window.tables import TableColumn, TableView, fact_columns, of
from valvelab.workbench import sets, springs_bay
from valvelab.workbench.card_choice import corrected_by
from valvelab.workbench.document import Document
from valvelab.workbench.sets import SpringsState
from valvelab.workbench.spec_choice import headline_of
from valvelab.workbench.springs_bay import Usable, chosen_spring, judged_analyses, rows_of

_PLOTS = (
    ("force", marked("Force")),
    ("difference", marked("Difference")),
    ("rate", marked("Rate")),
    ("coils", marked("Coil bind")),
)
_SPOKEN = {
    "difference": marked("Show force less the tray's median"),
    "coils": marked("Show the coil-bind gap to scale"),
}
_LISTS = (
    ("sets", marked("Sets")),
    ("springs", marked("Springs")),
    ("spring", marked("Spring")),
    ("shims", marked("Fit")),
    ("stages", marked("Stages")),
)
_SAID = {
    "shims": marked("Show the fitting: springs and shims at each valve"),
    "stages": marked("Show springs from stage to stage"),
}
_ALONE = frozenset({"shims", "stages"})
"""Lists that take the room of the drawings and of the map."""
_BESIDE_MAP = (380, 265, 405)
"""Shares of the drawings, of the map and of the lists."""
_BESIDE_EMS = 38
"""Width from which on drawings and any list have room beside one another; in less they lie above one another."""
_STRETCH = {"force": 3, "difference": 3, "rate": 2}
_SHOWN = (
    "seat_force", "open_force", "rate", "coil_bind_margin", "solid_height", "free_length", "hysteresis", "set_loss",
)  # fmt: skip
_NO_MAP = marked(
    "No spring has both a seat force and a rate. State the installed height and the valve "
    "lift in lines above the table or in a spec."
)


class SpringsView(BayView[SpringsInspection]):
    """See the module text."""

    def __init__(self, bench: Bench) -> None:
        super().__init__(bench)
        self._inspection: SpringsInspection | None = None
        self._usable: Usable | None = None
        self._with_map: tuple[int, ...] = ()

    def parts(self) -> Iterator[None]:
        """The drawings, each list, and all laid out."""
        bench = self.bench
        self.stack = FigureStack("Force and rate over height", self)
        self.coils = CoilBindView(self)
        self.map = MapView("Seat force against rate", self)
        self.map.picked.connect(self.choose_item)
        yield
        self.table = TableView("springs", (), self, spoken="All springs")
        self.table.chosen.connect(lambda row: self.choose_item(row.spring))
        self.facts = TableView("characteristics of the spring", fact_columns(), self, wrapped=0)
        yield
        self.sets_pane = SetsPane(bench, self)
        self.sets_pane.spring_chosen.connect(self.choose_item)
        yield
        self.shims_pane = ShimsPane(bench, self)
        self.shims_pane.spring_chosen.connect(self.choose_item)
        yield
        self.history_pane = HistoryPane(self)
        self.history_pane.spring_chosen.connect(self.choose_item)
        self.spring_name = Heading("", 1.05, self)
        self.spring_name.setTextFormat(Qt.TextFormat.PlainText)
        self._no_map = QLabel(say(_NO_MAP), self, wordWrap=True, alignment=Qt.AlignmentFlag.AlignCenter)
        yield
        self._lay_out()

    def _lay_out(self) -> None:
        self.caution = caution(self, SPRINGS, SPRINGS)
        self.caution.setContentsMargins(8, 1, 6, 3)
        self.map_pages = Stack(self)
        self.map_pages.addWidget(self.map)
        self.map_pages.addWidget(self._no_map)
        self.plots = Chips(self.bench, self, SpringsState, "plots", _PLOTS, spoken=_SPOKEN)
        lists = (self.sets_pane, self.table, self.facts, self.shims_pane, self.history_pane)
        self.lists = Chips(self.bench, self, SpringsState, "page", _LISTS, lists, _SAID)
        self.pages = self.lists.stack
        drawings = splitter(self, Qt.Orientation.Vertical, (self.stack, 3), (self.coils, 1), sizes=(330, 150))
        self._left = left = titled(self, self.spring_name, drawings, self.plots.row, level=True)
        self._middle = middle = titled(self, "The tray", self.map_pages, level=True)
        right = titled(self, "", self.pages, self.lists.row, level=True)
        across = ((left, 4), (middle, 3), (right, 4))
        self._across = splitter(self, Qt.Orientation.Horizontal, *across, sizes=_BESIDE_MAP)
        stacked(self, (self._across, 1), self.caution)

    # -- showing ----------------------------------------------------------------------------------------------------

    def headline(self, document: Document, inspection: SpringsInspection) -> tuple[str, str]:
        """Part and serial; the spec and the instruments' cards."""
        tray = springs_bay.table_in_use(document)
        remarks = {} if tray is None else tray[1].remarks
        title = "" if tray is None else numbered(remarks.get("part") or tray[0].name, remarks.get("serial"))
        found = springs_bay.spec_in_use(document)
        against = headline_of(document, found, inspection.spec)
        if found is None:
            against = f"{say_many('{count} spring', '{count} springs', len(rows_of(inspection)))}, {against}"
        return title, against + corrected_by(document, *springs_bay.cards_in_use(document))

    def show_answer(self, document: Document, inspection: SpringsInspection) -> None:
        """Redraw what changed: the tray, the chosen spring, the sets, the shims."""
        if inspection is not self._inspection:
            self._inspection = inspection
            self.draw("points", self._meet_points, inspection)
            self.draw("lines", self._meet_lines, inspection)
        stated = springs_bay.stated_wishes(document)
        if self._usable is None or self.changed("wishes", inspection, stated):
            self._usable = springs_bay.usable_of(document, inspection)
        usable = self._usable
        spring = chosen_spring(document, inspection)
        wish = springs_bay.wish_of(document, usable)
        grouping = springs_bay.grouping_of(document, usable.values)
        seen = (document.units, look())
        fresh = self.changed("look", inspection, *seen)
        colour_text(self.caution, "undecided")
        page = document.state(SpringsState).page
        self._give_room()
        if self.changed("sets", usable, *seen, wish, grouping):
            self.sets_pane.show_sets(document, usable, wish, grouping)
        self.draw("set row", self.sets_pane.tree.bring, spring)
        if page not in _ALONE:
            self._show_drawings(document, inspection, spring, grouping, usable)
        if (fresh or page == "springs") and self.changed("tables", inspection, *seen, grouping.sets):
            self.draw("table", self._show_table, inspection, document.units, grouping)
        if (fresh or page == "spring") and self.changed("facts", inspection, *seen, spring):
            self.draw("facts", self._show_facts, inspection, document.units, spring)
        if page == "springs":
            self.draw("room", self._give_room)
            self.draw("row", self.table.select_where, lambda row: row.spring == spring)
        self.shims_pane.show_plan(document, grouping, spring, wanted=page == "shims")
        if page == "stages":
            self._show_stages(inspection, document.units, spring)

    def _give_room(self) -> None:
        """Drawings give their room to some lists; when they come back what they showed is not drawn once more.

        The map gives its own to the list of springs where that would have to be moved sideways.
        """
        page = self.bench.document.state(SpringsState).page
        if page not in _ALONE and self._left.isHidden():
            self.stack.veil()
            self._known.pop("plots", None)
        beside = self.width() >= _BESIDE_EMS * self.fontMetrics().height()
        lent = page == "springs" and beside and self._list_is_cramped()
        if lent and not self._with_map:
            self._with_map = drawings, tray, lists = self._across.shares
            self._across.keep_shares((drawings, 0, tray + lists))
        elif self._with_map and not lent:
            self._across.keep_shares(self._with_map)
            self._with_map = ()
        self._left.setHidden(page in _ALONE)
        self._middle.setHidden(page in _ALONE or lent)

    def _list_is_cramped(self) -> bool:
        """Whether the list of springs is wider than its room beside the map."""
        shares = self._with_map or self._across.shares
        bar = self.table.verticalScrollBar().sizeHint().width()
        return self.table.horizontalHeader().length() + bar > self.width() * shares[-1] / sum(shares)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Another width may have room for the map, or no longer."""
        super().resizeEvent(event)
        if self._inspection is not None:
            self._give_room()

    def changeEvent(self, event: QEvent) -> None:
        """So may another size of text, once the list is as wide as it needs."""
        super().changeEvent(event)
        if event.type() in {QEvent.Type.FontChange, QEvent.Type.ApplicationFontChange} and self._inspection is not None:
            self.draw("room", self._give_room)

    def _show_drawings(
        self,
        document: Document,
        inspection: SpringsInspection,
        spring: str,
        grouping: sets.Grouping,
        usable: Usable,
    ) -> None:
        """Redraw force lines, coils and map where they are seen."""
        seen = (document.units, look())
        plots = self._plots(document)
        if self.changed("plots", inspection, *seen, spring, plots, grouping.sets):
            self.draw("plots", self._show_plots, document, inspection, spring, plots, grouping)
            self.draw("coils", self._show_coils, document, inspection, spring, plots, grouping)
        if self.changed("map", usable, *seen, spring, grouping.sets):
            self.draw("map", self._show_map, inspection, document.units, spring, grouping, usable)

    def lacking(self, document: Document) -> Callable[[], object] | None:
        """The next plot of the springs, or the map."""
        plots = [name for name in self._plots(document) if name in _STRETCH]
        if document.state(SpringsState).page in _ALONE:
            return None
        if plots and self.stack.lacks(plots):
            return partial(self.stack.grow, plots, _STRETCH)
        return partial(self.map.grow, ["map"]) if self.map.lacks(["map"]) else None

    @staticmethod
    def _plots(document: Document) -> tuple[str, ...]:
        return tuple(name for name, _ in _PLOTS if name in document.state(SpringsState).plots)

    def _meet_points(self, inspection: SpringsInspection) -> None:
        self._points = spring_figures.map_points(judged_analyses(inspection))

    def _meet_lines(self, inspection: SpringsInspection) -> None:
        self._tray = spring_figures.tray_lines(inspection)

    def _show_table(self, inspection: SpringsInspection, units: System, grouping: sets.Grouping) -> None:
        set_of = {name: number for number, one in enumerate(grouping.sets, start=1) for name in one}
        worst = worst_by_item(inspection.result.verdicts)
        springs = inspection.result.springs
        self.table.show_rows(springs, _columns(springs, units, set_of, worst))

    def _show_facts(self, inspection: SpringsInspection, units: System, spring: str) -> None:
        row = spring_figures.row_of(inspection, spring)
        self.facts.show_rows(spring_facts(row, inspection.result.springs, units))

    def _show_stages(self, inspection: SpringsInspection, units: System, spring: str) -> None:
        seen = (units, look())
        if self.changed("history", inspection, *seen):
            self.draw("history", self.history_pane.show_history, inspection, units)
        if self.changed("stages", inspection, *seen, spring):
            self.draw("stages", self.history_pane.show_spring, inspection, spring, units)

    def _show_plots(
        self,
        document: Document,
        inspection: SpringsInspection,
        spring: str,
        plots: tuple[str, ...],
        grouping: sets.Grouping,
    ) -> None:
        about = (inspection, spring, self._tray)
        makers = {
            "force": lambda: spring_figures.force_figure(*about, grouping.sets),
            "difference": lambda: spring_figures.difference_figure(*about, grouping.sets),
            "rate": lambda: spring_figures.rate_figure(*about),
        }
        figures = [makers[name]() for name in plots if name in makers]
        self.stack.setVisible(bool(figures))
        if figures:
            self.draw_figures("each plot", self.stack, figures, document.units, _STRETCH, next_up=True)

    def _show_coils(
        self,
        document: Document,
        inspection: SpringsInspection,
        spring: str,
        plots: tuple[str, ...],
        grouping: sets.Grouping,
    ) -> None:
        self.coils.setVisible("coils" in plots)
        decisions = {v.characteristic: v.decision for v in inspection.result.verdicts if v.item == spring}
        bind = spring_figures.coil_bind(inspection, spring, document.units)
        self.coils.show_bind(bind, decisions.get("coil_bind_margin", ""))
        number = grouping.set_of(spring)
        where = (
            ""
            if not grouping.sets
            else say(" · no set")
            if number is None
            else say(" · set {number}").format(number=number + 1)
        )
        self.spring_name.setText(f"{spring}{where}")

    def _show_map(
        self, inspection: SpringsInspection, units: System, spring: str, grouping: sets.Grouping, usable: Usable
    ) -> None:
        points = self._points
        self.map_pages.setCurrentWidget(self.map if points else self._no_map)
        judged = (usable.out, usable.undecided)
        self.map.show_figure(spring_figures.map_figure(points, grouping.sets, spring, *judged), units)
        names = spring_figures.marked_springs(points, grouping.sets, *judged)
        marked = [name for group in names.values() for name in group]

        def said(name: str) -> str:
            (told,) = spring_figures.points_told(inspection, [points[name]], units)
            return f"{told} · {usable.where(name, grouping)}"

        self.map.name_marks(marked, said)

    # -- choosing -----------------------------------------------------------------------------------------------------

    def item_in_front(self, document: Document, inspection: SpringsInspection) -> str:
        """The one in front."""
        return chosen_spring(document, inspection)

    def choose_item(self, item: str) -> None:
        """Bring a spring to the front."""
        if self._usable is not None and self._usable.knows(item):
            self.bench.set(SpringsState, spring=item)


def _columns(
    springs: Sequence[Any], units: System, set_of: Mapping[str, int], worst: Mapping[str, Decision]
) -> list[TableColumn]:
    """One row a spring: name, stage, set, and what it is matched and judged by, as far as some spring has it."""
    known = [column for column in map(spring_column, _SHOWN) if column.filled(springs)]

    def told(row: Any) -> str:
        return WORDS[worst[row.spring]] if row.spring in worst else say("not judged")

    def icon(row: Any) -> tuple[str, str] | None:
        return (worst[row.spring],) * 2 if row.spring in worst else None

    return [
        TableColumn("spring", lambda row: row.spring if row.stage is None else f"{row.spring} {row.stage}",
                    "Name of the spring, and its stage where several were read", number=False, icon=icon,
                    cell_tip=told),
        TableColumn("set", lambda row: str(set_of.get(row.spring, "–")), "The set it is in",
                    value=lambda row: set_of.get(row.spring)),
        *(of(column, units, springs) for column in known),
    ]  # fmt: skip
