"""Oil film in a line contact. Source: Dowson and Higginson, line contact, as in textbooks of elastohydrodynamics."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from valvelab.arrays import FloatArray
from valvelab.errors import CannotEvaluate, Reason
from valvelab.follower.hertz import STEEL_ON_STEEL_MPA
from valvelab.frozen import frozen
from valvelab.phrase import Phrase


@frozen
class Lubricant:
    """Oil at the contact's own temperature: dynamic viscosity, Pa s, and its growth with pressure, 1/Pa."""

    viscosity_pa_s: float
    pressure_viscosity_per_pa: float

    def __post_init__(self) -> None:
        """Refuse an oil that can't be one."""
        if not 1e-5 < self.viscosity_pa_s < 100.0:
            raise CannotEvaluate(
                Reason.OUT_OF_RANGE,
                Phrase(
                    "viscosity: found {viscosity} Pa s, expected 0.00001 to 100",
                    viscosity=f"{self.viscosity_pa_s:g}",
                ),
            )
        if not 1e-10 < self.pressure_viscosity_per_pa < 1e-6:
            raise CannotEvaluate(
                Reason.OUT_OF_RANGE,
                Phrase(
                    "pressure viscosity: found {pressure_viscosity} 1/Pa, expected 1e-10 to 1e-6",
                    pressure_viscosity=f"{self.pressure_viscosity_per_pa:g}",
                ),
            )


def minimum_film_um(
    entrainment_m_per_s: ArrayLike,
    load_n: ArrayLike,
    length_mm: float,
    radius_mm: ArrayLike,
    oil: Lubricant,
    modulus_mpa: float = STEEL_ON_STEEL_MPA,
) -> FloatArray:
    """Least film thickness, µm: H = 2.65 U^0.70 G^0.54 W^−0.13 with E′ = 2 E* (Dowson and Higginson, line contact).

    U = η u/(E′ R), G = α E′, W = F/(E′ L R), h = H R. `entrainment` is the mean surface speed; its sign does not
    matter. Isothermal, smooth, fully flooded. Where load or radius is not positive the result is NaN: no contact.
    """
    modulus_pa = 2.0 * modulus_mpa * 1e6
    radius_m = np.asarray(radius_mm, dtype=np.float64) * 1e-3
    load = np.asarray(load_n, dtype=np.float64)
    loaded = (load > 0.0) & (radius_m > 0.0)
    radius_m, load = np.where(loaded, radius_m, 1.0), np.where(loaded, load, 1.0)
    speed = oil.viscosity_pa_s * np.abs(np.asarray(entrainment_m_per_s, dtype=np.float64)) / (modulus_pa * radius_m)
    material = oil.pressure_viscosity_per_pa * modulus_pa
    pressing = load / (modulus_pa * length_mm * 1e-3 * radius_m)
    film = 2.65 * speed**0.70 * material**0.54 * pressing**-0.13 * radius_m * 1e6
    return np.where(loaded, film, np.nan)


def film_ratio(film_um: ArrayLike, first_rq_um: float, second_rq_um: float) -> FloatArray:
    """λ = film / √(Rq₁² + Rq₂²); below about 1 the surfaces touch through it. Refuses two perfectly smooth surfaces.

    Shape as given.
    """
    rough = float(np.hypot(first_rq_um, second_rq_um))
    if not rough > 0.0:
        raise CannotEvaluate(Reason.OUT_OF_RANGE, Phrase("roughness: found 0 on both surfaces, expected Rq above 0 µm"))
    return np.asarray(np.asarray(film_um, dtype=np.float64) / rough)
