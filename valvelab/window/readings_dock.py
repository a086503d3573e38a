"""The dock that readings are typed in: when it shows, and how a table is begun or opened there."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from PySide6.QtCore import QEvent, QObject, Qt
from PySide6.QtWidgets import QDockWidget, QMainWindow, QMenu, QWidget

from valvelab.window.bench import Bench
from valvelab.workbench import typed
from valvelab.workbench.document import Document
from valvelab.workbench.entry_kinds import EntryKind
from valvelab.workbench.first_import import numeric

if TYPE_CHECKING:
    from valvelab.window.entry_pane import EntryPane

_SHARE = 0.45
"""Most of the window's width that the dock takes when it comes up."""


class Readings(QObject):
    """Shows the dock while the bay in front has a typed table, unless it was closed."""

    def __init__(self, bench: Bench, dock: QDockWidget, give_room: Callable[[], object]) -> None:
        super().__init__(dock)
        self.bench, self.dock, self._give_room = bench, dock, give_room
        self.pane: EntryPane | None = None
        self._closed = False
        dock.installEventFilter(self)
        dock.toggleViewAction().triggered.connect(self._on_toggled)
        bench.document_changed.connect(lambda _old, new: self._on_changed(new))
        self.show_document(bench.document)

    def _on_changed(self, document: Document) -> None:
        if self.dock.isVisible():
            self.show_document(document)  # at once: no key meets an older state
        else:
            self.bench.turns.after("readings", lambda: self.show_document(self.bench.document))

    def show_document(self, document: Document) -> None:
        """Show or hide the dock, and the table in front in it."""
        tables = typed.tables_at(document)
        if tables:
            self._made().show_document(document)
        self.bench.turns.after("readings dock", partial(self._show_dock, tables=bool(tables)))

    def _show_dock(self, *, tables: bool) -> None:
        wanted = tables and not self._closed
        if wanted != self.dock.isVisible():
            self._give_room()
        if wanted and not self.dock.isVisible():
            self.dock.show()
            self._fit()
        self.dock.setVisible(wanted)
        self.dock.toggleViewAction().setEnabled(tables)

    def _fit(self) -> None:
        """Leave the bay its share of a window that large text makes small."""
        window = self.dock.window()
        most = round(_SHARE * window.width())
        if isinstance(window, QMainWindow) and self.dock.width() > most:
            window.resizeDocks([self.dock], [most], Qt.Orientation.Horizontal)

    def _made(self) -> EntryPane:
        if self.pane is None:
            numeric()
            from valvelab.window.entry_pane import EntryPane

            self.pane = EntryPane(self.bench, self.dock)
            self.dock.setWidget(self.pane)
        return self.pane

    def settle(self) -> None:
        """Pass on what is typed and still waits."""
        if self.pane is not None:
            self.pane.settle()

    def begin(self, kind: EntryKind) -> None:
        """A new table of a kind, ready to be typed into."""
        self._closed = False
        self._made().begin(kind)

    def edit(self, path: str) -> None:
        """Edit the readings of a table that is on the bench; of a file, its text, and the file stays as it is."""
        self._closed = False
        self._made().edit(path)

    def bring(self, path: str) -> None:
        """A table was chosen on the bench: where it is typed for the bay in front, it comes to the front here."""
        if self.pane is not None and any(file.path == path for file in typed.tables_at(self.bench.document)):
            self.pane.show_table(path)

    def choose(self, parent: QWidget) -> None:
        """Begin the one kind that the bay in front takes, or offer those there are."""
        kinds = typed.kinds_at(self.bench.document.bay)
        if len(kinds) == 1:
            self.begin(kinds[0])
        elif kinds:
            menu = QMenu(parent)
            for kind in kinds:
                menu.addAction(kind.title, partial(self.begin, kind))
            menu.exec(parent.mapToGlobal(parent.rect().center()))

    def _on_toggled(self, on: bool) -> None:
        self._closed = not on

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """The dock was closed by hand."""
        if watched is self.dock and event.type() == QEvent.Type.Close:
            self._closed = True
            self.settle()
        return False
