"""Shaft readings: a dial or probe turned through each journal, on centres or in vees.

readings = read_shaft_readings("journals.csv")
"""

from __future__ import annotations

import re

import numpy as np

from valvelab.arrays import FloatArray, read_only
from valvelab.camshaft.roundness import JournalTrace
from valvelab.errors import BadFile, BadQuantity
from valvelab.files.column_assignment import ColumnAssignment
from valvelab.files.contents import Given
from valvelab.files.plausible import (
    LARGEST_ANGLE_DEG,
    LARGEST_PLACE_MM,
    LARGEST_READING_MM,
    positive,
    refuse_beyond,
)
from valvelab.files.table import Table, read_table
from valvelab.phrase import Phrase
from valvelab.records.form_measurement import ShaftReadings, Vees
from valvelab.records.result import Note, info, warning
from valvelab.units import parse_angle, parse_quantity

EXAMPLE = "station=0, position=1 [mm], angle=2 [deg], reading=3 [um]"
DEFAULT_VEE_ANGLE_DEG = 90.0

_NUMBER = r"[+\-]?\d+(?:[.,]\d+)?"
_VEES = re.compile(
    rf"vees?(?:\s+({_NUMBER}\s*(?:deg|°)))?\s+({_NUMBER}\s*[a-z\"µ]*)[\s,;]+({_NUMBER}\s*[a-z\"µ]*)"
    rf"(?:[\s,;]+({_NUMBER}\s*(?:deg|°)))?",
    re.IGNORECASE,
)


def read_shaft_readings(path: Given, columns: ColumnAssignment | str | None = None) -> ShaftReadings:
    """Read `station, position [mm], angle [deg], reading [mm|um]` with its preamble."""
    return shaft_readings(read_table(path, columns))


def shaft_readings(table: Table) -> ShaftReadings:
    """A table that was read already, as shaft readings."""
    station, *needed = (table.require(name, EXAMPLE) for name in ("station", "angle", "reading"))
    place = table.find("position")
    if place is not None:
        needed.append(place)
    table = table.with_numbers(*needed, names=station)
    angle, reading = table.numbers("angle", "angle"), table.numbers("reading", "length")
    position = None if place is None else table.numbers(place, "length")
    refuse_beyond(table, "angle", angle, LARGEST_ANGLE_DEG, "deg")
    refuse_beyond(table, "reading", reading, LARGEST_READING_MM, "mm")
    if position is not None:
        refuse_beyond(table, "position", position, LARGEST_PLACE_MM, "mm")
    traces: list[JournalTrace] = []
    for name, rows in table.groups("station").items():
        traces.extend(_tracks(name, rows, position, angle, reading))
    if not traces:
        raise BadFile(table.file, "", "no readings", "rows of station, position, angle, reading")
    table.note_unknown(column.name for column in (station, *needed))
    vees, notes = _support(table)
    return ShaftReadings(
        file=table.file,
        source=table.source,
        traces=tuple(traces),
        vees=vees,
        support_stated=table.text("support") is not None,
        probe_uncertainty_mm=positive(table, "probe uncertainty"),
        journal_radius_mm=_radius(table),
        part=table.text("part"),
        serial=table.text("serial"),
        operator=table.text("operator"),
        instrument=table.text("instrument"),
        date=table.text("date"),
        notes=(*table.notes, *notes),
    )


def _tracks(
    name: str, rows: np.ndarray[tuple[int], np.dtype[np.intp]], position: FloatArray | None, *readings: FloatArray
) -> list[JournalTrace]:
    """One trace for each place along the shaft at which a station was read, in order of appearance."""
    angle, reading = readings
    if position is None:
        return [JournalTrace(name, None, read_only(angle[rows]), read_only(reading[rows]))]
    places = np.round(position[rows], 4)
    distinct, first = np.unique(places, return_index=True)
    found = []
    for place in distinct[np.argsort(first)]:
        here = rows[places == place]
        found.append(JournalTrace(name, float(place), read_only(angle[here]), read_only(reading[here])))
    return found


def _radius(table: Table) -> float | None:
    radius, diameter = positive(table, "journal radius"), positive(table, "journal diameter")
    return radius if radius is not None or diameter is None else 0.5 * diameter


def _support(table: Table) -> tuple[Vees | None, list[Note]]:
    """`centres`, or `vees 0.0 mm 160.0 mm`, with the vee's angle before, after or under its own key."""
    stated = table.text("support")
    if stated is None:
        return None, [info(table.file, Phrase("no line above the table states the support; read as between centres"))]
    if stated.casefold() in {"centres", "centers", "between centres", "between centers"}:
        return None, []
    match = _VEES.fullmatch(stated.strip())
    if match is None:
        raise table.bad_key("support", repr(stated), "centres, or vees with two positions: vees 0.0 mm 160.0 mm")
    before, first, second, after = match.groups()
    table.refuse_bare("support", text=first.strip())
    table.refuse_bare("support", text=second.strip())
    try:
        places = (parse_quantity(first, "length", "support"), parse_quantity(second, "length", "support"))
        typed = before or after
        angle = parse_angle(typed, "cam", "support") if typed else table.angle("vee angle", "cam")
    except BadQuantity as error:
        raise table.bad_key("support", error.found, error.expected) from None
    if places[0] == places[1]:
        raise table.bad_key("support", f"both vees at {places[0]:g} mm", "two places along the shaft")
    if angle is not None and not 20.0 <= angle < 180.0:
        raise table.bad_key("support", f"a vee of {angle:g} deg", "20 to 180 deg")
    notes = []
    if angle is None:
        notes.append(
            warning(
                table.file,
                Phrase(
                    "the vee's angle is not stated; taken as {default_vee_angle_deg} deg",
                    default_vee_angle_deg=f"{DEFAULT_VEE_ANGLE_DEG:g}",
                ),
            )
        )
    return Vees(places, DEFAULT_VEE_ANGLE_DEG if angle is None else angle, angle is not None), notes
