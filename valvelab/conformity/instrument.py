"""What an instrument's calibration says of its readings: the correction at any indication, and how well it is known.

Corrected reading = reading + correction. Sources: JCGM 100:2008 (5.2: sources shared by several readings; F.2.4.5: a
correction that is not applied; 4.3.7: limits alone known); JCGM 200:2012, 2.53 (correction). How far the error leaves
the straight line between two points, and what is said outside them, are our own; no source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike

from valvelab.arrays import BoolArray, FloatArray, finite, read_only, rectangular_sd
from valvelab.conformity.repeats import mean_uncertainty
from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.phrase import Phrase

LARGEST_ERROR = 0.05
"""An error beyond this share of the calibrated range is no error of indication (ours; no source)."""
END_SLACK = 0.002
"""A reading this share of the calibrated range, or a division, beyond an end counts as at the end (ours; no source)."""
_FEWEST_SPARE = 3
_SQRT_3 = math.sqrt(3.0)


class Calibration(Protocol):
    """What a card says of an instrument's readings."""

    @property
    def division(self) -> float | None:
        """The instrument's division in mm or N; None where not stated."""

    def correction(self, readings: ArrayLike) -> FloatArray:
        """What is added to readings, mm or N, of any shape (…,); NaN where nothing is known."""

    def calibration_uncertainty(self, readings: ArrayLike) -> FloatArray:
        """Standard uncertainty of corrected readings from the calibration alone; shape (…,), mm or N."""

    def uncertainty_of_difference(self, a: ArrayLike, b: ArrayLike) -> FloatArray:
        """Standard uncertainty that calibration leaves in a − b, both corrected; shapes that broadcast, mm or N."""


@frozen
class StatedUncertainty:
    """An instrument of one stated standard uncertainty, mm or N, and no curve: nothing is corrected."""

    uncertainty: float
    division: float | None = None

    def correction(self, readings: ArrayLike) -> FloatArray:
        """Zero for readings of any shape (…,), mm or N: no error is known."""
        return np.zeros_like(np.asarray(readings, dtype=np.float64))

    def calibration_uncertainty(self, readings: ArrayLike) -> FloatArray:
        """The stated uncertainty at every reading, shape (…,), mm or N."""
        return np.full_like(np.asarray(readings, dtype=np.float64), self.uncertainty)

    def uncertainty_of_difference(self, a: ArrayLike, b: ArrayLike) -> FloatArray:
        """The stated uncertainty once, mm or N, shapes that broadcast: how much two readings share is not known."""
        return self.calibration_uncertainty(np.subtract(a, b))


@frozen
class CalibrationPoint:
    """One reference: its true value, the readings on it, the standard uncertainty that is this reference's own."""

    true: float
    readings: tuple[float, ...]
    uncertainty: float = 0.0


