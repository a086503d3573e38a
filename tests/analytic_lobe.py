"""A lobe in closed form for the tests: the 4-5-6-7 polynomial rise and return about a nose, exact derivatives."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.polynomial import Polynomial
from numpy.typing import ArrayLike, NDArray

# 4-5-6-7 polynomial, h (35 x⁴ − 84 x⁵ + 70 x⁶ − 20 x⁷): published in cam-design handbooks
RISE = Polynomial([0, 0, 0, 0, 35, -84, 70, -20])


@dataclass(frozen=True)
class PolynomialLobe:
    """Rise h over `flank_cam_deg` up to the nose at `centre_cam_deg`, the same down; optionally an event-only table."""

    lift_mm: float = 8.0
    flank_cam_deg: float = 65.0
    centre_cam_deg: float = 0.0
    period: float | None = 360.0
    start_cam_deg: float = 0.0
    stop_cam_deg: float = 360.0

    def value(self, angle_cam_deg: ArrayLike, derivative: int = 0) -> NDArray[np.float64]:
        x = (np.mod(np.asarray(angle_cam_deg) - self.centre_cam_deg + 180.0, 360.0) - 180.0) / self.flank_cam_deg
        law = RISE.deriv(derivative) if derivative else RISE
        left = law(1.0 + x) / self.flank_cam_deg**derivative
        right = law(1.0 - x) * (-1.0 / self.flank_cam_deg) ** derivative
        return self.lift_mm * np.where(np.abs(x) < 1.0, np.where(x < 0.0, left, right), 0.0)
