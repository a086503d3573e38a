"""Spring readings: tidy `spring, height, force`, or wide `spring, force at 1.800 in [lbf], …`, one row a spring.

Position, stage, date, stroke, element, offset and what is the spring's own stand in columns of their own where given.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from valvelab.arrays import FloatArray, read_only
from valvelab.errors import BadFile
from valvelab.files.column_assignment import ColumnAssignment
from valvelab.files.column_names import height_of, is_unit
from valvelab.files.contents import Given
from valvelab.files.plausible import (
    LARGEST_READING_MM,
    LARGEST_SPRING_FORCE_N,
    height_doubt,
    positive,
    refuse_beyond,
)
from valvelab.files.table import Column, Table, read_table
from valvelab.frozen import frozen
from valvelab.phrase import Phrase
from valvelab.pieces import in_pieces
from valvelab.records.measurement import Doubts
from valvelab.records.result import Note, info, warning
from valvelab.records.spring_readings import (
    CoilData,
    ElementReadings,
    SpringReadings,
    SpringTable,
    Squareness,
    Stroke,
    iso_date,
)
from valvelab.units import split_quantity

EXAMPLE = "spring=0, height=1 [mm], force=2 [N]"
OWN_LENGTHS = ("solid height", "free length", "installed height")
KNOWN_COLUMNS = (
    "spring", "height", "force", "position", "stage", "date", "stroke", "element", "offset", "squareness", *OWN_LENGTHS,
)  # fmt: skip
COIL_LENGTHS = ("wire diameter", "mean coil diameter", "free length", "solid height")
COIL_KEYS = (*COIL_LENGTHS, "coil bind", "active coils", "total coils", "material")
ELEMENTS = ("outer", "inner", "damper")
KNOWN_KEYS = {
    "installed height", "valve lift", "force uncertainty", "height uncertainty", "force resolution",
    "height resolution", "squareness uncertainty", "force unit", *COIL_KEYS,
    *(f"{element} {key}" for element in ELEMENTS for key in COIL_KEYS),
}  # fmt: skip
MOST_SPRINGS = 5000
MOST_OUT_OF_SQUARE_DEG = 45.0
SAME_READING = 0.05
"""Largest difference of two readings of one spring at one height, as a share of the force: repeats, not two springs."""

Rows = NDArray[np.intp]


def read_spring_readings(path: Given, columns: ColumnAssignment | str | None = None) -> SpringTable:
    """The springs in a file. Raises ColumnsNeeded when its columns have no usable names, BadFile otherwise."""
    return spring_readings(read_table(path, columns))


def spring_readings(table: Table) -> SpringTable:
    """A table that was read already, as spring readings: a row a reading, or a row a spring with forces at heights."""
    notes: list[Note] = []
    name_column = table.find("spring") or table.find("position")
    if table.find("spring") is None and name_column is not None:
        notes.append(info(table.file, Phrase("no column spring: springs are named by their position")))
    at_heights = [] if table.find("height") and table.find("force") else height_columns(table)
    if at_heights:
        table = table.with_numbers(any_of=[one.column for one in at_heights], names=name_column)
        taken = _forces_at_heights(table, at_heights)
        heights_mm = [one.height_mm for one in at_heights if one.bare]
        bare = {"height": max(heights_mm)} if heights_mm else {}
    else:
        height_column, force_column = table.require("height", EXAMPLE), table.require("force", EXAMPLE)
        table = table.with_numbers(height_column, force_column, names=name_column)
        heights = table.numbers(height_column, "length")
        forces = table.numbers(_in_stated_unit(table, force_column), "force")
        _refuse_where(table, height_column, heights <= 0.0, "a height above 0")
        refuse_beyond(table, height_column, heights, LARGEST_READING_MM, "mm")
        _refuse_forces(table, force_column, forces)
        taken = _Taken(np.arange(table.row_count), heights, forces)
        bare = {} if height_column.unit is not None else {"height": float(heights.max())}
    reader = _Reader(table, taken)
    if name_column is None:
        groups = {"1": np.arange(taken.row.size)}
        reader.refuse_a_second_pass()
        notes.append(info(table.file, Phrase("no column spring: everything is one spring, 1")))
    else:
        groups = taken.groups(table.groups(name_column))
    if len(groups) > MOST_SPRINGS:
        raise BadFile(
            table.file,
            "",
            Phrase("{count} springs", count=len(groups)),
            Phrase("at most {most}", most=MOST_SPRINGS),
        )
    doubt = height_doubt({**bare, **_bare_lengths(table, reader.own)})
    notes += [warning("unit", doubt)] if doubt else []
    springs = [one for name, rows in in_pieces(groups.items()) for one in reader.spring(name, rows)]
    known = [column.name for name in KNOWN_COLUMNS if (column := table.find(name)) is not None]
    table.note_unknown((*known, *(one.column.name for one in at_heights)))
    return SpringTable(
        file=table.file,
        source=table.source,
        springs=tuple(springs),
        installed_height_mm=positive(table, "installed height"),
        valve_lift_mm=positive(table, "valve lift"),
        coil=_coil(table, ""),
        element_coils={element: _coil(table, f"{element} ") for element in ELEMENTS},
        force_uncertainty_n=positive(table, "force uncertainty", "force", zero=True),
        height_uncertainty_mm=positive(table, "height uncertainty", zero=True),
        force_resolution_n=positive(table, "force resolution", "force", zero=True),
        height_resolution_mm=positive(table, "height resolution", zero=True),
        squareness_uncertainty=_squareness_uncertainty(table),
        remarks={key: value for key, value in table.preamble.items() if key not in KNOWN_KEYS},
        notes=(*table.notes, *notes),
        doubts=Doubts(height=doubt),
    )


def _bare_lengths(table: Table, own: Mapping[str, FloatArray | None]) -> dict[str, float]:
    """The greatest of each spring's own lengths, in a column or in the preamble, that bear no unit."""
    found: dict[str, float] = {}
    for name in OWN_LENGTHS:
        column, values = table.find(name), own.get(name)
        if column is not None and column.unit is None and values is not None and np.isfinite(values).any():
            found[name] = float(np.nanmax(values))
        elif column is None and (stated := table.text(name)) and not split_quantity(stated, name)[1]:
            found[name] = split_quantity(stated, name)[0]
    return found


