"""How many decimals a figure is shown with."""

from __future__ import annotations

import math

from valvelab.units import System, display_unit

_MOST = 8


def decimals_for(value: float | None, standard_uncertainty: float | None, unit: str, units: System) -> int:
    """Decimals that show the uncertainty with two digits; without one, the value with five.

    Source: JCGM 100, 7.2.6 (two significant digits of an uncertainty suffice).
    """
    scale = display_unit(unit, units).scale
    for number, digits in ((standard_uncertainty, 2), (value, 5)):
        size = abs(number * scale) if number else 0.0
        if size > 0.0 and math.isfinite(size):
            return max(0, min(_MOST, digits - 1 - math.floor(math.log10(size))))
    return display_unit(unit, units).decimals


def pretty_unit(unit: str, units: System) -> str:
    """Display unit with raised powers."""
    return display_unit(unit, units).label.replace("deg2", "deg²").replace("deg3", "deg³")
