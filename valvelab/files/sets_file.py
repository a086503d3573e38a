"""Matched sets as `valvelab sets --json` wrote them, read back for the springs of one set."""

from __future__ import annotations

from pathlib import Path

from pydantic import ValidationError

from valvelab.errors import BadFile
from valvelab.files.contents import read_contents
from valvelab.records.sets_result import SetsResult


def read_sets(path: Path, readings_sha256: str, readings: str) -> SetsResult:
    """The answer of matching kept in a file. Refused where it was made of other readings than these.

    readings_sha256, readings: digest and name of the spring readings that the sets are to be used with.
    """
    contents = read_contents(path)
    name = contents.source.file
    try:
        result = SetsResult.model_validate_json(contents.data)
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"]) or "line 1"
        raise BadFile(name, place, first["msg"], "what `valvelab sets --json` writes") from None
    if readings_sha256 not in {source.sha256 for source in result.source}:
        made_of = ", ".join(source.file for source in result.source) or "nothing named"
        raise BadFile(
            name, "source", f"sets of other readings ({made_of})", f"sets matched from {readings} as it is now"
        )
    return result


def set_number(result: SetsResult, number: int, file: str) -> tuple[str, ...]:
    """The springs of one set, counted from 1."""
    if not 1 <= number <= len(result.sets):
        raise BadFile(file, "sets", f"{len(result.sets)} sets", f"a set number {number}")
    return result.sets[number - 1].springs
