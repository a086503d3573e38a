"""Rings and spokes to draw form on: a scale in place of axes."""

from __future__ import annotations

import math

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.figures.description import Axis, Curve, Marks
from valvelab.phrase import Phrase
from valvelab.units import System, display_unit

TURN = np.radians(np.arange(0.0, 360.5, 1.0))
_LABELLED = 4
"""So many rings have room for a step beside each of them."""
_SPOKES_DEG = np.arange(0.0, 360.0, 30.0)


def circle(radius: FloatArray | float) -> tuple[FloatArray, FloatArray]:
    """Coordinates once around; a radius for each degree where it varies."""
    return np.asarray(radius * np.cos(TURN)), np.asarray(radius * np.sin(TURN))


def round_step(wanted: float) -> float:
    """The least of 1, 2, 5, 10, … that is not below `wanted` (above 0)."""
    power = 10.0 ** math.floor(math.log10(wanted))
    return next(factor * power for factor in (1.0, 2.0, 5.0, 10.0) if factor * power >= wanted * (1.0 - 1e-9))


def magnification(largest: float, room: float) -> float:
    """The greatest of 1, 2, 5, 10, … that keeps `largest` × it within `room`, both above 0."""
    return 10.0 / round_step(10.0 * largest / room) if largest > 0.0 else 1.0


class Rings:
    """Concentric rings a round step apart about a base radius, µm; `step_um` follows the units that are shown."""

    def __init__(self, base_um: float, reach_um: tuple[float, float], system: System, count: int = 4) -> None:
        unit = display_unit("um", system)
        low, high = reach_um
        step = round_step(max(high - low, 1e-6) * unit.scale / count)
        self.step_um = step / unit.scale
        self.base_um = base_um
        first = math.floor(low / self.step_um + 1e-9)
        last = math.ceil(high / self.step_um - 1e-9)
        self.levels = [k for k in range(first, max(last, first + 1) + 1) if base_um + k * self.step_um > 1e-9]
        self.outer_um = base_um + self.levels[-1] * self.step_um
        self._shown = step
        self.label = Phrase("one ring {step}", step=f"{step:g} {unit.label}")

    def axis(self, label: str = "") -> Axis:
        """The same axis across and up: no unit, since the rings carry the scale."""
        reach = 1.16 * self.outer_um
        return Axis(label or self.label, "", (-reach, reach))

    def curves(self) -> list[Curve]:
        """Rings and spokes."""
        drawn = [Curve(*circle(self.base_um + k * self.step_um), "measured_quiet") for k in self.levels]
        inner = self.base_um + self.levels[0] * self.step_um if self.base_um > 0.0 else 0.0
        for angle in np.radians(_SPOKES_DEG):
            ends = np.asarray([inner, self.outer_um])
            drawn.append(Curve(ends * math.cos(angle), ends * math.sin(angle), "measured_quiet"))
        return drawn

    def marks(self) -> tuple[Marks, ...]:
        """Angles outside, and beside the spoke at 75 deg the steps of the rings, of many every second one's."""
        turns = np.radians(np.arange(0.0, 360.0, 90.0))
        radius = 1.08 * self.outer_um
        angles = Marks(
            radius * np.cos(turns),
            radius * np.sin(turns),
            "guide",
            texts=("0°", "90°", "180°", "270°"),
            bare=True,
            off=self.outer_um,
        )
        often = 1 if len(self.levels) <= _LABELLED else 2
        levels = [k for k in self.levels if (k or self.base_um > 0.0) and k % often == 0]
        places = np.asarray([self.base_um + k * self.step_um for k in levels])
        spot = math.radians(75.0)
        texts = tuple(_signed(k * self._shown, relative=self.base_um > 0.0) for k in levels)
        return (angles, Marks(places * math.cos(spot), places * math.sin(spot), "guide", texts=texts, bare=True))


def _signed(value: float, *, relative: bool) -> str:
    return (f"{value:+g}" if relative and value else f"{value:g}").replace("-", "−")
