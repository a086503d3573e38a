"""The answer of `valvelab phasing`."""

from __future__ import annotations

from typing import ClassVar, Literal

from valvelab.records.result import Kind, Record, Result


class Event(Record):
    """An event as the trade says it."""

    angle: float
    reference: Literal["BTDC", "ATDC", "BBDC", "ABDC"]


class PhasingDuration(Record):
    """Events and duration at one lift at the follower."""

    at_mm: float
    duration_crank_deg: float | None
    opening_event: Event | None
    closing_event: Event | None
    opening_crank_deg: float | None
    closing_crank_deg: float | None
    card_duration_crank_deg: float | None
    difference_crank_deg: float | None
    uncertainty: dict[str, float | None]


class PhasingLobe(Record):
    """One lobe; the centreline is positive ATDC for an intake and negative for an exhaust."""

    lobe: str
    kind: Kind | None
    centreline_crank_deg: float | None
    centreline_from: Literal["near_peak", "events"] | None
    card_centreline_crank_deg: float | None
    difference_crank_deg: float | None
    durations: tuple[PhasingDuration, ...]
    uncertainty: dict[str, float | None]


class Overlap(Record):
    """Overlap at one lift: intake opening BTDC + exhaust closing ATDC."""

    at_mm: float
    crank_deg: float
    standard_uncertainty_crank_deg: float | None


class AdjusterOutcome(Record):
    """What one step of the adjuster would give; positive advances the camshaft."""

    step_crank_deg: float
    intake_centreline_crank_deg: float | None
    exhaust_centreline_crank_deg: float | None
    advance_crank_deg: float | None
    remaining_crank_deg: float


class PhasingResult(Result):
    """The document of `valvelab phasing`."""

    ITEMS: ClassVar[tuple[str, ...]] = ("lobes",)
    command: Literal["phasing"] = "phasing"
    tdc_offset_deg: float | None
    tdc_uncertainty_deg: float | None
    lobes: tuple[PhasingLobe, ...]
    lobe_separation_cam_deg: float | None
    overlap: tuple[Overlap, ...]
    advance_crank_deg: float | None
    correction_crank_deg: float | None
    correction_from: Kind | None
    nearest_adjuster_crank_deg: float | None
    adjuster_outcomes: tuple[AdjusterOutcome, ...]
    uncertainty: dict[str, float | None]
