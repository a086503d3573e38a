"""Plots of a tray of springs: force and rate over height, seat force against rate, coils at open and solid height."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import floor, sqrt
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from valvelab.arrays import FloatArray, read_only
from valvelab.decimals import decimals_among
from valvelab.figures.description import (
    SERIES_COLOURS,
    Axis,
    Band,
    Curve,
    Figure,
    Guide,
    Marks,
    Role,
    block,
    level,
    mark,
    words,
)
from valvelab.units import System, with_unit
from valvelab.very_same import OfTheSame

if TYPE_CHECKING:
    from valvelab.inspection.springs.analysis import SpringAnalysis
    from valvelab.inspection.springs.inspect import SpringsInspection
    from valvelab.records.result import Verdict
    from valvelab.records.springs_result import SpringResult

HEIGHT = "height"
PAST_SOLID = 0.25
"""Share of the highest free force that is shown above it, so that the knee is seen and the forces stay readable."""
WINDOW_MM = 0.25
"""Half the drawn width of a window of force at one height."""


def spring_line(analysis: SpringAnalysis) -> tuple[FloatArray, FloatArray]:
    """Heights at the valve, ascending, and forces; of a single spring with the readings past coil bind."""
    if len(analysis.elements) == 1:
        read = analysis.elements[0].read
        loose = read.force_n <= 0.0
        top = int(np.flatnonzero(loose)[0]) + 1 if loose.any() else read.force_n.size
        return read.height_mm[:top] - analysis.elements[0].offset_mm, read.force_n[:top]
    return analysis.free_readings()


def _below(line: tuple[FloatArray, FloatArray], most: float) -> tuple[FloatArray, FloatArray]:
    """The part of a line from where its force first comes down to `most`, so that a steep knee ends at the top."""
    heights, forces = line
    over = np.flatnonzero(forces > most)
    if not over.size or over[-1] + 1 >= forces.size:
        return line
    last = int(over[-1])
    share = (forces[last] - most) / (forces[last] - forces[last + 1])
    first = heights[last] + share * (heights[last + 1] - heights[last])
    return np.append([first], heights[last + 1 :]), np.append([most], forces[last + 1 :])


def joined(lines: Sequence[tuple[FloatArray, FloatArray]]) -> tuple[FloatArray, FloatArray]:
    """Several lines as one curve that is broken between them."""
    x = [part for heights, _ in lines for part in (heights, heights[-1:])]
    y = [part for _, forces in lines for part in (forces, [np.nan])]
    return np.concatenate(x), np.concatenate(y)


def _forces_shown(analyses: Sequence[SpringAnalysis]) -> tuple[float, float]:
    """Range of force: from 0 (or the least read, where that is far above) to a little over the highest free force."""
    high = max(float(np.max(analysis.free_readings()[1])) for analysis in analyses)
    low = min(float(np.min(analysis.free_readings()[1])) for analysis in analyses)
    return (0.0 if low < 0.6 * high else low - 0.1 * (high - low)), high * (1.0 + PAST_SOLID)


@dataclass(frozen=True, slots=True)
class TrayLines:
    """The lines of a whole tray, worked out once: force over height, and the same less the tray's middle line.

    `differences` end at coil bind; `middle_n` is the median force at each of `heights_mm`. `shown_mm`, `forces_n` and
    `differences_n` are the ranges that are drawn.
    """

    lines: tuple[tuple[FloatArray, FloatArray], ...]
    differences: tuple[tuple[FloatArray, FloatArray], ...]
    heights_mm: FloatArray
    middle_n: FloatArray
    shown_mm: tuple[float, float]
    forces_n: tuple[float, float]
    differences_n: tuple[float, float]

    def middle_at(self, height_mm: float) -> float:
        """Median force of the tray at a height."""
        return float(np.interp(height_mm, self.heights_mm, self.middle_n))


def tray_lines(inspection: SpringsInspection) -> TrayLines:
    """Lines of every spring and stage of an inspection, in its order; worked out once for each of the last two."""
    return _LINES.of(inspection, None, lambda: _lines_of(inspection))


_LINES: OfTheSame[TrayLines] = OfTheSame(2)


def _lines_of(inspection: SpringsInspection) -> TrayLines:
    shown = _forces_shown(inspection.analyses)
    free = [analysis.free_readings() for analysis in inspection.analyses]
    heights = np.unique(np.concatenate([line[0] for line in free]))
    table = np.array([np.interp(heights, *line, left=np.nan, right=np.nan) for line in free])
    known = np.isfinite(table).any(axis=0)
    heights, middle = heights[known], np.nanmedian(table[:, known], axis=0)
    lines = tuple(_below(spring_line(analysis), shown[1]) for analysis in inspection.analyses)
    differences = tuple((x, y - np.interp(x, heights, middle)) for x, y in free)
    across = min(float(x[0]) for x, _ in lines), max(float(x[-1]) for x, _ in lines)
    values = np.concatenate([y for _, y in differences])
    up = float(np.nanmin(values)), float(np.nanmax(values))
    return TrayLines(lines, differences, heights, middle, _wider(across, 0.03), shown, _wider(up, 0.12))


def _wider(ends: tuple[float, float], share: float) -> tuple[float, float]:
    """A range with room on both sides, of a share of its width; of 1 where it has no width."""
    room = share * ((ends[1] - ends[0]) or 1.0)
    return ends[0] - room, ends[1] + room


def force_figure(
    inspection: SpringsInspection, spring: str, tray: TrayLines, sets: Sequence[Sequence[str]] = ()
) -> Figure:
    """Every spring's force over height with the chosen one strong, in the colours of the sets where there are any.

    Windows stand where forces are limited, guides at installed and open height, a wall at the solid height.
    """
    number = _number_of(inspection, spring)
    curves = [Curve(*tray.lines[number], "measured", spring), *_others(inspection, number, tray.lines, sets)]
    curves += _heights(inspection, tray.forces_n)
    bands = (*_wall(inspection.analyses[number], tray, tray.forces_n), *_windows(inspection, spring, tray))
    marks = _at_heights(inspection, spring)
    return _over_height("force", "Force over height", tray, Axis("force", "N", tray.forces_n), curves, bands, marks)


def _over_height(
    name: str,
    title: str,
    tray: TrayLines,
    up: Axis,
    curves: Iterable[Curve],
    bands: tuple[Band, ...] = (),
    marks: tuple[Marks, ...] = (),
) -> Figure:
    return Figure(name, title, Axis(HEIGHT, "mm", tray.shown_mm, reversed=True), up, tuple(curves), bands, marks)


def difference_figure(
    inspection: SpringsInspection, spring: str, tray: TrayLines, sets: Sequence[Sequence[str]] = ()
) -> Figure:
    """Force less the tray's median at the same height, where a window of a few newtons can be seen."""
    number = _number_of(inspection, spring)
    curves = [Curve(*tray.differences[number], "measured", spring)]
    curves += _others(inspection, number, tray.differences, sets)
    shown = tray.differences_n
    bands = (*_wall(inspection.analyses[number], tray, shown), *_windows(inspection, spring, tray, shown))
    curves += _heights(inspection, shown)
    up = Axis("force − median", "N", shown)
    return _over_height("difference", "Force less the tray's median", tray, up, curves, bands)


