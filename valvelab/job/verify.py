"""A certificate computed and drawn again from what it carries."""

from __future__ import annotations

import json
import re
import tempfile
import tomllib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path
from typing import Any

import reportlab

from valvelab import __version__
from valvelab.errors import BadFile, ValvelabError
from valvelab.files.contents import read_contents
from valvelab.job.carried import (
    JOB,
    Carried,
    as_attachments,
    carry,
    job_carried,
    read_carried,
    result_name,
    toml_text,
)
from valvelab.job.comparison import compare_results
from valvelab.job.laid_out import lay_out, without
from valvelab.job.parts import Inspected, certificate_of, inspect_job, located
from valvelab.job.signature import signature_of
from valvelab.job.upgrade import read_job_file
from valvelab.records.certificate_result import Difference, VerifyResult
from valvelab.records.job import Job
from valvelab.records.result import Note, Source, info, warning
from valvelab.report.attachments import A_PAPER
from valvelab.report.drawn_page import compare_drawn, foreign
from valvelab.report.page_model import Certificate, texts
from valvelab.report.pdf import certificate_bytes
from valvelab.report.pdf_file import NotReadable, read_file, seal_holds

EARLIER = ("0.1.0",)
"""Versions that have written certificates before this one."""
_VERSION = re.compile(r"\d{1,4}(\.\d{1,4}){1,3}")
_DRAWER = re.compile(r"reportlab \d+(\.\d+)*")


@dataclass(frozen=True, slots=True)
class Again:
    """A carried job inspected once more, and the certificate that would be written over the carried files."""

    inspected: Inspected
    certificate: Certificate


def verify(path: Path) -> VerifyResult:
    """Compute a certificate again and compare every figure, and everything that it shows."""
    return verify_bytes(read_contents(path).data, path.name)


def verify_bytes(data: bytes, name: str) -> VerifyResult:
    """Compute a certificate again, draw it again, and compare every figure, then every byte.

    `name` is the file's, for refusals. Raises BadFile or CannotEvaluate for what can't be computed again at all.
    """
    with _in_one_sentence(name):
        carried = read_carried(data, name)
        again = _again(carried)
        figures, exact = _figures(carried, again)
        compared = len(figures)
        wrong = [*(row for row in figures if row is not None), *_files(carried, again)]
        if carried.version != __version__:
            return _by_another(carried, again, compared, wrong)
        shown = list(_shown(carried, again, exact=exact))
        agrees: bool | None = not shown
        notes = _drawer_notes(carried)
        if shown and notes and not (*foreign(carried.file, again.certificate),) and seal_holds(data):
            agrees, shown = None, []  # another library's lines; nothing was added to them
        return _answer(carried, again, compared, [*wrong, *shown], not (wrong or shown), agrees, notes)


def carries(data: bytes, name: str, made_of: Again) -> bool:
    """Whether a paper, `name` its file's, carries the files and the job it was made of a moment ago, and is signed so.

    False too where it says where a file lay, which is another place for whoever computes it again. Raises BadFile.
    """
    done = made_of.inspected
    with _in_one_sentence(name):
        carried = read_carried(data, name)
        wanted = {row.name: row.content for row in carry(done.job, done.inputs, [part.result for part in done.parts])}
        said = [*texts(made_of.certificate), *(wanted[key].decode() for key in set(wanted) - set(done.inputs))]
        return (
            carried.files == wanted
            and job_carried(carried) == done.job
            and not signature_of(carried.seal, done.job.signer)[1]
            and not any(place in text for place in done.places for text in said)
        )


@contextmanager
def _in_one_sentence(name: str) -> Iterator[None]:
    """Whatever a foreign file brings about is one sentence of the program's own."""
    try:
        yield
    except ValvelabError:
        raise
    except NotReadable as error:
        raise BadFile(name, "", str(error), A_PAPER) from None
    except Exception as error:  # a foreign file may reach any line of any inspection
        raise BadFile(name, "", f"contents that can't be computed again ({type(error).__name__})", A_PAPER) from error


def _again(carried: Carried) -> Again:
    with tempfile.TemporaryDirectory(prefix="valvelab-verify-") as place:
        folder = Path(place)
        lay_out(carried.files, folder, carried.name)
        with without(folder, carried.name):
            job = read_job_file(folder / JOB)
            inspected = inspect_job(located(job, folder), folder, _by_part(job, carried))
    made = job.made or ""
    done = inspected.job.model_copy(update={"made": made})
    fresh = {row.name: row.content for row in carry(done, {}, [part.result for part in inspected.parts])}
    held = {key: carried.files.get(key, content) if key != JOB else content for key, content in fresh.items()}
    if _says_the_same(carried.files[JOB], job, done):
        held[JOB] = carried.files[JOB]
    attachments = as_attachments({**inspected.inputs, **held}, done)
    return Again(inspected, replace(certificate_of(inspected, made, attachments), written=carried.written))


def _says_the_same(text: bytes, job: Job, done: Job) -> bool:
    """Whether a carried job of an earlier form is the job as it is done, without a word besides."""
    keys = tomllib.loads(text.decode())
    earlier = keys.get("schema_version") == 1
    spoken = job.model_copy(update={"made": job.made or ""})
    return earlier and spoken == done and toml_text(keys).encode() == text


def _by_part(job: Job, carried: Carried) -> dict[int, Mapping[str, Any]]:
    found = {number: carried.results.get(result_name(number, part.inspect)) for number, part in enumerate(job.part)}
    return {number: row for number, row in found.items() if isinstance(row, dict)}


