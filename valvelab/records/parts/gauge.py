"""What a study of a gauge asks."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from pydantic import Field

from valvelab.records.parts.part import TablePart
from valvelab.records.spec import Quantity


class GaugePart(TablePart):
    """A study of a gauge."""

    inspect: Literal["gauge"] = "gauge"
    file: Path = Field(title="STUDY", description="part, appraiser, trial, reading")
    tolerance: Quantity | None = Field(
        None, title="WIDTH", description='tolerance width to compare with, for example "0.05 mm"'
    )
