"""Bytes of an input file, within the limits, with their identity; and their text in whatever encoding it has."""

from __future__ import annotations

import io
import logging
import os
import stat
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING

from valvelab.errors import BadFile
from valvelab.frozen import frozen

if TYPE_CHECKING:
    from valvelab.records.result import Source

_log = logging.getLogger(__name__)
MAX_FILE_BYTES = 64 * 1024 * 1024
MAX_UNPACKED_BYTES = 200 * 1024 * 1024
MAX_ROWS = 5_000_000
JOB_ENDING = ".valvejob"

_CONTROL = bytes(set(range(32)) - {9, 10, 11, 12, 13, 26})


@frozen
class Contents:
    """What a file held when it was read: its path as the user gave it, its bytes and their SHA-256."""

    file: str
    data: bytes
    source: Source

    @classmethod
    def of(cls, file: str, data: bytes) -> Contents:
        """Bytes that lie in no file of their own, under the name they go by."""
        from valvelab.records.result import Source

        return cls(file, data, Source(file=file, sha256=sha256(data).hexdigest()))


_standing_in: ContextVar[Mapping[Path, Contents]] = ContextVar("_standing_in")


@contextmanager
def standing_in(contents: Mapping[Path, Contents]) -> Iterator[None]:
    """For the while, names that no file needs to have: whoever reads one of these paths gets its contents."""
    token = _standing_in.set(contents)
    try:
        yield
    finally:
        _standing_in.reset(token)


Given = str | Path | Contents
"""What a reader reads: a file by its path, or contents that were read or typed already."""


def read_contents(given: Given, max_bytes: int = MAX_FILE_BYTES) -> Contents:
    """The bytes of a regular file; a larger one is refused before it is read, anything else before it can block."""
    limit = f"at most {size_text(max_bytes)}"
    if not isinstance(given, Contents):
        given = _standing_in.get({}).get(Path(given), given)
    if isinstance(given, Contents):
        if len(given.data) > max_bytes:
            raise BadFile(given.file, "", size_text(len(given.data)), limit)
        return given
    path, file = given, str(given)
    try:
        with _open_regular(Path(path)) as stream:
            size = os.fstat(stream.fileno()).st_size
            if size > max_bytes:
                raise BadFile(file, "", size_text(size), limit)
            data = _read_at_most(stream, max_bytes + 1)
    except ValueError:
        raise BadFile(file, "", "a path with a zero byte in it", "a file") from None
    except BlockingIOError:
        raise BadFile(file, "", "a file without an end", "a regular file") from None
    except OSError as error:
        raise BadFile(file, "", (error.strerror or "an unreadable file").lower(), "a file that can be read") from None
    if len(data) > max_bytes:
        raise BadFile(file, "", "a file that grows while it is read", limit)
    contents = Contents.of(file, data)
    _log.debug("read %s: %s, SHA-256 %s", file, size_text(len(data)), contents.source.sha256)
    return contents


def name_of(given: Given) -> str:
    """The path or name that goes with it."""
    return given.file if isinstance(given, Contents) else str(given)


def names_job(given: Given) -> bool:
    """Whether a file goes by a job file's ending."""
    return name_of(given).lower().endswith(JOB_ENDING)


def size_text(size: int) -> str:
    """A file's size as a reader takes it in: `700 bytes`, `512 kB`, `64 MB`; never a 0 that is none."""
    for unit, name in ((2**20, "MB"), (2**10, "kB")):
        if size >= unit:
            whole = size / unit
            return f"{whole:.1f} {name}" if whole < 10.0 and size % unit else f"{whole:.0f} {name}"
    return f"{size} bytes"


def _open_regular(path: Path) -> io.FileIO:
    """Opened without waiting: some files that call themselves regular, as in /proc, only answer when they please."""
    _refuse_irregular(path, path.stat().st_mode)
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)
    stream = io.FileIO(os.open(path, flags), "rb")
    _refuse_irregular(path, os.fstat(stream.fileno()).st_mode)
    return stream


def _refuse_irregular(path: Path, mode: int) -> None:
    if stat.S_ISDIR(mode):
        raise BadFile(str(path), "", "a folder", "a file")
    if not stat.S_ISREG(mode):
        raise BadFile(str(path), "", "a device or pipe", "a regular file")


def _read_at_most(stream: io.FileIO, most: int) -> bytes:
    parts: list[bytes] = []
    while most > 0:
        part = stream.read(min(most, 2**24))
        if part is None:
            raise BlockingIOError
        if not part:
            break
        parts.append(part)
        most -= len(part)
    return b"".join(parts)


def is_zip(data: bytes) -> bool:
    """Whether the bytes start as a zip container does."""
    return data.startswith(b"PK\x03\x04")


def decode(file: str, data: bytes) -> tuple[str, str]:
    """Text of `data` and the encoding found: UTF-8, UTF-16 or UTF-32 with or without a mark, else Latin-1."""
    encoding = _marked_encoding(data)
    if encoding is not None:
        try:
            return data.decode(encoding), encoding
        except UnicodeDecodeError as error:
            raise BadFile(file, f"byte {error.start}", f"bytes that are not {encoding}", f"{encoding} text") from None
    head = data[:4096]
    if head.translate(None, _CONTROL) != head or b"\0" in data:
        raise BadFile(file, "", "binary data", "a text table or an XLSX workbook")
    try:
        return data.decode("utf-8"), "utf-8"
    except UnicodeDecodeError:
        return data.decode("latin-1"), "latin-1"


def _marked_encoding(data: bytes) -> str | None:
    if data.startswith(b"\xef\xbb\xbf"):
        return "utf-8-sig"
    if data.startswith((b"\xff\xfe\0\0", b"\0\0\xfe\xff")):
        return "utf-32"
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    head = data[:1024]
    even, odd = head[0::2], head[1::2]
    if len(odd) > 2 and odd.count(0) > 0.7 * len(odd) and not even.count(0):
        return "utf-16-le"
    if len(even) > 2 and even.count(0) > 0.7 * len(even) and not odd.count(0):
        return "utf-16-be"
    return None
