"""Keeps the open job in the records: what its readings don't say is asked in a strip, nothing else stops it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QGridLayout, QLabel, QLineEdit, QWidget

from valvelab.language import say
from valvelab.window.bench import Bench
from valvelab.window.layouts import above, beside
from valvelab.window.panes import button, labelled
from valvelab.workbench import edits, records
from valvelab.workbench.document import Document, Problem
from valvelab.workbench.records import OWN, Kept, Thing

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
        self.things: tuple[Thing, ...] = ()
        self.told = QLabel(say("Not said by the readings:"), self)
        self.fields = {"customer": self._field(say("Keep with this {name}").format(name="customer"))}
        self.own: list[dict[str, QLineEdit]] = []
        """The fields of each thing that is to be kept; what its readings say stands there and is not to be changed."""
        self._customer = labelled(self, "customer", self.fields["customer"])
        self.keep_button = button(self, "&Keep", "Keep what was inspected, with what is stated here", self.accept)
        self.leave_button = button(self, "&Don't keep", "Keep nothing", self.leave)
        head = beside(self.told, (self._customer, 1), self.keep_button, self.leave_button)
        self._room, self._grid = QWidget(self), QGridLayout()
        self._room.setLayout(self._grid)
        above(head, self._room, on=self, margins=(8, 6, 8, 6), spacing=4)
        self._grid.setContentsMargins(0, 0, 0, 0)
        self._grid.setColumnStretch(2, 1)
        self._grid.setColumnStretch(4, 1)
        self.hide()

    def _field(self, spoken: str) -> QLineEdit:
        field = QLineEdit(self)
        field.setAccessibleName(spoken)
        field.returnPressed.connect(self.accept)
        return field

    def begin(self, document: Document, name: str) -> None:
        """Inspect a document; keep it, or ask for what is missing first."""
        self._bench.ask_records(
            say("Inspecting for the records"), lambda: records.inspected(document, name), self._inspected
        )

    def _inspected(self, found: Recording) -> None:
        self._found, missing = found, records.missing(found)
        self.things = records.things(found)
        self.fields["customer"].clear()
        self._customer.setVisible("customer" in missing)
        self._ask_of_each(OWN if {*OWN} & {*missing} else ())
        if not missing:
            self.accept()
            return
        self.show()
        self.wanted.emit()
        own = [field for row in self.own for field in row.values() if field.isEnabled()]
        (own[0] if own else self.fields["customer"]).setFocus()

    def _ask_of_each(self, names: Sequence[str]) -> None:
        """A row for each thing, with what its readings say of it."""
        while (item := self._grid.takeAt(0)) is not None:
            if (old := item.widget()) is not None:
                old.deleteLater()
        self.own = []
        for line, thing in enumerate(self.things if names else ()):
            self._grid.addWidget(QLabel(thing.name, self), line, 0)
            row = {}
            for place, name in enumerate(names):
                field = row[name] = self._field(
                    say("Keep {thing} with this {name}").format(thing=thing.name, name=say(name))
                )
                field.setText(thing.said[name] or "")
                field.setEnabled(not thing.said[name])
                label = QLabel(say(name), self)
                label.setBuddy(field)
                self._grid.addWidget(label, line, 1 + 2 * place)
                self._grid.addWidget(field, line, 2 + 2 * place)
            self.own.append(row)
        self._room.setVisible(bool(self.own))

    def _stated(self, found: Recording) -> list[dict[str, str]]:
        """What was stated of each record."""
        customer = self.fields["customer"].text().strip()
        stated = [{"customer": customer} for _ in found.entries]
        for thing, row in zip(self.things, self.own, strict=False):
            for number in thing.entries:
                stated[number] |= {name: field.text().strip() for name, field in row.items()}
        return stated

    def accept(self) -> None:
        """Keep it, with what was stated; the papers of the job say so from now on."""
        found, self._found = self._found, None
        if found is None:
            return
        stated, place = self._stated(found), self._place()

        def take(kept: Kept) -> None:
            self.hide()
            for note in found.notes:
                self._bench.done.emit(Problem(note.level, note.about, note.text))
            self._bench.done.emit(Problem("info", _ABOUT, kept.sentence()))
            self._tell_papers(found, stated)
            self.kept.emit()

        def not_kept(sentence: str) -> None:
            self._found = found
            self.refused.emit(sentence)
            self._bench.done.emit(Problem("error", _ABOUT, sentence))

        self._bench.ask_records(say("Keeping records"), lambda: records.keep(place, found, stated), take, not_kept)

    def _tell_papers(self, found: Recording, stated: Sequence[Mapping[str, str]]) -> None:
        document = self._bench.document
        new = records.told_to_papers(document.particulars, found, stated)
        if new is not None and new != document.particulars:
            self._bench.history.apply(edits.state_particulars(document, new), "keep in the records")

    def leave(self) -> None:
        """Keep nothing."""
        self._found = None
        self.hide()
