"""Published motion laws, and lobes composed from them.

A law moves a follower by 1 over 0 ≤ x ≤ 1; a rise h over an angle β scales lift by h, velocity by h/β, and so on.
The polynomial, cycloidal and harmonic laws follow by differentiation; the modified sine and modified trapezoid
are the standard piecewise ones. Outside 0…1 a law stands still. Sources: cam-design handbooks, VDI 2143.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.polynomial import Polynomial

from valvelab.arrays import FloatArray

LawName = Literal[
    "cycloidal", "modified_trapezoid", "modified_sine", "poly345", "poly4567", "harmonic", "constant_acceleration"
]
_PI = np.pi


def _cycloidal(x: FloatArray, order: int) -> FloatArray:
    w = 2.0 * _PI
    match order:
        case 0:
            return x - np.sin(w * x) / w
        case 1:
            return 1.0 - np.cos(w * x)
        case 2:
            return w * np.sin(w * x)
        case _:
            return w**2 * np.cos(w * x)


def _harmonic(x: FloatArray, order: int) -> FloatArray:
    match order:
        case 0:
            return 0.5 * (1.0 - np.cos(_PI * x))
        case 1:
            return 0.5 * _PI * np.sin(_PI * x)
        case 2:
            return 0.5 * _PI**2 * np.cos(_PI * x)
        case _:
            return -0.5 * _PI**3 * np.sin(_PI * x)


def _polynomial(*coefficients: float) -> Callable[[FloatArray, int], FloatArray]:
    base = Polynomial(coefficients)
    orders = [base.deriv(order) if order else base for order in range(4)]
    return lambda x, order: np.asarray(orders[order](x))


def _mirrored(half: Callable[[FloatArray, int], FloatArray]) -> Callable[[FloatArray, int], FloatArray]:
    """A law given for x ≤ ½, completed by point symmetry about (½, ½)."""

    def law(x: FloatArray, order: int) -> FloatArray:
        first = half(np.minimum(x, 1.0 - x), order)
        second = 1.0 - first if order == 0 else first if order % 2 else -first
        return np.where(x <= 0.5, first, second)

    return law


def _constant_acceleration(x: FloatArray, order: int) -> FloatArray:
    return [2.0 * x**2, 4.0 * x, np.full_like(x, 4.0), np.zeros_like(x)][order]


def _modified_trapezoid(x: FloatArray, order: int) -> FloatArray:
    peak = 8.0 * _PI / (2.0 + _PI)
    w = 4.0 * _PI
    c = 1.0 / w
    first, flat = x < 0.125, x < 0.375
    u = x - 0.125
    t = x - 0.375
    v1 = peak * c
    s1 = peak * (0.125 * c - c**2)
    v2 = v1 + 0.25 * peak
    s2 = s1 + 0.25 * v1 + 0.5 * peak * 0.0625
    table = (
        (
            peak * (c * x - c**2 * np.sin(w * x)),
            s1 + v1 * u + 0.5 * peak * u**2,
            s2 + v2 * t + peak * c**2 * (1.0 - np.cos(w * t)),
        ),
        (peak * c * (1.0 - np.cos(w * x)), v1 + peak * u, v2 + peak * c * np.sin(w * t)),
        (peak * np.sin(w * x), np.full_like(x, peak), peak * np.cos(w * t)),
        (peak * w * np.cos(w * x), np.zeros_like(x), -peak * w * np.sin(w * t)),
    )[order]
    return np.where(first, table[0], np.where(flat, table[1], table[2]))


def _modified_sine(x: FloatArray, order: int) -> FloatArray:
    a, b, k = 4.0 * _PI, 4.0 * _PI / 3.0, _PI / (4.0 + _PI)
    first = x < 0.125
    phase = b * x + _PI / 3.0
    match order:
        case 0:
            early = k * (x - np.sin(a * x) / a)
            late = k * (2.0 / _PI + x - 9.0 / a * np.sin(phase))
        case 1:
            early, late = k * (1.0 - np.cos(a * x)), k * (1.0 - 3.0 * np.cos(phase))
        case 2:
            early, late = k * a * np.sin(a * x), k * a * np.sin(phase)
        case _:
            early, late = k * a**2 * np.cos(a * x), k * a * b * np.cos(phase)
    return np.where(first, early, late)


LAWS: dict[LawName, Callable[[FloatArray, int], FloatArray]] = {
    "cycloidal": _cycloidal,
    "modified_trapezoid": _mirrored(_modified_trapezoid),
    "modified_sine": _mirrored(_modified_sine),
    "poly345": _polynomial(0, 0, 0, 10, -15, 6),
    "poly4567": _polynomial(0, 0, 0, 0, 35, -84, 70, -20),
    "harmonic": _harmonic,
    "constant_acceleration": _mirrored(_constant_acceleration),
}
_BLEND = Polynomial([0, 0, 0, 0, 35, -84, 70, -20])
_BLEND_ORDERS = [_BLEND.integ(), _BLEND, _BLEND.deriv(1), _BLEND.deriv(2)]


def law(name: LawName, x: FloatArray, order: int = 0) -> FloatArray:
    """Normalised law at x, any shape: order 0 lift, 1 velocity, 2 acceleration, 3 jerk; at rest outside 0…1.

    Plain numbers.
    """
    inside = np.clip(x, 0.0, 1.0)
    value = LAWS[name](inside, order)
    if order == 0:
        return value
    return np.where((x < 0.0) | (x > 1.0), 0.0, value)


def _ramp(angle: FloatArray, start: float, blend: float, end: float, fade: float, order: int) -> FloatArray:
    """Unit-velocity ramp from `start`, velocity blended in over `blend` and out again over `fade` from `end`."""

    def step(begin: float, width: float) -> FloatArray:
        x = (angle - begin) / width
        value = np.asarray(_BLEND_ORDERS[order](np.clip(x, 0.0, 1.0))) * width ** (1 - order)
        if order == 0:
            return value + np.maximum(angle - begin - width, 0.0)
        return value if order == 1 else np.where((x < 0.0) | (x > 1.0), 0.0, value)

    return step(start, blend) - step(end, fade)


@dataclass(frozen=True, slots=True)
class Flank:
    """One side of a lobe: law, its angle (cam deg) from foot to nose, and a blended constant-velocity ramp.

    The ramp starts `ramp_angle` before the main law and carries `ramp_lift` mm in all; 0 leaves it out.
    """

    law: LawName
    angle: float
    ramp_angle: float = 0.0
    ramp_lift: float = 0.0

    def value(self, before_nose: FloatArray, height: float, order: int) -> FloatArray:
        """Lift or derivative at cam degrees before the nose (positive), toward the nose. Shape as given."""
        along = self.angle - before_nose
        main = height - self.ramp_lift
        total = main * law(self.law, along / self.angle, order) / self.angle**order
        if self.ramp_lift:
            blend = 0.5 * self.ramp_angle
            fade = 0.5 * self.angle
            run = self.ramp_angle - 0.5 * blend + 0.5 * fade
            total = total + self.ramp_lift / run * _ramp(along, -self.ramp_angle, blend, 0.0, fade, order)
        return total


@dataclass(frozen=True, slots=True)
class LobeDesign:
    """A lobe composed of an opening and a closing flank: total lift in mm, nose at `centre` cam deg."""

    lift: float
    opening: Flank
    closing: Flank
    centre: float = 0.0

    def value(self, angle_cam_deg: FloatArray, order: int = 0) -> FloatArray:
        """Lift (mm) or its derivative per cam deg of the given order at any angles, shape as given; period 360."""
        t = np.mod(np.asarray(angle_cam_deg, dtype=np.float64) - self.centre + 180.0, 360.0) - 180.0
        before = self.opening.value(-t, self.lift, order)
        after = self.closing.value(t, self.lift, order) * (-1.0) ** order
        return np.where(t <= 0.0, before, after)
