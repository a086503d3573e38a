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
from valvelab.springs.rate import Line, RateFit, fit_line
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
    parts = []
    for element in elements:
        inside = element.curve.between(low_mm + element.offset_mm, high_mm + element.offset_mm)
        if (found := max(inside.stop - inside.start, 0)) < 2:
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
        parts.append(inside)
    if len(elements) == 1:
        return _own_rate(elements[0], parts[0], stated)
    each = list(zip(elements, parts, strict=True))
    heights = [element.curve.height_mm[part] - element.offset_mm for element, part in each]
    if all(h.size == heights[0].size and np.allclose(h, heights[0], rtol=0.0, atol=1e-6) for h in heights[1:]):
        total = np.sum([element.curve.force_n[part] for element, part in each], axis=0)
        least = hypot(*(element.curve.least_sd_n for element in elements))
        return _rate_fit(fit_line(heights[0], total), total, stated, least)
    return _add([_own_rate(element, part, stated) for element, part in each])


def _own_rate(element: Element, part: slice, stated: ReadingUncertainty) -> RateFit:
    """Rate of one element by itself over a part of its readings."""
    curve = element.curve
    line = curve.once(_line, part.start, part.stop, element.offset_mm)
    return _rate_fit(line, curve.force_n[part], stated, curve.least_sd_n)


def _line(curve: ForceCurve, start: int, stop: int, offset_mm: float) -> Line:
    return fit_line(curve.height_mm[start:stop] - offset_mm, curve.force_n[start:stop])


def _rate_fit(line: Line, forces: FloatArray, stated: ReadingUncertainty, least: float) -> RateFit:
    """With what is known of one reading's scatter without looking at it: as stated, no less than a division leaves."""
    return line.rate_fit(max(stated.among(forces).at_rate(line.rough_rate_n_per_mm) or 0.0, least) or None)


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
