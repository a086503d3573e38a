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


def refuse_beyond(table: Table, column: str | Column, values: FloatArray, largest: float, unit: str) -> None:
    """Raise BadFile for the first value farther from 0 than `largest`."""
    beyond = np.flatnonzero(np.abs(values) > largest)
    if beyond.size:
        raise table.bad(int(beyond[0]), column, f"at most {largest:g} {unit}".rstrip())


def refuse_heights_beyond(file: str, heights_um: FloatArray) -> None:
    """The same for heights that come from no table."""
    beyond = np.flatnonzero(~(np.abs(heights_um) <= 1000.0 * LARGEST_READING_MM))
    if beyond.size:
        found = f"a height of {heights_um[beyond[0]] / 1000.0:g} mm"
        raise BadFile(file, f"point {beyond[0] + 1}", found, f"at most {LARGEST_READING_MM:g} mm")
