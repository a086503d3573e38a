"""Springs one inside the other: elements add at the same position of the valve.

Source: plain mechanics; JCGM 100:2008, clause 5.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import hypot, inf

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.phrase import Phrase
from valvelab.springs.rate import RateFit, fit_rate
from valvelab.springs.spring import ForceCurve, ReadingUncertainty, force_at, forces_at, interpolated_noise, slope_at


@frozen
class Element:
    """One spring of a nest: its free readings (none past coil bind) over its own height.

    Own height = height at the valve + `offset_mm`: a positive offset is a seat that sits deeper.
    `solid_height_mm` is the element's own.
    """

    name: str
    curve: ForceCurve
    offset_mm: float = 0.0
    solid_height_mm: float | None = None
    solid_height_uncertainty_mm: float | None = None


def nest_force(elements: Sequence[Element], height_mm: float) -> float:
    """Force of all elements together at a height of the valve's spring seat to retainer. In N."""
    return sum(force_at(element.curve, height_mm + element.offset_mm) for element in elements)


def nest_forces(elements: Sequence[Element], height_mm: FloatArray) -> FloatArray:
    """`nest_force` at many heights, shape (m,) in mm to (m,) in N; NaN where an element was not read."""
    each = [forces_at(element.curve, height_mm + element.offset_mm) for element in elements]
    return np.asarray(np.sum(each, axis=0), dtype=np.float64)


def nest_force_uncertainty(elements: Sequence[Element], height_mm: float, stated: ReadingUncertainty) -> float | None:
    """Standard uncertainty of `nest_force`; the tester's stated part is common to the elements and adds up. In N."""
    common = through_rate = noise = 0.0
    for element in elements:
        h = height_mm + element.offset_mm
        there = stated if stated.over_force is None else stated.among(force_at(element.curve, h))
        common += there.at_rate(0.0) or 0.0
        noise = hypot(noise, interpolated_noise(element.curve, h) or 0.0)
        through_rate += (stated.height_mm or 0.0) * abs(slope_at(element.curve, h))
    total = hypot(common, through_rate, noise)
    return total if total > 0.0 else None


def nest_solid_height(elements: Sequence[Element]) -> tuple[float, float | None] | None:
    """The height at the valve where the first element closes, and its uncertainty; None where it is not known.

    An element whose own solid height is unknown does not matter when it was read free of coil bind down to there. In
    mm.
    """
    worst, uncertainty = -inf, None
    for element in elements:
        if element.solid_height_mm is not None and element.solid_height_mm - element.offset_mm > worst:
            worst = element.solid_height_mm - element.offset_mm
            uncertainty = element.solid_height_uncertainty_mm
    unknown = [element for element in elements if element.solid_height_mm is None]
    if worst == -inf or any(element.curve.low_mm - element.offset_mm > worst for element in unknown):
        return None
    return worst, uncertainty


def nest_rate(elements: Sequence[Element], low_mm: float, high_mm: float, stated: ReadingUncertainty) -> RateFit:
    """Rate of the nest between two heights at the valve, by least squares.

    Elements read at the same valve heights are added first and fitted once; otherwise each is fitted by itself
    and lines and variances add. Refuses an element with fewer than two readings in the range.
    """
    parts: list[tuple[FloatArray, FloatArray]] = []
    for element in elements:
        inside = element.curve.within(low_mm + element.offset_mm, high_mm + element.offset_mm)
        if inside is None or inside.height_mm.size < 2:
            found = 0 if inside is None else inside.height_mm.size
            name = f"{element.name}: " if element.name else ""
            raise CannotEvaluate(
                Reason.TOO_FEW_READINGS,
                Phrase(
                    "{name}found {found} heights between {low} and {high} mm, expected at least 2",
                    name=name,
                    found=found,
                    low=f"{low_mm:g}",
                    high=f"{high_mm:g}",
                ),
            )
        parts.append((inside.height_mm - element.offset_mm, inside.force_n))
    heights = parts[0][0]
    if all(h.size == heights.size and np.allclose(h, heights, rtol=0.0, atol=1e-6) for h, _ in parts[1:]):
        total = np.sum([force for _, force in parts], axis=0)
        least = hypot(*(element.curve.least_sd_n for element in elements))
        return fit_rate(heights, total, _one_reading(heights, total, stated, least))
    alone = zip(parts, elements, strict=True)
    return _add([fit_rate(h, force, _one_reading(h, force, stated, e.curve.least_sd_n)) for (h, force), e in alone])


def _one_reading(heights: FloatArray, forces: FloatArray, stated: ReadingUncertainty, least: float) -> float | None:
    """What is known of one reading's scatter without looking at it: as stated, and no less than a division leaves."""
    return max(stated.among(forces).at_rate(float(np.ptp(forces) / np.ptp(heights))) or 0.0, least) or None


def _add(fits: Sequence[RateFit]) -> RateFit:
    scatters = [fit.residual_sd_n for fit in fits]
    rates = [fit.rate_uncertainty_n_per_mm for fit in fits]
    return RateFit(
        intercept_n=sum(fit.intercept_n for fit in fits),
        slope_n_per_mm=sum(fit.slope_n_per_mm for fit in fits),
        residual_sd_n=None if None in scatters else hypot(*(sd for sd in scatters if sd is not None)),
        rate_uncertainty_n_per_mm=None if None in rates else hypot(*(u for u in rates if u is not None)),
        readings=sum(fit.readings for fit in fits),
        low_mm=max(fit.low_mm for fit in fits),
        high_mm=min(fit.high_mm for fit in fits),
    )