def _number_of(inspection: SpringsInspection, spring: str) -> int:
    """Place of a spring's last stage in the inspection."""
    return max(n for n, analysis in enumerate(inspection.analyses) if analysis.name == spring)


def row_of(inspection: SpringsInspection, spring: str) -> SpringResult:
    """The result of a spring's last stage."""
    return next(row for row in reversed(inspection.result.springs) if row.spring == spring)


def _others(
    inspection: SpringsInspection,
    chosen: int,
    lines: Sequence[tuple[FloatArray, FloatArray]],
    sets: Sequence[Sequence[str]],
) -> list[Curve]:
    """The other springs, a curve for each set and one for those in none; other stages of the chosen one.

    Of many sets those that have one colour anyhow are one curve.
    """
    groups: dict[int | None, list[tuple[FloatArray, FloatArray]]] = {}
    colours = len(sets) if len(sets) <= _PLAIN_SETS else SERIES_COLOURS
    set_of = {name: number % colours for number, one in enumerate(sets) for name in one}
    for number, analysis in enumerate(inspection.analyses):
        if number != chosen:
            groups.setdefault(set_of.get(analysis.name), []).append(lines[number])
    curves = [
        Curve(*joined(groups[number]), "series", series=number) for number in sorted(n for n in groups if n is not None)
    ]
    if None in groups:
        curves.insert(0, Curve(*joined(groups[None]), "measured_quiet"))
    return curves


