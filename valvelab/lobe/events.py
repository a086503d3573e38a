"""Where a profile crosses a lift and where it peaks: roots and extremes of the fit, never samples.

Every answer names its place as (interval, local coordinate), so that the propagation can differentiate there.
Source: plain calculus of the spline.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from valvelab.arrays import FloatArray
from valvelab.frozen import frozen
from valvelab.lobe.profile import FittedLobes
from valvelab.lobe.spline import SplineSet

IndexArray = NDArray[np.int64]
_NEWTON_STEPS = 6
LOOKED_AT_CAM_DEG = 0.5
"""An extreme is looked for from places no farther apart."""
_SETTLED = 1e-10
"""A Newton step, in knots, after which the next one would be lost in rounding."""


@frozen
class Places:
    """One place on each of several lobes; shapes (lobes,). angle is NaN where there is none.

    angle is continuous on each lobe (not folded), so that closing − opening is positive.
    """

    index: IndexArray
    t: FloatArray
    angle_cam_deg: FloatArray

    @property
    def found(self) -> NDArray[np.bool_]:
        """Which lobes have the place. Shape (lobes,), no unit."""
        return np.isfinite(self.angle_cam_deg)


@frozen(slots=False)
class Lobes:
    """Fitted lobes unrolled round their noses, ready for any number of questions.

    lift: (lobes, knots), each row starting at `first` knot so that the nose stands at `nose` in the row.
    """

    fitted: FittedLobes
    first: IndexArray
    nose: IndexArray
    lift: FloatArray

    @property
    def splines(self) -> SplineSet:
        """The corrected splines."""
        return self.fitted.splines

    def place(self, position: IndexArray, t: FloatArray, found: NDArray[np.bool_] | None = None) -> Places:
        """Places from positions in the unrolled rows.

        All shape (lobes,); positions count knots, `t` is a plain number from 0 to 1.
        """
        index = self.first + position
        angle = self.splines.start + self.splines.step * (index + t)
        if self.splines.periodic:
            index = np.mod(index, self.splines.intervals)
        if found is not None:
            angle = np.where(found, angle, np.nan)
        return Places(index, t, angle)


def unroll(fitted: FittedLobes) -> Lobes:
    """Centre every lobe on its nose."""
    lift = fitted.at_knots[0]
    top = np.argmax(lift, axis=1)
    if not fitted.splines.periodic:
        return Lobes(fitted, np.zeros_like(top), top, lift)
    knots = lift.shape[1]
    first = top - knots // 2
    columns = np.mod(first[:, None] + np.arange(knots), knots)
    return Lobes(fitted, first, np.full_like(top, knots // 2), np.take_along_axis(lift, columns, axis=1))


def crossings(lobes: Lobes, lift_mm: float | FloatArray) -> tuple[Places, Places]:
    """Opening and closing place at a lift (one for all, or one each): the crossings nearest the nose.

    A flank that never comes below the lift, or a lobe that never reaches it, has none.
    """
    count, width = lobes.lift.shape
    target = np.broadcast_to(np.asarray(lift_mm, dtype=np.float64), (count,))
    below = lobes.lift < target[:, None]
    columns = np.arange(width)
    left = np.where(below & (columns < lobes.nose[:, None]), columns, -1).max(axis=1)
    right = np.where(below & (columns > lobes.nose[:, None]), columns, width).min(axis=1)
    reached = ~below[np.arange(count), lobes.nose]
    positions, t = _roots(lobes, np.stack([left, right - 1]), target)
    return (
        lobes.place(positions[0], t[0], reached & (left >= 0)),
        lobes.place(positions[1], t[1], reached & (right < width)),
    )


def _roots(lobes: Lobes, position: IndexArray, target: FloatArray) -> tuple[IndexArray, FloatArray]:
    """Roots of lift − target between positions and the next ones, by safeguarded Newton steps; positions (2, lobes)."""
    splines = lobes.splines
    rows = np.arange(target.size)
    safe = np.clip(position, 0, lobes.lift.shape[1] - 2)
    ends = lobes.lift[rows, safe] - target, lobes.lift[rows, safe + 1] - target
    with np.errstate(divide="ignore", invalid="ignore"):
        t = np.clip(np.nan_to_num(ends[0] / (ends[0] - ends[1])), 0.0, 1.0)
    index = lobes.first + safe
    if splines.periodic:
        index = np.mod(index, splines.intervals)
    low, high = np.zeros_like(t), np.ones_like(t)
    rising = ends[1] > ends[0]
    for _ in range(_NEWTON_STEPS):
        value = splines.at(rows, index, t) - target
        slope = splines.at(rows, index, t, 1) * splines.step
        before = (value < 0) == rising
        low, high = np.where(before, t, low), np.where(before, high, t)
        with np.errstate(divide="ignore", invalid="ignore"):
            step = t - value / slope
        nearer = np.where(np.isfinite(step) & (step >= low) & (step <= high), step, 0.5 * (low + high))
        settled = np.abs(nearer - t).max(initial=0.0) < _SETTLED
        t = nearer
        if settled:
            break
    return safe, t


def extreme(lobes: Lobes, order: int, sign: float, guide: SplineSet | None = None) -> tuple[Places, FloatArray]:
    """Greatest value of sign × the order-th derivative over each lobe, and where; shapes (lobes,).

    For acceleration and jerk the place is looked for on a blurred copy of the fit; the value there is the fit's. The
    crest of a noisy curve stands above the true one, the more so the flatter the top.
    `guide` names another copy, and one for lift or velocity. In the derivative's own unit.
    """
    fitted = lobes.fitted
    if guide is None and order >= 2:
        guide = fitted.guide
    if guide is None:
        return _highest(lobes.splines, fitted.at_knots[order], order, sign)
    count = fitted.at_knots[order].shape[1]
    values = fitted.guide_at_knots(order) if guide is fitted.guide else guide.at_knots(order)[:, :count]
    places, _ = _highest(guide, values, order, sign)
    return places, lobes.splines.at(np.arange(places.index.size), places.index, places.t, order)


def _highest(splines: SplineSet, values: FloatArray, order: int, sign: float) -> tuple[Places, FloatArray]:
    """The same on one set of splines; values: (lobes, knots), the derivative at the knots."""
    seen, apart = _looked_at(splines, values, order)
    seen = sign * seen
    rows = np.arange(seen.shape[0])
    top = np.argmax(seen, axis=1)
    start, best = top * apart, seen[rows, top]
    limit = float(splines.intervals)
    best_x = start
    x = start + apart * np.array([[-0.5], [0.5]])
    for _ in range(_NEWTON_STEPS):
        index, t = _split(splines, x, limit)
        slope = splines.at(rows, index, t, order + 1) * splines.step
        bend = splines.at(rows, index, t, order + 2) * splines.step**2
        with np.errstate(divide="ignore", invalid="ignore"):
            step = np.nan_to_num(slope / bend, posinf=0.0, neginf=0.0)
        nearer = np.clip(x - step, start - apart, start + apart)
        settled = np.abs(nearer - x).max(initial=0.0) < _SETTLED
        x = nearer
        if settled:
            break
    values = sign * splines.at(rows, *_split(splines, x, limit), order)
    for place, value in zip(x, values, strict=True):
        better = value > best
        best, best_x = np.where(better, value, best), np.where(better, place, best_x)
    index, t = _split(splines, best_x, limit)
    angle = splines.start + splines.step * best_x
    return Places(index, t, angle), sign * best


def _looked_at(splines: SplineSet, at_knots: FloatArray, order: int) -> tuple[FloatArray, float]:
    """A derivative at knots and, where these stand far apart, between them; and how far apart, in intervals.

    Between coarse knots a curve may rise higher than beside the knot that is highest.
    """
    parts = math.ceil(splines.step / LOOKED_AT_CAM_DEG - 1e-9)
    if parts <= 1:
        return at_knots, 1.0
    places = np.arange(splines.intervals * parts + 1) / parts
    index, t = _split(splines, places, float(splines.intervals))
    return splines.at(np.arange(at_knots.shape[0])[:, None], index, t, order), 1.0 / parts


def _split(splines: SplineSet, x: FloatArray, limit: float) -> tuple[IndexArray, FloatArray]:
    folded = np.mod(x, limit) if splines.periodic else np.clip(x, 0.0, limit)
    index = np.minimum(folded.astype(np.int64), splines.intervals - 1)
    return index, folded - index


def near_nose(lobes: Lobes, places: Places) -> FloatArray:
    """The places' angles moved by whole turns next to each lobe's nose. Shape (lobes,), cam deg."""
    if not lobes.splines.periodic:
        return places.angle_cam_deg
    nose = lobes.splines.start + lobes.splines.step * (lobes.first + lobes.nose)
    return np.asarray(nose + np.mod(places.angle_cam_deg - nose + 180.0, 360.0) - 180.0)


def event_mask(lobes: Lobes) -> NDArray[np.bool_]:
    """Shape (lobes, knots), unrolled: True between the feet, that is off the base-circle arc. No unit."""
    mask = np.ones(lobes.lift.shape, dtype=np.bool_)
    knots = lobes.lift.shape[1]
    for row, base in enumerate(lobes.fitted.bases):
        if base is not None:
            arc = np.mod(np.arange(base.first, base.last + 1) - lobes.first[row], knots)
            mask[row, arc] = False
    return mask
