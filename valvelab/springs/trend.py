"""A straight trend through a few measured values, and where it crosses a limit.

Sources: weighted least squares (Björck, Numerical Methods for Least Squares Problems) with Student's factor; scatter
beyond what the values state by the Birge ratio (R. T. Birge, Phys. Rev. 40 (1932) 207); the interval of a crossing
after Fieller, J. R. Stat. Soc. B 16 (1954) 175.
"""

from __future__ import annotations

from math import sqrt

import numpy as np

from valvelab.arrays import FloatArray, finite, read_only
from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.phrase import Phrase
from valvelab.tails import student_quantile

FEWEST = 2
CONFIDENCE = 0.95


@frozen
class Trend:
    """y = level + slope · (x − centre), through the values that count (`weights` above 0).

    `gains` (n,): how much the slope moves per unit of each value; `shares` (n,): the same for the level. `variances`
    (n,): of each value, enlarged where the values scatter about the line by more than they state. freedom: degrees of
    freedom of that scatter, n − 2; of two values nobody knows it, and nothing is significant.
    """

    centre: float
    level: float
    slope: float
    shares: FloatArray
    gains: FloatArray
    variances: FloatArray
    freedom: int

    @property
    def slope_u(self) -> float:
        """Standard uncertainty of the slope, in units of y over units of x."""
        return sqrt(float(self.gains**2 @ self.variances))

    def at(self, x: float) -> float:
        """The line's value at a place; in units of y."""
        return self.level + self.slope * (x - self.centre)

    def significant(self, confidence: float = CONFIDENCE) -> bool:
        """Whether the slope differs from 0 at that confidence, two-sided. No unit."""
        return self.freedom > 0 and abs(self.slope) > student_factor(self.freedom, confidence) * self.slope_u


def fit_trend(x: FloatArray, y: FloatArray, u: FloatArray | None, counts: FloatArray | None = None) -> Trend:
    """The line through values `y` at places `x` with standard uncertainties `u`, (n,) each, u above 0.

    `u` None: none are known, and the scatter about the line tells, which needs three values. `counts` (n,): 1 for a
    value that the line goes through, 0 for one that stands beside it. Refuses fewer than two places, and two without u.
    """
    x, y = finite(x, "places", 1), finite(y, "values", 1)
    used = np.ones(x.size) if counts is None else counts
    weights = used if u is None else used / finite(u, "uncertainties", 1) ** 2
    if len(set(x[used > 0.0].tolist())) < FEWEST:
        raise CannotEvaluate(
            Reason.TOO_FEW_READINGS, Phrase("trend: found {count} stages, expected at least 2", count=int(used.sum()))
        )
    spare = int(used.sum()) - 2
    if u is None and not spare:
        raise CannotEvaluate(
            Reason.TOO_FEW_READINGS, Phrase("trend: two stages without a known uncertainty show no scatter")
        )
    shares = weights / weights.sum()
    centre = float(shares @ x)
    moments = weights * (x - centre)
    gains = moments / float(moments @ (x - centre))
    level, slope = float(shares @ y), float(gains @ y)
    residuals = y - level - slope * (x - centre)
    excess = float(weights @ residuals**2) / spare if spare else 0.0
    variances = np.full(x.size, excess) if u is None else u**2 * max(1.0, excess)
    return Trend(centre, level, slope, read_only(shares), read_only(gains), read_only(variances), spare)


@frozen
class Crossing:
    """Where a trend meets a limit, in the unit of x, and the ends of its interval."""

    place: float
    earliest: float
    latest: float


def crossing(
    trend: Trend,
    limit: float,
    limit_gains: FloatArray | None = None,
    common_u: float = 0.0,
    confidence: float = CONFIDENCE,
) -> Crossing | None:
    """Where the trend meets `limit`; None where its slope is not significant.

    `limit_gains` (n,): how much the limit itself moves per unit of each value, where it is a share of one of them;
    `common_u`: standard uncertainty of the limit against all values alike. Interval: all places at which the line does
    not differ from the limit, two-sided at `confidence`.
    """
    if not trend.significant(confidence):
        return None
    factor = student_factor(trend.freedom, confidence)
    away = trend.shares if limit_gains is None else trend.shares - limit_gains
    still = float(away**2 @ trend.variances) + common_u**2
    both = float((away * trend.gains) @ trend.variances)
    gap = trend.level - limit
    square = trend.slope**2 - factor**2 * trend.slope_u**2
    half = trend.slope * gap - factor**2 * both
    root = sqrt(max(half**2 - square * (gap**2 - factor**2 * still), 0.0))
    ends = sorted(((-half - root) / square, (-half + root) / square))
    return Crossing(trend.centre - gap / trend.slope, trend.centre + ends[0], trend.centre + ends[1])


def student_factor(freedom: int, confidence: float = CONFIDENCE) -> float:
    """Two-sided factor of Student's distribution with 1 degree of freedom or more; a plain number."""
    return student_quantile(freedom, 0.5 + 0.5 * confidence)
