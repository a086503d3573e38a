"""One result in the open forms that other programs read: JSON, CSV, XLSX, and QIF where something was judged."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import field
from typing import TYPE_CHECKING, Any

from valvelab.csv_text import csv_text
from valvelab.errors import WrongUsage
from valvelab.frozen import frozen
from valvelab.records.parts.part import JobPart
from valvelab.records.result import SCHEMA, Note, Result, schema_id
from valvelab.tables.item_rows import item_rows

if TYPE_CHECKING:
    from valvelab.records.spec import LimitSpec

FORMS = (".json", ".csv", ".xlsx", ".qif")


@frozen
class Said:
    """What is said of the readings behind a result: whose, when, with what, and the limits that were asked."""

    of: Mapping[str, Any] = field(default_factory=dict)
    limits: tuple[LimitSpec, ...] = ()


def said_on_disk(part: JobPart) -> Said:
    """What the files of a located part say."""
    from valvelab.job.said import files_of, limits_of, said_of

    files = files_of(part)
    notes: list[Note] = []
    return Said(said_of(part, files, notes), limits_of(part, files))


def exchanged(result: Result, ending: str, said: Callable[[], Said]) -> bytes | str:
    """A result in the form that a file's ending says, one of FORMS; `said` is asked where the form tells it.

    Raises WrongUsage for a form that can't hold it, CannotWrite for more than a form holds.
    """
    match ending:
        case ".json":
            named = f'{{\n "{SCHEMA}": {json.dumps(schema_id(result.command))},\n'
            return named + result.model_dump_json(indent=1).removeprefix("{\n") + "\n"
        case ".csv":
            return csv_text(item_rows(result))
        case ".xlsx":
            from valvelab.files.result_workbook import result_workbook

            return result_workbook(result)
        case ".qif":
            return _qif(result, said)
    raise WrongUsage(f"found ending {ending!r}, expected {', '.join(FORMS)}")


def _qif(result: Result, said: Callable[[], Said]) -> bytes:
    from valvelab.files.qif import Judged, qif_document

    if not result.verdicts:
        raise WrongUsage(
            ".qif: found nothing that is judged, expected limits (a spec): QIF tells characteristics by them"
        )
    told = said()
    return qif_document(
        Judged(
            result.command,
            result.version,
            result.verdicts,
            result.notes,
            result.source,
            told.of,
            told.limits,
            _apart(result),
        )
    )


def _apart(result: Result) -> Mapping[str, str] | None:
    """What each item belongs to, where the items are no parts of one thing: a spring is its own, a valve its car's."""
    from valvelab.records.comparison_result import CompareResult
    from valvelab.records.lift_check_result import LiftCheckResult

    if isinstance(result, LiftCheckResult):
        return {f"{check.item} {check.valve}": check.item for check in result.checks}
    springs = result.command == "springs" or (isinstance(result, CompareResult) and result.kind == "springs")
    return {row.item: row.item for row in result.verdicts} if springs else None
