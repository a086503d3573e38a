"""The answer of `valvelab batch`: how many rows, what failed and why, how the rows were decided, and the lot."""

from __future__ import annotations

from typing import Literal

from valvelab.records.result import Record, Result, Text


class FailedFile(Record):
    """A file that gave no row, and why."""

    file: Text
    reason: Text


class Decisions(Record):
    """How many rows were decided how; rows that nothing judged count nowhere."""

    accept: int = 0
    reject: int = 0
    undecided: int = 0


class LotIndex(Record):
    """A plain number with its interval, two-sided at 95 %."""

    value: float
    least: float
    most: float


class LotDrift(Record):
    """A straight line through the values, over the days on which they were measured or over the order of the files.

    slope, standard_uncertainty: in the characteristic's unit per day or per value. change: over the whole lot.
    """

    over: Literal["date", "order of files"]
    slope: float
    standard_uncertainty: float
    change: float
    change_standard_uncertainty: float
    significant: bool


class LotCharacteristic(Record):
    """One limit and all that was held against it; numbers in `unit`.

    items: their names, the first few. missing: items that were to be judged and had no value. below, above: values
    outside a limit. pp, ppk: performance indices of the lot, for normal values; `normal`: whether the values look so,
    None for too few. measurement_share: how much of the values' variance their stated uncertainties make, 1 for all
    of it. `reason`: why there are no indices.
    """

    characteristic: str
    unit: str
    at_mm: float | None
    lower: float | None
    upper: float | None
    items: tuple[Text, ...]
    more_items: bool
    count: int
    missing: int
    below: int
    above: int
    mean: float | None = None
    standard_deviation: float | None = None
    least: float | None = None
    greatest: float | None = None
    pp: LotIndex | None = None
    ppk: LotIndex | None = None
    normal: bool | None = None
    measurement_share: float | None = None
    drift: LotDrift | None = None
    reason: Text | None = None


class BatchResult(Result):
    """The document of `valvelab batch`. `rows`: how many the table has; `files`: how many were inspected.

    unchanged: how many of those an earlier run had done. lot: with `--report` alone.
    """

    command: Literal["batch"] = "batch"
    rows: int
    files: int
    unchanged: int
    passed_over: int
    failed: tuple[FailedFile, ...]
    decisions: Decisions
    lot: tuple[LotCharacteristic, ...] = ()
