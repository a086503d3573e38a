"""Stress, margins and surge of one element of a spring, as far as its wire and coils are stated."""

from __future__ import annotations

from functools import cached_property

from valvelab.frozen import frozen
from valvelab.inspection.springs.analysis import ElementCurves, SpringAnalysis, doubt_between, rate_between
from valvelab.measured import Measured, missing, or_reason
from valvelab.phrase import Phrase
from valvelab.springs.spring import force_at, force_uncertainty
from valvelab.springs.stress import (
    WireMaterial,
    active_mass,
    fatigue_margin,
    shear_stress,
    static_margin,
    surge_from_mass,
    tensile_strength,
)

_NO_STRESS = missing(Phrase("wire diameter and mean coil diameter are not both stated"))
_NO_MASS = missing(Phrase("wire diameter, mean coil diameter and active coils are not all stated"))
_NO_STRENGTH = missing(Phrase("no material of the wire table and wire diameter are stated"))


@frozen(slots=False, eq=False)
class ElementWire:
    """One element of a spring by itself, at its own heights."""

    spring: SpringAnalysis
    element: ElementCurves

    @cached_property
    def seat_force(self) -> Measured:
        """Force where the valve is shut."""
        return self._force(self.spring.fit.installed_height_mm)

    @cached_property
    def open_force(self) -> Measured:
        """Force where the valve is open."""
        return self._force(self.spring.fit.open_height_mm)

    @cached_property
    def rate(self) -> Measured:
        """Rate over the range of the whole spring's."""
        line = self.spring.rate_fit
        if self.spring.alone or line is None:
            return self.spring.rate
        return rate_between([self.element], line.low_mm, line.high_mm, self.spring.fit.stated)[1]

    @property
    def solid_height(self) -> Measured:
        """Height at which its coils close."""
        return Measured.of(self.element.solid_height_mm, None, "no solid height is known")

    @cached_property
    def solid_force(self) -> Measured:
        """Force where it closes: at the knee, at a stated height, or the lowest reading carried on at the rate."""
        element, solid = self.element, self.element.solid_height_mm
        if element.knee is not None and element.coil.solid_height_mm is None:
            return Measured(element.knee.force_n)
        if solid is None:
            return self.solid_height
        if solid >= element.free.low_mm:
            return Measured(force_at(element.free, min(solid, element.free.high_mm)))
        if self.rate.value is None:
            return self.rate
        return Measured(float(element.free.force_n[0]) + self.rate.value * (element.free.low_mm - solid))

    @cached_property
    def material(self) -> WireMaterial | None:
        """The wire, where it is named and known."""
        return self.spring.fit.material(self.element.coil)

    @cached_property
    def tensile_mpa(self) -> float | None:
        """Tensile strength of the wire, where it and its diameter are known."""
        diameter = self.element.coil.wire_diameter_mm
        return None if self.material is None or diameter is None else tensile_strength(self.material, diameter)

    @cached_property
    def stress_seat(self) -> Measured:
        """Shear stress where the valve is shut."""
        return self._stress(self.seat_force)

    @cached_property
    def stress_open(self) -> Measured:
        """Shear stress where the valve is open."""
        return self._stress(self.open_force)

    @property
    def stress_solid(self) -> Measured:
        """Shear stress where the coils close."""
        return self._stress(self.solid_force)

    @property
    def surge(self) -> Measured:
        """Lowest natural frequency."""
        coil, rate = self.element.coil, self.rate
        if rate.value is None or rate.value <= 0.0:
            return missing(rate.reason or "the rate is not above 0")
        if coil.wire_diameter_mm is None or coil.mean_coil_diameter_mm is None or coil.active_coils is None:
            return _NO_MASS
        density = {} if self.material is None else {"density_kg_per_m3": self.material.density_kg_per_m3}
        mass = active_mass(coil.wire_diameter_mm, coil.mean_coil_diameter_mm, coil.active_coils, **density)
        value = surge_from_mass(rate.value, mass)
        return Measured(value, None if rate.u is None else 0.5 * value * rate.u / rate.value, doubt=rate.doubt)

    @cached_property
    def strength_margin(self) -> Measured:
        """Share of the tensile strength over the stress at the open height."""
        opened = self.stress_open
        if self.tensile_mpa is None:
            return _NO_STRENGTH
        if opened.value is None or opened.value <= 0.0:
            return opened
        value = static_margin(opened.value, self.tensile_mpa)
        return Measured(value, None if opened.u is None else value * opened.u / opened.value, doubt=opened.doubt)

    @property
    @or_reason
    def fatigue_margin(self) -> Measured:
        """Safety against fatigue between seat and open stress."""
        opened, seat = self.stress_open, self.stress_seat
        if self.tensile_mpa is None or opened.value is None or opened.value <= 0.0:
            return self.strength_margin
        if seat.value is None:
            return seat
        doubt = seat.doubt or opened.doubt
        return Measured(fatigue_margin(seat.value, opened.value, self.tensile_mpa), doubt=doubt)

    @or_reason
    def _force(self, height_mm: float | None) -> Measured:
        """Force where the valve's height is `height_mm`."""
        if height_mm is None:
            return missing(Phrase("no height is stated"))
        if self.spring.alone:
            return self.spring.once(SpringAnalysis.force, height_mm)
        solid = self.spring.solid_height.value
        if solid is not None and height_mm < solid - 1e-9:
            return missing(Phrase("the coils are closed there"))
        curve, own_mm = self.element.usable, height_mm + self.element.offset_mm
        u = force_uncertainty(curve, own_mm, self.spring.fit.stated)
        return Measured(force_at(curve, own_mm), u, doubt=doubt_between([self.element], height_mm, height_mm))

    @or_reason
    def _stress(self, force: Measured) -> Measured:
        coil = self.element.coil
        if force.value is None:
            return force
        if coil.wire_diameter_mm is None or coil.mean_coil_diameter_mm is None:
            return _NO_STRESS
        factor = self.spring.fit.stress_factor
        return force.times(shear_stress(1.0, coil.wire_diameter_mm, coil.mean_coil_diameter_mm, factor))
