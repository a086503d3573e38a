"""What a lot's spread leaves of its limits: performance indices with their intervals, for values that are normal.

Sources: ISO 22514-2 (Pp = (U − L)/6s, Ppk the distance to the nearer limit over 3s, for a normal distribution);
NIST/SEMATECH e-Handbook of Statistical Methods, 6.1.6 (definitions, interval of the first by chi squared). Against the
nearer limit alone 3 Ppk √n is distributed as noncentral t, which gives the second its interval; the large-sample form
is A. F. Bissell's, "How reliable is your capability index?", Applied Statistics 39 (1990) 331.
"""

from __future__ import annotations

from math import inf, sqrt

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.phrase import Phrase

CONFIDENCE = 0.95
FEWEST = 2
FEWEST_FOR_FORM = 8
NORMAL_UP_TO = 0.752
EXACT_UP_TO = 1_000
"""Values up to which the interval is exact; beyond, the large-sample form differs by less than 0.0001."""


@frozen
class Index:
    """A plain number with the ends of its two-sided interval."""

    value: float
    least: float
    most: float


@frozen
class Capability:
    """Pp, None where a limit is missing, and Ppk."""

    pp: Index | None
    ppk: Index


def capability(
    mean: float, deviation: float, count: int, lower: float | None, upper: float | None, confidence: float = CONFIDENCE
) -> Capability:
    """Indices of `count` values with this mean and standard deviation against limits, all in one unit.

    Refuses fewer than two values, no spread at all, and no limit.
    """
    if count < FEWEST:
        raise CannotEvaluate(
            Reason.TOO_FEW_READINGS,
            Phrase("found {count} value, expected at least {fewest}", count=count, fewest=FEWEST),
        )
    if not deviation > 0.0:
        raise CannotEvaluate(Reason.OUT_OF_RANGE, Phrase("found values that are all the same, expected some spread"))
    if lower is None and upper is None:
        raise CannotEvaluate(Reason.MISSING_INPUT, Phrase("found no limit, expected one at least"))
    nearer = min(mean - (-inf if lower is None else lower), (inf if upper is None else upper) - mean)
    whole = (
        None
        if lower is None or upper is None
        else _spread_index((upper - lower) / (6.0 * deviation), count, confidence)
    )
    return Capability(whole, _nearer_index(nearer / (3.0 * deviation), count, confidence))


def _spread_index(value: float, count: int, confidence: float) -> Index:
    from scipy.special import gammaincinv

    half = 0.5 * (count - 1)
    least, most = (value * sqrt(float(gammaincinv(half, 0.5 + side * 0.5 * confidence)) / half) for side in (-1.0, 1.0))
    return Index(value, least, most)


def _nearer_index(value: float, count: int, confidence: float) -> Index:
    from scipy.special import nctdtrinc, ndtri

    tail = 0.5 * (1.0 - confidence)
    if count > EXACT_UP_TO:
        half = -float(ndtri(tail)) * sqrt(1.0 / (9.0 * count) + value**2 / (2.0 * (count - 1)))
        return Index(value, value - half, value + half)
    scale = 3.0 * sqrt(count)
    least, most = (float(nctdtrinc(count - 1, share, scale * value)) / scale for share in (1.0 - tail, tail))
    return Index(value, least, most)


def departure(values: FloatArray) -> float | None:
    """How far values, shape (n,), are from normal with their own mean and standard deviation; a plain number.

    The Anderson-Darling statistic, A² (1 + 0.75/n + 2.25/n²); above `NORMAL_UP_TO` a normal lot has it once in twenty.
    None for fewer than `FEWEST_FOR_FORM` values or without spread. Source: M. A. Stephens, "EDF statistics for goodness
    of fit", J. Am. Stat. Assoc. 69 (1974) 730; NIST/SEMATECH e-Handbook, 1.3.5.14.
    """
    from scipy.special import log_ndtr

    n = values.size
    if n < FEWEST_FOR_FORM or not np.ptp(values) > 0.0:
        return None
    z = np.sort((values - values.mean()) / values.std(ddof=1))
    places = np.arange(1.0, 2.0 * n, 2.0)
    square = -n - float(places @ (log_ndtr(z) + log_ndtr(-z[::-1]))) / n
    return square * (1.0 + 0.75 / n + 2.25 / n**2)
