"""The bench after an unclean end: what a person decided is kept in a file while the program runs."""

from __future__ import annotations

from pathlib import Path
from types import MappingProxyType
from typing import Literal

from pydantic import ValidationError

from valvelab.records.result import Record
from valvelab.workbench.document import BenchFile, Document
from valvelab.workbench.unsaved import unsaved
from valvelab.writing import make_folder, write_whole


class SavedFile(Record):
    """A file of the bench."""

    path: str
    columns: str | None = None
    kind: str | None = None


class SavedBench(Record):
    """The recovery file; `version` grows with its form."""

    version: Literal[1] = 1
    files: tuple[SavedFile, ...]
    station: str
    choices: dict[str, dict[str, str | float | bool]]
    current: dict[str, str]
    units: Literal["metric", "inch"]


def path_in(folder: Path) -> Path:
    """The recovery file of a settings folder."""
    return folder / "recovery.json"


def save(document: Document, folder: Path) -> None:
    """Keep the decisions of a document."""
    saved = SavedBench(
        files=tuple(SavedFile(path=file.path, columns=file.columns, kind=file.kind) for file in document.files),
        station=document.station,
        choices={name: dict(choices) for name, choices in document.choices.items()},
        current=dict(document.current),
        units=document.units,
    )
    make_folder(folder, private=True)
    write_whole(path_in(folder), saved.model_dump_json(indent=1), private=True)


def load(folder: Path) -> Document | None:
    """The bench that an unclean end left; None where there is none, it was empty, or it can't be read."""
    try:
        saved = SavedBench.model_validate_json(path_in(folder).read_text(encoding="utf-8"))
    except (OSError, ValidationError, UnicodeDecodeError):
        return None
    left = Document(
        files=tuple(BenchFile(file.path, file.columns, file.kind) for file in saved.files),
        station=saved.station,
        choices=MappingProxyType({name: MappingProxyType(choices) for name, choices in saved.choices.items()}),
        current=MappingProxyType(saved.current),
        units=saved.units,
    )
    return left if left.files or unsaved(left) else None


def clear(folder: Path) -> None:
    """A clean end leaves nothing to recover."""
    path_in(folder).unlink(missing_ok=True)
