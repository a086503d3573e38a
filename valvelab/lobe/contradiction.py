"""Turns or sweeps that cannot be readings of one lobe are refused, with what they look like.

Each is held against the fullest one, by straight lines between that one's readings: first as it stands, then at the
shift of angle that fits best. Whatever the zero, they may differ by a tenth of the lift and stand apart by 5 cam deg.
Source: own method, by simulation.
"""

from __future__ import annotations

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.lobe.conditioning import Conditioned
from valvelab.phrase import Phrase

MOST_OF_LIFT = 0.1
MOST_SHIFT_CAM_DEG = 5.0
FEWEST_READINGS = 8
# How far a sweep of the event alone is shifted to look for the best fit.
_EVENT_REACH_CAM_DEG = 30.0
_THINNED = 240
# Share of the readings that may stand off at either end of the differences.
_TAIL = 0.02


def refuse_contradictions(conditioned: Conditioned) -> None:
    """Refuse turns or sweeps that contradict each other by more than a tenth of the lift or 5 cam deg.

    Raises CannotEvaluate(BAD_VALUES).
    """
    sizes = np.bincount(conditioned.sweep, minlength=conditioned.sweeps)
    if sizes.size < 2:
        return
    first = int(np.argmax(sizes))
    for turn in np.flatnonzero(sizes >= FEWEST_READINGS):
        if turn == first:
            continue
        for lobe, name in enumerate(conditioned.names):
            sentence = _contradiction(conditioned, lobe, first, int(turn))
            if sentence is not None:
                raise CannotEvaluate(Reason.BAD_VALUES, Phrase("lobe {name}: {sentence}", name=name, sentence=sentence))


