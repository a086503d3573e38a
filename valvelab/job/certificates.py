"""The one road to paper: a job is inspected, its certificate drawn, verified from its own bytes, then written.

A bay of the window hands over the part that inspects again what it shows, and what it showed; the paper says the same.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from dataclasses import replace
from hashlib import sha256
from pathlib import Path
from typing import Any

from valvelab.errors import BadFile, CannotEvaluate, CannotWrite, Reason, ValvelabError
from valvelab.inspection.judging import NOT_HERE
from valvelab.job.comparison import ABSOLUTE, RELATIVE
from valvelab.job.parts import Inspected, certificate_of, inspect_job
from valvelab.job.typed import Specs
from valvelab.job.verify import Again, carries, verify_bytes
from valvelab.phrase import Phrase
from valvelab.quantities import iso_date, time_of_writing
from valvelab.records.certificate_result import CertifyResult
from valvelab.records.job import Job, Shown
from valvelab.records.particulars import Particulars
from valvelab.records.result import Result
from valvelab.report.pdf import certificate_bytes
from valvelab.signing.keys import Signer
from valvelab.units import System
from valvelab.writing import check_place, write_whole

NOT_COMPARED = {"notes", "source", "version"}
UNSOUND = "the certificate would not verify"


def write(job: Job, path: Path, specs: Specs | None = None, signer: Signer | None = None) -> CertifyResult:
    """Inspect a located job, write the PDF, and say what was written; `specs`: those of it that were read.

    `signer` signs it.
    """
    check_place(path)
    return write_inspected(inspect_job(job, specs=specs), job, path, signer)


def write_inspected(done: Inspected, job: Job, path: Path, signer: Signer | None = None) -> CertifyResult:
    """Write the PDF of a job that was inspected already, signed by `signer`, whoever signed an earlier paper of it.

    It is read again from its own bytes first; one that would not verify is not written.
    """
    made = iso_date(job.made)
    done = replace(done, job=done.job.model_copy(update={"signer": signer.public if signer else None, "made": made}))
    certificate = replace(certificate_of(done, made), written=time_of_writing())
    content = certificate_bytes(certificate, job.units, signer.sign if signer else None)
    _check(content, path, Again(done, certificate))
    write_whole(path, content)
    return CertifyResult(
        source=certificate.sources,
        notes=tuple(note for part in done.parts for note in part.result.notes),
        verdicts=tuple(verdict for part in done.parts for verdict in part.result.verdicts),
        certificate=str(path),
        number=certificate.number,
        made=certificate.made,
        sha256=sha256(content).hexdigest(),
        signed_with=signer.public.fingerprint if signer else None,
    )


def _check(content: bytes, path: Path, made_of: Again) -> None:
    """Refuse a certificate that can't be verified, before anyone takes it for one.

    The same question of the same bytes has the same answer: only where a paper does not carry just what it was made of
    is it computed again, to say what comes out otherwise.
    """
    try:
        if carries(content, path.name, made_of):
            return
        found = verify_bytes(content, path.name)
    except CannotWrite:
        raise  # no room for the files that are unpacked to be checked
    except ValvelabError as error:
        raise CannotWrite(str(path), f"{UNSOUND}: {error}") from None
    if not found.agrees:
        first = found.differing[0]
        why = f"{first.where} reads {first.stated!r}, computed again {first.recomputed!r}"
        raise CannotWrite(str(path), f"{UNSOUND}: {why}")


def write_shown(
    shown: Shown,
    path: Path,
    units: System,
    made: str,
    signer: Signer | None = None,
    said: Particulars | None = None,
) -> CertifyResult:
    """The certificate of what a bay of the window shows, by the same road as any job's.

    `made` is the date, ISO 8601; `said`: what the paper says besides. Refuses files that changed since they
    were inspected, and a paper that would say something else than the window does.
    """
    others = any(note.about == NOT_HERE for note in shown.result.notes)
    job = Job.of(shown.part, units=units, made=made, said=said, own_limits=others)
    done = inspect_job(job, stated={0: json.loads(shown.result.model_dump_json())})
    check_shown(shown, done.parts[0].result)
    return write_inspected(done, job, path, signer)


def check_shown(shown: Shown, written: Result) -> None:
    """Refuse a paper that would say something else than the window: over other files, or with another figure."""
    files = {source.sha256 for source in written.source}
    for source in shown.result.source:
        if source.sha256 not in files:
            name = Path(source.file).name
            raise BadFile(name, "", "another content than was inspected", "the file as read; read it again first")
    other = next(
        _otherwise(
            _by_name(json.loads(shown.result.model_dump_json())), _by_name(json.loads(written.model_dump_json())), ""
        ),
        None,
    )
    if other is not None:
        sentence = Phrase(
            "{name}: the paper would not say what the window shows: {other}; read the files again",
            name=shown.part.file.name,
            other=other,
        )
        raise CannotEvaluate(Reason.BAD_VALUES, sentence)


def _by_name(document: dict[str, Any]) -> dict[str, Any]:
    """The document with its verdicts by characteristic and item."""
    rows = {
        " ".join(str(row[key]) for key in ("characteristic", "item", "at_mm", "clause")): row
        for row in document["verdicts"]
    }
    return {**{key: value for key, value in document.items() if key not in NOT_COMPARED}, "verdicts": rows}


def _otherwise(shown: Any, written: Any, where: str) -> Iterator[str]:
    """Every figure of the window that the paper has otherwise; what the window has not is not compared."""
    if isinstance(shown, dict) and isinstance(written, dict):
        for key, value in shown.items():
            yield from _otherwise(value, written.get(key), f"{where} {key}".strip())
    elif isinstance(shown, list) and isinstance(written, list) and len(shown) == len(written):
        for number, (one, other) in enumerate(zip(shown, written, strict=True), start=1):
            yield from _otherwise(one, other, f"{where} {number}")
    elif isinstance(shown, float | int) and isinstance(written, float | int):
        if not math.isclose(shown, written, rel_tol=RELATIVE, abs_tol=ABSOLUTE):
            yield f"{where} {shown:g}, written {written:g}"
    elif shown is not None and shown != written:
        yield f"{where} {shown}, written {written}"
