"""The train between lobe and piston: typed in TOML, canonical once it is read; None where it is not stated."""

from __future__ import annotations

from typing import Annotated, Any, Literal

import numpy as np
from pydantic import Field, model_validator

from valvelab.errors import BadQuantity
from valvelab.follower.film import Lubricant
from valvelab.follower.hertz import contact_modulus
from valvelab.follower.shapes import Shape
from valvelab.phasing.timing import after_dead_centre
from valvelab.quantities import (
    ANGLE,
    SIZE,
    CrankAngle,
    Force,
    Frequency,
    Length,
    Mass,
    Name,
    Place,
    Pressure,
    Reader,
    Roughness,
    Speed,
    Stiffness,
    number,
)
from valvelab.records.cam_card import LashSize, Ratio
from valvelab.records.typed import Typed
from valvelab.records.wire_materials import read_wire_materials
from valvelab.springs.stress import STEEL_DENSITY_KG_PER_M3, WireMaterial, material_key, rate_of_coil, surge_from_coil
from valvelab.valve_motion.rocker import GeometryRocker, PointRocker, RatioRocker, Rocker

USUAL_SHEAR_MODULUS_MPA = 80_000.0
ValveAngle = Annotated[float, number(ANGLE, lambda deg: abs(deg) < 90.0, "an angle within ±90 deg of the bore axis")]


def _follower(text: str) -> Shape:
    word, _, radius = text.strip().partition(" ")
    if word == "roller" and radius:
        return Shape("roller", SIZE.read(radius))
    if word == "flat" and not radius:
        return Shape("flat")
    raise BadQuantity("", f"{text!r}", "'flat' or 'roller' with its radius, 'roller 9.525 mm'")


def _wire(name: str) -> WireMaterial:
    found = read_wire_materials().get(material_key(name))
    if found is None:
        raise BadQuantity("", f"{name!r}", "a wire of the bundled table, or shear_modulus")
    return found


Follower = Annotated[Shape, Reader(_follower, str)]
Wire = Annotated[WireMaterial, Reader(_wire, str)]


class RockerPoint(Typed):
    """A measured pair of lifts."""

    follower_lift_mm: Place
    valve_lift_mm: Place


class RockerRecord(Typed):
    """One of ratio, points or geometry; `uncertainty` is the standard uncertainty of the ratio."""

    ratio: Ratio | None = None
    point: tuple[RockerPoint, ...] = ()
    geometry: GeometryRocker | None = None
    uncertainty: float | None = Field(default=None, ge=1e-9, le=1.0)

    @property
    def stated(self) -> bool:
        """Whether it says how lobe lift becomes valve lift."""
        return self.ratio is not None or bool(self.point) or self.geometry is not None

    @property
    def one_ratio(self) -> float | None:
        """The ratio that holds over the whole lift; None where points or geometry give it."""
        return self.rocker.ratio if isinstance(self.rocker, RatioRocker) else None

    @model_validator(mode="after")
    def _one_way(self) -> RockerRecord:
        given = (self.ratio is not None) + bool(self.point) + (self.geometry is not None)
        if given > 1:
            msg = "one of ratio, point or geometry"
            raise ValueError(msg)
        _ = self.rocker  # points that can't be joined are refused
        return self

    @property
    def rocker(self) -> Rocker:
        """How follower lift becomes valve lift; one to one where nothing is stated."""
        if self.point:
            lifts = np.array([(row.follower_lift_mm, row.valve_lift_mm) for row in self.point])
            return PointRocker(lifts[:, 0], lifts[:, 1])
        return self.geometry or RatioRocker(1.0 if self.ratio is None else self.ratio)


class LashRecord(Typed):
    """Lash at the valve."""

    hot_mm: LashSize | None = None
    cold_mm: LashSize | None = None
    use: Literal["hot", "cold"] = "hot"
    uncertainty_mm: Length | None = None

    @model_validator(mode="after")
    def _used_is_stated(self) -> LashRecord:
        if self.stated and self._used_mm is None:
            raise BadQuantity("use", f"{self.use!r}", f"a {self.use} lash beside it")
        return self

    @property
    def stated(self) -> bool:
        """Whether there is one at all."""
        return self.hot_mm is not None or self.cold_mm is not None

    @property
    def counted_mm(self) -> float:
        """The lash that counts: the one named by `use`; 0 where neither is stated."""
        return self._used_mm or 0.0

    @property
    def _used_mm(self) -> float | None:
        return self.hot_mm if self.use == "hot" else self.cold_mm


