"""Contact of lobe and follower along the lobe: radii, entrainment, pressure and film.

Source: plane geometry; Hertz line contact; Dowson and Higginson for the film.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from valvelab.arrays import FloatArray
from valvelab.errors import refuse_unless_above_zero
from valvelab.follower.film import Lubricant, minimum_film_um
from valvelab.follower.hertz import STEEL_ON_STEEL_MPA, line_contact, relative_radius
from valvelab.frozen import frozen


@frozen
class ContactSetting:
    """What touches: base-circle radius, follower (a radius for a roller, None for a flat face), length and modulus."""

    base_radius_mm: float
    roller_radius_mm: float | None
    length_mm: float
    modulus_mpa: float = STEEL_ON_STEEL_MPA


@frozen
class LobeGeometry:
    """Where a lobe and its follower touch, at cam angles: radius of curvature, pressure angle, arc per cam rad.

    `cam_radius_mm` is negative in a hollow; `entrainment_mm_per_rad` is the mean of both surface speeds against the
    contact, per rad/s of the cam.
    """

    cam_radius_mm: FloatArray
    relative_radius_mm: FloatArray
    pressure_angle_rad: FloatArray
    entrainment_mm_per_rad: FloatArray


def lobe_geometry(
    lift_mm: FloatArray, slope_mm_per_rad: FloatArray, bend_mm_per_rad2: FloatArray, setting: ContactSetting
) -> LobeGeometry:
    """Contact along a lobe from follower lift and its derivatives by cam angle in radians.

    Flat face: radius R_b + s + s″, entrainment (R_b + s + 2 s″)/2, for a follower that does not spin. Roller, rolling
    without slip: both surfaces run at the speed of the contact along the contour, ρ_c dφ/dθ. Plane geometry. All shape
    (n,). Raises CannotEvaluate(OUT_OF_RANGE) for a base circle not above 0.
    """
    refuse_unless_above_zero(setting.base_radius_mm, "base circle radius", "mm")
    s, s_1, s_2 = lift_mm, slope_mm_per_rad, bend_mm_per_rad2
    if setting.roller_radius_mm is None:
        radius = setting.base_radius_mm + s + s_2
        entrainment = 0.5 * (setting.base_radius_mm + s + 2.0 * s_2)
        return LobeGeometry(radius, relative_radius(radius), np.zeros_like(s), entrainment)
    roller = setting.roller_radius_mm
    rho = setting.base_radius_mm + roller + s
    turn = np.hypot(rho, s_1)
    bend = rho**2 + 2.0 * s_1**2 - rho * s_2
    # the normal turns by φ′ = 1 − ψ′ = (ρ² + 2ρ′² − ρρ″)/(ρ² + ρ′²) per cam angle
    normal_turn = bend / turn**2
    arc = turn - roller * normal_turn
    with np.errstate(divide="ignore"):
        radius = np.where(normal_turn == 0.0, np.inf, arc / np.where(normal_turn == 0.0, 1.0, normal_turn))
    return LobeGeometry(radius, relative_radius(radius, roller), np.abs(np.arctan2(s_1, rho)), np.abs(arc))


@frozen
class ContactAlong:
    """Load, Hertz pressure and film along a lobe at one speed; NaN where nothing is pressed together."""

    load_n: FloatArray
    entrainment_m_per_s: FloatArray
    pressure_mpa: FloatArray
    film_um: FloatArray | None


def reversals(entrainment: FloatArray, loaded: NDArray[np.bool_]) -> list[int]:
    """Indices before which the entrainment changes its sign while loaded; a steady film has no thickness there.

    Both shape (n,); any unit of speed.
    """
    change = (np.sign(entrainment[1:]) != np.sign(entrainment[:-1])) & loaded[1:] & loaded[:-1]
    return [int(index) + 1 for index in np.flatnonzero(change)]


def contact_along(
    geometry: LobeGeometry,
    follower_force_n: FloatArray,
    cam_speed_rad_per_s: float,
    setting: ContactSetting,
    oil: Lubricant | None = None,
) -> ContactAlong:
    """Pressure and film from the force along the follower's motion; the normal load is force/cos(pressure angle).

    Force and result: shape (n,).
    """
    load = np.maximum(follower_force_n, 0.0) / np.cos(geometry.pressure_angle_rad)
    hertz = line_contact(load, setting.length_mm, geometry.relative_radius_mm, setting.modulus_mpa)
    film = None
    speed = geometry.entrainment_mm_per_rad * cam_speed_rad_per_s * 1e-3
    if oil is not None:
        film = minimum_film_um(speed, load, setting.length_mm, geometry.relative_radius_mm, oil, setting.modulus_mpa)
    touching = load > 0.0
    return ContactAlong(
        load_n=load,
        entrainment_m_per_s=speed,
        pressure_mpa=np.where(touching, hertz.max_pressure_mpa, np.nan),
        film_um=film,
    )