@frozen
class _Pair:
    """One turn's readings and the turn they are held against; a shift moves the latter to later angles."""

    angle: FloatArray
    lift: FloatArray
    against_angle: FloatArray
    against_lift: FloatArray
    period: float | None

    def against(self, shifts: FloatArray) -> FloatArray:
        """The other turn's lift at this one's angles, (shifts, readings); NaN where it has no reading near."""
        at = self.angle - shifts[:, None]
        value = np.interp(at, self.against_angle, self.against_lift, period=self.period)
        known = self.against_angle
        if self.period is not None:
            known = np.concatenate([known[-1:] - 360.0, known, known[:1] + 360.0])
            at = np.mod(at, 360.0)
        gap = np.diff(known)
        place = np.searchsorted(known, at) - 1
        near = (place >= 0) & (place < gap.size) & (gap[np.clip(place, 0, gap.size - 1)] <= 3.0 * np.median(gap) + 1e-6)
        return np.where(near | (np.abs(at - known[0]) < 1e-6), value, np.nan)

    def difference(self, shift: float) -> FloatArray:
        """One turn less the other, (readings,), without what cannot be compared."""
        off = self.lift - self.against(np.array([shift]))[0]
        return np.asarray(off[np.isfinite(off)])

    def best_shift(self) -> float:
        """Shift that leaves the least mean size of difference, whatever the zero."""
        thin = slice(None, None, max(1, self.angle.size // _THINNED))
        pair = _Pair(self.angle[thin], self.lift[thin], self.against_angle, self.against_lift, self.period)
        reach = 180.0 if self.period is not None else _EVENT_REACH_CAM_DEG
        best, step = 0.0, 1.0
        for step, width in ((1.0, reach), (0.1, 1.0)):
            shifts = best + np.arange(-width, width + 0.5 * step, step)
            off = pair.lift - pair.against(shifts)
            enough = np.isfinite(off).sum(axis=1) >= max(FEWEST_READINGS, 0.5 * pair.angle.size)
            off = np.where(enough[:, None], off, 0.0)
            cost = np.nanmean(np.abs(off - np.nanmean(off, axis=1)[:, None]), axis=1)
            best = float(shifts[np.argmin(np.where(enough, cost, np.inf))])
        return best


def _contradiction(conditioned: Conditioned, lobe: int, first: int, turn: int) -> str | None:
    """What is wrong with one turn beside another, or None."""
    kept = conditioned.kept[lobe]
    rows, against = (np.flatnonzero(kept & (conditioned.sweep == number)) for number in (turn, first))
    if min(rows.size, against.size) < FEWEST_READINGS:
        return None
    angle, lift = conditioned.angle_cam_deg, conditioned.lifts_mm[lobe]
    against = against[np.concatenate([[True], np.diff(angle[against]) > 1e-6])]
    pair = _Pair(angle[rows], lift[rows], angle[against], lift[against], 360.0 if conditioned.periodic else None)
    whole = float(np.ptp(lift[kept]))
    # straight lines between readings miss the curve by up to an eighth of its second difference
    allowed = MOST_OF_LIFT * whole + float(np.abs(np.diff(pair.against_lift, 2)).max()) / 8.0
    off = pair.difference(0.0)
    # nor is noise a contradiction: second differences show it (Hampel's scaled median)
    allowed += 5.0 * 1.4826 / np.sqrt(6.0) * float(np.median(np.abs(np.diff(off, 2)))) if off.size > 2 else 0.0
    if off.size < FEWEST_READINGS or _range(off) <= allowed:
        return None
    shift = pair.best_shift()
    off = pair.difference(shift)
    one, other = _named(conditioned, turn), _named(conditioned, first)
    if _range(off) <= allowed:
        if abs(shift) <= MOST_SHIFT_CAM_DEG:
            return None
        return Phrase(
            "found {one} to stand {shift} cam deg later than {other}, expected no more than {most}: the wheel or the "
            "shaft has slipped"
            if shift > 0
            else "found {one} to stand {shift} cam deg earlier than {other}, expected no more than {most}: the wheel "
            "or the shaft has slipped",
            one=one,
            shift=f"{abs(shift):.1f}",
            other=other,
            most=f"{MOST_SHIFT_CAM_DEG:g}",
        )
    there = pair.against(np.array([shift]))[0]
    used = np.isfinite(there)
    scale = float(np.polyfit(there[used], pair.lift[used], 1)[0]) if np.ptp(there[used]) > 0.0 else 0.0
    left = pair.lift[used] - scale * there[used]
    if 0.3 < scale < 3.0 and _range(left) <= allowed:
        return Phrase(
            "found {one} to lift {scale} times what {other} lifts, expected turns that agree within a tenth: "
            "another lobe, or a gauge on another scale",
            one=one,
            scale=f"{scale:.2f}",
            other=other,
        )
    return Phrase(
        "found {one} to differ from {other} by {off} mm of lift, whatever the shift, expected turns that repeat: "
        "crank degrees read as cam degrees look so"
        if _alternate(conditioned, first, turn)
        else "found {one} to differ from {other} by {off} mm of lift, whatever the shift, expected turns that repeat: "
        "another lobe, or readings that lost their place",
        one=one,
        other=other,
        off=f"{_range(off):.3g}",
    )


def _range(off: FloatArray) -> float:
    """Range of the differences without their tails."""
    return float(np.subtract(*np.quantile(off, [1.0 - _TAIL, _TAIL])))


def _named(conditioned: Conditioned, turn: int) -> str:
    """A turn as the reader of the table counts it."""
    several = len({row.given for row in conditioned.turns}) > 1
    own = [number for number, row in enumerate(conditioned.turns) if row.given == conditioned.turns[turn].given]
    if not several:
        return Phrase("turn {turn}", turn=turn + 1)
    sweep = Phrase("sweep {given}", given=conditioned.turns[turn].given + 1)
    return sweep if len(own) == 1 else Phrase("turn {index} of {sweep}", index=own.index(turn) + 1, sweep=sweep)


def _alternate(conditioned: Conditioned, first: int, turn: int) -> bool:
    """Whether two turns are an odd number apart in one sweep of an even number of turns."""
    given = conditioned.turns[turn].given
    own = sum(row.given == given for row in conditioned.turns)
    return conditioned.turns[first].given == given and own % 2 == 0 and (turn - first) % 2 == 1
