"""XLSX workbooks: the first sheet with data, after a look at what unpacking it would cost."""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any

import numpy as np
from numpy.typing import NDArray

from valvelab.arrays import FloatArray, read_only
from valvelab.errors import BadFile
from valvelab.files.body import PreambleEntry, Sheet
from valvelab.files.cells import first_bad, is_number, to_number
from valvelab.files.contents import MAX_ROWS, MAX_UNPACKED_BYTES, Contents
from valvelab.files.text_opening import MAX_COLUMNS, add_preamble
from valvelab.files.zip_parts import refusing_faults

MAX_SHEET_CELLS = 20_000_000
_MAX_REPEATED_TEXT = 500_000_000
_CELL_PLACE = re.compile(rb"""\br\s*=\s*["']([A-Za-z]*)(\d+)""")
_CELL = re.compile(rb"<(?:[^\s<>/:]+:)?c[\s/>]")
_ROW = re.compile(rb"<(?:[^\s<>/:]+:)?row\b")
_SMALLEST_CELL = len(b"<c/>")


def read_workbook(contents: Contents) -> Sheet:
    """Take the first sheet with data apart; refuses one that is broken, protected or larger than the limits."""
    file = contents.file
    _check_container(contents)
    name, rows = _first_sheet(file, contents.data)
    preamble: dict[str, PreambleEntry] = {}
    top = 0
    for number, row in enumerate(rows, start=1):
        words = [cell for cell in map(_text, row) if cell]
        if words and words[0].startswith("#"):
            joint = " " if words[0].endswith(":") or ":" not in words[0] else ", "
            add_preamble(preamble, file, words[0] + joint + ", ".join(words[1:]), f"A{number}")
        elif words:
            break
        top = number
    kept = [(number, row) for number, row in enumerate(rows[top:], start=top + 1) if _is_data(row)]
    if not kept:
        raise BadFile(file, f"sheet {name!r}", "no rows", "readings")
    header = _header([row for _, row in kept[:2]])
    header_place = f"row {kept[0][0]}"
    if header is not None:
        kept = kept[1:]
        if not kept:
            raise BadFile(file, header_place, "a header and no rows below it", "readings")
    if len(kept) > MAX_ROWS:
        raise BadFile(file, "", f"{len(kept)} rows", f"at most {MAX_ROWS}")
    width = _width(header, [row for _, row in kept])
    if width > MAX_COLUMNS:
        raise BadFile(file, header_place, f"{width} columns", f"at most {MAX_COLUMNS}")
    body = SheetBody(file, tuple(row for _, row in kept), tuple(number for number, _ in kept), width)
    remarks = (f"Read from the sheet {name!r}.",)
    return Sheet(preamble, None if header is None else header[:width], header_place, body, "xlsx", remarks)


def _check_container(contents: Contents) -> None:
    """Sizes from the directory, then from unpacking piece by piece; a directory can lie."""
    file = contents.file
    wanted = f"at most {MAX_UNPACKED_BYTES // 2**20} MB once unpacked"
    texts, longest, shared = 0, 0, 0
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
            data = _unpack(file, contents.data, part)
            if "/worksheets/" in part.filename.lower():
                _check_extent(file, data)
                shared += data.count(b'"s"') + data.count(b"'s'")
            elif part.filename.lower().endswith("sharedstrings.xml"):
                longest = max(map(len, data.split(b"</si>")), default=0)
                texts += 1
    if texts and longest * shared > _MAX_REPEATED_TEXT:
        raise BadFile(file, "", "long texts repeated in very many cells", wanted)


def _unpack(file: str, data: bytes, part: zipfile.ZipInfo) -> bytes:
    """One part, never past the size that the directory states for it."""
    if part.flag_bits & 1:
        raise BadFile(file, "", "an encrypted workbook", "one without a password")
    start = part.header_offset
    if data[start : start + 4] != b"PK\x03\x04":
        raise BadFile(file, "", "a broken zip container", "an XLSX workbook")
    name_length = int.from_bytes(data[start + 26 : start + 28], "little")
    extra_length = int.from_bytes(data[start + 28 : start + 30], "little")
    packed = data[start + 30 + name_length + extra_length :][: part.compress_size]
    if part.compress_type == zipfile.ZIP_STORED:
        return packed
    if part.compress_type != zipfile.ZIP_DEFLATED:
        raise BadFile(file, "", "an unusual compression", "an XLSX workbook")
    plain = zlib.decompressobj(-15).decompress(packed, part.file_size + 1)
    if len(plain) != part.file_size:
        raise BadFile(file, "", "a zip container whose parts have other sizes than it states", "an XLSX workbook")
    return plain


