"""What characteristics in the engine are, drawn of invented valves."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.figures.description import Curve, Guide, ends_of, level, words
from valvelab.figures.polar import circle
from valvelab.figures.sketch import LIFT, Pictures, Sketch, line, lobe_lift, meant, other, rise, say, span, spot

_CRANK = np.linspace(-320.0, 340.0, 661)
_INTAKE, _EXHAUST = 104.0, -118.0
_STATED = 0.4


def _at_valve(middle: float) -> FloatArray:
    return lobe_lift(0.42 * (_CRANK - middle), lean=0.0)


def _both() -> Sketch:
    """Exhaust and intake about gas-exchange top dead centre."""
    lines = line(_CRANK, _at_valve(_INTAKE), "intake"), other(_CRANK, _at_valve(_EXHAUST), "exhaust")
    return Sketch("Lift", "crank angle", lines, guides=(Guide(0.0, "x"),), places=((0.0, "TDC"),))


def _centreline(at: float, told: str) -> Sketch:
    stem = meant([at, at], [0.0, LIFT])
    return _both().with_(span(0.0, at, 7.5, 0.3), stem, say(0.5 * at, 8.2, told), places=((at, "centre"),))


def _advance() -> Sketch:
    middle = 0.5 * (_INTAKE + _EXHAUST)
    stems = (other(np.full(2, at), np.array([0.0, 7.5])) for at in (_EXHAUST, _INTAKE))
    return _both().with_(
        *stems,
        other(np.array([_EXHAUST, _INTAKE]), np.full(2, 7.5)),
        meant([middle, middle], [0.0, 7.5]),
        spot([middle], [7.5]),
        say(middle - 75.0, 8.3, "middle of both, before TDC"),
    )


def _correction() -> Sketch:
    lines = line(_CRANK, _at_valve(122.0), "as it stands"), other(_CRANK, _at_valve(_INTAKE), "card")
    shown = Sketch("Intake lift", "crank angle", lines, guides=(Guide(0.0, "x"),))
    return shown.with_(span(_INTAKE, 122.0, 7.5, 0.3), say(113.0, 8.2, "correction"), places=((0.0, "TDC"),))


def _passes(middle: float, *, opening: bool) -> float:
    """Where the invented valve about `middle` passes the stated lift."""
    over = _CRANK[_at_valve(middle) > _STATED]
    return float(over[0 if opening else -1])


def _stated() -> Curve:
    return level(ends_of(_CRANK), _STATED, "guide", "stated lift")


def _overlap() -> Sketch:
    ends = _passes(_INTAKE, opening=True), _passes(_EXHAUST, opening=False)
    return _both().with_(_stated(), span(*ends, _STATED, 0.35), say(0.0, 3.2, "overlap"))


def _timing(*, opening: bool) -> Sketch:
    at = _passes(_INTAKE, opening=opening)
    dead, name, told = (0.0, "TDC", "before TDC") if opening else (180.0, "BDC", "after BDC")
    shown = Sketch(
        "Intake lift",
        "crank angle",
        (line(_CRANK, _at_valve(_INTAKE)),),
        guides=(Guide(dead, "x"),),
        places=((dead, name),),
    )
    return shown.with_(
        _stated(),
        span(at, dead, 1.2, 0.25),
        spot([at], [_STATED]),
        say(at + (-60.0 if opening else 50.0), 1.9, told),
    )


def _wheel() -> Sketch:
    """Two readings against a piston stop, and the middle between them."""
    x, y = circle(10.0)
    stops = np.radians([50.0, -62.0])
    middle = np.radians(-6.0)
    shown = Sketch("Degree wheel", curves=(line(x, y),), round=True)
    spokes = (other(np.array([0.0, 10.0 * np.sin(at)]), np.array([0.0, 10.0 * np.cos(at)])) for at in stops)
    names = (words(12.5 * float(np.sin(at)), 11.3 * float(np.cos(at)), "stop", "nominal") for at in stops)
    top = meant([0.0, float(10.0 * np.sin(middle))], [0.0, float(10.0 * np.cos(middle))])
    zero = other(np.zeros(2), np.array([9.0, 10.0])), words(1.2, 8.6, "0", "nominal")
    return shown.with_(*spokes, *names, top, *zero, say(-2.4, 11.3, "true TDC"))


_OVER = np.linspace(-150.0, 150.0, 601)


def _valve(told: str, *, lash: float = 0.0) -> Sketch:
    tall = lobe_lift(0.5 * _OVER, lean=0.0, tall=10.0)
    base = level(ends_of(_OVER), 0.0, "measured_quiet")
    if not lash:
        shown = Sketch("Valve lift", "crank angle", (base, line(_OVER, tall)))
        return shown.with_(rise(0.0, 0.0, 10.0, 4.0), say(36.0, 4.6, told))
    without = other(_OVER, tall, "without lash")
    moved = np.maximum(tall - lash, 0.0)
    shown = Sketch("Valve lift", "crank angle", (base, without, line(_OVER, moved, "with lash")))
    return shown.with_(rise(0.0, 0.0, 10.0 - lash, 4.0), say(36.0, 4.6, told))


def _valve_duration() -> Sketch:
    tall = lobe_lift(0.5 * _OVER, lean=0.0, tall=10.0)
    over = ends_of(_OVER[tall > 1.5])
    shown = Sketch("Valve lift", "crank angle", (line(_OVER, tall),))
    return shown.with_(
        level(ends_of(_OVER), 1.5, "guide", "stated lift"), span(*over, 1.5, 0.4), say(0.0, 2.4, "duration")
    )


def _seating() -> Sketch:
    tall = lobe_lift(0.5 * _OVER, lean=0.0, tall=10.0)
    seat = 0.6
    at = float(_OVER[tall > seat][-1])
    slope = float(np.interp(at, _OVER, np.gradient(tall, _OVER)))
    shown = Sketch("Valve lift", "crank angle", (line(_OVER, np.maximum(tall - seat, 0.0)),))
    run = np.array([at - 45.0, at + 8.0])
    return shown.with_(meant(run, slope * (run - at)), spot([at], [0.0]), say(at + 4.0, 2.2, "slope here"))


def _at_tdc() -> Sketch:
    height = float(np.interp(0.0, _CRANK, _at_valve(_INTAKE)))
    return _both().with_(rise(0.0, 0.0, height, 8.0), spot([0.0], [height]), say(0.0, 3.2, "lift here"))


def _clearance() -> Sketch:
    turn = np.radians(_OVER)
    piston = 3.2 + 34.0 * (1.0 - np.cos(turn))
    valve = lobe_lift(0.5 * (_OVER - 108.0), lean=0.0, tall=10.0)
    near = np.abs(_OVER) < 45.0
    gap = np.where(near, piston - valve, np.nan)
    at = int(np.nanargmin(gap))
    lines = line(_OVER[near], valve[near], "valve"), other(_OVER[near], piston[near], "piston")
    shown = Sketch("Down from the deck", "crank angle", lines, places=((0.0, "TDC"),))
    least = rise(float(_OVER[at]), float(valve[at]), float(piston[at]), 1.2)
    return shown.with_(least, say(float(_OVER[at]) + 12.0, float(valve[at]), "clearance"))


def _contact(told: str, dip: float) -> Sketch:
    force = 420.0 + 420.0 * np.cos(np.radians(_OVER) * 2.4) * np.exp(-((_OVER / 120.0) ** 2) * 0.4) * -1.0
    force = np.where(np.abs(_OVER) < 115.0, force - float(force.min()) + dip, np.nan)
    at = int(np.nanargmin(force))
    base = level(ends_of(_OVER), 0.0, "nominal", "no contact")
    shown = Sketch("Contact force", "crank angle", (base, line(_OVER, force)))
    stem = meant([float(_OVER[at])] * 2, [0.0, float(force[at])])
    return shown.with_(stem, spot([float(_OVER[at])], [float(force[at])]), say(0.0, -60.0, told))


def _lost_at_speed() -> Sketch:
    """The least force of each speed, swinging as the spring surges; the first speed at which it is none."""
    speed = np.linspace(0.0, 100.0, 401)
    force = 300.0 - 0.036 * speed**2 - 16.0 * np.sin(speed / 4.2) * speed / 60.0
    at = float(speed[np.argmax(force <= 0.0)])
    base = level(ends_of(speed), 0.0, "nominal", "no contact")
    shown = Sketch("Least contact force", "crank speed", (base, line(speed, np.maximum(force, 0.0))))
    return shown.with_(spot([at], [0.0]), meant([at, at], [0.0, 110.0]), say(at - 16.0, 125.0, "first lost"))


_OF_PHASING: dict[str, Callable[[], Sketch]] = {
    "tdc_offset": _wheel,
    "intake_centreline": partial(_centreline, _INTAKE, "after TDC"),
    "exhaust_centreline": partial(_centreline, _EXHAUST, "before TDC"),
    "advance": _advance,
    "correction": _correction,
    "overlap": _overlap,
}
_OF_EVENT: dict[str, Callable[[], Sketch]] = {
    "opening": partial(_timing, opening=True),
    "closing": partial(_timing, opening=False),
}
_OF_VALVE: dict[str, Callable[[], Sketch]] = {
    "dynamic_separation": _lost_at_speed,
    "rule_lift": partial(_valve, "counted"), "max_valve_lift": partial(_valve, "greatest", lash=1.2),
    "valve_lift_at_gas_exchange_tdc": _at_tdc, "valve_duration": _valve_duration, "seating_velocity": _seating,
    "piston_clearance": _clearance, "separation": partial(_contact, "touches zero at this speed", 0.0),
    "margin_at_max_speed": partial(_contact, "margin", 150.0),
}  # fmt: skip
PICTURES: Pictures = {"phasing": _OF_PHASING, "event": _OF_EVENT, "valve": _OF_VALVE}
