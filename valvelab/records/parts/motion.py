"""What valve motion asks."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from pydantic import Field

from valvelab.records.parts.part import AT, MOST_OF_ONE, LiftPart
from valvelab.records.spec import Quantity


class MotionPart(LiftPart):
    """A lift table behind a train."""

    inspect: Literal["motion"] = "motion"
    file: Path = Field(title="LIFT", description="lift table")
    train: Path = Field(title="TRAIN", description="rocker, lash, spring, crank (TOML)")
    at: tuple[Quantity, ...] = Field((), title="LIFT", description=AT, max_length=MOST_OF_ONE)
    no_dynamics: bool = Field(False, description="leave the dynamic model out")
