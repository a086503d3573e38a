"""What was typed at a station and stands in no file yet."""

from __future__ import annotations

from valvelab.workbench.document import Document


def unsaved(document: Document) -> bool:
    """Whether a degree-wheel sheet or readings at a retainer were typed that no file holds."""
    sheets = document.choices.get("phasing", {})
    readings = document.choices.get("motion", {})
    return any(name.startswith("sheet") and bool(text) for name, text in sheets.items()) or any(
        name.startswith("read ") and text != "?" for name, text in readings.items()
    )
