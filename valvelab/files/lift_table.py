"""Lift tables: tidy (`lobe, angle, lift`) or wide (`angle`, then one column a lobe).

Angles become cam degrees in the running sense: crank degrees are halved first, then a reverse sweep is mirrored.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from valvelab.arrays import read_only, stretches
from valvelab.errors import BadFile, BadQuantity
from valvelab.files.column_assignment import ColumnAssignment
from valvelab.files.column_names import is_unit, lobe_name
from valvelab.files.contents import Given
from valvelab.files.plausible import LARGEST_ANGLE_DEG, positive, refuse_beyond
from valvelab.files.swept_angles import LobeReadings, SweptAngles, doubts_of, taken
from valvelab.files.table import Column, Table, read_table
from valvelab.follower.shapes import Shape, parse_shape
from valvelab.lobe.trace import Trace
from valvelab.phrase import Phrase
from valvelab.records.measurement import LiftTable
from valvelab.records.result import Note, info, warning

MIN_READINGS = 8
MAX_LOBES = 512
EXAMPLE = "angle=0 [crank deg], 1I=1 [mm]"

KNOWN_KEYS = (
    "part", "serial", "lift at", "follower", "base circle radius", "rotation", "firing order", "cylinders",
    "bank angle", "second bank", "probe uncertainty", "probe resolution", "encoder uncertainty", "temperature",
    "operator", "instrument", "date", "lobe",
)  # fmt: skip

Word = TypeVar("Word", bound=str)


def read_lift_table(path: Given, columns: ColumnAssignment | str | None = None) -> LiftTable:
    """The lift table in a file. Raises ColumnsNeeded when its columns have no usable names, BadFile otherwise."""
    return lift_table(read_table(path, columns))


def lift_table(table: Table) -> LiftTable:
    """A table that was read already, as a lift table."""
    angle_column = table.require("angle", EXAMPLE)
    reverse = _word(table, "rotation", ("forward", "reverse"), "forward") == "reverse"
    lobe_column, lift_column = table.find("lobe"), table.find("lift")
    notes: list[Note] = []
    if lobe_column is not None or lift_column is not None:
        columns = [table.require("lift", EXAMPLE)]
        table = table.with_numbers(angle_column, columns[0], names=lobe_column)
        readings = _tidy(table, lobe_column, columns[0])
        table.note_unknown(_names_of(table, "lobe", "angle", "lift", "sweep"))
        if lobe_column is None:
            notes.append(
                info(table.file, Phrase("no column lobe: everything is one lobe, {name}", name=readings[0].name))
            )
    else:
        columns = _lobe_columns(table, angle_column)
        if not columns:
            raise table.columns_needed("a column 'lift', or one column a lobe", EXAMPLE)
        table = table.with_numbers(angle_column, any_of=columns)
        readings = _wide(table, columns, notes)
        table.note_unknown((*_names_of(table, "angle", "sweep"), *(column.name for column in columns)))
    refuse_beyond(table, angle_column, table.angles_cam_deg(angle_column, "crank"), LARGEST_ANGLE_DEG, "deg")
    sweep = SweptAngles(table, angle_column, readings)
    traces = sweep.traces(notes, reverse=reverse)
    if reverse:
        notes.append(info(table.file, Phrase("reverse sweep: angles mirrored")))
    bare = [trace for trace, column in zip(traces, columns * len(traces), strict=False) if column.unit is None]
    doubts = doubts_of(traces, bare, angle_stated=table.turn(angle_column) is not None, taken_as=sweep.otherwise)
    notes += [warning("unit", doubt) for doubt in (doubts.angle, doubts.lift) if doubt]
    return LiftTable(
        file=table.file,
        traces=traces,
        source=table.source,
        part=table.text("part"),
        serial=table.text("serial"),
        lift_at=_word(table, "lift at", ("follower", "valve"), "follower"),
        follower=_follower(table),
        base_circle_radius_mm=positive(table, "base circle radius"),
        rotation="reverse" if reverse else "forward",
        firing_order=_cylinder_list(table, "firing order"),
        cylinders=_count(table, "cylinders"),
        bank_angle_deg=_bank_angle(table),
        second_bank=_cylinder_list(table, "second bank"),
        probe_uncertainty_mm=positive(table, "probe uncertainty", zero=True),
        probe_resolution_mm=positive(table, "probe resolution"),
        encoder_uncertainty_cam_deg=_encoder(table),
        temperature_degc=table.quantity("temperature", "temperature"),
        operator=table.text("operator"),
        instrument=table.text("instrument"),
        date=table.text("date"),
        remarks={key: value for key, value in table.preamble.items() if key not in KNOWN_KEYS},
        notes=(*table.notes, *notes, *([] if doubts.lift else _scale_notes(table.file, traces))),
        doubts=doubts,
    )


def _names_of(table: Table, *names: str) -> list[str]:
    return [column.name for name in names if (column := table.find(name)) is not None]


def _tidy(table: Table, lobe: Column | None, lift: Column) -> tuple[LobeReadings, ...]:
    lifts = table.numbers(lift, "length")
    sweep_column = table.find("sweep")
    sweeps = None if sweep_column is None else _sweeps(table, sweep_column)
    groups = {table.text("lobe") or "1": np.arange(table.row_count)} if lobe is None else table.groups(lobe, MAX_LOBES)
    readings = []
    for name, rows in groups.items():
        if len(rows) < MIN_READINGS:
            place = table.place(int(rows[0]), lobe) if lobe is not None else ""
            found = Phrase(
                "{count} readings of lobe {name}{left_out}", count=len(rows), name=f"{name!r}", left_out=table.left_out
            )
            raise BadFile(table.file, place, found, Phrase("at least {least}", least=MIN_READINGS))
        sweep = None if sweeps is None else _numbered(taken(sweeps, rows))
        readings.append(LobeReadings(lobe_name(name) or name, rows, read_only(taken(lifts, rows)), sweep))
    _check_names(table, [one.name for one in readings])
    return tuple(readings)


def _sweeps(table: Table, column: Column) -> NDArray[np.int64]:
    labels = table.groups(column)
    numbers = np.empty(table.row_count, dtype=np.int64)
    for number, rows in enumerate(labels.values()):
        numbers[rows] = number
    return numbers


def _numbered(sweeps: NDArray[np.int64]) -> NDArray[np.int64] | None:
    """Sweeps numbered from 0 within one lobe; None when there is one only."""
    distinct, numbers = np.unique(sweeps, return_inverse=True)
    if len(distinct) < 2:
        return None
    numbers = numbers.astype(np.int64)
    numbers.setflags(write=False)
    return numbers


def _wide(table: Table, lobes: Sequence[Column], notes: list[Note]) -> tuple[LobeReadings, ...]:
    """One lobe a column; a cell without a reading leaves out that reading, not the row."""
    if len(lobes) > MAX_LOBES:
        raise BadFile(
            table.file,
            table.header_place,
            Phrase("{count} lobes", count=len(lobes)),
            Phrase("at most {most}", most=MAX_LOBES),
        )
    names = [lobe_name(column.title) or column.title for column in lobes]
    _check_names(table, names)
    sweep_column = table.find("sweep")
    sweeps = None if sweep_column is None else _sweeps(table, sweep_column)
    shared_sweep = None if sweeps is None else _numbered(sweeps)
    every = np.arange(table.row_count)
    readings = []
    for name, column in zip(names, lobes, strict=True):
        lifts = table.numbers(column, "length", empty_as_nan=True)
        missing = np.isnan(lifts)
        rows = np.flatnonzero(~missing)
        if not rows.size:
            raise BadFile(
                table.file,
                table.header_place,
                Phrase("no readings in column {title}", title=f"{column.title!r}"),
                "lifts",
            )
        if rows.size < MIN_READINGS:
            found = Phrase(
                "{size} readings of lobe {name}{left_out}", size=rows.size, name=f"{name!r}", left_out=table.left_out
            )
            raise BadFile(table.file, "", found, Phrase("at least {least}", least=MIN_READINGS))
        if rows.size == table.row_count:
            readings.append(LobeReadings(name, every, lifts, shared_sweep))
            continue
        notes += _missing_notes(table, name, column, missing)
        sweep = None if sweeps is None else _numbered(sweeps[rows])
        readings.append(LobeReadings(name, rows, read_only(lifts[rows]), sweep))
    return tuple(readings)


def _missing_notes(table: Table, name: str, column: Column, missing: NDArray[np.bool_]) -> list[Note]:
    """Long empty stretches are outside a lobe's event; a cell left empty among readings, or with a word, is missed."""
    texts = table.texts(column)
    outside = np.zeros(missing.size, dtype=np.bool_)
    for start, stop in stretches(missing):
        at_an_end = start == 0 or stop == missing.size
        outside[start:stop] = at_an_end or stop - start > missing.size // 8
    outside &= np.array([not text for text in texts], dtype=np.bool_)
    missed = np.flatnonzero(missing & ~outside)
    notes = []
    if outside.any():
        many = Phrase("{count} empty cells", count=int(outside.sum()))
        notes.append(info(table.file, Phrase("lobe {name}: {many} outside its event left out", name=name, many=many)))
    table.note_missing(column, missed, f"lobe {name}")
    return notes