def _figures(carried: Carried, again: Again) -> tuple[list[Difference | None], bool]:
    """Carried results against recomputed ones; True where they are the same to the last byte."""
    found: list[Difference | None] = []
    exact = True
    for number, part in enumerate(again.inspected.parts):
        name = result_name(number, part.result.command)
        fresh = part.result.model_dump_json(indent=1) + "\n"
        if name not in carried.files:
            found.append(Difference(where=name, stated="missing", recomputed="a result"))
        elif carried.results[name] is None:
            found.append(Difference(where=name, stated="no JSON", recomputed="a result"))
        else:
            found += compare_results(carried.results[name], json.loads(fresh), name.removesuffix(".json"))
        exact = exact and carried.files.get(name) == fresh.encode()
    return found, exact


def _files(carried: Carried, again: Again) -> Iterator[Difference]:
    """Carried files that are no part of the job, and a job that is told otherwise than it is done."""
    expected = {row.name: row.content for row in again.certificate.attachments}
    for name in sorted(set(carried.files) - set(expected)):
        yield Difference(where="attachments", stated=name, recomputed="no part of the job")
    if carried.version == __version__ and carried.files[JOB] != expected[JOB]:
        yield Difference(where=JOB, stated="other words", recomputed="the job as it is done")


def _shown(carried: Carried, again: Again, *, exact: bool) -> Iterator[Difference]:
    """What the file shows against the same certificate drawn again."""
    signature = carried.seal.signature
    fresh = certificate_bytes(
        again.certificate, again.inspected.job.units, None if signature is None else lambda _: signature
    )
    if fresh == carried.data:
        return
    if not seal_holds(carried.data):
        yield Difference(where="file", stated="changed after it was written", recomputed="its own identifier")
    yield from compare_drawn(carried.file, read_file(fresh), exact=exact)


def _drawer_notes(carried: Carried) -> list[Note]:
    ours = f"reportlab {reportlab.Version}"
    if carried.drawer == ours or not _DRAWER.fullmatch(carried.drawer):
        return []
    text = "drawn with {}; here it is {}: what is drawn could not be compared line by line"
    return [warning("drawing", text.format(carried.drawer, ours))]


def _by_another(carried: Carried, again: Again, compared: int, wrong: list[Difference]) -> VerifyResult:
    """The answer for a paper of another version: its files are whole or not; its figures are computed as now."""
    differing = [row for row in wrong if not _only_newer(row)]
    broken = [row for row in differing if row.where == "attachments" or row.stated in {"missing", "no JSON"}]
    broken += foreign(carried.file, again.certificate)
    broken += _identity(carried, again)
    if not _known(carried.version):
        stated = carried.version or "several versions, or none"
        broken.append(Difference(where="version", stated=stated, recomputed="one that has written certificates"))
    told_by = f"written by valvelab {carried.version}, computed again by {__version__}"
    notes = [
        info("version", f"{told_by}: what is drawn was not compared, only looked through for what was added to it")
    ]
    if differing and not broken:
        decisions = sum(row.where.endswith(".decision") for row in differing)
        text = (
            f"{len(differing)} of {compared} figures differ under this version's methods, {decisions or 'no'} verdict"
        )
        text += f"{'s' * (decisions > 1)} among them; valvelab {carried.version} itself tells whether they are its own"
        notes.append(warning("version", f"{told_by}: {text}"))
    others = sorted((row for row in differing if row not in broken), key=_weight)
    return _answer(carried, again, compared, [*broken, *others], not broken, None, notes)


def _weight(row: Difference) -> int:
    """Verdicts before figures before notes."""
    return next((rank for kind, rank in ((".decision", 0), (".verdicts", 1), (".notes", 3)) if kind in row.where), 2)


def _only_newer(row: Difference) -> bool:
    """Whether only the other version lacks a figure or a note that this one gives."""
    return row.stated == "nothing"


def _known(version: str) -> bool:
    if not _VERSION.fullmatch(version):
        return False
    return version in EARLIER or _order(version) > _order(__version__)


def _order(version: str) -> tuple[int, ...]:
    return tuple(int(part) for part in re.findall(r"\d+", version))


def _identity(carried: Carried, again: Again) -> Iterator[Difference]:
    """Carried readings that are not those whose SHA-256 the results state."""
    for number, part in enumerate(again.inspected.parts):
        name = result_name(number, part.result.command)
        stated = carried.results.get(name)
        rows = stated.get("source") if isinstance(stated, dict) else None
        for row in rows if isinstance(rows, list) else ():
            content = carried.files.get(str(row.get("file")) if isinstance(row, dict) else "")
            if content is None or sha256(content).hexdigest() != row.get("sha256"):
                yield Difference(where=f"{name}: source", stated=str(row)[:80], recomputed="no carried file like that")


def _answer(
    carried: Carried,
    again: Again,
    compared: int,
    differing: list[Difference],
    agrees: bool,
    drawn: bool | None,
    notes: list[Note],
) -> VerifyResult:
    job = again.inspected.job
    signature, broken = signature_of(carried.seal, job.signer)
    if signature.state == "trusted" and job.signer is not None and job.signer.name != signature.name:
        notes = [*notes, info("signature", f"the paper calls the key {job.signer.name}")]
    return VerifyResult(
        source=(Source(file=carried.name, sha256=sha256(carried.data).hexdigest()),),
        number=again.certificate.number,
        agrees=agrees and not broken,
        compared=compared,
        differing=(*broken, *differing),
        signature=signature,
        replaces=job.replaces,
        drawn_page_agrees=drawn,
        written_by=f"valvelab {carried.version}",
        verdicts=tuple(verdict for part in again.inspected.parts for verdict in part.result.verdicts),
        notes=tuple(notes),
    )