def _wall(chosen: SpringAnalysis, tray: TrayLines, shown: tuple[float, float]) -> list[Band]:
    solid, lowest = chosen.solid_height.value, tray.shown_mm[0]
    return [] if solid is None or solid <= lowest else [block((lowest, solid), shown, "outside", "solid")]


def _windows(
    inspection: SpringsInspection, spring: str, tray: TrayLines, differences: tuple[float, float] | None = None
) -> list[Band]:
    """Limits on the chosen spring's forces as windows at their heights; about the tray's middle for `differences`."""
    bands: dict[tuple[float, float, float], Band] = {}
    shown = tray.forces_n if differences is None else differences
    for verdict in inspection.result.verdicts:
        height = _height_of(inspection, verdict)
        if verdict.item != spring or height is None:
            continue
        middle = 0.0 if differences is None else tray.middle_at(height)
        low = shown[0] if verdict.lower is None else max(verdict.lower - middle, shown[0])
        high = shown[1] if verdict.upper is None else min(verdict.upper - middle, shown[1])
        if low < high:
            ends = (height - WINDOW_MM, height + WINDOW_MM)
            bands[height, low, high] = block(ends, (low, high), "band", "limits")
    return list(bands.values())


def _height_of(inspection: SpringsInspection, verdict: Verdict) -> float | None:
    fit = inspection.fit
    known = {"seat_force": fit.installed_height_mm, "open_force": fit.open_height_mm, "force": verdict.at_mm}
    return known.get(verdict.characteristic)


def _heights(inspection: SpringsInspection, shown: tuple[float, float]) -> list[Curve]:
    """Lines at installed and open height."""
    fit = inspection.fit
    rows = (fit.installed_height_mm, fit.open_height_mm)
    return [Curve(np.full(2, height), np.array(shown), "guide") for height in rows if height is not None]


def _at_heights(inspection: SpringsInspection, spring: str) -> tuple[Marks, ...]:
    """The chosen spring's forces at installed and open height, marked by their verdict."""
    row, fit = row_of(inspection, spring), inspection.fit
    verdicts = {v.characteristic: v.decision for v in inspection.result.verdicts if v.item == spring}
    marks = []
    for name, word, height, force in (
        ("seat_force", "seat", fit.installed_height_mm, row.seat_force_n),
        ("open_force", "open", fit.open_height_mm, row.open_force_n),
    ):
        if height is not None and force is not None:
            marks.append(mark(height, force, verdicts.get(name) or "measured", word))
    return tuple(marks)


def rate_figure(inspection: SpringsInspection, spring: str, tray: TrayLines) -> Figure:
    """Local rate over height of the chosen spring, and its fitted rate between open and installed height."""
    row = row_of(inspection, spring)
    curves = []
    if row.rate_curve is not None and len(row.rate_curve.height_mm) > 1:
        heights, rates = np.array(row.rate_curve.height_mm), np.array(row.rate_curve.rate_n_per_mm)
        order = np.argsort(heights)
        curves.append(Curve(heights[order], rates[order], "measured", "local rate"))
    if row.rate_fit is not None and row.rate_n_per_mm is not None:
        ends = (row.rate_fit.low_mm, row.rate_fit.high_mm)
        curves.append(level(ends, row.rate_n_per_mm, "nominal", "fitted rate"))
    every = np.concatenate([curve.y for curve in curves]) if curves else np.array([0.0, 1.0])
    low, high = float(every.min()), float(every.max())
    room = 0.1 * (high - low) or 0.1 * abs(high) or 1.0
    shown = (low - room, high + room)
    curves += _heights(inspection, shown)
    return _over_height("rate", "Rate over height", tray, Axis("rate", "N/mm", shown), curves)


Points = Mapping[str, tuple[float, float]]
"""Rate and seat force by spring."""


