"""The smoothing spline on uneven, gappy or event-only readings.

The same penalised least squares as on a uniform turn. One generalised eigendecomposition of the normal equations takes
the place of the Fourier transform; after it every strength, step and covariance is diagonal algebra.
Source: Demmler & Reinsch (1975) for the basis; the rest as in `valvelab.lobe.smoothing`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from valvelab.arrays import FloatArray, read_only
from valvelab.errors import CannotEvaluate, Reason
from valvelab.lobe.jerk_steps import NO_STEPS, Steps, find_steps
from valvelab.lobe.smoothing import (
    CALCULATED_NOISE_MM,
    CALCULATED_PENALTY_ORDER,
    PENALTY_ORDER,
    STEP_ROUNDS,
    STIFFER,
    UNDERSMOOTHING,
    DenseCovariance,
    IndexArray,
    Smoothed,
    mean_square_frequency,
)
from valvelab.lobe.spline import DEGREE, SplineSet, basis_at, periodic_padding

MOST_KNOTS = 720
FEWEST_READINGS = 12
_LEAST_KNOTS = 24


def fit_general(
    angle_cam_deg: FloatArray, lifts_mm: FloatArray, kept: NDArray[np.bool_], *, periodic: bool
) -> Smoothed:
    """Fit uneven, gappy or event-only readings; angle: (n,), lifts and kept: (lobes, n).

    Periodic readings are folded by the caller onto [0, 360). Lobes that keep the same readings share one
    decomposition. Refused below 12 kept readings. Noise is taken as uncorrelated.
    """
    fewest = int(kept.sum(axis=1).min())
    if fewest < FEWEST_READINGS:
        raise CannotEvaluate(Reason.TOO_FEW_READINGS, f"found {fewest} readings, expected {FEWEST_READINGS} or more")
    fit = _DenseFit(angle_cam_deg, lifts_mm, kept, periodic=periodic)
    order = PENALTY_ORDER
    modes = fit.modes(order)
    steps = [NO_STEPS] * lifts_mm.shape[0]
    strength, variance = fit.best(modes, steps)
    if np.sqrt(np.median(variance)) < CALCULATED_NOISE_MM:
        order = CALCULATED_PENALTY_ORDER
        modes = fit.modes(order)
        strength, variance = fit.best(modes, steps)
    else:
        for _ in range(STEP_ROUNDS):
            steps = fit.find(modes, strength, variance)
            strength, variance = fit.best(modes, steps)
        strength += UNDERSMOOTHING
    return fit.solve(modes, order, strength, steps, variance)


@dataclass(frozen=True, slots=True)
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

    def __init__(self, angle: FloatArray, lifts: FloatArray, kept: NDArray[np.bool_], *, periodic: bool) -> None:
        distinct = np.unique(np.round(angle, 6))
        span = 360.0 if periodic else float(distinct[-1] - distinct[0])
        intervals = int(min(max(distinct.size - (0 if periodic else 1), _LEAST_KNOTS), MOST_KNOTS))
        start = 0.0 if periodic else float(distinct[0])
        self.frame = SplineSet(np.zeros((1, intervals + DEGREE)), start, span / intervals, periodic)
        self.size = intervals if periodic else intervals + DEGREE
        index, t = self.frame.locate(angle)
        self._columns = index[:, None] + np.arange(DEGREE + 1)
        if periodic:
            self._columns = np.mod(self._columns - 3, self.size)
        self._weights = basis_at(t)
        self.patterns, self.pattern_of = np.unique(kept, axis=0, return_inverse=True)
        held = np.where(kept, lifts, 0.0)
        self.squares = (held**2).sum(axis=1)
        self.readings = kept.sum(axis=1).astype(np.float64)
        self.right = np.stack([self._gather(row[:, None] * self._weights) for row in held])

    def _gather(self, values: FloatArray) -> FloatArray:
        gathered = np.bincount(self._columns.ravel(), weights=values.ravel(), minlength=self.size)
        return np.asarray(gathered, dtype=np.float64)

    def _gram(self, pattern: NDArray[np.bool_]) -> FloatArray:
        total = np.zeros(self.size * self.size)
        rows = np.flatnonzero(pattern)
        for chunk in np.array_split(rows, max(1, rows.size // 50_000)):
            columns, weights = self._columns[chunk], self._weights[chunk]
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
            values = [self._criterion(modes, strength, steps)[0] for strength in strengths]
            best = float(strengths[int(np.argmin(values))])
            if width < 0.1:
                break
            strengths, width = best + 0.5 * width * np.array([-1.0, 0.0, 1.0]), 0.5 * width
        return best, self._criterion(modes, best, steps)[1]

    def _criterion(self, modes: list[_Modes], strength: float, steps: list[Steps]) -> tuple[float, FloatArray]:
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
            degrees = self.readings[lobe] - (self.size - held)
            variance[lobe] = max(left, 1e-15 * float(self.squares[lobe])) / max(degrees, 1.0)
            total += degrees * float(np.log(variance[lobe])) + log_det - held * strength * np.log(10.0)
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
        self, modes: list[_Modes], order: int, strength: float, steps: list[Steps], variance: FloatArray
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
        fullest = modes[int(np.argmax(self.patterns.sum(axis=1)))]
        damping = fullest.damping(strength)
        covariance = (fullest.vectors * (damping**2 * (1.0 - fullest.share))) @ fullest.vectors.T
        return self._smoothed(
            order, strength, coefficients, variance, covariance, (renewed, responses, tangents), doubts
        )

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
        self, order: int, strength: float, coefficients: FloatArray, variance: FloatArray, covariance: FloatArray,
        stepped: tuple[list[Steps], list[FloatArray], list[FloatArray]], doubts: FloatArray,
    ) -> Smoothed:  # fmt: skip
        periodic, step = self.frame.periodic, self.frame.step

        def padded(rows: FloatArray) -> FloatArray:
            return periodic_padding(rows) if periodic else read_only(rows)

        steps, responses, tangents = stepped
        half_passed = 180.0 / (np.pi * step) * 10.0 ** (-strength / (2.0 * order))
        return Smoothed(
            SplineSet(padded(coefficients), self.frame.start, step, periodic),
            read_only(np.sqrt(variance)),
            DenseCovariance(read_only(covariance), periodic),
            0.0,
            strength,
            min(180.0 / step, half_passed),
            tuple(steps),
            tuple(padded(rows) for rows in responses),
            tuple(padded(rows) for rows in tangents),
            np.stack([padded(rows) for rows in doubts]),
        )
