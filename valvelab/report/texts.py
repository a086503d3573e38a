"""Standing texts of the certificate."""

from __future__ import annotations

UNCERTAINTY: tuple[str, ...] = (
    (
        "u is the standard uncertainty of the value beside it. It combines, by the law of propagation (JCGM 100:2008), "
        "the noise and repeatability seen in the readings with the stated uncertainties of probe and encoder and the "
        "stated temperature; where the relation is not plain, distributions are propagated instead (JCGM 101:2008). "
        "y ± 2u covers about 95 % of the values that could reasonably be meant."
    ),
    (
        "The chance of conformity is the probability that the true value lies within the limits, "
        "Φ((U − y)/u) − Φ((L − y)/u) (JCGM 106:2012). A value without a known uncertainty is decided by itself alone, "
        "and a note says so."
    ),
    (
        "A dash stands for a value that could not be derived; a note says why. Readings are never altered: outliers "
        "are left out of the fit, counted and listed."
    ),
)

RULES = {
    "guarded": "Guarded rule (ISO 14253-1:2017): accepted where the chance of conformity is at least {sure:.0%}, "
    "rejected where it is at most {unsure:.0%}, undecided between.",
    "simple": "Simple rule: decided by the measured value alone; the chance of conformity is given for information.",
}
