"""Where on the plots of a lobe a verdict is decided, and which verdict is decided where."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from valvelab.angles import wrap
from valvelab.figures.lobe_figures import Derivative, centre_of, sampled

if TYPE_CHECKING:
    from collections.abc import Sequence

    from valvelab.arrays import FloatArray
    from valvelab.inspection.lobes.inspect import LobesInspection
    from valvelab.records.result import Verdict

_PEAKS: dict[str, tuple[str, Derivative, int]] = {
    "max_lift": ("lift", 0, 1),
    "max_lift_angle": ("lift", 0, 1),
    "peak_centre": ("lift", 0, 1),
    "velocity_max": ("velocity", 1, 1),
    "velocity_min": ("velocity", 1, -1),
    "acceleration_max": ("acceleration", 2, 1),
    "acceleration_min": ("acceleration", 2, -1),
    "jerk_max_abs": ("jerk", 3, 0),
}
"""Plot, derivative, and whether its greatest (1), least (-1) or greatest size (0) is judged."""
_CENTRES = ("centre", "chord_centre", "area_centre")
_AT_LIFT = {"opening": (0,), "closing": (1,), "duration": (0, 1)}


def places_of(inspection: LobesInspection, verdict: Verdict, x: FloatArray) -> tuple[str, tuple[float, ...]]:
    """The plot on which a verdict on a lobe is decided, and at which angles from the lobe's centre, cam deg.

    x: the angles of the plots, cam deg, shape (n,). No angles where it is decided at no place of a curve.
    """
    name, lobe = verdict.characteristic, verdict.item
    row = next((row for row in inspection.result.lobes if row.lobe == lobe), None)
    if row is None or verdict.measured is None:
        return "", ()
    centre = centre_of(inspection, lobe)
    if name == "envelope" and row.envelope is not None:
        return "deviation", (row.envelope.worst_angle_cam_deg,)
    if name in _PEAKS:
        plot, derivative, which = _PEAKS[name]
        curve = sampled(inspection, lobe, x, derivative)
        return plot, (float(x[np.argmax(np.abs(curve) if which == 0 else which * curve)]),)
    if name in _CENTRES:
        return "lift", (float(wrap(verdict.measured - centre)),)
    if name in _AT_LIFT and verdict.at_mm is not None:
        sides = next(sides for one, *sides, _ in inspection.durations_at(verdict.at_mm) if one == lobe)
        found = (sides[side] for side in _AT_LIFT[name])
        return "lift", tuple(float(wrap(angle - centre)) for angle in found if angle is not None)
    return "", ()


def verdict_at(
    inspection: LobesInspection, lobe: str, plot: str, angle_cam_deg: float, x: FloatArray, within_cam_deg: float
) -> Verdict | None:
    """The verdict on a lobe that is decided nearest to an angle of a plot, where one is so near."""
    found: Sequence[tuple[float, Verdict]] = [
        (abs(place - angle_cam_deg), verdict)
        for verdict in inspection.result.verdicts
        if verdict.item == lobe
        for where, places in (places_of(inspection, verdict, x),)
        if where == plot
        for place in places
    ]
    off, nearest = min(found, key=lambda one: one[0], default=(np.inf, None))
    return nearest if off <= within_cam_deg else None
