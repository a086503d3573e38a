"""The lift that another follower would show of the same contour, at given cam angles.

A follower meets the contour whose normal stands at φ at the cam angle θ₂(φ) = φ + ψ₂. Along the lobe θ₂ rises, unless
the follower can't touch: in a hollow tighter than itself it turns back, and rides on both sides instead. So the angles
asked for are bracketed by a dense map of θ → θ₂ and found inside their brackets; where several places answer, the
follower rests on the one that lifts it most. Source: plane geometry of parallel curves, see `contour`.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from valvelab.arrays import FloatArray, read_only
from valvelab.errors import CannotEvaluate, Reason
from valvelab.follower.contour import Contour, pressure_angle_under
from valvelab.follower.shapes import Shape
from valvelab.frozen import frozen
from valvelab.phrase import Phrase

ContourAt = Callable[[FloatArray], Contour]
"""The contour met at source cam angles (n,), any order."""

PIECES = 8
"""Samples of the forward map in one step of the angles asked for."""
_SETTLED_CAM_DEG = 1e-10
_ROUNDS = 80


@frozen
class Bridge:
    """A stretch that the follower can't touch: by how much it stands off (mm), where, and the radius there (mm)."""

    depth_mm: float
    angle_cam_deg: float
    radius_mm: float


@frozen
class Followed:
    """Lift under the new follower at the angles asked for and the source cam angle of each contact; (n,).

    `covered`: where the source's own range holds the contact (an event-only table ends somewhere); the lift of the
    nearest end stands elsewhere. `bridge`: the deepest stretch that it can't touch, None where it touches throughout.
    """

    lift_mm: FloatArray
    source_cam_deg: FloatArray
    covered: NDArray[np.bool_]
    bridge: Bridge | None


def lift_of(found: Contour, shape: Shape) -> FloatArray:
    """Lift under a follower where it meets each place of a contour: hypot(p + r, p′) − R_b − r; flat p − R_b.

    mm, shape (n,).
    """
    if shape.kind == "flat":
        return np.asarray(found.support_mm - found.base_circle_radius_mm)
    r = shape.radius_mm or 0.0
    return np.asarray(np.hypot(found.support_mm + r, found.slope_mm) - found.base_circle_radius_mm - r)


def angle_of(found: Contour, shape: Shape) -> FloatArray:
    """Cam angle at which a follower meets each place of a contour, deg, not folded. Shape (n,)."""
    return np.asarray(found.normal_cam_deg + pressure_angle_under(found, shape))


def follow(contour_at: ContourAt, start: float, step: float, count: int, shape: Shape, *, periodic: bool) -> Followed:
    """Lift under `shape` at start + step × (0 … count − 1), cam deg.

    The source is met over the same range; where `periodic` the range is one turn. Raises CannotEvaluate where an angle
    stays unanswered, which no real contour leaves.
    """
    pieces = PIECES * (count if periodic else count - 1)
    theta = start + step / PIECES * np.arange(pieces + 1, dtype=np.float64)
    along = contour_at(theta)
    met = angle_of(along, shape)
    place = (met - start) / step
    segment, asked = _brackets(place)
    if periodic:
        number = np.mod(asked, count)
    else:
        inside = (asked >= 0) & (asked < count)
        segment, asked = segment[inside], asked[inside]
        number = asked
    targets = np.asarray(start + step * asked, dtype=np.float64)
    source = _roots(contour_at, shape, theta[segment], theta[segment + 1], targets)
    lift = lift_of(contour_at(source), shape)
    highest, lowest = np.full(count, -np.inf), np.full(count, np.inf)
    np.maximum.at(highest, number, lift)
    np.minimum.at(lowest, number, lift)
    covered = np.isfinite(highest)
    if periodic and not covered.all():
        at = start + step * int(np.argmin(covered))
        raise CannotEvaluate(
            Reason.IMPOSSIBLE_CONTOUR, Phrase("no contact of the new follower at {at} cam deg", at=f"{at:.1f}")
        )
    touching = np.full(count, np.nan)
    held = lift == highest[number]
    touching[number[held]] = source[held]
    if not covered.all():
        own = lift_of(along, shape)
        early = np.arange(count) < 0.5 * count
        highest = np.where(covered, highest, np.where(early, own[0], own[-1]))
        touching = np.where(covered, touching, np.where(early, theta[0], theta[-1]))
    gap = np.where(covered, highest - np.where(covered, lowest, 0.0), 0.0)
    return Followed(read_only(highest), read_only(touching), covered, _bridge(along, met, float(gap.max())))


def _brackets(place: FloatArray) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Every (segment, whole number) such that the whole number lies in that segment of the sampled map."""
    low, high = np.minimum(place[:-1], place[1:]), np.maximum(place[:-1], place[1:])
    first = np.ceil(low).astype(np.int64)
    # a whole number on a sample belongs to the segment that begins there
    size = np.maximum(np.ceil(high).astype(np.int64) - first, 0)
    segment = np.repeat(np.arange(size.size), size)
    within = np.arange(segment.size) - np.repeat(np.cumsum(size) - size, size)
    asked = first[segment] + within
    if place.size and place[-1] == np.floor(place[-1]):
        segment, asked = np.append(segment, size.size - 1), np.append(asked, np.int64(place[-1]))
    return segment, asked


def _roots(contour_at: ContourAt, shape: Shape, left: FloatArray, right: FloatArray, target: FloatArray) -> FloatArray:
    """Source angles in [left, right] that the follower meets at the targets: false position and halving in turn."""
    low, high = left.copy(), right.copy()
    below, above = (angle_of(contour_at(end), shape) - target for end in (low, high))
    falling = below > above
    below, above = np.where(falling, -below, below), np.where(falling, -above, above)
    best, miss = np.where(np.abs(below) <= np.abs(above), low, high), np.minimum(np.abs(below), np.abs(above))
    for number in range(_ROUNDS):
        if miss.size == 0 or float(miss.max()) <= _SETTLED_CAM_DEG:
            break
        with np.errstate(divide="ignore", invalid="ignore"):
            share = np.where(above > below, -below / (above - below), 0.5)
        share = np.clip(share, 1e-3, 1.0 - 1e-3) if number % 3 < 2 else np.full_like(share, 0.5)
        middle = low + share * (high - low)
        value = angle_of(contour_at(middle), shape) - target
        value = np.where(falling, -value, value)
        closer = np.abs(value) < miss
        best, miss = np.where(closer, middle, best), np.where(closer, np.abs(value), miss)
        up = value <= 0.0
        low, below = np.where(up, middle, low), np.where(up, value, below)
        high, above = np.where(up, high, middle), np.where(up, above, value)
    return np.asarray(best)


def _bridge(along: Contour, met: FloatArray, depth_mm: float) -> Bridge | None:
    """Where the map turns back most, that is where the follower stands off; None where it never does."""
    if depth_mm <= 0.0:
        return None
    back = np.diff(met)
    k = int(np.argmin(back))
    return Bridge(depth_mm, float(along.angle_cam_deg[k]), float(along.radius_mm[k]))
