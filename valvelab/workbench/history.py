"""The way back: old documents are kept instead of inverse operations."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import count

from valvelab.workbench.changes import seen
from valvelab.workbench.document import Document
from valvelab.workbench.edits import found_out

Changed = Callable[[Document, Document], None]
LONGEST = 1000


@dataclass(frozen=True, slots=True)
class Step:
    """A document to go back (or forward) to, its edition, and what the step in between is called."""

    document: Document
    label: str
    edition: int


@dataclass(slots=True)
class History:
    """The document in front, with what came before and what was undone.

    Every change leaves through `changed(old, new)`, called once a change and never when nothing changed. `edition`
    tells what was decided in one document from what was in another: undo brings back the earlier one.
    """

    document: Document
    changed: Changed
    past: list[Step] = field(default_factory=list)
    future: list[Step] = field(default_factory=list)
    edition: int = 0
    _gesture: str | None = None
    _editions: Iterator[int] = field(default_factory=lambda: count(1))

    def apply(self, new: Document, label: str, gesture: str | None = None) -> None:
        """Make an edit that can be undone; edits of one gesture (a drag) merge into one step."""
        old = self.document
        if new == old:
            return
        if gesture is None or gesture != self._gesture:
            self.past.append(Step(old, label, self.edition))
            del self.past[:-LONGEST]
        self._gesture = gesture
        self.future.clear()
        self.edition = next(self._editions)
        self._show(new)

    def begin(self, new: Document) -> None:
        """Another bench altogether: nothing of the one before can be brought back."""
        self.past.clear()
        self.future.clear()
        self._gesture = None
        self.edition = next(self._editions)
        self._show(new)

    def follow(self, new: Document, *, counts: bool = False) -> None:
        """Take up a change that is no edit: something found out, something looked at.

        counts: it makes another edition all the same, for something that is to be saved and can't be undone.
        """
        if counts:
            self.edition = next(self._editions)
        if new is not self.document:
            self._show(new)

    def end_gesture(self) -> None:
        """The drag is over; the next edit is a step of its own."""
        self._gesture = None

    def undo(self) -> None:
        """Back one step, keeping what was found out since."""
        self._move(self.past, self.future)

    def redo(self) -> None:
        """Forward one step."""
        self._move(self.future, self.past)

    @property
    def undo_label(self) -> str | None:
        """What undo would take back."""
        return self.past[-1].label if self.past else None

    @property
    def redo_label(self) -> str | None:
        """What redo would bring back."""
        return self.future[-1].label if self.future else None

    def _move(self, source: list[Step], target: list[Step]) -> None:
        if not source:
            return
        step = source.pop()
        target.append(Step(self.document, step.label, self.edition))
        self._gesture, self.edition = None, step.edition
        self._show(seen(found_out(step.document, self.document), self.document))

    def _show(self, new: Document) -> None:
        old, self.document = self.document, new
        self.changed(old, new)
