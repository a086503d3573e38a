"""The smoothing spline on uneven, gappy or event-only readings.

The same penalised least squares as on a uniform turn. One generalised eigendecomposition of the normal equations takes
the place of the Fourier transform; after it every strength, step and covariance is diagonal algebra.
Source: Demmler & Reinsch (1975) for the basis; the rest as in `valvelab.lobe.smoothing`.
"""

from __future__ import annotations

from functools import partial

import numpy as np
from numpy.typing import NDArray

from valvelab.arrays import FloatArray, median, read_only
from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.lobe.jerk_steps import NO_STEPS, Steps, find_steps
from valvelab.lobe.smoothing import (
    CALCULATED_NOISE_MM,
    CALCULATED_PENALTY_ORDER,
    CORRELATION_GAIN,
    CORRELATIONS,
    FEWEST_READINGS,
    PENALTY_ORDER,
    STEP_ROUNDS,
    STIFFER,
    UNDERSMOOTHING,
    DenseCovariance,
    IndexArray,
    Smoothed,
    hidden_variance,
    mean_square_frequency,
    scatter_shares,
    shares,
)
from valvelab.lobe.spline import DEGREE, SplineSet, basis_at, periodic_padding, symbol_weights
from valvelab.phrase import Phrase

MOST_KNOTS = 720
# Correlation is looked for in at most this many readings, by fits on so many knots.
MOST_CORRELATED = 2000
_SEARCH_KNOTS = 160
_LEAST_KNOTS = 24


def fit_general(
    angle_cam_deg: FloatArray,
    lifts_mm: FloatArray,
    kept: NDArray[np.bool_],
    *,
    periodic: bool,
    sweep: IndexArray | None = None,
    least_noise_mm: float = 0.0,
) -> Smoothed:
    """Fit uneven, gappy or event-only readings; angle: (n,), lifts and kept: (lobes, n).

    Periodic readings are folded by the caller onto [0, 360). Lobes that keep the same readings share one
    decomposition. Refused below 12 kept readings. sweep: (n,), within which noise may be correlated from reading to
    reading. least_noise_mm: what a reading's standard deviation is at least, for the gauge's division. Raises
    CannotEvaluate(TOO_FEW_READINGS).
    """
    fewest = int(kept.sum(axis=1).min())
    if fewest < FEWEST_READINGS:
        raise CannotEvaluate(
            Reason.TOO_FEW_READINGS,
            Phrase(
                "found {count} readings, expected {fewest} or more",
                count=fewest,
                fewest=FEWEST_READINGS,
            ),
        )
    sweep = np.zeros(angle_cam_deg.size, dtype=np.int64) if sweep is None else sweep
    readings = _Readings(angle_cam_deg, lifts_mm, kept, sweep, periodic, least_noise_mm)
    fit = _DenseFit(readings)
    order = PENALTY_ORDER
    modes = fit.modes(order)
    steps = [NO_STEPS] * lifts_mm.shape[0]
    strength, variance = fit.best(modes, steps)
    noise: _LikelyNoise | None = None
    if np.sqrt(median(variance)) < CALCULATED_NOISE_MM:
        order = CALCULATED_PENALTY_ORDER
        modes = fit.modes(order)
        strength, variance = fit.best(modes, steps)
    else:
        noise = _likely_noise(readings)
        if noise.best > 0.0:
            fit = _DenseFit(readings, noise.best)
            modes = fit.modes(order)
        for _ in range(STEP_ROUNDS):
            steps = fit.find(modes, strength, variance)
            strength, variance = fit.best(modes, steps)
        strength += UNDERSMOOTHING
    return fit.solve(modes, order, strength, steps, variance, noise)


@frozen
class _Readings:
    """What is fitted; see `fit_general`."""

    angle: FloatArray
    lifts: FloatArray
    kept: NDArray[np.bool_]
    sweep: IndexArray
    periodic: bool
    least_noise_mm: float


