"""Keeps the open job in the records: what its readings don't say is asked in a strip, nothing else stops it."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QLabel, QLineEdit, QWidget

from valvelab.language import say
from valvelab.window.bench import Bench
from valvelab.window.layouts import beside
from valvelab.window.panes import button, labelled
from valvelab.workbench import records
from valvelab.workbench.document import Document, Problem
from valvelab.workbench.records import ASKED, Kept

if TYPE_CHECKING:  # what inspects is loaded by the thread that does so
    from valvelab.job.recording import Recording

_ABOUT = "records"


class KeepStrip(QWidget):
    """Keeps the open job, and asks first what its readings don't say; `kept` or `refused(sentence)` when it is done."""

    kept = Signal()
    refused = Signal(str)
    wanted = Signal()
    """Something has to be asked."""

    def __init__(self, bench: Bench, place: Callable[[], str], parent: QWidget) -> None:
        super().__init__(parent)
        self._bench, self._place = bench, place
        self._found: Recording | None = None
        self.told = QLabel(say("Not said by the readings:"), self)
        self.fields = {name: QLineEdit(self) for name in ASKED}
        named = [labelled(self, name, field) for name, field in self.fields.items()]
        for name, field in self.fields.items():
            field.setAccessibleName(say("Keep with this {name}").format(name=name))
            field.returnPressed.connect(self.accept)
        self._named = dict(zip(self.fields, named, strict=True))
        self.keep_button = button(self, "&Keep", "Keep what was inspected, with what is stated here", self.accept)
        self.leave_button = button(self, "&Don't keep", "Keep nothing", self.leave)
        row = [(widget, 1) for widget in named]
        beside(self.told, *row, self.keep_button, self.leave_button, on=self, margins=(8, 6, 8, 6))
        self.hide()

    def begin(self, document: Document, name: str) -> None:
        """Inspect a document; keep it, or ask for what is missing first."""
        self._bench.ask_records(
            say("Inspecting for the records"), lambda: records.inspected(document, name), self._inspected
        )

    def _inspected(self, found: Recording) -> None:
        self._found, missing = found, records.missing(found)
        for name, widget in self._named.items():
            widget.setVisible(name in missing)
            self.fields[name].clear()
        if not missing:
            self.accept()
            return
        self.show()
        self.wanted.emit()
        self.fields[missing[0]].setFocus()

    def accept(self) -> None:
        """Keep it, with what was stated."""
        found, self._found = self._found, None
        if found is None:
            return
        stated = {name: field.text().strip() for name, field in self.fields.items()}
        place = self._place()

        def take(kept: Kept) -> None:
            self.hide()
            for note in found.notes:
                self._bench.done.emit(Problem(note.level, note.about, note.text))
            self._bench.done.emit(Problem("info", _ABOUT, kept.sentence()))
            self.kept.emit()

        def not_kept(sentence: str) -> None:
            self._found = found
            self.refused.emit(sentence)
            self._bench.done.emit(Problem("error", _ABOUT, sentence))

        self._bench.ask_records(say("Keeping records"), lambda: records.keep(place, found, stated), take, not_kept)

    def leave(self) -> None:
        """Keep nothing."""
        self._found = None
        self.hide()
