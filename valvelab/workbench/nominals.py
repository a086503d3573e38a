"""Nominal tables: lift tables that lie on the bench for a spec to compare with, and are no part to inspect."""

from __future__ import annotations

from pathlib import Path

from valvelab.workbench.document import Document


def nominals(document: Document) -> set[str]:
    """Paths of the nominal tables that specs on the bench name."""
    contents = [(file, document.content(file)) for file in document.of_kind("spec")]
    return {
        str(Path(file.path).parent / row.nominal)
        for file, content in contents
        if content is not None
        for row in getattr(content.value, "envelope", ())
    }
