"""A lobe drawn as a cam designer draws one, from its acceleration; for the sample camshafts.

Each flank runs from its foot to the nose: a blended ramp of constant velocity, one positive acceleration pulse, then
negative acceleration over the nose. Levels are joined by cubics with level ends, so jerk is continuous, and lift
follows by exact integration (plain calculus).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.polynomial import Polynomial
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
STEP = Polynomial([0.0, 0.0, 3.0, -2.0])
# orders −2, −1, 0, 1 of the step and of the level it starts from
STEPS = (STEP.integ(2), STEP.integ(), STEP, STEP.deriv())
LEVELS = (Polynomial([0.0, 0.0, 0.5]), Polynomial([0.0, 1.0]), Polynomial([1.0]), Polynomial([0.0]))


@dataclass(frozen=True)
class Course:
    """Acceleration by level (mm/cam deg²) at knots (cam deg from the foot), integrated from rest."""

    knots: Array
    levels: Array

    @cached_property
    def starts(self) -> Array:
        """Lift and velocity at every knot."""
        states = np.zeros((2, len(self.knots)))
        for k, width in enumerate(np.diff(self.knots)):
            low, rise = self.levels[k], self.levels[k + 1] - self.levels[k]
            gained = [width**2 * (low / 2 + rise * STEPS[0](1.0)), width * (low + rise * STEPS[1](1.0))]
            states[:, k + 1] = states[:, k] + gained + [states[1, k] * width, 0.0]
        return states

    def value(self, along: Array, order: int) -> Array:
        """Lift (order 0) or a derivative up to jerk (order 3); at rest before the foot."""
        x = np.clip(along, 0.0, self.knots[-1])
        k = np.clip(np.searchsorted(self.knots, x, side="right") - 1, 0, len(self.knots) - 2)
        width = np.diff(self.knots)[k]
        u = (x - self.knots[k]) / width
        low, rise = self.levels[k], np.diff(self.levels)[k]
        own = (low * LEVELS[order](u) + rise * STEPS[order](u)) * width ** (2.0 - order)
        if order < 2:
            lift, velocity = self.starts[:, k]
            own = own + (lift + velocity * (x - self.knots[k]) if order == 0 else velocity)
        return np.where(along < 0.0, 0.0, own)


@dataclass(frozen=True)
class Flank:
    """One side of a lobe, angles in cam deg and velocity in mm/cam deg.

    `blend` and `ramp`: the ramp's blend and its stretch of constant velocity; `rise`, `hold`, `fall`: of the positive
    pulse; `over`: from there to the nose.
    """

    ramp_velocity: float
    blend: float
    ramp: float
    rise: float
    hold: float
    fall: float
    over: float

    def stretched(self, factor: float) -> Flank:
        """The same ramp before a main event that is longer by a factor."""
        parts = {name: factor * getattr(self, name) for name in ("rise", "hold", "fall", "over")}
        return replace(self, **parts)

    def course(self, lift_mm: float, nose_acceleration: float) -> Course:
        """The course that reaches the lift at rest; pulse and shoulder follow from these two conditions."""
        widths = [0.0, self.blend / 2, self.blend / 2, self.ramp, self.rise, self.hold, self.fall, self.over]
        knots = np.cumsum(widths)
        fixed = np.array([0, 2 * self.ramp_velocity / self.blend, 0, 0, 0, 0, 0, nose_acceleration])
        pulse = np.array([0, 0, 0, 0, 1.0, 1.0, 0, 0])
        shoulder = np.array([0, 0, 0, 0, 0, 0, 1.0, 0])
        ends = [Course(knots, levels).starts[:, -1] for levels in (fixed, pulse, shoulder)]
        sizes = np.linalg.solve(np.column_stack(ends[1:]), np.array([lift_mm, 0.0]) - ends[0])
        return Course(knots, fixed + sizes[0] * pulse + sizes[1] * shoulder)


@dataclass(frozen=True)
class Lobe:
    """A lobe with its nose at 0 cam deg; period 360."""

    lift_mm: float
    nose_acceleration: float
    opening: Flank
    closing: Flank

    @cached_property
    def courses(self) -> tuple[Course, Course]:
        """Opening and closing side."""
        sides = [side.course(self.lift_mm, self.nose_acceleration) for side in (self.opening, self.closing)]
        return sides[0], sides[1]

    def value(self, angle_cam_deg: ArrayLike, order: int = 0) -> Array:
        """Lift in mm, or a derivative per cam deg."""
        t = np.mod(np.asarray(angle_cam_deg, dtype=np.float64) + 180.0, 360.0) - 180.0
        opening, closing = self.courses
        rising = opening.value(opening.knots[-1] + t, order)
        falling = closing.value(closing.knots[-1] - t, order) * (-1.0) ** order
        return np.where(t <= 0.0, rising, falling)

    def duration_cam_deg(self, lift_mm: float) -> float:
        """Cam angle above a lift."""
        return sum(_crossing(side, lift_mm) for side in self.courses)

    def with_duration(self, duration_crank_deg: float, at_mm: float) -> Lobe:
        """The same lobe, its main events stretched until it lasts so long at a lift."""

        def stretched(factor: float) -> Lobe:
            return replace(self, opening=self.opening.stretched(factor), closing=self.closing.stretched(factor))

        def error(factor: float) -> float:
            return 2 * stretched(factor).duration_cam_deg(at_mm) - duration_crank_deg

        return stretched(_root(error, 1.0, 1.1))


def _root(error: Callable[[float], float], first: float, second: float) -> float:
    """Secant steps until they stand still."""
    before, after = error(first), error(second)
    for _ in range(30):
        if after == before or abs(second - first) < 1e-14:
            break
        first, second = second, second - after * (second - first) / (after - before)
        before, after = after, error(second)
    return second


def _crossing(side: Course, lift_mm: float) -> float:
    """Cam degrees before the nose at which a side passes a lift."""
    grid = np.linspace(0.0, side.knots[-1], 200)
    near = int(np.searchsorted(side.value(grid, 0), lift_mm))
    place = _root(lambda x: float(side.value(np.array([x]), 0)[0]) - lift_mm, float(grid[near - 1]), float(grid[near]))
    return float(side.knots[-1]) - place
