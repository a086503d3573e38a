"""Typed tables on the bench: which there are, how far they are typed, and opened files whose text is edited."""

from __future__ import annotations

from dataclasses import replace

from valvelab.language import say
from valvelab.workbench import bays, edits
from valvelab.workbench.document import BenchFile, Document
from valvelab.workbench.entry_kinds import EntryKind, entry_kind
from valvelab.workbench.state import with_item


def kinds_at(bay: str) -> tuple[EntryKind, ...]:
    """Kinds of table that can be typed for a bay."""
    known = bays.by_name(bay)
    found = () if known is None else tuple(entry_kind(kind) for kind in known.takes)
    return tuple(kind for kind in found if kind is not None)


def kind_of(document: Document, file: BenchFile) -> EntryKind | None:
    """The kind of a table, where it is one that is typed."""
    content = document.content(file)
    return entry_kind(file.kind or (content.kind if content is not None else ""))


def tables_at(document: Document) -> tuple[BenchFile, ...]:
    """Typed tables that the bay in front takes, in bench order."""
    taken = {kind.kind for kind in kinds_at(document.bay)}
    return tuple(file for file in document.files if file.text is not None and file.kind in taken)


def in_front(document: Document) -> BenchFile | None:
    """The typed table that the bay in front works on, None where none is typed."""
    tables = tables_at(document)
    used = (file for file in tables if document.current.get(file.kind or "") == file.path)
    return next(iter((*used, *reversed(tables))), None)


def begun(document: Document) -> str:
    """What the typed table in front wants before there is an answer, in a sentence; empty where none is typed."""
    front = in_front(document)
    if front is None:
        return ""
    content = document.content(front)
    failed = document.answers.get(document.bay)
    refused = content.problem.text if content is not None and content.problem is not None else ""
    failure = (failed.failure or "") if failed is not None else ""
    return say(refused or failure).removeprefix(front.path).removeprefix(front.name).lstrip(",: ")


def edited(document: Document, path: str, kind: str, text: str) -> Document:
    """The document in which this text counts in place of what an opened file holds, in front of others of its kind."""
    changed = edits.retype(edits.assign_columns(document, path, kind, None), path, text)
    return replace(changed, current=with_item(changed.current, kind, path))
