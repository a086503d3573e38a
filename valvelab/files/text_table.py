"""Delimited text, row by row.

Clean files go through numpy's own reader in one call; anything it refuses is read again cell by cell, which is
slower and knows the line of every cell.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import cached_property
from itertools import islice
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from valvelab.arrays import FloatArray, read_only
from valvelab.errors import BadFile
from valvelab.files.body import ANYWHERE, RawTable, Where
from valvelab.files.cells import Decimal, Readings, is_number, to_numbers, to_readings
from valvelab.files.contents import MAX_ROWS, Contents
from valvelab.files.text_opening import (
    MAX_COLUMNS,
    Layout,
    add_preamble,
    as_it_reads,
    caption,
    is_comment,
    open_text,
    table_width,
    text_columns,
)
from valvelab.phrase import Phrase
from valvelab.pieces import in_pieces

_CHUNK = 20_000
_FORMS: dict[str | None, Literal["tab", "semicolon", "comma", "bar", "space"]] = {
    "\t": "tab", ";": "semicolon", ",": "comma", "|": "bar", None: "space",
}  # fmt: skip


def read_text(contents: Contents, where: Where = ANYWHERE) -> RawTable:
    """Take a text table apart. Raises BadFile for binary data, an empty file, or too many rows."""
    file = contents.file
    if len(contents.data) > MAX_ROWS:
        line_count = max(contents.data.count(b"\n"), contents.data.count(b"\r"))
        if line_count > MAX_ROWS + 10_000:
            raise BadFile(
                file,
                "",
                Phrase("{count} lines", count=line_count),
                Phrase("at most {most} rows", most=MAX_ROWS),
            )
    opening = open_text(contents, where)
    place = Phrase("line {number}", number=opening.first)
    if not opening.rows:
        raise BadFile(file, place, "a header and no rows below it", "readings")
    width = table_width(opening.header, opening.rows)
    if width > MAX_COLUMNS:
        raise BadFile(
            file,
            place,
            Phrase("{count} columns", count=width),
            Phrase("at most {most}", most=MAX_COLUMNS),
        )
    layout = opening.layout
    body = TextBody(file, opening.lines, opening.top, layout, width, text_columns(opening.rows, width, layout))
    body.check()
    for number, comment in body.comments:
        add_preamble(opening.preamble, file, comment, Phrase("line {number}", number=number))
    remarks = ("The text is not UTF-8; read as Latin-1.",) if opening.encoding == "latin-1" else ()
    kept = None if opening.header is None else tuple(opening.header[:width])
    words = caption(opening) if kept is None else ()
    kept_caption = words if len(words) == width else ()
    return RawTable(
        opening.preamble,
        kept,
        place,
        body,
        _FORMS[layout.delimiter],
        remarks,
        opening.skipped,
        kept_caption,
        None if kept is None else opening.first,
    )


@dataclass(eq=False)
class TextBody:
    """Rows of a text table. `lines` is the whole file, `top` the index of the first line below the header."""

    file: str
    lines: list[str]
    top: int
    layout: Layout
    width: int
    words: dict[int, int]
    _columns: dict[int, FloatArray | NDArray[np.str_]] = field(default_factory=dict)
    _numbers_of_lines: NDArray[np.int64] | None = None
    row_count: int = 0
    comments: list[tuple[int, str]] = field(default_factory=list)
    overlong: dict[int, int] = field(default_factory=dict)
    _readings: dict[int, Readings] = field(default_factory=dict)

    def check(self) -> None:
        """Read the rows; refuses none at all, or too many."""
        if not self._fast():
            self._careful()
        if self.row_count == 0:
            raise BadFile(self.file, "", "no rows", "readings")
        if self.row_count > MAX_ROWS:
            raise BadFile(
                self.file,
                "",
                Phrase("{count} rows", count=self.row_count),
                Phrase("at most {most}", most=MAX_ROWS),
            )

    def numbers(self, index: int) -> FloatArray | None:
        """A column as written, NaN where empty; None when a cell is not a number."""
        column = self._columns.get(index)
        return column if column is not None and column.dtype.kind == "f" else None  # type: ignore[return-value]

    def readings(self, index: int) -> Readings:
        """A column as far as its cells are numbers."""
        if index not in self._readings:
            values = self.numbers(index)
            self._readings[index] = (
                to_readings(self.texts(index), self.layout.decimal) if values is None else Readings(values)
            )
        return self._readings[index]

    def texts(self, index: int) -> tuple[str, ...]:
        """A column's cells as text."""
        column = self._columns.get(index)
        if column is not None and column.dtype.kind != "f":
            return tuple(column.tolist())
        return tuple(cells[index] if index < len(cells) else "" for _, cells in self._rows())

    def labels(self, index: int) -> NDArray[Any]:
        """A column's cells as an array of text."""
        column = self._columns.get(index)
        if column is not None and column.dtype.kind != "f":
            return column
        return np.array(self.texts(index), dtype=object)

    def number_wanted(self, cell: str) -> str:
        """What a cell that is not a number should have been."""
        other: Decimal = "." if self.layout.decimal == "," else ","
        if not is_number(cell, other):
            return Phrase("a number")
        if self.layout.decimal == ",":
            return Phrase("a number with a decimal comma, as elsewhere")
        return Phrase("a number with a decimal point, as elsewhere")

    def place(self, row: int, index: int | None = None) -> str:  # noqa: ARG002 - a line has no letter
        """The line of a data row."""
        return Phrase("line {number}", number=self._line_numbers[row])

    def head(self, most: int) -> list[tuple[int, list[str]]]:
        """The first rows as text, each with the number of its line."""
        return list(islice(self._rows(), most))

    def row_text(self, row: int) -> str:
        """The cells of a data row beside one another."""
        return as_it_reads(self.lines[self._line_numbers[row] - 1])

    @cached_property
    def _line_numbers(self) -> NDArray[np.int64]:
        """Of each row; where they were read in one call, every line but a blank one is a row."""
        if self._numbers_of_lines is not None:
            return self._numbers_of_lines
        below = enumerate(islice(self.lines, self.top, None), start=self.top + 1)
        return np.array([number for number, line in below if line and not line.isspace()], dtype=np.int64)

    def _fast(self) -> bool:
        lines = self.lines[self.top :] if self.top else self.lines
        layout = self.layout
        if layout.decimal == ",":
            joined = "\n".join(lines)
            if "." in joined or layout.delimiter == ",":
                return False
            lines = joined.replace(",", ".").split("\n")
        if all(not line or line.isspace() for line in lines):
            return False
        try:
            return self._load(lines, self.words)
        except (ValueError, OverflowError):
            return False

    def _load(self, lines: list[str], words: dict[int, int]) -> bool:
        """One call of numpy's reader; False where its answer could hide something."""
        width = self.width
        if not words:
            values = np.loadtxt(lines, delimiter=self.layout.delimiter, comments=None, ndmin=2)
            if values.shape[1] != width or not np.isfinite(values).all():
                return False
            columns = np.ascontiguousarray(values.T)
            self._columns = {index: read_only(columns[index]) for index in range(width)}
            self.row_count = len(values)
            return True
        kinds = [(f"c{index}", f"U{words[index] + 2}" if index in words else "f8") for index in range(width)]
        table = np.loadtxt(lines, delimiter=self.layout.delimiter, comments=None, ndmin=1, dtype=kinds)
        for index in range(width):
            column = np.ascontiguousarray(table[f"c{index}"])
            if index not in words:
                if not np.isfinite(column).all():
                    return False
                self._columns[index] = read_only(column)
                continue
            letters = _letters(column)
            if letters[:, -1].any():
                return False  # perhaps cut short
            if self.layout.decimal == ",":
                letters[letters == ord(".")] = ord(",")  # words keep their commas; of points the file has none
            if (letters > 126).any() or ((letters > 0) & (letters <= 32)).any():
                column = np.char.strip(column)
                letters = _letters(column)
            if (letters == ord('"')).any() or (letters[:, 0] == ord("#")).any():
                return False
            self._columns[index] = column
        self.row_count = len(table)
        # the careful way drops rows of nothing but blanks
        return len(words) < width or not all((self._columns[index] == "").any() for index in words)

    def _rows(self) -> Iterator[tuple[int, list[str]]]:
        """Data rows with their line numbers; blank lines and comments left out."""
        delimiter = self.layout.delimiter
        for number, cells in self._raw_rows():
            if cells and is_comment(cells[0]):
                continue
            if delimiter is not None:
                cells = [cell.strip() for cell in cells]  # noqa: PLW2901
            if any(cells):
                yield number, cells

    def _raw_rows(self) -> Iterator[tuple[int, list[str]]]:
        delimiter = self.layout.delimiter
        below = islice(self.lines, self.top, None)
        if delimiter is None:
            yield from ((number, line.split()) for number, line in enumerate(below, start=self.top + 1))
            return
        if not any('"' in line for line in islice(self.lines, self.top, None)):
            yield from ((number, line.split(delimiter)) for number, line in enumerate(below, start=self.top + 1))
            return
        reader = csv.reader((line + "\n" for line in below), delimiter=delimiter)
        start = self.top + 1
        try:
            for cells in reader:
                yield start, cells
                start = self.top + 1 + reader.line_num
        except csv.Error as error:
            raise BadFile(
                self.file, Phrase("line {number}", number=start), str(error), "cells with closed quotes"
            ) from None

    def _careful(self) -> None:
        """Cell by cell: columns of numbers become arrays, the others stay text."""
        numbers: list[int] = []
        parts: dict[int, list[FloatArray]] = {index: [] for index in range(self.width)}
        for chunk in in_pieces(_chunks(self._checked_rows(numbers))):
            for index in list(parts):
                values = to_numbers([cells[index] for cells in chunk], self.layout.decimal)
                if values is None:
                    del parts[index]
                else:
                    parts[index].append(values)
        self._numbers_of_lines = np.array(numbers, dtype=np.int64)
        self.row_count = len(numbers)
        self._columns = {index: read_only(np.concatenate(some)) for index, some in parts.items() if some}
        words = [index for index in range(self.width) if index not in parts]
        if words:
            known: dict[str, str] = {}
            texts: list[list[str]] = [[] for _ in words]
            for _, cells in self._rows():
                for column, index in zip(texts, words, strict=True):
                    cell = cells[index] if index < len(cells) else ""
                    column.append(known.setdefault(cell, cell))
            self._columns |= {index: np.array(column, dtype=object) for index, column in zip(words, texts, strict=True)}

    def _checked_rows(self, numbers: list[int]) -> Iterator[list[str]]:
        below = enumerate(islice(self.lines, self.top, None), start=self.top + 1)
        self.comments = [(number, line.strip()) for number, line in below if is_comment(line)]
        for number, cells in self._rows():
            if len(cells) > self.width and any(cells[self.width :]):
                self.overlong[len(numbers)] = len(cells)
            elif len(cells) < self.width:
                cells += [""] * (self.width - len(cells))  # noqa: PLW2901
            numbers.append(number)
            yield cells


def _letters(column: NDArray[np.str_]) -> NDArray[np.uint32]:
    """Code points of a column of words, shape (rows, longest)."""
    return column.view(np.uint32).reshape(len(column), -1)


def _chunks(rows: Iterable[list[str]]) -> Iterator[list[list[str]]]:
    iterator = iter(rows)
    while chunk := list(islice(iterator, _CHUNK)):
        yield chunk
