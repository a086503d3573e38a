"""Propagation of reading noise to a lobe described under another follower.

The contour's support at φ moves by cos ψ times a change of lift there, and the other follower's lift by 1/cos ψ₂ times
that, so δs₂(θ₂) = c δs(θ) with c = cos ψ/cos ψ₂, at the source angle θ of the same contact. A derivative by θ₂ takes
one factor dθ/dθ₂ an order; how c and that factor change along the lobe is left out, for noise varies much faster.
Source: plane geometry of parallel curves, to first order; JCGM 100:2008, clause 5.
"""

from __future__ import annotations

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.follower.contour import Contour
from valvelab.follower.conversion import Followed, angle_of
from valvelab.follower.shapes import Shape
from valvelab.frozen import frozen
from valvelab.lobe.events import Places
from valvelab.lobe.profile import FittedLobes
from valvelab.lobe.propagation import Propagation, Term


@frozen
class ContactMap:
    """At each knot of the new description: source angle less its own (cam deg), the gain c, and dθ/dθ₂; (knots,)."""

    offset_cam_deg: FloatArray
    gain: FloatArray
    stretch: FloatArray

    @classmethod
    def same(cls, count: int) -> ContactMap:
        """A follower that meets the lobe where the source did."""
        return cls(np.zeros(count), np.ones(count), np.ones(count))

    @classmethod
    def of(cls, followed: Followed, met: Contour, knots: FloatArray, shape: Shape) -> ContactMap:
        """From the contacts found; `met`: the contour at them. `knots`: shape (n,), cam deg."""
        offset = np.mod(followed.source_cam_deg - knots + 180.0, 360.0) - 180.0
        new = np.radians(angle_of(met, shape) - met.normal_cam_deg)
        gain = np.cos(np.radians(met.pressure_angle_deg)) / np.cos(new)
        with np.errstate(divide="ignore", invalid="ignore"):
            stretch = np.abs(_turn(met, met.shape) / _turn(met, shape))
        return cls(offset, gain, np.where(np.isfinite(stretch), stretch, 1.0))


def _turn(found: Contour, shape: Shape) -> FloatArray:
    """dθ/dφ of the cam angle at which a follower meets the contour, by the direction of its normal."""
    if shape.kind == "flat":
        return np.ones_like(found.support_mm)
    q = found.support_mm + (shape.radius_mm or 0.0)
    return np.asarray((found.radius_mm + (shape.radius_mm or 0.0)) * q / (q**2 + found.slope_mm**2))


class FollowedPropagation(Propagation):
    """Uncertainties of lobes described under another follower, from the fit of their readings.

    Weights all along the lobe (areas) are taken as if both followers met it at the same angles.
    """

    def __init__(self, source: FittedLobes, maps: tuple[ContactMap, ...]) -> None:
        super().__init__(source)
        self._offset = np.stack([row.offset_cam_deg for row in maps])
        self._gain = np.stack([row.gain for row in maps])
        self._stretch = np.stack([row.stretch for row in maps])

    def covariance(self, *terms: Term) -> FloatArray:
        """Covariances of terms of the new description, shape (lobes, terms, terms); NaN where a place is missing.

        Each in the product of its terms' own units.
        """
        return super().covariance(*map(self.at_source, terms))

    def at_source(self, term: Term) -> Term:
        """The same change of the new description as a term of the readings' fit."""
        splines, found = self.fitted.splines, term.places.found
        rows, knots = np.arange(found.size), self._offset.shape[1]
        asked = np.where(found, term.places.angle_cam_deg, splines.start)
        place = (asked - splines.start) / splines.step
        if not splines.periodic:
            place = np.clip(place, 0.0, knots - 1.0)
        first = np.floor(place).astype(np.int64)
        share = place - first
        here, there = first % knots, (first + 1) % knots
        if not splines.periodic:
            there = np.minimum(first + 1, knots - 1)

        def between(values: FloatArray) -> FloatArray:
            return np.asarray((1.0 - share) * values[rows, here] + share * values[rows, there])

        angle = asked + between(self._offset)
        index, t = splines.locate(angle)
        factor = term.factor * between(self._gain) * between(self._stretch) ** term.order
        return Term(Places(index, t, np.where(found, angle, np.nan)), term.order, factor)
