"""What a certificate carries, so that another person can compute it again: the job, its files, the full results."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from valvelab.errors import BadFile
from valvelab.files.contents import read_contents
from valvelab.files.spec_file import parse_toml
from valvelab.files.toml_text import toml_string
from valvelab.job.upgrade import upgraded
from valvelab.phrase import Phrase
from valvelab.records.job import Job
from valvelab.records.result import Note, Result, Source
from valvelab.report.archive import time_stated
from valvelab.report.assembly import number_of
from valvelab.report.attachments import A_PAPER, carried_files
from valvelab.report.page_model import Attachment
from valvelab.report.pdf_file import NotReadable, PdfFile, Seal, read_file, seal_of, told

JOB = "job.toml"
RESULT_PREFIX = "result-"


@dataclass(frozen=True, slots=True)
class Carried:
    """A certificate as it was read: the file, what it carries, its results as JSON, and which version states them."""

    name: str
    data: bytes
    file: PdfFile
    files: Mapping[str, bytes]
    results: Mapping[str, Any]
    version: str

    @property
    def seal(self) -> Seal:
        """The file's identifier as it follows from its bytes, with the signature beside it."""
        return seal_of(self.data)

    @property
    def drawer(self) -> str:
        """What drew the pages, as the document says."""
        return told(self.file.properties.get("/Producer"))

    @property
    def written(self) -> str:
        """When the file was written, ISO 8601 in UTC; empty where the document doesn't say so as certificates do."""
        return time_stated(told(self.file.properties.get("/CreationDate")))


def result_name(number: int, command: str) -> str:
    """What the result of a job's part is carried as; `number` counts from 0."""
    return f"{RESULT_PREFIX}{number + 1}-{command}.json"


def carry(job: Job, inputs: Mapping[str, bytes], results: Sequence[Result]) -> tuple[Attachment, ...]:
    """Attachments of a certificate: the job with names relative to its folder, every input, every result.

    `inputs` maps those names to the bytes that were read; `results` follow the order of `job.part`.
    """
    files = dict(inputs)
    files[JOB] = job_toml(job).encode()
    for number, result in enumerate(results):
        files[result_name(number, result.command)] = (result.model_dump_json(indent=1) + "\n").encode()
    return as_attachments(files, job)


def as_attachments(files: Mapping[str, bytes], job: Job) -> tuple[Attachment, ...]:
    """Files by name, each with a word on what it is."""
    return tuple(
        Attachment(name, content, _what(name, job), "Data" if _reserved(name) and name != JOB else "Source")
        for name, content in sorted(files.items())
    )


def names_for(paths: Sequence[Path]) -> dict[Path, str]:
    """Each file once, named from the nearest folder that all of them share, so that a spec finds its nominal tables.

    A name that is taken, or that the certificate needs for itself, gets a number.
    """
    whole = {path: Path(os.path.normpath(path.absolute())) for path in paths}
    shared = Path(os.path.commonpath([path.parent for path in whole.values()]))
    named: dict[Path, str] = {}
    for path in dict.fromkeys(whole.values()):
        plain = _carriable(path.relative_to(shared).as_posix())
        folder, _, name = plain.rpartition("/")
        free = (f"{folder}/{number}{name}".lstrip("/") for number in ("", *(f"{n}-" for n in range(2, len(paths) + 3))))
        taken = {one.casefold() for one in named.values()}
        named[path] = next(one for one in free if one.casefold() not in taken and not _reserved(one))
    return {path: named[absolute] for path, absolute in whole.items()}


def _carriable(name: str) -> str:
    """A name that every reader of the paper can unpack: signs that are no text or part folders are written as hex."""
    return "".join(sign if sign.isprintable() and sign not in "\\:" else f"_{ord(sign) & 0xFF:02x}" for sign in name)


def _reserved(name: str) -> bool:
    return name.casefold() == JOB or (name.startswith(RESULT_PREFIX) and name.endswith(".json"))


def relative_sources(result: Result, names: Mapping[str, str]) -> Result:
    """The result with its files under the names they are carried by; `names` maps SHA-256 to name.

    Notes tell of files too: what they say may not depend on the folder a file happens to lie in.
    """
    called = {
        source.file: names.get(source.sha256, PurePosixPath(source.file).name)
        for source in sorted(result.source, key=lambda source: -len(source.file))
    }
    sources = tuple(Source(file=called[source.file], sha256=source.sha256) for source in result.source)
    notes = tuple(
        Note(level=note.level, about=_renamed(note.about, called), text=_renamed(note.text, called))
        for note in result.notes
    )
    return result.model_copy(update={"source": sources, "notes": notes})


