"""Bytes of an input file, within the limits, with their identity; and their text in whatever encoding it has."""

from __future__ import annotations

import io
import os
import stat
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from valvelab.errors import BadFile
from valvelab.records.result import Source

MAX_FILE_BYTES = 64 * 1024 * 1024
MAX_UNPACKED_BYTES = 200 * 1024 * 1024
MAX_ROWS = 5_000_000

_CONTROL = bytes(set(range(32)) - {9, 10, 11, 12, 13, 26})


@dataclass(frozen=True, slots=True)
class Contents:
    """What a file held when it was read: its path as the user gave it, its bytes and their SHA-256."""

    file: str
    data: bytes
    source: Source


def read_contents(path: str | Path, max_bytes: int = MAX_FILE_BYTES) -> Contents:
    """The bytes of a regular file; a larger one is refused before it is read."""
    file = str(path)
    try:
        with _open_regular(Path(path)) as stream:
            size = os.fstat(stream.fileno()).st_size
            if size > max_bytes:
                raise BadFile(file, "", f"{size / 2**20:.0f} MB", f"at most {max_bytes / 2**20:.0f} MB")
            data = stream.read(max_bytes + 1)
    except ValueError:
        raise BadFile(file, "", "a path with a zero byte in it", "a file") from None
    except OSError as error:
        raise BadFile(file, "", (error.strerror or "an unreadable file").lower(), "a file that can be read") from None
    if len(data) > max_bytes:
        raise BadFile(file, "", "a file that grows while it is read", f"at most {max_bytes / 2**20:.0f} MB")
    return Contents(file, data, Source(file=file, sha256=sha256(data).hexdigest()))


def _open_regular(path: Path) -> io.BufferedReader:
    mode = path.stat().st_mode
    if stat.S_ISDIR(mode):
        raise BadFile(str(path), "", "a folder", "a file")
    if not stat.S_ISREG(mode):
        raise BadFile(str(path), "", "a device or pipe", "a regular file")
    return path.open("rb")


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
