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

from valvelab.file_lock import FileLock
from valvelab.workbench.document import Document
from valvelab.workbench.unsaved import unsaved
from valvelab.writing import make_folder, set_aside, write_whole

UNREADABLE = "unreadable"


class OwnFile:
    """The recovery file of one window."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / f"recovery-{secrets.token_hex(6)}.json"
        self._lock = _lock_of(self.path)

    def save(self, document: Document) -> None:
        """Keep the decisions of a document; CannotWrite where that fails."""
        from valvelab.workbench.saved_bench import saved_text

        make_folder(self.path.parent, private=True)
        self._lock.take()
        write_whole(self.path, saved_text(document), private=True)

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
        from valvelab.workbench.saved_bench import saved_document

        try:
            document = saved_document(path.read_bytes())
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
