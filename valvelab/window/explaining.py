"""Which characteristic a person points at: that of the cell or row chosen in a table, or else that of its column."""

from __future__ import annotations

from collections.abc import Collection

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QAbstractItemView, QTableView

from valvelab.inspection.characteristics import Characteristic
from valvelab.window.tables import TableView
from valvelab.workbench.guide import meant

ABOUT = Qt.ItemDataRole.UserRole + 30
"""A characteristic's name, of a cell or of a column's head that shows it in other words."""


def characteristic_in(view: QAbstractItemView, subjects: Collection[str]) -> Characteristic | None:
    """The characteristic at the cell in front, None where there is none; `subjects` are those judged there."""
    index = view.currentIndex()
    if not index.isValid():
        return None
    across, shown = Qt.Orientation.Horizontal, Qt.ItemDataRole.DisplayRole
    told = index.data(ABOUT) or view.model().headerData(index.column(), across, ABOUT)
    if isinstance(told, str):
        return meant(told, "", subjects)
    row = view.row_of(index) if isinstance(view, TableView) else None
    unit = str(getattr(row, "unit", ""))
    for field in ("characteristic", "name"):
        named = getattr(row, field, "")
        if isinstance(named, Characteristic):
            return named
        if isinstance(named, str) and named and (found := meant(named, unit, subjects)) is not None:
            return found
    title = view.model().headerData(index.column(), across, shown) if isinstance(view, QTableView) else None
    return meant(str(title), "", subjects) if title else None
