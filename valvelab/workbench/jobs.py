"""The bench as a job file: everything on it in one file of plain files, and back."""

from __future__ import annotations

import contextlib
import json
import secrets
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from hashlib import sha256
from os.path import normpath
from pathlib import Path, PurePosixPath
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from valvelab import __version__
from valvelab.errors import BadFile, ValvelabError
from valvelab.files.contents import Contents, Given, read_contents
from valvelab.files.job_archive import pack, read_job_archive
from valvelab.files.shop_card import files_said
from valvelab.files.spec_file import nominal_path
from valvelab.job.carried import job_toml, names_for
from valvelab.job.job_file import JOB_FILE
from valvelab.job.laid_out import lay_out, without
from valvelab.records.job import Job
from valvelab.records.parts.part import JobPart
from valvelab.records.saved_job import KeptFile, KeptPaper, SavedJob
from valvelab.workbench import bays
from valvelab.workbench.document import TYPED, BenchFile, Document, Kind, Paper
from valvelab.workbench.job_folders import FOLDER
from valvelab.workbench.saved_bench import saved_document, saved_text
from valvelab.workbench.spec_choice import SPEC

if TYPE_CHECKING:  # old jobs are tidied away before anything numerical is wanted
    from valvelab.records.lift_check import LiftCheckSheet
    from valvelab.records.result import Source

FILES, PAPERS, RESULTS = "files/", "papers/", "results/"
LIFT_CHECKS: Kind[tuple[LiftCheckSheet, Source]] = Kind("lift-check sheet")


@dataclass(frozen=True, slots=True)
class Taken:
    """What a job file takes in: bytes by their name there, and the path that each was read from."""

    files: Mapping[str, bytes]
    origin: Mapping[str, str]

    @property
    def names(self) -> dict[str, str]:
        """The name in the job by path."""
        return {path: name for name, path in self.origin.items()}


def taken(document: Document) -> Taken:
    """Every file of the bench and the nominal tables that its specs name; BadFile for one that is gone or changed."""
    given: dict[str, Given] = {file.path: file.given for file in document.files}
    for file, spec in document.values_of(SPEC):
        for number, envelope in enumerate(spec.envelope, start=1):
            path = str(nominal_path(file.path, envelope, number))
            given.setdefault(path, path)
    if document.particulars is not None:
        given |= {path: path for path in map(normpath, files_said(document.particulars))}
    for file, (sheet, _) in document.values_of(LIFT_CHECKS):
        given |= {str(path): str(path) for path in sheet.beside(Path(file.path)).values()}
    stated = {file.path: _identity(document, file) for file in document.files if file.text is None}
    files, origin = {}, {}
    for path, name in _names(given).items():
        contents = read_contents(given[path])
        if stated.get(path) not in {None, contents.source.sha256}:
            raise BadFile(path, "", "another content than was read", "the file as read; read it again first")
        files[name], origin[name] = contents.data, path
    return Taken(files, origin)


def _identity(document: Document, file: BenchFile) -> str | None:
    """SHA-256 of what a file was read as, where its record tells."""
    content = document.content(file)
    source = getattr(content.value if content is not None else None, "source", None)
    return getattr(source, "sha256", None)


def _names(paths: Mapping[str, object]) -> dict[str, str]:
    """Names in the job: typed tables keep theirs, files lie to one another as they do on the disk."""
    own = _own_folder(paths)
    at_home = {path: Path(path).relative_to(own).as_posix() for path in paths if own and Path(path).is_relative_to(own)}
    typed = {path: path for path in paths if path.startswith(TYPED)}
    others = [Path(path) for path in paths if path not in at_home and path not in typed]
    named = names_for(others) if others else {}
    used = {name.casefold() for name in at_home.values()}
    elsewhere = {str(path): _free(f"{FILES}{name}", used) for path, name in named.items()}
    return {**typed, **at_home, **elsewhere}


def _own_folder(paths: Mapping[str, object]) -> Path | None:
    """The folder of an opened job that files of the bench lie in."""
    for path in paths:
        for above in Path(path).parents:
            if above.parent.name == FOLDER and (Path(path).relative_to(above).parts[0] + "/") == FILES:
                return above
    return None


def _free(name: str, used: set[str]) -> str:
    """A name that nothing else goes by: a folder of its own where it is taken."""
    place = PurePosixPath(name)
    found, number = name, 2
    while found.casefold() in used:
        found, number = f"{FILES}{number}/{place.relative_to(FILES.rstrip('/'))}", number + 1
    used.add(found.casefold())
    return found


