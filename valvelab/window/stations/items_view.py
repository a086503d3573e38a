"""A view that suits most stations: a table of items on the left, the drawings of the chosen one on the right.

def make_view(bench: Bench) -> StationView:
    return ItemsView(bench, "springs", ItemsPlan(columns, rows, item_of, drawings, headline))
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from PySide6.QtCore import QModelIndex, Qt
from PySide6.QtWidgets import QApplication, QSplitter, QVBoxLayout

from valvelab.units import System
from valvelab.window.bench import Bench
from valvelab.window.panel import Drawing, DrawingPanel
from valvelab.window.stations.view import StationView
from valvelab.window.tables import Sheet, TableColumn
from valvelab.window.theme import current_theme
from valvelab.workbench.document import Document


@dataclass(frozen=True, slots=True)
class ItemsPlan:
    """What an items view shows.

    columns(units): the table's columns. rows(value): its rows. item_of(row): the name that verdicts use for it.
    drawings(value, item): what is drawn for the chosen item. headline(document, value): what was inspected, against
    what. across: drawings beside one another. wide_table: the table gets most of the room.
    """

    columns: Callable[[System], Sequence[TableColumn]]
    rows: Callable[[Any], Sequence[Any]]
    item_of: Callable[[Any], str]
    drawings: Callable[[Any, str], Sequence[Drawing]]
    headline: Callable[[Document, Any], tuple[str, str]]
    across: int = 1
    wide_table: bool = False


class ItemsView(StationView):
    """See the module text."""

    def __init__(self, bench: Bench, station: str, plan: ItemsPlan) -> None:
        super().__init__(bench)
        self._station, self._plan = station, plan
        self._value: object = None
        self._units: System | None = None
        self._shown: tuple[object, ...] = ()
        self.table = Sheet(f"{station} items", plan.columns("metric"), self)
        self.table.setAccessibleName("Items")
        self.table.selectionModel().currentRowChanged.connect(self._on_row)
        self.panel = DrawingPanel(plan.across, self)
        self.panel.chosen.connect(self.choose_item)
        across = QSplitter(Qt.Orientation.Horizontal, self)
        across.addWidget(self.table)
        across.addWidget(self.panel)
        across.setHandleWidth(5)
        across.setSizes([700, 400] if plan.wide_table else [440, 660])
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(across)

    def headline(self, document: Document, value: object) -> tuple[str, str]:
        """What was inspected, and against what."""
        return self._plan.headline(document, value)

    def show_answer(self, document: Document, value: object) -> None:
        """Redraw what changed."""
        names = [self._plan.item_of(row) for row in self._plan.rows(value)]
        chosen = document.choice(self._station, "item", "")
        item = chosen if chosen in names else names[0] if names else ""
        if value is not self._value or document.units != self._units:
            self.table.show_rows(self._plan.rows(value), self._plan.columns(document.units))
        key = (document.units, item, current_theme().name, QApplication.font().pointSizeF())
        if value is not self._value or key != self._shown:
            drawings = self._plan.drawings(value, item) if item else ()
            self.panel.show_drawings(drawings, document.units, current_theme())
            self.panel.setVisible(bool(drawings))
        self._value, self._units, self._shown = value, document.units, key
        self.table.select_where(lambda row: self._plan.item_of(row) == item)

    def choose_item(self, item: str) -> None:
        """Bring an item to the front."""
        if self._value is not None and item in {self._plan.item_of(row) for row in self._plan.rows(self._value)}:
            self.bench.choose(self._station, "item", item)

    def _on_row(self, index: QModelIndex) -> None:
        if index.isValid():
            self.choose_item(self._plan.item_of(self.table.row_of(index)))
