"""Which of the specs on the bench speaks of the engine."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from valvelab.workbench.document import BenchFile, Document

if TYPE_CHECKING:
    from valvelab.records.spec import Spec


def engine_spec(document: Document, subjects: set[str]) -> tuple[BenchFile, Spec] | None:
    """The spec chosen by hand, else the first with a limit on one of the subjects, else None."""
    from valvelab.inspection.characteristics import by_name

    found = []
    for file in document.of_kind("spec"):
        content = document.content(file)
        if content is None or content.value is None:
            continue
        spec = cast("Spec", content.value)
        rows = [by_name(limit.of) for limit in spec.limit]
        if file.path == document.current.get("spec"):
            return file, spec
        if any(row is None or row.subject in subjects for row in rows):
            found.append((file, spec))
    return found[0] if found else None
