"""The dock that readings are typed in: when it shows, and how a table is begun or opened there."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QEvent, QObject, Qt
from PySide6.QtWidgets import QDockWidget, QMenu, QWidget

from valvelab.errors import BadFile
from valvelab.window.bench import Bench
from valvelab.workbench import bays, typed
from valvelab.workbench.document import Document, Problem
from valvelab.workbench.entry_kinds import EntryKind, text_of

if TYPE_CHECKING:
    from valvelab.window.entry_pane import EntryPane


class Readings(QObject):
    """The dock that typed readings stand in: shown while the bay in front has a typed table, unless it was closed."""

    def __init__(self, bench: Bench, dock: QDockWidget) -> None:
        super().__init__(dock)
        self.bench, self.dock = bench, dock
        self.pane: EntryPane | None = None
        self._closed = False
        dock.installEventFilter(self)
        dock.toggleViewAction().triggered.connect(self._on_toggled)
        bench.document_changed.connect(lambda _old, new: self.show_document(new))
        self.show_document(bench.document)

    def show_document(self, document: Document) -> None:
        """Show or hide the dock, and the table in front in it."""
        tables = typed.tables_at(document)
        if tables and self.pane is None:
            from valvelab.window.entry_pane import EntryPane  # loads numpy, which is not wanted before the first paint

            self.pane = EntryPane(self.bench, self.dock)
            self.dock.setWidget(self.pane)
        self.dock.setVisible(bool(tables) and not self._closed)
        self.dock.toggleViewAction().setEnabled(bool(tables))
        if self.pane is not None:
            self.pane.show_document(document)

    def settle(self) -> None:
        """Pass on what is typed and still waits."""
        if self.pane is not None:
            self.pane.settle()

    def begin(self, kind: EntryKind) -> None:
        """A new table of a kind, ready to be typed into."""
        self.settle()
        document = self.bench.document
        self._closed = False
        text = text_of(kind.kind, kind.blank(document.units))
        self.bench.type_table(kind.file, kind.kind, text)
        self._bring(self.bench.document.files[-1].path)

    def edit(self, path: str) -> None:
        """Edit the readings of a table that is on the bench; of a file, its text, and the file stays as it is."""
        self.settle()
        self._closed = False
        document = self.bench.document
        file = document.file(path)
        try:
            changed = typed.with_text_of(document, path)
        except (BadFile, OSError) as error:
            self.bench.done.emit(Problem("warning", Path(path).name, f"{error}"))
            return
        if file is not None and changed is not document:
            self.bench.history.apply(changed, f"edit {file.name}")
            self.bench.said.emit(f"{file.name}: edited here; the file on disk stays as it is")
        kind = None if file is None else typed.kind_of(document, file)
        if kind is not None and kind not in typed.kinds_at(self.bench.document.bay):
            self.bench.go_to_bay(bays.takers(kind.kind)[0].name)
        self._bring(path)

    def choose(self, parent: QWidget, begin: Callable[[EntryKind], None] | None = None) -> None:
        """Begin the one kind that the bay in front takes, or offer those there are."""
        kinds = typed.kinds_at(self.bench.document.bay)
        start = begin or self.begin
        if len(kinds) == 1:
            start(kinds[0])
        elif kinds:
            menu = QMenu(parent)
            for kind in kinds:
                menu.addAction(kind.title, partial(start, kind))
            menu.exec(parent.mapToGlobal(parent.rect().center()))

    def _bring(self, path: str) -> None:
        self.show_document(self.bench.document)
        if self.pane is not None:
            self.pane.show_table(path)
            first = self.pane.columns if len(self.pane.grid.grid.heads) < 2 else self.pane.grid
            first.setFocus(Qt.FocusReason.OtherFocusReason)

    def _on_toggled(self, on: bool) -> None:
        self._closed = not on

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """The dock was closed by hand."""
        if watched is self.dock and event.type() == QEvent.Type.Close:
            self._closed = True
            self.settle()
        return False
