"""Surface profiles in the SMD text form of ISO 5436-2.

Three records, each ended by ETX (0x03), then a checksum: the sum of all bytes up to the end of the line of the third
ETX, modulo 65535. The first record names the form, the feature and the axes; the second is remarks; the third, heights.
"""

from __future__ import annotations

import re

import numpy as np

from valvelab.errors import BadFile, BadQuantity
from valvelab.files.contents import MAX_ROWS, Contents
from valvelab.files.even_trace import even_trace
from valvelab.files.plausible import LARGEST_PLACE_MM
from valvelab.frozen import frozen
from valvelab.records.form_measurement import SurfaceTrace
from valvelab.units import factor

ETX = b"\x03"
MODULUS = 65535

_FIELDS = re.compile(r"[\s\x00]+")


@frozen
class _Axis:
    """One axis line: kind (A absolute, I incremental), points, mm per unit × scale, and the increment (mm)."""

    kind: str
    points: int
    scale_mm: float
    increment_mm: float | None
    place: str


def is_smd(data: bytes) -> bool:
    """Whether the bytes start as this form does."""
    return data.lstrip(b"\xef\xbb\xbf \t\r\n").upper().startswith((b"ISO 5436", b"ISO5436"))


def checksum(data: bytes) -> int:
    """Sum of the bytes modulo 65535."""
    return int(np.frombuffer(data, dtype=np.uint8).sum(dtype=np.int64)) % MODULUS


def read_smd(contents: Contents) -> SurfaceTrace:
    """The profile in an SMD file; refuses a wrong checksum, a wrong count and readings that are missing."""
    file, data = contents.file, contents.data
    ends = [match.start() for match in re.finditer(re.escape(ETX), data)]
    if len(ends) < 3:
        raise BadFile(file, "", f"{len(ends)} of the three records", "three records ended by ETX, then a checksum")
    _check_sum(file, data, ends[2])
    header = data[: ends[0]].decode("latin-1").splitlines()
    axes = _axes(file, header)
    along, height = axes.get("CX"), axes.get("CZ")
    if along is None or height is None:
        raise BadFile(file, "", f"axes {', '.join(axes) or 'none'}", "an axis CX and an axis CZ")
    if along.kind != "I" or along.increment_mm is None:
        raise BadFile(file, along.place, "a CX axis without an increment", "an incremental CX axis")
    heights = _heights(file, data[_line_end(data, ends[1]) : ends[2]])
    count = heights.size
    with np.errstate(over="ignore"):
        heights_um = heights * (height.scale_mm * 1000.0)
    if {along.points, height.points} != {count}:
        raise BadFile(file, along.place, f"{along.points} and {height.points} points, {count} heights", "equal counts")
    return even_trace(contents, "SMD", along.increment_mm, heights_um)


def _line_end(data: bytes, position: int) -> int:
    """One past the end of the line at a position."""
    end = data.find(b"\n", position)
    return len(data) if end < 0 else end + 1


def _check_sum(file: str, data: bytes, third: int) -> None:
    end = _line_end(data, third)
    words = data[end:].replace(b"\x1a", b" ").replace(ETX, b" ").split()
    stated = words[0].decode("latin-1") if words else ""
    if not re.fullmatch(r"\d{1,10}", stated):
        raise BadFile(file, "after the third record", f"{stated[:20]!r}" if stated else "no checksum", "a checksum")
    # Files written on one system and kept on another: the sum counts every line ending as it stands.
    found = checksum(data[:end])
    if int(stated) != found:
        raise BadFile(file, "", f"checksum {int(stated)}", f"{found}, the sum of the bytes; the file was changed")


def _axes(file: str, header: list[str]) -> dict[str, _Axis]:
    axes: dict[str, _Axis] = {}
    feature = ""
    for number, line in enumerate(header, start=1):
        words = [word for word in _FIELDS.split(line) if word]
        if words and words[0] in {"PRF", "SUR"}:
            feature = words[0]
        elif words and words[0] in {"CX", "CY", "CZ"}:
            axes[words[0]] = _axis(file, f"line {number}", words)
    if feature == "SUR":
        raise BadFile(file, "", "a surface (SUR)", "a profile (PRF)")
    return axes


def _axis(file: str, place: str, words: list[str]) -> _Axis:
    """`CX I 8001 mm 1.0E+000 D 5.0E-004`: name, kind, points, unit, scale, data type, increment."""
    try:
        kind, points, unit, scale = words[1], int(words[2]), words[3], float(words[4])
        increment = float(words[6]) if kind == "I" else None
        to_mm = factor(unit, "length", words[0])
    except BadQuantity as error:
        raise BadFile(file, place, error.found, error.expected) from None
    except (IndexError, ValueError):
        raise BadFile(
            file, place, f"{' '.join(words)[:60]!r}", "axis, kind, points, unit, scale, type, increment"
        ) from None
    if not 2 <= points <= MAX_ROWS:
        raise BadFile(file, place, f"{points} points", f"2 to {MAX_ROWS}")
    finite = np.isfinite([scale, increment or 0.0]).all()
    if not finite or scale == 0.0 or (increment is not None and increment * scale <= 0.0):
        raise BadFile(file, place, f"scale {scale:g}, increment {increment}", "numbers above 0")
    step = None if increment is None else increment * scale * to_mm
    if step is not None and step > LARGEST_PLACE_MM:
        raise BadFile(file, place, f"an increment of {step:g} mm", f"at most {LARGEST_PLACE_MM:g} mm")
    return _Axis(kind, points, scale * to_mm, step, place)


def _heights(file: str, record: bytes) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    words = record.decode("latin-1").replace("\x00", " ").split()
    try:
        heights = np.asarray(words, dtype=np.float64)
    except ValueError:
        heights = np.asarray([np.nan])
    if heights.size == 0 or not np.isfinite(heights).all():
        number, word = next(((k, w) for k, w in enumerate(words, start=1) if not _is_height(w)), (0, "no heights"))
        raise BadFile(file, f"height {number}", f"{word[:20]!r}", "a number for every point; a gap is not bridged")
    return heights


def _is_height(word: str) -> bool:
    try:
        return bool(np.isfinite(float(word)))
    except ValueError:
        return False
