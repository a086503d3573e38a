"""Every characteristic of fitted lobes with its standard uncertainty, for a whole group in one pass.

Angles are cam degrees on the table's own scale, not folded. A missing value is NaN here; the inspection turns it
into None with a reason. Source: common practice of the trade, as each
function says.
"""

from __future__ import annotations

from functools import cached_property
from math import comb

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.frozen import frozen
from valvelab.lobe.angle_error import Response, response, standard, summed_response
from valvelab.lobe.base_circle import harmonic_row
from valvelab.lobe.events import IndexArray, Lobes, Places, crossings, event_mask, extreme, near_nose, unroll
from valvelab.lobe.profile import FittedLobes
from valvelab.lobe.propagation import Propagation, Term
from valvelab.lobe.smoothing_bias import (
    crest_beside,
    doubt_covariance,
    doubt_of_sum,
    plateau_excess,
    smoothing_doubt,
    spacing,
    too_wide,
)
from valvelab.lobe.spline import symbol_weights
from valvelab.measured import Each

# Ramp and flank part where the acceleration, followed back from the flank's peak, falls to this share of it.
RAMP_SHARE = 0.05
LEAST_RAMP_LIFT_MM = 0.02
_NO_RAMP = (np.nan, np.nan, np.nan)


@frozen
class Instrument:
    """Standard uncertainties beyond the readings' own noise, and the temperature's effect per mm of lift."""

    probe_mm: float = 0.0
    encoder_cam_deg: float = 0.0
    expansion: float = 0.0


@frozen
class EventRow:
    """Opening, closing, duration (cam deg) and their middle at one lift."""

    lift_mm: float
    opening: Each
    closing: Each
    duration: Each
    centre: Each


@frozen
class RampEnds:
    """Angle, lift and velocity where each lobe's ramp meets the flank; NaN without a ramp; all (lobes,)."""

    angle_cam_deg: FloatArray
    lift_mm: FloatArray
    velocity: FloatArray


