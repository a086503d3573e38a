"""`valvelab certify`: the certificate of a job, with everything needed to compute it again."""

from __future__ import annotations

import argparse
from datetime import date
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING

from valvelab.cli.options import add_columns, add_common
from valvelab.cli.output import plain
from valvelab.cli.outputs import check_outputs
from valvelab.cli.streams import answer, say
from valvelab.errors import BadQuantity, CannotWrite, ValvelabError, WrongUsage
from valvelab.records.certificate_result import CertifyResult
from valvelab.records.job import Job, JobPart
from valvelab.records.result import Verdict, exit_code
from valvelab.writing import check_place, write_whole

if TYPE_CHECKING:
    from valvelab.cli.job_parts import Inspected, Request
    from valvelab.units import System
    from valvelab.workbench.certificates import CertificateRequest

UNSOUND = "the certificate would not verify"


def configure(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument(
        "job", type=Path, metavar="JOB", help="a lift table or other readings, a job file (TOML), or a folder of files"
    )
    parser.add_argument("--at", action="append", metavar="LIFT", help="add a checking lift (lift tables; repeatable)")
    parser.add_argument("--title", metavar="TEXT", help="name of the job on the certificate")
    parser.add_argument("--date", metavar="YYYY-MM-DD", help="date of the certificate (default: today)")
    add_columns(parser)
    add_common(parser)


def run(args: argparse.Namespace) -> int:
    """Inspect the job and write its certificate."""
    from valvelab.cli.job_parts import inputs_of, requests_of

    if args.out is None or args.out.suffix.lower() != ".pdf":
        raise WrongUsage("certify: expected --out with a file that ends in .pdf")
    job, folder = _job(args)
    requests = requests_of(job, folder)
    check_outputs(args, inputs_of(requests))
    result = write(requests, job, args.out)
    if args.json:
        answer(result.model_dump_json(indent=1))
    else:
        done = f"{summary(result.verdicts)}\ncertificate {result.number} written to {result.certificate}"
        answer(plain(done))
    if not args.quiet:
        for note in result.notes:
            say(f"{note.level}: {note.about}: {note.text}")
    return exit_code(result.verdicts)


def _job(args: argparse.Namespace) -> tuple[Job, Path]:
    """The job named on the command line, with what the command line adds to it."""
    from valvelab.files.job_file import read_job

    options = [f"--at={lift}" for lift in args.at or ()]
    if args.columns is not None and args.job.is_file():
        job, folder = _job_of_columns(args.job, args.columns), args.job.parent
    else:
        job, folder = read_job(args.job)
    parts = tuple(
        part.model_copy(update={"options": (*part.options, *options)}) if part.inspect == "lobes" else part
        for part in job.part
    )
    changes: dict[str, object] = {"part": parts, "made": _date(args.date or job.made)}
    if args.spec is not None:
        changes["spec"] = str(args.spec.absolute())
    if args.title is not None:
        changes["title"] = args.title
    if args.units != "metric":
        changes["units"] = args.units
    return job.model_copy(update=changes), folder


def _job_of_columns(file: Path, columns: str) -> Job:
    """The job of a single table whose columns the command line assigns; the names say what is inspected."""
    from valvelab.files.kinds import command_for
    from valvelab.files.table import read_table

    command = command_for(read_table(file, columns)) or "lobes"
    return Job(part=(JobPart(inspect=command, file=file.name, options=(f"--columns={columns}",)),))


def _date(text: str | None) -> str:
    if text is None:
        return date.today().isoformat()  # noqa: DTZ011 - the date on the wall where the paper is signed
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        raise BadQuantity("date", repr(text), "a date as YYYY-MM-DD") from None


def write(requests: list[Request], job: Job, path: Path) -> CertifyResult:
    """Inspect, write the PDF, and say what was written."""
    from valvelab.cli.job_parts import inspect_job

    check_place(path)
    return write_inspected(inspect_job(requests, job), job, path)


def write_inspected(done: Inspected, job: Job, path: Path) -> CertifyResult:
    """Write the PDF of a job that was inspected already.

    It is computed and drawn again from its own bytes first; one that does not agree with itself is not written.
    """
    from valvelab.cli.job_parts import certificate_of
    from valvelab.report.pdf import certificate_bytes

    certificate = certificate_of(done, _date(job.made))
    content = certificate_bytes(certificate, job.units)
    _check(content, path)
    write_whole(path, content)
    return CertifyResult(
        source=certificate.sources,
        notes=tuple(note for part in done.parts for note in part.result.notes),
        verdicts=tuple(verdict for part in done.parts for verdict in part.result.verdicts),
        certificate=str(path),
        number=certificate.number,
        made=certificate.made,
        sha256=sha256(content).hexdigest(),
    )


def _check(content: bytes, path: Path) -> None:
    """Refuse a certificate that can't be verified, before anyone takes it for one."""
    from valvelab.cli.recomputing import verify_bytes

    try:
        found = verify_bytes(content, path.name)
    except CannotWrite:
        raise  # no room for the files that are unpacked to be checked
    except ValvelabError as error:
        raise CannotWrite(str(path), f"{UNSOUND}: {error}") from None
    if not found.agrees:
        first = found.differing[0]
        why = f"{first.where} reads {first.stated!r}, computed again {first.recomputed!r}"
        raise CannotWrite(str(path), f"{UNSOUND}: {why}")


def write_request(request: CertificateRequest, path: Path, units: System, made: str) -> CertifyResult:
    """The certificate of what a bay of the window shows, by the same road as any job's.

    `made` is the date, ISO 8601. Refuses files that changed since they were inspected, and a paper that would say
    something else than the window does.
    """
    from valvelab.cli.job_parts import inspect_job, request_of
    from valvelab.workbench.certificates import check_shown, stated

    spec = None if request.spec_file is None else str(request.spec_file.absolute())
    asked = request_of(request.command, str(request.file.absolute()), spec, request.options, units)
    job = Job(units=units, made=made, part=(JobPart(inspect=request.command, file="-"),))
    done = inspect_job([asked], job, stated={0: stated(request)})
    check_shown(request, done.parts[0].result)
    return write_inspected(done, job, path)


def certify_arguments(command: str, args: argparse.Namespace, path: Path) -> CertifyResult:
    """The certificate behind another command's `--out FILE.pdf`, from that command's own arguments."""
    from valvelab.cli.job_parts import Request

    job = Job(units=args.units, part=(JobPart(inspect=command, file="-"),))
    return write([Request(command, args)], job, path)


def summary(verdicts: tuple[Verdict, ...]) -> str:
    """The overall verdict and its counts, on one line."""
    from valvelab.report.assembly import banner

    head = banner(verdicts)
    return f"{head.word}. {head.sentence}".strip()
