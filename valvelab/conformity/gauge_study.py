"""Gauge study: how much of the variation seen is the measurement's own.

Parts crossed with appraisers, each part read several times by each. Sources: crossed random-effects analysis of
variance (NIST/SEMATECH e-Handbook 2.4); average-and-range method with the usual form's constants.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from valvelab.arrays import FloatArray, finite
from valvelab.conformity.analysis_of_variance import VarianceRow, crossed, one_way, tested
from valvelab.conformity.decision import normal_distribution
from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.phrase import Phrase

POOLING_P = 0.25
"""An interaction less certain than this is pooled into repeatability (common practice)."""


@frozen
class Components:
    """Standard deviations, in the readings' unit; None where a study can't tell."""

    repeatability: float
    reproducibility: float | None
    interaction: float | None
    part: float

    @property
    def grr(self) -> float:
        """Repeatability, reproducibility and interaction together. One standard deviation, in the readings' unit."""
        return math.sqrt(self.repeatability**2 + (self.reproducibility or 0.0) ** 2 + (self.interaction or 0.0) ** 2)

    @property
    def total(self) -> float:
        """Measurement and part together. One standard deviation, in the readings' unit."""
        return math.hypot(self.grr, self.part)

    @property
    def grr_percent(self) -> float | None:
        """Measurement over total, %; None where nothing varies."""
        return 100.0 * self.grr / self.total if self.total > 0.0 else None

    @property
    def ndc(self) -> int | None:
        """Number of distinct categories, ⌊1.41 part/GRR⌋, at least 1; None where the measurement shows no variation."""
        return max(1, math.floor(1.41 * self.part / self.grr)) if self.grr > 0.0 else None

    def percent_of_total(self, deviation: float | None) -> float | None:
        """One standard deviation over the total, %."""
        return None if deviation is None or self.total == 0.0 else 100.0 * deviation / self.total

    def grr_percent_of_tolerance(self, tolerance: float) -> float:
        """Six standard deviations of the measurement over the tolerance width, %. Common practice."""
        return 600.0 * self.grr / tolerance


@frozen
class AnovaStudy:
    """Components from the analysis of variance; its rows; whether the interaction was pooled, and its p value."""

    components: Components
    rows: tuple[VarianceRow, ...]
    interaction_pooled: bool | None
    interaction_p: float | None
    shape: tuple[int, int, int]


def _root(variance: float) -> float:
    """A variance component below 0 is reported as 0, as is usual."""
    return math.sqrt(max(0.0, variance))


def _study(readings: FloatArray) -> tuple[FloatArray, tuple[int, int, int]]:
    y = finite(readings, "readings", ndim=3)
    parts, appraisers, trials = y.shape
    if parts < 2 or trials < 2:
        raise CannotEvaluate(
            Reason.TOO_FEW_READINGS,
            Phrase(
                "gauge study: found {parts} parts × {appraisers} appraisers × {trials} trials, expected "
                "at least 2 parts and 2 trials",
                parts=parts,
                appraisers=appraisers,
                trials=trials,
            ),
        )
    return y, (parts, appraisers, trials)


def anova_study(readings: FloatArray) -> AnovaStudy:
    """Variance components of a balanced study.

    readings: shape (parts, appraisers, trials), at least 2 × 1 × 2. With one appraiser reproducibility is None. The
    interaction is pooled into repeatability where its p exceeds 0.25. Refuses single trials: repeatability would be
    missing. Readings in any unit; standard deviations in the same.
    """
    y, shape = _study(readings)
    _, appraisers, trials = shape
    if appraisers == 1:
        between, within = one_way(y[:, 0, :])
        components = _single(between.mean_square, within.mean_square, trials)
        named = VarianceRow("part", between.freedom, between.sum_of_squares, between.f_ratio, between.p_value)
        rows: tuple[VarianceRow, ...] = (named, VarianceRow("repeatability", within.freedom, within.sum_of_squares))
        return AnovaStudy(components, rows, None, None, shape)
    part, appraiser, interaction, repeat = crossed(y)
    pooled = interaction.p_value is None or interaction.p_value > POOLING_P
    if pooled:
        error = VarianceRow(
            "repeatability", interaction.freedom + repeat.freedom, interaction.sum_of_squares + repeat.sum_of_squares
        )
        rows = (tested(part, error), tested(appraiser, error), error)
    else:
        rows = (part, appraiser, interaction, repeat)
    components = _crossed_components([row.mean_square for row in rows], shape)
    return AnovaStudy(components, rows, pooled, interaction.p_value, shape)


def _single(part: float, repeat: float, trials: int) -> Components:
    return Components(math.sqrt(repeat), None, None, _root((part - repeat) / trials))