@frozen
class HeightColumn:
    """A column of forces read at one height, mm."""

    column: Column
    height_mm: float
    bare: bool
    """Whether the height bears no unit."""


def height_columns(table: Table) -> list[HeightColumn]:
    """Columns such as `force at 1.800 in [lbf]`, or short `1.800 in [lbf]`, `46 mm`; empty for a tidy table."""
    found = []
    for column in table.columns:
        height = height_of(column.title)
        if height is None or (column.unit is not None and not is_unit(column.unit, "force")):
            continue
        column = _in_stated_unit(table, column)  # noqa: PLW2901
        place = f"{table.header_place}, column {column.title}"
        if height.unit is None and table.in_inches():
            raise BadFile(table.file, place, "a height without a unit beside inches or pounds", "its unit, in or mm")
        if column.unit is None and table.in_inches():
            expected = Phrase("1.800 in [lbf], or the line `# force unit: lbf` above the table")
            raise BadFile(table.file, place, "a height in inches and forces without a unit", expected)
        if not 0.0 < height.mm <= LARGEST_READING_MM:
            expected = Phrase("a height above 0, at most {most} mm", most=f"{LARGEST_READING_MM:g}")
            raise BadFile(table.file, place, Phrase("a height of {mm} mm", mm=f"{height.mm:g}"), expected)
        found.append(HeightColumn(column, height.mm, height.unit is None))
    return found


def _in_stated_unit(table: Table, column: Column) -> Column:
    """A column of forces without a unit takes the preamble's `force unit`."""
    unit = table.text("force unit")
    if unit is None or column.unit is not None:
        return column
    if not is_unit(unit, "force"):
        raise table.bad_key("force unit", repr(unit), "N, lbf or another unit of force")
    return replace(column, unit=unit)


def _refuse_forces(table: Table, column: Column, forces: FloatArray) -> None:
    _refuse_where(table, column, forces < 0.0, "a force of 0 or more")
    refuse_beyond(table, column, forces, LARGEST_SPRING_FORCE_N, "N")


@frozen
class _Taken:
    """Readings one by one, shape (n,) each: row of the table, height in mm, force in N."""

    row: Rows
    height_mm: FloatArray
    force_n: FloatArray

    def groups(self, of_rows: dict[str, Rows]) -> dict[str, Rows]:
        """Readings of each group of rows."""
        if self.row.size == sum(map(len, of_rows.values())):
            return of_rows
        first = np.searchsorted(self.row, np.arange(int(self.row[-1]) + 2))
        return {
            name: np.concatenate([np.arange(first[row], first[row + 1]) for row in rows.tolist()])
            for name, rows in of_rows.items()
        }


