"""A job: which files are inspected how, against which spec; what `certify` takes and a certificate carries."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from valvelab.records.result import Record


class JobPart(Record):
    """One inspection: the command's name, its file, and further words of its command line.

    Files and words are as they would be typed in the job's own folder. `spec` wins over the job's.
    """

    inspect: str
    file: str
    spec: str | None = None
    options: tuple[str, ...] = ()


class Job(Record):
    """The whole job; `made` is the certificate's date as ISO 8601 (absent: the day it is written)."""

    schema_version: Literal[1] = 1
    title: str | None = None
    made: str | None = Field(default=None, pattern=r"^\d{4}-\d{2}-\d{2}$")
    units: Literal["metric", "inch"] = "metric"
    spec: str | None = None
    part: tuple[JobPart, ...] = Field(min_length=1)
