"""Jobs: a job file, a folder with one, a folder of files that speak for themselves, or one file."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from valvelab.errors import BadFile
from valvelab.files.contents import names_job
from valvelab.files.job_archive import read_job_archive
from valvelab.files.kinds import reader_of
from valvelab.files.reading import only_kind
from valvelab.files.spec_file import nominal_path, read_spec
from valvelab.job.laid_out import lay_out, without
from valvelab.job.upgrade import read_job_file
from valvelab.records.job import PARTS, Job

JOB_FILE = "job.toml"


def read_job(path: Path) -> tuple[Job, Path]:
    """The job at `path` and the folder its names count from.

    A folder without a job file is one part for each file whose kind is certain; its only spec is the job's.
    """
    if path.is_dir():
        inner = path / JOB_FILE
        return (read_job_file(inner) if inner.is_file() else _job_of_folder(path)), path
    kind = only_kind(path)
    if path.suffix.lower() == ".toml" and kind is None:
        return read_job_file(path), path.parent
    command = _command_of(kind)
    if command is None:
        raise BadFile(str(path), "", "no table that is inspected", "a lift table, a job file, or a folder with one")
    return Job(part=(PARTS[command].model_validate({"file": Path(path.name)}),)), path.parent


@contextmanager
def opened_job(path: Path) -> Iterator[tuple[Job, Path]]:
    """The job at `path` as `read_job` finds it; what a job file keeps is laid out in a folder for as long."""
    if not names_job(path):
        yield read_job(path)
        return
    _, files = read_job_archive(path)
    with TemporaryDirectory(prefix="valvelab-job-") as place:
        folder = Path(place)
        lay_out(files, folder, path.name)
        with without(folder, path.name):
            yield read_job_file(folder / JOB_FILE), folder


def _command_of(kind: str | None) -> str | None:
    """The command that inspects a kind of file by itself; None for what stands beside another."""
    reader = reader_of(kind or "")
    return reader.command if reader is not None and reader.alone else None


def _job_of_folder(folder: Path) -> Job:
    kinds = {path: only_kind(path) for path in sorted(folder.iterdir()) if path.is_file() and path.suffix != ".pdf"}
    specs = [path for path, kind in kinds.items() if kind == "spec"]
    if len(specs) > 1:
        raise BadFile(str(folder), "", f"{len(specs)} specs", f"one spec, or a {JOB_FILE} that names the right one")
    nominals = set()
    for spec in specs:
        for number, envelope in enumerate(read_spec(spec).envelope, start=1):
            nominals.add(nominal_path(spec, envelope, number).resolve())
    commands = {path: _command_of(kind) for path, kind in kinds.items() if path.resolve() not in nominals}
    parts = tuple(
        PARTS[command].model_validate({"file": Path(path.name)})
        for path, command in commands.items()
        if command is not None
    )
    if not parts:
        raise BadFile(str(folder), "", "no file whose kind is certain", f"a {JOB_FILE}, or tables with named columns")
    return Job.model_validate({"part": parts, "spec": Path(specs[0].name) if specs else None})
