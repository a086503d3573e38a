"""What the record store is given of an inspection: a record a part of a job, with every byte it rests on.

A job, a file or a folder is inspected by the one road of all uses; of a certificate, what it carries is taken, once it
was found to agree with itself.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

from valvelab.errors import BadFile, one_line
from valvelab.files.contents import names_job, read_contents
from valvelab.job.carried import JOB, RESULT_PREFIX, carry, job_carried, read_carried, result_name
from valvelab.job.job_file import opened_job
from valvelab.job.parts import inputs_of, inspect_job, located
from valvelab.job.said import later, said_of
from valvelab.job.typed import Specs
from valvelab.job.verify import verify_bytes
from valvelab.phrase import Phrase
from valvelab.quantities import iso_date
from valvelab.records.job import Job
from valvelab.records.parts.part import JobPart
from valvelab.records.result import Note, warning
from valvelab.records.stored import Entry, FileRole, StoredFile, StoredItem, StoredRecord
from valvelab.tables.verdicts import rank

CERTIFICATE = "certificate.pdf"
ITEMS = {"lobes": ("lobes", "lobe"), "springs": ("springs", "spring"), "shaft": ("stations", "station")}
"""Where a result lists the items measured, and what names one there."""
_STATED = ("part", "serial", "customer", "operator", "instrument_due", "reason")
_TAKEN_OVER = ("date", "part", "serial", "customer", "operator", "instrument_due")


@dataclass(frozen=True, slots=True)
class Stated:
    """What a person states of an inspection; it wins over what the readings say of themselves.

    instrument_due: until when the instrument's calibration holds, ISO 8601. corrects: the record that is corrected, and
    the reason; what neither the person nor the readings say is as it was there.
    """

    part: str | None = None
    serial: str | None = None
    customer: str | None = None
    operator: str | None = None
    instrument_due: str | None = None
    reason: str | None = None
    corrects: StoredRecord | None = None

    @property
    def texts(self) -> dict[str, str]:
        """What is stated, by the fields of a record."""
        return {name: one_line(text) for name in _STATED if (text := getattr(self, name)) is not None}

    @property
    def before(self) -> dict[str, str]:
        """What the record to be corrected said, by the fields of a record."""
        if self.corrects is None:
            return {}
        said = {name: getattr(self.corrects, name) for name in _TAKEN_OVER}
        return {"corrects": self.corrects.id, **{name: text for name, text in said.items() if text is not None}}


@dataclass(frozen=True, slots=True)
class Recording:
    """What is to be kept of one path, and what its reader has to know."""

    entries: tuple[Entry, ...]
    notes: tuple[Note, ...]


@dataclass(frozen=True, slots=True)
class _Done:
    """A job as it was inspected: its files by name, job and result among them; its paper, if it has one, with notes."""

    name: str
    job: Job
    files: Mapping[str, bytes]
    paper: bytes | None = None
    notes: tuple[Note, ...] = ()


def recording(path: Path, stated: Stated, spec: Path | None = None) -> Recording:
    """What an inspection of a job, file or folder gives, or what a certificate carries. Raises as inspections do."""
    done = _carried(path) if _is_paper(path) else _inspected(path, spec)
    notes = list(done.notes)
    entries = tuple(_entry(done, number, stated, notes) for number in range(len(done.job.part)))
    return Recording(entries, tuple(dict.fromkeys(notes)))


def the_one_that_corrects(found: Recording, inspect: str, path: Path) -> Recording:
    """The recording's only record of a use, to stand in for another of that use. Raises BadFile for none or several."""
    alike = tuple(entry for entry in found.entries if entry.record.inspect == inspect)
    if len(alike) != 1:
        raise BadFile(
            str(path), "", f"{len(alike)} parts for {inspect}", "the one that the record to be corrected holds"
        )
    return replace(found, entries=alike)


def _is_paper(path: Path) -> bool:
    return path.suffix.lower() == ".pdf"