@frozen
class ErrorCurve:
    """Errors of indication at calibrated readings, in one unit (mm or N).

    indication, error, own: (n,), ascending mean readings, their errors, and each point's own standard uncertainty.
    shared: (m, n), what each of m sources common to all points adds at each. between: (n − 1,), how far the error walks
    from a point to the next. division: the instrument's; None where not stated.
    """

    indication: FloatArray
    error: FloatArray
    own: FloatArray
    shared: FloatArray
    between: FloatArray
    division: float | None = None

    def correction(self, readings: ArrayLike) -> FloatArray:
        """Minus the error, straight between calibrated readings; NaN outside them: nothing is extrapolated.

        readings: any shape (…,), mm or N.
        """
        x = np.asarray(readings, dtype=np.float64)
        return np.where(self._beyond(x) > 0.0, np.nan, -np.interp(x, self.indication, self.error))

    def calibration_uncertainty(self, readings: ArrayLike) -> FloatArray:
        """Standard uncertainty of corrected readings: references, scatter at the points, the course between them.

        readings: any shape (…,), mm or N. Outside the calibrated range a reading stays uncorrected: its error may reach
        the largest seen, and further by the steepest slope seen, the farther out it lies.
        """
        return np.asarray(np.linalg.norm(self._sources(readings), axis=-1))

    def standard_uncertainty(self, readings: ArrayLike) -> FloatArray:
        """The same with the rounding of the reading itself, division/√12; its own scatter is the caller's to add.

        readings: any shape (…,), mm or N.
        """
        return np.hypot(self.calibration_uncertainty(readings), rectangular_sd(self.division or 0.0))

    def uncertainty_of_difference(self, a: ArrayLike, b: ArrayLike) -> FloatArray:
        """Standard uncertainty that calibration leaves in a − b: what both readings share cancels.

        a, b: shapes that broadcast, mm or N. Scatter and rounding of the readings are not in it.
        """
        return np.asarray(np.linalg.norm(self._sources(a) - self._sources(b), axis=-1))

    def _beyond(self, x: FloatArray) -> FloatArray:
        """How far readings lie outside the calibrated range; 0 inside, and as near its ends as they are known."""
        low, high = float(self.indication[0]), float(self.indication[-1])
        distance = np.maximum(np.maximum(low - x, x - high), 0.0)
        return np.where(distance <= max(self.division or 0.0, END_SLACK * (high - low)) + 1e-12, 0.0, distance)

    def _sources(self, readings: ArrayLike) -> FloatArray:
        """What every source of uncertainty adds to readings (…,), shape (…, sources)."""
        x = np.asarray(readings, dtype=np.float64)
        count = self.indication.size
        left = np.clip(np.searchsorted(self.indication, x, side="right") - 1, 0, count - 2)
        share = np.clip((x - self.indication[left]) / np.diff(self.indication)[left], 0.0, 1.0)[..., None]
        weights = (1.0 - share) * np.eye(count)[left] + share * np.eye(count)[left + 1]
        # two sources an interval: the farther apart two readings lie in it, the less of the error's course they share
        course = np.sqrt(share * (1.0 - share)) * np.eye(count - 1)[left] * self.between
        turned = [course * np.cos(np.pi * share), course * np.sin(np.pi * share)]
        inside = np.concatenate([weights * self.own, weights @ self.shared.T, *turned], axis=-1)
        beyond = self._beyond(x)[..., None]
        steepest = float(np.abs(np.diff(self.error) / np.diff(self.indication)).max())
        reach = (float(np.abs(self.error).max()) + steepest * beyond) / _SQRT_3
        away = np.hypot(np.linalg.norm(inside, axis=-1, keepdims=True), reach)
        ends = away * np.stack([x < self.indication[0], x > self.indication[-1]], axis=-1)
        return np.concatenate([np.where(beyond > 0.0, 0.0, inside), np.where(beyond > 0.0, ends, 0.0)], axis=-1)


def error_curve(
    points: Sequence[CalibrationPoint],
    common: float = 0.0,
    relative: float = 0.0,
    division: float | None = None,
    repeatability: float | None = None,
    unit: str = "",
) -> ErrorCurve:
    """The error curve of calibration points in any order; all in one unit, `unit` in the sentences of a refusal.

    common, relative: standard uncertainty that all references share, absolute and as a share of the true value (one
    certificate; local gravity). repeatability: standard deviation of one reading where it is known, else pooled over
    the points. Raises CannotEvaluate for fewer than two points, one reference twice, readings that don't grow with the
    references, an error beyond 5 % of the range.
    """
    rows = sorted(points, key=lambda point: point.true)
    true = np.array([point.true for point in rows])
    mean = np.array([float(finite(point.readings, "readings", 1).mean()) for point in rows])
    _refuse(true, mean, unit)
    known = repeatability if repeatability is not None else pooled_scatter([point.readings for point in rows])
    scatter = np.array([mean_uncertainty(point.readings, division, known) or 0.0 for point in rows])
    error = mean - true
    return ErrorCurve(
        indication=read_only(mean),
        error=read_only(error),
        own=read_only(np.hypot(scatter, [point.uncertainty for point in rows])),
        shared=read_only(np.array([np.full_like(true, common), relative * true])),
        between=read_only(_course(mean, error)),
        division=division,
    )


