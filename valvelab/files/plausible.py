"""Readings no instrument gives: refused at the file, with the cell, before they can drown the others."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.files.table import Column, Table
from valvelab.phrase import Phrase
from valvelab.units import CANONICAL, Dimension

LARGEST_READING_MM = 1000.0
LARGEST_PLACE_MM = 100_000.0
LARGEST_ANGLE_DEG = 1e8
LARGEST_NUMBER = 1e12
LARGEST_SPRING_FORCE_N = 1e5
LARGEST_COUNT = 1000.0


def refuse_beyond(table: Table, column: str | Column, values: FloatArray, largest: float, unit: str) -> None:
    """Raise BadFile for the first value farther from 0 than `largest`."""
    beyond = np.flatnonzero(np.abs(values) > largest)  # an empty cell is not
    if beyond.size:
        raise table.bad(int(beyond[0]), column, f"at most {largest:g} {unit}".rstrip())


def refuse_key_beyond(table: Table, key: str, value: float | None, largest: float, unit: str) -> None:
    """The same for a value of the preamble."""
    if value is not None and abs(value) > largest:
        raise table.bad_key(key, f"{value:g} {unit}".rstrip(), f"at most {largest:g} {unit}".rstrip())


_LARGEST: dict[Dimension, float] = {
    "length": LARGEST_READING_MM, "force": LARGEST_SPRING_FORCE_N, "number": LARGEST_COUNT,
}  # fmt: skip


def positive(
    table: Table, key: str, dimension: Literal["length", "force", "number"] = "length", *, zero: bool = False
) -> float | None:
    """A preamble value above 0, or of 0 too, in its canonical unit; None when absent.

    Raises BadFile with its line and key for one below, or beyond what any instrument gives.
    """
    value = table.quantity(key, dimension)
    if value is not None and (value < 0.0 or (value == 0.0 and not zero)):
        raise table.bad_key(
            key, repr(table.preamble[key]), f"a positive {dimension}, " + ("or 0" if zero else "above 0")
        )
    refuse_key_beyond(table, key, value, _LARGEST[dimension], CANONICAL[dimension])
    return value


LOWEST_HEIGHT_MM = 10.0
"""No valve spring stands so low (common practice, no source): its height is in inches."""


def height_doubt(heights_mm: Mapping[str, float]) -> str:
    """Why lengths of springs without a unit can't be the mm that they were read as; "" where they can.

    heights_mm: by their name the greatest of each kind that bears no unit.
    """
    told = {name: mm for name, mm in heights_mm.items() if mm < LOWEST_HEIGHT_MM}
    if not told:
        return ""
    name, mm = max(told.items(), key=lambda one: one[1])
    return Phrase(
        "{name} carries no unit and was read as mm, but the greatest is {mm}: no valve spring's; state it in the "
        "header: {name} [mm] or [in]",
        name=Phrase(name),
        mm=f"{mm:.4g}",
    )
