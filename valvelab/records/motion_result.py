"""The answer of `valvelab motion`."""

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field

from valvelab.records.phasing_result import Event
from valvelab.records.result import Kind, Record, Result


class ValveDuration(Record):
    """Events at the valve at one valve lift; crank angles count from gas-exchange dead centre, where it is known."""

    at_mm: float
    opening_cam_deg: float | None
    closing_cam_deg: float | None
    duration_cam_deg: float | None
    duration_crank_deg: float | None
    centre_cam_deg: float | None
    opening_crank_deg: float | None
    closing_crank_deg: float | None
    opening_event: Event | None
    closing_event: Event | None
    uncertainty: dict[str, float | None]


class PistonClearance(Record):
    """Least clearance of valve and piston, and the crank angle from gas-exchange dead centre where it is."""

    min_mm: float
    at_crank_deg: float


class ClearanceChange(Record):
    """Least clearance with the camshaft advanced and with another lash."""

    advance_crank_deg: float
    lash_mm: float
    min_mm: float
    at_crank_deg: float


class SpringResonance(Record):
    """Crank speed at which one order of the valve lift meets the spring's surge; amplitude of that order."""

    order: int
    crank_rpm: float
    lift_harmonic_um: float


class DynamicSweep(Record):
    """What the dynamic model says over a sweep of crank speeds, one entry a speed. Estimates, never safe speeds.

    From `beyond_travel_rpm` on the model throws the valve farther than `free_travel_mm`: None there, and a note.
    """

    crank_rpm: tuple[float, ...]
    least_force_n: tuple[float | None, ...]
    peak_force_n: tuple[float | None, ...]
    loft_mm: tuple[float | None, ...]
    bounce_mm: tuple[float | None, ...]
    seating_speed_m_per_s: tuple[float | None, ...]
    coils_touch: tuple[bool | None, ...]
    free_travel_mm: float = Field(description="the spring's travel to solid, else the greatest valve lift and a half")
    beyond_travel_rpm: float | None = Field(description="lowest speed of the sweep beyond the free travel")
    first_loss_crank_deg: float | None
    float_rpm: float | None = Field(description="lowest speed of the sweep with a loft above 0.05 mm")


class Control(Record):
    """Control of the follower; quasi-static, and by the dynamic model where the gear's stiffness is stated."""

    separation_rpm: float | None
    separation_at_crank_deg: float | None
    margin_n_at_max_speed: float | None
    dynamic_separation_rpm: float | None
    spring_resonances: tuple[SpringResonance, ...]
    dynamic: DynamicSweep | None


class ContactExtreme(Record):
    """Greatest Hertz pressure and thinnest film along the lobe at one crank speed; 0 rpm is turning by hand.

    Where the surfaces' mean speed passes through zero a steady film has no thickness: then the least film is None, the
    angles are listed, and the film at the nose stands.
    """

    crank_rpm: float
    max_pressure_mpa: float | None
    max_pressure_at_crank_deg: float | None
    nose_pressure_mpa: float | None
    min_film_um: float | None
    min_film_at_crank_deg: float | None
    nose_film_um: float | None
    nose_film_ratio: float | None
    entrainment_reversals_crank_deg: tuple[float, ...]


class ReadingSetAside(Record):
    """A reading that does not count, by its place in the list, from 0, and why."""

    reading: int
    reason: str


class RuleReadings(Record):
    """Repeated indicator readings of the lift at the retainer; mean and spread of those that count."""

    count: int
    mean_mm: float
    standard_deviation_mm: float | None
    standard_uncertainty_mm: float | None
    readings_mm: tuple[float, ...]
    division_mm: float | None = Field(description="of the indicator, as the readings show it")
    doubtful_readings: tuple[int, ...] = Field(description="places in the list, from 0, that stand off")
    set_aside: tuple[ReadingSetAside, ...]
    instrument_stated: bool = Field(
        description="whether the indicator's own uncertainty is in the standard uncertainty"
    )


class MotionValve(Record):
    """One valve."""

    lobe: str
    kind: Kind | None
    max_valve_lift_mm: float | None = Field(description="after the train's lash and deflection")
    rule_lift_mm: float | None = Field(description="lash zero, no deflection")
    rule_readings: RuleReadings | None
    valve_lift_at_gas_exchange_tdc_mm: float | None
    durations: tuple[ValveDuration, ...]
    seating_velocity_mm_per_crank_deg: float | None = Field(description="size of the velocity where the valve seats")
    lash_mm: float
    piston_clearance: PistonClearance | None
    clearance_changes: tuple[ClearanceChange, ...]
    control: Control | None
    contact: tuple[ContactExtreme, ...]
    uncertainty: dict[str, float | None]


class MotionResult(Result):
    """The document of `valvelab motion`."""

    ITEMS: ClassVar[tuple[str, ...]] = ("valves",)
    command: Literal["motion"] = "motion"
    valves: tuple[MotionValve, ...]