def within(result: Result, folder: Path) -> Result:
    """The result with the files that lie in a folder under their names there."""
    inside = [source for source in result.source if Path(source.file).is_relative_to(folder)]
    return relative_sources(result, {one.sha256: Path(one.file).relative_to(folder).as_posix() for one in inside})


def _renamed(text: str, called: Mapping[str, str]) -> str:
    """A text with other names of files; a phrase stays one where its template holds no name."""
    told = text
    for file, name in called.items():
        told = told.replace(file, name)
    if isinstance(text, Phrase):
        phrase = Phrase(text.template, **{place: _renamed(part, called) for place, part in text.fields.items()})
        return phrase if phrase == told else told
    return told


def _what(name: str, job: Job) -> str:
    if name.startswith(RESULT_PREFIX) and name.endswith(".json"):
        return "every number, unrounded"
    told = {
        **{file.as_posix(): "photograph" for file in job.files},
        **({job.shop.as_posix(): "the shop's card"} if job.shop else {}),
        **{part.spec.as_posix(): "spec" for part in job.part if part.spec is not None},
        **{getattr(part, field).as_posix(): "readings" for part in job.part for field in part.POSITIONAL},
        JOB: "how the files were inspected",
    }
    return told.get(name, "read with the readings or the spec")


def job_toml(job: Job) -> str:
    """The job as TOML; what it leaves at its default is left out, but for its form and its uses."""
    parts = [{"inspect": part.inspect, **part.model_dump(exclude_defaults=True, by_alias=True)} for part in job.part]
    said = job.model_dump(exclude_none=True, exclude={"part"})
    return toml_text({**{key: value for key, value in said.items() if value not in ((), False)}, "part": parts})


def toml_text(document: Mapping[str, Any]) -> str:
    """A job's keys as TOML, as every job is written that a certificate carries."""
    head = {key: value for key, value in document.items() if key != "part"}
    tables = [head, *document["part"]]
    return "\n[[part]]\n".join("".join(f"{key} = {_toml(value)}\n" for key, value in keys.items()) for keys in tables)


def _toml(value: object) -> str:
    """A text, number, file, truth, a list of these or a table of them in one line."""
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {_toml(inner)}" for key, inner in value.items() if inner is not None) + " }"
    if isinstance(value, tuple | list):
        return "[" + ", ".join(_toml(item) for item in value) + "]"
    plain = value.as_posix() if isinstance(value, Path) else value
    return toml_string(plain) if isinstance(plain, str) else json.dumps(plain)


def read_carried(data: bytes, name: str) -> Carried:
    """What a certificate carries. Raises NotReadable or BadFile."""
    file = read_file(data)
    files = carried_files(file, name)
    if JOB not in files:
        raise BadFile(name, "attachments", f"no {JOB}", "the job that a valvelab certificate carries")
    results = {key: _parsed(content) for key, content in files.items() if key.startswith(RESULT_PREFIX)}
    versions = {str(row.get("version", "")) if isinstance(row, dict) else "" for row in results.values()}
    return Carried(name, data, file, files, results, versions.pop() if len(versions) == 1 else "")


def number_carried(path: Path) -> str:
    """The number of a certificate, which follows from what it carries. Raises BadFile for what is none."""
    try:
        carried = read_carried(read_contents(path).data, str(path))
    except NotReadable as error:
        raise BadFile(str(path), "", str(error), A_PAPER) from None
    return number_of(Attachment(name, content) for name, content in carried.files.items())


def job_carried(carried: Carried) -> Job:
    """The job that a certificate carries. Raises BadFile."""
    return parse_toml(carried.files[JOB], f"{carried.name}, {JOB}", Job, prepare=upgraded)


def _parsed(content: bytes) -> Any:
    """JSON, or None for what is none: broken, nested without end, or with one key twice."""

    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        found = dict(pairs)
        if len(found) < len(pairs):
            raise ValueError
        return found

    try:
        return json.loads(content, object_pairs_hook=once)
    except (ValueError, RecursionError):
        return None
