"""The smoothing spline: readings in, spline coefficients, noise and covariance out.

A septic spline on uniform knots is fitted by penalised least squares (squared differences of order four of its
coefficients). The strength of the penalty and the lag-one correlation of the noise maximise the restricted likelihood
of the readings, pooled over all lobes of a shaft; correlated noise therefore does not pass for form, as it does
under plain cross-validation. On a full uniform turn everything is diagonal under the Fourier transform; on
uneven, gappy or event-only readings the same equations are solved densely.
Sources: Eilers & Marx (1996) for the penalty, Wahba (1985) for the likelihood.
"""

from __future__ import annotations

from typing import Protocol

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from valvelab.arrays import FloatArray, median, read_only
from valvelab.frozen import frozen
from valvelab.lobe.jerk_steps import NO_STEPS, Steps, find_steps
from valvelab.lobe.spline import DEGREE, SplineSet, periodic_padding, symbol

IndexArray = NDArray[np.int64]

PENALTY_ORDER = 4
# Of an uneven table.
FEWEST_READINGS = 12
# Below this noise a table was calculated, not measured: a softer penalty then keeps every corner.
CALCULATED_NOISE_MM = 1e-4
CALCULATED_PENALTY_ORDER = 3
# Twice the log-likelihood that a correlation has to gain before it is believed.
CORRELATION_GAIN = 6.0
# log10 of the share of the likeliest strength that is used, so that the bias stays well inside the noise.
UNDERSMOOTHING = -0.5
# log10 of how much stiffer the fit is that shows what smoothing takes off a peak.
STIFFER = 0.6
# Correlations of neighbouring readings that the uncertainty is averaged over; beforehand one of r counts √(1 − r).
CORRELATIONS = read_only(np.array([0.0, 0.2, 0.4, 0.6, 0.8, 0.9, 0.95]))
# Variance of correlated noise that is likely in a good gauge, in those of its rounding: half a division squared.
_SLOW_NOISE = 3.0
# Variance of noise of correlation r counts (1 − r) to this power: the slower noise is, the more of it lies within the
# lobe's own band, where the fit takes it for form and no reading shows it. Without a division the mean over all noises
# allows for much of it; with one it is bounded (`_SLOW_NOISE`), and an event-only sweep has no resting run to show it.
# Chosen on the tuning lobes (bench_coverage.py, `tuning lag 0.9`), the two on a dial with an eye on the testing ones.
_HIDDEN, _HIDDEN_ON_DIAL, _HIDDEN_ON_DIAL_WITHOUT_REST = -0.3, -0.6, -1.0
# Shares of the noise that rounding may make up.
_FREE_SHARES = read_only(np.array([0.01, 0.03, 0.1, 0.2, 0.35, 0.5, 0.7, 0.9]))
# Readings below this share of the lift may rest.
_RESTING_SHARE = 0.05
FOURTH_DIFFERENCE = read_only(np.array([1.0, -4.0, 6.0, -4.0, 1.0]))
STEP_ROUNDS = 2


class Covariance(Protocol):
    """Covariance of the spline coefficients for a unit noise variance."""

    def cross(self, first: IndexArray, second: IndexArray) -> FloatArray:
        """Covariances between padded coefficient indices, in units of the noise's variance; shapes broadcast."""

    def apply(self, weights: FloatArray) -> FloatArray:
        """Covariance times each row of dense weights, shape (rows, padded coefficients)."""

    def on_readings(self, weights: FloatArray) -> FloatArray:
        """Weights on padded coefficients, (rows, padded), as weights on the readings that were fitted, (rows, n)."""


@frozen
class CirculantCovariance:
    """Covariance on a uniform full turn: it depends on the lag alone. kernel: shape (knots,).

    answer: (harmonics,), the transfer function from readings to coefficients.
    """

    kernel: FloatArray
    answer: FloatArray

    def cross(self, first: IndexArray, second: IndexArray) -> FloatArray:
        """Covariances between padded coefficient indices, any shape, in units of the noise's variance."""
        return np.take(self.kernel, first - second, mode="wrap")

    def apply(self, weights: FloatArray) -> FloatArray:
        """Covariance times rows of padded weights, (k, padded), whose padding is folded back first."""
        n = self.kernel.size
        turn = unpad(weights, n)
        product = np.fft.irfft(np.fft.rfft(turn, axis=1) * np.fft.rfft(self.kernel).real, n, axis=1)
        return np.concatenate([product[:, -3:], product, product[:, :4]], axis=1)

    def on_readings(self, weights: FloatArray) -> FloatArray:
        """Weights on the cells of the turn, (k, cells); the filter is even, so it is its own transpose."""
        turn = unpad(weights, self.kernel.size)
        return np.asarray(np.fft.irfft(np.fft.rfft(turn, axis=1) * self.answer, self.kernel.size, axis=1))


