"""What an indicator over a vee block sees of a lobed journal.

The journal rides in the vee by its own form, so each order is seen magnified by F(n), and some not at all.
Source: plain geometry of two flanks and an indicator on the bisector.
"""

from __future__ import annotations

import math

BLIND = 0.1
"""An order seen with less than this share of its size counts as not seen."""


def magnification(order: int, vee_angle_deg: float = 90.0) -> float:
    """F(n) = 1 + cos(n (90° + α/2)) / sin(α/2), the indicator on the bisector above a vee of angle α.

    1 is true size; negative, reversed; 0, not seen. F(1) = 0: an eccentric journal runs true in its own vee.
    """
    half = math.radians(vee_angle_deg) / 2.0
    return 1.0 + math.cos(order * (math.pi / 2.0 + half)) / math.sin(half)


def blind_orders(vee_angle_deg: float = 90.0, highest: int = 15) -> tuple[int, ...]:
    """Orders from 2 to `highest` that a vee of this angle does not see."""
    return tuple(n for n in range(2, highest + 1) if abs(magnification(n, vee_angle_deg)) < BLIND)
