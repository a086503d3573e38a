"""Readings no instrument gives: refused at the file, with the cell, before they can drown the others."""

from __future__ import annotations

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.errors import BadFile
from valvelab.files.table import Column, Table

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


def refuse_heights_beyond(file: str, heights_um: FloatArray) -> None:
    """The same for heights that come from no table."""
    beyond = np.flatnonzero(~(np.abs(heights_um) <= 1000.0 * LARGEST_READING_MM))
    if beyond.size:
        found = f"a height of {heights_um[beyond[0]] / 1000.0:g} mm"
        raise BadFile(file, f"point {beyond[0] + 1}", found, f"at most {LARGEST_READING_MM:g} mm")
