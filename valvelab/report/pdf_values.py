"""Values of a PDF file (ISO 32000-1, 7.3) as Python values: read strictly, within bounds, and written again.

null is None, a string is bytes, an array a list, a dictionary a dict with plain keys. Nothing here follows a reference.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

MOST_NESTED = 40
LONGEST_VALUE = 1_000_000

Value = Any


class Name(str):
    """A name such as /Page, without its slash."""

    __slots__ = ()


@dataclass(frozen=True, slots=True)
class Ref:
    """A reference to an indirect object."""

    number: int
    generation: int = 0


@dataclass(frozen=True, slots=True)
class Stream:
    """A stream: its dictionary, and its data as they stand in the file."""

    keys: dict[str, Value]
    data: bytes


class NotReadable(Exception):
    """Bytes that are no value, or one that is larger or deeper than any certificate has; says what stands there."""


_SPACE = re.compile(rb"(?:[\0\t\n\f\r ]++|%[^\r\n]*+)*+")
_REF = re.compile(rb"(\d{1,8})[\0\t\n\f\r ]+(\d{1,5})[\0\t\n\f\r ]+R(?![A-Za-z0-9])")
_NUMBER = re.compile(rb"[+-]?(?:\d+\.?\d*|\.\d+)")
_NAME = re.compile(rb"/([^\0\t\n\f\r ()<>\[\]{}/%]*)")
_HEX = re.compile(rb"<([0-9A-Fa-f\0\t\n\f\r ]*)>")
_WORD = re.compile(rb"[A-Za-z]+")
_TEXT = re.compile(rb"[()\\]|[^()\\]+")
_ESCAPE = re.compile(rb"\\([nrtbf()\\]|[0-7]{1,3}|\r\n|\r|\n|.)", re.DOTALL)
_ESCAPED = {b"n": b"\n", b"r": b"\r", b"t": b"\t", b"b": b"\b", b"f": b"\f", b"\r\n": b"", b"\r": b"", b"\n": b""}
_WORDS = {b"true": True, b"false": False, b"null": None}


def after_space(data: bytes, place: int) -> int:
    """Where the next token begins, past white space and comments."""
    found = _SPACE.match(data, place)
    return place if found is None else found.end()


def read_value(data: bytes, place: int, end: int | None = None, depth: int = 0) -> tuple[Value, int]:
    """The value at `place` and where it ends. Raises NotReadable."""
    end = min(len(data), place + LONGEST_VALUE) if end is None else end
    place = after_space(data, place)
    if place >= end:
        raise NotReadable("a value that does not end" if place < len(data) else "the end of the file")
    if depth > MOST_NESTED:
        raise NotReadable("values nested too deeply")
    head = data[place : place + 1]
    if data[place : place + 2] == b"<<":
        return _dictionary(data, place + 2, end, depth)
    if head == b"[":
        return _array(data, place + 1, end, depth)
    if head == b"(":
        return _literal(data, place, end)
    return _simple(data, place)


def _simple(data: bytes, place: int) -> tuple[Value, int]:
    if found := _REF.match(data, place):
        return Ref(int(found[1]), int(found[2])), found.end()
    if found := _NUMBER.match(data, place):
        return (float(found[0]) if b"." in found[0] else int(found[0])), found.end()
    if found := _NAME.match(data, place):
        return Name(_unescaped_name(found[1])), found.end()
    if found := _HEX.match(data, place):
        return bytes.fromhex(_even(b"".join(found[1].split()).decode("ascii"))), found.end()
    if (found := _WORD.match(data, place)) and found[0] in _WORDS:
        return _WORDS[found[0]], found.end()
    raise NotReadable(f"{data[place : place + 12]!r}".removeprefix("b"))


def _even(digits: str) -> str:
    return digits.replace("\0", "") + "0" * (len(digits.replace("\0", "")) % 2)


def _unescaped_name(text: bytes) -> str:
    return re.sub(rb"#([0-9A-Fa-f]{2})", lambda match: bytes([int(match[1], 16)]), text).decode("latin-1")


def _dictionary(data: bytes, place: int, end: int, depth: int) -> tuple[dict[str, Value], int]:
    found: dict[str, Value] = {}
    while True:
        place = after_space(data, place)
        if data[place : place + 2] == b">>":
            return found, place + 2
        key, place = read_value(data, place, end, depth + 1)
        if not isinstance(key, Name):
            raise NotReadable("a dictionary with a key that is no name")
        if str(key) in found:
            raise NotReadable(f"/{key} twice in one dictionary")
        found[str(key)], place = read_value(data, place, end, depth + 1)


def _array(data: bytes, place: int, end: int, depth: int) -> tuple[list[Value], int]:
    found: list[Value] = []
    while True:
        place = after_space(data, place)
        if data[place : place + 1] == b"]":
            return found, place + 1
        value, place = read_value(data, place, end, depth + 1)
        found.append(value)


def _literal(data: bytes, start: int, end: int) -> tuple[bytes, int]:
    """A string in brackets; balanced brackets inside belong to it."""
    depth, place = 0, start
    while place < end:
        found = _TEXT.match(data, place)
        if found is None:
            break
        piece, place = found[0], found.end()
        if piece == b"\\":
            place += 1
        elif piece == b"(":
            depth += 1
        elif piece == b")":
            depth -= 1
            if depth == 0:
                return _ESCAPE.sub(_unescaped, data[start + 1 : place - 1]), place
    raise NotReadable("a string that does not end")


def _unescaped(match: re.Match[bytes]) -> bytes:
    text = match[1]
    if text[:1].isdigit() and text[:1] < b"8":
        return bytes([int(text, 8) & 255])
    return _ESCAPED.get(text, text)


def written(value: Value) -> bytes:
    """The value as it stands in a file; a stream is not one."""
    if isinstance(value, list):
        return b"[" + b" ".join(map(written, value)) + b"]"
    if isinstance(value, dict):
        return b"<<" + b" ".join(written(Name(key)) + b" " + written(one) for key, one in value.items()) + b">>"
    if isinstance(value, Ref):
        return b"%d %d R" % (value.number, value.generation)
    if isinstance(value, Name):
        return b"/" + re.sub(rb"[^!-~]|[#()<>\[\]{}/%]", lambda found: b"#%02X" % found[0][0], _latin(value))
    if isinstance(value, bytes):
        return b"(" + re.sub(rb"[()\\\r]", lambda found: b"\\%03o" % found[0][0], value) + b")"
    return _plain(value)


def _plain(value: float | None) -> bytes:
    """A number, a truth value or null."""
    if value is None or isinstance(value, bool):
        return b"null" if value is None else str(value).lower().encode()
    return b"%d" % value if isinstance(value, int) else f"{value:.6f}".rstrip("0").rstrip(".").encode()


def _latin(text: str) -> bytes:
    return text.encode("latin-1")


def text_string(text: str) -> bytes:
    """A text as a PDF string: Latin-1's common part as it is, anything else as UTF-16 with its mark."""
    return text.encode("ascii") if text.isascii() else b"\xfe\xff" + text.encode("utf-16-be")


def told(value: Value) -> str:
    """A value as one would write it, for a sentence."""
    if isinstance(value, bytes):
        if value.startswith(b"\xfe\xff"):
            return value[2:].decode("utf-16-be", "replace")
        return value.decode("latin-1")
    if isinstance(value, Stream):
        return f"a stream of {len(value.data)} bytes"
    return "nothing" if value is None else written(value).decode("latin-1")
