"""What the inspection of a texture asks."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from pydantic import Field

from valvelab.records.parts.part import TablePart
from valvelab.records.spec import Quantity


class TexturePart(TablePart):
    """Texture of a surface trace."""

    inspect: Literal["texture"] = "texture"
    file: Path = Field(title="TRACE", description="CSV x, z; SMD text; X3P")
    cutoff: Quantity | None = Field(None, title="LENGTH", description="long-wave cutoff, for example 0.8 (mm)")
    short_cutoff: Quantity | None = Field(
        None, title="LENGTH", description='short-wave cutoff, for example "2.5 um"; 0 for none'
    )
    sections: int | None = Field(
        None, title="N", description="sections in the evaluation length (default 5)", ge=1, le=1000
    )
