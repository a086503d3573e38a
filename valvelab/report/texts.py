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

SHORT_UNCERTAINTY = (
    "u is the standard uncertainty of the value beside it (JCGM 100:2008); y ± 2u covers about 95 % of the values that "
    "could reasonably be meant. Conforms: the probability that the true value lies within the limits (JCGM 106:2012)."
)

WHERE_DEFINED = "Definitions: valvelab characteristics. Every row and plot: the full paper (valvelab certify --full)."

SOURCES = "Method and sources"
"""The section that lists the files read; the foot of a page points there."""

CARRIED = (
    "The files that were read, byte for byte, and the full results are attached to this PDF. The command valvelab "
    "verify takes them out, computes everything again and compares every number; the certificate's number follows from "
    "them."
)

FIT = (
    "One smoothing spline is fitted to each lobe and everything on this paper is read from it. Its strength follows "
    "the noise seen in the readings (restricted likelihood): form of the wavelength given passes by half, longer form "
    "whole. Readings left out of the fit stay in the carried file."
)

RULES = {
    "guarded": "Guarded rule (ISO 14253-1:2017): accepted where the chance of conformity is at least {sure:.0f} %, "
    "rejected where it is at most {unsure:.0f} %, undecided between.",
    "simple": "Simple rule: decided by the measured value alone; the chance of conformity is given for information.",
}