def _refuse(true: FloatArray, mean: FloatArray, unit: str) -> None:
    def told(value: float) -> str:
        return f"{value:.6g} {unit}".rstrip()

    if true.size < 2:
        raise CannotEvaluate(
            Reason.TOO_FEW_READINGS, Phrase("point: found {size}, expected at least 2", size=true.size)
        )
    if (again := np.flatnonzero(np.diff(true) == 0.0)).size:
        found = Phrase("found the reference {told} twice", told=told(true[again[0]]))
        raise CannotEvaluate(
            Reason.BAD_VALUES, Phrase("point: {found}, expected each once, with all its readings", found=found)
        )
    largest = LARGEST_ERROR * float(np.ptp(true))
    worst = int(np.argmax(np.abs(mean - true)))
    if abs(mean[worst] - true[worst]) > largest:
        found = Phrase("found {told} read at {reference}", told=told(mean[worst]), reference=told(true[worst]))
        expected = Phrase(
            "an error of at most {told} ({largest_error} of the calibrated range)",
            told=told(largest),
            largest_error=f"{LARGEST_ERROR:.0%}",
        )
        raise CannotEvaluate(
            Reason.BAD_VALUES, Phrase("point: {found}, expected {expected}", found=found, expected=expected)
        )
    if (falls := np.flatnonzero(np.diff(mean) <= 0.0)).size:
        at = int(falls[0])
        found = Phrase(
            "found {told} read at {reference} and {next_reading} at {next_reference}",
            told=told(mean[at]),
            reference=told(true[at]),
            next_reading=told(mean[at + 1]),
            next_reference=told(true[at + 1]),
        )
        raise CannotEvaluate(
            Reason.BAD_VALUES, Phrase("point: {found}, expected readings that grow with the reference", found=found)
        )


def pooled_scatter(repeats: Sequence[Sequence[float]]) -> float | None:
    """Standard deviation of one reading over several lists of repeats, ν = Σ (n − 1), times √(ν/(ν − 2)).

    None below three degrees of freedom. Sources: JCGM 100:2008, H.1.3.2 (pooling); JCGM 101:2008, 6.4.9 (the factor).
    """
    spare = sum(len(one) - 1 for one in repeats)
    if spare < _FEWEST_SPARE:
        return None
    squares = sum(float(np.sum((np.asarray(one) - np.mean(one)) ** 2)) for one in repeats)
    return math.sqrt(squares / (spare - 2))


def _course(indication: FloatArray, error: FloatArray) -> FloatArray:
    """How far the error walks from point to point, (n − 1,): off a line it is then this × √(t (1 − t)), 0 ≤ t ≤ 1.

    As a walk at random would: seen in how far points lie off the line of their neighbours, those next to the interval
    or all of them (root mean square), whichever is more; of two points alone, in their difference. A smooth error is
    overstated by it, one that repeats within an interval can't be seen.
    """
    steps = np.diff(indication)
    if error.size == 2:
        return np.abs(np.diff(error))
    before, after = steps[:-1], steps[1:]
    off = error[1:-1] - (error[:-2] * after + error[2:] * before) / (before + after)
    walk = off**2 * (before + after) / (before * after)
    near = np.maximum(np.concatenate([walk[:1], walk]), np.concatenate([walk, walk[-1:]]))
    return np.asarray(np.sqrt(np.maximum(near, walk.mean()) * steps))


@frozen
class Corrected:
    """Readings with what a calibration adds; where it says nothing (`outside`) the reading stays as it is."""

    values: FloatArray
    outside: BoolArray

    @property
    def mean(self) -> float:
        """Mean of the values, in their unit."""
        return float(self.values.mean())


def corrected(calibration: Calibration, readings: ArrayLike) -> Corrected:
    """Readings of any shape, corrected where the calibration reaches."""
    raw = np.asarray(readings, dtype=np.float64)
    correction = calibration.correction(raw)
    outside = np.isnan(correction)
    return Corrected(read_only(np.where(outside, raw, raw + correction)), outside)


@frozen
class CorrectedLift:
    """A lift read by one instrument, in mm: the readings shut and open corrected, and open − shut of their means.

    uncertainty_mm: standard uncertainty of the lift from calibration alone; scatter and rounding come beside it.
    """

    shut: Corrected
    open: Corrected
    lift_mm: float
    uncertainty_mm: float

    @property
    def outside(self) -> bool:
        """Whether a reading lay outside the calibrated range and stayed uncorrected."""
        return bool(self.shut.outside.any() or self.open.outside.any())


def corrected_lift(calibration: Calibration, shut_mm: Sequence[float], open_mm: Sequence[float]) -> CorrectedLift:
    """Lift as the difference of readings open and shut, (k,) and (l,) in mm, at the retainer or anywhere else.

    Without readings shut the instrument was set to 0 there. Refuses a check without readings open.
    """
    zero = finite(shut_mm if len(shut_mm) else (0.0,), "readings shut", 1)
    top = finite(open_mm, "readings open", 1)
    shut, opened = corrected(calibration, zero), corrected(calibration, top)
    u = float(calibration.uncertainty_of_difference(top.mean(), zero.mean()))
    return CorrectedLift(shut, opened, opened.mean - shut.mean, u)
