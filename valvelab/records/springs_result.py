"""The answer of `valvelab springs`."""

from __future__ import annotations

from typing import ClassVar, Literal

from valvelab.records.result import Record, Result, Text


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
    date: str | None
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
    squareness_mm: float | None
    squareness_angle_deg: float | None
    hysteresis_n: float | None
    set_loss_n: float | None
    seat_force_drop_pct: float | None
    open_force_drop_pct: float | None
    rate_drop_pct: float | None
    free_length_drop_pct: float | None
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


LEFT_OUT = "left out: "
"""How the reason begins for which a person kept a spring out; any other is the spec's."""


class ExcludedSpring(Record):
    """A spring kept out of sets and shim plans: what the spec rejects it for, or why a person left it out."""

    spring: str
    reason: Text

    @property
    def by_hand(self) -> bool:
        """Whether a person left it out."""
        return self.reason.startswith(LEFT_OUT)

    @property
    def told(self) -> str:
        """Why it is not used, as it stands behind its name."""
        if self.by_hand:
            return f"which is left out ({self.reason.removeprefix(LEFT_OUT)})"
        return f"which the spec rejects ({self.reason})"


class TakenSpring(Record):
    """A spring that the spec rejects and a person took in all the same, and why."""

    spring: str
    reason: str
    rejected_for: Text


class Due(Record):
    """When a trend reaches a limit: an extrapolation of a straight line, with its interval of 95 %.

    By date where the stages have dates, else by the count of stages, the first being 0. None with the reason where no
    such thing can be said; the latest end alone is None where it lies too far off.
    """

    limit_of: str
    limit: float
    unit: str
    due_date: str | None = None
    earliest_date: str | None = None
    latest_date: str | None = None
    due_stage: float | None = None
    earliest_stage: float | None = None
    latest_stage: float | None = None
    extrapolated: bool | None = None
    reason: Text | None = None


class SpringTrend(Record):
    """How a characteristic of one spring moved from stage to stage: a straight line, weighted by what is known of each.

    slope and its standard uncertainty in `slope_unit`, value_at_last_stage (of the line) in `unit`; from_stage: where
    the line begins. None with the reason where there is none.
    """

    characteristic: str
    unit: str
    stages: int
    from_stage: str | None
    slope_unit: str
    slope: float | None = None
    slope_standard_uncertainty: float | None = None
    value_at_last_stage: float | None = None
    significant: bool | None = None
    reason: Text | None = None
    due: tuple[Due, ...] = ()


class StageDay(Record):
    """One stage of a spring."""

    stage: str | None
    date: str | None


class SpringHistory(Record):
    """One spring that was read in several stages, earliest first; drops count from the first."""

    spring: str
    over: Literal["date", "stage"]
    stages: tuple[StageDay, ...]
    trends: tuple[SpringTrend, ...]


class SpringsResult(Result):
    """The document of `valvelab springs`."""

    ITEMS: ClassVar[tuple[str, ...]] = ("springs",)
    command: Literal["springs"] = "springs"
    installed_height_mm: float | None
    valve_lift_mm: float | None
    springs: tuple[SpringResult, ...]
    history: tuple[SpringHistory, ...] = ()