def _forces_at_heights(table: Table, at_heights: list[HeightColumn]) -> _Taken:
    """A row of forces becomes readings one by one; an empty force is left out."""
    forces = np.empty((table.row_count, len(at_heights)))
    for index, one in enumerate(at_heights):
        forces[:, index] = table.numbers(one.column, "force", empty_as_nan=True)
        _refuse_forces(table, one.column, forces[:, index])
        missing = np.flatnonzero(np.isnan(forces[:, index]))
        table.note_missing(one.column, missing, one.column.title)
    held = np.isfinite(forces)
    row, column = np.nonzero(held)
    heights = np.array([one.height_mm for one in at_heights])
    return _Taken(row.astype(np.intp), read_only(heights[column]), read_only(forces[held]))


def _refuse_where(table: Table, column: Column, wrong: NDArray[np.bool_], expected: str) -> None:
    if wrong.any():
        raise table.bad(int(np.argmax(wrong)), column, expected)


def _solid_height(table: Table, prefix: str) -> float | None:
    """`solid height`, or in the trade's words `coil bind`; two that differ are refused."""
    solid, bind = positive(table, prefix + "solid height"), positive(table, prefix + "coil bind")
    if solid is not None and bind is not None and abs(solid - bind) > 1e-6:
        raise table.bad_key(prefix + "coil bind", f"{bind:g} mm with a solid height of {solid:g} mm", "one of the two")
    return bind if solid is None else solid


def _coil(table: Table, prefix: str) -> CoilData:
    return CoilData(
        wire_diameter_mm=positive(table, prefix + "wire diameter"),
        mean_coil_diameter_mm=positive(table, prefix + "mean coil diameter"),
        active_coils=positive(table, prefix + "active coils", "number"),
        total_coils=positive(table, prefix + "total coils", "number"),
        free_length_mm=positive(table, prefix + "free length"),
        solid_height_mm=_solid_height(table, prefix),
        material=table.text(prefix + "material"),
    )


def _squareness_uncertainty(table: Table) -> Squareness | None:
    """A standard uncertainty of squareness, as a length or as an angle."""
    key, text = "squareness uncertainty", table.text("squareness uncertainty")
    if text is None:
        return None
    if not is_unit(split_quantity(text, key)[1], "angle"):
        return Squareness(positive(table, key), None)
    value = table.quantity(key, "angle")
    if value is None or not 0.0 < value <= MOST_OUT_OF_SQUARE_DEG:
        raise table.bad_key(key, repr(text), f"an angle above 0, at most {MOST_OUT_OF_SQUARE_DEG:g} deg")
    return Squareness(None, value)


class _Words:
    """A column of words as numbers: `labels` in order of appearance, `codes` (n,) one a reading."""

    def __init__(self, texts: Sequence[str], row: Rows) -> None:
        numbers: dict[str, int] = {}
        of_rows = np.array([numbers.setdefault(text, len(numbers)) for text in texts], dtype=np.intp)
        self.labels, self.codes = list(numbers), of_rows[row]

    def among(self, readings: Rows) -> list[tuple[str, Rows]]:
        """Each label among some readings, in order of appearance, with the readings that bear it."""
        if len(self.labels) == 1:
            return [(self.labels[0], readings)]
        codes, first = np.unique(self.codes[readings], return_index=True)
        return [
            (self.labels[code], readings[self.codes[readings] == code]) for code in codes[np.argsort(first)].tolist()
        ]


