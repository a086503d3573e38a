"""What lash shims are asked."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from pydantic import Field

from valvelab.records.parts.part import MOST_LISTED, TablePart


class LashPart(TablePart):
    """Lash set by shims under buckets."""

    inspect: Literal["lash"] = "lash"
    file: Path = Field(title="SHEET", description="position, clearance, shim of each valve")
    fix: tuple[str, ...] = Field(
        (),
        title="TEXT",
        description='the shim that goes into a valve, such as "1I=2.55 mm"; repeatable',
        max_length=MOST_LISTED,
    )
