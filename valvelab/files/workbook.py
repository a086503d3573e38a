"""XLSX workbooks: the first sheet with data, after a look at what unpacking it would cost."""

from __future__ import annotations

import io
from collections.abc import Mapping
from dataclasses import field
from datetime import date, datetime, time
from typing import Any

import numpy as np
from numpy.typing import NDArray

from valvelab.arrays import FloatArray, read_only
from valvelab.errors import BadFile
from valvelab.files.body import ANYWHERE, PreambleEntry, RawTable, Skipped, Where
from valvelab.files.cells import Readings, is_number, to_number, to_readings
from valvelab.files.contents import MAX_ROWS, Contents
from valvelab.files.heading import SAMPLED_ROWS, told_or_found, with_units
from valvelab.files.text_opening import MAX_COLUMNS, add_preamble, is_comment
from valvelab.files.workbook_limits import checked_workbook
from valvelab.files.zip_parts import said
from valvelab.frozen import frozen
from valvelab.phrase import Phrase


def read_workbook(contents: Contents, where: Where = ANYWHERE) -> RawTable:
    """Take a sheet apart: the one named, else the first with readings.

    Refuses a workbook that is broken, protected or larger than the limits.
    """
    file = contents.file
    data = checked_workbook(contents)
    names, name, rows, remark = _sheet(file, data, where)
    preamble: dict[str, PreambleEntry] = {}
    kept = [(number, row) for number, row in enumerate(rows, start=1) if _is_data(row)]
    kept = [(number, row) for number, row in kept if not _comment(file, number, row, preamble)]
    start = where.header or where.first_row or 1
    held = [(number, row) for number, row in kept if number >= start]
    if not held:
        raise BadFile(
            file,
            f"sheet {name!r}",
            (Phrase("no rows") if not kept else Phrase("no rows from row {start}", start=start)),
            "readings",
        )
    texts = [(number, list(map(_text, row)) if at < SAMPLED_ROWS else []) for at, (number, row) in enumerate(held)]
    heading = told_or_found(file, "row", texts, where, lambda cell: is_number(cell) or is_number(cell, ","))
    first = held[heading.first][0] if heading.first < len(held) else held[-1][0] + 1
    first = max(first, where.first_row or 1)
    above = first if heading.header is None else held[heading.header][0]
    header = None if heading.header is None else tuple(with_units(texts[heading.header][1], heading.units))
    place = Phrase("row {number}", number=above)
    skipped = tuple(Skipped(number, _row_text(row)) for number, row in kept if number < above)
    kept = [(number, row) for number, row in held if number >= first]
    if not kept:
        raise BadFile(file, place, "a header and no rows below it", "readings")
    if len(kept) > MAX_ROWS:
        raise BadFile(file, "", Phrase("{count} rows", count=len(kept)), Phrase("at most {most}", most=MAX_ROWS))
    width = _width(header, [row for _, row in kept])
    if width > MAX_COLUMNS:
        raise BadFile(
            file,
            place,
            Phrase("{count} columns", count=width),
            Phrase("at most {most}", most=MAX_COLUMNS),
        )
    body = SheetBody(file, tuple(row for _, row in kept), tuple(number for number, _ in kept), width)
    return RawTable(
        preamble,
        None if header is None else header[:width],
        place,
        body,
        "xlsx",
        (remark,),
        skipped,
        header_row=None if header is None else above,
        sheets=tuple(names),
        sheet=name,
    )


def _comment(file: str, number: int, row: list[Any], preamble: dict[str, PreambleEntry]) -> bool:
    """Take a row whose first cell starts with `#` into the preamble; False for any other row."""
    words = [cell for cell in map(_text, row[:20]) if cell]
    if not words or not is_comment(words[0]):
        return False
    joint = " " if words[0].endswith(":") or ":" not in words[0] else ", "
    add_preamble(preamble, file, words[0] + joint + ", ".join(words[1:]), f"A{number}")
    return True