@frozen
class DenseCovariance:
    """Covariance as a matrix over the coefficients; `periodic` folds padded indices onto one turn.

    answer: (coefficients, n), what each reading adds to the coefficients.
    """

    matrix: FloatArray
    periodic: bool
    answer: FloatArray

    def cross(self, first: IndexArray, second: IndexArray) -> FloatArray:
        """Covariances between padded coefficient indices, any shape, in units of the noise's variance."""
        if self.periodic:
            n = self.matrix.shape[0]
            return np.asarray(self.matrix[np.mod(first - 3, n), np.mod(second - 3, n)])
        return np.asarray(self.matrix[first, second])

    def apply(self, weights: FloatArray) -> FloatArray:
        """Covariance times rows of padded weights, (k, padded)."""
        if not self.periodic:
            return np.asarray(weights @ self.matrix)
        product = unpad(weights, self.matrix.shape[0]) @ self.matrix
        return np.concatenate([product[:, -3:], product, product[:, :4]], axis=1)

    def on_readings(self, weights: FloatArray) -> FloatArray:
        """Weights on the readings, (k, n)."""
        return np.asarray((unpad(weights, self.matrix.shape[0]) if self.periodic else weights) @ self.answer)


def unpad(weights: FloatArray, knots: int) -> FloatArray:
    """Weights on padded coefficients, (k, padded), folded onto those of one turn, (k, knots)."""
    turn = weights[:, 3 : 3 + knots].copy()
    turn[:, -3:] += weights[:, :3]
    turn[:, :4] += weights[:, 3 + knots :]
    return turn


@frozen
class Smoothed:
    """Fitted splines with what the fit says of the noise.

    noise_mm: shape (lobes,), standard deviation of one fitted reading where the lift changes; resting_noise_mm: in the
    resting run, at most that; likeliest_noise_mm: of all readings, at the likeliest correlation alone.
    covariance: per unit noise variance, what hides in the lobe's form counted in; seen_deviation: standard deviation of
    the fitted lift at a knot for unit noise as seen, without it. `lag_correlation`: correlation of neighbouring
    readings; `half_harmonic`: the harmonic passed by half.
    steps: each lobe's jerk steps; responses: (p, padded) what freeing each of those rows adds to the coefficients;
    tangents: (p, padded) how far the coefficients move with each step's place, one standard deviation for unit noise.
    doubts: (2, lobes, padded) the coefficients less those of the same fit without jerk steps, and those less the ones
    of a stiffer fit.
    """

    splines: SplineSet
    noise_mm: FloatArray
    resting_noise_mm: FloatArray
    likeliest_noise_mm: FloatArray
    covariance: Covariance
    seen_deviation: float
    lag_correlation: float
    log_strength: float
    half_harmonic: float
    steps: tuple[Steps, ...]
    responses: tuple[FloatArray, ...]
    tangents: tuple[FloatArray, ...]
    doubts: FloatArray

    def step_columns(self, lobe: int) -> IndexArray:
        """Shape (p, 5): padded coefficients under each freed difference."""
        rows = self.steps[lobe].rows[:, None]
        if self.splines.periodic:
            return np.asarray(np.mod(rows + np.arange(-2, 3), self.splines.intervals) + 3)
        return np.asarray(rows + np.arange(5))

    def answer_at(self, lobe: int, cells: IndexArray) -> FloatArray:
        """What each cell's reading adds to the fit at each of the cells, (to, from), on a full uniform turn.

        cells: (k,), of the turn. Plain numbers.
        """
        points = self.splines.intervals
        readings = np.zeros((cells.size, points))
        readings[np.arange(cells.size), cells] = 1.0
        coefficients = self.covariance.on_readings(np.pad(readings, ((0, 0), (3, 4))))
        found = self.steps[lobe]
        freed = np.array([_differences(row, found.rows) for row in coefficients])
        padded = periodic_padding(coefficients) + freed @ found.kernel @ self.responses[lobe]
        return np.asarray(SplineSet(padded, 0.0, self.splines.step, periodic=True).at_knots()[:, cells].T)

    def through_steps(self, lobe: int, on_responses: FloatArray) -> FloatArray:
        """Weights on each freed difference, (…, p), that a functional picks up by way of the responses (…, p)."""
        return np.asarray(on_responses @ self.steps[lobe].kernel.T)


