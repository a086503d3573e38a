"""What the inspection of a shaft asks."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from pydantic import Field

from valvelab.records.parts.part import TablePart


class ShaftPart(TablePart):
    """Journals and axis of a shaft."""

    inspect: Literal["shaft"] = "shaft"
    file: Path = Field(title="READINGS", description="station, position, angle, reading")
    undulations: int | None = Field(
        None,
        title="N",
        description="filter the form: Gaussian cutoff in undulations per turn, for example 50 (default: as read)",
        ge=2,
        le=5000,
    )
    gauge: Path | None = Field(
        None,
        title="FILE",
        description="an uncertainty adopted from a gauge study: it counts unless the readings state a larger one",
    )
