"""The commands that inspect: their options are the fields of a job's part, their answer is what the use tells."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args, get_origin

from pydantic import ValidationError

from valvelab.cli.options import add_common
from valvelab.cli.output import page, plain, tell_notes, verdict_text, write_out
from valvelab.cli.streams import answer
from valvelab.errors import BadFile, WrongUsage
from valvelab.files.job_archive import names_job
from valvelab.job.exchange import said_on_disk
from valvelab.job.use import Around, Inspection, OfPart, Use
from valvelab.job.uses import CARD_ENDINGS, WITH_CARD, WITH_SHEET, use
from valvelab.records.job import PARTS, Job, JobPart
from valvelab.records.result import exit_code
from valvelab.writing import write_whole

if TYPE_CHECKING:
    from valvelab.sets.tray import Progress


def configure(parser: argparse.ArgumentParser, name: str, *, file_needed: bool = True) -> None:
    """Options of a use's command."""
    kind = PARTS[name]
    for field in kind.POSITIONAL:
        file = kind.model_fields[field]
        nargs = None if file_needed else "?"
        parser.add_argument(field, type=Path, metavar=file.title, help=file.description, nargs=nargs)
    for option, field in kind.options().items():
        info = kind.model_fields[field]
        if info.annotation is bool:
            parser.add_argument(option, dest=field, action="store_true", help=info.description)
            continue
        among = get_args(info.annotation) or (info.annotation,)
        parser.add_argument(
            option,
            dest=field,
            metavar=info.title,
            help=info.description,
            action="append" if get_origin(info.annotation) is tuple else "store",
            choices=[one for one in among if isinstance(one, str)] or None,
            type=next((kind for kind in (int, Path) if kind in among), str),
        )
    if name in WITH_SHEET:
        parser.add_argument("--sheet", type=Path, metavar="FILE", help="write the build sheet in large type (.pdf)")
    if name in WITH_CARD:
        parser.add_argument(
            "--card",
            type=Path,
            metavar="FILE",
            help="write the cam card (.pdf, or the .toml that phasing takes as --spec)",
        )
    add_common(parser)


@contextmanager
def asked(kind: type[OfPart], args: argparse.Namespace) -> Iterator[tuple[OfPart, Path | None]]:
    """The part that a command line asks for; with the folder where a job file is laid out for the while, or None."""
    if not names_job(args.file) or len(kind.POSITIONAL) > 1:  # a use of two files takes what each of them carries
        yield part_of(kind, args), None
        return
    from valvelab.job.job_file import opened_job  # noqa: PLC0415 - the options of a command are told without it
    from valvelab.job.parts import inputs_of, located  # noqa: PLC0415
    from valvelab.job.typed import Specs  # noqa: PLC0415

    with opened_job(args.file) as (job, folder):
        whole = located(job, folder)
        inputs_of(whole, Specs(), within=folder)
        yield part_in_job(kind, whole, folder, args), folder


def part_of(kind: type[OfPart], args: argparse.Namespace) -> OfPart:
    """The part that a command line asks for."""
    stated = _stated(kind, args)
    missing = next((option for option, field in kind.options().items() if _missing(kind, field, stated)), None)
    if missing is not None:
        raise WrongUsage(f"{missing}: found nothing, expected a value")
    return _valid(kind, stated)


def part_in_job(kind: type[OfPart], job: Job, folder: Path, args: argparse.Namespace) -> OfPart:
    """The only part of its kind in a located job laid out in a folder, with what the command line says besides."""
    parts = [part for part in job.part if isinstance(part, kind)]
    name = kind.model_fields["inspect"].default
    if len(parts) != 1:
        found = f"{len(parts)} parts for {name}" if parts else f"no part for {name}"
        raise BadFile(str(folder / "job.toml"), "", found, "one; certify takes them all")
    stated = {**dict(parts[0]), **_stated(kind, args), "file": parts[0].file}
    return _valid(kind, stated)


