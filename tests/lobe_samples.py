"""Lobes with known answers for the tests: designs from published laws, their exact events, noise, and a whole fit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from motion_laws import Flank, LawName, LobeDesign
from numpy.typing import NDArray
from scipy.optimize import brentq

from valvelab.lobe.characteristics import Instrument, LobeCharacteristics
from valvelab.lobe.conditioning import condition
from valvelab.lobe.profile import FittedLobes, fit_lobes
from valvelab.lobe.trace import Trace

Floats = NDArray[np.float64]

SMOOTH: tuple[LawName, ...] = ("cycloidal", "poly345", "poly4567")
STEPPING: tuple[LawName, ...] = ("modified_sine", "modified_trapezoid")
RAMP = (22.0, 0.25)
NO_RAMP = (0.0, 0.0)
LIFT = 8.0


def design(law: LawName, ramp: tuple[float, float] = RAMP, centre: float = 100.3, flank: float = 62.0) -> LobeDesign:
    side = Flank(law, flank, *ramp)
    return LobeDesign(LIFT, side, side, centre)


def lopsided(centre: float = 100.3) -> LobeDesign:
    return LobeDesign(LIFT, Flank("poly4567", 58.0, 20.0, 0.2), Flank("poly345", 66.0, 25.0, 0.3), centre)


def crossing(lobe: LobeDesign, lift: float, side: int) -> float:
    """Exact angle, counted from the nose, where one flank passes a lift."""

    def off(t: float) -> float:
        return float(lobe.value(np.array([lobe.centre + t]))[0]) - lift

    return float(brentq(off, min(0, side * 90), max(0, side * 90), xtol=1e-12))


def fit(angle: Floats, *lifts: Floats, keep_eccentricity: bool = False) -> FittedLobes:
    traces = tuple(Trace(f"{k}I", angle, lift) for k, lift in enumerate(lifts, start=1))
    return fit_lobes(condition(traces), take_out_eccentricity=not keep_eccentricity)


def answers(angle: Floats, *lifts: Floats, instrument: Instrument | None = None) -> LobeCharacteristics:
    return LobeCharacteristics(fit(angle, *lifts), instrument)


def turn(readings: int) -> Floats:
    return np.arange(readings) * 360.0 / readings


def correlated(rng: np.random.Generator, shape: tuple[int, int], lag: float, deviation: float) -> Floats:
    """First-order autoregressive noise along the last axis."""
    white = rng.normal(0.0, deviation, shape)
    noise = white.copy()
    for k in range(1, shape[1]):
        noise[:, k] = lag * noise[:, k - 1] + np.sqrt(1.0 - lag**2) * white[:, k]
    return noise


@dataclass(frozen=True)
class Truth:
    """Exact values of a design at one checking lift, by name; from dense evaluation and root finding."""

    lobe: LobeDesign
    lift: float = 1.27

    def values(self) -> dict[str, float]:
        opening, closing = (crossing(self.lobe, self.lift, side) for side in (-1, 1))
        low = [crossing(self.lobe, self.lobe.lift - 1.27, side) for side in (-1, 1)]
        angle = np.arange(-120.0, 120.0, 0.005)
        lift, speed, bend = (self.lobe.value(self.lobe.centre + angle, order) for order in range(3))
        centre = self.lobe.centre
        return {
            "max_lift": self.lobe.lift,
            "opening": centre + opening,
            "closing": centre + closing,
            "duration": closing - opening,
            "middle": centre + 0.5 * (opening + closing),
            "nose": centre + 0.5 * (low[0] + low[1]),
            "area": float(lift.sum() * 0.005),
            "area_centre": centre + float((angle * lift).sum() / lift.sum()),
            "velocity_max": float(speed.max()),
            "velocity_min": float(speed.min()),
            "acceleration_max": float(bend.max()),
            "acceleration_min": float(bend.min()),
        }


def measured(found: LobeCharacteristics, lift: float = 1.27) -> dict[str, tuple[Floats, Floats]]:
    """The same by our own functions: values and standard uncertainties of all lobes."""
    row = found.events(lift)
    area, centroid = found.area()
    values = {
        "max_lift": found.max_lift(),
        "opening": row.opening,
        "closing": row.closing,
        "duration": row.duration,
        "middle": row.centre,
        "nose": found.nose_centre(1.27),
        "area": area,
        "area_centre": centroid,
        "velocity_max": found.extreme(1, 1.0)[0],
        "velocity_min": found.extreme(1, -1.0)[0],
        "acceleration_max": found.extreme(2, 1.0)[0],
        "acceleration_min": found.extreme(2, -1.0)[0],
    }
    return {name: (value.value, value.u) for name, value in values.items()}
