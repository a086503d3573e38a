"""What the lash plot shows: clearance as measured and lash by the plan, in the band of each valve."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from valvelab.figures.description import Axis, Band, Curve, Figure, Guide, Marks, block, level

if TYPE_CHECKING:
    from valvelab.records.lash import LashResult

HALF = 0.36
"""Half the width of a band, of the room of a valve."""
MOST_NAMED = 32
"""Valves that have room for their names along an axis."""


def lash_figure(result: LashResult, chosen: str = "") -> Figure:
    """The band of every valve with the lash wanted; hollow as measured, filled with the shim that goes in."""
    rows = result.valves
    places = np.arange(float(len(rows)))
    bands: list[Band] = []
    wanted: list[Curve] = []
    for place, row in zip(places, rows, strict=True):
        ends = (float(place) - HALF, float(place) + HALF)
        bands.append(block(ends, (row.lower_mm, row.upper_mm), "band", "" if bands else "band"))
        wanted.append(level(ends, row.wanted_lash_mm, "nominal", "" if wanted else "lash wanted"))
    measured = Marks(places, np.array([row.clearance_mm for row in rows]), "guide", "as measured", hollow=True)
    held = np.array([row.in_band for row in rows])
    lash = np.array([row.lash_mm for row in rows])
    planned = [Marks(places[held], lash[held], "accept", "by the plan")] if held.any() else []
    if not held.all():
        planned.append(Marks(places[~held], lash[~held], "reject", "still out of the band"))
    every = max(1, -(-len(rows) // MOST_NAMED))
    names = tuple((float(place), rows[place].valve) for place in range(0, len(rows), every))
    number = next((number for number, row in enumerate(rows) if row.valve == chosen), None)
    guides = () if number is None else (Guide(float(number), "x"),)
    return Figure(
        "lash",
        "Lash",
        Axis("Valve", "", (-0.6, len(rows) - 0.4), names=names),
        Axis("Lash", "mm"),
        tuple(wanted),
        tuple(bands),
        (measured, *planned),
        guides,
    )
