"""Delimited text: finds delimiter, decimal sign, preamble and header from the first lines, then reads the rows.

Clean files go through numpy's own reader in one call; anything it refuses is read again cell by cell, which is
slower and knows the line of every cell.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import islice
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from valvelab.arrays import FloatArray, read_only
from valvelab.errors import BadFile
from valvelab.files.body import PreambleEntry, Sheet
from valvelab.files.cells import Decimal, first_bad, is_number, shown, to_numbers
from valvelab.files.contents import MAX_ROWS, Contents, decode

MAX_LINE = 1_000_000
MAX_COLUMNS = 10_000
_SAMPLE = 12
_CHUNK = 20_000
MAX_PREAMBLE = 1_000
_FORMS: dict[str | None, Literal["tab", "semicolon", "comma", "bar", "space"]] = {
    "\t": "tab", ";": "semicolon", ",": "comma", "|": "bar", None: "space",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Layout:
    """Delimiter (None for white space) and decimal sign."""

    delimiter: str | None
    decimal: Decimal


@dataclass(frozen=True, slots=True)
class _Opening:
    """What the first lines of a text table show. `top` is the index of the line below the header."""

    lines: list[str]
    preamble: dict[str, PreambleEntry]
    layout: Layout
    header: list[str] | None
    rows: list[list[str]]
    first: int
    top: int
    encoding: str


def read_text(contents: Contents) -> Sheet:
    """Take a text table apart. Raises BadFile for binary data, an empty file, ragged rows, or too many of them."""
    file = contents.file
    line_count = max(contents.data.count(b"\n"), contents.data.count(b"\r"))
    if line_count > MAX_ROWS + 10_000:
        raise BadFile(file, "", f"{line_count} lines", f"at most {MAX_ROWS} rows")
    opening = _opening(contents)
    place = f"line {opening.first}"
    if not opening.rows:
        raise BadFile(file, place, "a header and no rows below it", "readings")
    width = _width(opening.header, opening.rows)
    if width > MAX_COLUMNS:
        raise BadFile(file, place, f"{width} columns", f"at most {MAX_COLUMNS}")
    layout = opening.layout
    body = TextBody(file, opening.lines, opening.top, layout, width, _text_columns(opening.rows, width, layout))
    body.check()
    for number, comment in body.comments:
        add_preamble(opening.preamble, file, comment, f"line {number}")
    remarks = ("The text is not UTF-8; read as Latin-1.",) if opening.encoding == "latin-1" else ()
    kept = None if opening.header is None else tuple(opening.header[:width])
    caption = _caption(opening) if kept is None else ()
    kept_caption = caption if len(caption) == width else ()
    return Sheet(opening.preamble, kept, place, body, _FORMS[layout.delimiter], remarks, kept_caption)


def _caption(opening: _Opening) -> tuple[str, ...]:
    above = opening.lines[opening.first - 2].strip() if opening.first >= 2 else ""
    if not above.startswith("#"):
        return ()
    words = above.lstrip("#").strip()
    delimiter = opening.layout.delimiter
    if delimiter is not None and delimiter in words:
        return tuple(cell.strip() for cell in words.split(delimiter))
    return tuple(_header_words(words))


def read_header(contents: Contents) -> tuple[str, ...] | None:
    """The header cells of a text table, without a look at its rows; None without a header."""
    header = _opening(contents).header
    return None if header is None else tuple(header)


def _opening(contents: Contents) -> _Opening:
    file = contents.file
    if not contents.data.strip(b" \t\r\n\0\xff\xfe\xef\xbb\xbf"):
        raise BadFile(file, "", "an empty file", "a table")
    text, encoding = decode(file, contents.data)
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    lines = text.rstrip("\n\x1a ").split("\n")
    preamble, top, forced = _head(file, lines)
    sample = _sample(file, lines, top)
    if not sample:
        raise BadFile(file, "", "a preamble and nothing below it" if preamble else "no rows", "a table")
    layout = _layout(file, sample, forced, text)
    rows = [_split(file, line, layout, number) for number, line in sample]
    first, line = sample[0]
    if not _is_header(rows, layout):
        return _Opening(lines, preamble, layout, None, rows, first, top, encoding)
    header = [cell.strip() for cell in _header_cells(line, layout, rows[0])]
    return _Opening(lines, preamble, layout, header, rows[1:], first, first, encoding)


def preamble_entry(text: str) -> tuple[str, str] | None:
    """Key (lower case) and value of one `# key: value`; None for a comment without a colon."""
    key, colon, value = text.lstrip("#").partition(":")
    key = " ".join(key.split()).lower()
    if not colon or not key:
        return None
    return key, value.strip().rstrip(",;\t").strip()


def add_preamble(preamble: dict[str, PreambleEntry], file: str, text: str, place: str) -> None:
    """Take one comment into the preamble; a key given twice with different values is refused."""
    entry = preamble_entry(text)
    if entry is None:
        return
    key, value = entry
    if len(preamble) >= MAX_PREAMBLE:
        raise BadFile(file, place, f"more than {MAX_PREAMBLE} preamble keys", "a table")
    if key in preamble and preamble[key].value != value:
        raise BadFile(file, place, f"a second {shown(key)} ({shown(value)} after {shown(preamble[key].value)})", "one")
    preamble[key] = PreambleEntry(value, place)


def _head(file: str, lines: Sequence[str]) -> tuple[dict[str, PreambleEntry], int, str | None]:
    """Preamble, index of the first line below it, and the delimiter of a `sep=` line."""
    preamble: dict[str, PreambleEntry] = {}
    forced = None
    for index, line in enumerate(lines):
        bare = line.strip()
        if bare.startswith('"#'):
            bare = next(csv.reader([bare[: bare.rfind('"') + 1]]), [""])[0]
        if forced is None and re.fullmatch(r"sep=[,;\t|]", line[:6].rstrip(" ")):
            forced = line[4]
        elif bare.startswith("#"):
            add_preamble(preamble, file, bare, f"line {index + 1}")
        elif bare.strip(",;\t"):
            return preamble, index, forced
    return preamble, len(lines), forced


def _sample(file: str, lines: Sequence[str], top: int) -> list[tuple[int, str]]:
    """The first lines that are neither blank nor comments, with their numbers counted from 1."""
    found = (
        (number, line)
        for number, line in enumerate(islice(lines, top, None), start=top + 1)
        if line.strip(" ,;\t") and not line.lstrip().startswith("#")
    )
    sample = list(islice(found, _SAMPLE))
    for number, line in sample:
        if len(line) > MAX_LINE:
            raise BadFile(file, f"line {number}", f"a line of {len(line)} characters", "a table")
    return sample


def _layout(file: str, sample: list[tuple[int, str]], forced: str | None, text: str) -> Layout:
    lines = sample[1:] or sample
    present = [
        delimiter for delimiter in ("\t", ";", ",", "|") if sum(delimiter in line for _, line in lines) * 2 > len(lines)
    ]
    delimiters: list[str | None] = [forced] if forced else [*present, None]
    if delimiters == [",", None] and not any(" " in line.strip() or '"' in line for _, line in lines):
        return Layout(",", ".")
    commas = any("," in line for _, line in lines)
    candidates = [
        Layout(delimiter, decimal)
        for delimiter in delimiters
        for decimal in ((".", ",") if commas else (".",))
        if not (delimiter == decimal and not any('"' in line for _, line in lines))
    ]
    best = max(candidates, key=lambda layout: _score(file, lines, layout)) if len(candidates) > 1 else candidates[0]
    if best.delimiter != "," and best.decimal == "." and "," in text and "." not in _numeric_part(lines):
        return _by_whole_text(best, text)
    return best


def _numeric_part(lines: list[tuple[int, str]]) -> str:
    return " ".join(line for _, line in lines)


def _by_whole_text(layout: Layout, text: str) -> Layout:
    """Whole numbers at the top leave the decimal sign open; then the rest of the file decides."""
    points = len(re.findall(r"\d\.\d", text))
    commas = len(re.findall(r"\d,\d", text))
    return Layout(layout.delimiter, ",") if commas > points else layout


def _score(file: str, lines: list[tuple[int, str]], layout: Layout) -> tuple[bool, float]:
    rows = [_trim(_split(file, line, layout, number)) for number, line in lines]
    widths = [len(row) for row in rows]
    usual = max(set(widths), key=widths.count)
    cells = [cell for row in rows for cell in row]
    numeric = sum(is_number(cell, layout.decimal) for cell in cells) / max(1, len(cells))
    return usual > 1, numeric * widths.count(usual) / len(widths)


def _trim(cells: list[str]) -> list[str]:
    end = len(cells)
    while end and not cells[end - 1]:
        end -= 1
    return cells[:end]


def _split(file: str, line: str, layout: Layout, number: int) -> list[str]:
    if layout.delimiter is None:
        return line.split()
    if '"' not in line:
        return [cell.strip() for cell in line.split(layout.delimiter)]
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=layout.delimiter), [])]
    except csv.Error as error:
        raise BadFile(file, f"line {number}", str(error), "cells with closed quotes") from None


def _header_cells(line: str, layout: Layout, cells: list[str]) -> list[str]:
    if layout.delimiter is None:
        return _header_words(line)
    return cells


def _header_words(line: str) -> list[str]:
    """`angle [cam deg] 1I [mm]` to one text a column: a unit belongs to the word before it."""
    columns: list[list[str]] = []
    inside = False
    for word in line.split():
        if columns and (inside or word.startswith("[")):
            columns[-1].append(word)
        else:
            columns.append([word])
        inside = word.rfind("[") > word.rfind("]") or (inside and "]" not in word)
    return [" ".join(words) for words in columns]


def _is_header(rows: list[list[str]], layout: Layout) -> bool:
    """A first row is a header when it has words where the next row has numbers, or nothing but words."""
    first = [is_number(cell, layout.decimal) for cell in rows[0]]
    if not any(first):
        return True
    if len(rows) == 1:
        return any("[" in cell for cell in rows[0])
    second = [is_number(cell, layout.decimal) for cell in rows[1]]
    return any(not one and two and cell for one, two, cell in zip(first, second, rows[0], strict=False))


def _width(header: list[str] | None, rows: list[list[str]]) -> int:
    used = max(len(_trim(row)) for row in rows)
    if header is None:
        return max(1, used)
    named = len(_trim(header))
    return min(used, len(header)) if used > named else named


def _text_columns(rows: list[list[str]], width: int, layout: Layout) -> dict[int, int]:
    """Columns that hold words in the sample, with their longest length there."""
    found: dict[int, int] = {}
    for index in range(width):
        cells = [row[index] for row in rows if index < len(row)]
        if any(cell and not is_number(cell, layout.decimal) for cell in cells):
            found[index] = max(len(cell) for cell in cells)
    return found


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

    def check(self) -> None:
        """Read the rows; refuses ragged ones, none at all, or too many, with the line."""
        if not self._fast():
            self._careful()
        if self.row_count == 0:
            raise BadFile(self.file, "", "no rows", "readings")
        if self.row_count > MAX_ROWS:
            raise BadFile(self.file, "", f"{self.row_count} rows", f"at most {MAX_ROWS}")

    def numbers(self, index: int) -> FloatArray | None:
        """A column as written, NaN where empty; None when a cell is not a number."""
        column = self._columns.get(index)
        return column if column is not None and column.dtype.kind == "f" else None  # type: ignore[return-value]

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

    def first_bad(self, index: int) -> int:
        """Row of the first cell that is neither a number nor empty."""
        return first_bad(self.texts(index), self.layout.decimal)

    def number_wanted(self, cell: str) -> str:
        """What a cell that is not a number should have been."""
        other: Decimal = "." if self.layout.decimal == "," else ","
        sign = "comma" if self.layout.decimal == "," else "point"
        return f"a number with a decimal {sign}, as elsewhere" if is_number(cell, other) else "a number"

    def place(self, row: int, index: int | None = None) -> str:  # noqa: ARG002 - a line has no letter
        """The line of a data row."""
        return f"line {self._line_numbers[row]}"

    @cached_property
    def _line_numbers(self) -> NDArray[np.int64]:
        if self._numbers_of_lines is not None:
            return self._numbers_of_lines
        return np.fromiter((number for number, _ in self._rows()), dtype=np.int64)

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
            if cells and cells[0].lstrip().startswith("#"):
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
            raise BadFile(self.file, f"line {start}", str(error), "cells with closed quotes") from None

    def _careful(self) -> None:
        """Cell by cell: columns of numbers become arrays, the others stay text."""
        numbers: list[int] = []
        parts: dict[int, list[FloatArray]] = {index: [] for index in range(self.width)}
        for chunk in _chunks(self._checked_rows(numbers)):
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
                    column.append(known.setdefault(cells[index], cells[index]))
            self._columns |= {index: np.array(column, dtype=object) for index, column in zip(words, texts, strict=True)}

    def _checked_rows(self, numbers: list[int]) -> Iterator[list[str]]:
        below = enumerate(islice(self.lines, self.top, None), start=self.top + 1)
        self.comments = [(number, line.strip()) for number, line in below if line.lstrip().startswith("#")]
        for number, cells in self._rows():
            if len(cells) != self.width and (len(cells) < self.width or any(cells[self.width :])):
                raise BadFile(self.file, f"line {number}", f"{len(cells)} cells", f"{self.width}, as above")
            numbers.append(number)
            yield cells


def _letters(column: NDArray[np.str_]) -> NDArray[np.uint32]:
    """Code points of a column of words, shape (rows, longest)."""
    return column.view(np.uint32).reshape(len(column), -1)


def _chunks(rows: Iterable[list[str]]) -> Iterator[list[list[str]]]:
    iterator = iter(rows)
    while chunk := list(islice(iterator, _CHUNK)):
        yield chunk
