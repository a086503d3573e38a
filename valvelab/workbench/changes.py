"""Where on the bench a change is seen."""

from __future__ import annotations

from dataclasses import replace

from valvelab.workbench import bays
from valvelab.workbench.document import Document


def seen(new: Document, old: Document) -> Document:
    """The new document at a bay where it differs from the old one: the bay in front, if it is one, else the next.

    What is seen at every bay, such as the units, leaves the bay in front.
    """
    if not old.bay:
        return new
    where = changed_at(old, new)
    if not where or old.bay in where:
        return replace(new, bay=old.bay)
    return new if new.bay in where else replace(new, bay=where[0])


def changed_at(old: Document, new: Document) -> tuple[str, ...]:
    """The bays at which two documents differ, in bench order: by their files, by what was decided there."""
    files = set(old.files) ^ set(new.files)
    kinds = {content.kind for file in files for one in (old, new) if (content := one.content(file)) is not None}
    kinds |= {file.kind for file in files if file.kind is not None}
    kinds |= {kind for kind in {*old.current, *new.current} if old.current.get(kind) != new.current.get(kind)}
    states = {*old.states, *new.states}
    decided = {kind.bay for kind in states if old.states.get(kind) != new.states.get(kind)}
    return tuple(bay.name for bay in bays.BAYS if bay.name in decided or kinds & set(bay.takes))
