"""Spring readings: tidy `spring, height, force`, with position, stage, stroke, element and offset where given."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from valvelab.arrays import FloatArray, read_only
from valvelab.errors import BadFile
from valvelab.files.column_assignment import ColumnAssignment
from valvelab.files.table import Column, Table, read_table
from valvelab.records.result import Note, info
from valvelab.records.spring_readings import CoilData, ElementReadings, SpringReadings, SpringTable, Stroke

EXAMPLE = "spring=0, height=1 [mm], force=2 [N]"
KNOWN_COLUMNS = ("spring", "height", "force", "position", "stage", "stroke", "element", "offset")
COIL_LENGTHS = ("wire diameter", "mean coil diameter", "free length", "solid height")
COIL_KEYS = (*COIL_LENGTHS, "active coils", "total coils", "material")
ELEMENTS = ("outer", "inner", "damper")
KNOWN_KEYS = {
    "installed height", "valve lift", "force uncertainty", "height uncertainty", *COIL_KEYS,
    *(f"{element} {key}" for element in ELEMENTS for key in COIL_KEYS),
}  # fmt: skip
MOST_SPRINGS = 5000
SAME_READING = 0.05
"""Largest difference of two readings of one spring at one height, as a share of the force: repeats, not two springs."""

Rows = NDArray[np.intp]


def read_spring_readings(path: str | Path, columns: ColumnAssignment | str | None = None) -> SpringTable:
    """The springs in a file. Raises ColumnsNeeded when its columns have no usable names, BadFile otherwise."""
    return spring_readings(read_table(path, columns))


def spring_readings(table: Table) -> SpringTable:
    """A table that was read already, as spring readings."""
    height_column, force_column = table.require("height", EXAMPLE), table.require("force", EXAMPLE)
    heights, forces = table.numbers(height_column, "length"), table.numbers(force_column, "force")
    _refuse_where(table, height_column, heights <= 0.0, "a height above 0")
    _refuse_where(table, force_column, forces < 0.0, "a force of 0 or more")
    notes: list[Note] = []
    spring_column = table.find("spring")
    if spring_column is None:
        groups = {"1": np.arange(table.row_count)}
        notes.append(info(table.file, "no column spring: everything is one spring, 1"))
    else:
        groups = table.groups(spring_column)
    if len(groups) > MOST_SPRINGS:
        raise BadFile(table.file, "", f"{len(groups)} springs", f"at most {MOST_SPRINGS}")
    reader = _Reader(table, heights, forces)
    springs = [one for name, rows in groups.items() for one in reader.spring(name, rows)]
    table.note_unknown(KNOWN_COLUMNS)
    return SpringTable(
        file=table.file,
        source=table.source,
        springs=tuple(springs),
        installed_height_mm=_positive(table, "installed height"),
        valve_lift_mm=_positive(table, "valve lift"),
        coil=_coil(table, ""),
        element_coils={element: _coil(table, f"{element} ") for element in ELEMENTS},
        force_uncertainty_n=_not_negative(table, "force uncertainty", "force"),
        height_uncertainty_mm=_not_negative(table, "height uncertainty", "length"),
        remarks={key: value for key, value in table.preamble.items() if key not in KNOWN_KEYS},
        notes=(*table.notes, *notes),
    )


def _refuse_where(table: Table, column: Column, wrong: NDArray[np.bool_], expected: str) -> None:
    if wrong.any():
        raise table.bad(int(np.argmax(wrong)), column, expected)


def _positive(table: Table, key: str) -> float | None:
    value = table.quantity(key, "length")
    if value is not None and value <= 0.0:
        raise table.bad_key(key, f"{value:g} mm", "a length above 0")
    return value


def _not_negative(table: Table, key: str, dimension: str) -> float | None:
    value = table.quantity(key, "force" if dimension == "force" else "length")
    if value is not None and value < 0.0:
        raise table.bad_key(key, f"{value:g}", "0 or more")
    return value


def _coil(table: Table, prefix: str) -> CoilData:
    coils: dict[str, float | None] = {}
    for key in ("active coils", "total coils"):
        value = table.quantity(prefix + key, "number")
        if value is not None and value <= 0.0:
            raise table.bad_key(prefix + key, f"{value:g}", "a number above 0")
        coils[key] = value
    return CoilData(
        wire_diameter_mm=_positive(table, prefix + "wire diameter"),
        mean_coil_diameter_mm=_positive(table, prefix + "mean coil diameter"),
        active_coils=coils["active coils"],
        total_coils=coils["total coils"],
        free_length_mm=_positive(table, prefix + "free length"),
        solid_height_mm=_positive(table, prefix + "solid height"),
        material=table.text(prefix + "material"),
    )


class _Reader:
    """Groups the rows of one table into springs, stages, elements and strokes."""

    def __init__(self, table: Table, heights: FloatArray, forces: FloatArray) -> None:
        self.table, self.heights, self.forces = table, heights, forces
        self.stage = self._words("stage", lambda text: text.strip())
        self.stroke = self._words("stroke", lambda text: text.strip().casefold() or "compress")
        self.element = self._words("element", lambda text: text.strip().casefold())
        self.position = self._words("position", lambda text: text.strip())
        offset = table.find("offset")
        self.offsets = (
            np.zeros(table.row_count) if offset is None
            else np.nan_to_num(table.numbers(offset, "length", empty_as_nan=True))
        )  # fmt: skip
        for row, stroke in enumerate(self.stroke):
            if stroke not in {"compress", "release"}:
                raise table.bad(row, "stroke", "compress or release")

    def _words(self, name: str, clean: Callable[[str], str]) -> list[str]:
        column = self.table.find(name)
        if column is None:
            return [clean("")] * self.table.row_count
        return [clean(text) for text in self.table.texts(column)]

    def spring(self, name: str, rows: Rows) -> list[SpringReadings]:
        """One spring, once for each of its stages."""
        answer = []
        for stage in dict.fromkeys(self.stage[row] for row in rows):
            mine = np.array([row for row in rows if self.stage[row] == stage])
            positions = list(dict.fromkeys(self.position[row] for row in mine if self.position[row]))
            if len(positions) > 1:
                second = next(int(row) for row in mine if self.position[row] == positions[1])
                raise BadFile(
                    self.table.file, self.table.place(second),
                    f"spring {name!r} at positions {positions[0]!r} and {positions[1]!r}", "one position a spring",
                )  # fmt: skip
            names = dict.fromkeys(self.element[row] for row in mine)
            if len(names) > 1 and "" in names:
                bare = next(int(row) for row in mine if not self.element[row])
                raise BadFile(
                    self.table.file, self.table.place(bare), f"a reading of nested spring {name!r} without an element",
                    "outer, inner or damper",
                )  # fmt: skip
            elements = [
                self._element(name, word, np.array([r for r in mine if self.element[r] == word])) for word in names
            ]
            answer.append(
                SpringReadings(
                    name, stage or None, positions[0] if positions else None, tuple(elements),
                    self.table.place(int(mine[0])),
                )
            )  # fmt: skip
        return answer

    def _element(self, name: str, element: str, rows: Rows) -> ElementReadings:
        offsets = self.offsets[rows]
        if np.ptp(offsets) > 1e-9:
            raise BadFile(
                self.table.file, self.table.place(int(rows[int(np.argmax(offsets != offsets[0]))])),
                f"offsets {offsets.min():g} and {offsets.max():g} mm for one element of spring {name!r}", "one offset",
            )  # fmt: skip
        compress = np.array([row for row in rows if self.stroke[row] == "compress"], dtype=np.intp)
        release = np.array([row for row in rows if self.stroke[row] == "release"], dtype=np.intp)
        called = f"spring {name!r}" + (f", {element}" if element else "")
        if np.unique(self.heights[compress]).size < 2:
            found = "1 reading" if compress.size == 1 else f"{compress.size} readings at one height"
            if not compress.size:
                found = "no readings of stroke compress"
            raise BadFile(
                self.table.file, self.table.place(int(rows[0])), f"{found} of {called}", "readings at 2 heights or more"
            )
        for stroke in (compress, release):
            self._refuse_two_springs(called, stroke)
        return ElementReadings(
            element, self._stroke(compress), self._stroke(release) if release.size else None, float(offsets[0])
        )

    def _stroke(self, rows: Rows) -> Stroke:
        return Stroke(read_only(self.heights[rows]), read_only(self.forces[rows]))

    def _refuse_two_springs(self, called: str, rows: Rows) -> None:
        """Repeated heights are repeats while the forces agree; else two springs have one name."""
        order = rows[np.lexsort((rows, self.heights[rows]))]
        for first, second in pairwise(order):
            if abs(self.heights[first] - self.heights[second]) > 1e-9:
                continue
            a, b = float(self.forces[first]), float(self.forces[second])
            if abs(a - b) > max(SAME_READING * max(a, b), 2.0):
                raise BadFile(
                    self.table.file, self.table.place(max(int(first), int(second)), "height"),
                    f"{a:g} N and {b:g} N at {self.heights[first]:g} mm for {called}",
                    "one force at a height; two springs with one name need names of their own",
                )  # fmt: skip
