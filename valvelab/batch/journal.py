"""What a batch found, line by line as it is found, beside its output: it survives the process, and is gone on with.

Lines are in the order of the files' names. A run that goes on with an earlier one first puts what that left into a
second file, then reads it side by side with the files; so nothing is held but a line.
"""

from __future__ import annotations

import contextlib
import heapq
import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import groupby
from operator import itemgetter
from pathlib import Path
from typing import Any, BinaryIO

from valvelab import __version__
from valvelab.batch.task import Found
from valvelab.errors import CannotWrite
from valvelab.file_lock import FileLock
from valvelab.writing import add_line, remove_file, start_lines, write_filled

FORM = 1
_WRITTEN = ("sha256", "sources", "rows", "verdicts", "warnings")
"""Of what was found, beside its name."""


def journal_of(out: Path) -> Path:
    """Where the journal of an output lies."""
    return out.with_name(f"{out.name}.journal")


@dataclass(slots=True)
class Journal:
    """The journal of an output. asked: what was asked of every file; answers to anything else are not gone on with.

    strange: whether what was to be gone on with answers something else.
    """

    out: Path
    asked: str
    strange: bool = False
    _stream: BinaryIO | None = None
    _lock: FileLock | None = None
    _earlier: Iterator[tuple[str, Found]] = field(default_factory=lambda: iter(()))
    _next: tuple[str, Found] | None = None

    @property
    def path(self) -> Path:
        """Where it lies."""
        return journal_of(self.out)

    @property
    def before(self) -> Path:
        """Where it keeps what earlier runs left, while a run goes on with them."""
        return self.out.with_name(f"{self.out.name}.journal-before")

    @property
    def _head(self) -> dict[str, Any]:
        return {"journal": FORM, "version": __version__, "asked": self.asked}

    def begin(self, *, resume: bool) -> None:
        """Start it; `resume` keeps what earlier runs found. Raises CannotWrite, where another batch has it too."""
        self._lock = FileLock(self.out.with_name(f"{self.out.name}.journal-lock"))
        if not self._lock.take():
            raise CannotWrite(str(self.out), "another batch is writing it, or its disk knows no locks")
        if resume and self.path.is_file():
            self.strange = self._is_strange()
            write_filled(self.before, self._put_together)
        elif not resume:
            remove_file(self.before)
        self._earlier = (_read(row) for row in self._lines(self.before))
        self._next = next(self._earlier, None)
        self._stream = start_lines(self.path)
        add_line(self._stream, _line(self._head))

    def _is_strange(self) -> bool:
        with self.path.open("rb") as stream:
            return _parsed(stream.readline()) != self._head

    def _put_together(self, stream: BinaryIO) -> None:
        """What two runs left, by name; the later one counts."""
        both = heapq.merge(self._lines(self.path), self._lines(self.before), key=itemgetter("name"))
        stream.write(_line(self._head))
        stream.writelines(_line(next(rows)) for _, rows in groupby(both, key=itemgetter("name")))

    def earlier(self, name: str) -> Found | None:
        """What an earlier run found of a file; names are to be asked for in their order."""
        while self._next is not None and self._next[0] < name:
            self._next = next(self._earlier, None)
        return self._next[1] if self._next is not None and self._next[0] == name else None

    def add(self, name: str, found: Found) -> None:
        """Write down what was found of a file."""
        assert self._stream is not None
        row = {key: getattr(found, key) for key in _WRITTEN}
        add_line(self._stream, _line({"name": name, **row, "shown": found.name}))

    def found(self) -> Iterator[Found]:
        """Everything written down in this run, in its order."""
        return (_read(row)[1] for row in self._lines(self.path))

    def end(self) -> None:
        """What earlier runs left is in it by now, or counts no more."""
        remove_file(self.before)

    def close(self) -> None:
        """Close it as it is."""
        if self._stream is not None:
            with contextlib.suppress(OSError):  # a line that could not be added was said to be so
                self._stream.close()
        if self._lock is not None:
            self._lock.release(remove=True)

    def _lines(self, path: Path) -> Iterator[dict[str, Any]]:
        """Whole lines under the head that this run has; nothing where there is no such file."""
        if not path.is_file():
            return
        with path.open("rb") as stream:
            if _parsed(stream.readline()) != self._head:
                return
            for line in stream:
                row = _parsed(line)
                if row is None:
                    return  # torn, and so the last
                yield row


def _line(row: dict[str, Any]) -> bytes:
    return json.dumps(row, ensure_ascii=True, separators=(",", ":")).encode() + b"\n"


def _parsed(line: bytes) -> dict[str, Any] | None:
    if not line.endswith(b"\n"):
        return None
    try:
        row = json.loads(line)
    except ValueError:
        return None
    return row if isinstance(row, dict) else None


def _read(row: dict[str, Any]) -> tuple[str, Found]:
    sources = tuple((file, digest) for file, digest in row["sources"])
    rows, verdicts, warnings = (tuple(row[key]) for key in ("rows", "verdicts", "warnings"))
    return row["name"], Found(row["shown"], row["sha256"], sources, rows, verdicts, warnings)
