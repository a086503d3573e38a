"""A spec carried past a cache's key: the stamp of its reading stands for it there."""

from __future__ import annotations

from dataclasses import dataclass, field

from valvelab.records.spec import Spec
from valvelab.workbench.document import BenchFile, Document


@dataclass(frozen=True, slots=True)
class HeldSpec:
    """A spec with its file, or none; two are equal where they come from the same reading."""

    stamp: int | None
    found: tuple[BenchFile, Spec] | None = field(compare=False)


def held(document: Document, found: tuple[BenchFile, Spec] | None) -> HeldSpec:
    """A spec of the bench, ready to be an argument of a cached function."""
    content = None if found is None else document.content(found[0])
    return HeldSpec(None if content is None else content.stamp, found)
