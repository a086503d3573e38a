"""How a figure is printed: the one rule of decimals, for terminal, paper and window alike."""

from __future__ import annotations

import math
from collections.abc import Iterable

from valvelab.units import System, display_unit, show

MOST = 9
Usual = tuple[int, int]
"""Decimals where no uncertainty is known, metric and inch."""


_STRAY = 0.1


def decimals_of(
    uncertainties: Iterable[float | None], unit: str, system: System = "metric", usual: Usual | None = None
) -> int:
    """One count for figures that stand together: that of their least standard uncertainty.

    One below a tenth of their median is a stray and asks for nothing. Where none is known, the usual count.
    """
    known = sorted(u for u in uncertainties if u is not None and 0.0 < u < math.inf)
    median = known[(len(known) - 1) // 2] if known else 0.0
    return decimals_for(next((u for u in known if u >= _STRAY * median), None), unit, system, usual)


def decimals_for(u: float | None, unit: str, system: System = "metric", usual: Usual | None = None) -> int:
    """Decimals that show a standard uncertainty with two significant digits; where none is known, the usual ones.

    Source: JCGM 100:2008, 7.2.6 (two significant digits of an uncertainty suffice).
    """
    display = display_unit(unit, system)
    size = abs(u * display.scale) if u else 0.0
    if size > 0.0 and math.isfinite(size):
        return max(0, min(MOST, 1 - math.floor(math.log10(float(f"{size:.1e}")))))
    return display.decimals if usual is None else usual[system == "inch"]


def figure(
    value: float | None, u: float | None, unit: str, system: System = "metric", usual: Usual | None = None
) -> str:
    """A value, to the place of its uncertainty's second digit; an en dash where there is none."""
    return show(value, unit, system, decimals_for(u, unit, system, usual))


def limit(value: float | None, u: float | None, unit: str, system: System = "metric") -> str:
    """A limit, to the place of the measured value's uncertainty, or further where it was stated further."""
    decimals = decimals_for(u, unit, system)
    if value is not None:
        shown = value * display_unit(unit, system).scale
        stated = next((n for n in range(5) if math.isclose(round(shown, n), shown, rel_tol=1e-9, abs_tol=1e-12)), 0)
        decimals = max(decimals, stated)
    return show(value, unit, system, decimals)


def percent(share: float | None) -> str:
    """A probability; never rounded to a certainty that it is not."""
    if share is None:
        return "–"
    return ">99.9 %" if share > 0.9995 else "<0.1 %" if share < 0.0005 else f"{100.0 * share:.1f} %"