def _lobe_columns(table: Table, angle: Column) -> list[Column]:
    """The columns of a wide table that are lobes.

    An assignment names them. Otherwise: a column in a length, or named like a lobe, or, where no column says a
    length, any column of numbers without a unit. A column in a unit that nobody knows counts, to be refused by name.
    """
    sweep = table.find("sweep")
    others = [column for column in table.columns if column not in (angle, sweep) and column.title]
    if table.assigned:
        return others
    lengths = any(column.unit is not None and is_unit(column.unit, "length") for column in others)
    lobes = []
    for column in others:
        if column.unit is not None:
            named = lobe_name(column.title) is not None or is_unit(column.unit, "length") or not is_unit(column.unit)
        else:
            named = lobe_name(column.title) is not None or (not lengths and table.has_numbers(column))
        if named:
            lobes.append(column)
    return lobes


def _check_names(table: Table, names: Sequence[str]) -> None:
    seen: set[str] = set()
    for name in names:
        if name.casefold() in seen:
            raise BadFile(
                table.file,
                table.header_place,
                Phrase("two lobes called {name}", name=f"{name!r}"),
                "a name for each lobe",
            )
        seen.add(name.casefold())


def _word(table: Table, key: str, allowed: tuple[Word, ...], default: Word) -> Word:
    text = table.text(key)
    if text is None:
        return default
    for word in allowed:
        if text.casefold() == word:
            return word
    raise table.bad_key(key, repr(text), " or ".join(allowed))


