"""The answer of `valvelab springs`."""

from __future__ import annotations

from typing import ClassVar, Literal

from valvelab.records.result import Record, Result


class RateLine(Record):
    """Force = intercept + slope · height over the range of the rate; slope = −rate; scatter with n − 2."""

    intercept_n: float
    slope_n_per_mm: float
    residual_sd_n: float | None
    readings: int
    low_mm: float
    high_mm: float


class RateCurve(Record):
    """Local rate over height."""

    height_mm: tuple[float, ...]
    rate_n_per_mm: tuple[float, ...]


class ElementResult(Record):
    """One spring of a nest by itself, at its own heights."""

    element: str
    seat_force_n: float | None
    open_force_n: float | None
    rate_n_per_mm: float | None
    solid_height_mm: float | None
    stress_seat_mpa: float | None
    stress_open_mpa: float | None
    stress_solid_mpa: float | None
    surge_hz: float | None
    strength_margin: float | None
    fatigue_margin: float | None


class SpringResult(Record):
    """Everything about one spring in one stage."""

    spring: str
    stage: str | None
    position: str | None
    seat_force_n: float | None
    open_force_n: float | None
    rate_n_per_mm: float | None
    rate_fit: RateLine | None
    rate_curve: RateCurve | None
    progressive: bool | None
    solid_height_mm: float | None
    solid_height_from: Literal["readings", "stated"] | None
    coil_bind_margin_mm: float | None
    margin_per_coil_mm: float | None
    free_length_mm: float | None
    hysteresis_n: float | None
    set_loss_n: float | None
    stress_seat_mpa: float | None
    stress_open_mpa: float | None
    stress_solid_mpa: float | None
    stress_factor: Literal["EN 13906-1", "Wahl"] | None
    tensile_strength_mpa: float | None
    surge_hz: float | None
    strength_margin: float | None
    fatigue_margin: float | None
    elements: tuple[ElementResult, ...]
    uncertainty: dict[str, float | None]


class ExcludedSpring(Record):
    """A spring that the spec rejects, kept out of sets and shim plans, and what it was rejected for."""

    spring: str
    reason: str


class SpringsResult(Result):
    """The document of `valvelab springs`."""

    ITEMS: ClassVar[tuple[str, ...]] = ("springs",)
    command: Literal["springs"] = "springs"
    installed_height_mm: float | None
    valve_lift_mm: float | None
    springs: tuple[SpringResult, ...]
