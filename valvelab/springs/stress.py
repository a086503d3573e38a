"""Round-wire helical compression springs: rate, shear stress, surge, margins.

Source: EN 13906-1, with its symbols: d wire diameter, D mean coil diameter, n active coils, w = D/d, G shear modulus.
"""

from __future__ import annotations

import math
from typing import Literal

from valvelab.errors import CannotEvaluate, Reason, refuse_unless_above_zero
from valvelab.frozen import frozen
from valvelab.phrase import Phrase

StressFactor = Literal["EN 13906-1", "Wahl"]

STEEL_DENSITY_KG_PER_M3 = 7850.0
STATIC_SHARE = 0.56
"""Permissible shear as a share of tensile strength, cold-formed springs. Source: EN 13906-1, clause 10."""
ULTIMATE_SHEAR_SHARE = 0.67
"""Ultimate shear as a share of tensile strength. Source: Budynas and Nisbett, Shigley's, 10th ed., eq. 10-30."""
INFINITE_LIFE_MPA = {"unpeened": (241.0, 379.0), "peened": (398.0, 534.0)}
"""Alternating and mean shear stress for infinite life, steels under 10 mm wire, any tensile strength.
Source: Zimmerli's data as printed in Shigley's, 10th ed., section 10-9."""


@frozen
class WireMaterial:
    """A spring wire: tensile strength A / d^m (MPa, d in mm) between two wire diameters."""

    name: str
    a_mpa: float
    m: float
    shear_modulus_mpa: float
    density_kg_per_m3: float = STEEL_DENSITY_KG_PER_M3
    smallest_mm: float | None = None
    largest_mm: float | None = None
    source: str = ""


def material_key(name: str) -> str:
    """A material's name as it is looked up: `Chrome Silicon` and `chrome-silicon` are one."""
    return " ".join(name.casefold().replace("-", " ").split())


def rate_of_coil(d_mm: float, D_mm: float, n: float, G_mpa: float) -> float:
    """Rate in N/mm of a coil: G d⁴ / (8 D³ n). Source: EN 13906-1."""
    return G_mpa * d_mm**4 / (8.0 * D_mm**3 * n)


def curvature_factor(w: float, kind: StressFactor = "EN 13906-1") -> float:
    """Stress correction for the coil's curvature; w above 1.25 is needed.

    `EN 13906-1`: k = (w + 0.5)/(w − 0.75). `Wahl`: (4w − 1)/(4w − 4) + 0.615/w. A plain number. Raises
    CannotEvaluate(OUT_OF_RANGE).
    """
    if w <= 1.25:
        raise CannotEvaluate(
            Reason.OUT_OF_RANGE,
            Phrase("coil diameter over wire diameter: found {w}, expected above 1.25", w=f"{w:.3g}"),
        )
    if kind == "Wahl":
        return (4.0 * w - 1.0) / (4.0 * w - 4.0) + 0.615 / w
    return (w + 0.5) / (w - 0.75)


def shear_stress(force_n: float, d_mm: float, D_mm: float, kind: StressFactor | None = "EN 13906-1") -> float:
    """Shear stress in MPa at the inside of the coil: k · 8 D F / (π d³); `kind` None leaves the factor out."""
    factor = 1.0 if kind is None else curvature_factor(D_mm / d_mm, kind)
    return factor * 8.0 * D_mm * force_n / (math.pi * d_mm**3)


def active_mass(d_mm: float, D_mm: float, n: float, density_kg_per_m3: float = STEEL_DENSITY_KG_PER_M3) -> float:
    """Mass in kg of the active coils: ρ · π d²/4 · π D n."""
    return density_kg_per_m3 * 1e-9 * (math.pi * d_mm**2 / 4.0) * math.pi * D_mm * n


def surge_from_mass(rate_n_per_mm: float, mass_kg: float) -> float:
    """Lowest natural frequency in Hz, both ends fixed: ½ √(rate/active mass)."""
    return 0.5 * math.sqrt(rate_n_per_mm * 1000.0 / mass_kg)


def surge_from_coil(
    d_mm: float, D_mm: float, n: float, G_mpa: float, density_kg_per_m3: float = STEEL_DENSITY_KG_PER_M3
) -> float:
    """The same from the coil alone: d/(2π D² n) · √(G/(2ρ)). In Hz."""
    wave = math.sqrt(G_mpa * 1e6 / (2.0 * density_kg_per_m3))
    return d_mm * 1e-3 / (2.0 * math.pi * (D_mm * 1e-3) ** 2 * n) * wave


def tensile_strength(material: WireMaterial, d_mm: float) -> float:
    """Least tensile strength in MPa of a wire: A / d^m.

    Raises CannotEvaluate(OUT_OF_RANGE) for a diameter not above 0.
    """
    refuse_unless_above_zero(d_mm, "wire diameter", "mm")
    return material.a_mpa / float(d_mm**material.m)


def static_margin(stress_mpa: float, tensile_mpa: float) -> float:
    """0.56 of tensile strength (MPa) over a shear stress (MPa), both above 0.

    EN 13906-1 (from memory) sets the 0.56 against the uncorrected stress at the solid height; with the corrected stress
    at the open height the same share is the stricter check.
    """
    return STATIC_SHARE * tensile_mpa / stress_mpa


def fatigue_margin(
    seat_mpa: float, open_mpa: float, tensile_mpa: float, surface: Literal["unpeened", "peened"] = "unpeened"
) -> float:
    """Safety against fatigue between seat and open stress by the Goodman line through the infinite-life point.

    Source: Shigley's, 10th ed., section 10-9 (Goodman with Zimmerli's data). A ratio. Raises CannotEvaluate(BAD_VALUES)
    for an open stress not above the seat stress.
    """
    amplitude, mean = (open_mpa - seat_mpa) / 2.0, (open_mpa + seat_mpa) / 2.0
    if amplitude <= 0.0:
        raise CannotEvaluate(
            Reason.BAD_VALUES, Phrase("fatigue margin: the open stress does not exceed the seat stress")
        )
    life_amplitude, life_mean = INFINITE_LIFE_MPA[surface]
    ultimate = ULTIMATE_SHEAR_SHARE * tensile_mpa
    endurance = life_amplitude / (1.0 - life_mean / ultimate) if ultimate > life_mean else life_amplitude
    return 1.0 / (amplitude / endurance + mean / ultimate)