class _Reader:
    """Groups the readings of one table into springs, stages, elements and strokes."""

    def __init__(self, table: Table, taken: _Taken) -> None:
        self.table, self.taken = table, taken
        self.stage = self._words("stage", lambda text: text.strip())
        self.stroke = self._words("stroke", lambda text: text.strip().casefold() or "compress")
        self.element = self._words("element", lambda text: text.strip().casefold())
        self.position = self._words("position", lambda text: text.strip())
        self.date = self._dates()
        offset = self._lengths("offset")
        self.offset = None if offset is None else np.nan_to_num(offset)
        self.own: dict[str, FloatArray | None] = {name: self._lengths(name) for name in OWN_LENGTHS}
        self.own.update(self._squareness())
        for code, stroke in enumerate(self.stroke.labels):
            if stroke not in {"compress", "release"}:
                raise table.bad(
                    int(taken.row[int(np.argmax(self.stroke.codes == code))]), "stroke", "compress or release"
                )

    def _words(self, name: str, clean: Callable[[str], str]) -> _Words:
        column = self.table.find(name)
        texts = [""] * self.table.row_count if column is None else self.table.texts(column)
        return _Words([clean(text) for text in texts], self.taken.row)

    def _lengths(self, name: str) -> FloatArray | None:
        """An optional column of lengths in mm, one a reading; NaN where nothing is stated."""
        column = self.table.find(name)
        if column is None:
            return None
        lengths = self.table.numbers(column, "length", empty_as_nan=True)
        refuse_beyond(self.table, column, lengths, LARGEST_READING_MM, "mm")
        if name != "offset":
            _refuse_where(self.table, column, lengths <= 0.0, "a length above 0")
        return lengths[self.taken.row]

    def _dates(self) -> _Words:
        words = self._words("date", lambda text: text.strip())
        for code, text in enumerate(words.labels):
            iso = iso_date(text)
            if text and iso is None:
                row = int(self.taken.row[int(np.argmax(words.codes == code))])
                raise self.table.bad(row, "date", "a date as year-month-day, such as 2026-05-03")
            words.labels[code] = iso or ""
        return words

    def _squareness(self) -> dict[str, FloatArray]:
        """How far out of square each reading's spring is, in mm or in deg as the column says; nothing without one."""
        column = self.table.find("squareness")
        if column is None:
            return {}
        in_deg = column.unit is not None and is_unit(column.unit, "angle")
        values = self.table.numbers(column, "angle" if in_deg else "length", empty_as_nan=True)
        largest, unit = (MOST_OUT_OF_SQUARE_DEG, "deg") if in_deg else (LARGEST_READING_MM, "mm")
        refuse_beyond(self.table, column, values, largest, unit)
        _refuse_where(self.table, column, values < 0.0, "a squareness of 0 or more")
        return {"squareness_deg" if in_deg else "squareness_mm": values[self.taken.row]}

    def _place(self, reading: int, column: str | None = None) -> str:
        named = None if column is None else self.table.find(column)
        return self.table.place(int(self.taken.row[reading]), named)

    def refuse_a_second_pass(self) -> None:
        """Without a column that tells springs apart, heights that come twice may be another spring's."""
        every = np.arange(self.taken.row.size)
        for _, of_stage in self.stage.among(every):
            for _, of_date in self.date.among(of_stage):
                for _, of_element in self.element.among(of_date):
                    for _, readings in self.stroke.among(of_element):
                        self._refuse_turning(readings)

    def _refuse_turning(self, readings: Rows) -> None:
        steps = np.diff(self.taken.height_mm[readings])
        if steps.size:
            sense = np.sign(steps)
            against = np.flatnonzero(sense != sense[0]) if sense[0] else np.array([0])
            if against.size:
                second = int(readings[int(against[0]) + 1])
                raise BadFile(
                    self.table.file,
                    self._place(second, "height"),
                    "a second pass of heights, and no column that tells springs apart",
                    "a column spring, or one pass of heights",
                )

    def spring(self, name: str, readings: Rows) -> list[SpringReadings]:
        """One spring, once for each of its stages."""
        answer = []
        for stage, day, mine in self._stages(name, readings):
            positions = [(label, those) for label, those in self.position.among(mine) if label]
            if len(positions) > 1:
                (first, _), (second, those) = positions[:2]
                found = Phrase(
                    "spring {name} at positions {first} and {second}",
                    name=f"{name!r}",
                    first=f"{first!r}",
                    second=f"{second!r}",
                )
                raise BadFile(self.table.file, self._place(int(those[0])), found, "one position a spring")
            elements = self.element.among(mine)
            bare = next((those for label, those in elements if not label), None)
            if len(elements) > 1 and bare is not None:
                found = Phrase("a reading of nested spring {name} without an element", name=f"{name!r}")
                raise BadFile(self.table.file, self._place(int(bare[0])), found, "outer, inner or damper")
            answer.append(
                SpringReadings(
                    spring=name,
                    stage=stage or None,
                    date=day or None,
                    position=positions[0][0] if positions else None,
                    elements=tuple(self._element(name, word, those) for word, those in elements),
                    place=self._place(int(mine[0])),
                    installed_height_mm=self._one_length(f"spring {name!r}", "installed height", mine),
                    squareness=self._one_squareness(f"spring {name!r}", mine),
                )
            )
        return answer

    def _stages(self, name: str, readings: Rows) -> Iterator[tuple[str, str, Rows]]:
        """Stage, date and readings of each stage of a spring; where no stage is stated, its dates are the stages."""
        for stage, mine in self.stage.among(readings):
            days = [(day, those) for day, those in self.date.among(mine) if day]
            if len(days) > 1 and not stage:
                yield from ((day, day, those) for day, those in self.date.among(mine))
                continue
            if len(days) > 1:
                (first, _), (second, those) = days[:2]
                found = Phrase(
                    "stage {stage} of spring {name} on {second} after {first}",
                    stage=f"{stage!r}",
                    name=f"{name!r}",
                    second=second,
                    first=first,
                )
                raise BadFile(self.table.file, self._place(int(those[0]), "date"), found, "one date a stage")
            yield stage, days[0][0] if days else "", mine

    def _one_squareness(self, called: str, readings: Rows) -> Squareness | None:
        mm, deg = (self._one_length(called, key, readings, "squareness") for key in ("squareness_mm", "squareness_deg"))
        return None if mm is None and deg is None else Squareness(mm, deg)

    def _one_length(self, called: str, name: str, readings: Rows, column: str | None = None) -> float | None:
        """What a column states of one spring; rows that state different lengths are refused."""
        every = self.own.get(name)
        if every is None:
            return None
        lengths = every[readings]
        stated = np.flatnonzero(np.isfinite(lengths))
        if not stated.size:
            return None
        first = float(lengths[stated[0]])
        other = stated[np.abs(lengths[stated] - first) > 1e-6]
        if other.size:
            unit = "deg" if name.endswith("_deg") else "mm"
            raise BadFile(
                self.table.file,
                self._place(int(readings[other[0]]), column or name),
                Phrase(
                    "{what} {length} {unit} after {first} {unit} for {called}",
                    what=column or name,
                    length=f"{lengths[other[0]]:g}",
                    unit=unit,
                    first=f"{first:g}",
                    called=called,
                ),
                Phrase("one {what} a spring", what=column or "length"),
            )
        return first

    def _element(self, name: str, element: str, readings: Rows) -> ElementReadings:
        offset = self._one_offset(name, readings)
        strokes = dict(self.stroke.among(readings))
        called = f"spring {name!r}" + (f", {element}" if element else "")
        if "compress" not in strokes:
            raise BadFile(
                self.table.file,
                self._place(int(readings[0])),
                Phrase("no readings of stroke compress of {called}", called=called),
                "readings on the way down",
            )
        for those in strokes.values():
            self._refuse_two_springs(called, those)
        return ElementReadings(
            element=element,
            compress=self._stroke(strokes["compress"]),
            release=self._stroke(strokes["release"]) if "release" in strokes else None,
            offset_mm=offset,
            solid_height_mm=self._one_length(called, "solid height", readings),
            free_length_mm=self._one_length(called, "free length", readings),
        )

    def _one_offset(self, name: str, readings: Rows) -> float:
        """The offset of an element; readings that state different ones are refused."""
        if self.offset is None:
            return 0.0
        offsets = self.offset[readings]
        if np.ptp(offsets) > 1e-9:
            raise BadFile(
                self.table.file,
                self._place(int(readings[int(np.argmax(offsets != offsets[0]))])),
                Phrase(
                    "offsets {min} and {max} mm for one element of spring {name}",
                    min=f"{offsets.min():g}",
                    max=f"{offsets.max():g}",
                    name=f"{name!r}",
                ),
                "one offset",
            )
        return float(offsets[0])

    def _stroke(self, readings: Rows) -> Stroke:
        return Stroke(read_only(self.taken.height_mm[readings]), read_only(self.taken.force_n[readings]))

    def _refuse_two_springs(self, called: str, readings: Rows) -> None:
        """Repeated heights are repeats while the forces agree; else two springs have one name."""
        read = self.taken.height_mm[readings]
        steps = read[1:] - read[:-1]
        if (steps > 1e-9).all() or (steps < -1e-9).all():  # one pass of heights, as most are
            return
        order = readings[np.lexsort((readings, read))]
        heights, forces = self.taken.height_mm[order], self.taken.force_n[order]
        limit = np.maximum(SAME_READING * np.maximum(forces[1:], forces[:-1]), 2.0)
        wrong = np.flatnonzero((np.diff(heights) <= 1e-9) & (np.abs(np.diff(forces)) > limit))
        if wrong.size:
            first, second = int(order[wrong[0]]), int(order[wrong[0] + 1])
            a, b = float(self.taken.force_n[first]), float(self.taken.force_n[second])
            raise BadFile(
                self.table.file,
                self._place(max(first, second), "height"),
                Phrase(
                    "{a} N and {b} N at {height} mm for {called}",
                    a=f"{a:g}",
                    b=f"{b:g}",
                    height=f"{self.taken.height_mm[first]:g}",
                    called=called,
                ),
                "one force at a height; two springs with one name need names of their own",
            )
