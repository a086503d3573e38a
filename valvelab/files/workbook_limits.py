"""What unpacking a workbook would cost, told before it is handed to the compiled reader.

Sizes in a container's directory can lie, a few kilobytes can unpack to gigabytes, and two far corners alone make a
reader lay out every cell between them. So the parts are unpacked here, within what the directory states, looked at,
and handed on as they were looked at.
"""

from __future__ import annotations

import io
import re
import zipfile
from itertools import islice, pairwise

import numpy as np

from valvelab.errors import BadFile
from valvelab.files.contents import MAX_ROWS, MAX_UNPACKED_BYTES, Contents
from valvelab.files.text_opening import MAX_COLUMNS
from valvelab.files.zip_parts import refusing_faults

MAX_SHEET_CELLS = 20_000_000
MAX_BLANK = 1_000_000
_MAX_REPEATED_TEXT = 500_000_000
_ROW = re.compile(rb"<(?:[^\s<>/:]+:)?row\b")
_MARK = re.compile(rb"""<(?:[^\s<>/:]+:)?(?:(row)\b|(c)[\s/>])|\br\s*=\s*["']([A-Za-z]*)(\d+)""")
_BLANK = re.compile(rb"<[^<]{%d}" % MAX_BLANK)
_SMALLEST_CELL = len(b"<c/>")


def checked_workbook(contents: Contents) -> bytes:
    """The workbook, packed anew; refused where it is broken, protected, or larger than the limits once unpacked."""
    file = contents.file
    wanted = f"at most {MAX_UNPACKED_BYTES // 2**20} MB once unpacked"
    longest, shared = 0, 0
    target = io.BytesIO()
    broken = "a broken zip container, or one whose parts have other sizes than it states"
    with (
        refusing_faults(file, "", broken, "an XLSX workbook"),
        zipfile.ZipFile(io.BytesIO(contents.data)) as container,
        zipfile.ZipFile(target, "w", zipfile.ZIP_STORED) as anew,
    ):
        parts = {part.filename: part for part in container.infolist()}
        total = sum(part.file_size for part in parts.values())
        if total > MAX_UNPACKED_BYTES:
            raise BadFile(file, "", f"{total / 2**20:.0f} MB once unpacked", wanted)
        if not any(name.lower().endswith("workbook.xml") for name in parts):
            raise BadFile(file, "", "a zip container without a workbook", "an XLSX workbook")
        for name, part in parts.items():
            if part.flag_bits & 1:
                raise BadFile(file, "", "an encrypted workbook", "one without a password")
            with container.open(part) as stream:
                data = stream.read(part.file_size + 1)  # without a number, a reader unpacks past the size stated
            if "/worksheets/" in name.lower():
                shared += _check_sheet(file, data)
            elif name.lower().endswith("sharedstrings.xml"):
                ends = [0, *(text.end() for text in re.finditer(rb"</si>", data)), len(data)]
                longest = max(longest, *(end - start for start, end in pairwise(ends)))
            anew.writestr(name, data)
    if longest * shared > _MAX_REPEATED_TEXT:
        raise BadFile(file, "", "long texts repeated in very many cells", wanted)
    return target.getvalue()


def _check_sheet(file: str, xml: bytes) -> int:
    """Refuse cells spread over more than a table; returns how many cells hold a shared text.

    A coarse bound from the lengths and from the absence of far places clears ordinary sheets at once; for the others
    every place is looked at.
    """
    if b"<!" in xml:
        raise BadFile(file, "", "comments inside a sheet's XML", "a workbook as spreadsheets write it")
    if _BLANK.search(xml):
        raise BadFile(file, "", f"more than {MAX_BLANK // 1_000_000} MB without a cell", "a workbook of readings")
    starts = np.fromiter((row.start() for row in islice(_ROW.finditer(xml), MAX_ROWS + 10_001)), dtype=np.int64)
    if starts.size > MAX_ROWS + 10_000:
        raise BadFile(file, "", f"more than {MAX_ROWS} rows", f"at most {MAX_ROWS}")
    longest = int(np.diff(starts, prepend=0, append=len(xml)).max())
    columns = max(26, longest // _SMALLEST_CELL)
    most = str(MAX_SHEET_CELLS // columns)  # rows of so many columns
    beyond = rb"\d{%d}|[%s-9]\d{%d}" % (len(most) + 1, most[:1].encode(), len(most) - 1)
    far = re.compile(rb"""\br\s*=\s*["'](?:[A-Za-z]{2}|[A-Za-z]?(?:%s))""" % beyond)
    if starts.size > int(most) or far.search(xml):
        _check_every_place(file, xml, starts.size)
    return xml.count(b'"s"') + xml.count(b"'s'")


def _check_every_place(file: str, xml: bytes, rows: int) -> None:
    columns, last_row, at = 1, max(1, rows), 0
    for row, cell, letters, digits in (mark.groups() for mark in _MARK.finditer(xml)):
        if row:
            at = 0
        elif cell:
            at += 1  # a cell that does not say where it is stands behind the one before it
        elif len(letters) > 3 or len(digits) > 7:
            raise BadFile(file, "", "a cell outside any sheet", "a table")
        else:
            last_row = max(last_row, int(digits))
            at = _column_number(letters) if letters else at
        columns = max(columns, at)
    if columns > MAX_COLUMNS:
        raise BadFile(file, "", f"cells as far as column {columns}", f"at most {MAX_COLUMNS} columns")
    if columns * last_row > MAX_SHEET_CELLS:
        raise BadFile(file, "", f"cells spread over {last_row} rows and {columns} columns", "a table")


def _column_number(letters: bytes) -> int:
    number = 0
    for letter in letters.upper():
        number = number * 26 + letter - ord("A") + 1
    return number
