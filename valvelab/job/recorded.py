"""A record taken out of the store again: the job that it is a part of, its files, and a job file of that part alone."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from hashlib import sha256

from valvelab.errors import BadFile
from valvelab.files.contents import JOB_ENDING
from valvelab.files.job_archive import pack
from valvelab.files.spec_file import parse_toml
from valvelab.job.carried import job_toml
from valvelab.job.job_file import JOB_FILE
from valvelab.job.upgrade import upgraded
from valvelab.records.job import Job
from valvelab.records.parts.part import JobPart
from valvelab.records.saved_job import KeptFile, SavedJob
from valvelab.records.stored import FileRole, StoredRecord, short

INPUTS: tuple[FileRole, ...] = ("readings", "spec", "input")
"""What an inspection reads."""

Read = Callable[[str], bytes]
"""Bytes by their SHA-256."""


@dataclass(frozen=True, slots=True)
class Recorded:
    """A record's part of its job, and every file that the job reads, by the name that it has there."""

    record: StoredRecord
    job: Job
    files: Mapping[str, bytes]

    @property
    def part(self) -> JobPart:
        """The part that was recorded."""
        return self.job.part[0]


def job_of(record: StoredRecord, read: Read) -> Job:
    """The job that a record is a part of. Raises BadFile, StoreError."""
    file = record.of_role("job")
    data = b"" if file is None else read(file.sha256)
    return parse_toml(data, f"{short(record.id)}, {JOB_FILE}", Job, prepare=upgraded)


def recorded(record: StoredRecord, read: Read) -> Recorded:
    """A record as it can be inspected again. Raises BadFile for one that names no part or no file of its own."""
    job = job_of(record, read)
    name = short(record.id)
    files = {file.name: read(file.sha256) for file in record.files if file.role in INPUTS}
    if record.job_part >= len(job.part):
        raise BadFile(name, JOB_FILE, f"{len(job.part)} parts", f"part {record.job_part + 1}")
    part = job.part[record.job_part]
    if part.spec is None and job.spec is not None:
        part = part.model_copy(update={"spec": job.spec})
    missing = next((file.as_posix() for file in part.files if file.as_posix() not in files), None)
    if missing is not None:
        raise BadFile(name, JOB_FILE, f"the file {missing!r:.80}, which it does not keep", "files of its own")
    return Recorded(record, Job(title=job.title, units=job.units, part=(part,)), files)


def as_job_file(found: Recorded) -> tuple[str, bytes]:
    """The name and the bytes of a job file that holds a record's part and nothing else."""
    files = {**found.files, JOB_FILE: job_toml(found.job).encode()}
    kept = (KeptFile(name=name, sha256=sha256(data).hexdigest()) for name, data in files.items())
    name = f"{short(found.record.id)}{JOB_ENDING}"
    return name, pack(SavedJob(version=found.record.version, files=tuple(kept), bench={}), files, name)
