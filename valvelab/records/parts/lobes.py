"""What the inspection of lobes asks."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from pydantic import Field

from valvelab.records.parts.part import AT, MOST_OF_ONE, LiftPart
from valvelab.records.spec import Quantity


class LobesPart(LiftPart):
    """Lobes and camshaft of a lift table."""

    inspect: Literal["lobes"] = "lobes"
    file: Path = Field(title="LIFT", description="lift table (CSV, text or XLSX)")
    at: tuple[Quantity, ...] = Field((), title="LIFT", description=AT, max_length=MOST_OF_ONE)
    convert: str | None = Field(
        None, title="FOLLOWER", description='describe the lobes under "roller 9.525 mm", flat or point'
    )
    keep_eccentricity: bool = Field(False, description="leave the base circle's eccentricity in, as the shaft runs")
    table_zero: bool = Field(False, description="keep the table's own zero; take nothing out by the base circle")
