"""The contour of a lobe by its support function, and the same lobe under another follower.

Plane geometry of parallel curves, exact. θ: cam angle of the reading, s lift, ρ distance of the roller's centre,
φ direction of the contour's normal, p(φ) support (distance of the tangent from the axis), ′ derivative by radian.
    roller r:  ρ = R_b + r + s,  ψ = atan2(ρ′, ρ),  φ = θ − ψ,  p = ρ cos ψ − r,  p′ = ρ sin ψ
    flat face: p = R_b + s at φ = θ
Radius of curvature p + p″: positive convex, negative a hollow.
Source: plane differential geometry (support function); cam-design handbooks for pressure angle and face width.
"""

from __future__ import annotations

import numpy as np

from valvelab.arrays import FloatArray, read_only
from valvelab.errors import refuse_unless_above_zero
from valvelab.follower.shapes import Shape
from valvelab.frozen import frozen


@frozen
class Contour:
    """A lobe's contour over the cam angle at which it was met.

    All arrays (n,), or (lobes, n) of several lobes, whose angles may be one (n,): angle_cam_deg θ of the reading;
    normal_cam_deg φ; support_mm p; slope_mm p′; radius_mm the radius of curvature p + p″ (infinite where the flank is
    straight); pressure_angle_deg ψ (0 under a flat face).
    """

    angle_cam_deg: FloatArray
    normal_cam_deg: FloatArray
    support_mm: FloatArray
    slope_mm: FloatArray
    radius_mm: FloatArray
    pressure_angle_deg: FloatArray
    base_circle_radius_mm: float
    shape: Shape


def contour(
    angle_cam_deg: FloatArray,
    lift_mm: FloatArray,
    velocity: FloatArray,
    acceleration: FloatArray,
    base_circle_radius_mm: float,
    shape: Shape,
) -> Contour:
    """Contour from lift (mm) and its derivatives per cam degree, under the follower that read it.

    All (n,), or (lobes, n) for several lobes, whose angles may be one (n,).
    Refuses a base circle of no size. A contour that the follower could not touch (radius below zero under a flat
    face) is not refused: it is a finding.
    """
    refuse_unless_above_zero(base_circle_radius_mm, "base circle radius", "mm")
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


def undercut_at(angle_cam_deg: FloatArray, radius_mm: FloatArray, shape: Shape) -> float | None:
    """Cam angle (deg) where a contour of these radii of curvature, (n,), is undercut most; None where it is not.

    Under a flat face a radius below zero cannot be real; under a roller the path's own radius of curvature must not
    shrink to the roller's where it is convex, so a radius between zero and minus the roller is none of a hollow.
    """
    tightest_hollow = -np.inf if shape.kind == "flat" else -(shape.radius_mm or 0.0)
    undercut = np.isfinite(radius_mm) & (radius_mm < 0.0) & (radius_mm > tightest_hollow)
    if not undercut.any():
        return None
    return float(angle_cam_deg[int(np.argmin(np.where(undercut, radius_mm, np.inf)))])
