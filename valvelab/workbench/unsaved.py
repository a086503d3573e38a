"""What was done at the bench and stands in no file yet."""

from __future__ import annotations

from valvelab.workbench.document import Document


def unsaved(document: Document) -> bool:
    """Whether something was done that no file holds: readings typed, texts edited, springs in sets, words for paper."""
    typed = any(file.text is not None for file in document.files)
    return typed or document.particulars is not None or any(state.unsaved for state in document.states.values())
