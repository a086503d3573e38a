"""Readings far apart: what lies between them is seen by leaving some of them out.

Where readings stand more than 4 cam deg apart on a lobe, what the fit draws between them rests on its own smoothness,
and too few are left over to see the noise. The table is fitted again without every third reading (fourth, where few are
there), each in turn; as a gap of two spacings is bridged far worse than one of one, a quarter of the greatest change
is counted as standard uncertainty. Cross-validation in the sense of Stone (1974); the quarter by simulation.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from valvelab.arrays import BoolArray
from valvelab.errors import CannotEvaluate
from valvelab.lobe.characteristics import Instrument, LobeCharacteristics
from valvelab.lobe.conditioning import Conditioned
from valvelab.lobe.dense_smoothing import FEWEST_READINGS
from valvelab.lobe.profile import FittedLobes, fit_lobes
from valvelab.lobe.smoothing_bias import too_wide
from valvelab.measured import Each

COUNTED_SHARE = 0.25


def between_readings(found: Each, others: list[Each], wide: BoolArray, *, circle: bool) -> Each:
    """What was found, its uncertainty counting what lies between readings far apart; `wide`: for which lobes, (lobes,).

    `others`: the same of the thinned lobes. circle: it is a place on the circle.
    """
    if not others:
        return found
    change = np.abs(np.stack([other.value - found.value for other in others]))
    if circle:
        change = np.minimum(np.mod(change, 360.0), 360.0 - np.mod(change, 360.0))
    most = np.nan_to_num(change).max(axis=0)
    return replace(found, u=np.where(wide, np.hypot(found.u, COUNTED_SHARE * most), found.u))


def thinned(found: LobeCharacteristics, *, take_out_eccentricity: bool) -> tuple[LobeCharacteristics, ...]:
    """The same lobes without every third (or fourth) reading, each in turn; none where none is wide."""
    if not too_wide(found.spacing_cam_deg, 2).any():
        return ()
    fits = _thinned(found.fitted.conditioned, take_out_eccentricity=take_out_eccentricity)
    return tuple(LobeCharacteristics(fitted, Instrument()) for fitted in fits)


def _thinned(conditioned: Conditioned, *, take_out_eccentricity: bool) -> list[FittedLobes]:
    number = np.unique(np.round(conditioned.angle_cam_deg, 6), return_inverse=True)[1].ravel()
    each = 3 if 2 * (int(number.max()) + 1) >= 3 * FEWEST_READINGS else 4
    fits = []
    for turn in range(each):
        used = number % each != turn
        part = replace(
            conditioned,
            angle_cam_deg=conditioned.angle_cam_deg[used], lifts_mm=conditioned.lifts_mm[:, used],
            kept=conditioned.kept[:, used], sweep=conditioned.sweep[used], grid=None,
        )  # fmt: skip
        try:
            fits.append(fit_lobes(part, take_out_eccentricity=take_out_eccentricity))
        except CannotEvaluate:
            continue
    return fits
