"""The worksheet as a table, for many lobes: opens, closes and the pair near the peak, typed or pasted."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QWidget

from valvelab.language import say
from valvelab.units import System
from valvelab.window.entry_grid import EntryGrid
from valvelab.workbench.entry import Grid
from valvelab.workbench.entry_told import Mark
from valvelab.workbench.worksheet_grid import KIND, grid_of_sheet, heads, misplaced, with_grid

if TYPE_CHECKING:
    from valvelab.phasing.degreeing import Sheet
    from valvelab.workbench.phasing_bay import Worksheet


class LobeGrid(EntryGrid):
    """`edited(sheet, label)` with every entry. What can't be read stays in its cell and out of the sheet."""

    edited = Signal(object, str)

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.setAccessibleName(say("Lobes of the worksheet"))
        self.along = True
        self._sheet: Sheet | None = None
        self.changed.connect(self._on_changed)

    def show_worksheet(self, shown: Worksheet, units: System) -> None:
        """Show a worksheet's lobes, with its doubtful readings marked."""
        self._sheet = sheet = shown.inspection.sheet
        if self.grid.heads != heads(units) or with_grid(sheet, self.grid)[0] != sheet:
            self.show_grid(KIND, grid_of_sheet(sheet, units))
        at = with_grid(sheet, self.grid)[1]
        doubts = {at[cell]: Mark("doubtful", why) for cell, why in shown.doubts.items() if cell in at}
        wrong = {place: Mark("wrong", why) for place, why in misplaced(self.grid).items()}
        self.entry_model.show_marks({**doubts, **wrong})

    def _on_changed(self, grid: Grid, label: str) -> None:
        if self._sheet is not None:
            self.edited.emit(with_grid(self._sheet, grid)[0], label)
