"""Line contact of two elastic cylinders. Source: Hertz (1882), as in Johnson, Contact Mechanics (1985), chapter 4."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from valvelab.arrays import FloatArray
from valvelab.errors import CannotEvaluate, Reason, refuse_unless_above_zero
from valvelab.frozen import frozen
from valvelab.phrase import Phrase

STEEL_E_MPA = 207_000.0
STEEL_NU = 0.29


def contact_modulus(e1_mpa: float, nu1: float, e2_mpa: float, nu2: float) -> float:
    """E*, MPa: 1/E* = (1 − ν₁²)/E₁ + (1 − ν₂²)/E₂. Beware of texts that write E′ = 2 E*.

    Raises CannotEvaluate(OUT_OF_RANGE) for a modulus not above 0 or a Poisson's ratio outside 0 to 0.5.
    """
    for modulus in (e1_mpa, e2_mpa):
        refuse_unless_above_zero(modulus, "contact modulus", "MPa")
    for value in (nu1, nu2):
        if not 0.0 <= value < 0.5001:
            raise CannotEvaluate(
                Reason.OUT_OF_RANGE, Phrase("Poisson's ratio: found {value}, expected 0 to 0.5", value=f"{value:g}")
            )
    return 1.0 / ((1.0 - nu1**2) / e1_mpa + (1.0 - nu2**2) / e2_mpa)


STEEL_ON_STEEL_MPA = contact_modulus(STEEL_E_MPA, STEEL_NU, STEEL_E_MPA, STEEL_NU)


def relative_radius(first_mm: ArrayLike, second_mm: ArrayLike = np.inf) -> FloatArray:
    """R of 1/R = 1/R₁ + 1/R₂, mm; a flat face is an infinite radius, a hollow a negative one.

    Where the two conform or worse (1/R ≤ 0) the result is NaN: there is no line contact. Shape as given.
    """
    first, second = np.asarray(first_mm, dtype=np.float64), np.asarray(second_mm, dtype=np.float64)
    curvature = 1.0 / first + 1.0 / second
    return np.where(curvature > 0.0, 1.0 / np.where(curvature > 0.0, curvature, 1.0), np.nan)


@frozen
class LineContact:
    """Half width of the strip, greatest and mean pressure, greatest shear below the surface and its depth."""

    half_width_mm: FloatArray
    max_pressure_mpa: FloatArray
    mean_pressure_mpa: FloatArray
    max_shear_mpa: FloatArray
    shear_depth_mm: FloatArray


def line_contact(
    load_n: ArrayLike, length_mm: float, radius_mm: ArrayLike, modulus_mpa: float = STEEL_ON_STEEL_MPA
) -> LineContact:
    """Hertz line contact: p₀ = √(F E*/(π L R)), b = √(4 F R/(π L E*)), shear 0.30028 p₀ at 0.78613 b.

    `load_n` and `radius_mm` (relative) broadcast; a load of 0 or less is no contact and gives 0. Refuses a length that
    is not positive.
    """
    refuse_unless_above_zero(length_mm, "contact length", "mm")
    load = np.maximum(np.asarray(load_n, dtype=np.float64), 0.0)
    radius = np.asarray(radius_mm, dtype=np.float64)
    p0 = np.asarray(np.sqrt(load * modulus_mpa / (np.pi * length_mm * radius)))
    b = np.asarray(np.sqrt(4.0 * load * radius / (np.pi * length_mm * modulus_mpa)))
    return LineContact(b, p0, np.asarray(p0 * np.pi / 4.0), np.asarray(0.30028 * p0), np.asarray(0.78613 * b))
