"""The way back: old documents are kept instead of inverse operations."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from valvelab.workbench.document import Document
from valvelab.workbench.edits import found_out

Changed = Callable[[Document, Document], None]
_LONGEST = 200


@dataclass(frozen=True, slots=True)
class Step:
    """A document to go back (or forward) to, and what the step in between is called."""

    document: Document
    label: str


@dataclass(slots=True)
class History:
    """The document in front, with what came before and what was undone.

    Every change leaves through `changed(old, new)`, called once a change and never when nothing changed.
    """

    document: Document
    changed: Changed
    past: list[Step] = field(default_factory=list)
    future: list[Step] = field(default_factory=list)
    _gesture: str | None = None

    def apply(self, new: Document, label: str, gesture: str | None = None) -> None:
        """Make an edit that can be undone; edits of one gesture (a drag) merge into one step."""
        old = self.document
        if new == old:
            return
        if gesture is None or gesture != self._gesture:
            self.past.append(Step(old, label))
            del self.past[:-_LONGEST]
        self._gesture = gesture
        self.future.clear()
        self._show(new)

    def follow(self, new: Document) -> None:
        """Take up a change that is no edit: something found out, something looked at."""
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
        target.append(Step(self.document, step.label))
        self._gesture = None
        self._show(found_out(step.document, self.document))

    def _show(self, new: Document) -> None:
        old, self.document = self.document, new
        self.changed(old, new)
