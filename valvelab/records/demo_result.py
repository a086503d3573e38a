"""The answer of `valvelab demo`."""

from __future__ import annotations

from typing import Literal

from valvelab.records.result import Record, Result, Text, Verdict


class DemoPart(Record):
    """One inspection of the sample job: the command that does it alone, its file, its own verdicts."""

    inspect: str
    file: Text
    spec: str | None
    verdicts: tuple[Verdict, ...]


class DemoResult(Result):
    """The document of `valvelab demo`; `verdicts` are those of all parts, in their order."""

    command: Literal["demo"] = "demo"
    folder: Text
    files: tuple[str, ...]
    parts: tuple[DemoPart, ...]
    certificate: Text
    number: str
    made: str
    sha256: str
