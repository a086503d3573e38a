"""The contour of a lobe by its support function, and the same lobe under another follower.

Plane geometry of parallel curves, exact. θ: cam angle of the reading, s lift, ρ distance of the roller's centre,
φ direction of the contour's normal, p(φ) support (distance of the tangent from the axis), ′ derivative by radian.
    roller r:  ρ = R_b + r + s,  ψ = atan2(ρ′, ρ),  φ = θ − ψ,  p = ρ cos ψ − r,  p′ = ρ sin ψ
    flat face: p = R_b + s at φ = θ
Radius of curvature p + p″: positive convex, negative a hollow.
Source: plane differential geometry (support function); cam-design handbooks for pressure angle and face width.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from valvelab.arrays import FloatArray, read_only
from valvelab.errors import CannotEvaluate, Reason
from valvelab.follower.shapes import Shape


@dataclass(frozen=True, slots=True)
class Contour:
    """A lobe's contour over the cam angle at which it was met.

    All arrays (n,): angle_cam_deg θ of the reading; normal_cam_deg φ; support_mm p; slope_mm p′; radius_mm the radius
    of curvature p + p″ (infinite where the flank is straight); pressure_angle_deg ψ (0 under a flat face).
    """

    angle_cam_deg: FloatArray
    normal_cam_deg: FloatArray
    support_mm: FloatArray
    slope_mm: FloatArray
    radius_mm: FloatArray
    pressure_angle_deg: FloatArray
    base_circle_radius_mm: float
    shape: Shape

    def points_mm(self) -> FloatArray:
        """Shape (n, 2): the contour as points in the cam's own frame."""
        phi = np.radians(self.normal_cam_deg)
        p, q = self.support_mm, self.slope_mm
        return np.column_stack([p * np.cos(phi) - q * np.sin(phi), p * np.sin(phi) + q * np.cos(phi)])


def contour(
    angle_cam_deg: FloatArray,
    lift_mm: FloatArray,
    velocity: FloatArray,
    acceleration: FloatArray,
    base_circle_radius_mm: float,
    shape: Shape,
) -> Contour:
    """Contour from lift (mm) and its derivatives per cam degree, all (n,), under the follower that read it.

    Refuses a base circle of no size. A contour that the follower could not touch (radius below zero under a flat
    face) is not refused: it is a finding.
    """
    if base_circle_radius_mm <= 0.0:
        raise CannotEvaluate(
            Reason.OUT_OF_RANGE, f"base circle radius: found {base_circle_radius_mm:g} mm, expected above 0"
        )
    first, second = velocity * np.degrees(1.0), acceleration * np.degrees(1.0) ** 2
    if shape.kind == "flat":
        normal, support, slope = np.array(angle_cam_deg), base_circle_radius_mm + lift_mm, first
        radius, pressure_angle = support + second, np.zeros_like(support)
    else:
        r = shape.radius_mm or 0.0
        rho = base_circle_radius_mm + r + lift_mm
        psi = np.arctan2(first, rho)
        # radius of curvature of the roller centre's path, less the roller
        bend = rho**2 + 2.0 * first**2 - rho * second
        with np.errstate(divide="ignore"):
            radius = np.hypot(rho, first) ** 3 / bend - r
        pressure_angle = np.degrees(psi)
        normal, support, slope = angle_cam_deg - pressure_angle, rho * np.cos(psi) - r, rho * np.sin(psi)
    angle = np.array(angle_cam_deg)
    for array in (angle, normal, support, slope, radius, pressure_angle):
        read_only(array)
    return Contour(angle, normal, support, slope, radius, pressure_angle, base_circle_radius_mm, shape)


def pressure_angle_under(source: Contour, shape: Shape) -> FloatArray:
    """Pressure angle (deg, signed) of the same contour under a follower: 0 for a flat face, else atan2(p′, p + r)."""
    if shape.kind == "flat":
        return np.zeros_like(source.support_mm)
    return np.asarray(np.degrees(np.arctan2(source.slope_mm, source.support_mm + (shape.radius_mm or 0.0))))


@dataclass(frozen=True, slots=True)
class CurvatureSummary:
    """Least convex and least concave radius (a positive size, None without a hollow), face radius, pressure angle.

    face_radius_mm: half the least flat face, max |p′|. undercut_at: cam angle of an undercut, None without one.
    """

    min_convex_mm: float | None
    min_convex_at: float | None
    min_concave_mm: float | None
    min_concave_at: float | None
    face_radius_mm: float
    max_pressure_angle_deg: float
    undercut_at: float | None


def summarise(shape_of_lobe: Contour) -> CurvatureSummary:
    """Curvature figures of a contour.

    Under a flat face a radius below zero cannot be real; under a roller the path's own radius of curvature must
    not shrink to the roller's where it is convex, nor a hollow be tighter than the roller.
    """
    radius, angle = shape_of_lobe.radius_mm, shape_of_lobe.angle_cam_deg
    finite = np.isfinite(radius)
    hollow = finite & (radius < 0.0)
    # a convex radius between zero and minus the roller is an undercut, not a hollow
    r = shape_of_lobe.shape.radius_mm or 0.0
    undercut = hollow & (radius > -r) if shape_of_lobe.shape.kind != "flat" else hollow
    convex = finite & (radius > 0.0)
    true_hollow = hollow & ~undercut if shape_of_lobe.shape.kind != "flat" else hollow
    low = int(np.argmin(np.where(convex, radius, np.inf))) if convex.any() else None
    deep = int(np.argmin(np.where(true_hollow, -radius, np.inf))) if true_hollow.any() else None
    return CurvatureSummary(
        None if low is None else float(radius[low]),
        None if low is None else float(angle[low]),
        None if deep is None else float(-radius[deep]),
        None if deep is None else float(angle[deep]),
        float(np.abs(shape_of_lobe.slope_mm).max()),
        float(np.abs(shape_of_lobe.pressure_angle_deg).max()),
        float(angle[int(np.argmin(np.where(undercut, radius, np.inf)))]) if undercut.any() else None,
    )
