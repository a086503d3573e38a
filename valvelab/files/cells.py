"""Cell texts to numbers, column by column."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Literal

import numpy as np

from valvelab.arrays import FloatArray, read_only
from valvelab.frozen import frozen

Decimal = Literal[".", ","]

_NUMBER = {
    ".": re.compile(r"[+\-−]?(?:\d+\.?\d*|\.\d+)(?:[eE][+\-−]?\d+)?", re.ASCII),
    ",": re.compile(r"[+\-−]?(?:\d+,?\d*|,\d+)(?:[eE][+\-−]?\d+)?", re.ASCII),
}


def number_form(decimal: Decimal = ".") -> Callable[[str], object]:
    """What is true of a stripped cell that is a number written with that decimal sign."""
    return _NUMBER[decimal].fullmatch


def is_number(cell: str, decimal: Decimal = ".") -> bool:
    """Whether a stripped cell is a number written with that decimal sign."""
    return _NUMBER[decimal].fullmatch(cell) is not None


def to_number(cell: str, decimal: Decimal = ".") -> float | None:
    """The number in a stripped cell; None for anything else, infinities and not-a-number included."""
    if not is_number(cell, decimal):
        return None
    value = float(cell.replace(",", ".").replace("−", "-"))
    return value if abs(value) < float("inf") else None


_LIKE_A_NUMBER = re.compile(r"\W*\d")


def like_a_number(cell: str) -> bool:
    """Whether a cell that is no number was meant as one (`1.2.3`, `742 N`, `<5`): such a cell is never passed over.

    Empty cells, dashes and words (`n/a`, `average`) are not.
    """
    return _LIKE_A_NUMBER.match(cell) is not None


@frozen
class Readings:
    """A column of which some cells hold no number: values with NaN there, and the rows of cells that are malformed."""

    values: FloatArray
    malformed: tuple[int, ...] = ()


def to_readings(cells: Sequence[str], decimal: Decimal = ".") -> Readings:
    """A column of stripped cells as far as they are numbers."""
    values = np.full(len(cells), np.nan)
    malformed = []
    for row, cell in enumerate(cells):
        value = to_number(cell, decimal)
        if value is not None:
            values[row] = value
        elif cell and like_a_number(cell):
            malformed.append(row)
    return Readings(read_only(values), tuple(malformed))


def to_numbers(cells: Sequence[str], decimal: Decimal = ".") -> FloatArray | None:
    """A column of stripped cells as numbers, empty cells as NaN; None when any cell is something else."""
    values = _plain_numbers(cells, decimal)
    if values is not None:
        return read_only(values)
    found = []
    for cell in cells:
        value = to_number(cell, decimal) if cell else np.nan
        if value is None:
            return None
        found.append(value)
    return read_only(np.array(found, dtype=np.float64))


def _plain_numbers(cells: Sequence[str], decimal: Decimal) -> FloatArray | None:
    """The same in one go where Python's own reading of numbers can't differ; None where it could."""
    joined = "".join(cells)
    if not joined.isascii() or "_" in joined or (decimal == "," and "." in joined):
        return None
    try:
        if decimal == ",":
            values = np.array([float(cell.replace(",", ".")) for cell in cells], dtype=np.float64)
        else:
            values = np.array(list(map(float, cells)), dtype=np.float64)
    except ValueError:
        return None
    return values if np.isfinite(values).all() else None


def shown(cell: str, most: int = 40) -> str:
    """A cell as a refusal quotes it."""
    return repr(cell if len(cell) <= most else cell[:most] + "…")
