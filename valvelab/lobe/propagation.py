"""Propagation of reading noise through the fit to every characteristic.

To first order each characteristic is a linear functional of the spline's coefficients: values of the spline or its
derivatives at a few places, less the base circle's harmonic there, plus, for areas, weights all along. Its variance
follows from the coefficients' covariance. Source: JCGM 100:2008, clause 5.
"""

from __future__ import annotations

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.frozen import frozen
from valvelab.lobe.base_circle import harmonic_row
from valvelab.lobe.division import zero_deviation
from valvelab.lobe.events import IndexArray, Places
from valvelab.lobe.profile import FittedLobes
from valvelab.lobe.smoothing import FOURTH_DIFFERENCE, unpad
from valvelab.lobe.spline import DEGREE, basis_at, symbol_weights


@frozen
class Term:
    """factor × the order-th derivative of lift at one place of each lobe; factor: (lobes,)."""

    places: Places
    order: int
    factor: FloatArray


@frozen
class _PaddedSteps:
    """The jerk steps of all lobes, filled up with zeros to the greatest number p of them.

    responses, tangents: (lobes, p, padded), as in `Smoothed`; kernels: (lobes, p, p); columns: (lobes, 5 p), padded
    coefficients under each freed difference.
    """

    responses: FloatArray
    tangents: FloatArray
    kernels: FloatArray
    columns: IndexArray


