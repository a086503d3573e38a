"""A result as a workbook (XLSX): a sheet a table, then one of its verdicts and one of its notes and sources.

The first sheet has the rows and heads of the CSV; heads are the keys of the JSON, which carry the unit. A number is a
number, a text is a text whatever it begins with.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from typing import Any

from valvelab.csv_text import is_like_formula
from valvelab.errors import CannotWrite, utf8
from valvelab.pieces import in_pieces
from valvelab.records.result import Result, Verdict
from valvelab.tables.item_rows import Rows, Value, further_tables, item_rows

MOST_ROWS, MOST_COLUMNS, LONGEST_TEXT = 1_048_576, 16_384, 32_767
"""What a sheet holds. Source: ECMA-376 leaves it open, every spreadsheet program keeps to these (common practice)."""
_CUT = " … (cut; whole in the JSON)"
_VERDICT = tuple(Verdict.model_fields)


def result_workbook(result: Result) -> bytes:
    """The workbook of a result. Raises CannotWrite for more rows or columns than a sheet holds."""
    from xlsxwriter import Workbook  # type: ignore[import-untyped]

    target = io.BytesIO()
    book = Workbook(target, {"in_memory": True})
    strong, quoted = book.add_format({"bold": True}), book.add_format({"quote_prefix": True})
    told = {result.command: item_rows(result), **further_tables(result)}
    for name, rows in (told | {"verdicts": _verdicts(result), "notes": list(_notes(result))}).items():
        _fill(book, name, rows, strong, quoted)
    book.close()
    return target.getvalue()


def _verdicts(result: Result) -> Rows:
    return [[*_VERDICT], *([getattr(row, name) for name in _VERDICT] for row in result.verdicts)]


def _notes(result: Result) -> Iterator[list[Value]]:
    """What the result is of, then its notes."""
    yield ["what", "about", "text"]
    yield ["program", result.program, result.version]
    for source in result.source:
        yield ["source, SHA-256", source.file, source.sha256]
    for note in result.notes:
        yield [note.level, note.about, note.text]


def _fill(book: Any, name: str, rows: Rows, strong: object, quoted: object) -> None:
    """A sheet of rows under its heads, which stay in sight."""
    if len(rows) > MOST_ROWS or len(rows[0]) > MOST_COLUMNS:
        found = f"found {len(rows)} rows of {len(rows[0])} columns"
        raise CannotWrite(name, f"{found}, expected what a sheet holds; JSON takes them all")
    sheet = book.add_worksheet(name)
    sheet.freeze_panes(1, 1)
    for line, row in enumerate(in_pieces(rows)):
        for column, cell in enumerate(row):
            if cell == "" or cell is None:
                continue
            if isinstance(cell, str):
                text = utf8(cell)
                text = text if len(text) <= LONGEST_TEXT else text[: LONGEST_TEXT - len(_CUT)] + _CUT
                look = strong if line == 0 else quoted if is_like_formula(text) else None
                sheet.write_string(line, column, text, look)
            else:
                sheet.write_number(line, column, cell)
    sheet.autofit()