def _check_extent(file: str, xml: bytes) -> None:
    """Two far corners alone would make a reader lay out every cell between them.

    A coarse bound from the lengths and from the absence of far places clears ordinary sheets at once; for the others
    every place is looked at.
    """
    if b"<!" in xml:
        raise BadFile(file, "", "comments inside a sheet's XML", "a workbook as spreadsheets write it")
    rows = _ROW.split(xml) if b":row" in xml else xml.split(b"<row")
    digits = len(str(len(rows)))
    columns = max(26, max(map(len, rows)) // _SMALLEST_CELL)
    far = rb"""\br\s*=\s*["'](?:[A-Za-z]{2}|[A-Za-z]?\d{%d})""" % (digits + 1)
    if columns * 10**digits <= MAX_SHEET_CELLS and re.search(far, xml) is None:
        return
    columns, last_row = 1, 1
    for row in rows:
        cells = len(_CELL.findall(row))
        for match in _CELL_PLACE.finditer(row):
            letters, number = match.groups()
            if len(letters) > 3 or len(number) > 7:
                raise BadFile(file, "", "a cell outside any sheet", "a table")
            cells -= bool(letters)
            columns = max(columns, _column_number(letters.decode("ascii").upper()))
            last_row = max(last_row, int(number))
        columns = max(columns, cells)
    last_row = max(last_row, len(rows) - 1)
    if columns > MAX_COLUMNS:
        raise BadFile(file, "", f"cells as far as column {columns}", f"at most {MAX_COLUMNS} columns")
    if columns * last_row > MAX_SHEET_CELLS:
        raise BadFile(file, "", f"cells spread over {last_row} rows and {columns} columns", "a table")


def _first_sheet(file: str, data: bytes) -> tuple[str, list[list[Any]]]:
    from python_calamine import CalamineWorkbook

    try:
        workbook = CalamineWorkbook.from_filelike(io.BytesIO(data))
        for name in workbook.sheet_names:
            rows = workbook.get_sheet_by_name(name).to_python(skip_empty_area=False)
            if any(_is_data(row) for row in rows):
                return str(name), rows
    except (KeyboardInterrupt, SystemExit, MemoryError):
        raise
    except BaseException as error:  # noqa: BLE001 - a panic of the compiled reader is no Exception
        raise BadFile(file, "", f"a workbook that can't be read ({_one_line(error)})", "an XLSX workbook") from None
    raise BadFile(file, "", "a workbook without data", "a sheet with a table")


def _one_line(error: BaseException) -> str:
    return " ".join(str(error).split())[:120] or type(error).__name__


def _is_data(row: list[Any]) -> bool:
    """Whether a row holds anything but blanks."""
    return row.count("") < len(row) and any(not isinstance(cell, str) or cell.strip() for cell in row)


def _header(rows: list[list[Any]]) -> tuple[str, ...] | None:
    first = [_is_numeric(cell) for cell in rows[0]]
    texts = tuple(map(_text, rows[0]))
    if not any(first):
        return texts
    if len(rows) == 1:
        return texts if any("[" in text for text in texts) else None
    second = [_is_numeric(cell) for cell in rows[1]]
    words = any(not one and two and text for one, two, text in zip(first, second, texts, strict=False))
    return texts if words else None


def _width(header: tuple[str, ...] | None, rows: list[list[Any]]) -> int:
    used = max((index + 1 for row in rows[:50] for index, cell in enumerate(row) if _text(cell)), default=1)
    named = 0 if header is None else max((index + 1 for index, cell in enumerate(header) if cell), default=0)
    return max(used, named)


def _is_numeric(cell: Any) -> bool:
    return (isinstance(cell, int | float) and not isinstance(cell, bool)) or (
        isinstance(cell, str) and (is_number(cell.strip()) or is_number(cell.strip(), ","))
    )


def _text(cell: Any) -> str:
    if cell is None:
        return ""
    if isinstance(cell, str):
        return cell.strip()
    if isinstance(cell, float) and cell.is_integer() and abs(cell) < 1e15:
        return str(int(cell))
    if isinstance(cell, date | datetime | time):
        return cell.isoformat()
    return str(cell)


def _column_number(letters: str) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - ord("A") + 1
    return number


def column_letters(index: int) -> str:
    """Letters of a column counted from 0: A, B, … Z, AA."""
    letters = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


@dataclass(frozen=True, eq=False)
class SheetBody:
    """Data rows of a sheet, with their row numbers there."""

    file: str
    rows: tuple[list[Any], ...]
    row_numbers: tuple[int, ...]
    width: int

    @property
    def row_count(self) -> int:
        """How many data rows there are."""
        return len(self.rows)

    def _cells(self, index: int) -> list[Any]:
        return [row[index] if index < len(row) else "" for row in self.rows]

    def numbers(self, index: int) -> FloatArray | None:
        """A column as written, NaN where empty; None when a cell is not a number."""
        values = []
        for cell in self._cells(index):
            value = _number(cell)
            if value is None:
                return None
            values.append(value)
        return read_only(np.array(values, dtype=np.float64))

    def texts(self, index: int) -> tuple[str, ...]:
        """A column's cells as text."""
        return tuple(map(_text, self._cells(index)))

    def labels(self, index: int) -> NDArray[Any]:
        """A column's cells as an array of text."""
        return np.array(self.texts(index), dtype=object)

    def first_bad(self, index: int) -> int:
        """Row of the first cell that is not a number."""
        return first_bad(self.texts(index))

    def number_wanted(self, cell: str) -> str:
        """What a cell that is not a number should have been."""
        return f"a number in place of a text (is {cell!r} one with a comma?)" if is_number(cell, ",") else "a number"

    def place(self, row: int, index: int | None = None) -> str:
        """The cell (`B7`), or the row."""
        number = self.row_numbers[row]
        return f"row {number}" if index is None else f"{column_letters(index)}{number}"


def _number(cell: Any) -> float | None:
    if isinstance(cell, float | int) and not isinstance(cell, bool):
        return float(cell) if abs(cell) < float("inf") else None
    if cell is None:
        return float("nan")
    if isinstance(cell, str):
        stripped = cell.strip()
        return to_number(stripped) if stripped else float("nan")
    return None
