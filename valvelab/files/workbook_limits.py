"""What unpacking a workbook would cost, told without holding it: parts are looked at a piece at a time.

Sizes in a container's directory can lie, a few kilobytes can unpack to gigabytes, and two far corners alone make a
reader lay out every cell between them.
"""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from collections.abc import Iterator

from valvelab.errors import BadFile
from valvelab.files.contents import MAX_ROWS, MAX_UNPACKED_BYTES, Contents
from valvelab.files.text_opening import MAX_COLUMNS
from valvelab.files.zip_parts import refusing_faults

MAX_SHEET_CELLS = 20_000_000
MAX_BLANK = 1_000_000
_MAX_REPEATED_TEXT = 500_000_000
_PIECE = 1 << 20
_CELL_PLACE = re.compile(rb"""\br\s*=\s*["']([A-Za-z]*)(\d+)""")
_CELL = re.compile(rb"<(?:[^\s<>/:]+:)?c[\s/>]")
_ROW = re.compile(rb"<(?:[^\s<>/:]+:)?row\b")
_SMALLEST_CELL = len(b"<c/>")


def check_container(contents: Contents) -> None:
    """Refuse a workbook that is broken, protected, or larger than the limits once unpacked."""
    file = contents.file
    wanted = f"at most {MAX_UNPACKED_BYTES // 2**20} MB once unpacked"
    longest, shared = 0, 0
    with (
        refusing_faults(file, "", "a broken zip container", "an XLSX workbook"),
        zipfile.ZipFile(io.BytesIO(contents.data)) as container,
    ):
        parts = container.infolist()
        total = sum(part.file_size for part in parts)
        if total > MAX_UNPACKED_BYTES:
            raise BadFile(file, "", f"{total / 2**20:.0f} MB once unpacked", wanted)
        if not any(part.filename.lower().endswith("workbook.xml") for part in parts):
            raise BadFile(file, "", "a zip container without a workbook", "an XLSX workbook")
        for part in parts:
            packed = _packed(file, contents.data, part)
            if "/worksheets/" in part.filename.lower():
                shared += _Sheet(file, packed, part).check()
            elif part.filename.lower().endswith("sharedstrings.xml"):
                longest = max(longest, *_lengths(_pieces(file, packed, part), re.compile(rb"</si>")))
            else:
                for _ in _unpacked(file, packed, part):
                    pass
    if longest * shared > _MAX_REPEATED_TEXT:
        raise BadFile(file, "", "long texts repeated in very many cells", wanted)


def _packed(file: str, data: bytes, part: zipfile.ZipInfo) -> memoryview:
    if part.flag_bits & 1:
        raise BadFile(file, "", "an encrypted workbook", "one without a password")
    start = part.header_offset
    if data[start : start + 4] != b"PK\x03\x04":
        raise BadFile(file, "", "a broken zip container", "an XLSX workbook")
    if part.compress_type not in {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}:
        raise BadFile(file, "", "an unusual compression", "an XLSX workbook")
    name_length = int.from_bytes(data[start + 26 : start + 28], "little")
    extra_length = int.from_bytes(data[start + 28 : start + 30], "little")
    return memoryview(data)[start + 30 + name_length + extra_length :][: part.compress_size]


def _unpacked(file: str, packed: memoryview, part: zipfile.ZipInfo) -> Iterator[bytes]:
    """A part's bytes, a piece at a time, never past the size that the directory states for it."""
    if part.compress_type == zipfile.ZIP_STORED:
        yield from (bytes(packed[at : at + _PIECE]) for at in range(0, len(packed), _PIECE))
        return
    unpacker = zlib.decompressobj(-15)
    size, at, left = 0, 0, b""
    while size <= part.file_size:
        fresh = bytes(packed[at : at + _PIECE]) if not left else b""
        at += len(fresh)
        plain = unpacker.decompress(left + fresh, _PIECE)
        left = unpacker.unconsumed_tail
        size += len(plain)
        if plain:
            yield plain
        elif not left and at >= len(packed):
            break
    if size != part.file_size:
        raise BadFile(file, "", "a zip container whose parts have other sizes than it states", "an XLSX workbook")


