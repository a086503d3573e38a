"""What the gauge bay begins with: a study planned, and its sheet to print or to fill in."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtWidgets import QFileDialog, QGridLayout, QLabel, QSpinBox, QWidget

from valvelab.language import say
from valvelab.window.bench import Bench
from valvelab.window.panes import button, labelled, number_field, show_number
from valvelab.workbench.document import Document
from valvelab.workbench.gauge_bay import GaugeState, write_plan
from valvelab.workbench.state import entry_of

_NUMBERS = ("parts", "appraisers", "trials", "seed")


class PlanStrip(QWidget):
    """The numbers of the plan and the button that writes the sheet."""

    def __init__(self, bench: Bench, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._bench = bench
        self.fields: dict[str, QSpinBox] = {}
        grid = QGridLayout(self)
        grid.setContentsMargins(12, 8, 12, 8)
        grid.setHorizontalSpacing(12)
        for number, name in enumerate(_NUMBERS):
            self.fields[name] = number_field(bench, self, GaugeState, name)
            grid.addWidget(labelled(self, entry_of(GaugeState, name).text, self.fields[name]), 0, number)
        self._count = QLabel(self, wordWrap=True)
        tip = say("Write the plan as a sheet to print (PDF) or as a table to fill in (CSV)")
        self.write = button(self, "P&lan sheet…", tip, self._on_write)
        grid.addWidget(self._count, 1, 0, 1, 3)
        grid.addWidget(self.write, 1, 3)
        grid.setColumnStretch(4, 1)
        grid.setRowStretch(2, 1)
        self.show_document(bench.document)

    def show_document(self, document: Document) -> None:
        """Show the plan as it stands."""
        plan = document.state(GaugeState)
        for name, field in self.fields.items():
            show_number(field, getattr(plan, name))
        count = plan.planned
        self._count.setText(
            say("{count} readings, every part by every appraiser in every trial, in an order drawn anew").format(
                count=count
            )
        )

    def save(self, path: Path) -> None:
        """Write the sheet in the background."""
        plan = self._bench.document.state(GaugeState)
        if self._bench.may_write(path):
            self._bench.do(say("Writing {name}").format(name=path.name), path.name, lambda: write_plan(plan, path))

    def _on_write(self) -> None:
        start, kinds = self._bench.suggested("gauge_plan.pdf"), say("Sheet to print (*.pdf);;Table to fill in (*.csv)")
        name, kind = QFileDialog.getSaveFileName(self, say("Plan sheet"), start, kinds)
        if name:
            path = Path(name)
            self.save(path if path.suffix else path.with_suffix(".csv" if "csv" in kind else ".pdf"))
