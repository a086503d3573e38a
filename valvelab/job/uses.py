"""Every use once. What is listed is light; what a use does is imported behind one door, `use`, when it is wanted."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from valvelab.job.use import Use

USES: dict[str, str] = {
    "lobes": "lobe and camshaft characteristics, envelope and limit verdicts",
    "shaft": "eccentricity, runout and roundness per journal; straightness of the axis",
    "texture": "filtered surface-texture parameters of a trace",
    "springs": "forces, rate, solid height, coil-bind margin, stress and surge per spring",
    "sets": "the most matched sets of springs, then the tightest",
    "shims": "which spring and shims at which valve",
    "lash": "which shim under which bucket: swaps in the head first, then the fewest purchases",
    "phasing": "true TDC, centrelines, events and the correction, from a degree wheel",
    "motion": "valve lift, rule lift, piston clearance, contact and control speed",
    "compare": "what changed between two measurements: lobes worn or moved, springs gone soft",
    "liftcheck": "rule lift by an indicator at the retainer: the verdict on every valve of an event",
    "gauge": "repeatability and reproducibility of a measurement",
}
"""What each use is for, by its name: that of its command and of its part in a job."""
WITH_SHEET = frozenset({"shims", "lash"})
"""Uses that have a sheet to be read at the bench."""
WITH_CARD = frozenset({"lobes"})
"""Uses that give a cam card."""
CARD_ENDINGS = (".pdf", ".toml")
"""A card to read, and one that `phasing` takes as its spec."""


def use(name: str) -> Use[Any, Any]:
    """What a use does; KeyError for a name that is none."""
    match name:
        case "lobes":
            from valvelab.job import lobes

            return lobes.USE
        case "shaft":
            from valvelab.job import shaft

            return shaft.USE
        case "texture":
            from valvelab.job import texture

            return texture.USE
        case "springs":
            from valvelab.job import springs

            return springs.USE
        case "sets":
            from valvelab.job import sets

            return sets.USE
        case "shims":
            from valvelab.job import shims

            return shims.USE
        case "lash":
            from valvelab.job import lash

            return lash.USE
        case "phasing":
            from valvelab.job import phasing

            return phasing.USE
        case "motion":
            from valvelab.job import motion

            return motion.USE
        case "gauge":
            from valvelab.job import gauge

            return gauge.USE
        case "liftcheck":
            from valvelab.job import liftcheck

            return liftcheck.USE
        case "compare":
            from valvelab.job import compare

            return compare.USE
    raise KeyError(name)
