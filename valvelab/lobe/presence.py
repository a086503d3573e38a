"""Whether a column holds a lobe at all: lift that rises and falls again, resolved by the readings, out of their noise.

Judged by proportion only, lift against noise, width against spacing and flank against top, so that no lobe of any size
or law is refused for what it is. Source: common sense of reading.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from valvelab.arrays import BoolArray, FloatArray, median
from valvelab.errors import CannotEvaluate, Reason
from valvelab.phrase import Phrase

# Lift less than this many standard deviations of a reading is no lobe: noise alone ranges over six to eight.
_LIFT_IN_NOISE = 12.0
# A lobe narrower at half its lift than this many readings is not resolved.
_NARROWEST_READINGS = 2.5
# A flank, from a tenth to nine tenths of the lift, has at least this share of the readings above it.
_FLANK_SHARE = 0.1
_SAME_ANGLE_CAM_DEG = 1e-6


def refuse_no_lobe(names: tuple[str, ...], angle_cam_deg: FloatArray, lifts_mm: FloatArray) -> None:
    """Refuse columns whose readings are no lobe: all alike, a lobe too narrow for them, or a step.

    angle: (n,), ascending, of all sweeps; lifts: (lobes, n), NaN where left out.
    """
    low, high = np.nanmin(lifts_mm, axis=1), np.nanmax(lifts_mm, axis=1)
    lift = high - low
    for row in np.flatnonzero(lift == 0.0):
        left_out = int(np.isnan(lifts_mm[row]).sum())
        but = Phrase(" but {count} that stand off", count=left_out) if left_out else ""
        found = Phrase("found {low} mm in every reading{but}, expected a lobe", low=f"{low[row] + 0.0:.4g}", but=but)
        raise _refusal(names[row], found)
    gaps = np.diff(angle_cam_deg)
    step = float(median(gaps[gaps > _SAME_ANGLE_CAM_DEG]))
    gaps = np.minimum(gaps, 3.0 * step)
    share_of_turn = 0.5 * (np.concatenate([gaps[:1], gaps]) + np.concatenate([gaps, gaps[-1:]]))
    with np.errstate(invalid="ignore"):
        height = (lifts_mm - low[:, None]) / lift[:, None]
        upper, top, flank = ((height > 0.5), (height >= 0.9), (height > 0.1) & (height < 0.9))
    width, on_top, on_flanks = ((part * share_of_turn).sum(axis=1) for part in (upper, top, flank))
    _refuse_first(
        names,
        width < _NARROWEST_READINGS * step,
        lambda row: Phrase(
            "found a lift of {lift} mm that lasts {width} cam deg at half its height, read every {step} cam deg, "
            "expected a lobe of three readings or more",
            lift=f"{lift[row]:.4g}",
            width=f"{width[row]:.3g}",
            step=f"{step:.3g}",
        ),
    )
    _refuse_first(
        names,
        on_flanks < _FLANK_SHARE * on_top,
        lambda row: Phrase(
            "found a step of {lift} mm with {flanks} cam deg of flanks to {top} of top, "
            "expected a lobe that rises and falls",
            lift=f"{lift[row]:.4g}",
            flanks=f"{on_flanks[row]:.3g}",
            top=f"{on_top[row]:.3g}",
        ),
    )


def refuse_noise(names: tuple[str, ...], lift_mm: FloatArray, noise_mm: FloatArray) -> None:
    """Refuse lobes whose fitted lift, (lobes,), does not stand out of the noise of what was fitted, (lobes,)."""
    _refuse_first(
        names,
        lift_mm < _LIFT_IN_NOISE * noise_mm,
        lambda row: Phrase(
            "found a lift of {lift} mm in readings that scatter by {noise} mm, expected a lobe that stands out of them",
            lift=f"{lift_mm[row]:.3g}",
            noise=f"{noise_mm[row]:.3g}",
        ),
    )


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
            found = Phrase(
                "found the greatest lift, {lift} mm, at the last angle, still changing by {slope} mm a cam deg, "
                "expected readings to both sides of the nose"
                if top[row]
                else "found the greatest lift, {lift} mm, at the first angle, still changing by {slope} mm a cam deg, "
                "expected readings to both sides of the nose",
                lift=f"{end[-1]:.4g}",
                slope=f"{rise / step_cam_deg:.2g}",
            )
            raise _refusal(names[row], found)


def _refuse_first(names: tuple[str, ...], wrong: BoolArray, told: Callable[[int], Phrase]) -> None:
    """Refuse the first of the lobes, (lobes,), of which something is wrong."""
    for row in np.flatnonzero(wrong):
        raise _refusal(names[row], told(int(row)))


def _refusal(name: str, sentence: str) -> CannotEvaluate:
    return CannotEvaluate(Reason.BAD_VALUES, Phrase("lobe {name}: {sentence}", name=name, sentence=sentence))