def map_points(analyses: Sequence[SpringAnalysis]) -> Points:
    """Rate and seat force of every spring that has both; of a spring given in several stages those of the last."""
    points = {}
    for analysis in analyses:
        height, fit = analysis.fit.installed_height_mm, analysis.rate_fit
        seat = None if height is None else analysis.plain_force(height)
        if seat is not None and fit is not None:
            points[analysis.name] = (fit.rate_n_per_mm, seat)
    return points


def points_told(inspection: SpringsInspection, points: Iterable[tuple[float, float]], system: System) -> list[str]:
    """Seat force and rate of points of the map, as the tables say them."""
    springs = inspection.result.springs
    rate, seat = (decimals_among(springs, *of, system) for of in (("rate_n_per_mm", "N/mm"), ("seat_force_n", "N")))
    return [
        f"{with_unit(force, 'N', system, seat, seat)}, {with_unit(slope, 'N/mm', system, rate, rate)}"
        for slope, force in points
    ]


_PLAIN_MARKS, _PLAIN_SETS = 100, 12
"""Up to this many springs marks are drawn as in other figures; up to this many sets each has its box and number."""

Judged = Mapping[str, str]
"""Springs with what is said of them."""
_NOBODY: Judged = MappingProxyType({})


def map_figure(
    points: Points,
    sets: Sequence[Sequence[str]] = (),
    chosen: str | None = None,
    out: Judged = _NOBODY,
    undecided: Judged = _NOBODY,
) -> Figure:
    """Seat force against rate, a mark for each spring in its set's colour and shape, a numbered box around each set.

    Of many springs the marks are small and let others through; of many sets only the chosen spring's has its box and
    number, where one is chosen, and larger marks. Springs that are not used (`out`) are crosses, undecided ones have a
    triangle about their mark. `marked_springs` names the springs of each group of marks in the same order.
    """
    signs, curves = [], []
    crowd = max(1.0, sqrt(len(points) / _PLAIN_MARKS))
    size, opacity = (1.0, 1.0) if crowd == 1.0 else (max(0.45, 1.0 / crowd), max(0.55, 1.0 / crowd))
    front = next((number for number, one in enumerate(sets) if chosen in one), None)
    seats = [seat for _, seat in points.values()]
    lift = 0.02 * (max(seats) - min(seats)) if seats else 0.0
    marks: list[Marks] = []
    for group, names in marked_springs(points, sets, out, undecided).items():
        xy = np.array([points[name] for name in names], dtype=np.float64).reshape(-1, 2)
        x, y = xy[:, 0], xy[:, 1]
        if isinstance(group, int):
            in_front = group == front and crowd > 1.0
            look = (0.8, 1.0) if in_front else (size, opacity)
            marks.append(Marks(x, y, "series", series=group, size=look[0], opacity=look[1]))
            if len(sets) <= _PLAIN_SETS or chosen is None or group == front:
                (x0, y0), (x1, y1) = xy.min(axis=0), xy.max(axis=0)
                signs.append(words(x0, y1 + lift, str(group + 1), "series", group))
                around = (np.array([x0, x1, x1, x0, x0]), np.array([y0, y0, y1, y1, y0]))
                curves.append(Curve(*around, "series", series=group))
        elif group is None:
            role: Role = "guide" if sets else "measured"
            pale = 0.6 * opacity if sets and crowd > 1.0 else opacity
            marks.append(Marks(x, y, role, "left over" if sets else "", size=size, opacity=pale))
        elif group == NOT_USED:
            marks.append(Marks(x, y, "reject", NOT_USED, size=max(size, 0.7)))
        else:
            marks.append(Marks(x, y, "undecided", UNDECIDED, size=max(1.5 * size, 1.0), hollow=True))
    guides: tuple[Guide, ...] = ()
    if chosen is not None and chosen in points:
        rate, seat = points[chosen]
        guides = (Guide(rate, "x"), Guide(seat, "y"))
    return Figure(
        name="map",
        title="Seat force against rate",
        x_axis=Axis("rate", "N/mm", _roomy(marks)),
        y_axis=Axis("seat force", "N"),
        curves=tuple(curves),
        marks=(*marks, *signs),
        guides=guides,
    )


def _roomy(marks: Sequence[Marks]) -> tuple[float, float] | None:
    x = np.concatenate([group.x for group in marks]) if marks else np.empty(0)
    if not x.size:
        return None
    room = 0.06 * (float(np.ptp(x)) or 1.0)
    return float(x.min()) - room, float(x.max()) + room


