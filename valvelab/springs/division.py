"""The division of a spring tester, seen in its readings: the step of force that all of them are multiples of.

Source: own method.
"""

from __future__ import annotations

from valvelab.arrays import FloatArray, coarsest_step
from valvelab.units import POUND_FORCE_N

_UNITS_N = (1.0, POUND_FORCE_N, 9.80665)
"""A newton, a pound-force, a kilogram-force: what testers read in."""
FORCE_DIVISIONS_N = tuple(
    sorted(
        (unit * digit * 10.0**power for unit in _UNITS_N for power in range(-3, 2) for digit in (5, 2, 1)), reverse=True
    )
)
FEWEST_READINGS = 12
"""Of fewer readings a common step is chance."""


def force_division(force_n: FloatArray) -> float | None:
    """Division in N of the tester that read these forces, any shape; None where none shows.

    Forces set by hand to round values would show one as well: the larger uncertainty is the safe mistake.
    """
    if force_n.size < FEWEST_READINGS:
        return None
    return coarsest_step(force_n, FORCE_DIVISIONS_N) or None
