"""Readings far apart: what lies between them is seen by leaving some of them out.

Where readings stand more than 4 cam deg apart on a lobe, what the fit draws between them rests on its own smoothness,
and too few are left over to see the noise. The table is fitted again without every third reading (fourth, where few are
there), each in turn; as a gap of two spacings is bridged far worse than one of one, a quarter of the greatest change
is counted as standard uncertainty. Cross-validation in the sense of Stone (1974); the quarter by simulation.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.errors import CannotEvaluate
from valvelab.inspection.lobes.repeatability import all_scalars
from valvelab.lobe.characteristics import Instrument, LobeCharacteristics, Value
from valvelab.lobe.conditioning import Conditioned
from valvelab.lobe.dense_smoothing import FEWEST_READINGS
from valvelab.lobe.profile import FittedLobes, fit_lobes
from valvelab.lobe.smoothing_bias import too_wide

COUNTED_SHARE = 0.25
_PLACES = ("opening@", "closing@", "middle@", "nose_cam_deg", "area_cam_deg", "max_lift_angle_cam_deg")


def with_wide_readings(
    scalars: dict[str, Value], found: LobeCharacteristics, lifts_mm: tuple[float, ...], drop_mm: float,
    *, take_out_eccentricity: bool,
) -> dict[str, Value]:  # fmt: skip
    """Scalars whose uncertainty counts what lies between readings that are far apart; others as they are."""
    wide = too_wide(found.spacing_cam_deg, 2)
    if not wide.any():
        return scalars
    others = [
        all_scalars(LobeCharacteristics(fitted, Instrument()), lifts_mm, drop_mm)
        for fitted in _thinned(found.fitted.conditioned, take_out_eccentricity=take_out_eccentricity)
    ]
    if not others:
        return scalars
    return {
        key: Value(value.value, np.where(wide, np.hypot(value.u, COUNTED_SHARE * _most(key, value, others)), value.u))
        for key, value in scalars.items()
    }


def _most(key: str, value: Value, others: list[dict[str, Value]]) -> FloatArray:
    """Greatest change of one scalar, (lobes,)."""
    change = np.abs(np.stack([other[key].value - value.value for other in others]))
    if key.startswith(_PLACES):
        change = np.minimum(np.mod(change, 360.0), 360.0 - np.mod(change, 360.0))
    return np.asarray(np.nan_to_num(change).max(axis=0))


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
