"""`valvelab certify`: the certificate of a job, with everything needed to compute it again."""

from __future__ import annotations

import argparse
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path

from valvelab.cli.defaults import add_no_defaults, use_defaults
from valvelab.cli.options import add_common
from valvelab.cli.output import look_of, summary, tell_notes, told
from valvelab.cli.outputs import check_outputs
from valvelab.cli.signing import number_or_file, replaced
from valvelab.cli.streams import answer
from valvelab.errors import BadQuantity, WrongUsage
from valvelab.files.contents import names_job
from valvelab.files.reading import command_for
from valvelab.files.table import read_table
from valvelab.job.certificates import write
from valvelab.job.job_file import opened_job
from valvelab.job.parts import inputs_of, located
from valvelab.job.typed import Specs, shown_in
from valvelab.quantities import iso_date
from valvelab.records.job import PARTS, Job
from valvelab.records.particulars import Particulars, stated
from valvelab.records.parts.lobes import LobesPart
from valvelab.records.parts.part import TablePart
from valvelab.records.result import exit_code


def configure(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument(
        "job", type=Path, metavar="JOB", help="readings, a job (.valvejob or TOML), or a folder of files"
    )
    parser.add_argument("--at", action="append", metavar="LIFT", help="add a checking lift (lift tables; repeatable)")
    parser.add_argument("--date", metavar="YYYY-MM-DD", help="date of the certificate (default: today)")
    parser.add_argument(
        "--replaces", type=number_or_file, metavar="CERTIFICATE", help="the PDF or the number of one that this replaces"
    )
    parser.add_argument("--reason", metavar="TEXT", help="why, in one line; with --replaces")
    for name, info in Particulars.model_fields.items():
        option = f"--{name.replace('_', '-')}"
        if info.annotation is bool:
            parser.add_argument(option, action="store_true", help=info.description)
        elif name not in {"photographs", "whose"}:
            kind = Path if name == "shop" else str
            parser.add_argument(option, type=kind, metavar="FILE" if name == "shop" else "TEXT", help=info.description)
    parser.add_argument(
        "--photograph", action="append", metavar="FILE=CAPTION", help="a picture (JPEG, PNG) to print small; repeatable"
    )
    columns = TablePart.model_fields["columns"]
    parser.add_argument("--columns", metavar=columns.title, help=columns.description)
    add_no_defaults(parser)
    add_common(parser)


def run(args: argparse.Namespace) -> int:
    """Inspect the job and write its certificate."""
    if args.out is None or args.out.suffix.lower() != ".pdf":
        raise WrongUsage("certify: expected --out with a file that ends in .pdf")
    with _found(args) as (found, folder):
        specs = Specs()
        if names_job(args.job):
            inputs_of(located(found, folder), specs, within=folder)
        if found.shop is None:
            use_defaults(args)
        job = _job(args, found, folder)
        check_outputs(args, inputs_of(job, specs))
        result = write(job, args.out, specs, args.signer)
    if args.json:
        answer(result.model_dump_json(indent=1))
    else:
        signed = f", {args.signer.public.sentence}" if args.signer else ""
        done = f"{summary(result.verdicts)}\ncertificate {result.number} written to {result.certificate}{signed}"
        look = look_of(args)
        if look.screen is not None:
            tell_notes(result.notes, args)
        answer(told(done, look))
        if look.screen is None:
            tell_notes(result.notes, args)
    return exit_code(result.verdicts)


def _job(args: argparse.Namespace, job: Job, folder: Path) -> Job:
    """The job named on the command line, with what the command line adds to it, its files where they lie."""
    added = tuple(args.at or ())
    parts = tuple(
        part.model_copy(update={"at": (*part.at, *added)}) if isinstance(part, LobesPart) else part for part in job.part
    )
    changes: dict[str, object] = {"part": parts, "made": iso_date(args.date or job.made)}
    if args.spec is not None:
        changes["spec"] = args.spec.absolute()
    before = replaced(args)
    if before is not None:
        changes["replaces"] = before
    if args.units != "auto":
        changes["units"] = args.units
    elif "units" not in job.model_fields_set:
        changes["units"] = shown_in("auto", located(job, folder).part[0])
    return located(job.model_copy(update=changes | _particulars(args)), folder)


def _particulars(args: argparse.Namespace) -> dict[str, object]:
    """What the command line says besides what is inspected; it wins over the job's own words."""
    pictures = tuple(
        {"file": Path(file).absolute(), "caption": caption.strip() or None}
        for file, _, caption in (text.partition("=") for text in args.photograph or ())
    )
    named = {name: getattr(args, name, None) for name in Particulars.model_fields}
    named |= {"photographs": pictures, "shop": args.shop and args.shop.absolute()}
    typed = {name: value for name, value in named.items() if value}
    try:
        said = stated(Particulars, typed)
    except BadQuantity as error:
        option = f"--{error.field.replace('_', '-').replace('photographs', 'photograph')}"
        raise WrongUsage(f"{option}: found {error.found}, expected {error.expected}") from None
    return {name: getattr(said, name) for name in typed}


def _found(args: argparse.Namespace) -> AbstractContextManager[tuple[Job, Path]]:
    if args.columns is not None and args.job.is_file():
        return nullcontext((_job_of_columns(args.job, args.columns), args.job.parent))
    return opened_job(args.job)


def _job_of_columns(file: Path, columns: str) -> Job:
    """The job of a single table whose columns the command line assigns; the names say what is inspected."""
    kind = PARTS[command_for(read_table(file, columns)) or "lobes"]
    return Job(part=(kind.model_validate({"file": Path(file.name), "columns": columns}),))
