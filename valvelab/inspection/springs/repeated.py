"""Several readings of a spring at one height: one that stands off from the others, and how well their mean is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from valvelab.conformity.repeats import division_of, mean_uncertainty, standing_off
from valvelab.frozen import frozen
from valvelab.phrase import Phrase
from valvelab.records.spring_readings import Stroke
from valvelab.springs.division import FORCE_DIVISIONS_N
from valvelab.springs.spring import ForceCurve


@frozen
class StandingOff:
    """One of several readings at a height that stands off from the others there; it counts until it is taken again."""

    height_mm: float
    force_n: float
    readings: int

    @property
    def told(self) -> str:
        """What there is to say of it."""
        return Phrase(
            "{force} N at {height} mm stands off from the other {readings} readings there: take it "
            "again, or leave it out with a reason",
            force=f"{self.force_n:g}",
            height=f"{self.height_mm:g}",
            readings=self.readings - 1,
        )


def standing_off_among(stroke: Stroke, curve: ForceCurve, division_n: float | None) -> tuple[StandingOff, ...]:
    """Repeats that stand off, by the rule of all repeats; a division that nobody knows is looked for in them.

    `curve`: the readings of the stroke, repeats averaged.
    """
    if curve.height_mm.size == stroke.height_mm.size:
        return ()
    order = np.argsort(stroke.height_mm, kind="stable")
    ends = np.searchsorted(stroke.height_mm[order], curve.height_mm[1:] - 1e-9)
    found = []
    for height, forces in zip(curve.height_mm.tolist(), np.split(stroke.force_n[order], ends), strict=True):
        readings = forces.tolist()
        places = standing_off(readings, division_n or division_of(readings, FORCE_DIVISIONS_N))
        found += [StandingOff(height, readings[place], len(readings)) for place in places]
    return tuple(found)


def at_one_height(stroke: Stroke, curve: ForceCurve, division_n: float | None) -> ForceCurve:
    """The curve of a spring that was read at one height several times: its scatter is that of the mean."""
    if curve.height_mm.size > 1 or stroke.force_n.size == 1:
        return curve
    return replace(curve, repeat_sd_n=mean_uncertainty(stroke.force_n.tolist(), division_n))