@frozen
class _LikelyNoise:
    """How the readings judge a number of correlations, all (correlations,).

    value: twice the negative log-likelihood of each; variance: of its noise, times how likely it is; hidden: what of it
    lies in the lobe's own band.
    """

    correlation: FloatArray
    value: FloatArray
    variance: FloatArray
    hidden: FloatArray

    @property
    def best(self) -> float:
        """The likeliest correlation, where it gains enough over none."""
        best = int(np.argmin(self.value))
        return float(self.correlation[best]) if self.value[0] - self.value[best] > CORRELATION_GAIN else 0.0


def _likely_noise(readings: _Readings) -> _LikelyNoise:
    """How likely each of `CORRELATIONS` is, from fits on fewer knots; halfway to its neighbours too where one is."""
    tried: dict[float, tuple[FloatArray, FloatArray]] = {}

    def judge(correlations: FloatArray) -> _LikelyNoise:
        tried.update({r: _judged(readings, r) for r in map(float, correlations) if r not in tried})
        rows = sorted(tried)
        value = np.array([tried[r][0] for r in rows])
        found = np.array([tried[r][1] for r in rows])
        share = shares(np.array(rows), value, found, readings.least_noise_mm**2)
        variance = (share * found).sum(axis=1) / share.sum()
        hidden = hidden_variance(np.array(rows), share, found, readings.least_noise_mm**2, whole_turn=readings.periodic)
        return _LikelyNoise(np.array(rows), value.min(axis=1), variance, hidden)

    found = judge(CORRELATIONS if readings.angle.size <= MOST_CORRELATED else CORRELATIONS[:1])
    if found.best > 0.0:
        at = int(np.argmin(found.value))
        found = judge(0.5 * (found.correlation[at] + found.correlation[[at - 1, min(at + 1, found.value.size - 1)]]))
    return found


def _judged(readings: _Readings, correlation: float) -> tuple[FloatArray, FloatArray]:
    """Twice the negative log-likelihood of one correlation at strengths round the best, and the noise variances."""
    fit = _DenseFit(readings, correlation, _SEARCH_KNOTS)
    modes = fit.modes(PENALTY_ORDER)
    steps = [NO_STEPS] * readings.lifts.shape[0]
    strength, _ = fit.best(modes, steps)
    around = [fit.criterion(modes, strength + off, steps) for off in np.arange(-2.0, 2.1, 0.5)]
    return np.array([value for value, _ in around]), np.array([float(median(found)) for _, found in around])


@frozen
class _Pattern:
    """The readings that some lobes keep, whitened: each less `correlation` times the one before it in its sweep.

    columns, weights: (kept, 8 or 16), coefficients under each whitened reading. before: (kept,), the row before, or
    the row itself at the start of a sweep. rows: (kept,), among all readings. links: how many have one before.
    """

    rows: IndexArray
    before: IndexArray
    columns: IndexArray
    weights: FloatArray
    correlation: float

    @property
    def links(self) -> int:
        """How many readings have another before them."""
        return int((self.before != np.arange(self.before.size)).sum())

    @property
    def scale(self) -> FloatArray:
        """What each reading is multiplied by when whitened, (kept,)."""
        linked = self.before != np.arange(self.before.size)
        return np.where(linked, 1.0 / np.sqrt(1.0 - self.correlation**2), 1.0)

    def whitened(self, lift: FloatArray) -> FloatArray:
        """Whitened readings of one lobe, (kept,) of (n,)."""
        held = lift[self.rows]
        linked = self.before != np.arange(self.before.size)
        return np.asarray(self.scale * (held - np.where(linked, self.correlation * held[self.before], 0.0)))


