"""Whether a column holds a lobe at all: lift that rises and falls again, resolved by the readings, out of their noise.

Judged by proportion only, lift against noise, width against spacing and flank against top, so that no lobe of any size
or law is refused for what it is. Source: common sense of reading.
"""

from __future__ import annotations

import numpy as np

from valvelab.arrays import FloatArray, median
from valvelab.errors import CannotEvaluate, Reason
from valvelab.phrase import Phrase

# Lift less than this many standard deviations of a reading is no lobe: noise alone ranges over six to eight.
_LIFT_IN_NOISE = 12.0
# A lobe narrower at half its lift than this many readings is not resolved.
_NARROWEST_READINGS = 2.5
# A flank, from a tenth to nine tenths of the lift, has at least this share of the readings above it.
_FLANK_SHARE = 0.1
_SAME_ANGLE_CAM_DEG = 1e-6
_A_LOBE = "expected a lobe"


def refuse_no_lobe(names: tuple[str, ...], angle_cam_deg: FloatArray, lifts_mm: FloatArray) -> None:
    """Refuse columns whose readings are no lobe: all alike, a lobe too narrow for them, or a step.

    angle: (n,), ascending, of all sweeps; lifts: (lobes, n), NaN where left out.
    """
    low, high = np.nanmin(lifts_mm, axis=1), np.nanmax(lifts_mm, axis=1)
    lift = high - low
    for row in np.flatnonzero(lift == 0.0):
        left_out = int(np.isnan(lifts_mm[row]).sum())
        but = f" but {left_out} that stand off" if left_out else ""
        raise _refusal(names[row], f"found {low[row] + 0.0:.4g} mm in every reading{but}, {_A_LOBE}")
    gaps = np.diff(angle_cam_deg)
    step = float(median(gaps[gaps > _SAME_ANGLE_CAM_DEG]))
    gaps = np.minimum(gaps, 3.0 * step)
    share_of_turn = 0.5 * (np.concatenate([gaps[:1], gaps]) + np.concatenate([gaps, gaps[-1:]]))
    with np.errstate(invalid="ignore"):
        height = (lifts_mm - low[:, None]) / lift[:, None]
        upper, top, flank = ((height > 0.5), (height >= 0.9), (height > 0.1) & (height < 0.9))
    width, on_top, on_flanks = ((part * share_of_turn).sum(axis=1) for part in (upper, top, flank))
    for row in np.flatnonzero(width < _NARROWEST_READINGS * step):
        found = f"found a lift of {lift[row]:.4g} mm that lasts {width[row]:.3g} cam deg at half its height"
        raise _refusal(names[row], f"{found}, read every {step:.3g} cam deg, {_A_LOBE} of three readings or more")
    for row in np.flatnonzero(on_flanks < _FLANK_SHARE * on_top):
        found = f"found a step of {lift[row]:.4g} mm with {on_flanks[row]:.3g} cam deg of flanks to {on_top[row]:.3g}"
        raise _refusal(names[row], f"{found} of top, {_A_LOBE} that rises and falls")


def refuse_noise(names: tuple[str, ...], lift_mm: FloatArray, noise_mm: FloatArray) -> None:
    """Refuse lobes whose fitted lift, (lobes,), does not stand out of the noise of what was fitted, (lobes,)."""
    for row in np.flatnonzero(lift_mm < _LIFT_IN_NOISE * noise_mm):
        found = f"found a lift of {lift_mm[row]:.3g} mm in readings that scatter by {noise_mm[row]:.3g} mm"
        raise _refusal(names[row], f"{found}, {_A_LOBE} that stands out of them")


def refuse_cut_off(names: tuple[str, ...], lift_mm: FloatArray, noise_mm: FloatArray, step_cam_deg: float) -> None:
    """Refuse event-only lobes whose greatest lift is an end of the table, still rising.

    lift: (lobes, knots), fitted, knots `step` cam deg apart; noise: (lobes,) of the fit at a knot.
    """
    top = np.argmax(lift_mm, axis=1)
    last = lift_mm.shape[1] - 1
    for row in np.flatnonzero((top == 0) | (top == last)):
        end = lift_mm[row] if top[row] else lift_mm[row, ::-1]
        rise = float(end[-1] - end[-2])
        if rise > 5.0 * noise_mm[row]:
            where = "last" if top[row] else "first"
            found = f"found the greatest lift, {end[-1]:.4g} mm, at the {where} angle"
            slope = f"still changing by {rise / step_cam_deg:.2g} mm a cam deg"
            raise _refusal(names[row], f"{found}, {slope}, expected readings to both sides of the nose")


def _refusal(name: str, sentence: str) -> CannotEvaluate:
    return CannotEvaluate(Reason.BAD_VALUES, Phrase("lobe {name}: {sentence}", name=name, sentence=sentence))
