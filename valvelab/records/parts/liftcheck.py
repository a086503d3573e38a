"""What a lift check asks."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from pydantic import Field

from valvelab.records.parts.part import MOST_LISTED, JobPart


class LiftCheckPart(JobPart):
    """Readings at the retainer, of one event."""

    inspect: Literal["liftcheck"] = "liftcheck"
    file: Path = Field(title="SHEET", description="rule, instrument and readings at the retainer (TOML)")
    item: tuple[str, ...] = Field(
        (),
        title="TEXT",
        description='only this car, boat or engine, such as "car 14"; repeatable',
        max_length=MOST_LISTED,
    )
    instrument: Path | None = Field(
        None, title="CARD", description="calibration card of the indicator: readings are corrected by it"
    )
    gauge: Path | None = Field(
        None,
        title="FILE",
        description="an uncertainty adopted from a gauge study: it counts unless the sheet states a larger one",
    )
