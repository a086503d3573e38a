"""Taper between two tracks read round one lobe or journal with the probe on one zero.

Source: plain geometry.
"""

from __future__ import annotations

import math

import numpy as np

from valvelab.angles import fold
from valvelab.arrays import FloatArray
from valvelab.camshaft.roundness import JournalTrace, arc_weights, require_turn
from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.phrase import Phrase


@frozen
class Taper:
    """Second track minus first, in order of position: mean over the turn, and where the first track stands highest."""

    mean_mm: float
    highest_mm: float
    length_mm: float

    @property
    def angle_arcmin(self) -> float:
        """Mean slope of the surface along the shaft, minutes of arc (60 to the degree)."""
        return math.degrees(math.atan2(self.mean_mm, self.length_mm)) * 60.0


def taper(first: JournalTrace, second: JournalTrace) -> Taper:
    """Taper from the track at the smaller position to the one at the larger.

    The second track is interpolated to the angles of the first; each reading counts by the arc it stands for. Refuses
    tracks at one position or with much of the turn unread.
    """
    if first.position_mm is None or second.position_mm is None or first.position_mm == second.position_mm:
        raise CannotEvaluate(Reason.MISSING_INPUT, Phrase("{name}: two tracks need two positions", name=first.name))
    if first.position_mm > second.position_mm:
        first, second = second, first
    require_turn(first)
    require_turn(second)
    difference = _around(second, first.angle_deg) - first.reading_mm
    top = int(np.argmax(first.reading_mm))
    return Taper(
        mean_mm=float(np.average(difference, weights=arc_weights(first.angle_deg))),
        highest_mm=float(difference[top]),
        length_mm=float(second.position_mm or 0.0) - float(first.position_mm or 0.0),
    )


def _around(trace: JournalTrace, angle_deg: FloatArray) -> FloatArray:
    """Readings of a trace at other angles, straight between neighbours; readings at one angle are averaged."""
    angles, group = np.unique(fold(trace.angle_deg), return_inverse=True)
    means = np.bincount(group, weights=trace.reading_mm) / np.bincount(group)
    return np.asarray(np.interp(fold(angle_deg), angles, means, period=360.0))
