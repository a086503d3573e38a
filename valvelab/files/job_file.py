"""Jobs: a job file, a folder with one, a folder of files that speak for themselves, or one file."""

from __future__ import annotations

from pathlib import Path

from valvelab.errors import BadFile
from valvelab.files.kinds import READERS, only_kind
from valvelab.files.spec_file import nominal_path, read_spec, read_toml
from valvelab.records.job import Job, JobPart

JOB_FILE = "job.toml"
INSPECTED_ALONE = ("lift table", "spring readings", "shaft readings", "surface trace", "gauge study", "phasing sheet")


def read_job(path: Path) -> tuple[Job, Path]:
    """The job at `path` and the folder its names count from.

    A folder without a job file is one part for each file whose kind is certain; its only spec is the job's.
    """
    if path.is_dir():
        inner = path / JOB_FILE
        return (read_toml(inner, Job), path) if inner.is_file() else (_job_of_folder(path), path)
    kind = only_kind(path)
    if path.suffix.lower() == ".toml" and kind is None:
        return read_toml(path, Job), path.parent
    if kind is None:
        raise BadFile(str(path), "", "no known table", "a lift table, a job file, or a folder with one")
    return Job(part=(JobPart(inspect=command_for(kind), file=path.name),)), path.parent


def command_for(kind: str) -> str:
    """The command that inspects a kind of file."""
    return next(reader.command for reader in READERS if reader.name == kind)


def _job_of_folder(folder: Path) -> Job:
    kinds = {path: only_kind(path) for path in sorted(folder.iterdir()) if path.is_file() and path.suffix != ".pdf"}
    specs = [path for path, kind in kinds.items() if kind == "spec"]
    if len(specs) > 1:
        raise BadFile(str(folder), "", f"{len(specs)} specs", f"one spec, or a {JOB_FILE} that names the right one")
    nominals = set()
    for spec in specs:
        for number, envelope in enumerate(read_spec(spec).envelope, start=1):
            nominals.add(nominal_path(spec, envelope, number).resolve())
    parts = tuple(
        JobPart(inspect=command_for(kind), file=path.name)
        for path, kind in kinds.items()
        if kind in INSPECTED_ALONE and path.resolve() not in nominals
    )
    if not parts:
        raise BadFile(str(folder), "", "no file whose kind is certain", f"a {JOB_FILE}, or tables with named columns")
    return Job(part=parts, spec=specs[0].name if specs else None)