def _encoder(table: Table) -> float | None:
    value = table.angle("encoder uncertainty", "cam")
    if value is not None and value < 0.0:
        raise table.bad_key("encoder uncertainty", repr(table.preamble["encoder uncertainty"]), "a positive angle")
    return value


def _bank_angle(table: Table) -> float | None:
    value = table.quantity("bank angle", "angle")
    if value is not None and not 0.0 <= value < 360.0:
        raise table.bad_key("bank angle", repr(table.preamble["bank angle"]), "an angle from 0 to 360 deg")
    return value


def _count(table: Table, key: str) -> int | None:
    text = table.text(key)
    if text is None:
        return None
    if not text.isascii() or not text.isdigit() or not 1 <= int(text[:6]) <= 64:
        raise table.bad_key(key, repr(text), "a whole number from 1 to 64")
    return int(text)


def _cylinder_list(table: Table, key: str) -> tuple[int, ...] | None:
    """`1-3-4-2`, with hyphens, commas or spaces."""
    text = table.text(key)
    if text is None:
        return None
    try:
        return parse_cylinders(text, key)
    except BadQuantity as error:
        raise table.bad_key(key, error.found, error.expected) from None


def parse_cylinders(text: str, field: str) -> tuple[int, ...]:
    """Cylinder numbers of `1-3-4-2`, each once; hyphens, dashes, commas or spaces between them."""
    parts = [part for part in re.split(r"[\s,;\-–—]+", text.strip()) if part]
    wanted = "cylinder numbers, each once, as in 1-3-4-2"
    if not parts or not all(part.isascii() and part.isdigit() and len(part) <= 2 for part in parts):
        raise BadQuantity(field, repr(text), wanted)
    numbers = tuple(int(part) for part in parts)
    if len(set(numbers)) < len(numbers) or not all(1 <= number <= 64 for number in numbers):
        raise BadQuantity(field, repr(text), wanted)
    return numbers


def _follower(table: Table) -> Shape | None:
    text = table.text("follower")
    if text is None:
        return None
    table.refuse_bare("follower", text=text.partition(" ")[2])
    try:
        return parse_shape(text, "follower")
    except BadQuantity as error:
        raise table.bad_key("follower", error.found, error.expected) from None


def _scale_notes(file: str, traces: Sequence[Trace]) -> list[Note]:
    """A lift far from any engine's says that a unit was taken for another."""
    highest = max(float(trace.lift_mm.max()) for trace in traces)
    if 0.05 < highest < 60.0:
        return []
    return [
        warning(
            file,
            Phrase("the highest lift is {highest} mm; check the unit of the lift columns", highest=f"{highest:.4g}"),
        )
    ]
