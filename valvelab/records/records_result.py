"""The answers of `valvelab records`, one a doing."""

from __future__ import annotations

from typing import Any, Literal

from valvelab.records.result import Decision, Record, Result, Text
from valvelab.records.stored import StoredRecord


class RecordsResult(Result):
    """Head of every answer of `valvelab records`; `store`: where the records are kept, without a password."""

    store: Text


class RecordsAddResult(RecordsResult):
    """The document of `valvelab records add`."""

    command: Literal["records add"] = "records add"
    records: tuple[StoredRecord, ...]


class RecordsListResult(RecordsResult):
    """The document of `valvelab records list`: the newest first; `more`: whether there are others beyond the limit."""

    command: Literal["records list"] = "records list"
    records: tuple[StoredRecord, ...]
    more: bool


class RecordsShowResult(RecordsResult):
    """The document of `valvelab records show`; `result`: the inspection's own document as it was recorded."""

    command: Literal["records show"] = "records show"
    record: StoredRecord
    result: dict[str, Any]


class RecordsFilesResult(RecordsResult):
    """The document of `valvelab records files`: which record's files lie where now."""

    command: Literal["records files"] = "records files"
    record: StoredRecord
    place: Text


class HistoryPoint(Record):
    """A value as it was measured once, with the limits and the verdict that it had then; `reason` where it is missing.

    compared_with: for a change, the record that it is counted from.
    """

    record: str
    date: str
    value: float | None
    standard_uncertainty: float | None
    lower: float | None = None
    upper: float | None = None
    decision: Decision | None = None
    compared_with: str | None = None
    reason: str | None = None
    out_of_calibration: bool = False


class HistoryRow(Record):
    """One characteristic of one item over its lives, the first measured first."""

    inspect: str
    characteristic: str
    item: str
    unit: str
    points: tuple[HistoryPoint, ...]


class RecordsHistoryResult(RecordsResult):
    """The document of `valvelab records history`: what was recorded of a serial number and still stands."""

    command: Literal["records history"] = "records history"
    serial: str
    records: tuple[StoredRecord, ...]
    rows: tuple[HistoryRow, ...]


class RecordsExportResult(RecordsResult):
    """The document of `valvelab records export` and `import`: how much went where, and what was there before."""

    command: Literal["records export", "records import"]
    place: Text
    records: int
    contents: int
    known: int = 0


class RecordsCheckResult(RecordsResult):
    """The document of `valvelab records check`: everything that is not as it was recorded."""

    command: Literal["records check"] = "records check"
    sound: bool
    faults: tuple[Text, ...]


class RecordsGrantResult(RecordsResult):
    """The document of `valvelab records grant`: a role that may add and read, and nothing else."""

    command: Literal["records grant"] = "records grant"
    role: str


class ExportedFile(Record):
    """A file of an export and its identity."""

    name: str
    sha256: str
    size: int


class ExportManifest(Record):
    """What a whole-store export holds: `manifest.json`, written last, so that an export that broke off has none."""

    schema_version: Literal[1] = 1
    program: Literal["valvelab"] = "valvelab"
    version: str
    exported: str
    records: int
    files: tuple[ExportedFile, ...]
