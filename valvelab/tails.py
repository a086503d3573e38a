"""Tails of the F and of Student's distribution, from the incomplete beta function.

A library of special functions costs a command more to load than its own work takes; the tests hold these against one.
Source: continued fraction of the incomplete beta function (DLMF 8.17.22), evaluated forwards (modified Lentz).
"""

from __future__ import annotations

import math
from functools import lru_cache

TINY = 1e-300
MOST_TERMS = 10_000
EXACT = 1e-15


def incomplete_beta(a: float, b: float, x: float) -> float:
    """Regularised incomplete beta function Iₓ(a, b), a plain number in [0, 1].

    a, b: above 0. x: in [0, 1]; what lies outside counts as its nearer end.
    """
    if x <= 0.0:
        return 0.0
    if x >= 1.0:
        return 1.0
    if x > (a + 1.0) / (a + b + 2.0):
        return 1.0 - incomplete_beta(b, a, 1.0 - x)
    log_front = math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x)
    front = math.exp(log_front) / a
    c, d = 1.0, 1.0 / _away(1.0 - (a + b) * x / (a + 1.0))
    product = d
    for m in range(1, MOST_TERMS):
        even = m * (b - m) * x / ((a + 2 * m - 1.0) * (a + 2 * m))
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1.0))
        for term in (even, odd):
            d = 1.0 / _away(1.0 + term * d)
            c = _away(1.0 + term / c)
            product *= c * d
        if abs(c * d - 1.0) < EXACT:
            break
    return min(front * product, 1.0)


def _away(value: float) -> float:
    """A divisor that is not nothing."""
    return value if abs(value) > TINY else TINY


def f_tail(ratio: float, upper: float, lower: float) -> float:
    """Probability that an F ratio with these degrees of freedom (above 0) is larger; 0 of infinity."""
    return 0.0 if math.isinf(ratio) else incomplete_beta(lower / 2.0, upper / 2.0, lower / (lower + upper * ratio))


@lru_cache(maxsize=256)
def student_quantile(freedom: float, share: float) -> float:
    """Where so large a share (above a half, below 1) of Student's distribution lies below; freedom above 0.

    By bisection of its tail, to the last digits. The few that are asked for are asked for again and again, and kept.
    """
    tail, high = 2.0 * (1.0 - share), 1.0

    def beyond(t: float) -> bool:
        return incomplete_beta(freedom / 2.0, 0.5, freedom / (freedom + t * t)) <= tail

    while not beyond(high):
        high *= 2.0
    low = 0.0
    while high - low > 4e-16 * high:
        middle = 0.5 * (low + high)
        if middle in (low, high):
            break
        low, high = (low, middle) if beyond(middle) else (middle, high)
    return 0.5 * (low + high)