def _pattern(
    readings: _Readings, kept: NDArray[np.bool_], columns: IndexArray, weights: FloatArray, correlation: float
) -> _Pattern:
    """Whiten one pattern; columns, weights: (n, 8), the spline's basis under all readings."""
    rows = np.flatnonzero(kept)
    sweep = readings.sweep[rows]
    order = np.argsort(sweep, kind="stable")
    before = np.arange(rows.size)
    follows = np.diff(sweep[order]) == 0
    before[order[1:][follows]] = order[:-1][follows]
    if correlation == 0.0:
        before = np.arange(rows.size)
        return _Pattern(rows, before, columns[rows], weights[rows], 0.0)
    plain = _Pattern(rows, before, columns, weights, correlation)
    linked = before != np.arange(rows.size)
    scale = plain.scale[:, None]
    earlier = np.where(linked[:, None], -correlation * scale * weights[rows[before]], 0.0)
    return _Pattern(
        rows,
        before,
        np.concatenate([columns[rows], columns[rows[before]]], axis=1),
        np.concatenate([scale * weights[rows], earlier], axis=1),
        correlation,
    )


@frozen
class _Modes:
    """Eigenvectors V of one pattern of readings: Vᵀ(BᵀB + P)V = 1 and VᵀPV = diag(share), 0 ≤ share ≤ 1.

    vectors: (coefficients, modes); rows: (differences, modes), the penalised differences of each mode.
    log_det: of BᵀB + P.
    """

    vectors: FloatArray
    share: FloatArray
    rows: FloatArray
    log_det: float

    def damping(self, strength: float) -> FloatArray:
        """What is left of each mode: 1/(1 + (λ − 1) share)."""
        return np.asarray(1.0 / (1.0 + (10.0**strength - 1.0) * self.share))


