"""The bench after an unclean end: what a person decided is kept in a file while the program runs.

Each window keeps a file of its own, locked while the window lives. A file whose window is gone is a bench left behind:
the next window claims it, and it stays until a person says "Bring it back" or "Leave it".
"""

from __future__ import annotations

import contextlib
import secrets
from collections.abc import Collection, Mapping
from dataclasses import Field, asdict, dataclass, fields, is_dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Any, Literal

from pydantic import Discriminator, TypeAdapter, ValidationError

from valvelab.errors import ValvelabError
from valvelab.file_lock import FileLock
from valvelab.records.result import Record
from valvelab.units import System
from valvelab.workbench import bays
from valvelab.workbench.document import BenchFile, Document
from valvelab.workbench.state import Kept
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


class FirstBench(Record):
    """The recovery file of version 0.2.0, with choices by name."""

    version: Literal[1] = 1
    files: tuple[SavedFile, ...]
    station: str
    choices: dict[str, dict[str, str | float | bool]]
    current: dict[str, str]
    units: System

    def upgraded(self) -> SavedBench:
        """The same bench in the form of today."""
        from valvelab.workbench.recovery_upgrade import states_of

        asked = str(self.choices.get("bench", {}).get("columns", ""))
        plain = self.model_dump(exclude={"version", "choices", "station"})
        return SavedBench(**plain, bay=self.station, states=states_of(self.choices), columns_of=asked)


class SavedBench(Record):
    """The recovery file; `version` grows with its form. states: by bay, as its dataclass has them."""

    version: Literal[2] = 2
    files: tuple[SavedFile, ...]
    bay: str
    states: dict[str, dict[str, Any]]
    columns_of: str = ""
    current: dict[str, str]
    units: System


_FILE: TypeAdapter[FirstBench | SavedBench] = TypeAdapter(Annotated[FirstBench | SavedBench, Discriminator("version")])


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
    saved = {
        "files": [asdict(file) for file in document.files],
        "bay": document.bay,
        "states": {state.bay: _plain(state) for state in document.states.values()},
        "columns_of": document.columns_of,
        "current": dict(document.current),
        "units": document.units,
    }
    return SavedBench.model_validate(_translated(saved, _BYTES)).model_dump_json(indent=1)


def _document(data: bytes) -> Document:
    """The document of a recovery file; ValueError where it is none."""
    try:
        read = _FILE.validate_json(data)
        saved = read.upgraded() if isinstance(read, FirstBench) else read
        plain = SavedBench.model_validate(_translated(saved.model_dump(), _BYTES_BACK))
        known = {name: bays.work_of(name).state for name in plain.states if bays.by_name(name)}
        states = {kind: _state(kind, plain.states[name]) for name, kind in known.items()}
    except (ValidationError, ValvelabError, ValueError, TypeError) as error:
        raise ValueError(str(error)) from None
    return Document(
        files=tuple(BenchFile(file.path, file.columns, file.kind) for file in plain.files),
        bay=plain.bay,
        states=MappingProxyType(states),
        columns_of=plain.columns_of,
        current=MappingProxyType(plain.current),
        units=plain.units,
    )


def _plain(value: Any) -> Any:
    """A state or a part of one in the plain values that JSON has."""
    if is_dataclass(value):
        return {one.name: _plain(_written(one, getattr(value, one.name))) for one in fields(value)}
    if isinstance(value, Mapping):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, tuple | frozenset):
        return [_plain(item) for item in value]
    return value


def _written(one: Field[Any], value: Any) -> Any:
    kept = one.metadata.get("kept")
    return kept.write(value) if isinstance(kept, Kept) else value


def _state(kind: type[Any], saved: Mapping[str, Any]) -> Any:
    """A state of its plain values; what this version does not know is left out."""
    plain = dict(saved)
    for one in fields(kind):
        kept = one.metadata.get("kept")
        if isinstance(kept, Kept) and one.name in plain:
            plain[one.name] = kept.read(plain[one.name])
    state = TypeAdapter(kind).validate_python(plain)
    held = {one.name: value for one in fields(kind) if isinstance(value := getattr(state, one.name), dict)}
    return replace(state, **{name: MappingProxyType(value) for name, value in held.items()})


def _translated(value: Any, signs: Mapping[int, int]) -> Any:
    """The same with other signs in every text: paths, and where states name or hold them."""
    if isinstance(value, str):
        return value.translate(signs)
    if isinstance(value, dict):
        return {_translated(key, signs): _translated(item, signs) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_translated(item, signs) for item in value]
    return value
