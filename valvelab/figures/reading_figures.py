"""What a table of readings looks like before anything is computed from it: one plot, and in words what it shows.

Units are those of the file's columns: words tell sizes in them first, so that a wrong one is seen.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.figures.description import Axis, Curve, Figure, Marks, Role, Unit, mark
from valvelab.phrase import Phrase, listed
from valvelab.records.form_measurement import GaugeReadings, ShaftReadings, SurfaceTrace
from valvelab.records.measurement import LiftTable
from valvelab.records.spring_readings import HeightsTable, SpringTable
from valvelab.units import FACTORS, System

_SPRING_HEIGHT = Phrase("Height{of_a_spring}", of_a_spring="")  # a surface's is another word elsewhere
_POINTS = 2000
_CURVES = 200
_TOLD = 4
_IN_INCHES = frozenset({"in", "inch", "inches", '"', "thou", "uin", "µin", "lbf", "lb", "lbs"})


@dataclass(frozen=True, slots=True)
class Drawn:
    """A plot of readings in the units of their file, and what it shows in words."""

    figure: Figure
    words: str
    units: System


def drawn(value: object, units: Mapping[str, str]) -> Drawn | None:
    """The plot of what a table was read as; None for anything else. `units` are those of its columns, by name."""
    system: System = "inch" if any(unit.lower() in _IN_INCHES for unit in units.values()) else "metric"
    match value:
        case LiftTable():
            figure, words = _lifts(value, units)
        case SpringTable():
            figure, words = _springs(value, units)
        case HeightsTable():
            figure, words = _heights(value, units)
        case ShaftReadings():
            figure, words = _shaft(value, units)
        case SurfaceTrace():
            figure, words = _trace(value, units)
        case GaugeReadings():
            figure, words = _study(value, units)
        case _:
            return None
    return Drawn(figure, words, system)


def _lifts(table: LiftTable, units: Mapping[str, str]) -> tuple[Figure, str]:
    crank = "crank" in units.get("angle", "")
    per_cam, unit = (2.0, "crank deg") if crank else (1.0, "cam deg")
    curves: list[Curve] = []
    told: list[str] = []
    highest = (0.0, 0.0)
    lowest = min(float(trace.lift_mm.min()) for trace in table.traces)
    for number, trace in enumerate(table.traces):
        angle = per_cam * trace.angle_cam_deg
        nose = int(np.argmax(trace.lift_mm))
        peak = float(angle[nose]), float(trace.lift_mm[nose])
        highest = max(highest, peak, key=lambda one: one[1])
        size = _size(peak[1], units.get(trace.name, units.get("lift", "")), "mm")
        angle_told = f"{peak[0]:.4g} {unit}".replace("-", "−")
        told.append(Phrase("{lobe} {size} at {angle}", lobe=trace.name, size=size, angle=angle_told))
        curves.append(_curve(angle, trace.lift_mm, "series", trace.name if number < _TOLD else "", number))
    figure = Figure(
        "lift as read",
        "Lift as read",
        Axis("Angle", "crank deg" if crank else "cam deg"),
        Axis("Lift", "mm", (min(0.0, lowest), 1.12 * highest[1])),
        tuple(curves[:_CURVES]),
        marks=(mark(*highest, "fit"),),
    )
    return figure, _listed(told)


def _springs(table: SpringTable, units: Mapping[str, str]) -> tuple[Figure, str]:
    strokes = [element.compress for spring in table.springs for element in spring.elements]
    curves = [_curve(stroke.height_mm, stroke.force_n, "measured_quiet") for stroke in strokes[1 : _CURVES + 1]]
    curves.append(_curve(strokes[0].height_mm, strokes[0].force_n, "measured", table.springs[0].spring))
    heights = np.concatenate([stroke.height_mm for stroke in strokes])
    forces = np.concatenate([stroke.force_n for stroke in strokes])
    rates = [float(np.ptp(one.force_n) / np.ptp(one.height_mm)) for one in strokes if np.ptp(one.height_mm)]
    inches = units.get("force", "").lower() in _IN_INCHES
    figure = Figure("force as read", "Force as read", Axis(_SPRING_HEIGHT, "mm"), Axis("Force", "N"), tuple(curves))
    force = _size(float(forces.max()), units.get("force", ""), "N")
    unit = units.get("height", "")
    said = Phrase(
        "{count} springs, heights {low} to {high}, highest force {force}"
        if len(table.springs) > 1
        else "{count} spring, heights {low} to {high}, highest force {force}",
        count=str(len(table.springs)),
        low=_number(float(heights.min()), unit, "mm"),
        high=_size(float(heights.max()), unit, "mm"),
        force=force,
    )
    if not rates:
        return figure, listed((said, "."), "")
    rate = _size(float(np.median(rates)), "lbf/in" if inches else "N/mm", "N/mm", 4)
    return figure, Phrase("{told}; about {rate}.", told=said, rate=rate)


def _heights(table: HeightsTable, units: Mapping[str, str]) -> tuple[Figure, str]:
    heights = np.array([one.height_mm for one in table.positions])
    unit = units.get("height", "")
    figure = _by_name(
        "height as read", "Height as read", "Position", [one.position for one in table.positions], heights
    )
    return figure, Phrase(
        "{count} positions, {low} to {high}." if heights.size > 1 else "{count} position, {low} to {high}.",
        count=str(heights.size),
        low=_number(heights.min(), unit, "mm"),
        high=_size(heights.max(), unit, "mm"),
    )


def _shaft(readings: ShaftReadings, units: Mapping[str, str]) -> tuple[Figure, str]:
    curves = [
        _curve(one.angle_deg, 1000.0 * one.reading_mm, "series", one.name if number < _TOLD else "", number)
        for number, one in enumerate(readings.traces[:_CURVES])
    ]
    widest = max(readings.traces, key=lambda one: float(np.ptp(one.reading_mm)))
    size = _size(float(np.ptp(widest.reading_mm)), units.get("reading", ""), "mm")
    figure = Figure("reading as read", "Reading as read", Axis("Angle", "deg"), Axis("Reading", "um"), tuple(curves))
    return figure, Phrase(
        "{count} stations read; the widest readings are {station}'s, {size} from lowest to highest."
        if len(readings.traces) > 1
        else "{count} station read; the widest readings are {station}'s, {size} from lowest to highest.",
        count=str(len(readings.traces)),
        station=widest.name,
        size=size,
    )


def _trace(trace: SurfaceTrace, units: Mapping[str, str]) -> tuple[Figure, str]:
    figure = Figure(
        "height as read",
        "Height as read",
        Axis("x", "mm"),
        Axis("z", "um"),
        (_curve(trace.x_mm, trace.z_um, "measured"),),
    )
    across = _size(float(trace.x_mm[-1] - trace.x_mm[0]), units.get("x", ""), "mm")
    high = _size(float(np.ptp(trace.z_um)) / 1000.0, units.get("z", "um"), "mm")
    return figure, Phrase("{length} long, {height} high.", length=across, height=high)


def _study(study: GaugeReadings, units: Mapping[str, str]) -> tuple[Figure, str]:
    count = study.readings[0].size
    unit: Unit = {"mm": "mm", "N": "N", "deg": "deg"}.get(study.unit, "")  # type: ignore[assignment]
    figure = _by_name(
        "readings", "Readings as read", "Part", study.parts, study.readings.reshape(len(study.parts), -1), unit
    )
    low, high = float(study.readings.min()), float(study.readings.max())
    told = units.get("reading", "")
    return figure, Phrase(
        "{parts} parts, each read {count} times, {low} to {high}.",
        parts=str(len(study.parts)),
        count=str(count),
        low=_number(low, told, study.unit),
        high=_size(high, told, study.unit),
    )


def _by_name(name: str, title: str, across: str, names: Sequence[str], values: FloatArray, unit: Unit = "mm") -> Figure:
    """Readings over names along the axis; values: shape (names,) or (names, readings)."""
    places = np.arange(len(names), dtype=np.float64)
    x = np.repeat(places, values.size // len(names))
    step = max(1, len(names) // 20)
    shown = tuple((float(place), names[int(place)]) for place in places[::step])
    points = Marks(x, values.ravel(), "readings")
    return Figure(
        name, title, Axis(across, "", (-0.5, len(names) - 0.5), names=shown), Axis("Reading", unit), marks=(points,)
    )


def _curve(x: FloatArray, y: FloatArray, role: Role, label: str = "", series: int = 0) -> Curve:
    """A curve of at most some thousand points; a step back along x breaks it where it is longer than half of all."""
    step = 1 + x.size // _POINTS
    x, y = x[::step], y[::step].copy()
    back = np.flatnonzero(np.abs(np.diff(x)) > 0.5 * np.ptp(x)) if x.size > 2 else np.array([], dtype=np.intp)
    y[back + 1] = np.nan
    return Curve(x, y, role, label, series)


def _number(value: float, unit: str, canonical: str, digits: int = 5) -> str:
    """A canonical value in a unit as a column states it, without the unit."""
    return f"{value / _per_unit(unit, canonical):.{digits}g}"


def _size(value: float, unit: str, canonical: str, digits: int = 5) -> str:
    """A canonical value in a unit as a column states it, and in brackets in the canonical one where that is another."""
    number = _number(value, unit, canonical, digits)
    if _per_unit(unit, canonical) == 1.0:
        return f"{number} {canonical}".rstrip()
    return f"{number} {'µm' if unit == 'um' else unit} ({value:.4g} {canonical})"


def _per_unit(unit: str, canonical: str) -> float:
    scales = (table for table in FACTORS.values() if canonical in table)
    lowered = {name.lower(): scale for table in scales for name, scale in table.items()}
    return lowered.get(unit.lower(), 1.0)


def _listed(told: Sequence[str]) -> str:
    first = listed(told[:_TOLD])
    if len(told) > _TOLD:
        return Phrase("Highest lifts: {lifts} and {count} more.", lifts=first, count=str(len(told) - _TOLD))
    return Phrase("Highest lift: {lifts}." if len(told) == 1 else "Highest lifts: {lifts}.", lifts=first)