@frozen
class _Spectrum:
    """Periodogram gathered into bands of frequency: fine where the lobe lives, coarse where noise does."""

    frequency: FloatArray
    count: FloatArray
    power: FloatArray
    symbol_squared: FloatArray
    least_variance: float


def _spectrum(transform: NDArray[np.complex128], points: int, least_noise_mm: float) -> _Spectrum:
    harmonics = np.arange(1, points // 2 + 1)
    edges = [0]
    while edges[-1] < harmonics.size:
        edges.append(edges[-1] + max(1, edges[-1] // 24))
    starts = np.array(edges[:-1])
    mult = np.full(harmonics.size, 2.0)
    if points % 2 == 0:
        mult[-1] = 1.0
    count = np.add.reduceat(mult, starts)
    values = transform[:, 1 : harmonics.size + 1]
    power = np.add.reduceat(mult * (values.real**2 + values.imag**2), starts, axis=1) / count
    frequency = np.add.reduceat(mult * harmonics, starts) / count * (2.0 * np.pi / points)
    return _Spectrum(frequency, count, power, symbol(frequency) ** 2, points * least_noise_mm**2)


def _noise_shape(frequency: FloatArray, correlation: float | FloatArray, free: float | FloatArray = 0.0) -> FloatArray:
    """Spectrum of unit-variance first-order correlated noise, a share of it free."""
    r = np.asarray(correlation)
    return np.asarray(free + (1.0 - free) * (1.0 - r**2) / (1.0 - 2.0 * r * np.cos(frequency) + r**2))


def _penalty(frequency: FloatArray, order: int) -> FloatArray:
    return np.asarray((2.0 * np.sin(0.5 * frequency)) ** (2 * order))


def _likelihood(
    spectrum: _Spectrum, order: int, strengths: FloatArray, correlations: FloatArray, free: float | FloatArray = 0.0
) -> tuple[FloatArray, FloatArray]:
    """−2 log restricted likelihood, shape (correlations, strengths), and noise variances (…, lobes).

    The likeliest variance is taken, but none below the spectrum's least. free: the share of each noise's variance that
    is not correlated.
    """
    shape = _noise_shape(spectrum.frequency, correlations[:, None], np.reshape(free, (-1, 1)))
    ratio = _penalty(spectrum.frequency, order) / spectrum.symbol_squared
    scaled = 10.0 ** strengths[None, :, None] * (shape * ratio)[:, None, :]
    left_over = scaled / (1.0 + scaled)
    total = spectrum.count.sum()
    weight = left_over * (spectrum.count / shape)[:, None, :]
    likeliest = np.einsum("csk,lk->csl", weight, spectrum.power) / total
    variance = np.maximum(likeliest, max(spectrum.least_variance, 1e-300))
    fixed = (np.log(shape) @ spectrum.count)[:, None] - np.log(left_over) @ spectrum.count
    lobes = spectrum.power.shape[0]
    return total * (np.log(variance) + likeliest / variance - 1.0).sum(axis=2) + lobes * fixed, variance


def _best_strength(spectrum: _Spectrum, order: int, correlations: FloatArray) -> tuple[float, float, float]:
    """Log strength, correlation and likelihood at the best of a grid, refined once."""
    strengths = np.arange(-9.0, 17.0, 1.0)
    steps = (0.25, 0.05)
    for step in (*steps, None):
        value, _ = _likelihood(spectrum, order, strengths, correlations)
        row, column = np.unravel_index(int(np.argmin(value)), value.shape)
        best, correlation = float(strengths[column]), float(correlations[row])
        if step is None:
            break
        width = 1.0 if step == steps[0] else 0.25
        strengths = np.arange(best - width, best + width + 1e-9, step)
        if correlations.size > 1:
            reach = 0.2 if step == steps[0] else 0.05
            correlations = np.clip(np.linspace(correlation - reach, correlation + reach, 5), 0.0, 0.98)
    return best, correlation, float(value[row, column])


def fit_uniform(lifts_mm: FloatArray, start_cam_deg: float, least_noise_mm: float = 0.0) -> Smoothed:
    """Fit one full uniform turn of all lobes at once; lifts: shape (lobes, readings), knots at the readings.

    least_noise_mm: what a reading's standard deviation is at least, for the gauge's division.
    """
    points = lifts_mm.shape[1]
    lobes = lifts_mm.shape[0]
    transform = np.fft.rfft(lifts_mm, axis=1)
    spectrum = _spectrum(transform, points, least_noise_mm)
    order, strength, correlation, variance = _strength(spectrum, points)
    frequency = 2.0 * np.pi * np.arange(points // 2 + 1) / points
    steps = [NO_STEPS] * lobes
    counted = seen = _noise_shape(frequency, correlation)
    likeliest = variance
    if order == PENALTY_ORDER:
        # before steps are looked for: each one takes some slow noise along
        counted, seen, wander = _mean_noise(spectrum, frequency, strength, correlation)
        for _ in range(STEP_ROUNDS):
            filters = _filters(frequency, order, strength, correlation)
            steps = _uniform_steps(transform, filters, points, strength, variance / points)
            smooth = transform - _stepped_part(transform, filters, steps, points)
            spectrum = _spectrum(smooth, points, least_noise_mm)
            _, strength, correlation, variance = _strength(spectrum, points)
        likeliest, variance = variance, variance * (wander / float(median(variance)))
        strength += UNDERSMOOTHING
    filters = _filters(frequency, order, strength, correlation)
    coefficients = np.fft.irfft(transform * (filters.gain / filters.basis), points, axis=1)
    plain = coefficients.copy()
    more = _filters(frequency, order, strength + STIFFER, correlation)
    stiff = np.fft.irfft(transform * (more.gain / more.basis), points, axis=1)
    none = np.zeros((0, points + DEGREE))
    responses, tangents = [none] * lobes, [none] * lobes
    if order == PENALTY_ORDER:
        steps = [_renewed(found, np.fft.irfft(1.0 - filters.gain, points)) for found in steps]
        response = np.fft.irfft(filters.response, points)
        tangent = _tangent(response, strength, float(np.fft.irfft(frequency**2 * filters.gain, points)[0]))
        for row, found in enumerate(steps):
            turned = _turns_of(response)[points - found.rows]
            coefficients[row] += _differences(coefficients[row], found.rows) @ found.kernel @ turned
            responses[row] = periodic_padding(turned)
            tangents[row] = periodic_padding(_turns_of(tangent)[points - found.rows])
    answer = filters.gain / filters.basis
    splines = SplineSet(periodic_padding(coefficients), start_cam_deg, 360.0 / points, periodic=True)
    deviation = np.sqrt(variance / points)
    moving, resting = np.ones(lobes), np.ones(lobes)
    if order == PENALTY_ORDER:
        moving, resting = scatter_shares(lifts_mm, splines.at_knots()[:, :-1])
    return Smoothed(
        splines,
        read_only(deviation * moving),
        read_only(deviation * resting),
        read_only(np.sqrt(likeliest / points)),
        CirculantCovariance(read_only(np.fft.irfft(counted * answer**2, points)), read_only(answer)),
        float(np.sqrt(np.fft.irfft(seen * filters.gain**2, points)[0])),
        correlation,
        strength,
        float(np.interp(-0.5, -filters.gain, np.arange(points // 2 + 1))),
        tuple(steps),
        tuple(responses),
        tuple(tangents),
        np.stack([periodic_padding(coefficients - plain), periodic_padding(plain - stiff)]),
    )


def _turns_of(curve: FloatArray) -> FloatArray:
    """A curve of one turn, (n,), as it reads from each of its places on, (n + 1, n); row n − j has it moved on by j."""
    return sliding_window_view(np.concatenate([curve, curve]), curve.size)


def _tangent(response: FloatArray, strength: float, second_moment: float) -> FloatArray:
    """Change of the coefficients when a step moves by one standard deviation of its own place, for unit noise.

    A step of size α is placed to σ/(α √(λ m₂)), m₂ the mean of ω² times the gain; α cancels in the product.
    """
    slope = 0.5 * (np.roll(response, 1) - np.roll(response, -1))
    return np.asarray(slope / np.sqrt(10.0**strength * second_moment))


def scatter_shares(
    lifts_mm: FloatArray, fitted_mm: FloatArray, kept: NDArray[np.bool_] | None = None
) -> tuple[FloatArray, FloatArray]:
    """Scatter where the lift changes, at least 1, and in the resting run, at most 1, over that of all readings.

    lifts, fitted, kept: (lobes, n); answers: (lobes,). A coarse gauge reads a perfect 0.00 all along the resting run,
    which says nothing of the noise on the flanks. Plain numbers.
    """
    residual = (lifts_mm - fitted_mm) ** 2
    kept = np.ones(residual.shape, dtype=np.bool_) if kept is None else kept
    low, high = fitted_mm.min(axis=1), fitted_mm.max(axis=1)
    moving = fitted_mm > (low + _RESTING_SHARE * (high - low))[:, None]
    whole, part, rest = (
        np.where(chosen, residual, 0.0).sum(axis=1) / np.maximum(chosen.sum(axis=1), 1)
        for chosen in (kept, kept & moving, kept & ~moving)
    )
    whole = np.maximum(whole, 1e-300)
    # what the two parts of even noise differ by now and then is no reason to part them
    chance = 1.0 + 2.5 * np.sqrt(2.0 / np.maximum((kept & moving).sum(axis=1), 1))
    apart = part > chance * whole
    return np.sqrt(np.where(apart, part / whole, 1.0)), np.sqrt(np.where(apart, np.minimum(rest / whole, 1.0), 1.0))


def shares(correlations: FloatArray, value: FloatArray, variance: FloatArray, least_variance: float) -> FloatArray:
    """How likely each correlation and strength is, up to a factor; value, variance: (correlations, strengths).

    value: −2 log likelihood. least_variance: of a reading's rounding, 0 where it has none. Correlated noise of more
    than about a division would be a broken gauge, so where the readings are silent it is not taken for likely.
    """
    twice = np.log(1.0 - correlations)[:, None] - value
    if least_variance > 0.0:
        slow = np.where(correlations[:, None] > 0.0, np.maximum(variance - least_variance, 0.0), 0.0)
        twice = twice - slow / (_SLOW_NOISE * least_variance)
    return np.asarray(np.exp(0.5 * (twice - twice.max())))


def hidden_variance(
    correlations: FloatArray, share: FloatArray, variance: FloatArray, least_variance: float, *, whole_turn: bool
) -> FloatArray:
    """Variance of each noise that hides in the lobe's form, (correlations,), on a whole turn or an event alone.

    share, variance: (correlations, strengths), how likely each noise is and its variance. Counted is what is more than
    rounding alone, whose errors are counted where they hang together.
    """
    slow = (share * np.maximum(variance - least_variance, 0.0)).sum(axis=1) / share.sum()
    on_dial = _HIDDEN_ON_DIAL if whole_turn else _HIDDEN_ON_DIAL_WITHOUT_REST
    power = on_dial if least_variance > 0.0 else _HIDDEN
    return np.asarray(slow * ((1.0 - correlations) ** power - 1.0))


def _mean_noise(
    spectrum: _Spectrum, frequency: FloatArray, strength: float, correlation: float
) -> tuple[FloatArray, FloatArray, float]:
    """Noise spectra for unit variance seen, as counted and as seen, and that variance in the median lobe.

    Averaged over correlations and strengths round the likeliest, each by how likely it is. Few readings can't tell
    correlated noise from form; a covariance for the likeliest correlation alone would be too sure. What rounding adds
    is free, and its size is known.
    """
    strengths = strength + np.arange(-3.0, 3.1, 0.5)
    correlations, free = np.append(CORRELATIONS, correlation), np.zeros(1)
    if spectrum.least_variance > 0.0:
        free = _FREE_SHARES
    correlations, free = (grid.ravel() for grid in np.meshgrid(correlations, free))
    value, found = _likelihood(spectrum, PENALTY_ORDER, strengths, correlations, free)
    middle = median(found, axis=2)
    share = shares(correlations, value, middle, spectrum.least_variance)
    if spectrum.least_variance > 0.0:
        share *= np.exp(-2.0 * np.log(free[:, None] * middle / spectrum.least_variance) ** 2)
    variance = (share * middle).sum(axis=1) / share.sum()
    shape = _noise_shape(frequency, correlations[:, None], free[:, None])
    counted = variance + hidden_variance(correlations, share, middle, spectrum.least_variance, whole_turn=True)
    total = float(variance.sum())
    return np.asarray(counted @ shape / total), np.asarray(variance @ shape / total), total


def _strength(spectrum: _Spectrum, points: int) -> tuple[int, float, float, FloatArray]:
    """Penalty order, log strength, lag-one correlation and each lobe's noise variance times the points."""
    order = PENALTY_ORDER
    strength, correlation, plain = _best_strength(spectrum, order, np.zeros(1))
    _, variance = _likelihood(spectrum, order, np.array([strength]), np.zeros(1))
    if np.sqrt(median(variance) / points) < CALCULATED_NOISE_MM:
        order = CALCULATED_PENALTY_ORDER
        strength, correlation, _ = _best_strength(spectrum, order, np.zeros(1))
    else:
        other = _best_strength(spectrum, order, np.array([0.0, 0.2, 0.4, 0.6, 0.8, 0.95]))
        if other[2] < plain - CORRELATION_GAIN:
            strength, correlation, _ = other
    _, variance = _likelihood(spectrum, order, np.array([strength]), np.array([correlation]))
    return order, strength, correlation, variance[0, 0]


@frozen
class _Filters:
    """Transfer functions of the uniform fit, each (harmonics,): basis b, noise S, gain, answer to a free row."""

    basis: FloatArray
    noise: FloatArray
    gain: FloatArray
    difference: FloatArray
    response: FloatArray


def _filters(frequency: FloatArray, order: int, strength: float, correlation: float) -> _Filters:
    basis = symbol(frequency)
    noise = _noise_shape(frequency, correlation)
    penalty = 10.0**strength * _penalty(frequency, order) * noise
    whole = basis**2 + penalty
    difference = np.sqrt(_penalty(frequency, order))
    return _Filters(basis, noise, basis**2 / whole, difference, 10.0**strength * difference * noise / whole)


def _uniform_steps(
    transform: NDArray[np.complex128], filters: _Filters, points: int, strength: float, variance: FloatArray
) -> list[Steps]:
    hat = np.fft.irfft(1.0 - filters.gain, points)
    scale = 10.0 ** (0.5 * strength)
    residual = scale * np.fft.irfft(transform * (filters.difference * filters.gain / filters.basis), points, axis=1)
    leverage, turned = np.full(points, hat[0]), _turns_of(hat)
    return [
        find_steps(row, leverage, lambda j: turned[points - j], float(noise))
        for row, noise in zip(residual, variance, strict=True)
    ]


def _renewed(steps: Steps, hat: FloatArray) -> Steps:
    """The same rows with the kernel of another strength."""
    if steps.rows.size == 0:
        return steps
    lag = np.mod(steps.rows[:, None] - steps.rows[None, :], hat.size)
    return Steps(steps.rows, np.linalg.inv(np.eye(steps.rows.size) - hat[lag]))


def _differences(coefficients: FloatArray, rows: IndexArray) -> FloatArray:
    """Fourth differences of one turn's coefficients centred on the rows."""
    around = coefficients[np.mod(rows[:, None] + np.arange(-2, 3), coefficients.size)]
    return np.asarray(around @ FOURTH_DIFFERENCE)


def _stepped_part(
    transform: NDArray[np.complex128], filters: _Filters, steps: list[Steps], points: int
) -> NDArray[np.complex128]:
    """Transform of that part of the lift which the jerk steps carry."""
    with np.errstate(divide="ignore"):
        template = np.where(filters.difference > 0.0, filters.basis / filters.difference, 0.0)
    coefficients = np.fft.irfft(transform * (filters.gain / filters.basis), points, axis=1)
    renewed = [_renewed(found, np.fft.irfft(1.0 - filters.gain, points)) for found in steps]
    impulses = np.zeros((transform.shape[0], points))
    for row, found in enumerate(renewed):
        impulses[row, found.rows] = found.kernel @ _differences(coefficients[row], found.rows)
    return np.asarray(template * np.fft.rfft(impulses, axis=1))


def mean_square_frequency(strength: float, order: int, readings_per_knot: float) -> float:
    """Mean of ω² times the gain of a fit, over all frequencies, as if the readings were even.

    In radians per knot, squared.
    """
    frequency = np.linspace(0.0, np.pi, 2048)
    basis = symbol(frequency) ** 2 * readings_per_knot
    gain = basis / (basis + 10.0**strength * _penalty(frequency, order))
    return float((frequency**2 * gain).mean())
