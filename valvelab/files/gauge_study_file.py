"""Gauge studies: `part, appraiser, trial, reading [unit]`, and the plan sheet to fill in.

study = read_gauge_study("micrometer.csv")
"""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from valvelab.arrays import FloatArray, read_only
from valvelab.errors import BadFile, BadQuantity
from valvelab.files.column_assignment import ColumnAssignment
from valvelab.files.contents import Given
from valvelab.files.plausible import LARGEST_NUMBER, LARGEST_PLACE_MM, LARGEST_SPRING_FORCE_N, refuse_beyond
from valvelab.files.table import Column, Table, read_table
from valvelab.phrase import Phrase
from valvelab.records.form_measurement import GaugeReadings
from valvelab.records.result import Note, info
from valvelab.units import CANONICAL, FACTORS, Dimension, factor

EXAMPLE = "part=0, appraiser=1, trial=2, reading=3 [mm]"
LARGEST = {"length": LARGEST_PLACE_MM, "force": LARGEST_SPRING_FORCE_N}


def read_gauge_study(path: Given, columns: ColumnAssignment | str | None = None) -> GaugeReadings:
    """A balanced study. Refuses a cell with too few or too many readings, naming it."""
    return gauge_study(read_table(path, columns))


def gauge_study(table: Table) -> GaugeReadings:
    """A table that was read already, as a gauge study."""
    notes: list[Note] = []
    reading = table.find("reading")
    if reading is None and (reading := table.find("value")) is not None:
        notes.append(info(table.file, Phrase("the column value was read as the reading")))
    if reading is None:
        reading = table.require("reading", EXAMPLE)
    named = [table.require(name, EXAMPLE) for name in ("part", "appraiser", "trial")]
    table = table.with_numbers(reading, names=named[0])
    dimension, unit = _dimension(table, reading)
    values = table.numbers(reading, dimension)
    refuse_beyond(table, reading, values, LARGEST.get(dimension, LARGEST_NUMBER), unit)
    if dimension == "number":
        notes.append(
            info(table.file, Phrase("column reading carries no unit; deviations are in the readings' own unit"))
        )
    parts, appraisers, trials, readings = _grid(table, values)
    table.note_unknown([column.name for column in (*named, reading)])
    return GaugeReadings(
        file=table.file,
        source=table.source,
        parts=parts,
        appraisers=appraisers,
        trials=trials,
        readings=readings,
        unit=unit,
        characteristic=table.text("characteristic"),
        tolerance=table.text("tolerance"),
        notes=(*table.notes, *notes),
    )


def _dimension(table: Table, reading: Column) -> tuple[Dimension, str]:
    """What the readings are, by their unit; and the unit that results carry."""
    if reading.unit is None:
        return "number", ""
    for dimension in FACTORS:
        if dimension in {"number", "percent"}:
            continue
        try:
            factor(reading.unit, dimension, "reading")
        except BadQuantity:
            continue
        return dimension, CANONICAL[dimension]
    known = ", ".join(unit for unit in CANONICAL.values() if unit)
    raise BadFile(table.file, f"{table.header_place}, column {reading.title}", f"unit {reading.unit!r}", known)


def _grid(table: Table, values: FloatArray) -> tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...], FloatArray]:
    """Names of parts, appraisers, trials, and the readings by them; every cell exactly once."""
    groups = [
        dict(sorted(table.groups(name).items(), key=lambda group: _natural(group[0])))
        for name in ("part", "appraiser", "trial")
    ]
    names = [tuple(group) for group in groups]
    index = np.zeros((3, values.size), dtype=np.int64)
    for axis, group in enumerate(groups):
        for number, rows in enumerate(group.values()):
            index[axis, rows] = number
    shape = tuple(len(group) for group in names)
    if np.prod(shape) > 100 * values.size + 1000:
        raise BadFile(
            table.file,
            "",
            f"{shape[0]} parts, {shape[1]} appraisers, {shape[2]} trials in {values.size} rows",
            "every part read by every appraiser in every trial",
        )
    counts = np.zeros(shape, dtype=np.int64)
    np.add.at(counts, tuple(index), 1)
    wrong = np.argwhere(counts != 1)
    if wrong.size:
        cell = wrong[0]
        where = f"part {names[0][cell[0]]}, appraiser {names[1][cell[1]]}, trial {names[2][cell[2]]}"
        many = int(counts[tuple(cell)])
        found = (f"{many} readings" if many else "no reading") + table.left_out
        raise BadFile(table.file, where, found, "one: the study is not balanced")
    readings = np.empty(shape)
    readings[tuple(index)] = values
    return names[0], names[1], names[2], read_only(readings)


def _natural(name: str) -> tuple[tuple[int, int, str], ...]:
    """Order of names in which 9 comes before 10."""
    pieces = re.split(r"(\d{1,18})", name)
    return tuple((0, int(piece), "") if piece.isdecimal() else (1, 0, piece.casefold()) for piece in pieces if piece)


def can_be_planned(parts: int, appraisers: int, trials: int) -> bool:
    """Whether a study has the least that it takes, `LEAST_PLAN`, and no more readings than anyone takes."""
    return parts >= 2 and appraisers >= 1 and trials >= 2 and parts * appraisers * trials <= _MOST_PLANNED


_MOST_PLANNED = 10_000
LEAST_PLAN = f"at least 2 parts, 1 appraiser, 2 trials, at most {_MOST_PLANNED} readings"


def plan_rows(parts: int, appraisers: int, trials: int, seed: int) -> list[tuple[str, str, str]]:
    """A study to carry out: in each trial every appraiser takes all parts, in an order drawn anew.

    Appraisers are lettered, parts and trials numbered. The same seed gives the same plan.
    """
    from random import Random

    draw = Random(seed)  # noqa: S311 - a reproducible order, not a secret
    rows: list[tuple[str, str, str]] = []
    for trial in range(1, trials + 1):
        letters = [_letters(number) for number in range(appraisers)]
        draw.shuffle(letters)
        for letter in letters:
            order = list(range(1, parts + 1))
            draw.shuffle(order)
            rows.extend((str(part), letter, str(trial)) for part in order)
    return rows


def _letters(number: int) -> str:
    return chr(ord("A") + number % 26) * (1 + number // 26)


def plan_text(rows: Sequence[tuple[str, str, str]], seed: int) -> str:
    """The plan as a table to print, fill in and read back."""
    head = [
        "# gauge study: read the parts in this order, without seeing earlier readings",
        f"# seed: {seed}",
        "part, appraiser, trial, reading [mm]",
    ]
    return "\n".join([*head, *(f"{', '.join(row)}, " for row in rows)]) + "\n"