class Propagation:
    """Standard uncertainties from reading noise, for one group of fitted lobes."""

    def __init__(self, fitted: FittedLobes) -> None:
        self.fitted = fitted
        count = len(fitted.names)
        plain = np.stack([fitted.base_weights(row) for row in range(count)])
        self._harmonic = plain
        self._base = np.stack([self._with_steps(row, weights) for row, weights in enumerate(plain)])
        shape = self._base.shape
        self._spread = fitted.smoothed.covariance.apply(self._base.reshape(-1, shape[2])).reshape(shape)
        self._gram = np.einsum("lik,ljk->lij", self._on_turn(self._base), self._spread[:, :, self._turn()])
        self._most_steps = max((steps.rows.size for steps in fitted.smoothed.steps), default=0)
        self._through = self._padded_steps() if self._most_steps else None

    def _padded_steps(self) -> _PaddedSteps:
        smoothed, most = self.fitted.smoothed, self._most_steps
        count, width = smoothed.splines.padded.shape
        responses, tangents = np.zeros((count, most, width)), np.zeros((count, most, width))
        kernels = np.zeros((count, most, most))
        columns = np.zeros((count, most, FOURTH_DIFFERENCE.size), dtype=np.int64)
        for lobe, steps in enumerate(smoothed.steps):
            size = steps.rows.size
            if size:
                responses[lobe, :size], tangents[lobe, :size] = smoothed.responses[lobe], smoothed.tangents[lobe]
                kernels[lobe, :size, :size] = steps.kernel
                columns[lobe, :size] = smoothed.step_columns(lobe)
        return _PaddedSteps(responses, tangents, kernels, columns.reshape(count, -1))

    def _turn(self) -> slice:
        splines = self.fitted.splines
        return slice(3, 3 + splines.intervals) if splines.periodic else slice(None)

    def _on_turn(self, weights: FloatArray) -> FloatArray:
        """Padded weights, (…, padded), folded onto one turn where periodic."""
        splines = self.fitted.splines
        if not splines.periodic:
            return weights
        flat = unpad(weights.reshape(-1, weights.shape[-1]), splines.intervals)
        return flat.reshape(*weights.shape[:-1], -1)

    def _with_steps(self, lobe: int, weights: FloatArray) -> FloatArray:
        """Dense weights (rows, padded) on the fit with jerk steps, as weights on the fit without them."""
        smoothed = self.fitted.smoothed
        if smoothed.steps[lobe].rows.size == 0:
            return weights
        carried = smoothed.through_steps(lobe, weights @ smoothed.responses[lobe].T)
        total = np.array(weights)
        for column, share in zip(smoothed.step_columns(lobe), carried.T, strict=True):
            total[:, column] += share[:, None] * FOURTH_DIFFERENCE
        return total

    def at_source(self, term: Term) -> Term:
        """The term on the fit of the readings that changes the lobe as this one does: here the same."""
        return term

    def standard(self, *terms: Term) -> FloatArray:
        """Standard uncertainty, shape (lobes,), of the sum of the terms; NaN where a place is missing.

        In the terms' own unit.
        """
        return np.asarray(np.sqrt(np.maximum(self.covariance(*terms).sum(axis=(1, 2)), 0.0)))

    def noise_length(self, order: int) -> float:
        """Cam degrees over which the noise of a derivative hangs together: its deviation over its slope's."""
        splines = self.fitted.splines
        index = splines.intervals // 2 + np.arange(7)
        cross = self.fitted.smoothed.covariance.cross(index[:, None], index[None, :])
        own, slope = (weights @ cross @ weights for weights in (symbol_weights(order), symbol_weights(order + 1)))
        return float(splines.step * np.sqrt(own / slope))

    def covariance(self, *terms: Term) -> FloatArray:
        """Covariances of the terms, shape (lobes, terms, terms); NaN where a place is missing.

        In the terms' own units.
        """
        columns, weights, base = self._assemble(terms)
        columns, weights, moved = self._through_steps(columns, weights)
        lobes = np.arange(columns.shape[0])[:, None, None]
        cross = self.fitted.smoothed.covariance.cross
        # lobe by lobe: that of all at once is as large as lobes × columns²
        own = [row @ cross(there[:, None], there[None, :]) @ row.T for there, row in zip(columns, weights, strict=True)]
        with_base = base @ self._spread[lobes, np.arange(3)[None, :, None], columns[:, None, :]]
        shared = with_base @ weights.swapaxes(1, 2)
        total = np.stack(own) + shared + shared.swapaxes(1, 2)
        total = total + (base @ self._gram) @ base.swapaxes(1, 2) + moved @ moved.swapaxes(1, 2)
        return np.asarray(total * self.fitted.noise_mm[:, None, None] ** 2 + self._rounding(columns, weights, base))

    @property
    def _own_zero_deviation(self) -> FloatArray:
        """What the gauge's division leaves open of a zero that is the table's own, (lobes,) in mm."""
        return np.where(self.fitted.own_zero, zero_deviation(self.fitted.conditioned.division_mm), 0.0)

    def _rounding(self, columns: IndexArray, weights: FloatArray, base: FloatArray) -> FloatArray:
        """What the gauge's division adds, (lobes, terms, terms): shared rounding errors, and that of a table's zero."""
        on_zero = self._own_zero_deviation[:, None] * base[:, :, 0]
        total = on_zero[:, :, None] * on_zero[:, None, :]
        if self.fitted.shared_rounding is not None:
            terms = np.arange(weights.shape[1])[:, None]
            for lobe, (there, own) in enumerate(zip(columns, weights, strict=True)):
                whole = base[lobe] @ self._base[lobe]
                np.add.at(whole, (terms, there[None, :]), np.nan_to_num(own))
                total[lobe] += self.fitted.rounding_covariance(lobe, whole)
        return np.asarray(total)

    def _through_steps(self, columns: IndexArray, weights: FloatArray) -> tuple[IndexArray, FloatArray, FloatArray]:
        """Add what each term picks up by way of the jerk steps, and its change as each step moves.

        Columns and weights are padded to one width for all lobes; the third answer is (lobes, terms, steps).
        """
        count, terms, _ = weights.shape
        if self._through is None:
            return columns, weights, np.zeros((count, terms, 1))
        steps = self._through
        there = columns[:, None, :]
        moved, on_responses = (
            weights @ np.take_along_axis(rows, there, axis=2).swapaxes(1, 2)
            for rows in (steps.tangents, steps.responses)
        )
        carried = on_responses @ steps.kernels.swapaxes(1, 2)
        more = (carried[..., None] * FOURTH_DIFFERENCE).reshape(count, terms, -1)
        return np.concatenate([columns, steps.columns], axis=1), np.concatenate([weights, more], axis=2), moved

    def _assemble(self, terms: tuple[Term, ...]) -> tuple[IndexArray, FloatArray, FloatArray]:
        """Coefficient indices (lobes, columns), each term's weights on them and on the harmonic (lobes, terms, …)."""
        step = self.fitted.splines.step
        count, width = len(self.fitted.names), DEGREE + 1
        columns = np.zeros((count, width * len(terms)), dtype=np.int64)
        weights = np.zeros((count, len(terms), width * len(terms)))
        base = np.zeros((count, len(terms), 3))
        for k, term in enumerate(terms):
            factor = np.where(term.places.found, term.factor, np.nan)
            alive = slice(width * k, width * (k + 1))
            # an open spline's last knot is the end of its last interval
            index = np.clip(term.places.index, 0, self.fitted.splines.intervals - 1)
            t = term.places.t + (term.places.index - index)
            columns[:, alive] = index[:, None] + np.arange(width)
            weights[:, k, alive] = factor[:, None] * basis_at(t, term.order) * step ** (-term.order)
            angle = np.where(term.places.found, term.places.angle_cam_deg, 0.0)
            base[:, k] = -factor[:, None] * harmonic_row(angle, term.order)
        return columns, weights, base

    def base_covariance(self, row: int) -> FloatArray:
        """Covariance (3, 3) of one lobe's zero, cosine and sine part, whether or not they were taken out. In mm²."""
        base = self.fitted.bases[row]
        assert base is not None
        if self.fitted.zero_taken_out and self.fitted.eccentricity_taken_out:
            weights, gram = self._base[row], self._gram[row]
        else:
            weights = self._with_steps(row, base.weights)
            gram = self._on_turn(weights) @ self.fitted.smoothed.covariance.apply(weights)[:, self._turn()].T
        noise = gram * float(self.fitted.noise_mm[row]) ** 2
        return np.asarray(noise + self.fitted.rounding_covariance(row, weights))

    def dense(self, weights: FloatArray, on_harmonic: FloatArray) -> FloatArray:
        """The same for weights on all padded coefficients, (lobes, padded), and on the harmonic, (lobes, 3)."""
        plain = weights + np.einsum("lj,ljk->lk", on_harmonic, self._harmonic)
        total = np.concatenate([self._with_steps(row, plain[row : row + 1]) for row in range(plain.shape[0])])
        product = self.fitted.smoothed.covariance.apply(total)[:, self._turn()]
        variance = np.einsum("lk,lk->l", self._on_turn(total), product) * self.fitted.noise_mm**2
        variance += [self.fitted.rounding_covariance(row, total[row : row + 1])[0, 0] for row in range(variance.size)]
        variance += (self._own_zero_deviation * on_harmonic[:, 0]) ** 2
        return np.asarray(np.sqrt(np.maximum(variance, 0.0)))
