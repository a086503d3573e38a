"""The one place that makes CSV: a text that a spreadsheet would take for a formula is written so that it does not."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Sequence

from valvelab.pieces import in_pieces

_BEGINNINGS = ("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20", "\t", "\r", "\n")
_TEXT_MARK = "'"


def csv_text(rows: Iterable[Sequence[str | float | None]], delimiter: str = ",") -> str:
    """Rows as CSV with a comma, a point and a line feed; None is an empty cell, numbers stay numbers."""
    target = io.StringIO()
    csv.writer(target, delimiter=delimiter, lineterminator="\n").writerows(
        [cell if cell.__class__ is float else harmless(cell) for cell in row] for row in in_pieces(rows)
    )
    return target.getvalue()


def harmless(cell: str | float | None) -> str | float:
    """A cell that no spreadsheet computes: a text that begins like a formula gets an apostrophe before it."""
    if cell is None:
        return ""
    if not isinstance(cell, str) or _is_number(cell):
        return cell
    line = cell.replace("\r", " ").replace("\n", " ")  # a row stays one line
    return _TEXT_MARK + line if is_like_formula(cell) else line


def is_like_formula(text: str) -> bool:
    """Whether a spreadsheet that is given a text might compute it; a number does not count."""
    begins = text.startswith(_BEGINNINGS) or text.lstrip().startswith(_BEGINNINGS)
    return begins and not _is_number(text)


def _is_number(text: str) -> bool:
    try:
        return math.isfinite(float(text)) and "_" not in text and text.strip() == text
    except ValueError:
        return False
