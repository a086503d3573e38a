"""The fitted profile: the one truth that every table, plot and certificate reads.

Source: penalised splines as in `valvelab.lobe.smoothing`.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from valvelab.arrays import FloatArray, median, read_only, rectangular_sd
from valvelab.frozen import frozen
from valvelab.kept import Kept
from valvelab.lobe.base_circle import BaseCircle, find_base_circle, harmonic_row, without_harmonic
from valvelab.lobe.conditioning import Conditioned
from valvelab.lobe.contradiction import refuse_contradictions
from valvelab.lobe.division import SharedRounding, shared_rounding
from valvelab.lobe.presence import refuse_cut_off, refuse_noise
from valvelab.lobe.smoothing import CALCULATED_NOISE_MM, CirculantCovariance, Smoothed, fit_uniform
from valvelab.lobe.spline import SplineSet

_FILLING_ROUNDS = 12
# A filling that moves by no more than this share of the lift stands.
_FILLED = 1e-12
# A uniform turn may lack this share of its cells, and so many side by side; with more it is fitted as an uneven one.
_MOST_EMPTY = 0.02
_LONGEST_HOLE = 3
_SMOOTHED: Kept[tuple[Smoothed, FloatArray]] = Kept(6)
# Of the finest harmonic passed by half; chosen by trial on the published laws (tests/benchmarks/bench_estimators.py).
_GUIDE_SHARE = 0.7


@frozen
class Profile:
    """One lobe's lift over cam angle with three derivatives.

    `period` is 360 for a full turn, None for an event-only sweep, whose lift is 0 outside start…stop.
    """

    name: str
    splines: SplineSet
    row: int

    @property
    def period(self) -> float | None:
        """360 cam deg, or None where the table covers only the event."""
        return 360.0 if self.splines.periodic else None

    @property
    def start_cam_deg(self) -> float:
        """First angle of the fit."""
        return self.splines.start

    @property
    def stop_cam_deg(self) -> float:
        """Last angle of the fit."""
        return self.splines.start + self.splines.span

    def value(self, angle_cam_deg: ArrayLike, derivative: int = 0) -> FloatArray:
        """Lift in mm, or its first to third derivative per cam deg, at any angles; same shape out."""
        return self.splines.evaluate(self.row, angle_cam_deg, derivative)


@frozen(slots=False)
class FittedLobes:
    """Lobes fitted in one pass: splines with the base circle's harmonic taken out, and all that describes the fit.

    noise_mm: (lobes,) standard deviation of one fitted reading (a mean over turns where turns were folded).
    reading_noise_mm: (lobes,) of one reading as taken. bases: None where a lobe shows no arc.
    """

    conditioned: Conditioned
    smoothed: Smoothed
    splines: SplineSet
    bases: tuple[BaseCircle | None, ...]
    noise_mm: FloatArray
    reading_noise_mm: FloatArray
    eccentricity_taken_out: bool
    zero_taken_out: bool = True
    shared_rounding: SharedRounding | None = None

    @property
    def own_zero(self) -> NDArray[np.bool_]:
        """Which lobes keep the table's own zero, (lobes,). No unit."""
        return np.array([base is None or not self.zero_taken_out for base in self.bases])

    @property
    def names(self) -> tuple[str, ...]:
        """Lobe names, in row order."""
        return self.conditioned.names

    def profile(self, row: int) -> Profile:
        """One lobe's profile."""
        return Profile(self.names[row], self.splines, row)

    def left_out(self, row: int) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Readings of a lobe left out of its fit: angle in cam deg, lift as read and as fitted in mm, each (n,)."""
        out = ~self.conditioned.kept[row]
        angle = self.conditioned.angle_cam_deg[out]
        fitted = self.smoothed.splines.evaluate(row, angle) if angle.size else angle
        return angle, self.conditioned.lifts_mm[row, out], fitted

    @cached_property
    def at_knots(self) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Lift, velocity, acceleration and jerk at the knots, each (lobes, knots). By mm and cam deg."""
        count = self.splines.intervals + (0 if self.splines.periodic else 1)
        first, second, third, fourth = (self.splines.at_knots(order)[:, :count] for order in range(4))
        return first, second, third, fourth

    @cached_property
    def guide(self) -> SplineSet | None:
        """The splines without the finest detail that the fit passes, to find extremes by; None without noise."""
        if float(median(self.noise_mm)) < CALCULATED_NOISE_MM:
            return None
        return self.splines.blurred(_GUIDE_SHARE * self.smoothed.half_harmonic)

    @cached_property
    def _guide_curves(self) -> dict[int, FloatArray]:
        return {}

    def guide_at_knots(self, order: int) -> FloatArray:
        """A derivative of the guide at the knots, (lobes, knots), computed once; only where there is a guide.

        By mm and cam deg.
        """
        guide = self.guide
        assert guide is not None
        if order not in self._guide_curves:
            self._guide_curves[order] = guide.at_knots(order)[:, : self.at_knots[0].shape[1]]
        return self._guide_curves[order]

    def rounding_covariance(self, row: int, weights: FloatArray) -> FloatArray:
        """What rounding errors shared by readings add to the covariance of functionals, (k, k) in mm².

        weights: (k, padded), on the coefficients of the fit without jerk steps.
        """
        if self.shared_rounding is None:
            return np.zeros((weights.shape[0], weights.shape[0]))
        on_readings = self.smoothed.covariance.on_readings(weights)
        grid, kept = self.conditioned.grid, self.conditioned.kept[row]
        if grid is not None and isinstance(self.smoothed.covariance, CirculantCovariance):
            count = np.bincount(grid[kept], minlength=self.conditioned.cells)
            on_readings = np.where(kept, on_readings[:, grid] / np.maximum(count, 1)[grid], 0.0)
        return self.shared_rounding.covariance(row, on_readings)

    def base_weights(self, row: int) -> FloatArray:
        """Shape (3, padded): the harmonic that was subtracted, as a function of the coefficients; zeros if none.

        Plain numbers.
        """
        base = self.bases[row]
        if base is None or not self.zero_taken_out:
            return np.zeros((3, self.splines.padded.shape[1]))
        if self.eccentricity_taken_out:
            return base.weights
        weights = np.array(base.weights)
        weights[1:] = 0.0
        return weights


