"""The camshaft station: map of all lobes, motion of the chosen one, durations under a draggable lift, end view."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, cast

import numpy as np
from PySide6.QtCore import QModelIndex, Qt, QTimer
from PySide6.QtWidgets import (
    QApplication,
    QButtonGroup,
    QHBoxLayout,
    QLabel,
    QSplitter,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from valvelab.angles import fold_scalar
from valvelab.figures import lobe_figures
from valvelab.figures.description import Figure
from valvelab.tables.lobes import columns_at_any_lift, lobe_facts, shaft_facts
from valvelab.units import System
from valvelab.window.bench import Bench
from valvelab.window.chips import Heading, chip_row, press
from valvelab.window.dial import DialView
from valvelab.window.drawing import FigureStack
from valvelab.window.fields import QuantityField
from valvelab.window.heat_map import HeatMapView
from valvelab.window.stations.checking_line import CheckingLine
from valvelab.window.stations.view import StationView
from valvelab.window.tables import Sheet, TableColumn, fact_columns, of
from valvelab.window.theme import current_theme
from valvelab.workbench import lobes_station
from valvelab.workbench.lobes_station import LobesState, chosen_lobe
from valvelab.workbench.spec_choice import headline_of

if TYPE_CHECKING:
    from valvelab.inspection.lobes.inspect import LobesInspection
    from valvelab.workbench.document import Document

_PLOTS = (("deviation", "Deviation"), ("lift", "Lift"), ("velocity", "Velocity"), ("acceleration", "Accel."),
          ("jerk", "Jerk"), ("readings", "Readings"))  # fmt: skip
_LISTS = (("durations", "Durations"), ("lobe", "Lobe"), ("shaft", "Shaft"))
_STRETCH = {"deviation": 3, "lift": 4, "velocity": 2, "acceleration": 2, "jerk": 2, "readings": 2}
_FRAME_MS = 8


def make_view(bench: Bench) -> StationView[LobesInspection]:
    """The view of the camshaft station."""
    return LobesView(bench)


class LobesView(StationView["LobesInspection"]):
    """See the module text."""

    def __init__(self, bench: Bench) -> None:
        super().__init__(bench)
        self._inspection: LobesInspection | None = None
        self._shown: tuple[object, ...] = ()
        self.map = HeatMapView("Map of all lobes", self)
        self.map.row_chosen.connect(self.choose_item)
        self.dial = DialView("End view of lobe positions", self)
        self.dial.chosen.connect(self.choose_item)
        self.stack = FigureStack("Motion of the chosen lobe", self)
        self.lift_line = CheckingLine()
        self.durations = Sheet("durations", (), self)
        self.durations.setAccessibleName("Durations of all lobes at the checking lift")
        self.durations.share_width()
        self.durations.selectionModel().currentRowChanged.connect(self._on_duration_row)
        self.lobe_facts = Sheet("characteristics of the lobe", fact_columns(), self)
        self.shaft_facts = Sheet("characteristics of the shaft", fact_columns(item=True), self)
        for sheet, column in ((self.lobe_facts, 0), (self.shaft_facts, 1)):
            sheet.wrap_column(column)
        self.lift_field = QuantityField("Checking lift", "length", "mm", 0.05, self)
        self.lift_field.entered.connect(self._on_lift_typed)
        self._lobe_name = Heading("", 1.05, self)
        self._pending: float | None = None
        self._frame = QTimer(self, singleShot=True, interval=_FRAME_MS)
        self._frame.timeout.connect(self._on_frame)
        self.lift_line.sigDragged.connect(self._on_drag)
        self.lift_line.sigPositionChangeFinished.connect(self._on_drag_end)
        self._lay_out()

    # -- lay-out ----------------------------------------------------------------------------------------------------

    def _lay_out(self) -> None:
        side = QSplitter(Qt.Orientation.Vertical, self)
        side.addWidget(_titled(self, "Every lobe", self._map_switch(), self.map))
        side.addWidget(self.dial)
        side.setSizes([300, 260])
        middle = _titled(self, self._lobe_name, self._plot_switch(), self.stack)
        right = self._figures_pane()
        across = QSplitter(Qt.Orientation.Horizontal, self)
        for widget, stretch in ((side, 3), (middle, 5), (right, 2)):
            across.addWidget(widget)
            across.setStretchFactor(across.count() - 1, stretch)
        across.setSizes([280, 510, 290])
        across.setChildrenCollapsible(True)
        for splitter in (side, across):
            splitter.setHandleWidth(5)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(across)

    def _map_switch(self) -> QWidget:
        self.map_kinds = QButtonGroup(self)
        return chip_row(self, self.map_kinds, (("deviation", "Deviation"), ("lift", "Lift")), self._on_map_kind)

    def _plot_switch(self) -> QWidget:
        self.plots = QButtonGroup(self)
        self.plots.setExclusive(False)
        return chip_row(self, self.plots, _PLOTS, self._on_plots)

    def _figures_pane(self) -> QWidget:
        """Durations of all lobes, everything about the chosen one, everything about the shaft."""
        self.lists = QButtonGroup(self)
        durations = QWidget(self)
        column = QVBoxLayout(durations)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self._lift_chooser())
        column.addWidget(self.durations, 1)
        self.list_pages = QStackedWidget(self)
        for page in (durations, self.lobe_facts, self.shaft_facts):
            self.list_pages.addWidget(page)
        return _titled(self, "", chip_row(self, self.lists, _LISTS, self._on_list), self.list_pages)

    def _lift_chooser(self) -> QWidget:
        box = QWidget(self)
        layout = QHBoxLayout(box)
        layout.setContentsMargins(8, 3, 6, 3)
        label = QLabel("at checking lift", box)
        label.setBuddy(self.lift_field)
        self.lift_field.setMinimumWidth(4 * self.fontMetrics().height())
        self.lift_field.setMaximumWidth(7 * self.fontMetrics().height())
        layout.addWidget(label)
        layout.addStretch(1)
        layout.addWidget(self.lift_field)
        return box

    # -- showing ----------------------------------------------------------------------------------------------------

    def headline(self, document: Document, inspection: LobesInspection) -> tuple[str, str]:
        """Part and serial; the spec."""
        table = lobes_station.table_in_use(document)
        content = None if table is None else document.content(table)
        part = getattr(content.value, "part", None) if content is not None else None
        serial = getattr(content.value, "serial", None) if content is not None else None
        title = " ".join(word for word in (part or (table.name if table else ""), serial and f"no. {serial}") if word)
        applied = inspection.spec
        return title, headline_of(document, lobes_station.spec_in_use(document), applied)

    def show_answer(self, document: Document, inspection: LobesInspection) -> None:
        """Redraw what changed: everything, the chosen lobe, or only the checking lift."""
        state = document.state(LobesState)
        lobe, lift, kind = chosen_lobe(document, inspection), state.checking_lift_mm, state.map
        plots = tuple(name for name, _ in _PLOTS if name in state.plots)
        theme = current_theme()
        whole = (inspection, document.units, theme.name, kind)
        motion = (inspection, document.units, theme.name, lobe, plots, QApplication.font().pointSizeF())
        old_whole, old_motion = self._shown or ((), ())
        self._inspection = inspection
        if _differ(whole, old_whole):
            self._x = lobe_figures.grid(inspection)
            bad = frozenset(v.item for v in inspection.result.verdicts if v.decision == "reject")
            self.map.show_map(
                lobe_figures.lobe_map(inspection, "lift" if kind == "lift" else "deviation", self._x),
                document.units, theme, bad,
            )  # fmt: skip
            press(self.map_kinds, {kind})
            self.shaft_facts.show_rows(shaft_facts(inspection, document.units))
        if _differ(motion, old_motion):
            self._show_motion(document, inspection, lobe, plots)
            press(self.plots, set(plots))
        self._shown = (whole, motion)
        shown = state.page
        press(self.lists, {shown})
        self.list_pages.setCurrentIndex(next((n for n, (name, _) in enumerate(_LISTS) if name == shown), 0))
        self._show_durations(document, inspection, lobe, lift)

    def _show_motion(self, document: Document, inspection: LobesInspection, lobe: str, plots: tuple[str, ...]) -> None:
        theme = current_theme()
        self.map.choose(lobe)
        self.dial.show_dial(lobe_figures.position_dial(inspection, lobe), theme)
        figures = [figure for name in plots if (figure := self._figure(inspection, lobe, name)) is not None]
        self.stack.show_figures(figures, document.units, theme, _STRETCH)
        if "lift" in self.stack.items_by_name:
            self.lift_line.join(self.stack.items_by_name["lift"])
        self.lobe_facts.show_rows(lobe_facts(inspection, lobe, document.units))
        kind = next(row.kind for row in inspection.result.lobes if row.lobe == lobe)
        self._lobe_name.setText(lobe + (f" {kind}" if kind else ""))

    def _figure(self, inspection: LobesInspection, lobe: str, name: str) -> Figure | None:
        if name == "deviation":
            return lobe_figures.deviation_figure(inspection, lobe, self._x)
        if name == "readings":
            return lobe_figures.residual_figure(inspection, lobe, self._x)
        order = ("lift", "velocity", "acceleration", "jerk").index(name)
        return lobe_figures.motion_figure(inspection, lobe, cast("lobe_figures.Derivative", order), self._x)

    def _show_durations(self, document: Document, inspection: LobesInspection, lobe: str, lift: float) -> None:
        units = document.units
        rows = [
            (name, _folded(first), _folded(last), span) for name, first, last, span in inspection.durations_at(lift)
        ]
        fresh = self._of_table != (id(inspection), units)
        self.durations.show_rows(rows, _duration_columns(inspection, units) if fresh else None)
        self._of_table = (id(inspection), units)
        self.durations.select_where(lambda row: row[0] == lobe)
        self.lift_field.show_value(lift, units, 4 if units == "inch" else 3)
        centre = lobe_figures.centre_of(inspection, lobe)
        chosen = next((row for row in rows if row[0] == lobe), None)
        if chosen is not None:
            opening, closing = (lobe_figures.wrapped_from(centre, angle) for angle in chosen[1:3])
            self.lift_line.show_lift(lift, units, opening, closing, chosen[3])

    _of_table = (0, "")
    _x = np.zeros(0)

    # -- what a person does -----------------------------------------------------------------------------------------

    def choose_item(self, item: str) -> None:
        """Bring a lobe to the front."""
        if self._inspection is not None and any(row.lobe == item for row in self._inspection.result.lobes):
            self.bench.set(LobesState, lobe=item)

    def _on_duration_row(self, index: QModelIndex) -> None:
        if index.isValid():
            self.choose_item(self.durations.row_of(index)[0])

    def _on_map_kind(self, name: str, _on: bool) -> None:
        self.bench.set(LobesState, map=name)

    def _on_list(self, name: str, _on: bool) -> None:
        self.bench.set(LobesState, page=name)

    def _on_plots(self, name: str, on: bool) -> None:
        shown = sum(button.isChecked() for button in self.plots.buttons())
        if shown:
            plots = self.bench.document.state(LobesState).plots
            self.bench.set(LobesState, plots=plots | {name} if on else plots - {name})
        else:
            press(self.plots, {name})

    def _on_lift_typed(self, value: float) -> None:
        self._set_lift(value, None)

    def _on_drag(self) -> None:
        self._pending = self.lift_line.lift_mm()
        if not self._frame.isActive():
            self._frame.start()

    def _on_frame(self) -> None:
        if self._pending is not None:
            value, self._pending = self._pending, None
            self._set_lift(value, "checking lift")

    def _on_drag_end(self) -> None:
        self._on_frame()
        self.bench.history.end_gesture()

    def _set_lift(self, value: float, gesture: str | None) -> None:
        inspection = self._inspection
        if inspection is None:
            return
        tallest = max((row.max_lift_mm or 0.0 for row in inspection.result.lobes), default=0.0)
        kept = round(min(max(value, 0.02), max(0.02, tallest - 0.01)), 4)
        self.bench.set(LobesState, "move the checking lift", gesture, checking_lift_mm=kept)


def _duration_columns(inspection: LobesInspection, units: System) -> list[TableColumn]:
    kinds = {row.lobe: row.kind for row in inspection.result.lobes}
    name, *angles = (of(column, units) for column in columns_at_any_lift(inspection.result))
    return [replace(name, colour=lambda row: kinds.get(row[0])), *angles]


def _folded(angle: float | None) -> float | None:
    return None if angle is None else fold_scalar(angle)


def _titled(parent: QWidget, title: str | QLabel, tool: QWidget, content: QWidget) -> QWidget:
    box = QWidget(parent)
    label = Heading(title, 1.05, box) if isinstance(title, str) else title
    head = QHBoxLayout()
    head.setContentsMargins(8, 4, 6, 4)
    if label.text() or not isinstance(title, str):
        head.addWidget(label)
        head.addStretch(1)
    head.addWidget(tool)
    if isinstance(title, str) and not title:
        head.addStretch(1)
    layout = QVBoxLayout(box)
    layout.setContentsMargins(0, 0, 0, 0)
    layout.setSpacing(0)
    layout.addLayout(head)
    layout.addWidget(content, 1)
    return box


def _differ(new: tuple[object, ...], old: object) -> bool:
    if not isinstance(old, tuple) or len(old) != len(new):
        return True
    return new[0] is not old[0] or new[1:] != old[1:]
