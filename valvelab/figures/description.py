"""What a plot shows: curves, bands, marks and axes by role, so that screen and paper cannot disagree.

Coordinates are canonical; `Axis.unit` names the canonical unit and the drawing side converts for display.
Roles name meaning, never colour; a theme maps each role to a colour and a width.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.decimals import USUAL

Role = Literal[
    "measured", "measured_quiet", "nominal", "readings", "band", "outside", "fit", "guide",
    "accept", "reject", "undecided", "intake", "exhaust", "series", "meant",
]  # fmt: skip
SERIES_COLOURS = 7
"""Data colours on screen and paper; a series past them has the colour of one before it."""
Unit = Literal[
    "", "mm", "um", "N", "N/mm", "MPa", "kg", "s", "Hz", "rpm", "deg", "degC", "%", "cam deg", "crank deg",
    "arcmin", "mm cam deg", "mm/crank deg", "mm/cam deg", "mm/cam deg2", "mm/cam deg3",
]  # fmt: skip
"""Canonical units that an axis can bear; anything else (a word of a legend, say) is a type error."""


@dataclass(frozen=True, slots=True)
class Axis:
    """An axis: what it shows and its canonical unit; `range` fixes the ends where given, None where they would be one.

    `names` stand in place of numbers: places along the axis and what to write there.
    """

    label: str
    unit: Unit
    range: tuple[float, float] | None = None
    reversed: bool = False
    names: tuple[tuple[float, str], ...] = ()

    def __post_init__(self) -> None:
        """Leave out a range without width."""
        if self.range is not None and not self.range[0] < self.range[1]:
            object.__setattr__(self, "range", None)


@dataclass(frozen=True, slots=True)
class Curve:
    """A line through points; NaN in `y` breaks it. `series` picks a data colour where role is "series".

    valve: whose it is, where the screen tells the two kinds apart.
    """

    x: FloatArray
    y: FloatArray
    role: Role
    label: str = ""
    series: int = 0
    valve: str | None = None


@dataclass(frozen=True, slots=True)
class Band:
    """A filled region between two curves over the same x."""

    x: FloatArray
    lower: FloatArray
    upper: FloatArray
    role: Role = "band"
    label: str = ""
    series: int = 0


@dataclass(frozen=True, slots=True)
class Marks:
    """Points with a symbol; verdict roles draw shape and colour both. `bare` draws the texts alone, centred.

    size: of the usual one; opacity: 0 to 1; hollow: the outline alone. off: radius of the circle about the origin that
    the texts stay on their side of, however large they are to the drawing; 0 for none.
    """

    x: FloatArray
    y: FloatArray
    role: Role
    label: str = ""
    texts: tuple[str, ...] = ()
    series: int = 0
    bare: bool = False
    size: float = 1.0
    opacity: float = 1.0
    hollow: bool = False
    off: float = 0.0


def words(x: float, y: float, text: str, role: Role, series: int = 0) -> Marks:
    """A text about a place, without a symbol."""
    return Marks(np.array([x]), np.array([y]), role, "", (text,), series, bare=True)


def mark(x: float, y: float, role: Role, text: str = "") -> Marks:
    """One point, with a text above it."""
    return Marks(np.array([x]), np.array([y]), role, "", (text,) if text else ())


def level(ends: tuple[float, float] | FloatArray, height: float, role: Role, label: str = "", series: int = 0) -> Curve:
    """A level line from one place to another."""
    return Curve(np.array(ends), np.full(2, height), role, label, series)


def block(ends: tuple[float, float] | FloatArray, heights: tuple[float, float], role: Role, label: str = "") -> Band:
    """A rectangle between two places and two heights."""
    return Band(np.array(ends), np.full(2, heights[0]), np.full(2, heights[1]), role, label)


def ends_of(x: FloatArray) -> tuple[float, float]:
    """First and last of places in order."""
    return float(x[0]), float(x[-1])


@dataclass(frozen=True, slots=True)
class Guide:
    """A straight line at one value of one axis, with its label at the end."""

    value: float
    along: Literal["x", "y"]
    role: Role = "guide"
    label: str = ""


@dataclass(frozen=True, slots=True)
class Figure:
    """One plot. `axes` says which axes are drawn; without a y axis its label, with the scale, stands as the title."""

    name: str
    title: str
    x_axis: Axis
    y_axis: Axis
    curves: tuple[Curve, ...] = ()
    bands: tuple[Band, ...] = ()
    marks: tuple[Marks, ...] = ()
    guides: tuple[Guide, ...] = ()
    equal_scale: bool = False
    axes: Literal["xy", "x", "none"] = "xy"


@dataclass(frozen=True, slots=True)
class HeatMap:
    """Rows (named) by x, with a value in each cell; `diverging` centres the colours on zero."""

    name: str
    title: str
    x_axis: Axis
    rows: tuple[str, ...]
    x: FloatArray
    values: FloatArray
    value_axis: Axis
    diverging: bool = True


@dataclass(frozen=True, slots=True)
class Dial:
    """Directions on a circle: an angle clockwise from top seen from the drive end, with a label each.

    decimals: of an angle where it is said. chosen: the label that stands out.
    """

    name: str
    title: str
    angles_deg: FloatArray
    labels: tuple[str, ...]
    roles: tuple[Role, ...]
    nominal_deg: FloatArray | None = None
    remarks: tuple[str, ...] = field(default=())
    decimals: int = USUAL["deg"][0]
    chosen: str = ""


def bars(places: FloatArray, heights: FloatArray, width: float, role: Role, label: str = "", series: int = 0) -> Band:
    """Bars from zero, as one filled outline; places (ascending, further apart than `width`), heights: shape (n,)."""
    x = (places[:, None] + 0.5 * width * np.asarray([-1.0, -1.0, 1.0, 1.0])).ravel()
    upper = (heights[:, None] * np.asarray([0.0, 1.0, 1.0, 0.0])).ravel()
    return Band(x, np.zeros(x.size), upper, role, label, series)
