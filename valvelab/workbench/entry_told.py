"""All that is told of a typed table: its text, the cells that are marked and why, and what it wants next."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from valvelab.workbench.document import TYPED, Document
from valvelab.workbench.entry import Grid, Place, wrong
from valvelab.workbench.entry_doubts import doubts
from valvelab.workbench.entry_text import faults, grid_of, still_wanted, text_of
from valvelab.workbench.typed import in_front


@dataclass(frozen=True, slots=True)
class Mark:
    """A cell that counts for nothing as it stands, or that counts and is in doubt, and the sentence that says why."""

    level: Literal["wrong", "doubtful"]
    why: str


@dataclass(frozen=True, slots=True)
class Told:
    """See the module text; `marks` in reading order, those that count for nothing first."""

    grid: Grid
    text: str
    marks: dict[Place, Mark]
    wanted: str


@lru_cache(maxsize=4)
def told(kind: str, grid: Grid) -> Told:
    """What is told of a grid."""
    unread = {
        (at, n): why
        for at, row in enumerate(grid.rows)
        for n, (head, text) in enumerate(zip(grid.heads, row, strict=True))
        if text and (why := wrong(kind, head, text))
    }
    marks = {place: Mark("wrong", why) for place, why in {**faults(kind, grid), **unread}.items()}
    marks |= {place: Mark("doubtful", why) for place, why in doubts(kind, grid).items() if place not in marks}
    return Told(grid, text_of(kind, grid), marks, still_wanted(kind, grid))


def progress(document: Document) -> str:
    """How far the typed table in front is, while rows of it bear a name and no reading; empty where none does."""
    file = in_front(document)
    if file is None or file.kind is None or file.text is None or not file.path.startswith(TYPED):
        return ""
    grid = grid_of(file.kind, file.text)
    waiting = any(row[0] and not any(row[1:]) for row in grid.rows)
    return still_wanted(file.kind, grid).rstrip(".") if waiting else ""
