"""Tables of recorded inspections: a row a record, and one record in full."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from valvelab.decimals import decimals_of, limit
from valvelab.inspection.characteristics import printed
from valvelab.records.records_result import HistoryPoint, HistoryRow
from valvelab.records.stored import StoredRecord, short
from valvelab.tables.description import Column, Mark, Table, table_of
from valvelab.units import System, show

NOT_JUDGED = "not judged"
OVERDUE = "▲ instrument out of calibration"
"""Beside a verdict that rests on one."""


def remarks(record: StoredRecord) -> list[str]:
    """What its reader has to know of a record besides its verdicts."""
    return [*_corrections(record), *_overdue(record)]


def _corrections(record: StoredRecord) -> list[str]:
    told = []
    if record.corrected_by is not None:
        told.append(f"corrected by {short(record.corrected_by)}")
    if record.corrects is not None:
        told.append(f"corrects {short(record.corrects)}: {record.reason}")
    return told


def _overdue(record: StoredRecord) -> list[str]:
    return [f"{OVERDUE} since {record.instrument_due}"] if record.out_of_calibration else []


def _verdict(record: StoredRecord) -> str | Mark:
    return NOT_JUDGED if record.decision is None else Mark(record.decision)


RECORDS: tuple[Column[StoredRecord], ...] = (
    Column(
        "record", words=lambda row: short(row.id), tip="Its name; the first signs are enough where they are its alone"
    ),
    Column("date", words=lambda row: row.date, tip="When it was measured"),
    Column("inspected", words=lambda row: row.inspect),
    Column("part", words=lambda row: row.part or ""),
    Column("serial", words=lambda row: row.serial or ""),
    Column("customer", words=lambda row: row.customer or ""),
    Column("verdict", words=_verdict, tip="The gravest of its verdicts"),
    Column(
        "remarks", words=lambda row: "; ".join(remarks(row)), tip="Corrections, and an instrument out of calibration"
    ),
)


def records_table(records: Sequence[StoredRecord]) -> Table:
    """Records as a list."""
    return table_of(records, RECORDS, "metric")


def record_table(record: StoredRecord) -> Table:
    """Everything that is kept with one record, but its files; what is not known is left out."""
    temperature = record.temperature_degc
    counted = f"{record.accepted} accepted, {record.rejected} rejected, {record.undecided} undecided"
    rows = (
        ("record", record.id),
        ("inspected", record.inspect),
        ("measured", record.date),
        ("recorded", record.recorded),
        ("part", record.part),
        ("serial", record.serial),
        ("customer", record.customer),
        ("operator", record.operator),
        ("instrument", record.instrument),
        ("calibrated", record.instrument_calibrated),
        ("calibration due", record.instrument_due),
        ("temperature", None if temperature is None else f"{show(temperature, 'degC', decimals=1)} °C"),
        ("spec", record.spec_title),
        ("spec revision", record.spec_revision),
        ("verdicts", "; ".join([counted, *_overdue(record)])),
        ("inspected by", f"valvelab {record.version}"),
        *(("remark", text) for text in _corrections(record)),
    )
    return Table(("what", "as recorded"), tuple((name, text) for name, text in rows if text), left=2)


def files_table(record: StoredRecord) -> Table:
    """The files of a record."""
    rows = tuple((file.role, file.name, f"{file.size}", file.sha256) for file in record.files)
    return Table(("file is", "name", "bytes", "SHA-256"), rows, left=2, flush_left=(3,))


def history_tables(rows: Sequence[HistoryRow], system: System) -> list[Table]:
    """A table a characteristic: every item at every date, to one count of decimals."""
    together: dict[tuple[str, str], list[HistoryRow]] = {}
    for row in rows:
        together.setdefault((row.characteristic, row.unit), []).append(row)
    return [_history(name, unit, found, system) for (name, unit), found in together.items()]


def _history(name: str, unit: str, rows: Sequence[HistoryRow], system: System) -> Table:
    pairs = points_of(rows)
    return table_of(pairs, history_columns(pairs, system), system, title=printed(name, unit), keep_empty=True)


Pair = tuple[HistoryRow, HistoryPoint]
"""A value, with the row that it stands in."""


def points_of(rows: Sequence[HistoryRow]) -> list[Pair]:
    """The values of rows, one below the other."""
    return [(row, point) for row in rows for point in row.points]


def history_columns(pairs: Sequence[Pair], system: System) -> list[Column[Pair]]:
    """The columns of one characteristic's values over the lives of its items."""
    name, unit = (pairs[0][0].characteristic, pairs[0][0].unit) if pairs else ("", "")
    count = decimals_of((point.standard_uncertainty for _, point in pairs), unit, system)

    def stated(read: Callable[[HistoryPoint], float | None]) -> Callable[[Pair], str]:
        return lambda pair: "" if (end := read(pair[1])) is None else limit(end, count, unit, system)

    changes = any(point.compared_with for _, point in pairs)
    return [
        Column("item", words=lambda pair: pair[0].item),
        Column("date", words=lambda pair: pair[1].date),
        Column("record", words=lambda pair: short(pair[1].record)),
        *([Column("since", words=lambda pair: short(pair[1].compared_with or ""))] if changes else []),
        Column(printed(name, unit), unit, lambda pair: pair[1].value, lambda pair: pair[1].standard_uncertainty,
               with_u=True, decimals=count),
        Column("lower", value=lambda pair: pair[1].lower, words=stated(lambda point: point.lower)),
        Column("upper", value=lambda pair: pair[1].upper, words=stated(lambda point: point.upper)),
        Column("verdict", words=lambda pair: Mark(pair[1].decision) if pair[1].decision else ""),
        Column("remarks", words=lambda pair: "; ".join(_point_remarks(pair[1]))),
    ]  # fmt: skip


def _point_remarks(point: HistoryPoint) -> list[str]:
    return [*([point.reason] if point.reason else []), *([OVERDUE] * point.out_of_calibration)]
