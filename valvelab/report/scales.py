"""Axis arithmetic of the printed plots: display units, round ticks, and curves thinned to what print resolves."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from valvelab.arrays import FloatArray
from valvelab.figures.description import Axis, Figure
from valvelab.units import DisplayUnit, System, display_unit

ANGLE_STEPS = (1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 45.0, 60.0, 90.0, 180.0)
FINE_MM = 0.1


@dataclass(frozen=True, slots=True)
class Scale:
    """A linear axis from `low` to `high` (display units) over `start` to `end` (points)."""

    low: float
    high: float
    start: float
    end: float
    unit: DisplayUnit

    def place(self, canonical: FloatArray) -> FloatArray:
        """Points on paper for canonical values."""
        share = (np.asarray(canonical, dtype=np.float64) * self.unit.scale - self.low) / (self.high - self.low)
        return np.asarray(self.start + share * (self.end - self.start))

    def at(self, shown: float) -> float:
        """Point on paper for one value in display units."""
        return self.start + (shown - self.low) / (self.high - self.low) * (self.end - self.start)


def axis_unit(axis: Axis, system: System, largest: float) -> DisplayUnit:
    """Display unit of an axis; small lengths in µm where millimetres would be all zeros."""
    if axis.unit == "mm" and system == "metric" and 0.0 < largest < FINE_MM:
        return DisplayUnit("µm", 1000.0, 1)
    return display_unit(axis.unit, system)


def scale_for(axis: Axis, ends: tuple[float, float], paper: tuple[float, float], system: System) -> Scale:
    """Scale of an axis over data `ends` (canonical), fixed by the axis' own range where it has one."""
    low, high = axis.range or _with_room(*ends)
    unit = axis_unit(axis, system, max(abs(low), abs(high)))
    start, end = reversed(paper) if axis.reversed else paper
    return Scale(low * unit.scale, high * unit.scale, start, end, unit)


def _with_room(low: float, high: float) -> tuple[float, float]:
    if not (math.isfinite(low) and math.isfinite(high)):
        return 0.0, 1.0
    span = high - low
    if span <= 0.0:
        span = abs(high) or 1.0
    return low - 0.06 * span, high + 0.06 * span


def y_ends(figure: Figure) -> tuple[float, float]:
    """Least and greatest y of everything a figure draws."""
    drawn = [curve.y for curve in figure.curves] + [marks.y for marks in figure.marks]
    drawn += [edge for band in figure.bands for edge in (band.lower, band.upper)]
    drawn += [np.array([guide.value]) for guide in figure.guides if guide.along == "y"]
    return _ends(drawn)


def x_ends(figure: Figure) -> tuple[float, float]:
    """Least and greatest x of everything a figure draws."""
    drawn = [curve.x for curve in figure.curves] + [marks.x for marks in figure.marks]
    return _ends(drawn + [band.x for band in figure.bands])


def _ends(parts: list[FloatArray]) -> tuple[float, float]:
    values = np.concatenate([np.ravel(part) for part in parts]) if parts else np.empty(0)
    values = values[np.isfinite(values)]
    return (float(values.min()), float(values.max())) if values.size else (math.nan, math.nan)


def ticks(scale: Scale, spacing: float) -> list[float]:
    """Round values in display units, about `spacing` points apart or more; angles in steps a protractor has."""
    span = abs(scale.high - scale.low)
    wanted = span * spacing / max(abs(scale.end - scale.start), 1.0)
    if scale.unit.label in {"cam deg", "crank deg", "deg"} and wanted > 0.5:
        step = next((value for value in ANGLE_STEPS if value >= wanted), 360.0 * math.ceil(wanted / 360.0))
    else:
        power = 10.0 ** math.floor(math.log10(wanted))
        step = next(factor * power for factor in (1.0, 2.0, 5.0, 10.0) if factor * power >= wanted * (1.0 - 1e-9))
    low, high = sorted((scale.low, scale.high))
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [index * step for index in range(first, last + 1)]


def tick_texts(values: list[float]) -> list[str]:
    """Ticks with one decimal count and a true minus sign."""
    step = values[1] - values[0] if len(values) > 1 else (abs(values[0]) if values else 1.0)
    decimals = max(0, -math.floor(math.log10(step) + 1e-9)) if step > 0.0 else 0
    return [f"{value + 0.0:.{decimals}f}".replace("-", "−") for value in values]


def thinned(x: FloatArray, y: FloatArray, tolerance: float) -> NDArray[np.intp]:
    """Indices of the points that keep a polyline within `tolerance` points of itself (Douglas and Peucker, 1973).

    All stretches of one depth are halved at once. Last digits, which differ between machines, choose no point: places
    are taken to a thousandth of a point, and of points equally far off the first one counts.
    """
    x, y = np.round(x, 3), np.round(y, 3)
    keep = np.zeros(x.size, dtype=bool)
    keep[[0, -1]] = True
    first, last = np.array([0]), np.array([x.size - 1])
    while (open_ := last - first > 1).any():
        first, last = first[open_], last[open_]
        inner = last - first - 1
        starts = np.cumsum(inner) - inner
        stretch = np.repeat(np.arange(first.size), inner)
        point = np.arange(stretch.size) - starts[stretch] + first[stretch] + 1
        distance = _off_chord(x, y, point, first[stretch], last[stretch])
        rounded = np.round(distance, 6)
        worst = np.flatnonzero(rounded == np.maximum.reduceat(rounded, starts)[stretch])
        worst = worst[np.searchsorted(stretch[worst], np.arange(first.size))]
        halved = distance[worst] > tolerance
        middle = point[worst][halved]
        keep[middle] = True
        first, last = np.concatenate([first[halved], middle]), np.concatenate([middle, last[halved]])
    return np.flatnonzero(keep)


def _off_chord(
    x: FloatArray, y: FloatArray, point: NDArray[np.intp], first: NDArray[np.intp], last: NDArray[np.intp]
) -> FloatArray:
    """How far points stand off from the chords between the ends of their stretches."""
    dx, dy = x[last] - x[first], y[last] - y[first]
    from_x, from_y = x[point] - x[first], y[point] - y[first]
    length = np.hypot(dx, dy)
    # a line that ends where it began has no chord to stand off from, only the point itself
    closed = length == 0.0
    off = np.abs(dx * from_y - dy * from_x) / np.where(closed, 1.0, length)
    return np.where(closed, np.hypot(from_x, from_y), off)


def runs(values: FloatArray) -> list[slice]:
    """Unbroken stretches of finite values."""
    flags = np.concatenate([[False], np.isfinite(values), [False]]).astype(np.int8)
    edges = np.flatnonzero(np.diff(flags))
    return [slice(int(start), int(end)) for start, end in edges.reshape(-1, 2)]