class _DenseFit:
    """Normal equations of one set of angles."""

    def __init__(self, readings: _Readings, correlation: float = 0.0, most_knots: int = MOST_KNOTS) -> None:
        periodic = readings.periodic
        distinct = np.unique(np.round(readings.angle, 6))
        span = 360.0 if periodic else float(distinct[-1] - distinct[0])
        intervals = int(min(max(distinct.size - (0 if periodic else 1), _LEAST_KNOTS), most_knots))
        start = 0.0 if periodic else float(distinct[0])
        self.frame = SplineSet(np.zeros((1, intervals + DEGREE)), start, span / intervals, periodic)
        self.size = intervals if periodic else intervals + DEGREE
        self.source = readings
        self.correlation = correlation
        index, t = self.frame.locate(readings.angle)
        columns = index[:, None] + np.arange(DEGREE + 1)
        if periodic:
            columns = np.mod(columns - 3, self.size)
        kinds, self.pattern_of = np.unique(readings.kept, axis=0, return_inverse=True)
        self.patterns = [_pattern(readings, kept, columns, basis_at(t), correlation) for kept in kinds]
        whitened = [
            self.patterns[which].whitened(lift) for which, lift in zip(self.pattern_of, readings.lifts, strict=True)
        ]
        self.squares = np.array([float((row**2).sum()) for row in whitened])
        self.readings = readings.kept.sum(axis=1).astype(np.float64)
        self.right = np.stack(
            [
                self._gather(self.patterns[which], row[:, None] * self.patterns[which].weights)
                for which, row in zip(self.pattern_of, whitened, strict=True)
            ]
        )

    def _gather(self, pattern: _Pattern, values: FloatArray) -> FloatArray:
        gathered = np.bincount(pattern.columns.ravel(), weights=values.ravel(), minlength=self.size)
        return np.asarray(gathered, dtype=np.float64)

    def _gram(self, pattern: _Pattern) -> FloatArray:
        total = np.zeros(self.size * self.size)
        rows = np.arange(pattern.rows.size)
        for chunk in np.array_split(rows, max(1, rows.size // 50_000)):
            columns, weights = pattern.columns[chunk], pattern.weights[chunk]
            flat = (columns[:, :, None] * self.size + columns[:, None, :]).ravel()
            products = (weights[:, :, None] * weights[:, None, :]).ravel()
            total += np.bincount(flat, weights=products, minlength=total.size)
        return total.reshape(self.size, self.size)

    def _differences(self, order: int) -> FloatArray:
        """Shape (rows, size): the penalised differences; an even order stands centred on its row, if periodic."""
        if not self.frame.periodic:
            return np.asarray(np.diff(np.eye(self.size), order, axis=0))
        row = np.zeros(self.size)
        row[: order + 1] = np.diff(np.eye(order + 1), order, axis=0)[0]
        return np.array([np.roll(row, k - order // 2) for k in range(self.size)])

    def modes(self, order: int) -> list[_Modes]:
        """The decomposition of every pattern of readings."""
        differences = self._differences(order)
        penalty = differences.T @ differences
        return [self._modes(self._gram(pattern), penalty, differences) for pattern in self.patterns]

    def _modes(self, gram: FloatArray, penalty: FloatArray, differences: FloatArray) -> _Modes:
        # a whisper of ridge keeps knots inside a gap solvable where the penalty is weakest
        ridge = 1e-11 * float(np.trace(gram)) / self.size
        factor = np.linalg.cholesky(gram + penalty + ridge * np.eye(self.size))
        inverse = np.linalg.inv(factor)
        share, turned = np.linalg.eigh(inverse @ penalty @ inverse.T)
        vectors = inverse.T @ turned
        log_det = 2.0 * float(np.log(np.diag(factor)).sum())
        return _Modes(vectors, np.clip(share, 0.0, 1.0 - 1e-12), differences @ vectors, log_det)

    def best(self, modes: list[_Modes], steps: list[Steps]) -> tuple[float, FloatArray]:
        """Log strength of the greatest restricted likelihood, and each lobe's noise variance there."""
        strengths, width = np.arange(-8.0, 9.0, 1.0), 1.0
        while True:
            values = [self.criterion(modes, float(strength), steps)[0] for strength in strengths]
            best = float(strengths[int(np.argmin(values))])
            if width < 0.1:
                break
            strengths, width = best + 0.5 * width * np.array([-1.0, 0.0, 1.0]), 0.5 * width
        return best, self.criterion(modes, best, steps)[1]

    def criterion(self, modes: list[_Modes], strength: float, steps: list[Steps]) -> tuple[float, FloatArray]:
        """−2 log restricted likelihood and each lobe's noise variance; freed rows enter by rank-one algebra."""
        total = 0.0
        variance = np.zeros(self.right.shape[0])
        for lobe, right in enumerate(self.right):
            found = modes[self.pattern_of[lobe]]
            rank = self.size - 1 if self.frame.periodic else found.rows.shape[0]
            damping = found.damping(strength)
            along = found.vectors.T @ right
            left = self.squares[lobe] - float(damping @ along**2)
            log_det = found.log_det - float(np.log(damping).sum())
            rows = steps[lobe].rows
            if rows.size:
                freed = found.rows[rows] * 10.0 ** (0.5 * strength)
                room = np.eye(rows.size) - (freed * damping) @ freed.T
                residual = freed @ (damping * along)
                left -= float(residual @ np.linalg.solve(room, residual))
                log_det += float(np.linalg.slogdet(room)[1])
            held = rank - rows.size
            degrees = max(self.readings[lobe] - (self.size - held), 1.0)
            likeliest = max(left, 1e-15 * float(self.squares[lobe])) / degrees
            variance[lobe] = max(likeliest, self.source.least_noise_mm**2)
            log_det += self.patterns[self.pattern_of[lobe]].links * float(np.log(1.0 - self.correlation**2))
            total += degrees * (float(np.log(variance[lobe])) + likeliest / variance[lobe] - 1.0)
            total += log_det - held * strength * np.log(10.0)
        return total, variance

    def find(self, modes: list[_Modes], strength: float, variance: FloatArray) -> list[Steps]:
        """Jerk steps of every lobe at one strength."""
        steps = []
        for lobe, right in enumerate(self.right):
            found = modes[self.pattern_of[lobe]]
            damping = found.damping(strength)
            rows = found.rows * 10.0 ** (0.5 * strength)
            damped = rows * damping
            leverage = np.einsum("ij,ij->i", damped, rows)
            residual = damped @ (found.vectors.T @ right)

            def column(j: int, rows: FloatArray = rows, damped: FloatArray = damped) -> FloatArray:
                return np.asarray(rows @ damped[j])

            steps.append(find_steps(residual, leverage, column, float(variance[lobe])))
        return steps

    def solve(
        self,
        modes: list[_Modes],
        order: int,
        strength: float,
        steps: list[Steps],
        variance: FloatArray,
        noise: _LikelyNoise | None,
    ) -> Smoothed:
        """The fit at one strength. The covariance is that of the fullest pattern of readings."""
        coefficients, doubts = np.zeros_like(self.right), np.zeros((2, *self.right.shape))
        none = np.zeros((0, self.size))
        renewed, responses, tangents = list(steps), [none] * len(steps), [none] * len(steps)
        for lobe, right in enumerate(self.right):
            found = modes[self.pattern_of[lobe]]
            damping = found.damping(strength)
            coefficients[lobe] = found.vectors @ (damping * (found.vectors.T @ right))
            doubts[1, lobe] = coefficients[lobe] - found.vectors @ (
                found.damping(strength + STIFFER) * (found.vectors.T @ right)
            )
            rows = steps[lobe].rows
            if rows.size == 0:
                continue
            responses[lobe] = self._response(found, damping, strength, rows)
            room = np.eye(rows.size) - 10.0**strength * (found.rows[rows] * damping) @ found.rows[rows].T
            renewed[lobe] = Steps(rows, np.linalg.inv(room))
            sizes = found.rows[rows] @ (damping * (found.vectors.T @ right))
            doubts[0, lobe] = sizes @ renewed[lobe].kernel @ responses[lobe]
            coefficients[lobe] += doubts[0, lobe]
            tangents[lobe] = self._tangent(found, damping, strength, order, rows, lobe)
        which = int(np.argmax([pattern.rows.size for pattern in self.patterns]))
        fullest, pattern = modes[which], self.patterns[which]
        damping = fullest.damping(strength)
        answer = self._answer(pattern, (fullest.vectors * damping) @ fullest.vectors.T)
        covariance = (fullest.vectors * (damping**2 * (1.0 - fullest.share))) @ fullest.vectors.T
        middle = self._at_middle_knot()
        seen = float(middle @ covariance @ middle)
        likeliest = np.sqrt(variance)
        if noise is not None and noise.correlation.size > 1:
            on_kept, total = answer[:, pattern.rows], noise.variance.sum()
            by_place = partial(_by_place, self.source.sweep[pattern.rows], noise.correlation)
            covariance = on_kept @ by_place((noise.variance + noise.hidden) / total) @ on_kept.T
            in_middle = middle @ on_kept
            seen = float(in_middle @ by_place(noise.variance / total) @ in_middle)
            variance = variance * float(noise.variance.sum() / median(variance))
        scatter = np.ones((2, len(steps)))
        if order == PENALTY_ORDER:
            fitted = np.stack([self._at_readings(row) for row in coefficients])
            scatter = np.stack(scatter_shares(self.source.lifts, fitted, self.source.kept))
        deviations = np.vstack([np.sqrt(variance) * scatter, likeliest])
        dense = DenseCovariance(read_only(covariance), self.frame.periodic, read_only(answer))
        return self._smoothed(
            order, strength, coefficients, deviations, (dense, seen), (renewed, responses, tangents), doubts
        )

    def _at_readings(self, coefficients: FloatArray) -> FloatArray:
        """The fitted lift at every reading, left out or not."""
        index, t = self.frame.locate(self.source.angle)
        columns = index[:, None] + np.arange(DEGREE + 1)
        if self.frame.periodic:
            columns = np.mod(columns - 3, self.size)
        return np.asarray((basis_at(t) * coefficients[columns]).sum(axis=1))

    def _at_middle_knot(self) -> FloatArray:
        """Weights of the coefficients, (coefficients,), in the lift at the knot in the middle."""
        weights = np.zeros(self.size)
        columns = self.frame.intervals // 2 + np.arange(DEGREE)
        weights[np.mod(columns - 3, self.size) if self.frame.periodic else columns] = symbol_weights()
        return weights

    def _answer(self, pattern: _Pattern, inverse: FloatArray) -> FloatArray:
        """What each reading adds to the coefficients, (coefficients, n); inverse: of the normal equations."""
        whitened = np.zeros((pattern.rows.size, self.size))
        for columns, weights in zip(pattern.columns.T, pattern.weights.T, strict=True):
            np.add.at(whitened, (np.arange(pattern.rows.size), columns), weights)
        design = pattern.scale[:, None] * whitened
        linked = np.flatnonzero(pattern.before != np.arange(pattern.before.size))
        np.subtract.at(
            design, pattern.before[linked], pattern.correlation * pattern.scale[linked, None] * whitened[linked]
        )
        answer = np.zeros((self.size, self.source.angle.size))
        answer[:, pattern.rows] = inverse @ design.T
        return answer

    def _response(self, found: _Modes, damping: FloatArray, strength: float, rows: IndexArray) -> FloatArray:
        return np.asarray(10.0**strength * (found.rows[rows] * damping) @ found.vectors.T)

    def _tangent(
        self, found: _Modes, damping: FloatArray, strength: float, order: int, rows: IndexArray, lobe: int
    ) -> FloatArray:
        """Change of the coefficients with a step's place, one standard deviation for unit noise."""
        last = found.rows.shape[0] - 1
        ahead, behind = (self._response(found, damping, strength, np.clip(rows + k, 0, last)) for k in (1, -1))
        moment = mean_square_frequency(strength, order, float(self.readings[lobe]) / self.frame.intervals)
        return np.asarray(0.5 * (ahead - behind) / np.sqrt(10.0**strength * moment))

    def _smoothed(
        self,
        order: int,
        strength: float,
        coefficients: FloatArray,
        deviations: FloatArray,
        spread: tuple[DenseCovariance, float],
        stepped: tuple[list[Steps], list[FloatArray], list[FloatArray]],
        doubts: FloatArray,
    ) -> Smoothed:
        periodic, step = self.frame.periodic, self.frame.step

        def padded(rows: FloatArray) -> FloatArray:
            return periodic_padding(rows) if periodic else read_only(rows)

        steps, responses, tangents = stepped
        half_passed = 180.0 / (np.pi * step) * 10.0 ** (-strength / (2.0 * order))
        return Smoothed(
            SplineSet(padded(coefficients), self.frame.start, step, periodic),
            read_only(deviations[0]),
            read_only(deviations[1]),
            read_only(deviations[2]),
            spread[0],
            float(np.sqrt(spread[1])),
            self.correlation,
            strength,
            min(180.0 / step, half_passed),
            tuple(steps),
            tuple(padded(rows) for rows in responses),
            tuple(padded(rows) for rows in tangents),
            np.stack([padded(rows) for rows in doubts]),
        )


def _by_place(sweep: IndexArray, correlation: FloatArray, share: FloatArray) -> FloatArray:
    """Covariance of the readings, (n, n), for noises mixed by their shares, (correlations,), within each sweep (n,)."""
    order = np.argsort(sweep, kind="stable")
    place = np.empty(sweep.size, dtype=np.int64)
    place[order] = np.arange(sweep.size)
    by_lag = share @ correlation[:, None] ** np.arange(sweep.size)
    together = sweep[:, None] == sweep[None, :]
    return np.where(together, by_lag[np.abs(place[:, None] - place[None, :])], 0.0)
