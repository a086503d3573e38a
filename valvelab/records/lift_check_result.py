"""The answer of `valvelab liftcheck`."""

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field

from valvelab.records.lift_check import ReadingList
from valvelab.records.result import Kind, Record, Result


class LeftOut(Record):
    """A reading that does not count, from 0, and why."""

    of: ReadingList
    reading: int
    reason: str


class CheckedEvent(Record):
    """An event read on the wheel at a lift of the valve, as the trade counts it: its mean, deg."""

    at_mm: float
    event: Literal["opening", "closing"]
    readings_deg: tuple[float, ...]
    mean_deg: float
    standard_uncertainty_deg: float | None
    doubtful_readings: tuple[int, ...]


class CheckedLift(Record):
    """One valve. Readings as typed, in mm; mean_mm: its lift, open less shut, times the ratio where it is derived."""

    item: str
    entrant: str | None
    valve: str
    kind: Kind | None
    readings_mm: tuple[float, ...]
    zero_mm: tuple[float, ...]
    mean_mm: float | None
    open_mean_mm: float | None
    zero_mean_mm: float | None
    repeatability_mm: float | None = Field(description="standard deviation of one reading at full lift")
    correction_mm: float | None = Field(description="what the instrument's card adds to open less shut")
    calibration_mm: float | None = Field(description="standard uncertainty of open less shut from calibration alone")
    standard_uncertainty_mm: float | None
    division_mm: float | None
    doubtful_readings: tuple[int, ...] = Field(description="places in readings_mm, from 0")
    doubtful_zero: tuple[int, ...] = Field(description="places in zero_mm, from 0")
    set_aside: tuple[LeftOut, ...]
    ratio: float | None = Field(description="where the lift is derived from readings at the lobe or lifter")
    temperature_degc: float | None
    events: tuple[CheckedEvent, ...]
    remark: str | None
    uncertainty: dict[str, float | None]

    @property
    def name(self) -> str:
        """What its verdicts are on."""
        return f"{self.item} {self.valve}"

    @property
    def lifts_mm(self) -> tuple[float, ...]:
        """The lift that each reading gives, those set aside among them."""
        shut, ratio = (self.zero_mean_mm or 0.0) - (self.correction_mm or 0.0), self.ratio or 1.0
        return tuple(ratio * (read - shut) for read in self.readings_mm)


class InstrumentTold(Record):
    """The instrument that the readings were taken with, and what is known of it."""

    name: str | None
    serial: str | None
    calibrated: str | None
    due: str | None
    standard_uncertainty_mm: float | None
    uncertainty_from: Literal["sheet", "gauge study", "card"] | None
    resolution_mm: float | None
    repeatability_mm: float | None


class LiftCheckResult(Result):
    """The document of `valvelab liftcheck`."""

    ITEMS: ClassVar[tuple[str, ...]] = ("checks",)
    command: Literal["liftcheck"] = "liftcheck"
    event: str | None
    date: str | None
    inspector: str | None
    instrument: InstrumentTold
    checks: tuple[CheckedLift, ...]
