"""What was done at the bench and stands in no file yet."""

from __future__ import annotations

from valvelab.workbench.document import Document


def unsaved(document: Document) -> bool:
    """Whether something was done that no file holds: readings typed, a text edited, springs put into sets."""
    return any(state.unsaved for state in document.states.values()) or any(f.text is not None for f in document.files)