class LobeCharacteristics:
    """Answers for one group of fitted lobes; each method computes one characteristic for all of them."""

    def __init__(
        self, fitted: FittedLobes, instrument: Instrument | None = None, propagation: Propagation | None = None
    ) -> None:
        """`propagation`: where the lobes are not fitted to readings but derived from a fit, that of the fit."""
        self.fitted = fitted
        self.lobes: Lobes = unroll(fitted)
        self.propagation = propagation or Propagation(fitted)
        self.instrument = instrument or Instrument()
        self._rows = np.arange(len(fitted.names))
        self._events: dict[float, EventRow] = {}
        self.peak, self.peak_lift = extreme(self.lobes, 0, 1.0)

    def _value(self, places: Places, order: int) -> FloatArray:
        return self.lobes.splines.at(self._rows, places.index, places.t, order)

    def _lift_systematic(self, lift: FloatArray) -> FloatArray:
        return np.hypot(self.instrument.probe_mm, self.instrument.expansion * lift)

    def max_lift(self) -> Each:
        """Greatest lift of the fit, mm."""
        # a jerk step at the nose is seldom a false one, so the lift there owes nothing to it
        noise = self.propagation.standard(Term(self.peak, 0, np.ones_like(self.peak_lift)))
        return Each(self.peak_lift, np.hypot(noise, self._lift_systematic(self.peak_lift)))

    def _of_fit(self, *terms: Term) -> FloatArray:
        """Standard uncertainty, (lobes,), of a sum of terms by noise and smoothing."""
        return _root_sum(self.propagation.standard(*terms), smoothing_doubt(self.fitted, *terms))

    def peak_angle(self) -> Each:
        """Where lift is greatest.

        Its uncertainty is how far off the velocity rises out of its own noise: u_v/|a| on a rounded nose,
        √(2 u_v/|j|) on one where acceleration vanishes; and how far off the fit's blurred copy has its top, which shows
        how freely the top wanders on a flat nose.
        """
        noise = self.propagation.standard(Term(self.peak, 1, np.ones_like(self.peak_lift)))
        bend = np.abs(self._value(self.peak, 2))
        step = self.lobes.splines.step
        around = [self.lobes.splines.at(self._rows, *self._beside(side / step), 3) for side in (-2.0, 2.0)]
        jerk = np.maximum(np.abs(around[0]), np.abs(around[1]))
        root = np.sqrt(bend**2 + 2.0 * jerk * noise)
        with np.errstate(divide="ignore", invalid="ignore"):
            spread = np.where(root > 0.0, 2.0 * noise / (bend + root), np.nan)
        angle = near_nose(self.lobes, self.peak)
        wander = np.zeros_like(angle)
        if self.fitted.guide is not None:
            wander = near_nose(self.lobes, extreme(self.lobes, 0, 1.0, self.fitted.guide)[0]) - angle
        return Each(angle, _root_sum(spread, wander, self.instrument.encoder_cam_deg))

    def _beside(self, knots: float) -> tuple[IndexArray, FloatArray]:
        """Places a number of knots beside the peak."""
        splines = self.lobes.splines
        return splines.locate(splines.start + splines.step * (self.peak.index + self.peak.t + knots))

    def events(self, lift_mm: float) -> EventRow:
        """Crossings of one lift nearest the nose, the duration between them and their middle."""
        opening, closing = crossings(self.lobes, lift_mm)
        with np.errstate(divide="ignore", invalid="ignore"):
            rise, fall = 1.0 / self._value(opening, 1), 1.0 / self._value(closing, 1)
        off = self._lift_systematic(np.full_like(rise, lift_mm))
        # a lift too high by δ makes the flank pass it later by δ/s′
        terms = Term(opening, 0, -rise), Term(closing, 0, -fall)
        both = self.propagation.covariance(*terms) + doubt_covariance(self.fitted, *terms)
        u_opening, u_closing, shared = both[:, 0, 0], both[:, 1, 1], both[:, 0, 1]
        first, last = opening.angle_cam_deg, closing.angle_cam_deg
        moved_first, moved_last = (response(angle, np.ones_like(rise)) for angle in (first, last))

        def u(noise: FloatArray, systematic: FloatArray, moved: Response) -> FloatArray:
            return np.sqrt(np.maximum(noise, 0.0) + systematic**2 + self.by_angle(moved) ** 2)

        return EventRow(
            lift_mm,
            Each(first, u(u_opening, off * rise, moved_first)),
            Each(last, u(u_closing, off * fall, moved_last)),
            Each(last - first, u(u_opening + u_closing - 2.0 * shared, off * (rise - fall), moved_last - moved_first)),
            Each(
                0.5 * (first + last),
                u(
                    0.25 * (u_opening + u_closing + 2.0 * shared),
                    0.5 * off * (rise + fall),
                    0.5 * (moved_first + moved_last),
                ),
            ),
        )

    def nose_centre(self, drop_mm: float) -> Each:
        """Middle of the equal-lift chord `drop_mm` below the peak."""
        opening, closing = crossings(self.lobes, self.peak_lift - drop_mm)
        with np.errstate(divide="ignore", invalid="ignore"):
            rise, fall = 1.0 / self._value(opening, 1), 1.0 / self._value(closing, 1)
        of_fit = self._of_fit(
            Term(opening, 0, -0.5 * rise), Term(closing, 0, -0.5 * fall), Term(self.peak, 0, 0.5 * (rise + fall))
        )
        half = np.full_like(rise, 0.5)
        moved = response(opening.angle_cam_deg, half) + response(closing.angle_cam_deg, half)
        middle = 0.5 * (opening.angle_cam_deg + closing.angle_cam_deg)
        return Each(middle, _root_sum(of_fit, self.by_angle(moved)))

    def area(self) -> tuple[Each, Each]:
        """Area under the lift between the feet (mm·cam deg) and its centroid (cam deg).

        The feet are the ends of the base-circle arc, or of the table where it covers only the event.
        """
        lobes = self.lobes
        splines = lobes.splines
        knots = lobes.lift.shape[1]
        weight = np.where(event_mask(lobes), splines.step, 0.0)
        if not splines.periodic:
            weight[:, 0] *= 0.5
            weight[:, -1] *= 0.5
        angle = splines.start + splines.step * (lobes.first[:, None] + np.arange(knots, dtype=np.float64))
        area = (weight * lobes.lift).sum(axis=1)
        centroid = (weight * angle * lobes.lift).sum(axis=1) / area
        off = self._lift_systematic(self.peak_lift) * area / self.peak_lift
        by_centroid = weight * (angle - centroid[:, None]) / area[:, None]
        harmonic = harmonic_row(angle)
        return (
            Each(area, _root_sum(self._integral(weight, harmonic), off)),
            Each(centroid, self._integral(by_centroid, harmonic)),
        )

    def _integral(self, weight: FloatArray, harmonic: FloatArray) -> FloatArray:
        """Standard uncertainty, by noise, smoothing and angle, of Σ weight × lift at the unrolled knots.

        harmonic: (lobes, knots, 3), `harmonic_row` there.
        """
        splines = self.lobes.splines
        count, knots = weight.shape
        columns = self.lobes.first[:, None] + np.arange(knots)
        if splines.periodic:
            columns = np.mod(columns, splines.intervals)
        on_knots = np.zeros((count, knots))
        np.put_along_axis(on_knots, columns, weight, axis=1)
        padded = np.zeros((count, splines.padded.shape[1]))
        for lag, share in enumerate(symbol_weights()):
            padded[:, lag : lag + knots] += share * on_knots
        moved = summed_response(splines.knots()[:knots], on_knots * self.fitted.at_knots[1])
        noise = self.propagation.dense(padded, -np.einsum("lk,lkj->lj", weight, harmonic))
        return _root_sum(noise, doubt_of_sum(self.fitted, on_knots), self.by_angle(moved))

    def by_angle(self, moved: Response) -> FloatArray:
        """Standard uncertainty, (lobes,), by the stated error of angle. In the characteristic's own unit."""
        if self.instrument.encoder_cam_deg == 0.0:
            return np.zeros(moved.shape[0])
        return standard(moved, self.instrument.encoder_cam_deg)

    def movedby_angle(self, term: Term, *, at_extreme: bool) -> Response:
        """How an error of angle moves a term: d^n(s′ε), by Leibniz.

        At an extreme the place moves with the scale, so ε itself has no part.
        """
        total = np.zeros((self._rows.size, 4), dtype=np.complex128)
        for k in range(1 if at_extreme else 0, term.order + 1):
            weight = comb(term.order, k) * term.factor * self._value(term.places, term.order - k + 1)
            total += response(term.places.angle_cam_deg, weight, k)
        return total

    def of_extreme(self, *terms: Term) -> FloatArray:
        """Standard uncertainty, (lobes,), of a sum of terms at the place where that sum is greatest or least.

        By noise, by what the smoothing may have taken off or put on, and by the angle. In the terms' own unit.
        """
        moved = sum(self.movedby_angle(term, at_extreme=True) for term in terms)
        doubt = smoothing_doubt(self.propagation.fitted, *map(self.propagation.at_source, terms))
        return _root_sum(self.propagation.standard(*terms), doubt, self.by_angle(np.asarray(moved)))

    @cached_property
    def steepest(self) -> tuple[FloatArray, FloatArray]:
        """Angles of greatest and least velocity at the knots, (lobes,) each. Cam deg."""
        velocity, knots = self.fitted.at_knots[1], self.lobes.splines.knots()
        return knots[np.argmax(velocity, axis=1)], knots[np.argmin(velocity, axis=1)]

    @cached_property
    def spacing_cam_deg(self) -> FloatArray:
        """From reading to reading on each lobe, (lobes,)."""
        return spacing(self.lobes)

    def extreme(self, order: int, sign: float) -> tuple[Each, Places]:
        """Greatest (sign 1) or least (−1) velocity, acceleration or jerk over the lobe, per cam deg.

        NaN where the readings are too far apart for it.
        """
        places, value = extreme(self.lobes, order, sign)
        term = Term(places, order, np.ones_like(value))
        if order == 3:
            more = crest_beside(self.fitted, order, sign, value)
        else:
            more = plateau_excess(self.lobes, self.propagation, order, sign, self.propagation.standard(term))
        u = _root_sum(self.of_extreme(term), more)
        out = too_wide(self.spacing_cam_deg, order)
        return Each(np.where(out, np.nan, value), np.where(out, np.nan, u)), places

    def jerk_max_abs(self) -> Each:
        """Greatest size of the jerk; at a law's jerk step it depends on the smoothing, so read the rms beside it."""
        (high, _), (low, _) = self.extreme(3, 1.0), self.extreme(3, -1.0)
        up = high.value >= -low.value
        return Each(np.where(up, high.value, -low.value), np.where(up, high.u, low.u))

    @cached_property
    def area_once(self) -> tuple[Each, Each]:
        """The area and its centroid, computed once."""
        return self.area()

    def events_once(self, lift_mm: float) -> EventRow:
        """The events at one lift, computed once."""
        if lift_mm not in self._events:
            self._events[lift_mm] = self.events(lift_mm)
        return self._events[lift_mm]

    def places_at(self, lift_mm: float) -> tuple[FloatArray, FloatArray]:
        """Opening and closing angle of every lobe at one lift, without uncertainties: fast enough for a drag.

        Cam deg, (lobes,) each.
        """
        opening, closing = crossings(self.lobes, lift_mm)
        return opening.angle_cam_deg, closing.angle_cam_deg

    def base_uncertainty(self, row: int) -> tuple[float | None, float | None, float | None]:
        """Standard uncertainty of runout, eccentricity (mm) and its angle (cam deg); None without an arc."""
        base = self.fitted.bases[row]
        if base is None:
            return None, None, None
        covariance = self.propagation.base_covariance(row)
        ends = harmonic_row(np.array(base.runout_ends))
        across = ends[0] - ends[1]
        runout = np.hypot(_along(across, covariance), self.instrument.probe_mm)
        size = base.eccentricity_mm
        if not base.with_eccentricity or size == 0.0:
            return float(runout), None, None
        along = np.array([0.0, base.abc[1], base.abc[2]]) / size
        side = np.array([0.0, -base.abc[2], base.abc[1]]) / size**2
        spread = _along(along, covariance)
        turn = np.hypot(np.degrees(_along(side, covariance)), self.instrument.encoder_cam_deg)
        return float(runout), spread, float(min(turn, 360.0 / np.sqrt(12.0)))

    def jerk_rms(self) -> FloatArray:
        """Root mean square of the jerk between the feet; NaN where the readings are too far apart for it.

        Shape (lobes,), mm/cam deg³.
        """
        jerk = self.fitted.at_knots[3]
        columns = self.lobes.first[:, None] + np.arange(jerk.shape[1])
        unrolled = np.take_along_axis(jerk, np.mod(columns, jerk.shape[1]), axis=1)
        mask = event_mask(self.lobes)
        mean = (np.where(mask, unrolled, 0.0) ** 2).sum(axis=1) / mask.sum(axis=1)
        return np.where(too_wide(self.spacing_cam_deg, 3), np.nan, np.sqrt(mean))

    def ramps(self) -> tuple[RampEnds, RampEnds]:
        """Where the opening and the closing ramp meet their flanks.

        Followed from the flank's greatest acceleration outward, the ramp begins where the acceleration has
        fallen to 5 % of it; a ramp carries at least 0.02 mm there. None where the readings are too far apart for an
        acceleration.
        """
        _, velocity, acceleration, _ = self.fitted.at_knots
        columns = self.lobes.first[:, None] + np.arange(velocity.shape[1])
        columns = np.mod(columns, velocity.shape[1])
        speed = np.take_along_axis(velocity, columns, axis=1)
        bend = np.take_along_axis(acceleration, columns, axis=1)
        ends: list[list[tuple[float, float, float]]] = [[], []]
        out = too_wide(self.spacing_cam_deg, 2)
        for row in range(self._rows.size):
            nose = int(self.lobes.nose[row])
            lift = self.lobes.lift[row]
            if out[row]:
                ends[0].append(_NO_RAMP)
                ends[1].append(_NO_RAMP)
                continue
            ends[0].append(self._ramp_end(row, lift[:nose], speed[row, :nose], bend[row, :nose], 0, -1))
            ends[1].append(self._ramp_end(row, lift[nose:], speed[row, nose:], bend[row, nose:], nose, 1))
        opening, closing = (np.array(side).T for side in ends)
        return RampEnds(*opening), RampEnds(*closing)

    def _ramp_end(
        self, row: int, lift: FloatArray, speed: FloatArray, bend: FloatArray, offset: int, outward: int
    ) -> tuple[float, float, float]:
        if bend.size < 3:
            return _NO_RAMP
        top = int(np.argmax(bend))
        path = np.arange(top, -1, -1) if outward < 0 else np.arange(top, bend.size)
        small = np.flatnonzero(bend[path] <= RAMP_SHARE * bend[top])
        if small.size == 0:
            return _NO_RAMP
        k = int(path[small[0]])
        # a flank's foot without a ramp has neither lift nor speed left here
        moving = abs(float(speed[k])) > 0.02 * float(np.abs(speed).max())
        if lift[k] < LEAST_RAMP_LIFT_MM or not moving:
            return _NO_RAMP
        splines = self.lobes.splines
        angle = splines.start + splines.step * (int(self.lobes.first[row]) + offset + k)
        return float(angle), float(lift[k]), float(speed[k])


def _along(weights: FloatArray, covariance: FloatArray) -> float:
    """Standard deviation of weights × three variables; a covariance made up of parts may leave less than 0."""
    return float(np.sqrt(max(float(weights @ covariance @ weights), 0.0)))


def _root_sum(*parts: FloatArray | float) -> FloatArray:
    return np.asarray(np.sqrt(sum(np.asarray(part) ** 2 for part in parts)))
