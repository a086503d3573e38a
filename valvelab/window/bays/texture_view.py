"""The texture bay: the trace with its mean line, the roughness in sections, material ratio, parameters."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLabel, QLayout

from valvelab.decimals import decimals_of
from valvelab.figures import texture_figures
from valvelab.inspection.characteristics import explained
from valvelab.inspection.form.texture import TextureInspection
from valvelab.language import say
from valvelab.tables.form import Parameter, parameters
from valvelab.tables.sentences import limits_told
from valvelab.tables.verdicts import WORDS
from valvelab.units import System
from valvelab.window.bays.view import BayView
from valvelab.window.bench import Bench
from valvelab.window.drawing import FigureStack, FigureView
from valvelab.window.layouts import flowing, stacked
from valvelab.window.numbers import display_unit, figure, with_unit
from valvelab.window.panes import BoundQuantity, button, labelled, look, splitter, titled
from valvelab.window.tables import TableColumn, TableView
from valvelab.workbench import texture_bay
from valvelab.workbench.document import Document
from valvelab.workbench.spec_choice import headline_of
from valvelab.workbench.texture_bay import TextureState

_STRETCH = {"trace": 2, "roughness": 3}


class TextureView(BayView[TextureInspection]):
    """See the module text."""

    def __init__(self, bench: Bench) -> None:
        super().__init__(bench)
        self.stack = FigureStack("Trace and roughness along the surface", self)
        self.ratio = FigureView("Material ratio", self)
        columns = _columns("metric")
        self.table = TableView("texture parameters", columns, self, spoken="Texture parameters", sortable=False)
        self.table.ask_width()
        self.cutoff, self.short_cutoff, self.sections = (
            BoundQuantity(bench, self, TextureState, name) for name in ("cutoff_mm", "short_cutoff_um", "sections")
        )
        self.usual = button(
            self, "&Usual settings", "Cutoffs and sections by the standard's setting classes", self._on_usual
        )
        self._evaluated = QLabel(self)
        self._lay_out()

    def _lay_out(self) -> None:
        across = splitter(
            self, Qt.Orientation.Horizontal,
            (titled(self, "Along the surface", self.stack), 9),
            (titled(self, "Material ratio", self.ratio), 7),
            (titled(self, "Parameters", self.table), 8),
        )  # fmt: skip
        stacked(self, self._settings(), (across, 1))

    def _settings(self) -> QLayout:
        em, fields = self.fontMetrics().height(), (self.cutoff, self.short_cutoff, self.sections)
        for field in fields:
            field.setMaximumWidth(6 * em)
        named = [labelled(self, field.entry.text, field) for field in fields]
        return flowing(*named, self.usual, 1, self._evaluated, margins=(8, 4, 6, 2), spacing=12)

    # -- showing ----------------------------------------------------------------------------------------------------

    def headline(self, document: Document, inspection: TextureInspection) -> tuple[str, str]:
        """What was traced; the spec."""
        trace = inspection.question.trace
        title = trace.label or Path(trace.file).name
        return title, headline_of(document, texture_bay.spec_in_use(document), inspection.question.spec)

    def show_answer(self, document: Document, inspection: TextureInspection) -> None:
        """Redraw where the answer, the units or the theme changed."""
        units = document.units
        if not self.changed("all", inspection, units, look()):
            return
        drawn = [texture_figures.trace_figure(inspection, units), texture_figures.roughness_figure(inspection, units)]
        self.draw_figures("trace", self.stack, drawn, units, _STRETCH)
        self.draw_figures("ratio", self.ratio, [texture_figures.material_ratio_figure(inspection, units)], units)
        self.draw("parameters", self.table.show_rows, parameters(inspection.result), _columns(units))
        found = inspection.result
        self.cutoff.show_in(found.cutoff_mm, units)
        self.short_cutoff.show_in(1000.0 * (found.short_cutoff_mm or 0.0), units)
        self.sections.show_in(float(found.sections), units)
        chosen = (
            say(", setting class {setting_class}").format(setting_class=found.setting_class)
            if found.setting_class
            else ""
        )
        length = with_unit(found.evaluation_length_mm, "mm", units, 2, 3)
        self._evaluated.setText(say("{length} evaluated{chosen}").format(length=length, chosen=chosen))
        self.usual.setEnabled(document.state(TextureState) != TextureState())

    # -- what a person does -----------------------------------------------------------------------------------------

    def _on_usual(self) -> None:
        self.bench.set(TextureState, "take the usual settings", cutoff_mm=None, short_cutoff_um=None, sections=None)


def _columns(units: System) -> list[TableColumn]:
    def limits(row: Parameter) -> str:
        verdict = row.verdict
        return "" if verdict is None else limits_told(verdict, decimals_of((row.u,), row.unit, units), units)

    def named(row: Parameter) -> str:
        unit = display_unit(row.unit, units).label
        return f"{row.symbol}, {unit}" if unit else row.symbol

    def printed(row: Parameter, value: float | None) -> str:
        return figure(value, row.u, row.unit, units)

    return [
        TableColumn("name", named, "Point at one to read what it means", number=False,
                    cell_tip=lambda row: explained(row.name), strong=lambda row: row.verdict is not None,
                    icon=lambda row: None if row.verdict is None else (row.verdict.decision,) * 2),
        TableColumn("value", lambda row: printed(row, row.value), "From the filtered trace",
                    value=lambda row: row.value, cell_tip=lambda row: explained(row.name),
                    strong=lambda row: row.verdict is not None),
        TableColumn("limits", limits, "What the spec on the bench allows", number=False,
                    colour=lambda row: None if row.verdict is None else row.verdict.decision,
                    cell_tip=lambda row: "" if row.verdict is None else WORDS[row.verdict.decision]),
        TableColumn("u", lambda row: printed(row, row.u), "Standard uncertainty", value=lambda row: row.u),
    ]  # fmt: skip
