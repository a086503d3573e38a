"""Stress, margins and surge of one spring, as far as its wire and coils are stated."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from valvelab.errors import CannotEvaluate
from valvelab.inspection.springs.analysis import ElementCurves, Number, SpringAnalysis
from valvelab.records.spring_readings import CoilData
from valvelab.springs.nest import nest_rate
from valvelab.springs.spring import force_at, force_uncertainty
from valvelab.springs.stress import (
    StressFactor,
    WireMaterial,
    active_mass,
    fatigue_margin,
    shear_stress,
    static_margin,
    surge_from_mass,
    tensile_strength,
)

KEYS = (
    "stress_seat_mpa", "stress_open_mpa", "stress_solid_mpa", "surge_hz", "strength_margin", "fatigue_margin",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class WireNumbers:
    """Numbers of the whole spring by JSON key, the factor used, and for a nest one row an element."""

    numbers: dict[str, Number]
    factor: StressFactor | None
    tensile_mpa: float | None
    elements: tuple[dict[str, Any], ...]


def wire_numbers(analysis: SpringAnalysis, factor: StressFactor) -> WireNumbers:
    """Stresses, surge and margins. Of a nest: the highest stress, the lowest margin and frequency of its springs."""
    each = [_element(analysis, element, factor) for element in analysis.elements]
    worst = {key: _worst(key, [numbers for _, numbers, _ in each]) for key in KEYS}
    known = worst["stress_seat_mpa"].value is not None or worst["stress_open_mpa"].value is not None
    tensile = each[0][2] if len(each) == 1 else None
    rows = tuple(row for row, _, _ in each) if len(each) > 1 else ()
    return WireNumbers(worst, factor if known else None, tensile, rows)


def _worst(key: str, each: list[dict[str, Number]]) -> Number:
    missing = [numbers[key] for numbers in each if numbers[key].value is None]
    if missing:
        return missing[0]
    choose = max if key.startswith("stress") else min
    return choose((numbers[key] for numbers in each), key=lambda number: number.value or 0.0)


def _element(
    analysis: SpringAnalysis, element: ElementCurves, factor: StressFactor
) -> tuple[dict[str, Any], dict[str, Number], float | None]:
    fit = analysis.fit
    seat = _force(element, fit.installed_height_mm, analysis)
    opened = _force(element, fit.open_height_mm, analysis)
    rate = _rate(analysis, element)
    solid = _solid_force(element, rate)
    material = fit.material(element.coil)
    tensile = _tensile(material, element.coil)
    numbers = {
        "stress_seat_mpa": _stress(seat, element.coil, factor),
        "stress_open_mpa": _stress(opened, element.coil, factor),
        "stress_solid_mpa": _stress(solid, element.coil, factor),
        "surge_hz": _surge(rate, element.coil, material),
    }
    numbers |= _margins(numbers, tensile)
    row = {
        "element": element.element,
        "seat_force_n": seat.value,
        "open_force_n": opened.value,
        "rate_n_per_mm": rate.value,
        "solid_height_mm": element.solid_height_mm,
        **{key: numbers[key].value for key in KEYS},
    }
    return row, numbers, tensile


def _force(element: ElementCurves, height_mm: float | None, analysis: SpringAnalysis) -> Number:
    """Force of one element where the valve's height is `height_mm`."""
    if height_mm is None:
        return Number(None, None, "no height is stated")
    if analysis.solid.value is not None and height_mm < analysis.solid.value - 1e-9:
        return Number(None, None, "the coils are closed there")
    try:
        h = height_mm + element.offset_mm
        return Number(force_at(element.usable, h), force_uncertainty(element.usable, h, analysis.fit.stated))
    except CannotEvaluate as error:
        return Number(None, None, str(error))


