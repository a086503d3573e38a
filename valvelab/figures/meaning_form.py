"""What characteristics of journals, shafts and surfaces are, drawn of invented traces."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.figures.description import Band, Curve, Guide, Marks, ends_of, level
from valvelab.figures.polar import circle
from valvelab.figures.sketch import Pictures, Sketch, line, meant, off_centre, other, rise, runout, say, span, spot

_DEPTH = np.linspace(0.0, 4.0, 801)


def _rough_round() -> tuple[FloatArray, FloatArray, FloatArray]:
    turn = np.radians(np.arange(0.0, 360.5, 1.0))
    reach = 10.0 + 0.9 * np.cos(2.0 * turn) + 0.6 * np.cos(3.0 * turn + 1.0) + 0.25 * np.cos(7.0 * turn)
    return reach, reach * np.cos(turn), reach * np.sin(turn)


def _roundness(kind: str) -> Sketch:
    """An uneven ring and the two circles that a kind of roundness lies between, about the middle of the trace."""
    reach, x, y = _rough_round()
    low, high = float(reach.min()), float(reach.max())
    shown = Sketch("Trace of a journal, magnified", curves=(line(x, y, "trace"),), round=True)
    if kind == "least squares":
        shown = shown.with_(Curve(*circle(10.0), "nominal", "least-squares circle"))
    fixed = {"inscribed": (low, "inscribed circle"), "circumscribed": (high, "circumscribed circle")}.get(kind)
    if fixed is not None:
        shown = shown.with_(Curve(*circle(fixed[0]), "nominal", fixed[1]))
    rings = (meant(*circle(edge)) for edge in (low, high))
    across = np.cos(np.radians(35.0)), np.sin(np.radians(35.0))
    gap = meant([low * across[0], high * across[0]], [low * across[1], high * across[1]])
    return shown.with_(*rings, gap, say(float(13.5 * across[0]) + 1.2, float(13.5 * across[1]), "roundness"))


_STATIONS = np.arange(0.0, 5.0)
_CENTRES = np.array([0.4, -0.9, 1.0, 0.2, -0.5])


def _straight(*, least_squares: bool) -> Sketch:
    """Centres in the smallest cylinder; or about their least-squares line, twice the farthest to either side."""
    slope, start = np.polyfit(_STATIONS, _CENTRES, 1) if least_squares else (0.0, 0.05)
    ends = np.array([-0.3, 4.3])
    middle = start + slope * ends
    reach = float(np.max(np.abs(_CENTRES - start - slope * _STATIONS)))
    shown = Sketch("Journal centres off their line, magnified", "along the shaft", (line(_STATIONS, _CENTRES),))
    if least_squares:
        shown = shown.with_(other(ends, middle, "least-squares line"))
    names = tuple((float(x), f"{n}") for n, x in enumerate(_STATIONS, start=1))
    return shown.with_(
        Marks(_STATIONS, _CENTRES, "measured", size=1.2),
        meant(ends, middle - reach),
        meant(ends, middle + reach),
        rise(3.5, start + 3.5 * slope - reach, start + 3.5 * slope + reach, 0.05),
        say(3.95, start + 0.6 * reach, "diameter"),
        places=names,
    )


def _taper() -> Sketch:
    wide = np.array([0.0, 1.0, 2.0])
    high = np.array([0.2, 0.5, 1.1])
    shown = Sketch("Height of the tracks of one lobe, magnified", "across the face", (line(wide, high),))
    tracks = Marks(wide, high, "measured", size=1.2)
    names = ((0.0, "front track"), (1.0, "middle"), (2.0, "rear track"))
    return shown.with_(
        tracks,
        level((0.0, 2.0), 0.2, "guide"),
        level((0.0, 2.0), 1.1, "guide"),
        rise(0.5, 0.2, 1.1, 0.05),
        say(0.72, 0.75, "taper"),
        places=names,
    )


def _heights() -> FloatArray:
    """A ground and then smoothed surface: a plateau with deep valleys."""
    wave = 0.9 * np.sin(9.0 * _DEPTH) + 0.7 * np.sin(23.0 * _DEPTH + 1.0) + 0.4 * np.sin(51.0 * _DEPTH)
    cut = np.where(wave > 0.0, 0.6 * wave, 1.15 * wave)
    return np.asarray(cut - cut.mean())


def _surface() -> Sketch:
    mean = level(ends_of(_DEPTH), 0.0, "nominal", "mean line")
    return Sketch("Roughness, magnified", "along the trace", (line(_DEPTH, _heights()), mean))


def _mean_height(told: str, power: float) -> Sketch:
    high = _heights()
    size = float(np.mean(np.abs(high) ** power) ** (1.0 / power))
    folded = Band(_DEPTH, np.zeros_like(high), np.abs(high), "guide")
    edge = level(ends_of(_DEPTH), size, "meant")
    return _surface().with_(folded, edge, say(4.12, size, told))


def _greatest_height(told: str, *, top: bool = True, bottom: bool = True, sections: bool = True) -> Sketch:
    high = _heights()
    pieces = np.array_split(np.arange(_DEPTH.size), 4 if sections else 1)
    shown = _surface()
    for piece in pieces:
        low_end = float(high[piece].min()) if bottom else 0.0
        high_end = float(high[piece].max()) if top else 0.0
        shown = shown.with_(rise(float(_DEPTH[piece].mean()), low_end, high_end, 0.05))
    cuts = (float(_DEPTH[piece[0]]) for piece in pieces[1:])
    where = float(high.max()) + 0.35 if top else float(high.min()) - 0.35
    shown = shown.with_(say(float(_DEPTH[pieces[0]].mean()), where, told))
    return shown.with_(*(Guide(cut, "x") for cut in cuts))


def _element_width() -> Sketch:
    wave = 1.4 * np.sin(2.0 * np.pi * _DEPTH)
    mean = level(ends_of(_DEPTH), 0.0, "nominal", "mean line")
    shown = Sketch("Roughness, magnified", "along the trace", (line(_DEPTH, wave), mean))
    return shown.with_(*(span(float(n), n + 1.0, 0.0, 0.2) for n in range(4)), say(0.5, -0.4, "width"))


def _bearing(of: str) -> Sketch:
    """The share of the surface that lies above each height; its core is where 40 % of it fall least."""
    share = np.linspace(0.0, 100.0, _DEPTH.size)
    high = np.sort(_heights())[::-1]
    over = round(0.4 * share.size)
    begin = int(np.argmin(high[:-over] - high[over:]))
    flattest = slice(begin, begin + over + 1)
    slope, top = map(float, np.polyfit(share[flattest], high[flattest], 1))
    foot = top + 100.0 * slope
    first, last = (float(share[int(np.argmax(high < edge))]) for edge in (top, foot))
    peak = 2.0 * float(np.trapezoid(np.maximum(high - top, 0.0), share)) / first
    valley = 2.0 * float(np.trapezoid(np.maximum(foot - high, 0.0), share)) / (100.0 - last)
    shown = Sketch("Height", "share of the surface above it", (line(share, high),)).with_(
        level((0.0, 100.0), top, "guide"),
        level((0.0, 100.0), foot, "guide"),
        other(np.array([0.0, 100.0]), np.array([top, foot])),
        places=((first, "Rmrk1"), (last, "Rmrk2")),
    )
    match of:
        case "rk":
            return shown.with_(rise(-3.0, foot, top, 1.5), say(8.0, 0.5 * (foot + top), "Rk"))
        case "rpk":
            return shown.with_(meant([0.0, 0.0, first], [top, top + peak, top]), say(6.0, top + 1.1 * peak, "Rpk"))
        case "rvk":
            tip = meant([100.0, 100.0, last], [foot, foot - valley, foot])
            return shown.with_(tip, say(90.0, foot - valley, "Rvk"))
        case _:
            at, edge = (first, top) if of == "rmrk1" else (last, foot)
            return shown.with_(spot([at], [edge]), meant([at, at], [float(high[-1]), edge]))


_OFF = np.linspace(-4.5, 4.5, 361)


def _bell(wide: float, tall: float = 1.0) -> FloatArray:
    """How often what scatters lies at each place."""
    return np.asarray(tall * np.exp(-0.5 * (_OFF / wide) ** 2))


def _skewness() -> Sketch:
    """A plateau with deep valleys has a long tail below the mean."""
    deep = np.where(_OFF < 0.7, np.exp(-0.5 * ((_OFF - 0.7) / 1.7) ** 2), np.exp(-0.5 * ((_OFF - 0.7) / 0.55) ** 2))
    even = other(_OFF, _bell(1.25, 0.9), "even: 0")
    tail = (_OFF < -1.6) & (_OFF > -4.2)
    shown = Sketch("How often", "depth and height about the mean line", (line(_OFF, deep), even))
    return shown.with_(
        Band(_OFF[tail], np.zeros(int(tail.sum())), deep[tail], "meant"),
        say(-3.2, 0.42, "valleys: below 0"),
        places=((0.0, "mean line"),),
    )


def _kurtosis() -> Sketch:
    """A peak with wide feet holds more far from the mean than a normal one."""
    sharp = 0.8 * np.exp(-0.5 * (_OFF / 0.45) ** 2) + 0.25 * np.exp(-0.5 * (_OFF / 2.1) ** 2)
    shown = Sketch(
        "How often",
        "depth and height about the mean line",
        (line(_OFF, sharp), other(_OFF, _bell(1.0, 0.7), "normal: 3")),
    )
    feet = [(_OFF < -2.0), (_OFF > 2.0)]
    bands = (Band(_OFF[foot], np.zeros(int(foot.sum())), sharp[foot], "meant") for foot in feet)
    return shown.with_(*bands, say(3.2, 0.32, "wide feet: above 3"), places=((0.0, "mean line"),))


def _scatter(of: str) -> Sketch:
    """Readings of one part and of all parts, or the tolerance that they are held against."""
    gauge = line(_OFF, _bell(0.45), "gauge alone")
    alone = span(-1.35, 1.35, 0.12, 0.05)
    match of:
        case "total":
            shown = Sketch("How often", "readings", (gauge, other(_OFF, _bell(1.4, 0.75), "all readings")))
            return shown.with_(alone, span(-4.2, 4.2, 1.1, 0.05), say(0.0, 1.22, "the gauge's share of this"))
        case "tolerance":
            shown = Sketch("How often", "readings", (gauge,), guides=(Guide(-3.6, "x"), Guide(3.6, "x")))
            told = say(0.0, 1.22, "the gauge's share of this")
            return shown.with_(alone, span(-3.6, 3.6, 1.1, 0.05), told, places=((-3.6, "lower"), (3.6, "upper")))
        case _:
            shown = Sketch("How often", "parts", (line(_OFF, _bell(1.4, 0.9), "parts"),))
            cuts = np.linspace(-3.6, 3.6, 6)
            bounds = (meant([cut, cut], [0.0, float(np.interp(cut, _OFF, _bell(1.4, 0.9))) + 0.08]) for cut in cuts)
            return shown.with_(*bounds, say(0.0, 1.05, "can be told apart"))


_OF_STATION: dict[str, Callable[[], Sketch]] = {
    "eccentricity": partial(off_centre, "Journal and axis, magnified"),
    "tir": partial(runout, "Journal as read, magnified", "angle"),
    "roundness_lsc": partial(_roundness, "least squares"), "roundness_mzc": partial(_roundness, "minimum zone"),
    "roundness_mic": partial(_roundness, "inscribed"), "roundness_mcc": partial(_roundness, "circumscribed"),
}  # fmt: skip
_OF_SHAFT: dict[str, Callable[[], Sketch]] = {
    "straightness": partial(_straight, least_squares=False),
    "straightness_least_squares": partial(_straight, least_squares=True),
    "taper": _taper,
}
_OF_TRACE: dict[str, Callable[[], Sketch]] = {
    "ra": partial(_mean_height, "Ra", 1.0), "rq": partial(_mean_height, "Rq", 2.0),
    "rz": partial(_greatest_height, "one per section"),
    "rt": partial(_greatest_height, "Rt", sections=False),
    "rp": partial(_greatest_height, "one per section", bottom=False),
    "rv": partial(_greatest_height, "one per section", top=False), "rsm": _element_width,
    "rsk": _skewness, "rku": _kurtosis,
    "rk": partial(_bearing, "rk"), "rpk": partial(_bearing, "rpk"), "rvk": partial(_bearing, "rvk"),
    "rmrk1": partial(_bearing, "rmrk1"), "rmrk2": partial(_bearing, "rmrk2"),
}  # fmt: skip
_OF_GAUGE: dict[str, Callable[[], Sketch]] = {
    "grr_percent": partial(_scatter, "total"), "grr_percent_of_tolerance": partial(_scatter, "tolerance"),
    "ndc": partial(_scatter, "categories"),
}  # fmt: skip
PICTURES: Pictures = {"station": _OF_STATION, "shaft": _OF_SHAFT, "trace": _OF_TRACE, "gauge": _OF_GAUGE}
