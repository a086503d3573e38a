"""The files of a folder and of those within it, in the order of their paths, a folder's names at a time."""

from __future__ import annotations

import os
import stat
from collections import Counter
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from pathlib import Path, PurePath

from valvelab.errors import utf8
from valvelab.files.kinds import READERS

SURE_ENDINGS = frozenset({".csv", ".tsv", ".xlsx"})
"""Endings that nothing but a table has: such a file that is none is a failure, not another's file."""
ENDINGS = frozenset(ending for reader in READERS for ending in reader.endings)
DEEPEST = 64


@dataclass(slots=True)
class Walk:
    """A walk through a folder, an absolute path; hidden files, and folders that are links, are passed over.

    left_out: absolute paths of files that are no input; passed: what was passed over, counted; failed: folders that
    can't be read, with the reason.
    """

    folder: Path
    left_out: Collection[str] = ()
    passed: Counter[str] = field(default_factory=Counter)
    failed: list[tuple[str, str]] = field(default_factory=list)

    def files(self) -> Iterator[tuple[str, str]]:
        """Name and path of each file that may be a table, by name; a name has forward slashes and is text."""
        yield from self._within(str(self.folder), "", 0)

    def _within(self, folder: str, before: str, depth: int) -> Iterator[tuple[str, str]]:
        try:
            with os.scandir(folder) as found:
                entries = sorted((utf8(entry.name) + "/" * _is_folder(entry), entry) for entry in found)
        except OSError as error:
            self.failed.append((before.rstrip("/") or ".", (error.strerror or "a folder that can't be read").lower()))
            return
        for name, entry in entries:
            if name.startswith("."):
                self.passed["hidden"] += 1
            elif name.endswith("/"):
                if entry.is_symlink() or depth == DEEPEST:
                    self.passed["links to folders"] += 1
                else:
                    yield from self._within(entry.path, before + name, depth + 1)
            elif entry.path in self.left_out:
                self.passed["the command's own"] += 1
            elif PurePath(name).suffix.lower() in ENDINGS:
                yield before + name, entry.path
            else:
                self.passed["other"] += 1


def _is_folder(entry: os.DirEntry[str]) -> bool:
    try:
        return stat.S_ISDIR(entry.stat().st_mode)
    except OSError:
        return False  # a link that leads nowhere, or in a circle: reading it says so