def _pieces(file: str, packed: memoryview, part: zipfile.ZipInfo) -> Iterator[bytes]:
    """The same cut before a tag, so that none is split; refuses a long stretch without any, such as a sea of blanks."""
    held = b""
    for plain in _unpacked(file, packed, part):
        held += plain
        cut = held.rfind(b"<")
        if cut > 0:
            yield held[:cut]
            held = held[cut:]
        if len(held) > MAX_BLANK + _PIECE:
            raise BadFile(file, "", f"more than {MAX_BLANK // 1_000_000} MB without a cell", "a workbook of readings")
    yield held


def _lengths(pieces: Iterator[bytes], mark: re.Pattern[bytes]) -> Iterator[int]:
    """Lengths of the stretches between marks."""
    length = 0
    for piece in pieces:
        first, *others = mark.split(piece)
        length += len(first)
        for other in others:
            yield length
            length = len(other)
    yield length


class _Sheet:
    """One sheet's XML, looked through as often as needed."""

    def __init__(self, file: str, packed: memoryview, part: zipfile.ZipInfo) -> None:
        self.file, self.packed, self.part = file, packed, part

    def _look(self) -> Iterator[bytes]:
        return _pieces(self.file, self.packed, self.part)

    def check(self) -> int:
        """Refuse cells spread over more than a table; returns how many cells hold a shared text.

        A coarse bound from the lengths and from the absence of far places clears ordinary sheets at once; for the
        others every place is looked at.
        """
        count, longest, length, shared = 0, 0, 0, 0
        for piece in self._look():
            if b"<!" in piece:
                raise BadFile(self.file, "", "comments inside a sheet's XML", "a workbook as spreadsheets write it")
            first, *rows = _ROW.split(piece) if b":row" in piece else piece.split(b"<row")
            length += len(first)
            for row in rows:
                longest = max(longest, length)
                length = len(row)
            count += len(rows)
            shared += piece.count(b'"s"') + piece.count(b"'s'")
            if count > MAX_ROWS + 10_000:
                raise BadFile(self.file, "", f"more than {MAX_ROWS} rows", f"at most {MAX_ROWS}")
        digits = len(str(count + 1))
        columns = max(26, max(longest, length) // _SMALLEST_CELL)
        far = re.compile(rb"""\br\s*=\s*["'](?:[A-Za-z]{2}|[A-Za-z]?\d{%d})""" % (digits + 1))
        if columns * 10**digits > MAX_SHEET_CELLS or any(far.search(piece) for piece in self._look()):
            self._check_every_place(count)
        return shared

    def _check_every_place(self, count: int) -> None:
        columns, last_row, cells = 1, max(1, count), 0
        for piece in self._look():
            places = _CELL_PLACE.findall(piece)
            letters, digits = {word for word, _ in places}, {number for _, number in places}
            if any(len(word) > 3 for word in letters) or any(len(number) > 7 for number in digits):
                raise BadFile(self.file, "", "a cell outside any sheet", "a table")
            columns = max(columns, *(_column_number(word.decode("ascii").upper()) for word in letters), 1)
            last_row = max(last_row, *map(int, digits), 1)
            # cells that don't say where they are count from the row's start
            if len(_CELL.findall(piece)) == sum(word != b"" for word, _ in places):
                columns, cells = max(columns, cells), 0
                continue
            for number, row in enumerate(_ROW.split(piece)):
                columns, cells = max(columns, cells), cells if not number else 0
                cells += len(_CELL.findall(row)) - sum(word != b"" for word, _ in _CELL_PLACE.findall(row))
        columns = max(columns, cells)
        if columns > MAX_COLUMNS:
            raise BadFile(self.file, "", f"cells as far as column {columns}", f"at most {MAX_COLUMNS} columns")
        if columns * last_row > MAX_SHEET_CELLS:
            raise BadFile(self.file, "", f"cells spread over {last_row} rows and {columns} columns", "a table")


def _column_number(letters: str) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - ord("A") + 1
    return number