NOT_USED, UNDECIDED = "not used", "undecided"


def marked_springs(
    points: Points,
    sets: Sequence[Sequence[str]] = (),
    out: Collection[str] = (),
    undecided: Collection[str] = (),
) -> Mapping[int | str | None, tuple[str, ...]]:
    """Springs on the map by set, None for those left over; then those not used, and once more those undecided."""
    set_of = {name: number for number, one in enumerate(sets) for name in one}
    groups: dict[int | str | None, list[str]] = {}
    for name in points:
        groups.setdefault(NOT_USED if name in out else set_of.get(name), []).append(name)
    groups[UNDECIDED] = [name for name in points if name in undecided and name not in out]
    order = (None, *range(len(sets)), NOT_USED, UNDECIDED)
    return {group: tuple(names) for group in order if (names := groups.get(group))}


@dataclass(frozen=True, slots=True)
class CoilState:
    """A spring in section along its axis at one height: centres of the wire from the seat, in mm."""

    name: str
    height_mm: float
    centres_mm: FloatArray


@dataclass(frozen=True, slots=True)
class CoilBind:
    """The gap that is left at open height, to be drawn to scale.

    `wire_mm` None: wire and coils are not stated, plain bars stand for the spring. Margin as in the result;
    `said`: the heights by state, the margin, and the margin of a coil where it is known, as the tables say them.
    """

    spring: str
    states: tuple[CoilState, ...]
    wire_mm: float | None
    open_mm: float
    solid_mm: float
    margin_mm: float
    said: Mapping[str, str]


def coil_bind(inspection: SpringsInspection, spring: str, system: System = "metric") -> CoilBind | None:
    """The chosen spring at open and at solid height; None where either is not known."""
    analysis, row = inspection.analyses[_number_of(inspection, spring)], row_of(inspection, spring)
    opened, solid, margin = inspection.fit.open_height_mm, row.solid_height_mm, row.coil_bind_margin_mm
    if opened is None or solid is None or margin is None:
        return None
    coil = analysis.elements[0].coil if len(analysis.elements) == 1 else None
    wire = coil.wire_diameter_mm if coil is not None else None
    total = coil.total_coils if coil is not None else None
    active = coil.active_coils if coil is not None else None
    states = []
    for name, height in (("open", opened), ("solid", solid)):
        centres = np.empty(0)
        if wire is not None and total is not None and active is not None:
            centres = coil_centres(max(height, solid), solid, wire, total, active)
        states.append(CoilState(name, height, read_only(centres)))
    if not states[0].centres_mm.size:
        wire = None

    said = {"open": with_unit(opened, "mm", system, 2, 3)}
    for word, key in (("solid", "solid_height_mm"), ("margin", "coil_bind_margin_mm"), ("coil", "margin_per_coil_mm")):
        count, value = decimals_among(inspection.result.springs, key, "mm", system), getattr(row, key)
        said |= {} if value is None else {word: with_unit(value, "mm", system, count, count)}
    return CoilBind(spring, tuple(states), wire, opened, solid, margin, said)


def coil_centres(
    height_mm: float, solid_mm: float, wire_mm: float, total_coils: float, active_coils: float
) -> FloatArray:
    """Centres of the wire along the axis in one section, a turn apart; what lies beyond the ends is ground away.

    The closed end turns lie on each other as at solid height; what the height is above solid opens the active turns
    evenly. Where the solid height is more than coils times wire, the ends are not ground and begin half a wire inside.
    Plain mechanics of a helix of constant pitch.
    """
    inside = min(max(0.5 * (solid_mm - total_coils * wire_mm), 0.0), 0.5 * wire_mm)
    pitch = (solid_mm - 2.0 * inside) / total_coils
    over = total_coils - floor(total_coils)
    turns = np.arange(0.5 * over if over > 0.0 else 0.5, total_coils, 1.0)
    closed = max(0.0, 0.5 * (total_coils - active_coils))
    opened = np.clip(turns - closed, 0.0, active_coils) / active_coils
    return np.asarray(inside + turns * pitch + opened * (height_mm - solid_mm))