def _crossed_components(mean_squares: list[float], shape: tuple[int, int, int]) -> Components:
    """From expected mean squares; three rows where the interaction is pooled, four otherwise."""
    parts, appraisers, trials = shape
    part, appraiser, against, repeat = (*mean_squares[:3], mean_squares[-1])
    return Components(
        repeatability=math.sqrt(repeat),
        reproducibility=_root((appraiser - against) / (parts * trials)),
        interaction=None if len(mean_squares) == 3 else _root((against - repeat) / trials),
        part=_root((part - against) / (appraisers * trials)),
    )


def components_from(mean_squares: list[float], shape: tuple[int, int, int]) -> Components:
    """Components from the mean squares of an analysis' rows in order. Standard deviations in the readings' unit."""
    if shape[1] == 1:
        return _single(mean_squares[0], mean_squares[1], shape[2])
    return _crossed_components(mean_squares, shape)


def study_uncertainty(study: AnovaStudy, figure: Callable[[Components], float | None]) -> float | None:
    """Standard uncertainty of a figure from the degrees of freedom of the study.

    A mean square with ν degrees of freedom has the relative standard deviation √(2/ν); propagated by differences
    (JCGM 100). None where the figure is.
    """
    squares = [row.mean_square for row in study.rows]
    total = 0.0
    for index, row in enumerate(study.rows):
        step = 1e-4 * squares[index]
        if step == 0.0:
            continue
        ends = []
        for sign in (1.0, -1.0):
            moved = [*squares]
            moved[index] += sign * step
            ends.append(figure(components_from(moved, study.shape)))
        if ends[0] is None or ends[1] is None:
            return None
        slope = (ends[0] - ends[1]) / (2.0 * step)
        total += (slope * squares[index]) ** 2 * 2.0 / row.freedom
    return math.sqrt(total)


def range_constants(size: int) -> tuple[float, float]:
    """Mean (d2) and standard deviation (d3) of the range of `size` independent normal values, to 1e-6.

    P(R ≤ r) = n ∫ φ(x) (Φ(x + r) − Φ(x))ⁿ⁻¹ dx; E[R] and E[R²] follow from its tail. Source: order statistics of the
    normal distribution (Tippett 1925); the usual tables print these rounded. Raises CannotEvaluate(OUT_OF_RANGE).
    """
    if size < 2:
        raise CannotEvaluate(
            Reason.OUT_OF_RANGE, Phrase("range constants: found {size} values, expected 2 or more", size=size)
        )
    count, step = 400, 0.025
    x = np.arange(-count, 2 * count + 1) * step
    phi = np.asarray([normal_distribution(float(value)) for value in x])
    density = np.exp(-0.5 * x[: 2 * count + 1] ** 2) / math.sqrt(2.0 * math.pi)
    lowest = np.arange(2 * count + 1)
    ranges = np.arange(count + 1)
    between = phi[lowest[:, None] + ranges] - phi[lowest][:, None]
    tail = 1.0 - size * step * (density @ between ** (size - 1))
    simpson = np.where(ranges % 2 == 1, 4.0, 2.0) * step / 3.0
    simpson[[0, -1]] = step / 3.0
    mean = float(simpson @ tail)
    square = 2.0 * float(simpson @ (ranges * step * tail))
    return mean, math.sqrt(square - mean * mean)


def form_constant(size: int, *, single_range: bool) -> float:
    """1/d2 (many ranges averaged: K1) or 1/d2* = 1/√(d2² + d3²) (one range: K2, K3), to the form's four decimals.

    Plain number.
    """
    mean, deviation = range_constants(size)
    return round(1.0 / (math.hypot(mean, deviation) if single_range else mean), 4)


def range_study(readings: FloatArray) -> Components:
    """Components by the average-and-range method; the interaction is not seen.

    readings: shape (parts, appraisers, trials), at least 2 × 1 × 2. Repeatability: mean range × K1; reproducibility:
    √((range of appraiser means × K2)² − EV²/(parts × trials)), 0 below; part: range of part means × K3. Readings in any
    unit; standard deviations in the same. Raises CannotEvaluate(TOO_FEW_READINGS).
    """
    y, (parts, appraisers, trials) = _study(readings)
    repeat = float(np.ptp(y, axis=2).mean()) * form_constant(trials, single_range=False)
    reproducibility = None
    if appraisers > 1:
        seen = float(np.ptp(y.mean(axis=(0, 2)))) * form_constant(appraisers, single_range=True)
        reproducibility = _root(seen**2 - repeat**2 / (parts * trials))
    part = float(np.ptp(y.mean(axis=(1, 2)))) * form_constant(parts, single_range=True)
    return Components(repeat, reproducibility, None, part)
