"""A job: which files are inspected how, against which spec; what `certify` takes and a certificate carries.

A part is a record a use, told apart by `inspect`. Its fields are the words of the use's command as well: the command
line is made from them (a field's title stands for its value in the help), a bay of the window fills them in, a job
file names them.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal, Self, get_args

from pydantic import Field

from valvelab.frozen import frozen
from valvelab.records.particulars import Particulars
from valvelab.records.parts.compare import ComparePart
from valvelab.records.parts.gauge import GaugePart
from valvelab.records.parts.lash import LashPart
from valvelab.records.parts.liftcheck import LiftCheckPart
from valvelab.records.parts.lobes import LobesPart
from valvelab.records.parts.motion import MotionPart
from valvelab.records.parts.part import JobPart
from valvelab.records.parts.phasing import PhasingPart
from valvelab.records.parts.shaft import ShaftPart
from valvelab.records.parts.springs import SetsPart, ShimsPart, SpringsPart
from valvelab.records.parts.texture import TexturePart
from valvelab.records.result import Result
from valvelab.records.signing_key import PublicKey, Replaced
from valvelab.units import System

MOST_PARTS = 100

_Part = (
    LobesPart
    | ShaftPart
    | TexturePart
    | SpringsPart
    | SetsPart
    | ShimsPart
    | LashPart
    | PhasingPart
    | MotionPart
    | GaugePart
    | ComparePart
    | LiftCheckPart
)
PARTS: dict[str, type[JobPart]] = {kind.model_fields["inspect"].default: kind for kind in get_args(_Part)}
"""The record of every use's part, by the use's name."""


class Job(Particulars):
    """The whole job; `made` is the certificate's date as ISO 8601 (absent: the day it is written).

    `replaces`: the certificate that this job's takes the place of; `signer` is stated on paper by whoever signs it.
    """

    schema_version: Literal[2] = 2
    made: str | None = Field(default=None, pattern=r"^\d{4}-\d{2}-\d{2}$")
    units: Literal["metric", "inch"] = "metric"
    spec: Path | None = None
    replaces: Replaced | None = None
    signer: PublicKey | None = None
    part: tuple[Annotated[_Part, Field(discriminator="inspect")], ...] = Field(min_length=1, max_length=MOST_PARTS)

    @classmethod
    def of(cls, *parts: JobPart, units: System, made: str | None = None, said: Particulars | None = None) -> Self:
        """The job of these parts; `said`: what its paper says besides."""
        return cls.model_validate({**dict(said or ()), "units": units, "made": made, "part": parts})


@frozen
class Shown:
    """What a bay puts on paper: the result that the window shows, and the part that inspects it again."""

    result: Result
    part: JobPart
