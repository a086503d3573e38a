"""The camshaft bay: map of all lobes, motion of the chosen one, durations under a draggable lift, end view."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import Any, cast

import numpy as np
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLabel, QWidget

from valvelab.angles import fold_scalar
from valvelab.errors import ValvelabError
from valvelab.figures import lobe_figures, lobe_places
from valvelab.figures.description import Figure
from valvelab.inspection.lobes.inspect import LobesInspection
from valvelab.language import aloud, marked, say, say_number
from valvelab.records.result import Verdict
from valvelab.tables.description import Column
from valvelab.tables.lobes import columns_at_any_lift, lobe_facts, shaft_facts
from valvelab.units import System
from valvelab.window.bays.band_edges import BandEdges, Side
from valvelab.window.bays.checking_line import CheckingLine
from valvelab.window.bays.view import BayView, numbered
from valvelab.window.bench import Bench
from valvelab.window.chips import Heading
from valvelab.window.dial import DialView
from valvelab.window.drawing import FigureStack
from valvelab.window.heat_map import HeatMapView
from valvelab.window.layouts import stacked, strip
from valvelab.window.numbers import with_unit
from valvelab.window.panes import BoundQuantity, Chips, EachFrame, look, splitter, titled
from valvelab.window.tables import TableColumn, TableView, fact_columns, of
from valvelab.window.theme import current_theme
from valvelab.workbench import bays, lobes_bay
from valvelab.workbench.card_choice import corrected_by
from valvelab.workbench.document import Document, Problem
from valvelab.workbench.lobes_bay import LobesState, chosen_lobe
from valvelab.workbench.spec_choice import headline_of, text_of
from valvelab.workbench.spec_edit import with_side

_PLOTS = (("deviation", marked("Deviation")), ("lift", marked("Lift")), ("velocity", marked("Velocity")),
          ("acceleration", marked("Accel.")), ("jerk", marked("Jerk")), ("readings", marked("Readings")))  # fmt: skip
_LISTS = (("durations", marked("Durations")), ("lobe", marked("Lobe")), ("shaft", marked("Shaft")))
_NEAR = 0.04
"""A click so near a place, as a share of the plot's width, means it."""
_STRETCH = {"deviation": 3, "lift": 4, "velocity": 2, "acceleration": 2, "jerk": 2, "readings": 2}


