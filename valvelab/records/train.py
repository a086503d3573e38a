"""The train between lobe and piston as typed in TOML."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from valvelab.records.result import Record
from valvelab.records.spec import Quantity


class RockerPoint(Record):
    """A measured pair of lifts."""

    follower_lift: Quantity
    valve_lift: Quantity


class RockerGeometry(Record):
    """A pushrod rocker with the valve shut, in its own plane.

    valve_arm: pivot to the centre of the nose radius; valve_arm_angle: how far it stands above the normal to the valve
    axis. pushrod_arm: pivot to the cup; pushrod_arm_angle: how far it stands below the normal to the tappet axis.
    pushrod_length: tappet to cup, parallel throughout if absent; tappet_offset: pivot to the tappet axis, where the
    pushrod starts parallel to it if absent.
    """

    valve_arm: Quantity
    pushrod_arm: Quantity
    valve_arm_angle: Quantity = 0.0
    pushrod_arm_angle: Quantity = 0.0
    pushrod_length: Quantity | None = None
    tappet_offset: Quantity | None = None


class RockerRecord(Record):
    """One of ratio, points or geometry; `uncertainty` is the standard uncertainty of the ratio."""

    ratio: float | None = None
    point: tuple[RockerPoint, ...] = ()
    geometry: RockerGeometry | None = None
    uncertainty: float | None = Field(default=None, ge=1e-9, le=1.0)

    @property
    def stated(self) -> bool:
        """Whether it says how lobe lift becomes valve lift."""
        return self.ratio is not None or bool(self.point) or self.geometry is not None

    @model_validator(mode="after")
    def _one_way(self) -> RockerRecord:
        given = (self.ratio is not None) + bool(self.point) + (self.geometry is not None)
        if given > 1:
            msg = "one of ratio, point or geometry"
            raise ValueError(msg)
        return self


class LashRecord(Record):
    """Lash at the valve."""

    hot: Quantity | None = None
    cold: Quantity | None = None
    use: Literal["hot", "cold"] = "hot"
    uncertainty: Quantity | None = None


class ValveRecord(Record):
    """The valve and what moves with it.

    effective_mass at the valve, a third of the spring included; stiffness of the gear at the valve; angle between valve
    axis and bore axis, deg. damping_ratio and seat_stiffness are for the dynamic model.
    """

    effective_mass: Quantity | None = None
    stiffness: Quantity | None = None
    angle: Quantity = 0.0
    damping_ratio: float = Field(default=0.05, ge=0.0, le=1.0)
    seat_stiffness: Quantity | None = None


class TrainSpring(Record):
    """The valve spring: forces, and surge or the wire and coil that give it.

    rate: from the wire where it is not stated. material: a wire of the bundled table, for its shear modulus and
    density; shear_modulus wins, and 80 GPa counts without either. Installed and solid height give the travel at which
    the coils touch.
    """

    seat_force: Quantity | None = None
    rate: Quantity | None = None
    surge: Quantity | None = None
    wire_diameter: Quantity | None = None
    mean_coil_diameter: Quantity | None = None
    active_coils: float | None = Field(default=None, ge=0.1, le=1000.0)
    total_coils: float | None = Field(default=None, ge=0.1, le=1000.0)
    material: str | None = None
    shear_modulus: Quantity | None = None
    free_length: Quantity | None = None
    installed_height: Quantity | None = None
    solid_height: Quantity | None = None


class CrankRecord(Record):
    """Crank throw, rod and the greatest crank speed, rpm."""

    throw: Quantity | None = None
    rod: Quantity | None = None
    max_speed: Quantity | None = None


class TimingRecord(Record):
    """Centrelines in crank deg: intake ATDC, exhaust BTDC."""

    intake_centreline: Quantity | None = None
    exhaust_centreline: Quantity | None = None


class ClearanceRecord(Record):
    """Valve to piston along the valve axis, valve shut, piston at the top."""

    intake: Quantity | None = None
    exhaust: Quantity | None = None


class ContactRecord(Record):
    """Contact of lobe and follower.

    length: of the line. follower ("flat" or "roller 9.5 mm") and base_circle_radius win over the lift table's. modulus
    and poisson hold for both bodies. viscosity in Pa s and pressure_viscosity in 1/Pa at the contact's temperature;
    roughness Rq of both surfaces, µm where bare numbers are given.
    """

    length: Quantity
    follower: str | None = None
    base_circle_radius: Quantity | None = None
    modulus: Quantity = "207 GPa"
    poisson: float = Field(default=0.29, ge=0.0, le=0.5)
    viscosity: float | None = Field(default=None, gt=0.0)
    pressure_viscosity: float | None = Field(default=None, gt=0.0)
    lobe_rq: Quantity | None = None
    follower_rq: Quantity | None = None


class ReadingSetAsideRecord(Record):
    """A reading that does not count: its place in the list, from 1, and why."""

    reading: int
    reason: str = Field(min_length=1)


class RuleReadingRecord(Record):
    """Repeated indicator readings of a valve's lift at the retainer, without lash."""

    valve: str = Field(min_length=1)
    readings: tuple[Quantity, ...] = Field(min_length=1)
    uncertainty: Quantity | None = None
    set_aside: tuple[ReadingSetAsideRecord, ...] = ()


class Train(Record):
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