def fit_lobes(conditioned: Conditioned, *, take_out_eccentricity: bool = True, keep_zero: bool = False) -> FittedLobes:
    """Fit all lobes of one group. The base circle's zero and its eccentricity are taken out, or left in, by choice.

    keep_zero: keep the table's own zero, and the eccentricity with it.

    Raises CannotEvaluate where too few readings are left, or they hold no lobe or turns that contradict each other.
    """
    refuse_contradictions(conditioned)
    smoothed, reading_noise = _SMOOTHED.of(conditioned, lambda: _smooth(conditioned))
    at_knots = smoothed.splines.at_knots()
    # slow noise that may hide in the form is no reason to doubt that there is a lobe, its end or a circle
    refuse_noise(conditioned.names, np.ptp(at_knots, axis=1), smoothed.likeliest_noise_mm)
    bases: tuple[BaseCircle | None, ...] = (None,) * len(conditioned.names)
    splines = smoothed.splines
    if conditioned.periodic:
        harmonic = harmonic_row(smoothed.splines.knots()[:-1])
        bases = tuple(
            find_base_circle(smoothed.splines, harmonic, row, float(resting) * smoothed.seen_deviation, float(noise))
            for row, resting, noise in zip(at_knots[:, :-1], smoothed.resting_noise_mm, smoothed.noise_mm, strict=True)
        )
        if not keep_zero:
            splines = without_harmonic(splines, bases, eccentricity=take_out_eccentricity)
    else:
        refuse_cut_off(conditioned.names, at_knots, smoothed.noise_mm * smoothed.seen_deviation, splines.step)
    taken_out = take_out_eccentricity and not keep_zero
    shared = shared_rounding(
        conditioned.lifts_mm, conditioned.division_mm, reading_noise, periodic=conditioned.periodic
    )
    return FittedLobes(
        conditioned,
        smoothed,
        splines,
        bases,
        smoothed.noise_mm,
        read_only(reading_noise),
        taken_out,
        not keep_zero,
        shared,
    )


def _smooth(conditioned: Conditioned) -> tuple[Smoothed, FloatArray]:
    """The fit of all readings of a group, and the standard deviation of one reading of each lobe, (lobes,)."""
    least = rectangular_sd(conditioned.division_mm)
    if conditioned.grid is not None:
        means, counts = _cell_means(conditioned)
        if _few_are_empty(counts):
            smoothed = _fit_cells(means, counts, conditioned.grid_start, least)
            repeats = conditioned.kept.sum() / max(1, int((counts > 0).sum()))
            reading_noise = smoothed.noise_mm * np.sqrt(repeats)
            if repeats >= 1.9:
                reading_noise = np.maximum(reading_noise, _scatter_in_cells(conditioned, means, counts))
            return smoothed, reading_noise
    from valvelab.lobe.dense_smoothing import fit_general

    smoothed = fit_general(
        conditioned.angle_cam_deg,
        conditioned.lifts_mm,
        conditioned.kept,
        periodic=conditioned.periodic,
        sweep=conditioned.sweep,
        least_noise_mm=least,
    )
    return smoothed, smoothed.noise_mm


