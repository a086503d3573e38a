"""Strokes that drawings of characteristics are made of: what is measured, what is known, and what is meant of both."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.figures.description import Band, Curve, Guide, Marks, level, words
from valvelab.figures.polar import circle


@dataclass(frozen=True, slots=True)
class Sketch:
    """What is drawn, under the names of its axes."""

    up: str
    along: str = ""
    curves: tuple[Curve, ...] = ()
    bands: tuple[Band, ...] = ()
    marks: tuple[Marks, ...] = ()
    guides: tuple[Guide, ...] = ()
    places: tuple[tuple[float, str], ...] = ()
    round: bool = False

    def with_(self, *drawn: Curve | Band | Marks | Guide, places: tuple[tuple[float, str], ...] = ()) -> Sketch:
        """The same with more on it."""
        return replace(
            self,
            curves=(*self.curves, *(one for one in drawn if isinstance(one, Curve))),
            bands=(*self.bands, *(one for one in drawn if isinstance(one, Band))),
            marks=(*self.marks, *(one for one in drawn if isinstance(one, Marks))),
            guides=(*self.guides, *(one for one in drawn if isinstance(one, Guide))),
            places=(*self.places, *places),
        )


def line(x: FloatArray, y: FloatArray, label: str = "") -> Curve:
    """What is measured."""
    return Curve(x, y, "measured", label)


def other(x: FloatArray, y: FloatArray, label: str = "") -> Curve:
    """What it is held against."""
    return Curve(x, y, "nominal", label)


def meant(x: FloatArray | list[float], y: FloatArray | list[float]) -> Curve:
    """What is meant."""
    return Curve(np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64), "meant")


def say(x: float, y: float, text: str) -> Marks:
    """A word about what is meant."""
    return words(x, y, text, "meant")


def spot(x: FloatArray | list[float], y: FloatArray | list[float]) -> Marks:
    """Points that are meant."""
    return Marks(np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64), "meant", size=0.8)


def span(start: float, end: float, height: float, tick: float) -> Curve:
    """A level dimension with a stroke at either end."""
    return meant([start, start, start, end, end, end], height + tick * np.array([-1.0, 1.0, 0.0, 0.0, -1.0, 1.0]))


def rise(x: float, low: float, high: float, tick: float) -> Curve:
    """An upright dimension with a stroke at either end."""
    return meant(x + tick * np.array([-1.0, 1.0, 0.0, 0.0, -1.0, 1.0]), [low, low, low, high, high, high])


LIFT = 7.0
TURN = np.linspace(-85.0, 85.0, 341)


def lobe_lift(turn: FloatArray = TURN, lean: float = 0.12, tall: float = LIFT) -> FloatArray:
    """A lobe that opens faster than it closes, smooth everywhere."""
    share = turn / 68.0 * (1.0 - lean * turn / 68.0)
    return tall * np.maximum(1.0 - share**2, 0.0) ** 3


_ROUND = np.linspace(0.0, 360.0, 361)
_WAVE = 10.0 * np.cos(np.radians(_ROUND - 70.0))


def runout(up: str, along: str) -> Sketch:
    """A trace once around, and its range."""
    shown = Sketch(up, along, (line(_ROUND, _WAVE),))
    return shown.with_(
        level((0.0, 360.0), 10.0, "guide"),
        level((0.0, 360.0), -10.0, "guide"),
        rise(250.0, -10.0, 10.0, 6.0),
        say(285.0, 3.0, "total reading"),
    )


def off_centre(up: str) -> Sketch:
    """A circle whose middle is off the axis that it turns about."""
    x, y = circle(10.0)
    own = (3.0, 2.0)
    middle = Marks(np.zeros(1), np.zeros(1), "readings", texts=("axis of turning",))
    shown = Sketch(up, curves=(line(x + own[0], y + own[1]),), marks=(middle,), round=True)
    return shown.with_(
        meant([0.0, own[0]], [0.0, own[1]]),
        spot([own[0]], [own[1]]),
        say(5.6, 3.4, "off by this"),
        Curve(x, y, "nominal"),
    )


Pictures = Mapping[str, Mapping[str, Callable[[], Sketch]]]
"""By subject, then by the name of a characteristic, what draws it."""
