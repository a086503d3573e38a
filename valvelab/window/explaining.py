"""Which characteristic a person points at: that of the row chosen in a table, or else that of its column."""

from __future__ import annotations

from collections.abc import Collection

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QAbstractItemView, QTableView

from valvelab.inspection.characteristics import Characteristic
from valvelab.window.tables import TableView
from valvelab.workbench.guide import meant


def characteristic_in(view: QAbstractItemView, subjects: Collection[str]) -> Characteristic | None:
    """The characteristic at the cell in front, None where there is none; `subjects` are those judged there."""
    index = view.currentIndex()
    if not index.isValid():
        return None
    row = view.row_of(index) if isinstance(view, TableView) else None
    unit = str(getattr(row, "unit", ""))
    for field in ("characteristic", "name"):
        named = getattr(row, field, "")
        if isinstance(named, Characteristic):
            return named
        if isinstance(named, str) and named and (found := meant(named, unit, subjects)) is not None:
            return found
    across, shown = Qt.Orientation.Horizontal, Qt.ItemDataRole.DisplayRole
    title = view.model().headerData(index.column(), across, shown) if isinstance(view, QTableView) else None
    return meant(str(title), "", subjects) if title else None