def _few_are_empty(counts: FloatArray) -> bool:
    """Whether the empty cells of counts, (lobes, cells), are so few and so far apart that a fit can fill them."""
    empty = counts == 0
    if not empty.any():
        return True
    if empty.sum(axis=1).max() > _MOST_EMPTY * empty.shape[1]:
        return False
    turned = np.concatenate([empty, empty[:, :_LONGEST_HOLE]], axis=1)
    hole = np.lib.stride_tricks.sliding_window_view(turned, _LONGEST_HOLE + 1, axis=1).all(axis=2)
    return not bool(hole.any())


def _cell_means(conditioned: Conditioned) -> tuple[FloatArray, FloatArray]:
    """Mean of the kept readings in each cell of the turn, and how many there are; (lobes, cells)."""
    grid, cells = conditioned.grid, conditioned.cells
    assert grid is not None
    lifts, kept = conditioned.lifts_mm, conditioned.kept
    if grid.size == cells and kept.all():
        means = np.empty((lifts.shape[0], cells))
        means[:, grid] = lifts
        return means, np.ones(means.shape)
    flat = (np.arange(lifts.shape[0])[:, None] * cells + grid).ravel()
    size = lifts.shape[0] * cells
    counts = np.bincount(flat, weights=kept.ravel().astype(np.float64), minlength=size).reshape(-1, cells)
    sums = np.bincount(flat, weights=np.where(kept, lifts, 0.0).ravel(), minlength=size).reshape(-1, cells)
    return sums / np.maximum(counts, 1.0), counts.astype(np.float64)


def _scatter_in_cells(conditioned: Conditioned, means: FloatArray, counts: FloatArray) -> FloatArray:
    """Pooled standard deviation of the readings about their cell's mean, (lobes,)."""
    assert conditioned.grid is not None
    residual = np.where(conditioned.kept, conditioned.lifts_mm - means[:, conditioned.grid], 0.0)
    degrees = np.maximum(counts - 1.0, 0.0).sum(axis=1)
    return np.asarray(np.sqrt((residual**2).sum(axis=1) / np.maximum(degrees, 1.0)))


def _fit_cells(means: FloatArray, counts: FloatArray, start: float, least_noise_mm: float) -> Smoothed:
    """Uniform fit with empty cells filled from the fit itself, which leaves them without a say.

    A fit is linear in its readings while strength and steps stay, so the filling that it passes through is solved for;
    more rounds are needed only where those change with it.
    """
    empty: NDArray[np.bool_] = counts == 0
    if not empty.any():
        return fit_uniform(means, start, least_noise_mm)
    filled = np.array(means)
    cells = np.arange(means.shape[1])
    for row in np.flatnonzero(empty.any(axis=1)):
        full = ~empty[row]
        for cell in np.flatnonzero(empty[row]):
            offset = np.mod(cells - cell + cells.size // 2, cells.size) - cells.size // 2
            near = np.flatnonzero(full & (np.abs(offset) <= 8))
            near = near[np.argsort(np.abs(offset[near]), kind="stable")[:6]]
            filled[row, cell] = np.polynomial.Polynomial.fit(offset[near], means[row, near], 5)(0.0)
    smoothed = fit_uniform(filled, start, least_noise_mm)
    for _ in range(_FILLING_ROUNDS):
        moved = 0.0
        for lobe in map(int, np.flatnonzero(empty.any(axis=1))):
            holes = np.flatnonzero(empty[lobe])
            answer = smoothed.answer_at(lobe, holes)
            step = np.linalg.solve(
                np.eye(holes.size) - answer, smoothed.splines.at_knots()[lobe, holes] - filled[lobe, holes]
            )
            filled[lobe, holes] += step
            moved = max(moved, float(np.abs(step).max()))
        if moved <= _FILLED * float(np.ptp(filled)):
            break
        smoothed = fit_uniform(filled, start, least_noise_mm)
    return smoothed
