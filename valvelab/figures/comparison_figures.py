"""Plots of a comparison: both curves of a lobe and what is left between them; the change of force of every spring."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from valvelab.figures.description import Axis, Band, Curve, Figure, Guide, bars, ends_of, mark, words
from valvelab.figures.lobe_figures import ANGLE_FROM_CENTRE
from valvelab.phasing.timing import lobe_kind

if TYPE_CHECKING:
    from valvelab.inspection.comparison.lobes import ComparedLobe
    from valvelab.records.comparison_result import CompareResult

WIDE = 2.0
"""Standard uncertainties to either side of a difference in its band."""
BAR = 0.38
"""Width of a bar, of the room of a spring."""
MOST_NAMED = 24
"""Springs that have room for their names along an axis."""


def overlay_figure(lobe: ComparedLobe) -> Figure:
    """Lift before and after, the later curve laid onto the earlier one."""
    x = lobe.angle_cam_deg
    after = Curve(x, lobe.after_mm, "measured", "after", valve=lobe_kind(lobe.lobe))
    curves = (Curve(x, lobe.before_mm, "nominal", "before"), after)
    return Figure("overlay", "Lift", _across(lobe), Axis("Lift", "mm"), curves)


def left_figure(lobe: ComparedLobe) -> Figure:
    """After − before with twice its standard uncertainty to either side, and the place where it is greatest."""
    x, off, u = lobe.angle_cam_deg, 1000.0 * lobe.difference_mm, 1000.0 * lobe.u_mm
    wear = lobe.changes.wear.value
    worn = np.where(off < -WIDE * u, off, np.nan) if wear else np.full(x.shape, np.nan)
    curves = [Curve(x, off, "measured", lobe.lobe, valve=lobe_kind(lobe.lobe))]
    if np.isfinite(worn).any():
        curves.append(Curve(x, worn, "outside", "worn"))
    worst = mark(float(x[lobe.worst]), float(off[lobe.worst]), "reject" if wear else "measured")
    return Figure(
        "after_less_before",
        "After − before",
        _across(lobe),
        Axis("After − before", "um"),
        tuple(curves),
        (Band(x, off - WIDE * u, off + WIDE * u, "band", "± 2 u"),),
        (worst,),
        (Guide(0.0, "y"),),
    )


def spring_changes_figure(result: CompareResult, chosen: str = "") -> Figure:
    """Two bars a spring: its change of seat force and of open force; the chosen one is named on them."""
    rows = result.springs
    places = np.arange(float(len(rows)))
    forces = {
        "seat force": [row.seat_force_change_n for row in rows],
        "open force": [row.open_force_change_n for row in rows],
    }
    bands, lowest = [], np.zeros(len(rows))
    for series, (label, stated) in enumerate(forces.items()):
        values = np.array([np.nan if value is None else value for value in stated])
        known = np.isfinite(values)
        if known.any():
            side = places[known] + BAR * (series - 0.5)
            bands.append(bars(side, values[known], BAR, "series", label, series))
            lowest = np.fmin(lowest, values)
    every = max(1, -(-len(rows) // MOST_NAMED))
    names = tuple((float(place), rows[place].spring) for place in range(0, len(rows), every))
    axis = Axis("Spring", "", (-0.6, len(rows) - 0.4), names=names)
    number = next((number for number, row in enumerate(rows) if row.spring == chosen), None)
    below = 0.07 * float(np.ptp(lowest))
    marks = () if number is None else (words(float(number), float(lowest[number]) - below, chosen, "measured"),)
    force = Axis("Change of force", "N")
    return Figure("changes", force.label, axis, force, bands=tuple(bands), marks=marks, guides=(Guide(0.0, "y"),))


def _across(lobe: ComparedLobe) -> Axis:
    return Axis(ANGLE_FROM_CENTRE, "cam deg", ends_of(lobe.angle_cam_deg))
