"""Edits: functions from one document to the next."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import TypeVar

from valvelab.units import System
from valvelab.workbench.document import Answer, BenchFile, Choice, Content, Document

Key = TypeVar("Key")
Item = TypeVar("Item")


def _with(mapping: Mapping[Key, Item], key: Key, item: Item) -> Mapping[Key, Item]:
    return MappingProxyType({**mapping, key: item})


def add_files(document: Document, paths: Iterable[str]) -> Document:
    """Put files on the bench; one that is there already stays as it is."""
    present = {file.path for file in document.files}
    new = [BenchFile(path) for path in dict.fromkeys(paths) if path not in present]
    return replace(document, files=(*document.files, *new)) if new else document


def remove_file(document: Document, path: str) -> Document:
    """Take a file off the bench; the file on disk is not touched."""
    return replace(document, files=tuple(file for file in document.files if file.path != path))


def assign_columns(document: Document, path: str, kind: str | None, columns: str | None) -> Document:
    """State what a file is and which of its columns holds what, as `"angle=0 [crank deg], 1I=2 [in]"`."""
    files = tuple(replace(f, kind=kind, columns=columns) if f.path == path else f for f in document.files)
    return replace(document, files=files)


def choose(document: Document, station: str, name: str, value: Choice) -> Document:
    """Make one choice of a station: the lobe in front, the checking lift."""
    choices = _with(document.choices.get(station, MappingProxyType({})), name, value)
    return replace(document, choices=_with(document.choices, station, choices))


def use_file(document: Document, path: str) -> Document:
    """Let inspections use this file among those of its kind."""
    file = document.file(path)
    content = None if file is None else document.content(file)
    if content is None or content.value is None:
        return document
    return replace(document, current=_with(document.current, content.kind, path))


def go_to_station(document: Document, station: str) -> Document:
    """Bring a station to the front."""
    return replace(document, station=station)


def set_units(document: Document, units: System) -> Document:
    """Show everything in metric or inch units; nothing that is computed changes."""
    return replace(document, units=units)


def content_arrived(document: Document, file: BenchFile, content: Content) -> Document:
    """Keep what reading a file gave."""
    return replace(document, contents=_with(document.contents, file, content))


def answer_arrived(document: Document, station: str, answer: Answer) -> Document:
    """Keep a station's answer."""
    return replace(document, answers=_with(document.answers, station, answer))


def read_again(document: Document) -> Document:
    """Forget contents and answers, so that every file is read anew."""
    return replace(document, contents=MappingProxyType({}), answers=MappingProxyType({}))


def forget_file(document: Document, path: str) -> Document:
    """Forget what one file holds, so that it is read anew."""
    kept = {file: content for file, content in document.contents.items() if file.path != path}
    return replace(document, contents=MappingProxyType(kept))


def found_out(decided: Document, known: Document) -> Document:
    """A document with the decisions of one and the findings of another."""
    return replace(decided, contents=known.contents, answers=known.answers)
