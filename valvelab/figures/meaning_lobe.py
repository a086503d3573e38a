"""What characteristics of lobes, camshafts and their comparison are, drawn of an invented lobe."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.figures.description import Band, Marks, block, ends_of, level, words
from valvelab.figures.polar import circle
from valvelab.figures.sketch import (
    LIFT,
    TURN,
    Pictures,
    Sketch,
    line,
    lobe_lift,
    meant,
    off_centre,
    other,
    rise,
    runout,
    say,
    span,
    spot,
)

_CHECKING, _CHORD = 1.3, 1.27


def _reached(height: float, lift: FloatArray | None = None) -> tuple[float, float]:
    """Where the invented lobe passes a lift, opening and closing."""
    lift = lobe_lift() if lift is None else lift
    over = TURN[lift > height]
    return ends_of(over)


def _lobe() -> Sketch:
    return Sketch("Lift", "cam angle", (level(ends_of(TURN), 0.0, "measured_quiet"), line(TURN, lobe_lift())))


def _top() -> float:
    return float(TURN[np.argmax(lobe_lift())])


def _max_lift() -> Sketch:
    top = _top()
    return _lobe().with_(rise(top, 0.0, LIFT, 3.0), say(top + 16.0, 3.2, "greatest lift"))


def _at_top() -> Sketch:
    top = _top()
    return _lobe().with_(spot([top], [LIFT]), meant([top, top], [0.0, LIFT]), places=((top, "here"),))


def _chord(height: float, told: str) -> Sketch:
    ends = _reached(height)
    middle = 0.5 * sum(ends)
    return _lobe().with_(
        span(*ends, height, 0.25),
        meant([middle, middle], [0.0, height]),
        spot([middle], [height]),
        say(middle, height - 0.65, told),
        places=((middle, "centre"),),
    )


def _area() -> Sketch:
    lift = lobe_lift()
    return _lobe().with_(Band(TURN, np.zeros_like(lift), lift, "meant"), words(0.0, 2.6, "area", "nominal"))


def _area_centre() -> Sketch:
    lift = lobe_lift()
    middle = float((TURN * lift).sum() / lift.sum())
    return _area().with_(meant([middle, middle], [0.0, 2.2]), places=((middle, "centre of the area"),))


def _event(*, opening: bool) -> Sketch:
    at = _reached(_CHECKING)[0 if opening else 1]
    return _lobe().with_(
        level(ends_of(TURN), _CHECKING, "guide", "checking lift"),
        spot([at], [_CHECKING]),
        meant([at, at], [0.0, _CHECKING]),
        places=((at, "opening" if opening else "closing"),),
    )


def _duration() -> Sketch:
    start, end = _reached(_CHECKING)
    return _lobe().with_(
        level(ends_of(TURN), _CHECKING, "guide", "checking lift"),
        span(start, end, _CHECKING, 0.25),
        say(0.0, _CHECKING + 0.6, "duration"),
        places=((start, "opening"), (end, "closing")),
    )


def _slope(order: int) -> FloatArray:
    found = lobe_lift()
    for _ in range(order):
        found = np.gradient(found, TURN)
    return found


def _extreme(order: int, up: str, told: str, *, greatest: bool = False, least: bool = False) -> Sketch:
    curve = _slope(order)
    found = [int(np.argmax(curve))] * greatest + [int(np.argmin(curve))] * least
    shown = level(ends_of(TURN), 0.0, "measured_quiet"), line(TURN, curve)
    stems = tuple(meant([TURN[n], TURN[n]], [0.0, curve[n]]) for n in found)
    tall = float(np.ptp(curve))
    at = found[0]
    aside = 20.0 if TURN[at] < 50.0 else -20.0
    told_at = say(float(TURN[at]) + aside, float(curve[at]) - np.sign(curve[at]) * 0.08 * tall, told)
    return Sketch(up, "cam angle", (*shown, *stems), marks=(spot(TURN[found], curve[found]), told_at))


def _jerk_rms() -> Sketch:
    curve = _slope(3)
    size = float(np.sqrt(np.mean(curve**2)))
    base = level(ends_of(TURN), 0.0, "measured_quiet")
    band = Band(TURN, np.full_like(curve, -size), np.full_like(curve, size), "meant")
    return Sketch("Jerk", "cam angle", (base, line(TURN, curve)), (band,)).with_(say(55.0, 2.2 * size, "± rms"))


def _noise() -> Sketch:
    x = np.linspace(-80.0, 80.0, 161)
    off = np.random.default_rng(7).normal(0.0, 1.0, x.size)
    readings = Marks(x, off, "readings")
    band = Band(x, -np.ones_like(x), np.ones_like(x), "meant")
    fit = level(ends_of(x), 0.0, "measured", "fit")
    return Sketch("Readings about the fit, magnified", "cam angle", (fit,), (band,), (readings,)).with_(
        say(60.0, 2.4, "± noise")
    )


_OUTLINE_DEG = np.linspace(-180.0, 180.0, 721)


def _outline(hollow: float = 0.0) -> tuple[FloatArray, FloatArray]:
    """A lobe seen along the shaft, its nose up; with hollow flanks where asked for."""
    turn = np.radians(_OUTLINE_DEG)
    lift = lobe_lift(_OUTLINE_DEG, lean=0.0) - hollow * np.exp(-(((np.abs(_OUTLINE_DEG) - 50.0) / 13.0) ** 2))
    reach = 34.0 + lift
    slope = np.gradient(reach, turn) * (hollow == 0.0)
    return reach * np.sin(turn) + slope * np.cos(turn), reach * np.cos(turn) - slope * np.sin(turn)


def _curvature_at(x: FloatArray, y: FloatArray, at: int) -> tuple[float, float, float]:
    """Centre and radius of the circle that follows a line at one of its points."""
    dx, dy = np.gradient(x), np.gradient(y)
    ddx, ddy = np.gradient(dx), np.gradient(dy)
    turn = dx[at] * ddy[at] - dy[at] * ddx[at]
    size = dx[at] ** 2 + dy[at] ** 2
    return float(x[at] - dy[at] * size / turn), float(y[at] + dx[at] * size / turn), float(abs(size**1.5 / turn))


def _radius(hollow: float, at_deg: float, told: str, told_at: tuple[float, float]) -> Sketch:
    x, y = _outline(hollow)
    at = int(np.argmin(np.abs(_OUTLINE_DEG - at_deg)))
    across, up, radius = _curvature_at(x, y, at)
    around = circle(radius)
    return Sketch("Contour", curves=(line(x, y),), round=True).with_(
        meant(around[0] + across, around[1] + up),
        meant([across, float(x[at])], [up, float(y[at])]),
        spot([float(x[at])], [float(y[at])]),
        say(*told_at, told),
    )


def _face() -> Sketch:
    x, y = _outline()
    turn = np.radians(30.0)
    across, up = np.cos(turn) * x - np.sin(turn) * y, np.sin(turn) * x + np.cos(turn) * y
    at = int(np.argmax(up))
    high = float(up[at])
    return Sketch("Contour under a flat face", curves=(line(across, up),), round=True).with_(
        other(np.array([-30.0, 30.0]), np.full(2, high)),
        other(np.zeros(2), np.array([high, high + 15.0])),
        span(0.0, float(across[at]), high + 4.0, 1.6),
        spot([float(across[at])], [high]),
        say(float(across[at]) - 6.0, high + 10.0, "reach"),
    )


def _pressure_angle() -> Sketch:
    x, y = _outline()
    at = int(np.argmin(np.abs(_OUTLINE_DEG - 38.0)))
    normal = np.radians(38.0)
    radius = 12.0
    middle = float(x[at]) + radius * np.sin(normal), float(y[at]) + radius * np.cos(normal)
    away = middle[0] + 22.0 * np.sin(normal), middle[1] + 22.0 * np.cos(normal)
    travel = np.degrees(np.arctan2(*middle))
    end = 22.0 * np.sin(np.radians(travel)), 22.0 * np.cos(np.radians(travel))
    roller = circle(radius)
    return Sketch("Contour under a roller", curves=(line(x, y),), round=True).with_(
        other(roller[0] + middle[0], roller[1] + middle[1]),
        meant([middle[0], float(away[0])], [middle[1], float(away[1])]),
        other(np.array([middle[0], middle[0] + end[0]]), np.array([middle[1], middle[1] + end[1]])),
        say(float(away[0]) + 12.0, float(away[1]), "normal"),
        words(middle[0] + float(end[0]) - 10.0, middle[1] + float(end[1]) + 3.0, "travel", "nominal"),
    )


def _envelope() -> Sketch:
    off = 0.55 * np.sin(TURN / 14.0) + 0.75 * np.exp(-(((TURN - 40.0) / 12.0) ** 2))
    wide = 1.0 - 0.45 * np.exp(-((TURN / 40.0) ** 2))
    worst = int(np.argmax(np.abs(off) / wide))
    shown = Sketch("Deviation from the nominal", "cam angle", (line(TURN, off),))
    return shown.with_(
        Band(TURN, -wide, wide, "band", "envelope"),
        spot([float(TURN[worst])], [float(off[worst])]),
        meant([float(TURN[worst])] * 2, [0.0, float(off[worst])]),
        say(float(TURN[worst]) - 14.0, 1.3, "worst"),
    )


_WIDE = np.linspace(-80.0, 190.0, 541)


def _two(first: float, second: float, told: str, names: tuple[str, str], at: tuple[float, float]) -> Sketch:
    """Two lobes on one shaft, and how far apart two places are."""
    one, two = (lobe_lift(_WIDE - middle, lean=0.0) for middle in (first, second))
    shown = Sketch("Lift", "cam angle", (line(_WIDE, one), other(_WIDE, two)))
    return shown.with_(
        span(*at, LIFT + 0.5, 0.3),
        say(0.5 * sum(at), LIFT + 1.3, told),
        *(meant([x, x], [0.0, LIFT + 0.5]) for x in at),
        places=tuple(zip(at, names, strict=True)),
    )


def _separation() -> Sketch:
    return _two(0.0, 110.0, "separation", ("exhaust centre", "intake centre"), (0.0, 110.0))


def _index_error() -> Sketch:
    return _two(50.0, 62.0, "error", ("", "its nominal place"), (50.0, 62.0))


def _spread(*, of_width: bool) -> Sketch:
    shapes = [lobe_lift(TURN * wide, tall=tall) for wide, tall in ((1.0, 7.0), (0.94, 6.6), (1.06, 6.85), (0.98, 6.4))]
    shown = Sketch("Lift of the lobes of one kind", "cam angle", tuple(line(TURN, shape) for shape in shapes))
    if not of_width:
        return shown.with_(
            block(ends_of(TURN), (6.4, 7.0), "guide"), rise(45.0, 6.4, 7.0, 3.0), say(63.0, 5.6, "spread")
        )
    closings = [_reached(_CHECKING, shape)[1] for shape in shapes]
    return shown.with_(
        level(ends_of(TURN), _CHECKING, "guide", "1.27 mm"),
        span(min(closings), max(closings), _CHECKING, 0.4),
        say(max(closings) + 14.0, 2.1, "spread"),
    )


def _compared(told: str) -> Sketch:
    gain = 0.3 * np.sin(TURN / 11.0) - 1.6 * np.exp(-(((TURN - 12.0) / 14.0) ** 2))
    worst = int(np.argmin(gain))
    base = level(ends_of(TURN), 0.0, "nominal", "no change")
    shown = Sketch("Later less earlier, magnified", "cam angle", (base, line(TURN, gain)))
    stem = meant([float(TURN[worst])] * 2, [0.0, float(gain[worst])])
    at = float(TURN[worst])
    return shown.with_(stem, spot([at], [float(gain[worst])]), say(at + 32.0, -1.2, told), places=((at, "worst"),))


def _difference_rms() -> Sketch:
    gain = 0.7 * np.sin(TURN / 9.0) + 0.5 * np.sin(TURN / 4.0 + 1.0)
    size = float(np.sqrt(np.mean(gain**2)))
    base = level(ends_of(TURN), 0.0, "nominal", "no change")
    band = Band(TURN, np.full_like(gain, -size), np.full_like(gain, size), "meant")
    shown = Sketch("Later less earlier, magnified", "cam angle", (base, line(TURN, gain)), (band,))
    return shown.with_(say(62.0, 1.9 * size, "± rms"))


def _moved(told: str, *, along: float = 0.0, up: float = 0.0, tall: float = LIFT) -> Sketch:
    later = lobe_lift(TURN - along, tall=tall) + up
    shown = Sketch("Lift", "cam angle", (line(TURN, lobe_lift(), "earlier"), other(TURN, later, "later")))
    top = _top()
    if along:
        return shown.with_(span(top, top + along, LIFT + 0.4, 0.3), say(top + along + 20.0, LIFT + 0.8, told))
    at, low, high = (-78.0, 0.0, up) if up else (top, LIFT, tall)
    return shown.with_(rise(at, low, high, 3.0), say(at + 18.0, max(low, high) + 0.5, told))


_OF_LOBE: dict[str, Callable[[], Sketch]] = {
    "max_lift": _max_lift, "max_lift_angle": _at_top, "peak_centre": _at_top,
    "centre": partial(_chord, LIFT - _CHORD, "1.27 mm below the peak"),
    "chord_centre": partial(_chord, _CHECKING, "at the first checking lift"),
    "area_centre": _area_centre, "area": _area,
    "opening": partial(_event, opening=True), "closing": partial(_event, opening=False), "duration": _duration,
    "velocity_max": partial(_extreme, 1, "Velocity", "greatest", greatest=True),
    "velocity_min": partial(_extreme, 1, "Velocity", "least", least=True),
    "acceleration_max": partial(_extreme, 2, "Acceleration", "greatest", greatest=True),
    "acceleration_min": partial(_extreme, 2, "Acceleration", "least", least=True),
    "jerk_max_abs": partial(_extreme, 3, "Jerk", "greatest size", greatest=True, least=True), "jerk_rms": _jerk_rms,
    "runout_tir": partial(runout, "Base circle as read, magnified", "cam angle off the lobe"),
    "eccentricity": partial(off_centre, "Base circle and axis, magnified"), "noise": _noise,
    "min_convex_radius": partial(_radius, 0.0, 0.0, "least radius", (28.0, 36.0)),
    "min_concave_radius": partial(_radius, 7.0, 50.0, "hollow", (44.0, 13.0)),
    "min_face_radius": _face, "max_pressure_angle": _pressure_angle, "envelope": _envelope,
    "index_error": _index_error,
}  # fmt: skip
_OF_CAMSHAFT: dict[str, Callable[[], Sketch]] = {
    "lobe_separation": _separation, "lobe_separation_mean": _separation,
    "max_lift_spread": partial(_spread, of_width=False), "duration_spread": partial(_spread, of_width=True),
}  # fmt: skip
_OF_COMPARISON: dict[str, Callable[[], Sketch]] = {
    "wear": partial(_compared, "greatest loss"), "worst": partial(_compared, "greatest difference"),
    "rms": _difference_rms,
    "worst_angle": partial(_compared, "where it is worst"), "shift": partial(_moved, "later by this", along=9.0),
    "zero": partial(_moved, "higher by this", up=0.8), "max_lift_change": partial(_moved, "change", tall=6.2),
}  # fmt: skip
PICTURES: Pictures = {"lobe": _OF_LOBE, "camshaft": _OF_CAMSHAFT, "comparison": _OF_COMPARISON}