def _stated(kind: type[JobPart], args: argparse.Namespace) -> dict[str, Any]:
    """What was typed; a switch that was left alone says nothing."""
    typed = {field: getattr(args, field, None) for field in kind.model_fields}
    return {field: value for field, value in typed.items() if value is not None and value is not False}


def _missing(kind: type[JobPart], field: str, stated: dict[str, Any]) -> bool:
    return kind.model_fields[field].is_required() and field not in stated


def _valid(kind: type[OfPart], stated: dict[str, Any]) -> OfPart:
    try:
        return kind.model_validate(stated, by_alias=False, by_name=True)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        option = next((word for word, field in kind.options().items() if field == first["loc"][0]), "file")
        expected = first["msg"][:1].lower() + first["msg"][1:]
        raise WrongUsage(f"{option}: found {first['input']!r}, {expected}") from None


@dataclass(frozen=True, slots=True)
class Inspecting:
    """The command of a use."""

    name: str

    def configure(self, parser: argparse.ArgumentParser) -> None:
        """Options of the command."""
        configure(parser, self.name)

    def run(self, args: argparse.Namespace) -> int:
        """Read, inspect, answer."""
        known = use(self.name)
        with asked(PARTS[self.name], args) as (part, folder):
            return finish(known, known.inspect(part, Around(report=_reporter(args))), part, args, folder)


def finish(
    known: Use[Any, Any],
    inspection: Inspection,
    part: JobPart,
    args: argparse.Namespace,
    folder: Path | None = None,
) -> int:
    """Print and write one inspection; returns the exit code that its verdicts ask for, or those of its certificate.

    folder: where a job file is laid out for the while; its files go by their names in the job.
    """
    result = inspection.result
    sheet, card = _page(args, "sheet", (".pdf",)), _page(args, "card", CARD_ENDINGS)
    if folder is not None:
        from valvelab.job.carried import within  # noqa: PLC0415 - as above

        result = within(result, folder)
    judged = [result.verdicts]

    def text() -> str:
        tables = known.tables(inspection, args.units)
        return page(*tables, verdict_text(result.verdicts, result, args.units), *known.closing(inspection))

    def certify(path: Path) -> None:
        from valvelab.job.certificates import write  # noqa: PLC0415 - the report library is for paper alone

        # the paper's verdicts leave no limit of the spec unanswered
        judged.append(write(Job.of(part, args.units), path, signer=args.signer).verdicts)

    if args.out is not None:
        more = {ending: partial(form, inspection) for ending, form in known.forms.items()}
        write_out(result, args.out, text, certify, partial(said_on_disk, part), more)
    if sheet is not None and known.sheet is not None:
        from valvelab.report.build_sheet import build_sheet  # noqa: PLC0415 - as above

        write_whole(sheet, build_sheet(known.sheet(inspection, args.units), args.units))
    if card is not None and known.card is not None:
        write_whole(card, known.card(inspection, card.suffix.lower(), args.units))
    if args.json:
        answer(result.model_dump_json(indent=1))
    elif args.out is None or not args.quiet:
        answer(plain(text()))
    tell_notes(result.notes, args)
    return exit_code(judged[-1])


def _page(args: argparse.Namespace, option: str, endings: tuple[str, ...]) -> Path | None:
    """The file of an option that only some uses have; refused where it has none of the endings."""
    path: Path | None = getattr(args, option, None)
    if path is not None and path.suffix.lower() not in endings:
        raise WrongUsage(f"--{option} {path}: found ending {path.suffix!r}, expected {' or '.join(endings)}")
    return path


def _reporter(args: argparse.Namespace) -> Callable[[Progress], None] | None:
    """Progress on a terminal only."""
    if args.quiet or args.json or not sys.stderr.isatty():
        return None

    def report(progress: Progress) -> None:
        bound = "" if progress.bound_sets is None else f" of at most {progress.bound_sets}"
        line = f"{progress.sets} sets{bound}"
        if progress.total_spread is not None:
            line += f", total spread {progress.total_spread:.3f}, at least {progress.bound_total_spread or 0.0:.3f}"
        sys.stderr.write(f"\r\033[K{line}")
        sys.stderr.flush()

    return report