def _rate(analysis: SpringAnalysis, element: ElementCurves) -> Number:
    """Rate of one element over the range of the whole spring's rate."""
    if len(analysis.elements) == 1:
        fit = analysis.rate_fit
        if fit is None:
            return Number(None, None, analysis.rate_reason)
        return Number(fit.rate_n_per_mm, fit.rate_uncertainty_n_per_mm)
    if analysis.rate_fit is None:
        return Number(None, None, analysis.rate_reason)
    low, high = analysis.rate_fit.low_mm, analysis.rate_fit.high_mm
    try:
        alone = nest_rate([element.part(to_the_knee=False)], low, high, analysis.fit.stated)
    except CannotEvaluate as error:
        return Number(None, None, str(error))
    return Number(alone.rate_n_per_mm, alone.rate_uncertainty_n_per_mm)


def _solid_force(element: ElementCurves, rate: Number) -> Number:
    """Force where the element closes: at the knee, at a stated height, or the lowest reading carried on at the rate."""
    if element.knee is not None and element.coil.solid_height_mm is None:
        return Number(element.knee.force_n)
    if element.solid_height_mm is None:
        return Number(None, None, "no solid height is known")
    if element.solid_height_mm >= element.free.low_mm:
        return Number(force_at(element.free, min(element.solid_height_mm, element.free.high_mm)))
    if rate.value is None:
        return Number(None, None, rate.reason)
    further = element.free.low_mm - element.solid_height_mm
    return Number(float(element.free.force_n[0]) + rate.value * further)


def _stress(force: Number, coil: CoilData, factor: StressFactor) -> Number:
    if force.value is None:
        return force
    if coil.wire_diameter_mm is None or coil.mean_coil_diameter_mm is None:
        return Number(None, None, "wire diameter and mean coil diameter are not both stated")
    d, D = coil.wire_diameter_mm, coil.mean_coil_diameter_mm
    try:
        per_newton = shear_stress(1.0, d, D, factor)
    except CannotEvaluate as error:
        return Number(None, None, str(error))
    u = force.standard_uncertainty
    return Number(per_newton * force.value, None if u is None else per_newton * u)


def _surge(rate: Number, coil: CoilData, material: WireMaterial | None) -> Number:
    if rate.value is None or rate.value <= 0.0:
        return Number(None, None, rate.reason or "the rate is not above 0")
    if coil.wire_diameter_mm is None or coil.mean_coil_diameter_mm is None or coil.active_coils is None:
        return Number(None, None, "wire diameter, mean coil diameter and active coils are not all stated")
    density = {} if material is None else {"density_kg_per_m3": material.density_kg_per_m3}
    mass = active_mass(coil.wire_diameter_mm, coil.mean_coil_diameter_mm, coil.active_coils, **density)
    value = surge_from_mass(rate.value, mass)
    u = rate.standard_uncertainty
    return Number(value, None if u is None else 0.5 * value * u / rate.value)


def _tensile(material: WireMaterial | None, coil: CoilData) -> float | None:
    if material is None or coil.wire_diameter_mm is None:
        return None
    return tensile_strength(material, coil.wire_diameter_mm)


def _margins(numbers: dict[str, Number], tensile: float | None) -> dict[str, Number]:
    seat, opened = numbers["stress_seat_mpa"], numbers["stress_open_mpa"]
    if tensile is None:
        missing = Number(None, None, "no material of the wire table and wire diameter are stated")
        return {"strength_margin": missing, "fatigue_margin": missing}
    if opened.value is None or opened.value <= 0.0:
        return {"strength_margin": opened, "fatigue_margin": opened}
    value = static_margin(opened.value, tensile)
    u = opened.standard_uncertainty
    static = Number(value, None if u is None else value * u / opened.value)
    if seat.value is None:
        return {"strength_margin": static, "fatigue_margin": seat}
    try:
        fatigue = Number(fatigue_margin(seat.value, opened.value, tensile))
    except CannotEvaluate as error:
        fatigue = Number(None, None, str(error))
    return {"strength_margin": static, "fatigue_margin": fatigue}
