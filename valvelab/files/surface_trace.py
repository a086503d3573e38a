"""Surface traces: CSV `x [mm], z [um]`, SMD text, or an X3P container, told apart by their first bytes.

trace = read_surface_trace("journal.x3p")
"""

from __future__ import annotations

import numpy as np

from valvelab.arrays import FloatArray, read_only
from valvelab.errors import BadFile
from valvelab.files.column_assignment import ColumnAssignment
from valvelab.files.contents import Given, read_contents
from valvelab.files.plausible import LARGEST_PLACE_MM, LARGEST_READING_MM, refuse_beyond
from valvelab.files.smd import is_smd, read_smd
from valvelab.files.table import Table, read_table
from valvelab.files.x3p import is_x3p, read_x3p
from valvelab.phrase import Phrase
from valvelab.records.form_measurement import SurfaceTrace
from valvelab.records.result import Note, info, warning

EXAMPLE = "x=0 [mm], z=1 [um]"
EVEN = 0.02
"""Steps that differ by no more than this share count as even."""
GAP = 1.5
"""A step longer than this many usual steps is a gap."""


def read_surface_trace(path: Given, columns: ColumnAssignment | str | None = None) -> SurfaceTrace:
    """One trace on an even grid. Refuses gaps, steps back, and values that are missing."""
    contents = read_contents(path)
    if is_smd(contents.data):
        return read_smd(contents)
    if is_x3p(contents.data):
        return read_x3p(contents)
    return surface_trace(read_table(path, columns))


def surface_trace(table: Table) -> SurfaceTrace:
    """A table that was read already, as a surface trace."""
    heights = table.require("z", EXAMPLE)
    along = table.find("x")
    table = table.with_numbers(heights, *([] if along is None else [along]))
    notes: list[Note] = []
    if heights.unit is None:
        z = table.numbers(heights, "number")
        notes.append(warning(table.file, Phrase("column z carries no unit; read as µm")))
    else:
        z = table.numbers(heights, "length") * 1000.0
    refuse_beyond(table, heights, z / 1000.0, LARGEST_READING_MM, "mm")
    if z.size < 3:
        raise BadFile(table.file, "", f"{z.size} readings", "3 or more")
    if table.find("x") is None and (spacing := table.quantity("spacing", "length")) is not None:
        if spacing <= 0.0:
            raise table.bad_key("spacing", f"{spacing:g} mm", "a length above 0")
        x: FloatArray = np.arange(z.size, dtype=np.float64) * spacing
    else:
        table.require("x", EXAMPLE)
        x = table.numbers("x", "length")
        refuse_beyond(table, "x", x, LARGEST_PLACE_MM, "mm")
        if x[0] > x[-1]:
            notes.append(info(table.file, Phrase("x falls along the file; the trace was turned round")))
            x, z = x[::-1], z[::-1]
        x, z, evened = _even(table, x, z)
        notes.extend(evened)
    table.note_unknown(("x", "z"))
    return SurfaceTrace(
        file=table.file,
        source=table.source,
        form="CSV",
        x_mm=read_only(np.ascontiguousarray(x)),
        z_um=read_only(np.ascontiguousarray(z)),
        scale_uncertainty=_scale_uncertainty(table),
        label=table.text("surface") or table.text("part"),
        notes=(*table.notes, *notes),
    )


def _even(table: Table, x: FloatArray, z: FloatArray) -> tuple[FloatArray, FloatArray, list[Note]]:
    """The trace on an even grid: as it is where it is even already, else straight between its readings, with a note."""
    steps = np.diff(x)
    usual = float(np.median(steps))
    reverse = table.numbers("x", "length")[0] > table.numbers("x", "length")[-1]

    def place(index: int) -> str:
        return table.place(x.size - 1 - index if reverse else index)

    if steps.min() <= 0.0:
        row = int(np.argmin(steps)) + 1
        raise BadFile(table.file, place(row), f"x {x[row]:g} mm after {x[row - 1]:g} mm", "x that only grows")
    if steps.max() > GAP * usual:
        row = int(np.argmax(steps))
        raise BadFile(
            table.file,
            place(row + 1),
            f"a gap in the trace from x {x[row]:g} to {x[row + 1]:g} mm{table.left_out}",
            f"a step of about {usual:g} mm; no gap is bridged",
        )
    grid = np.linspace(x[0], x[-1], x.size)
    if np.abs(x - grid).max() <= EVEN * usual:
        return grid, z, []
    if np.ptp(steps) <= EVEN * usual:
        return grid, np.interp(grid, x, z), []
    note = info(
        table.file,
        Phrase(
            "x is uneven by up to {usual} % of a step; put on an even grid",
            usual=f"{100.0 * np.ptp(steps) / usual:.0f}",
        ),
    )
    return grid, np.interp(grid, x, z), [note]


def _scale_uncertainty(table: Table) -> float | None:
    """Relative standard uncertainty of the heights, from `height uncertainty: 2 %`."""
    percent = table.quantity("height uncertainty", "percent")
    if percent is None:
        return None
    if not 0.0 < percent < 100.0:
        raise table.bad_key("height uncertainty", f"{percent:g} %", "above 0 and below 100 %")
    return percent / 100.0
