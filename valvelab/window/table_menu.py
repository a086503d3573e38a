"""What every table gives away: its rows, with their heads, to the clipboard or to a file."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Protocol, runtime_checkable

from PySide6.QtCore import QAbstractItemModel, QModelIndex, QPoint, Qt
from PySide6.QtGui import QAction, QGuiApplication, QKeySequence
from PySide6.QtWidgets import QAbstractItemView, QMenu

from valvelab.csv_text import csv_text
from valvelab.language import say
from valvelab.window.saving import add_exports, bench_of, pop_up, save_as

DRAWN = Qt.ItemDataRole.UserRole + 1
"""Role of a head whose cells are drawn and have no words."""
PLAIN = Qt.ItemDataRole.UserRole + 2
"""Role of a text as it is written, in English, where a model shows another."""


def let_copy(table: QAbstractItemView) -> None:
    """Ctrl+C copies the rows of a table, its menu copies and saves them."""
    copy_by_key(table)
    table.setContextMenuPolicy(Qt.ContextMenuPolicy.CustomContextMenu)
    table.customContextMenuRequested.connect(partial(_on_menu, table))


def copy_by_key(table: QAbstractItemView) -> None:
    """Ctrl+C copies the rows of a table that has a menu of its own."""
    copy = QAction(say("Copy rows"), table)
    copy.setShortcut(QKeySequence(QKeySequence.StandardKey.Copy))
    copy.setShortcutContext(Qt.ShortcutContext.WidgetShortcut)
    copy.triggered.connect(lambda: _copy(table, chosen=True))
    table.addAction(copy)


def _on_menu(table: QAbstractItemView, at: QPoint) -> None:
    menu = QMenu(table)
    add_copying(menu, table)
    add_exports(menu, table)
    pop_up(menu, table.viewport().mapToGlobal(at))


def add_copying(menu: QMenu, table: QAbstractItemView) -> None:
    """The entries that copy and save a table."""
    rows = menu.addAction(say("Copy rows"), lambda: _copy(table, chosen=True))
    rows.setEnabled(table.selectionModel().hasSelection())
    whole = menu.addAction(say("Copy table"), lambda: _copy(table, chosen=False))
    save = menu.addAction(say("Save table…"), lambda: _save(table))
    for action in (whole, save):
        action.setEnabled(table.model().rowCount() > 0)


@runtime_checkable
class WritesItself(Protocol):
    """A model whose texts are written away from the window."""

    def writing(self) -> Callable[[], list[list[str]]]:
        """What writes heads and rows as they are shown now, in their order."""


def table_csv(table: QAbstractItemView) -> Callable[[], str]:
    """What makes CSV of the rows shown, away from the window."""
    model = table.model()
    if not isinstance(model, WritesItself):
        return partial(csv_text, table_cells(table))
    written = model.writing()
    return lambda: csv_text(written())


def one_line(head: object) -> str:
    """A head in one line."""
    return " ".join(str(head or "").split())


def plain_minus(text: object) -> str:
    """What stands in a cell as files have it."""
    return "" if text is None else str(text).replace("−", "-")


def table_cells(table: QAbstractItemView, *, chosen: bool = False) -> list[list[str]]:
    """Heads and rows as they are shown, in their order; with `chosen` the selected rows, all where none is selected."""
    model, selection = table.model(), table.selectionModel()
    across, shown = Qt.Orientation.Horizontal, Qt.ItemDataRole.DisplayRole
    columns = [n for n in range(model.columnCount()) if not model.headerData(n, across, DRAWN)]
    heads = (model.headerData(n, across, PLAIN) or model.headerData(n, across, shown) for n in columns)
    head = [one_line(text) for text in heads]
    lines = list(_lines(model, QModelIndex()))
    if chosen:
        picked = {(index.row(), index.parent()) for index in selection.selectedIndexes()}
        lines = [line for line in lines if (line.row(), line.parent()) in picked] or lines
    return [head, *([_words(line.siblingAtColumn(n)) for n in columns] for line in lines)]


def _lines(model: QAbstractItemModel, above: QModelIndex) -> Iterator[QModelIndex]:
    """The first cell of every row, of a tree with the rows under it."""
    for row in range(model.rowCount(above)):
        index = model.index(row, 0, above)
        yield index
        yield from _lines(model, index)


def _words(index: QModelIndex) -> str:
    written = index.data(PLAIN)
    text = index.data() if written is None else written
    return plain_minus(text)


def _copy(table: QAbstractItemView, *, chosen: bool) -> None:
    QGuiApplication.clipboard().setText(csv_text(table_cells(table, chosen=chosen), "\t"))


def _save(table: QAbstractItemView) -> None:
    bench = bench_of(table)
    name = bench.suggested(f"{table.accessibleName().lower()}.csv")

    def write(path: Path) -> None:
        bench.make(path, table_csv(table))

    save_as(table, say("Save table"), name, say("Table (*.csv)"), write)
