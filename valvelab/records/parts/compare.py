"""What a comparison asks."""

from __future__ import annotations

from pathlib import Path
from typing import ClassVar, Literal

from pydantic import Field

from valvelab.records.parts.part import TablePart

_COMPARED = "lift table or spring readings, or a certificate that carries them"


class ComparePart(TablePart):
    """Two measurements of one part: what changed from the earlier to the later."""

    POSITIONAL: ClassVar[tuple[str, ...]] = ("file", "after")

    inspect: Literal["compare"] = "compare"
    file: Path = Field(title="BEFORE", description=f"the earlier {_COMPARED}")
    after: Path = Field(title="AFTER", description=f"the later {_COMPARED}")
    after_columns: str | None = Field(
        None,
        title="TEXT",
        description='assign columns of AFTER; "" for as it says itself (default: --columns serves both)',
    )
    master: bool = Field(False, description="BEFORE is a master: lobes of AFTER are held against its only one")
