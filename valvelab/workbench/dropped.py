"""What a dropped folder or job file puts on the bench: its files."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from valvelab.errors import BadFile, ValvelabError
from valvelab.files.contents import read_contents

_LARGEST_JOB = 512 * 1024
_MOST_FILES = 200
_SKIPPED = frozenset({".pdf", ".png", ".md", ".json", ".py"})


def opened(paths: Iterable[str]) -> list[str]:
    """The files to put on the bench, each once, in order; a job that can't be read stays as it is, to be listed."""
    found: dict[str, None] = {}
    for path in paths:
        for inner in _within(Path(path)):
            found[str(inner.absolute())] = None
    return list(found)


def _within(path: Path) -> list[Path]:
    if path.is_dir():
        job = path / "job.toml"
        if job.is_file():
            return _within(job)
        files = sorted(inner for inner in path.iterdir() if inner.is_file() and not inner.name.startswith("."))
        return [inner for inner in files if inner.suffix.lower() not in _SKIPPED][:_MOST_FILES]
    if not _looks_like_job(path):
        return [path]
    return files_of_job(path) or [path]


def _looks_like_job(path: Path) -> bool:
    try:
        return path.suffix.lower() == ".toml" and b"[[part]]" in read_contents(path, _LARGEST_JOB).data
    except BadFile:
        return False


def files_of_job(path: Path) -> list[Path]:
    """Every file that a job names; empty where the job can't be read."""
    from valvelab.job.job_file import read_job

    try:
        job, folder = read_job(path)
    except ValvelabError:
        return []
    names = [] if job.spec is None else [job.spec]
    for part in job.part:
        names += part.files
    return [folder / name for name in dict.fromkeys(names) if (folder / name).is_file()]
