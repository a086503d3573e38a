"""What the phasing of a cam asks."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from pydantic import Field

from valvelab.records.parts.part import JobPart


class PhasingPart(JobPart):
    """Readings of a degree wheel."""

    inspect: Literal["phasing"] = "phasing"
    file: Path = Field(title="SHEET", description="degree-wheel readings (TOML)")
