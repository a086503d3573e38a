"""The bench after an unclean end: what a person decided is kept in a file while the program runs.

Each window keeps a file of its own, locked while the window lives. A file whose window is gone is a bench left behind:
the next window claims it, and it stays until a person says "Bring it back" or "Leave it".
"""

from __future__ import annotations

import contextlib
import secrets
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Literal

from pydantic import ValidationError

from valvelab.file_lock import FileLock
from valvelab.records.result import Record
from valvelab.workbench.document import BenchFile, Document
from valvelab.workbench.unsaved import unsaved
from valvelab.writing import make_folder, set_aside, write_whole

UNREADABLE = "unreadable"
_BYTES = MappingProxyType({0xDC00 + byte: 0xF700 + byte for byte in range(0x80, 0x100)})
_BYTES_BACK = MappingProxyType({kept: byte for byte, kept in _BYTES.items()})


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


class OwnFile:
    """The recovery file of one window."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / f"recovery-{secrets.token_hex(6)}.json"
        self._lock = _lock_of(self.path)

    def save(self, document: Document) -> None:
        """Keep the decisions of a document; CannotWrite where that fails."""
        make_folder(self.path.parent, private=True)
        self._lock.take()
        write_whole(self.path, _text(document), private=True)

    def remove(self) -> None:
        """A clean end leaves nothing to recover."""
        _remove(self.path, self._lock)

    def leave(self) -> None:
        """Leave the file to the next window."""
        self._lock.release()


@dataclass(frozen=True, slots=True)
class LeftBench:
    """A bench that a window left behind, claimed by this one: no other window touches it meanwhile."""

    document: Document
    path: Path
    lock: FileLock

    def remove(self) -> None:
        """It is decided: the file goes."""
        _remove(self.path, self.lock)

    def leave(self) -> None:
        """It is not decided: the file stays for the next window."""
        self.lock.release()


def claim(folder: Path, but: Collection[Path] = ()) -> tuple[LeftBench | None, tuple[str, ...]]:
    """The longest-lying bench that no living window holds, or None; and what there is to say about files on the way.

    `but` are passed over. A file that can't be read is set aside, never removed; an empty bench is removed.
    """
    found: LeftBench | None = None
    said: list[str] = []
    for path in sorted(folder.glob("recovery*.json"), key=_age):
        lock = _lock_of(path)
        if path in but or not lock.take():
            continue
        try:
            document = _document(path.read_bytes())
        except FileNotFoundError:
            lock.release(remove=True)
        except OSError as error:
            said.append(f"{path}: a bench was left there and can't be read: {error.strerror or error}")
            lock.release()
        except ValueError:
            said.append(_told_aside(path))
            lock.release(remove=True)
        else:
            if not (document.files or unsaved(document)):
                _remove(path, lock)
            elif found is None:
                found = LeftBench(document, path, lock)
            else:
                lock.release()
    return found, tuple(said)


def keep_beside(document: Document, folder: Path) -> Path:
    """Keep a document as a bench left behind, for the next window to offer; CannotWrite where that fails."""
    beside = OwnFile(folder)
    beside.save(document)
    beside.leave()
    return beside.path


def _told_aside(path: Path) -> str:
    aside = set_aside(path, UNREADABLE)
    return f"{path.name}: found no bench that this version can read; it is kept as {aside}"


def _lock_of(path: Path) -> FileLock:
    return FileLock(path.with_suffix(".lock"))


def _remove(path: Path, lock: FileLock) -> None:
    with contextlib.suppress(OSError):
        path.unlink()
    lock.release(remove=True)


def _age(path: Path) -> float:
    try:
        return path.stat().st_mtime
    except OSError:
        return 0.0


def _text(document: Document) -> str:
    """The recovery file of a document. Bytes of names that are no UTF-8 are kept in signs of private use."""
    saved = SavedBench(
        files=tuple(SavedFile(path=file.path, columns=file.columns, kind=file.kind) for file in document.files),
        station=document.station,
        choices={name: dict(choices) for name, choices in document.choices.items()},
        current=dict(document.current),
        units=document.units,
    )
    return _translated(saved, _BYTES).model_dump_json(indent=1)


def _document(data: bytes) -> Document:
    """The document of a recovery file; ValueError where it is none."""
    try:
        saved = _translated(SavedBench.model_validate_json(data), _BYTES_BACK)
    except ValidationError as error:
        raise ValueError(str(error)) from None
    return Document(
        files=tuple(BenchFile(file.path, file.columns, file.kind) for file in saved.files),
        station=saved.station,
        choices=MappingProxyType({name: MappingProxyType(choices) for name, choices in saved.choices.items()}),
        current=MappingProxyType(saved.current),
        units=saved.units,
    )


def _translated(saved: SavedBench, signs: MappingProxyType[int, int]) -> SavedBench:
    """The bench with other signs in its paths, and where choices name or hold them."""
    return saved.model_copy(
        update={
            "files": tuple(file.model_copy(update={"path": file.path.translate(signs)}) for file in saved.files),
            "choices": {
                station: {
                    name.translate(signs): value.translate(signs) if isinstance(value, str) else value
                    for name, value in choices.items()
                }
                for station, choices in saved.choices.items()
            },
            "current": {kind: path.translate(signs) for kind, path in saved.current.items()},
        }
    )