def packed(document: Document, file: str) -> bytes:
    """The job file of a bench: its files, its decisions, the job that inspects them, answers as JSON, papers.

    file: the job file's name, for refusals. Raises BadFile, CannotWrite.
    """
    bench, job = told(document)
    called = bench.names
    made = {f"{RESULTS}{bay}.json": text.encode() for bay, text in _results(document).items()}
    if job is not None:
        made[JOB_FILE] = job_toml(job).encode()
    papers, listed = _papers(document)
    texts = tuple(file if file.text is None else replace(file, text=None) for file in document.files)
    plain = replace(document, files=texts, job="", job_sha256="", papers=())
    kept = (_kept(name, data, bench.origin.get(name, "")) for name, data in {**bench.files, **made}.items())
    saved = SavedJob(version=__version__, files=tuple(kept), papers=listed, bench=json.loads(saved_text(plain, called)))
    return pack(saved, {**bench.files, **made, **papers}, file)


def told(document: Document) -> tuple[Taken, Job | None]:
    """Every file of the bench as it was typed, and the job that inspects them, under their names in a job file.

    None where nothing can be inspected.
    """
    written = _written(document)
    bench = taken(written)

    def named(path: Path) -> Path:
        return Path(bench.names[str(path)])

    parts = [part.with_files(named) for bay in bays.BAYS for part in bays.work_of(bay.name).parts(written)]
    said = document.particulars and document.particulars.with_files(named)
    return bench, Job.of(*parts, units=document.units, said=said) if parts else None


def _written(document: Document) -> Document:
    """The document with what was typed at every bay as the text of its files."""
    for bay in bays.BAYS:
        if (value := bays.answer_value(document, bay)) is not None:
            with contextlib.suppress(ValvelabError):  # what can't be written as a file yet stands among the decisions
                document = bays.work_of(bay.name).written(document, value)
    return document


def _results(document: Document) -> dict[str, str]:
    """Every answer that there is, as JSON by bay."""
    known = {bay.name: bays.answer_value(document, bay) for bay in bays.BAYS}
    given = {name: bays.work_of(name).result(value) for name, value in known.items() if value is not None}
    return {name: result.model_dump_json(indent=1) for name, result in given.items()}


def _kept(name: str, data: bytes, origin: str) -> KeptFile:
    typed = not origin or origin.startswith(TYPED)
    return KeptFile(name=name, sha256=sha256(data).hexdigest(), origin=None if typed else origin)


def _papers(document: Document) -> tuple[dict[str, bytes], tuple[KeptPaper, ...]]:
    """Papers that still lie where they were written."""
    files: dict[str, bytes] = {}
    listed: list[KeptPaper] = []
    for number, paper in enumerate(document.papers, start=1):
        try:
            data = read_contents(paper.path).data
        except BadFile:
            continue
        name = f"{PAPERS}{number}/{Path(paper.path).name}"
        files[name] = data
        listed.append(KeptPaper(name=name, sha256=sha256(data).hexdigest(), number=paper.number, made=paper.made))
    return files, tuple(listed)


@contextlib.contextmanager
def on_disk(document: Document, part: JobPart) -> Iterator[JobPart]:
    """A part whose files can be read from the disk for as long: what was typed is laid out beside the files."""
    typed = {file.path for file in document.files if file.text is not None}
    if not typed.intersection(str(path) for path in part.files):
        yield part
        return
    bench = taken(document)
    with TemporaryDirectory(prefix="valvelab-paper-") as place:
        lay_out(bench.files, Path(place), "the bench")
        with without(Path(place), "the bench"):
            yield part.with_files(lambda path: Path(place) / bench.names[str(path)])


def opened(contents: Contents, place: Path) -> Document:
    """The bench that a job file keeps, its files laid out under `place`; BadFile for a file that is none or torn."""
    listed, files = read_job_archive(contents)
    folder = place / FOLDER / secrets.token_hex(6)
    laid = {name: str(folder / name) for name in files if name.startswith((FILES, PAPERS))}
    try:
        texts = {name: data.decode() for name, data in files.items() if name.startswith(TYPED)}
        document = saved_document(json.dumps(listed.bench).encode(), laid)
        papers = tuple(_paper(kept, laid) for kept in listed.papers)
        _check_kept(document, {*laid.values(), *texts})
    except ValueError as error:
        first = str(error).partition("\n")[0]
        raise BadFile(contents.file, "bench", first, "a bench that this version can read") from None
    lay_out({name: files[name] for name in laid}, folder, contents.file, private=True)
    on_bench = tuple(replace(file, text=texts.get(file.path)) for file in document.files)
    job = str(Path(contents.file).absolute())
    return replace(document, files=on_bench, papers=papers, job=job, job_sha256=contents.source.sha256)


def _paper(kept: KeptPaper, laid: Mapping[str, str]) -> Paper:
    if kept.name not in laid:
        raise ValueError(f"a paper in {kept.name!r}")
    return Paper(laid[kept.name], kept.number, kept.made)


def _check_kept(document: Document, kept: Collection[str]) -> None:
    """Refuse a bench that would read files which its job does not keep."""
    for file in document.files:
        if file.path not in kept:
            raise ValueError(f"the file {file.path!r}, which it does not keep")
