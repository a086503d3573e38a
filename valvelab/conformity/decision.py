"""Deciding with the measurement's uncertainty.

Sources: JCGM 106:2012 (probability of conformity), ISO 14253-1:2017 (guarded rule, default 95 %).
"""

from __future__ import annotations

import math
from statistics import NormalDist
from typing import Literal

from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.phrase import Phrase

Rule = Literal["guarded", "simple"]
Outcome = Literal["accept", "reject", "undecided"]
TOO_WIDE = Phrase("u is too large for these limits: no measured value could be accepted")


@frozen
class Decision:
    """Outcome, the probability that the true value conforms (None without uncertainty), the rule used.

    reason: why it is undecided where no measured value at all could have been accepted, else empty.
    """

    outcome: Outcome
    probability: float | None
    rule: Rule
    reason: str = ""


def normal_distribution(z: float) -> float:
    """Φ(z), accurate in both tails. Plain number in, probability out."""
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def probability_conforming(
    measured: float, standard_uncertainty: float, lower: float | None, upper: float | None
) -> float:
    """Probability, 0 to 1, that the true value lies within [lower, upper]; a missing limit is open.

    Φ((U − y)/u) − Φ((L − y)/u), evaluated from the nearer tail so that small values keep their digits.
    Source: JCGM 106:2012, clause 7. Raises CannotEvaluate(OUT_OF_RANGE) for an uncertainty not above 0.
    """
    y, u = measured, standard_uncertainty
    if not (u > 0.0 and math.isfinite(u)):
        raise CannotEvaluate(
            Reason.OUT_OF_RANGE, Phrase("standard uncertainty: found {u}, expected above 0", u=f"{u:g}")
        )
    above = 0.0 if upper is None else normal_distribution((y - upper) / u)
    below = 0.0 if lower is None else normal_distribution((lower - y) / u)
    if above + below <= 0.5:
        return 1.0 - above - below
    if upper is not None and y > upper:
        return max(0.0, normal_distribution((upper - y) / u) - below)
    if lower is not None and y < lower:
        return max(0.0, normal_distribution((y - lower) / u) - above)
    return max(0.0, 1.0 - above - below)


def decide(
    measured: float,
    standard_uncertainty: float | None,
    lower: float | None,
    upper: float | None,
    rule: Rule = "guarded",
    confidence: float = 0.95,
) -> Decision:
    """Accept, reject or leave undecided one measured value against its limits.

    `guarded`: accept where the probability of conformity reaches `confidence`, reject where it is at most
    1 − `confidence` and the measured value itself lies outside, undecided between. `simple`: by the measured value
    alone. Without an uncertainty the simple rule is used (the caller says so in a note).
    Source: ISO 14253-1:2017, JCGM 106:2012.
    """
    inside = (lower is None or measured >= lower) and (upper is None or measured <= upper)
    if standard_uncertainty is None or standard_uncertainty <= 0.0:
        return Decision("accept" if inside else "reject", None, "simple")
    probability = probability_conforming(measured, standard_uncertainty, lower, upper)
    if rule == "simple":
        return Decision("accept" if inside else "reject", probability, "simple")
    if probability >= confidence:
        return Decision("accept", probability, "guarded")
    if probability <= 1.0 - confidence and not inside:
        return Decision("reject", probability, "guarded")
    return Decision("undecided", probability, "guarded", _too_wide(standard_uncertainty, lower, upper, confidence))


def _too_wide(u: float, lower: float | None, upper: float | None, confidence: float) -> str:
    """What to say where u fills the band: even a value right in its middle would not be accepted."""
    if lower is None or upper is None:
        return ""
    best = probability_conforming(0.5 * (lower + upper), u, lower, upper)
    return "" if best >= confidence else TOO_WIDE


def guard_band(standard_uncertainty: float | None, rule: Rule, confidence: float) -> float:
    """How far inside a limit a value must lie to be accepted: z·u of the confidence, one-sided; 0 where simple.

    In the unit of `standard_uncertainty`. Source: ISO 14253-1:2017, guard band from the probability of conformity.
    """
    if rule != "guarded" or not standard_uncertainty:
        return 0.0
    return NormalDist().inv_cdf(confidence) * standard_uncertainty


def nearest_branch(measured: float, lower: float | None, upper: float | None, period: float) -> float:
    """The measured value plus whole periods, so that it lies nearest its limits on the circle.

    With two limits nearest their middle, with one nearest that limit. All in one unit; needs one limit at least.
    """
    ends = [end for end in (lower, upper) if end is not None]
    home = math.fsum(ends) / len(ends)
    return measured - period * round((measured - home) / period)
