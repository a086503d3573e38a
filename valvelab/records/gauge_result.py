"""The answer of `valvelab gauge`, and what can be adopted from it."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from valvelab.records.result import Record, Result


class GaugeFigures(Record):
    """One method's figures; standard deviations in the study's unit, percentages of the total variation."""

    repeatability_sd: float
    reproducibility_sd: float | None
    interaction_sd: float | None
    grr_sd: float
    part_sd: float
    total_sd: float
    grr_percent: float | None
    ndc: int | None
    repeatability_percent: float | None
    reproducibility_percent: float | None
    part_percent: float | None
    grr_percent_of_tolerance: float | None


class AnovaFigures(GaugeFigures):
    """The analysis of variance says as well whether the interaction was pooled, and on what."""

    interaction_pooled: bool | None
    interaction_p: float | None


class VarianceRowResult(Record):
    """One row of the analysis of variance."""

    source: str
    freedom: int
    sum_of_squares: float
    mean_square: float
    f_ratio: float | None
    p_value: float | None


class GaugeResult(Result):
    """The document of `valvelab gauge`."""

    command: Literal["gauge"] = "gauge"
    unit: str
    parts: tuple[str, ...]
    appraisers: tuple[str, ...]
    trials: int
    tolerance: float | None
    anova: AnovaFigures
    ranges: GaugeFigures
    analysis: tuple[VarianceRowResult, ...]
    uncertainty: dict[str, float | None]


class PlannedReading(Record):
    """One reading to take, in its turn."""

    part: str
    appraiser: str
    trial: str


class GaugePlan(Record):
    """The document of `valvelab gauge --plan … --json`."""

    seed: int
    plan: tuple[PlannedReading, ...]


class AdoptedUncertainty(Record):
    """A study's result kept as the standard uncertainty of one kind of reading; a small TOML file."""

    kind: str = Field(min_length=1)
    standard_uncertainty: float | str
    study: str
    study_sha256: str
    method: str
