"""A job: which files are inspected how, against which spec; what `certify` takes and a certificate carries.

A part is a record a use, told apart by `inspect`. Its fields are the words of the use's command as well: the command
line is made from them (a field's title stands for its value in the help), a bay of the window fills them in, a job
file names them.
"""

from __future__ import annotations

from functools import reduce
from operator import or_
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal, Self

from pydantic import Field

from valvelab.frozen import frozen
from valvelab.records.particulars import Particulars
from valvelab.records.parts.kinds import KINDS, part_kind
from valvelab.records.parts.part import JobPart
from valvelab.records.result import Result
from valvelab.records.signing_key import PublicKey, Replaced
from valvelab.units import System

MOST_PARTS = 100

PARTS = {name: part_kind(name) for name in KINDS}
"""The record of every use's part, by the use's name."""
if TYPE_CHECKING:
    _Part = JobPart
else:
    _Part = reduce(or_, PARTS.values())


class Job(Particulars):
    """The whole job; `made` is the certificate's date as ISO 8601 (absent: the day it is written).

    `replaces`: the certificate that this job's takes the place of; `signer` is stated on paper by whoever signs it.
    `own_limits`: it is one of several that share a spec: limits on what it does not inspect are told, not judged.
    """

    schema_version: Literal[2] = 2
    made: str | None = Field(default=None, pattern=r"^\d{4}-\d{2}-\d{2}$")
    units: Literal["metric", "inch"] = "metric"
    spec: Path | None = None
    replaces: Replaced | None = None
    signer: PublicKey | None = None
    own_limits: bool = False
    part: tuple[Annotated[_Part, Field(discriminator="inspect")], ...] = Field(min_length=1, max_length=MOST_PARTS)

    @classmethod
    def of(
        cls,
        *parts: JobPart,
        units: System,
        made: str | None = None,
        said: Particulars | None = None,
        own_limits: bool = False,
    ) -> Self:
        """The job of these parts; `said`: what its paper says besides."""
        keys = {"units": units, "made": made, "own_limits": own_limits, "part": parts}
        return cls.model_validate({**dict(said or ()), **keys})


@frozen
class Shown:
    """What a bay puts on paper: the result that the window shows, and the part that inspects it again."""

    result: Result
    part: JobPart
