"""Form of a journal from a probe turned around it: eccentricity, runout, harmonics, roundness.

Readings grow outward. Without a stated journal radius the reading is taken as linear in the eccentricity
(r ≈ a + b cos θ + c sin θ); with it the circles are exact. Sources: ISO 12181-1 (reference circles), ISO 1101 (runout).
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from valvelab.angles import fold, fold_scalar
from valvelab.arrays import FloatArray, finite, read_only
from valvelab.camshaft.enclosing_circle import enclosing_circle
from valvelab.camshaft.zone import Zone, minimum_zone
from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.phrase import Phrase

Circle = Literal["least squares", "minimum zone", "inscribed", "circumscribed"]

IntArray = NDArray[np.intp]

SAME_ANGLE_DEG = 0.001
MOST_HARMONICS = 50
LARGEST_GAP_DEG = 130.0
"""A journal with a wider stretch unread is refused: a little over the third of a turn three readings leave."""
FEWEST_FOR_ROUNDNESS = 7
_BLOCK = 20_000


@frozen
class JournalTrace:
    """Readings around one journal, in reading order; angle_deg, reading_mm: shape (n,), read-only, any turns."""

    name: str
    position_mm: float | None
    angle_deg: FloatArray
    reading_mm: FloatArray


@frozen
class Coverage:
    """What of a turn was read: distinct angles, largest gap between neighbours and where it begins, turns read."""

    distinct: int
    largest_gap_deg: float
    gap_from_deg: float
    usual_gap_deg: float
    turns: float

    @property
    def has_gap(self) -> bool:
        """Whether a stretch is missing, beyond the usual spacing."""
        return self.largest_gap_deg > _longest_step(self.usual_gap_deg)


@frozen
class ReferenceCircle:
    """A circle through a trace: its centre as a vector, its mean reading, and the form about it.

    `centre_mm` (toward 0 deg, toward 90 deg); `level_mm` the circle's reading; `form_mm` what is left, in reading
    order; `roundness_mm` its peak to valley; `weights` the sensitivity of the roundness to each reading.
    `sliding_mm`: least and greatest roundness while the circle slides along two opposite readings that alone hold it;
    None where it stands fast.
    """

    kind: Circle
    centre_mm: tuple[float, float]
    level_mm: float
    form_mm: FloatArray
    roundness_mm: float
    weights: FloatArray
    sliding_mm: tuple[float, float] | None = None

    @property
    def freedom_mm(self) -> float:
        """How much the roundness changes while the circle slides."""
        return 0.0 if self.sliding_mm is None else self.sliding_mm[1] - self.sliding_mm[0]

    @property
    def eccentricity_mm(self) -> float:
        """Distance of the centre from the axis of turning."""
        return float(np.hypot(*self.centre_mm))

    @property
    def angle_deg(self) -> float:
        """Direction of the centre, in [0, 360)."""
        return fold_scalar(float(np.degrees(np.arctan2(self.centre_mm[1], self.centre_mm[0]))))


@frozen
class Harmonic:
    """One order of a trace: amplitude × cos(order × (θ − angle)); the angle is where it is highest first."""

    order: int
    amplitude_mm: float
    angle_deg: float


@frozen
class Harmonics:
    """Orders from 1 up as far as the angles allow, and the noise left (mm), None where nothing tells it."""

    orders: tuple[Harmonic, ...]
    noise_mm: float | None
    noise_from: Literal["repeated turns", "residuals", "nothing"]


def _longest_step(usual_gap_deg: float) -> float:
    """A wider stretch between neighbours than this is a gap: three usual steps, and 15 deg at least."""
    return max(3.0 * usual_gap_deg, 15.0)


def coverage(angle_deg: FloatArray) -> Coverage:
    """How much of a turn the angles cover. angle_deg: shape (n,), any order, any turns."""
    angles = finite(angle_deg, "angle", ndim=1)
    distinct = _distinct(angles)
    gaps = np.diff(np.append(distinct, distinct[0] + 360.0))
    widest = int(np.argmax(gaps))
    return Coverage(
        distinct=distinct.size,
        largest_gap_deg=float(gaps[widest]),
        gap_from_deg=float(distinct[widest]),
        usual_gap_deg=float(np.median(gaps)),
        turns=float(np.ptp(angles)) / 360.0,
    )


def _distinct(angles: FloatArray) -> FloatArray:
    """Folded angles in order, those closer than `SAME_ANGLE_DEG` as one."""
    folded = np.sort(fold(angles))
    keep = np.concatenate([[True], np.diff(folded) > SAME_ANGLE_DEG])
    distinct = folded[keep]
    if distinct.size > 1 and distinct[0] + 360.0 - distinct[-1] <= SAME_ANGLE_DEG:
        return np.asarray(distinct[:-1])
    return np.asarray(distinct)


def require_turn(trace: JournalTrace) -> Coverage:
    """Coverage of a trace that can be evaluated; refuses one that leaves too much of the turn unread.

    Raises CannotEvaluate(TOO_FEW_READINGS).
    """
    seen = coverage(trace.angle_deg)
    if seen.distinct < 3 or seen.largest_gap_deg > LARGEST_GAP_DEG:
        raise CannotEvaluate(
            Reason.TOO_FEW_READINGS,
            Phrase(
                "{name}: read over {largest_gap} deg of the turn only; expected no gap over {most} deg",
                name=trace.name,
                largest_gap=f"{360.0 - seen.largest_gap_deg:.0f}",
                most=f"{LARGEST_GAP_DEG:.0f}",
            ),
        )
    return seen


def arc_weights(angle_deg: FloatArray) -> FloatArray:
    """Share of the turn each reading stands for, so that crowded angles don't count twice; shape (n,), mean 1.

    Readings at one angle share its arc; a gap adds no more weight to its edges than the longest step does.
    """
    folded = fold(angle_deg)
    distinct = _distinct(folded)
    if distinct.size < 3:
        return np.ones(folded.size)
    gaps = np.diff(np.append(distinct, distinct[0] + 360.0))
    gaps = np.minimum(gaps, _longest_step(float(np.median(gaps))))
    arcs = 0.5 * (gaps + np.roll(gaps, 1))
    nearest = np.searchsorted(distinct, folded + SAME_ANGLE_DEG, side="right") - 1
    nearest = np.where(nearest < 0, distinct.size - 1, nearest)
    shares = np.asarray(arcs[nearest] / np.bincount(nearest, minlength=distinct.size)[nearest])
    return np.asarray(shares * (shares.size / shares.sum()))


def _first_harmonic(angle_rad: FloatArray) -> FloatArray:
    return np.column_stack([np.ones(angle_rad.size), np.cos(angle_rad), np.sin(angle_rad)])


def _least_squares(angle_rad: FloatArray, radial: FloatArray, arcs: FloatArray) -> FloatArray:
    root = np.sqrt(arcs)
    fitted = np.linalg.lstsq(_first_harmonic(angle_rad) * root[:, None], radial * root, rcond=None)[0]
    return np.asarray(fitted, dtype=np.float64)


def _step(
    angle_rad: FloatArray, radial: FloatArray, kind: Circle, arcs: FloatArray
) -> tuple[FloatArray, FloatArray, tuple[float, float] | None]:
    """One linear fit: (mean, toward 0 and 90 deg), how the roundness changes with each reading, and the sliding."""
    design = _first_harmonic(angle_rad)
    if kind == "least squares":
        fitted = _least_squares(angle_rad, radial, arcs)
        left = radial - design @ fitted
        # How each reading moves the fit, and with it the highest and lowest point of what is left.
        root = np.sqrt(arcs)
        gain = np.linalg.pinv(design * root[:, None]) * root
        high, low = int(np.argmax(left)), int(np.argmin(left))
        weights = -(design[high] - design[low]) @ gain
        weights[high] += 1.0
        weights[low] -= 1.0
        return fitted, weights, None
    if kind == "minimum zone":
        zone = minimum_zone(design, radial)
        return zone.coefficients, zone.weights, None
    inside = kind == "inscribed"
    zone = minimum_zone(design, radial, "inside" if inside else "outside")
    fitted, sliding = _settled(design, radial, zone, inside=inside)
    # Touching points hold the circle; the farthest point from it makes the roundness.
    left = radial - design @ fitted
    weights = -zone.weights if inside else zone.weights.copy()
    weights[int(np.argmax(left) if inside else np.argmin(left))] += 1.0 if inside else -1.0
    return fitted, weights, sliding


def _settled(
    design: FloatArray, radial: FloatArray, zone: Zone, *, inside: bool
) -> tuple[FloatArray, tuple[float, float] | None]:
    """The circle, and the roundness at least and at most where two opposite readings alone hold it, else None.

    Such a circle can slide between them. About a journal of some radius R the slide t changes the distance of both by
    t²/2R, so the largest inscribed circle lies at the far end of the slide and the smallest circumscribed one on the
    line of the two: that place is taken, which no datum and no order of the readings moves. Plane geometry.
    """
    touching = np.flatnonzero(np.abs(zone.weights) > 1e-7)
    fitted = zone.coefficients
    if touching.size != 2:
        return fitted, None
    across = np.asarray([-design[touching[0], 2], design[touching[0], 1]])
    share = design[:, 1:] @ across
    left = radial - design @ fitted
    if not inside:
        left, share = -left, -share
    # the slide t keeps left ≥ t × share
    free = np.abs(share) > 1e-9
    with np.errstate(divide="ignore"):
        reach = np.maximum(left, 0.0)[free] / share[free]
    highest = float(reach[share[free] > 0.0].min(initial=np.inf))
    lowest = float(reach[share[free] < 0.0].max(initial=-np.inf))
    here = float(fitted[1:] @ across)
    if inside:
        slide = highest if abs(here + highest) >= abs(here + lowest) else lowest
    else:
        slide = float(np.clip(-here, lowest, highest))
    moved = np.asarray([fitted[0], *(fitted[1:] + slide * across)])
    return moved, _roundness_between(left, share, lowest, highest)


def _roundness_between(left: FloatArray, share: FloatArray, lowest: float, highest: float) -> tuple[float, float]:
    """Least and greatest of max(left − t × share) for t from lowest to highest; convex in t, so greatest at an end."""

    def roundness(t: float) -> float:
        return float((left - t * share).max())

    low, high = lowest, highest
    for _ in range(80):
        first, second = low + (high - low) / 3.0, high - (high - low) / 3.0
        if roundness(first) <= roundness(second):
            high = second
        else:
            low = first
    return roundness(0.5 * (low + high)), max(roundness(lowest), roundness(highest))


def reference_circle(
    angle_deg: FloatArray, reading_mm: FloatArray, kind: Circle, radius_mm: float | None = None
) -> ReferenceCircle:
    """Circle of one kind through a trace.

    angle_deg, reading_mm: shape (n,). `least squares`: least sum of squared radial distances, each weighted by the arc
    it stands for. `minimum zone`: two concentric circles of least separation, exact. `inscribed`: the largest that no
    reading lies inside; `circumscribed`: the smallest that none lies outside. With `radius_mm` the points are placed
    in the plane and the fit is repeated about its own centre until it stays there. `sliding_mm` is that of readings
    about an unknown radius in either case: with the radius the circle is fixed by differences far below any reading's
    noise, and by angles taken as exact. Source: ISO 12181-1. Raises CannotEvaluate(OUT_OF_RANGE) for a radius below the
    readings.
    """
    angle, reading = np.radians(finite(angle_deg, "angle", ndim=1)), finite(reading_mm, "reading", ndim=1)
    arcs = arc_weights(angle_deg)
    fitted, weights, sliding = _step(angle, reading, kind, arcs)
    if radius_mm is None:
        form = reading - _first_harmonic(angle) @ fitted
        centre, level = (float(fitted[1]), float(fitted[2])), float(fitted[0])
    else:
        if not radius_mm > -float(reading.min()):
            raise CannotEvaluate(
                Reason.OUT_OF_RANGE,
                Phrase("journal radius: found {radius} mm, below the readings", radius=f"{radius_mm:g}"),
            )
        x, y = (radius_mm + reading) * np.cos(angle), (radius_mm + reading) * np.sin(angle)
        centre, radius, form, weights = circle_through(x, y, kind, arcs)
        level = radius - radius_mm
    return ReferenceCircle(kind, centre, level, read_only(form), float(np.ptp(form)), read_only(weights), sliding)


def circle_through(
    x_mm: FloatArray, y_mm: FloatArray, kind: Circle, arcs: FloatArray | None = None
) -> tuple[tuple[float, float], float, FloatArray, FloatArray]:
    """Centre, radius, radial distances from it, and their weights, of a circle through points in the plane.

    The circumscribed circle is found from its contacts, for any points. For the others each round fits about the
    present centre, where the fit is linear, and moves there; distances then converge quadratically. Refuses points
    that don't settle (on a line, or all on one side). Source: ISO 12181-1.
    """
    x, y = finite(x_mm, "x", ndim=1), finite(y_mm, "y", ndim=1)
    if kind == "circumscribed":
        return _circumscribed(x, y)
    shares = np.ones(x.size) if arcs is None else arcs
    centre = np.asarray([np.average(x, weights=shares), np.average(y, weights=shares)])
    size = float(np.hypot(np.ptp(x), np.ptp(y)))
    for _ in range(200):
        dx, dy = x - centre[0], y - centre[1]
        radial = np.hypot(dx, dy)
        fitted, weights, _ = _step(np.arctan2(dy, dx), radial, kind, shares)
        move = fitted[1:]
        length = float(np.hypot(*move))
        centre = centre + move * min(1.0, 0.25 * size / max(length, 1e-300))
        if length <= 1e-13 * size:
            break
    else:
        raise CannotEvaluate(
            Reason.NOT_FEASIBLE, Phrase("{kind} circle: the points do not surround a centre", kind=kind)
        )
    radial = np.hypot(x - centre[0], y - centre[1])
    radius = {
        "least squares": float(np.average(radial, weights=shares)),
        "minimum zone": 0.5 * float(radial.max() + radial.min()),
        "inscribed": float(radial.min()),
    }[kind]
    return (float(centre[0]), float(centre[1])), radius, radial - radius, weights


def _circumscribed(x: FloatArray, y: FloatArray) -> tuple[tuple[float, float], float, FloatArray, FloatArray]:
    points = np.column_stack([x, y])
    middle = points.mean(axis=0)
    centre, radius, weights = enclosing_circle(points - middle)
    form = np.hypot(*(points - middle - centre).T) - radius
    weights[int(np.argmin(form))] -= 1.0
    return (float(centre[0] + middle[0]), float(centre[1] + middle[1])), radius, form, weights


def highest_order(seen: Coverage) -> int:
    """Highest order the angles can tell from lower ones."""
    return max(1, min(MOST_HARMONICS, (seen.distinct - 1) // 2, int(np.ceil(180.0 / seen.largest_gap_deg - 1e-9)) - 1))


def harmonics(angle_deg: FloatArray, reading_mm: FloatArray) -> Harmonics:
    """Amplitude and direction of each order, by one least-squares fit of all orders to all readings.

    Noise: pooled over readings at one angle where turns were repeated, else from what the fit leaves, where at least
    ten readings more than unknowns remain. Angles, deg, and readings, mm: shape (n,).
    """
    angle, reading = finite(angle_deg, "angle", ndim=1), finite(reading_mm, "reading", ndim=1)
    top = highest_order(coverage(angle))
    orders = np.arange(1, top + 1)
    fitted, left_squares = _fit_orders(np.radians(angle), reading, orders)
    rows = []
    for order, cosine, sine in zip(orders, fitted[1 : top + 1], fitted[top + 1 :], strict=True):
        direction = fold_scalar(float(np.degrees(np.arctan2(sine, cosine))) / float(order), 360.0 / float(order))
        rows.append(Harmonic(int(order), float(np.hypot(cosine, sine)), direction))
    repeated = _repeatability(angle, reading)
    if repeated is not None:
        return Harmonics(tuple(rows), repeated, "repeated turns")
    spare = angle.size - fitted.size
    if spare >= 10:
        return Harmonics(tuple(rows), float(np.sqrt(left_squares / spare)), "residuals")
    return Harmonics(tuple(rows), None, "nothing")


def _fit_orders(angle_rad: FloatArray, reading: FloatArray, orders: IntArray) -> tuple[FloatArray, float]:
    """Least-squares coefficients (mean, cosines, sines) and the sum of squares left; in blocks, to spare memory."""

    def blocks() -> Iterator[tuple[FloatArray, FloatArray]]:
        for start in range(0, angle_rad.size, _BLOCK):
            turned = np.exp(1j * angle_rad[start : start + _BLOCK])
            powers = np.cumprod(np.broadcast_to(turned[:, None], (turned.size, orders.size)), axis=1)
            design = np.hstack([np.ones((turned.size, 1)), powers.real, powers.imag])
            yield design, reading[start : start + _BLOCK]

    size = 2 * orders.size + 1
    normal, right = np.zeros((size, size)), np.zeros(size)
    for design, values in blocks():
        normal += design.T @ design
        right += design.T @ values
    fitted = np.linalg.lstsq(normal, right, rcond=None)[0]
    # One more round on what is left takes out the rounding of the first.
    right[:] = 0.0
    squares = 0.0
    for design, values in blocks():
        left = values - design @ fitted
        right += design.T @ left
        squares += float(left @ left)
    correction = np.linalg.lstsq(normal, right, rcond=None)[0]
    return fitted + correction, max(0.0, squares - float(correction @ right))


def _repeatability(angle: FloatArray, reading: FloatArray) -> float | None:
    """Pooled standard deviation of readings at equal angles; None with fewer than five degrees of freedom."""
    distinct = _distinct(angle)
    group = (np.searchsorted(distinct, fold(angle) + SAME_ANGLE_DEG, side="right") - 1) % distinct.size
    counts = np.bincount(group, minlength=distinct.size)
    freedom = int((counts - 1).clip(0).sum())
    if freedom < 5:
        return None
    means = np.bincount(group, weights=reading, minlength=distinct.size) / np.maximum(counts, 1)
    return float(np.sqrt(np.square(reading - means[group]).sum() / freedom))


def standing_out(angle_deg: FloatArray, reading_mm: FloatArray) -> tuple[int, ...]:
    """Indices of readings that stand far off both neighbours on either side (8 × scaled median deviation).

    For a remark only: nothing is left out of a trace. Empty under 15 readings, where form can't be told from a slip.
    Angles and readings: shape (n,).
    """
    if angle_deg.size < 15:
        return ()
    order = np.argsort(fold(angle_deg), kind="stable")
    ring = reading_mm[order]
    around = np.stack([np.roll(ring, k) for k in (-2, -1, 1, 2)])
    off = ring - np.median(around, axis=0)
    spread = 1.4826 * float(np.median(np.abs(off)))
    least = max(8.0 * spread, 1e-9 * float(np.abs(reading_mm).max()), 1e-9)
    size = np.abs(off)
    # a slip also shows in the medians of its neighbours: only the largest within reach counts
    largest = np.max([np.roll(size, k) for k in (-2, -1, 1, 2)], axis=0)
    return tuple(sorted(int(order[k]) for k in np.flatnonzero((size > least) & (size >= largest))))
