"""The list of contents of a job file: what it keeps, where from, and the bench as it was left."""

from __future__ import annotations

from typing import Any, Literal

from valvelab.records.result import Record, Text


class KeptFile(Record):
    """A file in the job and its identity. origin: where it was taken from; None for what was typed or worked out."""

    name: Text
    sha256: str
    origin: Text | None = None


class KeptPaper(Record):
    """A certificate that was written from the job: its number and date."""

    name: Text
    sha256: str
    number: str
    made: str


class SavedJob(Record):
    """The list of contents. bench: the decisions at the bench, in a form of their own with its own version."""

    schema_version: Literal[1] = 1
    program: Literal["valvelab"] = "valvelab"
    version: str
    files: tuple[KeptFile, ...]
    papers: tuple[KeptPaper, ...] = ()
    bench: dict[str, Any]
