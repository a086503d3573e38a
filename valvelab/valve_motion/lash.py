"""Lash set by shims under buckets: what each valve wants, and which shims give it with the least work.

Lash = clearance measured + shim fitted − shim that goes in. Source: common practice, plain arithmetic; assignment,
textbook.
"""

from __future__ import annotations

from math import hypot

import numpy as np

from valvelab.arrays import FloatArray, IntArray
from valvelab.assignment import cheapest
from valvelab.frozen import frozen

HEAD, SHELF, BOUGHT = 0, 1, 2
"""Where a shim comes from, nearest at hand first."""


@frozen
class ShimPool:
    """Shims that may go in, one each, (m,): size in mm, where it comes from, the valve it lies in now (−1: none)."""

    size_mm: FloatArray
    origin: IntArray
    valve: IntArray


def wanted_shim(clearance_mm: float, fitted_mm: float, wanted_mm: float) -> float:
    """The shim that gives a valve the lash wanted: fitted + (measured − wanted). In mm."""
    return fitted_mm + (clearance_mm - wanted_mm)


def lash_uncertainty(feeler_mm: float | None, micrometer_mm: float | None, *, stays: bool) -> float | None:
    """Standard uncertainty of a lash: the feeler's, and the micrometer's once where another shim goes in. mm.

    Both shims are measured by one micrometer, whose calibration their difference bears once. None where nothing is
    known. Source: JCGM 100:2008, clause 5.1.
    """
    total = hypot(feeler_mm or 0.0, 0.0 if stays else micrometer_mm or 0.0)
    return total if total > 0.0 else None


def choose_lash_shims(wanted_mm: FloatArray, room_mm: tuple[FloatArray, FloatArray], pool: ShimPool) -> IntArray:
    """Which shim of the pool goes into each valve, (n,) indices; no shim twice.

    wanted_mm: the shim that each valve wants, (n,). room_mm: how much thicker and how much thinner one may be before
    the lash leaves its band, for a shim that stays and for another, (n,) each. First the most valves in their band,
    then the fewest shims bought, then the fewest from the shelf, then the fewest valves touched, then the nearest.
    Exact: one assignment, whose costs are so far apart that a lower rank never outweighs a higher. In mm.
    """
    count = wanted_mm.size
    off = np.abs(pool.size_mm[None, :] - wanted_mm[:, None])
    stays = pool.valve[None, :] == np.arange(count)[:, None]
    room = np.where(stays, room_mm[0][:, None], room_mm[1][:, None])
    ranks = (
        (off / max(float(off.max()), 1e-12)) ** 2,
        ~stays,
        np.broadcast_to(pool.origin == SHELF, off.shape),
        np.broadcast_to(pool.origin == BOUGHT, off.shape),
        off > room + 1e-9,
    )
    cost = np.zeros(off.shape)
    for power, rank in enumerate(ranks):
        cost += rank * float(count + 1) ** power
    return cheapest(cost)
