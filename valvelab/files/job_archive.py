"""Job files: a zip of plain files, its list of contents first. Nothing is unpacked that the list does not vouch for."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from hashlib import sha256
from itertools import chain
from pathlib import PurePosixPath
from typing import Any

from pydantic import ValidationError

from valvelab.errors import BadFile, CannotWrite
from valvelab.files.contents import MAX_UNPACKED_BYTES, Given, is_zip, read_contents, size_text
from valvelab.files.zip_parts import ZipParts, packed, part_names
from valvelab.records.saved_job import KeptFile, KeptPaper, SavedJob

LIST = "valvejob.json"
_WANTED = "a job file of valvelab"
_NEWEST: int = SavedJob.model_fields["schema_version"].default


def pack(job: SavedJob, files: Mapping[str, bytes], file: str) -> bytes:
    """A job file's bytes: the same job gives the same bytes. `file` is its name, for a refusal."""
    whole = {LIST: job.model_dump_json(indent=1).encode(), **files}
    if (size := sum(map(len, whole.values()))) > MAX_UNPACKED_BYTES:
        most = size_text(MAX_UNPACKED_BYTES)
        raise CannotWrite(file, f"the bench holds {size_text(size)}, and a job file at most {most}")
    return packed(whole)


def read_job_archive(given: Given) -> tuple[SavedJob, dict[str, bytes]]:
    """The list of contents and every file it names; BadFile for a job that is torn, changed, or of a newer version."""
    contents = read_contents(given, MAX_UNPACKED_BYTES)
    file = contents.file
    if not is_job(contents.data):
        raise BadFile(file, "", "no list of contents", _WANTED)
    parts = ZipParts.of(contents, _WANTED)
    job = _listed(parts.part(LIST), file)
    files: dict[str, bytes] = {}
    listed: Iterable[KeptFile | KeptPaper] = chain(job.files, job.papers)
    for kept in listed:
        if not _plain(kept.name) or kept.name in files:
            raise BadFile(file, LIST, f"the name {kept.name!r}", "names of files within the job, each once")
        data = parts.part(kept.name)
        if sha256(data).hexdigest() != kept.sha256:
            raise BadFile(file, kept.name, "other bytes than the job was saved with", "a job file that nobody changed")
        files[kept.name] = data
    return job, files


def is_job(data: bytes) -> bool:
    """Whether bytes are a job file's."""
    return is_zip(data) and LIST in (part_names(data) or ())


def _listed(data: bytes, file: str) -> SavedJob:
    try:
        keys: Any = json.loads(data)
        version = keys.get("schema_version") if isinstance(keys, dict) else None
        if isinstance(version, int) and version > _NEWEST:
            newer = f"version {version}, written by a newer valvelab"
            raise BadFile(file, f"{LIST} schema_version", newer, f"at most {_NEWEST}")
        return SavedJob.model_validate(keys)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        where = " ".join(map(str, (LIST, *first["loc"])))
        raise BadFile(file, where, first["msg"][:1].lower() + first["msg"][1:], _WANTED) from None
    except (ValueError, RecursionError):
        raise BadFile(file, LIST, "no JSON", _WANTED) from None


def _plain(name: str) -> bool:
    """Whether a name stays within the folder that it is unpacked in."""
    path = PurePosixPath(name)
    odd = any(sign in "\\:" or not sign.isprintable() for sign in name)
    return not (odd or path.is_absolute() or name != path.as_posix() or ".." in path.parts)
