"""Tables of recorded inspections: a row a record, and one record in full."""

from __future__ import annotations

from collections.abc import Sequence

from valvelab.records.stored import StoredRecord
from valvelab.tables.description import Column, Mark, Table, table_of
from valvelab.units import show

SHORT = 12
"""Signs of a record's name that are shown."""
NOT_JUDGED = "not judged"
ABOUT_RECORDS = "Records"


def short(name: str) -> str:
    """A record's name as it is shown."""
    return name[:SHORT]


def remarks(record: StoredRecord) -> list[str]:
    """What its reader has to know of a record besides its verdicts."""
    told = []
    if record.corrected_by is not None:
        told.append(f"corrected by {short(record.corrected_by)}")
    if record.corrects is not None:
        told.append(f"corrects {short(record.corrects)}: {record.reason}")
    if record.out_of_calibration:
        told.append(f"instrument out of calibration since {record.instrument_due}")
    return told


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
        ("verdicts", f"{record.accepted} accepted, {record.rejected} rejected, {record.undecided} undecided"),
        ("inspected by", f"valvelab {record.version}"),
        *(("remark", text) for text in remarks(record)),
    )
    return Table(("what", "as recorded"), tuple((name, text) for name, text in rows if text), left=2)


def files_table(record: StoredRecord) -> Table:
    """The files of a record."""
    rows = tuple((file.role, file.name, f"{file.size}", file.sha256) for file in record.files)
    return Table(("file is", "name", "bytes", "SHA-256"), rows, left=2, flush_left=(3,))
