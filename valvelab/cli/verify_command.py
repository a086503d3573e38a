"""`valvelab verify`: a certificate computed again from what it carries."""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import re
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from valvelab import __version__
from valvelab.cli.output import plain, say, table
from valvelab.errors import BadFile, WrongUsage
from valvelab.records.certificate_result import Difference, VerifyResult
from valvelab.records.job import Job
from valvelab.records.result import info
from valvelab.writing import make_folder, write_whole

if TYPE_CHECKING:
    from valvelab.cli.job_parts import Inspected
    from valvelab.report.page_model import Certificate

DIFFERS = 1
SHOWN = 20


def configure(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument("certificate", type=Path, metavar="F.pdf", help="a certificate written by valvelab")
    parser.add_argument("--json", action="store_true", help="one JSON document on standard output")
    parser.add_argument("--quiet", action="store_true", help="no notes on standard error")


def run(args: argparse.Namespace) -> int:
    """Take the inputs out, inspect them, compare with the paper; 0 where all agrees, else 1."""
    result = verify(args.certificate)
    sys.stdout.write((result.model_dump_json(indent=1) if args.json else plain(text(result))) + "\n")
    if not args.quiet:
        for note in result.notes:
            say(f"{note.level}: {note.about}: {note.text}")
    return 0 if result.matches else DIFFERS


def verify(path: Path) -> VerifyResult:
    """Compute a certificate again and compare every number of its results and every word of its pages."""
    from valvelab.files.contents import read_contents
    from valvelab.report.attachments import carried_files

    source = read_contents(path).source
    carried = carried_files(path)
    with tempfile.TemporaryDirectory(prefix="valvelab-verify-") as name:
        again = _again(path, Path(name), carried)
    found = [*_results(carried, again), *_pages(path, again)]
    differences = tuple(row for row in found if row is not None)
    stated = _stated_version(carried)
    other = "Written by valvelab {}, computed again by {}; a method may have changed in between.".format
    return VerifyResult(
        source=(source,), number=again.certificate.number, matches=not differences, compared=len(found),
        verdicts=tuple(verdict for part in again.inspected.parts for verdict in part.result.verdicts),
        notes=() if stated == __version__ else (info("version", other(stated, __version__)),), differences=differences,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Again:
    """A carried job inspected once more, and the certificate that would be written over the carried files."""

    inspected: Inspected
    certificate: Certificate


def _again(path: Path, folder: Path, carried: dict[str, bytes]) -> Again:
    from valvelab.cli.job_parts import certificate_of, inspect_job, requests_of
    from valvelab.files.spec_file import read_toml
    from valvelab.report.carried import JOB, as_attachments

    if JOB not in carried:
        raise BadFile(path.name, "attachments", f"no {JOB}", "the job that a valvelab certificate carries")
    for name, content in carried.items():
        target = folder / name
        make_folder(target.parent)
        write_whole(target, content)
    try:
        job = read_toml(folder / JOB, Job)
        inspected = inspect_job(requests_of(job, folder), job, within=folder)
    except WrongUsage as error:
        raise BadFile(path.name, JOB, str(error), "parts that valvelab inspects") from None
    except BadFile as error:
        # the temporary folder says nothing to the reader
        file = f"{path.name}, {error.file.removeprefix(str(folder)).lstrip('/')}"
        raise BadFile(file, error.place, error.found, error.expected) from None
    attachments = as_attachments(carried, inspected.job)
    return Again(inspected, certificate_of(inspected, job.made or "", attachments))


def _results(carried: dict[str, bytes], again: Again) -> Iterator[Difference | None]:
    """Carried results against recomputed ones."""
    from valvelab.report.carried import carry
    from valvelab.report.comparison import compare_results

    results = [part.result for part in again.inspected.parts]
    for fresh in carry(again.inspected.job, {}, results):
        if not fresh.name.endswith(".json"):
            continue
        if fresh.name not in carried:
            yield Difference(where=fresh.name, stated="missing", recomputed="a result")
            continue
        try:
            stated = json.loads(carried[fresh.name])
        except ValueError:
            yield Difference(where=fresh.name, stated="no JSON", recomputed="a result")
            continue
        yield from compare_results(stated, json.loads(fresh.content), fresh.name.removesuffix(".json"))


def _pages(path: Path, again: Again) -> Iterator[Difference | None]:
    """The paper's words against those of a paper drawn from the re-computation."""
    from valvelab.report.attachments import page_texts
    from valvelab.report.comparison import compare_pages
    from valvelab.report.pdf import certificate_bytes

    drawn = page_texts(io.BytesIO(certificate_bytes(again.certificate, again.inspected.job.units)))
    yield from compare_pages(_unversioned(page_texts(path)), _unversioned(drawn))


def _unversioned(pages: list[str]) -> list[str]:
    return [re.sub(r"\bvalvelab \d\S*", "valvelab", page) for page in pages]


def _stated_version(carried: dict[str, bytes]) -> str:
    for name, content in carried.items():
        if name.endswith(".json"):
            with contextlib.suppress(ValueError, AttributeError):
                return str(json.loads(content).get("version", ""))
    return ""


def text(result: VerifyResult) -> str:
    """What was compared and where it differs."""
    if result.matches:
        return (
            f"certificate {result.number} agrees: {result.compared} numbers and words computed again, none differs "
            "beyond rounding"
        )
    rows = [[row.where, row.stated, row.recomputed] for row in result.differences[:SHOWN]]
    more = len(result.differences) - SHOWN
    parts = [
        f"certificate {result.number} DIFFERS in {len(result.differences)} of {result.compared} places",
        table(["where", "stated", "computed again"], rows, left=3),
        *([f"and {more} more"] if more > 0 else []),
    ]
    return "\n".join(parts)