class LobesView(BayView[LobesInspection]):
    """See the module text."""

    def __init__(self, bench: Bench) -> None:
        super().__init__(bench)
        self._inspection: LobesInspection | None = None
        self.map = HeatMapView("Map of all lobes", self)
        self.map.row_chosen.connect(self.choose_item)
        self.dial = DialView("End view of lobe positions", self)
        self.dial.chosen.connect(self.choose_item)
        self.stack = FigureStack("Motion of the chosen lobe", self)
        self.stack.spot_clicked.connect(self._on_spot)
        self.lift_line = CheckingLine()
        self.durations = TableView("durations", (), self, spoken="Durations of all lobes at the checking lift")
        self.durations.share_width()
        self.durations.chosen.connect(lambda row: self.choose_item(row[0]))
        self.lobe_facts = TableView("characteristics of the lobe", fact_columns(), self, wrapped=0)
        self.shaft_facts = TableView("characteristics of the shaft", fact_columns(item=True), self, wrapped=1)
        self.lift_field = BoundQuantity(bench, self, LobesState, "checking_lift_mm", held=self._held_lift)
        self.lobe_name = Heading("", 1.05, self)
        self._drag = EachFrame(self, self._on_dragged)
        self.lift_line.sigDragged.connect(self._on_line)
        self.lift_line.sigPositionChangeFinished.connect(self._on_drag_end)
        self.band_edges = BandEdges(self)
        self.band_edges.dragged.connect(self._on_band)
        self._lay_out()

    # -- lay-out ----------------------------------------------------------------------------------------------------

    def _lay_out(self) -> None:
        self.map_kinds = Chips(
            self.bench, self, LobesState, "map", (("deviation", say("Deviation")), ("lift", say("Lift")))
        )
        self.plots = Chips(self.bench, self, LobesState, "plots", _PLOTS)
        durations = QWidget(self)
        stacked(durations, self._lift_chooser(durations), (self.durations, 1))
        pages = (durations, self.lobe_facts, self.shaft_facts)
        self.lists = Chips(self.bench, self, LobesState, "page", _LISTS, pages)
        every = titled(self, "Every lobe", self.map, self.map_kinds.row)
        side = splitter(self, Qt.Orientation.Vertical, (every, 0), (self.dial, 0), sizes=(300, 260))
        middle = titled(self, self.lobe_name, self.stack, *self.plots.buttons())
        right = titled(self, "", self.lists.stack, self.lists.row)
        across = ((side, 3), (middle, 5), (right, 2))
        stacked(self, splitter(self, Qt.Orientation.Horizontal, *across, sizes=(252, 478, 345)))

    def _lift_chooser(self, parent: QWidget) -> QWidget:
        label = QLabel(say(self.lift_field.entry.text), parent)
        label.setBuddy(self.lift_field)
        self.lift_field.setMinimumWidth(4 * self.fontMetrics().height())
        self.lift_field.setMaximumWidth(7 * self.fontMetrics().height())
        return strip(parent, label, 1, self.lift_field, margins=(8, 3, 6, 3))

    # -- showing ----------------------------------------------------------------------------------------------------

    def headline(self, document: Document, inspection: LobesInspection) -> tuple[str, str]:
        """Part and serial; the spec and the instrument's card."""
        table = lobes_bay.table_in_use(document)
        content = None if table is None else document.content(table)
        part, serial = (getattr(content and content.value, name, None) for name in ("part", "serial"))
        title = numbered(part or (table.name if table else ""), serial)
        against = headline_of(document, lobes_bay.spec_in_use(document), inspection.spec)
        return title, against + corrected_by(document, lobes_bay.card_in_use(document))

    def show_answer(self, document: Document, inspection: LobesInspection) -> None:
        """Redraw what changed: everything, the chosen lobe, or only the checking lift."""
        state = document.state(LobesState)
        lobe, lift, plots = chosen_lobe(document, inspection), state.checking_lift_mm, self._plots(document)
        self._inspection = inspection
        if self.changed("whole", inspection, document.units, current_theme().name, state.map):
            self.draw("map", self._show_whole, document, inspection)
        if self.changed("motion", inspection, document.units, look(), lobe, plots):
            self.draw("motion", self._show_motion, document, inspection, lobe, plots)
            self.draw("lobe", self._show_lobe, document, inspection, lobe)
        if self.changed("durations", inspection, document.units, look(), lobe, plots, lift):
            self.draw("durations", self._show_durations, document, inspection, lobe, lift)
        told = (document.units, document.contents, document.current)
        if self.changed("band", inspection, lobe, plots, look(), *told):
            self.draw("band", self._show_band, document, inspection, lobe)

    def lacking(self, document: Document) -> Callable[[], object] | None:
        """The next plot of the motion."""
        plots = self._plots(document)
        return partial(self.stack.grow, plots, _STRETCH) if self.stack.lacks(plots) else None

    @staticmethod
    def _plots(document: Document) -> tuple[str, ...]:
        chosen = document.state(LobesState).plots
        return tuple(name for name, _ in _PLOTS if name in chosen)

    def _show_band(self, document: Document, inspection: LobesInspection, lobe: str) -> None:
        self._band = lobes_bay.band_of(document, inspection, lobe)
        pieces = () if self._band is None else self._band.pieces
        self.band_edges.show_band(self.stack.items_by_name.get("deviation") if pieces else None, pieces)

    def _show_whole(self, document: Document, inspection: LobesInspection) -> None:
        self._x = lobe_figures.grid(inspection)
        bad = frozenset(v.item for v in inspection.result.verdicts if v.decision == "reject")
        kind: lobe_figures.MapKind = "lift" if document.state(LobesState).map == "lift" else "deviation"
        drawn = lobe_figures.lobe_map(inspection, kind, self._x)
        for chips in (self.map_kinds, self.plots):
            chips.buttons()[0].setEnabled(lobe_figures.compared(inspection))
        self.map.show_map(drawn, document.units, bad)
        self.shaft_facts.show_rows(shaft_facts(inspection, document.units))

    def _show_motion(self, document: Document, inspection: LobesInspection, lobe: str, plots: tuple[str, ...]) -> None:
        self.map.choose(lobe)
        figures = [figure for name in plots if (figure := self._figure(inspection, lobe, name)) is not None]
        shown = partial(self._motion_shown, inspection, lobe)
        self.draw_figures("each plot", self.stack, figures, document.units, _STRETCH, shown, next_up=True)

    def _motion_shown(self, inspection: LobesInspection, lobe: str) -> None:
        if "lift" in self.stack.items_by_name:
            self.lift_line.join(self.stack.items_by_name["lift"])
        kind = next(row.kind for row in inspection.result.lobes if row.lobe == lobe)
        self._lobe = lobe
        self._ring()
        self.lobe_name.setText(lobe + (f" {say(kind)}" if kind else ""))

    def _show_lobe(self, document: Document, inspection: LobesInspection, lobe: str) -> None:
        self.dial.show_dial(lobe_figures.position_dial(inspection, lobe))
        self.lobe_facts.show_rows(lobe_facts(inspection, lobe, document.units))

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
        if fresh := self.changed("columns", inspection, units):
            self._duration = columns_at_any_lift(inspection.result)[3]
        self.durations.show_rows(rows, _duration_columns(inspection, units) if fresh else None)
        if self.changed("row", inspection, units, lobe):
            self.durations.select_where(lambda row: row[0] == lobe)
        self.lift_field.show_in(lift, units)
        centre = lobe_figures.centre_of(inspection, lobe)
        chosen = next((row for row in rows if row[0] == lobe), None)
        if chosen is not None:
            opening, closing = (lobe_figures.wrapped_from(centre, angle) for angle in chosen[1:3])
            with aloud():
                span = (
                    "" if chosen[3] is None else f"{self._duration.cell(chosen, units)} {self._duration.label(units)}"
                )
            self.lift_line.show_lift(lift, units, opening, closing, span)

    _x = np.zeros(0)
    _lobe = ""
    _ringed: Verdict | None = None
    _band: lobes_bay.LobeBand | None = None
    _duration: Column[Any]

    # -- what a person does -----------------------------------------------------------------------------------------

    def item_in_front(self, document: Document, inspection: LobesInspection) -> str:
        """The one in front."""
        return chosen_lobe(document, inspection)

    def choose_item(self, item: str) -> None:
        """Bring a lobe to the front."""
        if self._inspection is not None and any(row.lobe == item for row in self._inspection.result.lobes):
            self.bench.set(LobesState, lobe=item)

    def choose_verdict(self, verdict: Verdict) -> None:
        """Bring a lobe to the front, and ring the places of its curves where the verdict is decided."""
        self._ringed = verdict
        self.choose_item(verdict.item)
        plots = self.bench.document.state(LobesState).plots
        plot = "" if self._inspection is None else lobe_places.places_of(self._inspection, verdict, self._x)[0]
        if plot and plot not in plots:
            self.bench.set(LobesState, plots=plots | {plot})
        self._ring()

    def _ring(self) -> None:
        known = self._inspection is not None and self._ringed in self._inspection.result.verdicts
        if self._inspection is not None and self._ringed is not None and known and self._ringed.item == self._lobe:
            self.stack.point_at(*lobe_places.places_of(self._inspection, self._ringed, self._x))
        else:
            self.stack.point_at("", ())

    def _on_spot(self, plot: str, angle_cam_deg: float) -> None:
        if self._inspection is None:
            return
        near = _NEAR * float(np.ptp(self._x))
        found = lobe_places.verdict_at(self._inspection, self._lobe, plot, angle_cam_deg, self._x, near)
        if found is not None:
            self._ringed = found
            self._ring()
            self.verdict_wanted.emit(found)

    def _on_line(self) -> None:
        self._drag.put(self.lift_line.lift_mm())

    def _on_dragged(self, lift_mm: float) -> None:
        edit = self.lift_field.entry.edit
        self.bench.set(LobesState, edit, edit, checking_lift_mm=self._held_lift(lift_mm))

    def _on_drag_end(self) -> None:
        self._drag.settle()
        self.bench.history.end_gesture()

    def _on_band(self, piece: int, side: Side, size_mm: float, over: bool) -> None:
        """An edge of the band is dragged: its use at once, its limit whenever the last one is judged."""
        band, document = self._band, self.bench.document
        if band is None:
            return
        try:
            text = with_side(text_of(band.file), band.number, piece, side, size_mm, document.units)
            dragged = lobes_bay.as_in(band, text)
        except ValvelabError as refusal:
            self.bench.done.emit(Problem("error", band.file.name, str(refusal)))
            return
        held = dragged.pieces[piece]
        size = held.above_mm if side == "above" else held.below_mm
        sign = "+" if side == "above" else "−"
        said = say("{sign}{size} · {value} % of the band").format(
            sign=sign, size=with_unit(size, "mm", document.units, 3, 5), value=say_number(f"{100.0 * dragged.use:.0f}")
        )
        self.band_edges.hold(held, piece, side, size, "" if over else said)
        if over or bays.outstanding(document) is None:
            self.bench.retype(band.file.path, text, f"drag the band of {band.lobe}", f"band {piece} {side}")
        if over:
            self.bench.history.end_gesture()

    def _held_lift(self, value: float) -> float:
        """A lift that some lobe reaches."""
        lobes = () if self._inspection is None else self._inspection.result.lobes
        tallest = max((row.max_lift_mm or 0.0 for row in lobes), default=0.0)
        entry = self.lift_field.entry
        return round(min(max(value, entry.least), max(entry.least, tallest - 0.01)), entry.digits)


def _duration_columns(inspection: LobesInspection, units: System) -> list[TableColumn]:
    kinds = {row.lobe: row.kind for row in inspection.result.lobes}
    name, *angles = (of(column, units) for column in columns_at_any_lift(inspection.result))
    return [replace(name, colour=lambda row: kinds.get(row[0])), *angles]


def _folded(angle: float | None) -> float | None:
    return None if angle is None else fold_scalar(angle)
