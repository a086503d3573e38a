"""What characteristics of springs and their comparison are, drawn of an invented spring."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.figures.description import level
from valvelab.figures.sketch import Pictures, Sketch, line, meant, other, rise, say, span, spot

_FREE, _INSTALLED, _OPEN, _SOLID = 50.0, 42.0, 32.0, 27.5
_RATE = 30.0
_HEIGHTS = np.linspace(_SOLID, _FREE + 3.0, 300)


def _force(height: FloatArray | float, free: float = _FREE, rate: float = _RATE) -> FloatArray:
    return rate * np.maximum(free - np.asarray(height), 0.0)


def _spring() -> Sketch:
    pressed = np.append(_HEIGHTS[::-1], _SOLID)
    force = np.append(_force(_HEIGHTS)[::-1], 1.25 * float(_force(_SOLID)))
    where = ((_OPEN, "open"), (_INSTALLED, "installed"))
    return Sketch("Force", "height", (line(pressed, force),), places=where)


def _force_at(height: float, told: str) -> Sketch:
    force = float(_force(height))
    stem = meant([height, height, _SOLID], [0.0, force, force])
    return _spring().with_(stem, spot([height], [force]), say(height + 4.5, force + 40.0, told))


def _rate() -> Sketch:
    low, high = float(_force(_INSTALLED)), float(_force(_OPEN))
    corner = meant([_INSTALLED, _OPEN, _OPEN], [low, low, high])
    return _spring().with_(corner, say(37.0, low - 45.0, "height"), say(_OPEN - 2.2, 390.0, "force"))


def _stretch(told: str) -> Sketch:
    shown = _spring().with_(span(_SOLID, _OPEN, 60.0, 25.0), places=((_SOLID, "solid"),))
    return shown.with_(say(0.5 * (_SOLID + _OPEN) + 0.4, 115.0, told))


def _at_end(height: float, told: str) -> Sketch:
    return _spring().with_(spot([height], [float(_force(height))]), places=((height, told),))


def _hysteresis() -> Sketch:
    bulge = 55.0 * np.sin(np.pi * np.clip((_HEIGHTS - _SOLID) / (_FREE - _SOLID), 0.0, 1.0))
    force = _force(_HEIGHTS)
    shown = Sketch(
        "Force", "height", (line(_HEIGHTS, force + bulge, "pressed"), other(_HEIGHTS, force - bulge, "released"))
    )
    at = 38.0
    reach = float(np.interp(at, _HEIGHTS, bulge))
    middle = float(_force(at))
    return shown.with_(
        rise(at, middle - reach, middle + reach, 0.5), say(at + 4.0, middle + reach + 30.0, "difference")
    )


def _worn(at: float | None, told: str, names: tuple[str, str] = ("new", "later"), *, softer: bool = False) -> Sketch:
    """Two lines of one spring; what was lost at a height, at the free end where there is none."""
    later = _force(_HEIGHTS, _FREE - 0.2, 0.88 * _RATE) if softer else _force(_HEIGHTS, _FREE - 2.0, 0.97 * _RATE)
    lines = line(_HEIGHTS, _force(_HEIGHTS), names[0]), other(_HEIGHTS, later, names[1])
    shown = Sketch("Force", "height", lines, places=((_OPEN, "open"), (_INSTALLED, "installed")))
    if at is None:
        return shown.with_(span(_FREE - 2.0, _FREE, 25.0, 20.0), say(_FREE - 1.0, 80.0, told))
    low = float(np.interp(at, _HEIGHTS, later))
    return shown.with_(rise(at, low, float(_force(at)), 0.5), say(at + 4.0, float(_force(at)) + 40.0, told))


def _surge() -> Sketch:
    along = np.linspace(0.0, 1.0, 101)
    swing = np.sin(np.pi * along)
    still = level((0.0, 1.0), 0.0, "measured_quiet")
    shown = Sketch("How far coils swing", "along the spring", (still, line(along, swing), other(along, -swing)))
    return shown.with_(rise(0.5, -1.0, 1.0, 0.02), places=((0.0, "fixed end"), (1.0, "fixed end")))


def _square(told: str) -> Sketch:
    lean = 0.07
    coils = [np.array([[-8.0, high], [8.0, high + 3.0]]) for high in np.arange(0.0, 30.0, 6.0)]
    x, y = np.vstack(coils).T
    wire = line(x + lean * y, y)
    reach = float(-8.0 + lean * 32.0)
    ground = other(np.array([-14.0, 14.0]), np.zeros(2))
    upright = other(np.full(2, -8.0), np.array([0.0, 36.0]))
    shown = Sketch("The free spring on a plate, beside a square", curves=(wire, ground, upright), round=True)
    own = other(np.array([-8.0, reach]), np.array([0.0, 32.0]))
    return shown.with_(own, span(-8.0, reach, 32.0, 0.8), say(reach + 4.0, 34.6, told))


_STRENGTH = 780.0


def _strength() -> Sketch:
    """The shear stress as the spring is pressed, and what the wire bears of it."""
    stress = 1.1 * _force(_HEIGHTS)
    at = 1.1 * float(_force(_OPEN))
    bears = level((_SOLID, _FREE + 3.0), _STRENGTH, "nominal", "0.56 of the tensile strength")
    shown = Sketch("Shear stress", "height", (line(_HEIGHTS, stress), bears), places=((_OPEN, "open"),))
    return shown.with_(
        meant([_OPEN, _OPEN], [0.0, at]),
        spot([_OPEN], [at]),
        other(np.array([_OPEN, _OPEN]), np.array([at, _STRENGTH])),
        say(_OPEN + 7.0, 0.5 * (at + _STRENGTH), "line ÷ this stress"),
    )


def _fatigue() -> Sketch:
    """Half the swing of the stress against its mean: the way to the line over the way to the point."""
    mean, swing, ends, bears = 0.4, 0.24, 1.0, 0.62
    reach = 1.0 / (mean / ends + swing / bears)
    shown = Sketch("Half the swing of the stress", "mean stress, between seat and open")
    return shown.with_(
        other(np.array([0.0, ends]), np.array([bears, 0.0]), "Goodman line"),
        level((0.0, ends), 0.0, "measured_quiet"),
        line(np.array([0.0, mean]), np.array([0.0, swing])),
        meant([mean, reach * mean], [swing, reach * swing]),
        spot([mean, reach * mean], [swing, reach * swing]),
        say(mean + 0.16, swing - 0.05, "seat to open"),
        say(reach * mean + 0.2, reach * swing + 0.05, "as far as the line"),
    )


_OF_SPRING: dict[str, Callable[[], Sketch]] = {
    "seat_force": partial(_force_at, _INSTALLED, "seat force"),
    "open_force": partial(_force_at, _OPEN, "open force"),
    "force": partial(_force_at, 36.0, "force at this height"), "rate": _rate,
    "solid_height": partial(_at_end, _SOLID, "solid"), "free_length": partial(_at_end, _FREE, "free length"),
    "coil_bind_margin": partial(_stretch, "margin"), "margin_per_coil": partial(_stretch, "margin ÷ coils"),
    "hysteresis": _hysteresis, "set_loss": partial(_worn, _INSTALLED, "lost", ("new", "run in")),
    "stress_seat": partial(_force_at, _INSTALLED, "the stress of this force"),
    "stress_open": partial(_force_at, _OPEN, "the stress of this force"),
    "stress_solid": partial(_force_at, _SOLID, "the stress of this force"), "surge": _surge,
    "squareness": partial(_square, "stands off"), "squareness_angle": partial(_square, "this lean"),
    "seat_force_drop": partial(_worn, _INSTALLED, "lost"), "open_force_drop": partial(_worn, _OPEN, "lost"),
    "strength_margin": _strength, "fatigue_margin": _fatigue,
    "rate_drop": partial(_worn, _OPEN, "less steep", softer=True), "free_length_drop": partial(_worn, None, "lost"),
}  # fmt: skip
_OF_COMPARISON: dict[str, Callable[[], Sketch]] = {
    "seat_force_change": partial(_worn, _INSTALLED, "change", ("earlier", "later")),
    "open_force_change": partial(_worn, _OPEN, "change", ("earlier", "later")),
    "free_length_change": partial(_worn, None, "change", ("earlier", "later")),
    "seat_force_change_pct": partial(_worn, _INSTALLED, "this over the earlier force", ("earlier", "later")),
    "rate_change": partial(_worn, _OPEN, "less steep", ("earlier", "later"), softer=True),
}
PICTURES: Pictures = {"spring": _OF_SPRING, "comparison": _OF_COMPARISON}
