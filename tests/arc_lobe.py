"""A lobe of circular arcs in closed form under any follower: base circle, two flanks, nose; for the tests.

The flank circles hold the base circle and the nose circle inside and touch both. Plane geometry throughout.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from valvelab.follower.shapes import Shape

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class ArcLobe:
    """Base circle, flank and nose radius and the lift, mm; nose at `centre` cam deg."""

    base: float = 16.0
    flank: float = 60.0
    nose: float = 7.0
    lift: float = 8.0
    centre: float = 0.0

    def arcs(self) -> list[tuple[float, float, float, float]]:
        """Each arc of one side: centre's distance and direction (rad), radius, and the normal's angle where it ends.

        From the base circle to the nose; the direction of the normal is counted from the nose.
        """
        far = self.base + self.lift - self.nose
        x = (far**2 + (self.flank - self.base) ** 2 - (self.flank - self.nose) ** 2) / (2.0 * far)
        y = -np.sqrt((self.flank - self.base) ** 2 - x**2)
        at_base = np.arctan2(-y, -x)  # from the flank's centre through the axis
        at_nose = np.arctan2(-y, far - x)  # and through the nose's centre
        return [
            (0.0, 0.0, self.base, np.pi),
            (float(np.hypot(x, y)), float(np.arctan2(y, x)), self.flank, float(at_base)),
            (far, 0.0, self.nose, float(at_nose)),
        ]

    def lift_under(self, angle_cam_deg: Floats, shape: Shape) -> Floats:
        """Lift at cam angles: the reach of the arc that the follower touches there."""
        off = np.mod(np.asarray(angle_cam_deg) - self.centre + 180.0, 360.0) - 180.0
        side = np.abs(np.radians(off))  # the lobe is symmetric; arcs are laid out for positive angles
        r = 0.0 if shape.kind == "flat" else float(shape.radius_mm or 0.0)
        reach = np.zeros_like(side)
        chosen = np.zeros(side.shape, dtype=int)
        for number, (size, direction, radius, end) in enumerate(self.arcs()):
            if shape.kind == "flat":
                value = size * np.cos(side - direction) + radius
                limit = end
            else:
                turned = side - direction
                inside = np.maximum((radius + r) ** 2 - (size * np.sin(turned)) ** 2, 0.0)
                value = size * np.cos(turned) + np.sqrt(inside)
                # the cam angle at which the follower's centre leaves this arc for the flatter one
                limit = np.arctan2(
                    size * np.sin(direction) + (radius + r) * np.sin(end),
                    size * np.cos(direction) + (radius + r) * np.cos(end),
                )
            here = side <= limit + 1e-15
            reach = np.where(here, value, reach)
            chosen = np.where(here, number, chosen)
        base = self.base + r
        return np.asarray(reach - base)
