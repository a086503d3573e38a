"""What the lash plot shows: clearance as measured and lash by the plan, in the band of each valve."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from valvelab.figures.description import Axis, Curve, Figure, Marks, block

if TYPE_CHECKING:
    from valvelab.records.lash import LashResult

HALF = 0.36
"""Half the width of a band, of the room of a valve."""
MOST_NAMED = 24
"""Valves that have room for their names along an axis."""


def lash_figure(result: LashResult) -> Figure:
    """The band of every valve with the lash wanted; hollow as measured, filled with the shim that goes in."""
    rows = result.valves
    places = np.arange(float(len(rows)))
    ends = places[:, None] + np.array([-HALF, HALF])
    bands = (block(ends[n], (row.lower_mm, row.upper_mm), "band", "" if n else "band") for n, row in enumerate(rows))
    wanted = np.array([row.wanted_lash_mm for row in rows])[:, None] + np.array([0.0, 0.0, np.nan])
    held = np.array([row.in_band for row in rows])
    lash = np.array([row.lash_mm for row in rows])
    marks = (
        Marks(places, np.array([row.clearance_mm for row in rows]), "guide", "as measured", hollow=True),
        Marks(places[held], lash[held], "accept", "by the plan"),
        Marks(places[~held], lash[~held], "reject", "still out of the band"),
    )
    every = max(1, -(-len(rows) // MOST_NAMED))
    names = tuple((float(place), rows[place].valve) for place in range(0, len(rows), every))
    return Figure(
        "lash",
        "Lash",
        Axis("Valve", "", (-0.6, len(rows) - 0.4), names=names),
        Axis("Lash", "mm"),
        (Curve(np.c_[ends, ends[:, 1]].ravel(), wanted.ravel(), "nominal", "lash wanted"),),
        tuple(bands),
        tuple(group for group in marks if group.x.size),
    )
