"""The answer of `valvelab shaft`."""

from __future__ import annotations

from typing import ClassVar, Literal

from valvelab.records.result import Record, Result


class HarmonicResult(Record):
    """One order of a journal trace."""

    order: int
    amplitude_um: float
    angle_deg: float


class StationResult(Record):
    """One journal at one place along the shaft; roundness is the peak to valley about each reference circle."""

    station: str
    position_mm: float | None
    readings: int
    turns: float | None
    largest_gap_deg: float | None
    eccentricity_mm: float | None
    eccentricity_angle_deg: float | None
    tir_mm: float | None
    roundness_lsc_um: float | None
    roundness_mzc_um: float | None
    roundness_mic_um: float | None
    roundness_mcc_um: float | None
    noise_um: float | None
    harmonics: tuple[HarmonicResult, ...]
    uncertainty: dict[str, float | None]


class StraightnessResult(Record):
    """The axis through the journal centres."""

    least_squares_um: float | None
    minimum_zone_um: float | None
    worst_station: str | None
    uncertainty: dict[str, float | None]


class TaperResult(Record):
    """Two tracks of one lobe or journal: second minus first, positive where the second stands higher."""

    station: str
    from_mm: float
    to_mm: float
    taper_um: float
    taper_um_per_mm: float
    angle_arcmin: float
    highest_um: float
    uncertainty: dict[str, float | None]


class ShaftResult(Result):
    """The document of `valvelab shaft`."""

    ITEMS: ClassVar[tuple[str, ...]] = ("stations",)
    command: Literal["shaft"] = "shaft"
    support: Literal["centres", "vees"]
    undulations_per_turn: int | None
    stations: tuple[StationResult, ...]
    straightness: StraightnessResult
    tapers: tuple[TaperResult, ...]
