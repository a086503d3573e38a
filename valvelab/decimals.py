"""How a figure is printed: the one rule of decimals, for terminal, paper and window alike."""

from __future__ import annotations

import math
from collections.abc import Iterable
from functools import lru_cache

from valvelab.language import figures
from valvelab.units import System, display_unit, show

MOST = 9
Usual = tuple[int, int]
"""Decimals where no uncertainty is known, metric and inch."""


USUAL: dict[str, Usual] = {
    "mm": (3, 4), "um": (3, 1), "N": (1, 1), "N/mm": (2, 1), "MPa": (0, 1), "Hz": (0, 0), "rpm": (0, 0), "%": (1, 1),
    "": (2, 2), "deg": (2, 2), "cam deg": (2, 2), "crank deg": (2, 2), "arcmin": (2, 2), "mm cam deg": (2, 3),
    "mm/crank deg": (5, 6), "mm/cam deg": (5, 6), "mm/cam deg2": (6, 7), "mm/cam deg3": (7, 8),
}  # fmt: skip
"""The usual decimals by canonical unit."""
_STRAY = 0.1
_STATED = 5


def decimals_of(
    uncertainties: Iterable[float | None], unit: str, system: System = "metric", usual: Usual | None = None
) -> int:
    """One count for figures that stand together: two significant digits of their least standard uncertainty.

    One below a tenth of their median is a stray and asks for nothing. Where none is known, the usual count.
    Source: JCGM 100:2008, 7.2.6 (two significant digits of an uncertainty suffice).
    """
    scale = display_unit(unit, system).scale
    known = sorted(u * scale for u in uncertainties if u is not None and 0.0 < u < math.inf)
    if not known:
        return (usual or USUAL[unit])[system == "inch"]
    median = known[(len(known) - 1) // 2]
    least = next(u for u in known if u >= _STRAY * median)
    return max(0, min(MOST, 1 - math.floor(math.log10(float(f"{least:.1e}")))))


def decimals_among(
    records: Iterable[object], key: str, unit: str, system: System = "metric", usual: Usual | None = None
) -> int:
    """The count of a characteristic that all these records hold under its key."""
    return decimals_of((stated_u(record, key) for record in records), unit, system, usual)


def stated_u(record: object, key: str) -> float | None:
    """The standard uncertainty that a record states of its field; None where it states none."""
    known: dict[str, float | None] = getattr(record, "uncertainty", {})
    return known.get(key)


def figure(
    value: float | None, u: float | None, unit: str, system: System = "metric", usual: Usual | None = None
) -> str:
    """A value by itself, to the place of its uncertainty's second digit; an en dash where there is none."""
    return show(value, unit, system, decimals_of((u,), unit, system, usual))


def told(value: float, unit: str, system: System = "metric", u: float | None = None) -> str:
    """The same with its unit."""
    return f"{figure(value, u, unit, system)} {display_unit(unit, system).label}"


def with_sign(text: str) -> str:
    """A printed figure with a plus where it has no minus."""
    return text if text.startswith("−") else f"+{text}"


def limit(value: float | None, decimals: int, unit: str, system: System = "metric") -> str:
    """A limit, to the place of the measured value beside it, or further where it was stated further."""
    shown = 0.0 if value is None else value * display_unit(unit, system).scale
    return show(value, unit, system, max(decimals, _stated_to(shown)))


@lru_cache(maxsize=256)
def _stated_to(shown: float) -> int:
    """Decimals that a limit was stated to, which many items are held against; 0 where it is no round number."""
    enough = (n for n in range(_STATED) if math.isclose(round(shown, n), shown, rel_tol=1e-9, abs_tol=1e-12))
    return next(enough, 0)


def percent(share: float | None) -> str:
    """A probability; never rounded to a certainty that it is not."""
    if share is None:
        return "–"
    return figures(">99.9 %" if share > 0.9995 else "<0.1 %" if share < 0.0005 else f"{100.0 * share:.1f} %")