class ValveRecord(Typed):
    """The valve and what moves with it.

    effective_mass at the valve, a third of the spring included; stiffness of the gear at the valve; angle between valve
    axis and bore axis, deg. damping_ratio and seat_stiffness are for the dynamic model.
    """

    effective_mass_kg: Mass | None = None
    stiffness_n_per_mm: Stiffness | None = None
    angle_deg: ValveAngle = 0.0
    damping_ratio: float = Field(default=0.05, ge=0.0, le=1.0)
    seat_stiffness_n_per_mm: Stiffness | None = None


class TrainSpring(Typed):
    """The valve spring: forces, and surge or the wire and coil that give it.

    rate: from the wire where it is not stated. material: a wire of the bundled table, for its shear modulus and
    density; shear_modulus wins, and 80 GPa counts without either. Installed and solid height give the travel at which
    the coils touch.
    """

    seat_force_n: Force | None = None
    stated_rate_n_per_mm: Stiffness | None = Field(default=None, alias="rate")
    stated_surge_hz: Frequency | None = Field(default=None, alias="surge")
    wire_diameter_mm: Length | None = None
    mean_coil_diameter_mm: Length | None = None
    active_coils: float | None = Field(default=None, ge=0.1, le=1000.0)
    total_coils: float | None = Field(default=None, ge=0.1, le=1000.0)
    material: Wire | None = None
    shear_modulus_mpa: Pressure | None = None
    free_length_mm: Length | None = None
    installed_height_mm: Length | None = None
    solid_height_mm: Length | None = None

    @model_validator(mode="after")
    def _fits(self) -> TrainSpring:
        wire, coil, installed = self.wire_diameter_mm, self.mean_coil_diameter_mm, self.installed_height_mm
        if self._coil is not None and wire is not None and coil is not None and not wire < coil:
            raise BadQuantity("wire_diameter", f"{wire:g} mm", "less than the mean coil diameter")
        if self.bind_travel_mm is not None and not self.bind_travel_mm > 0.0:
            expected = f"less than the installed height, {installed:g} mm"
            raise BadQuantity("solid_height", f"{self.solid_height_mm:g} mm", expected)
        return self

    @property
    def _coil(self) -> tuple[float, float, float, float, float] | None:
        """Wire and mean coil diameter, active coils, shear modulus and density; None where the coil is not stated."""
        wire, coil, active = self.wire_diameter_mm, self.mean_coil_diameter_mm, self.active_coils
        material = self.material
        if wire is None or coil is None or active is None:
            return None
        usual = USUAL_SHEAR_MODULUS_MPA if material is None else material.shear_modulus_mpa
        density = STEEL_DENSITY_KG_PER_M3 if material is None else material.density_kg_per_m3
        return wire, coil, active, self.shear_modulus_mpa or usual, density

    @property
    def rate_n_per_mm(self) -> float | None:
        """The rate stated, else that of wire and coil."""
        coil = self._coil
        return self.stated_rate_n_per_mm if coil is None else self.stated_rate_n_per_mm or rate_of_coil(*coil[:4])

    @property
    def surge_hz(self) -> float | None:
        """The surge stated, else that of wire and coil."""
        coil = self._coil
        return self.stated_surge_hz if coil is None else self.stated_surge_hz or surge_from_coil(*coil)

    @property
    def bind_travel_mm(self) -> float | None:
        """Travel from the installed height at which the coils touch."""
        if self.installed_height_mm is None or self.solid_height_mm is None:
            return None
        return self.installed_height_mm - self.solid_height_mm


class CrankRecord(Typed):
    """Crank throw, rod and the greatest crank speed, rpm."""

    throw_mm: Length | None = None
    rod_mm: Length | None = None
    max_speed_rpm: Speed | None = None

    @model_validator(mode="after")
    def _rod_is_longer(self) -> CrankRecord:
        if self.throw_mm is not None and self.rod_mm is not None and self.rod_mm <= self.throw_mm:
            raise BadQuantity("rod", f"{self.rod_mm:g} mm", f"longer than the throw, {self.throw_mm:g} mm")
        return self