def _sheet(file: str, data: bytes, where: Where) -> tuple[list[str], str, list[list[Any]], str]:
    """Names of all sheets; name and rows of the one named, else of the first with numbers or at least data; a remark.

    The remark says which it was.
    """
    from python_calamine import CalamineWorkbook

    try:
        workbook = CalamineWorkbook.from_filelike(io.BytesIO(data))
        names = list(map(str, workbook.sheet_names))
        found = None
        for number, name in enumerate(names, start=1):
            if where.sheet is not None and where.sheet != number and _plain(where.sheet) != _plain(name):
                continue
            rows = workbook.get_sheet_by_name(name).to_python(skip_empty_area=False)
            if any(_is_data(row) for row in rows):
                of_all = f", {number} of {len(names)}" if len(names) > 1 else ""
                answer = names, name, rows, f"Read from the sheet {name!r}{of_all}."
                if where.sheet is not None or any(_is_numeric(cell) for row in rows for cell in row):
                    return answer
                found = found or answer
    except (KeyboardInterrupt, SystemExit, MemoryError):
        raise
    except BaseException as error:  # noqa: BLE001 - a panic of the compiled reader is no Exception
        raise BadFile(
            file, "", Phrase("a workbook that can't be read ({said})", said=said(error)), "an XLSX workbook"
        ) from None
    if found is not None:
        return found
    if where.sheet is not None and where.sheet not in {*names, *range(1, len(names) + 1)}:
        listed = ", ".join(map(repr, names[:8]))
        raise BadFile(
            file,
            "",
            Phrase("no sheet {sheet} among {listed}", sheet=f"{where.sheet!r}", listed=listed),
            Phrase("one of 1 to {count}, or its name", count=len(names)),
        )
    raise BadFile(file, "", "a workbook without data", "a sheet with a table")


def _plain(name: object) -> str:
    return str(name).strip().casefold() if isinstance(name, str) else ""


def _is_data(row: list[Any]) -> bool:
    """Whether a row holds anything but blanks."""
    return row.count("") < len(row) and any(not isinstance(cell, str) or cell.strip() for cell in row)


def _width(header: tuple[str, ...] | None, rows: list[list[Any]]) -> int:
    used = max((index + 1 for row in rows[:50] for index, cell in enumerate(row) if _text(cell)), default=1)
    named = 0 if header is None else max((index + 1 for index, cell in enumerate(header) if cell), default=0)
    return max(used, named)


def _row_text(row: list[Any]) -> str:
    return " ".join(filter(None, map(_text, row)))


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


def column_letters(index: int) -> str:
    """Letters of a column counted from 0: A, B, … Z, AA."""
    letters = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


@frozen(slots=False, eq=False)
class SheetBody:
    """Data rows of a sheet, with their row numbers there."""

    file: str
    rows: tuple[list[Any], ...]
    row_numbers: tuple[int, ...]
    width: int
    _readings: dict[int, Readings] = field(default_factory=dict)

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

    def readings(self, index: int) -> Readings:
        """A column as far as its cells are numbers."""
        if index not in self._readings:
            values = self.numbers(index)
            self._readings[index] = to_readings(self._plain_texts(index)) if values is None else Readings(values)
        return self._readings[index]

    def _plain_texts(self, index: int) -> list[str]:
        """Cells as text, numbers written out in full."""
        cells = self._cells(index)
        return [repr(float(cell)) if _is_numeric(cell) and not isinstance(cell, str) else _text(cell) for cell in cells]

    @property
    def overlong(self) -> Mapping[int, int]:
        """None: a sheet has no row that is longer than the others."""
        return {}

    def texts(self, index: int) -> tuple[str, ...]:
        """A column's cells as text."""
        return tuple(map(_text, self._cells(index)))

    def labels(self, index: int) -> NDArray[Any]:
        """A column's cells as an array of text."""
        return np.array(self.texts(index), dtype=object)

    def number_wanted(self, cell: str) -> str:
        """What a cell that is not a number should have been."""
        return f"a number in place of a text (is {cell!r} one with a comma?)" if is_number(cell, ",") else "a number"

    def place(self, row: int, index: int | None = None) -> str:
        """The cell (`B7`), or the row."""
        number = self.row_numbers[row]
        return Phrase("row {number}", number=number) if index is None else f"{column_letters(index)}{number}"

    def head(self, most: int) -> list[tuple[int, list[str]]]:
        """The first rows as text, each with its number in the sheet."""
        return [
            (number, list(map(_text, row))) for number, row in zip(self.row_numbers[:most], self.rows, strict=False)
        ]

    def row_text(self, row: int) -> str:
        """The cells of a data row beside one another."""
        return _row_text(self.rows[row])


def _number(cell: Any) -> float | None:
    if isinstance(cell, float | int) and not isinstance(cell, bool):
        return float(cell) if abs(cell) < float("inf") else None
    if cell is None:
        return float("nan")
    if isinstance(cell, str):
        stripped = cell.strip()
        return to_number(stripped) if stripped else float("nan")
    return None
