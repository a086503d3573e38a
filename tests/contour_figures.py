"""A contour's points and the figures of its curvature, as they are read off a fine contour without a fit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from lobe_samples import Floats

from valvelab.follower.contour import Contour, undercut_at


def points_mm(found: Contour) -> Floats:
    """The contour as points in the cam's own frame, (n, 2)."""
    phi = np.radians(found.normal_cam_deg)
    p, q = found.support_mm, found.slope_mm
    return np.column_stack([p * np.cos(phi) - q * np.sin(phi), p * np.sin(phi) + q * np.cos(phi)])


@dataclass(frozen=True, slots=True)
class CurvatureSummary:
    """Least convex and least concave radius (a positive size, None without a hollow), face radius, pressure angle.

    face_radius_mm: half the least flat face, max |p′|. undercut_at: cam angle of an undercut, None without one.
    """

    min_convex_mm: float | None
    min_concave_mm: float | None
    face_radius_mm: float
    max_pressure_angle_deg: float
    undercut_at: float | None


def summarise(found: Contour) -> CurvatureSummary:
    """Curvature figures of a contour."""
    radius = found.radius_mm[np.isfinite(found.radius_mm)]
    # a convex radius between zero and minus the roller is an undercut, not a hollow
    least = 0.0 if found.shape.kind == "flat" else -(found.shape.radius_mm or 0.0)
    convex, hollow = radius[radius > 0.0], radius[(radius < 0.0) & (radius <= least)]
    return CurvatureSummary(
        float(convex.min()) if convex.size else None,
        float((-hollow).min()) if hollow.size else None,
        float(np.abs(found.slope_mm).max()),
        float(np.abs(found.pressure_angle_deg).max()),
        undercut_at(found.angle_cam_deg, found.radius_mm, found.shape),
    )