def _inspected(path: Path, spec: Path | None) -> _Done:
    with opened_job(path) as (found, folder):
        specs = Specs()
        if names_job(path):
            inputs_of(located(found, folder), specs, within=folder)
        asked = found if spec is None else found.model_copy(update={"spec": spec.absolute()})
        done = inspect_job(located(asked, folder), specs=specs)
    job = done.job.model_copy(update={"made": iso_date(done.job.made)})
    files = carry(job, done.inputs, [part.result for part in done.parts])
    return _Done(path.name, job, {file.name: file.content for file in files})


def _carried(path: Path) -> _Done:
    data = read_contents(path).data
    answer = verify_bytes(data, path.name)
    if not answer.agrees:
        first = answer.differing[0]
        found = f"{first.where} reads {first.stated!r}, computed again {first.recomputed!r}"
        raise BadFile(path.name, "", found, "a certificate that agrees with what it carries")
    carried = read_carried(data, path.name)
    return _Done(path.name, job_carried(carried), carried.files, data, answer.notes)


def _entry(done: _Done, number: int, stated: Stated, notes: list[Note]) -> Entry:
    """The record of a part of a job, counted from 0."""
    part = done.job.part[number]
    result = json.loads(done.files[result_name(number, part.inspect)])
    customer = {"customer": done.job.customer} if done.job.customer else {}
    named = done.job.whose_is(part.inspect).model_dump(include={"part", "serial"}, exclude_none=True)
    told = named | stated.before | said_of(part, done.files, notes) | customer | stated.texts
    verdicts = result["verdicts"]
    decisions = [row["decision"] for row in verdicts]
    files = list(_files(done, number, part))
    now = datetime.now(UTC)
    record = StoredRecord(
        recorded=now.isoformat(timespec="microseconds"),
        inspect=part.inspect,
        version=result["version"],
        job_part=number,
        decision=min(decisions, key=rank, default=None),
        accepted=decisions.count("accept"),
        rejected=decisions.count("reject"),
        undecided=decisions.count("undecided"),
        items=tuple(_items(part.inspect, result)),
        files=tuple(row for row, _ in files),
        **{"date": done.job.made or now.astimezone().date().isoformat(), **told},
    )
    if record.out_of_calibration:
        due = f"measured on {record.date}, its instrument's calibration was due on {record.instrument_due}"
        notes.append(
            warning("instrument", Phrase("{name}: {due}: no verdict should rest on it", name=done.name, due=due))
        )
    return Entry.of(record, (data for _, data in files))


def _files(done: _Done, number: int, part: JobPart) -> Iterator[tuple[StoredFile, bytes]]:
    """Every file that the job was inspected from, with the part's own result and the paper."""
    own = result_name(number, part.inspect)
    readings = {file.as_posix() for file in (*(getattr(part, field) for field in part.POSITIONAL), *later(part))}
    spec = "" if part.spec is None else part.spec.as_posix()
    roles: dict[str, FileRole] = {**dict.fromkeys(readings, "readings"), spec: "spec", JOB: "job", own: "result"}
    for name, data in sorted(done.files.items()):
        if name == own or not (name.startswith(RESULT_PREFIX) and name.endswith(".json")):
            yield _file(name, roles.get(name, "input"), data), data
    if done.paper is not None:
        yield _file(CERTIFICATE, "certificate", done.paper), done.paper


def _file(name: str, role: FileRole, data: bytes) -> StoredFile:
    return StoredFile(name=name, role=role, sha256=sha256(data).hexdigest(), size=len(data))


def _items(use: str, result: Mapping[str, Any]) -> Iterator[StoredItem]:
    """Everything measured or judged, each once, with the gravest decision on it."""
    rows, name = ITEMS.get(use, ("", ""))
    found: dict[str, Any] = dict.fromkeys(one_line(str(row[name])) for row in result.get(rows, ()))
    for verdict in result["verdicts"]:
        item, decision = one_line(str(verdict["item"])), verdict["decision"]
        found[item] = min(found.get(item), decision, key=rank)
    return (StoredItem(item=item, decision=decision) for item, decision in found.items())
