"""Lengths that were not measured at the reference temperature."""

from __future__ import annotations

REFERENCE_DEGC = 20.0
"""Reference temperature of dimensional measurement (ISO 1:2022)."""
STEEL_EXPANSION_PER_K = 11.5e-6
"""Linear expansion of steel; engineering handbooks give 11 to 12 µm/m/K."""


def expansion(temperature_degc: float | None) -> float:
    """How much longer or shorter steel is than at 20 °C, as a share of its length; 0 where no temperature is stated.

    Source: plain mechanics.
    """
    return 0.0 if temperature_degc is None else STEEL_EXPANSION_PER_K * abs(temperature_degc - REFERENCE_DEGC)
