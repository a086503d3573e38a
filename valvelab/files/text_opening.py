"""The first lines of a text table: preamble, delimiter, decimal sign and header."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from itertools import islice

from valvelab.errors import BadFile
from valvelab.files.body import ANYWHERE, PreambleEntry, Skipped, Where
from valvelab.files.cells import Decimal, is_number, like_a_number, number_form, shown
from valvelab.files.contents import Contents, decode
from valvelab.files.heading import SAMPLED_ROWS, told_or_found, with_units
from valvelab.frozen import frozen
from valvelab.phrase import Phrase

MAX_LINE = 1_000_000
MAX_COLUMNS = 10_000
MAX_PREAMBLE = 1_000
_ERROR_WORDS = ("#N/A", "#DIV/0!", "#REF!", "#VALUE!", "#NAME?", "#NUM!", "#NULL!")
_FORCED_LAYOUT = re.compile(r"sep=[,;\t|]")


@frozen
class Layout:
    """Delimiter (None for white space) and decimal sign."""

    delimiter: str | None
    decimal: Decimal


@frozen
class Opening:
    """What the first lines of a text table show. `top` is the index of the first line of readings.

    `first` is the number of the header's line, or without a header of the first line of readings.
    """

    lines: list[str]
    preamble: dict[str, PreambleEntry]
    layout: Layout
    header: list[str] | None
    rows: list[list[str]]
    first: int
    top: int
    encoding: str
    skipped: tuple[Skipped, ...] = ()


def read_header(contents: Contents) -> tuple[str, ...] | None:
    """The header cells of a text table, without a look at its rows; None without a header."""
    header = open_text(contents).header
    return None if header is None else tuple(header)


def open_text(contents: Contents, where: Where = ANYWHERE) -> Opening:
    """Find layout, preamble and header. Raises BadFile for binary data, or when there is nothing like a table."""
    file = contents.file
    if where.sheet is not None:
        raise BadFile(file, "", "a text table", Phrase("a workbook, for sheet={sheet}", sheet=where.sheet))
    if not contents.data.strip(b" \t\r\n\0\xff\xfe\xef\xbb\xbf"):
        raise BadFile(file, "", "an empty file", "a table")
    text, encoding = decode(file, contents.data)
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    lines = text.rstrip("\n\x1a ").split("\n")
    preamble, top, forced = _head(file, lines)
    sample = _sample(file, lines, max(top, (where.header or where.first_row or 1) - 1))
    told = where.header or where.first_row
    if told is not None and told > len(lines):
        raise BadFile(
            file, "", Phrase("{count} lines", count=len(lines)), Phrase("a table with a row {told}", told=told)
        )
    if not sample:
        raise BadFile(
            file,
            "",
            (Phrase("lines above a table and nothing below them") if preamble else Phrase("no rows")),
            "a table",
        )
    layout = _layout(file, sample, forced, text)
    rows = [_split(file, line, layout, number) for number, line in sample]
    numbered = [(number, cells) for (number, _), cells in zip(sample, rows, strict=True)]
    heading = told_or_found(file, "line", numbered, where, number_form(layout.decimal))
    from_row = where.first_row or 0
    data = next((at for at, (number, _) in enumerate(sample) if at >= heading.first and number >= from_row), len(rows))
    above = sample[heading.first][0] - 1 if heading.header is None else sample[heading.first - 1][0]
    start = max(above, from_row - 1)
    first = start + 1 if heading.header is None else sample[heading.header][0]
    skipped = _above(file, lines, top, first - 1, preamble)
    header = None
    if heading.header is not None:
        cells = _header_words(lines[first - 1]) if layout.delimiter is None else rows[heading.header]
        header = with_units([cell.strip() for cell in cells], heading.units)
    return Opening(lines, preamble, layout, header, rows[data:], first, start, encoding, skipped)


def _above(
    file: str, lines: Sequence[str], top: int, end: int, preamble: dict[str, PreambleEntry]
) -> tuple[Skipped, ...]:
    """What stands between the preamble and the header; comments there still belong to the preamble."""
    skipped = []
    for number, line in enumerate(islice(lines, top, end), start=top + 1):
        if is_comment(line):
            add_preamble(preamble, file, line.strip(), Phrase("line {number}", number=number))
        elif bare := as_it_reads(line):
            skipped.append(Skipped(number, bare))
    return tuple(skipped)


def as_it_reads(line: str) -> str:
    """A line without what stands between its cells, at most 200 characters of it."""
    return re.sub(r"[,;\t]+", " ", line.strip(" ,;\t"))[:200]


def preamble_entry(text: str) -> tuple[str, str] | None:
    """Key (lower case) and value of one `# key: value`; None for a comment without a colon."""
    key, colon, value = text.lstrip("#").partition(":")
    key = " ".join(key.split()).lower()
    if not colon or not key:
        return None
    return key, value.strip().rstrip(",;\t").strip()


def is_comment(line: str) -> bool:
    """Whether a line is a comment or a preamble entry; the error words of spreadsheets (`#N/A`) are none."""
    bare = line.lstrip()
    return bare.startswith("#") and not bare.startswith(_ERROR_WORDS)


def add_preamble(preamble: dict[str, PreambleEntry], file: str, text: str, place: str) -> None:
    """Take one comment into the preamble; a key given twice with different values is refused."""
    entry = preamble_entry(text)
    if entry is None:
        return
    key, value = entry
    if len(preamble) >= MAX_PREAMBLE:
        raise BadFile(file, place, Phrase("more than {most} lines `# key: value`", most=MAX_PREAMBLE), "a table")
    if key in preamble and preamble[key].value != value:
        raise BadFile(
            file,
            place,
            Phrase(
                "a second {key} ({value} after {before})",
                key=shown(key),
                value=shown(value),
                before=shown(preamble[key].value),
            ),
            "one",
        )
    preamble[key] = PreambleEntry(value, place)


def _head(file: str, lines: Sequence[str]) -> tuple[dict[str, PreambleEntry], int, str | None]:
    """Preamble, index of the first line below it, and the delimiter of a `sep=` line."""
    preamble: dict[str, PreambleEntry] = {}
    forced = None
    for index, line in enumerate(lines):
        bare = line.strip()
        if bare.startswith('"#'):
            bare = next(csv.reader([bare[: bare.rfind('"') + 1]]), [""])[0]
        if forced is None and _FORCED_LAYOUT.fullmatch(line[:6].rstrip(" ")):
            forced = line[4]
        elif is_comment(bare):
            add_preamble(preamble, file, bare, Phrase("line {number}", number=index + 1))
        elif bare.strip(",;\t"):
            return preamble, index, forced
    return preamble, len(lines), forced


def _sample(file: str, lines: Sequence[str], top: int) -> list[tuple[int, str]]:
    """The first lines that are neither blank nor comments, with their numbers counted from 1."""
    found = (
        (number, line)
        for number, line in enumerate(islice(lines, top, None), start=top + 1)
        if line.strip(" ,;\t") and not is_comment(line)
    )
    sample = list(islice(found, SAMPLED_ROWS))
    for number, line in sample:
        if len(line) > MAX_LINE:
            raise BadFile(
                file,
                Phrase("line {number}", number=number),
                Phrase("a line of {count} characters", count=len(line)),
                "a table",
            )
    return sample


def _layout(file: str, sample: list[tuple[int, str]], forced: str | None, text: str) -> Layout:
    lines = _rows_of_readings(sample)
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
    if best.delimiter != "," and best.decimal == "." and "," in text and not any("." in line for _, line in lines):
        return _by_whole_text(best, text)
    return best


def _rows_of_readings(sample: list[tuple[int, str]]) -> list[tuple[int, str]]:
    """Lines that are mostly figures: titles and footers have separators of their own. All but the first without any."""
    figures = [(number, line) for number, line in sample if _is_mostly_figures(line)]
    return figures if len(figures) > 1 else sample[1:] or sample


def _is_mostly_figures(line: str) -> bool:
    letters = sum(map(str.isalpha, line))
    return sum(map(str.isdigit, line)) > letters


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
        raise BadFile(file, Phrase("line {number}", number=number), str(error), "cells with closed quotes") from None


def _header_words(line: str) -> list[str]:
    """`angle [cam deg] 1I [mm]` to one text a column: a unit belongs to the word before it."""
    columns: list[list[str]] = []
    inside = False
    for word in line.split():
        if columns and (inside or word.startswith(("[", "("))):
            columns[-1].append(word)
        else:
            columns.append([word])
        opened, closed = max(map(word.rfind, "[(")), max(map(word.rfind, "])"))
        inside = opened > closed or (inside and closed < 0)
    return [" ".join(words) for words in columns]


def table_width(header: list[str] | None, rows: list[list[str]]) -> int:
    """Number of columns: the named ones, and those below an unnamed header cell that hold something."""
    if header is None:
        held = [row for row in rows if any(like_a_number(cell) for cell in row)] or rows
        return max(1, *(len(_trim(row)) for row in held))
    used = max(len(_trim(row)) for row in rows)
    named = len(_trim(header))
    return min(used, len(header)) if used > named else named


def text_columns(rows: list[list[str]], width: int, layout: Layout) -> dict[int, int]:
    """Columns that hold words in the sample, with their longest length there."""
    found: dict[int, int] = {}
    numeric = number_form(layout.decimal)
    for index in range(width):
        cells = [row[index] for row in rows if index < len(row)]
        if not all(map(numeric, filter(None, cells))):
            found[index] = max(len(cell) for cell in cells)
    return found


def caption(opening: Opening) -> tuple[str, ...]:
    """Words of a comment right above the first row."""
    above = opening.lines[opening.first - 2].strip() if opening.first >= 2 else ""
    if not above.startswith("#"):
        return ()
    words = above.lstrip("#").strip()
    delimiter = opening.layout.delimiter
    if delimiter is not None and delimiter in words:
        return tuple(cell.strip() for cell in words.split(delimiter))
    return tuple(_header_words(words))
