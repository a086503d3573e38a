"""A measured profile in its envelope: a nominal curve with a band by angle.

Only the freedoms named (angle, lift) are fitted out, by least squares over the banded range, before comparing.
Source: best-fit comparison as in ISO 1101 profile tolerancing with named degrees of freedom.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from valvelab.angles import wrap_scalar
from valvelab.arrays import FloatArray, distinct, read_only, stretches
from valvelab.conformity.band import BandPiece
from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.phrase import Phrase

Curve = Callable[[FloatArray, int], FloatArray]
_GRID_CAM_DEG = 0.1
_ROUNDS = 30


@frozen
class EnvelopeFit:
    """One lobe in its envelope; arrays share one angle grid counted from the nominal's lobe centre.

    deviation = measured − nominal (mm); below, above: the band's sizes, NaN between pieces. shift: measured
    centre − nominal centre (cam deg), None where the angle was not a freedom. offset: the lift fitted out.
    """

    angle_cam_deg: FloatArray
    deviation_mm: FloatArray
    below_mm: FloatArray
    above_mm: FloatArray
    measured_angle_cam_deg: FloatArray
    worst: int
    use_of_band: float
    shift_cam_deg: float | None
    offset_mm: float

    @property
    def rms_mm(self) -> float:
        """Root mean square of the deviation over the band."""
        return float(np.sqrt(np.mean(self.deviation_mm**2)))

    @property
    def outside(self) -> tuple[tuple[float, float], ...]:
        """Where it leaves the band: first and last angle outside of each unbroken stretch, cam deg, in their order."""
        beyond = _use(self.deviation_mm, self.below_mm, self.above_mm) > 1.0
        angle = self.angle_cam_deg
        gaps = np.flatnonzero(np.diff(angle) > 2.0 * _GRID_CAM_DEG) + 1
        ends = (
            (int(part[0]), int(part[-1]))
            for first, end in stretches(beyond)
            for part in np.split(np.arange(first, end), gaps[(gaps > first) & (gaps < end)] - first)
        )
        return tuple((float(angle[first]), float(angle[last])) for first, last in ends)


def fit_envelope(
    measured: Curve,
    measured_centre: float,
    nominal: Curve,
    nominal_centre: float,
    band: tuple[BandPiece, ...],
    freedoms: tuple[str, ...],
) -> EnvelopeFit:
    """Fit out the named freedoms and compare; the curves take angles and a derivative order.

    Refuses an empty band, one that runs backward, and one of a negative size. Centres in cam deg, lifts in mm.
    """
    angle = _grid(band)
    nominal_lift = nominal(nominal_centre + angle, 0)
    start = wrap_scalar(measured_centre - nominal_centre) if "angle" in freedoms else 0.0
    shift, offset = _fit(measured, nominal_centre + angle, nominal_lift, start, freedoms)
    at = nominal_centre + shift + angle
    deviation = measured(at, 0) - offset - nominal_lift
    below, above = _sizes(angle, band)
    use = _use(deviation, below, above)
    worst = int(np.argmax(use))
    fitted = wrap_scalar(shift) if "angle" in freedoms else None
    return EnvelopeFit(
        read_only(angle),
        read_only(deviation),
        read_only(below),
        read_only(above),
        read_only(at),
        worst,
        float(use[worst]),
        fitted,
        float(offset),
    )


def use_in(fit: EnvelopeFit, band: tuple[BandPiece, ...]) -> float:
    """The worst use of a band by a deviation fitted over the same angles, a ratio: above 1 it is outside."""
    return float(np.max(_use(fit.deviation_mm, *_sizes(fit.angle_cam_deg, band))))


def _use(deviation: FloatArray, below: FloatArray, above: FloatArray) -> FloatArray:
    return np.abs(deviation) / np.maximum(np.where(deviation >= 0.0, above, below), 1e-9)


def _grid(band: tuple[BandPiece, ...]) -> FloatArray:
    if not band:
        raise CannotEvaluate(Reason.MISSING_INPUT, Phrase("envelope: found no band, expected one or more"))
    for piece in band:
        if piece.to_cam_deg <= piece.from_cam_deg:
            raise CannotEvaluate(
                Reason.OUT_OF_RANGE,
                Phrase(
                    "envelope band: found from {lower} to {to}, expected from < to",
                    lower=f"{piece.from_cam_deg:g}",
                    to=f"{piece.to_cam_deg:g}",
                ),
            )
        if min(piece.below_mm, piece.above_mm) < 0.0:
            found = Phrase(
                "found below {below}, above {above} mm", below=f"{piece.below_mm:g}", above=f"{piece.above_mm:g}"
            )
            raise CannotEvaluate(
                Reason.OUT_OF_RANGE, Phrase("envelope band: {found}, expected sizes of 0 or more", found=found)
            )
    pieces = [
        np.linspace(
            piece.from_cam_deg,
            piece.to_cam_deg,
            max(2, round((piece.to_cam_deg - piece.from_cam_deg) / _GRID_CAM_DEG) + 1),
        )
        for piece in band
    ]
    return distinct(np.concatenate(pieces).round(9))


def _fit(
    measured: Curve, nominal_at: FloatArray, nominal_lift: FloatArray, shift: float, freedoms: tuple[str, ...]
) -> tuple[float, float]:
    """Gauss–Newton on the freedoms; converges in a few rounds because the start is the lobe's own centre."""
    offset = 0.0
    for _ in range(_ROUNDS):
        residual = measured(nominal_at + shift, 0) - offset - nominal_lift
        columns = []
        if "angle" in freedoms:
            columns.append(measured(nominal_at + shift, 1))
        if "lift" in freedoms:
            columns.append(-np.ones_like(residual))
        if not columns:
            break
        step = np.linalg.lstsq(np.stack(columns, axis=1), -residual, rcond=None)[0]
        if "angle" in freedoms:
            shift += float(step[0])
        if "lift" in freedoms:
            offset += float(step[-1])
        if float(np.abs(step).max()) < 1e-12:
            break
    return shift, offset


def _sizes(angle: FloatArray, band: tuple[BandPiece, ...]) -> tuple[FloatArray, FloatArray]:
    """Allowed sizes at each angle; where pieces meet or overlap the wider one counts."""
    below = np.full(angle.shape, np.nan)
    above = np.full(angle.shape, np.nan)
    for piece in band:
        inside = (angle >= piece.from_cam_deg - 1e-9) & (angle <= piece.to_cam_deg + 1e-9)
        below[inside] = np.fmax(below[inside], piece.below_mm)
        above[inside] = np.fmax(above[inside], piece.above_mm)
    return below, above
