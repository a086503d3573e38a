"""What was typed at a bay and stands in no file yet."""

from __future__ import annotations

from valvelab.workbench.document import Document


def unsaved(document: Document) -> bool:
    """Whether something was typed that no file holds: a degree-wheel sheet, readings at a retainer."""
    return any(state.unsaved for state in document.states.values())