class TimingRecord(Typed):
    """Centrelines in crank deg: intake ATDC, exhaust BTDC."""

    intake_centreline_deg: CrankAngle | None = None
    exhaust_centreline_deg: CrankAngle | None = None


class ClearanceRecord(Typed):
    """Valve to piston along the valve axis, valve shut, piston at the top."""

    intake_mm: Length | None = None
    exhaust_mm: Length | None = None


class ContactRecord(Typed):
    """Contact of lobe and follower.

    length: of the line. follower ("flat" or "roller 9.5 mm") and base_circle_radius win over the lift table's. modulus
    and poisson hold for both bodies. viscosity in Pa s and pressure_viscosity in 1/Pa at the contact's temperature;
    roughness Rq of both surfaces, µm where bare numbers are given.
    """

    length_mm: Length
    follower: Follower | None = None
    base_circle_radius_mm: Length | None = None
    modulus_mpa: Pressure = Field(default=207_000.0, json_schema_extra={"default": "207 GPa"})
    poisson: float = Field(default=0.29, ge=0.0, le=0.5)
    viscosity: float | None = Field(default=None, gt=0.0)
    pressure_viscosity: float | None = Field(default=None, gt=0.0)
    lobe_rq_um: Roughness | None = None
    follower_rq_um: Roughness | None = None

    @model_validator(mode="after")
    def _oil_can_be_one(self) -> ContactRecord:
        _ = self.oil
        return self

    @property
    def combined_modulus_mpa(self) -> float:
        """That of both bodies pressed together."""
        return contact_modulus(self.modulus_mpa, self.poisson, self.modulus_mpa, self.poisson)

    @property
    def oil(self) -> Lubricant | None:
        """The oil; None where it is not wholly stated."""
        if self.viscosity is None or self.pressure_viscosity is None:
            return None
        return Lubricant(self.viscosity, self.pressure_viscosity)


class ReadingSetAsideRecord(Typed):
    """A reading that does not count: its place in the list, from 1, and why."""

    reading: int
    reason: Name


class RuleReadingRecord(Typed):
    """Repeated indicator readings of a valve's lift at the retainer, without lash."""

    valve: Name
    readings_mm: tuple[Place, ...] = Field(min_length=1)
    uncertainty_mm: Length | None = None
    set_aside: tuple[ReadingSetAsideRecord, ...] = ()

    @model_validator(mode="after")
    def _set_aside_is_there(self) -> RuleReadingRecord:
        for row in self.set_aside:
            if not 1 <= row.reading <= len(self.readings_mm):
                raise BadQuantity("set_aside", f"reading {row.reading}", f"one of 1 to {len(self.readings_mm)}")
        return self

    @property
    def aside(self) -> tuple[tuple[int, str], ...]:
        """Readings that don't count, by their place in the list, from 0, each with the reason."""
        return tuple((row.reading - 1, row.reason) for row in self.set_aside)


class Train(Typed):
    """A whole train; every part is optional."""

    title: str | None = None
    rocker: RockerRecord = RockerRecord()
    lash: LashRecord = LashRecord()
    valve: ValveRecord = ValveRecord()
    spring: TrainSpring = TrainSpring()
    crank: CrankRecord = CrankRecord()
    timing: TimingRecord | None = None
    clearance: ClearanceRecord = ClearanceRecord()
    contact: ContactRecord | None = None
    rule_reading: tuple[RuleReadingRecord, ...] = ()

    def centreline_deg(self, kind: str | None) -> float | None:
        """A kind's stated centreline in crank deg after gas-exchange dead centre; None where it is not stated."""
        if self.timing is None:
            return None
        return after_dead_centre(kind, self.timing.intake_centreline_deg, self.timing.exhaust_centreline_deg)

    def changed(self, part: str, **values: Any) -> Train:
        """The train with other canonical values in one of its parts."""
        return self.model_copy(update={part: getattr(self, part).model_copy(update=values)})
