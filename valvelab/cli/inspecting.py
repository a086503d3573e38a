"""The commands that inspect: their options are the fields of a job's part, their answer is what the use tells."""

from __future__ import annotations

import argparse
import logging
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args, get_origin

from valvelab.cli.defaults import add_no_defaults, use_defaults
from valvelab.cli.options import add_common, shows_progress
from valvelab.cli.output import (
    IN_FULL,
    Look,
    conclude,
    look_of,
    page,
    tell_notes,
    verdict_text,
    with_summary,
    write_out,
)
from valvelab.cli.progress import LINE
from valvelab.cli.streams import answer
from valvelab.errors import BadFile, WrongUsage
from valvelab.files.contents import MAX_FILE_BYTES, Contents, names_job, standing_in
from valvelab.frozen import frozen
from valvelab.job.exchange import said_on_disk
from valvelab.job.typed import shown_in, valid_part
from valvelab.job.use import Around, Inspection, OfPart, Use, as_shown
from valvelab.job.uses import WITH_CARD, WITH_SHEET, use
from valvelab.records.parts.kinds import part_kind
from valvelab.records.parts.part import JobPart, TablePart
from valvelab.records.result import exit_code
from valvelab.records.said import said_in
from valvelab.writing import write_whole

if TYPE_CHECKING:
    from valvelab.records.job import Job
    from valvelab.sets.tray import Progress
    from valvelab.units import System

_log = logging.getLogger(__name__)
STANDARD_INPUT = Path("-")


def configure(parser: argparse.ArgumentParser, name: str, *, file_needed: bool = True) -> None:
    """Options of a use's command."""
    kind = part_kind(name)
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
    parser.add_argument("--plot", type=Path, metavar="FILE", help="write the main figure (.svg, .png or .pdf)")
    parser.set_defaults(shop=None)
    add_no_defaults(parser)
    add_common(parser)


@contextmanager
def _piped(kind: type[JobPart], args: argparse.Namespace) -> Iterator[None]:
    """For the while, `-` as the file of a table stands for what comes on standard input."""
    if STANDARD_INPUT not in (args.file, getattr(args, "after", None)):
        yield
        return
    if not issubclass(kind, TablePart):
        raise WrongUsage(f"-: found standard input for {args.command}, expected a file (- stands for tables)")
    if args.file == getattr(args, "after", None):
        raise WrongUsage("-: found twice, expected standard input once")
    if sys.stdin.isatty():
        raise WrongUsage("-: found a terminal, expected a table piped into standard input")
    data = sys.stdin.buffer.read(MAX_FILE_BYTES + 1)
    with standing_in({STANDARD_INPUT: Contents.of("standard input", data)}):
        yield


@contextmanager
def asked(kind: type[OfPart], args: argparse.Namespace) -> Iterator[tuple[OfPart, Path | None]]:
    """The part that a command line asks for; with the folder where a job file is laid out for the while, or None."""
    if not names_job(args.file) or len(kind.POSITIONAL) > 1:  # a use of two files takes what each of them carries
        with _piped(kind, args):
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
    """The part that was typed; a refusal names the option."""
    options = {field: option for option, field in kind.options().items()}
    return valid_part(kind, stated, lambda where: options.get(str(where[0]), "file"))


@frozen
class Inspecting:
    """The command of a use."""

    name: str

    def configure(self, parser: argparse.ArgumentParser) -> None:
        """Options of the command."""
        configure(parser, self.name)

    def run(self, args: argparse.Namespace) -> int:
        """Read, inspect, answer."""
        known, kind = use(self.name), part_kind(self.name)
        use_defaults(args, kind)
        with asked(kind, args) as (part, folder):
            _log.debug("inspects by %r", part)
            inspection = known.inspect(part, Around(report=_reporter(args)))
            _log.debug(
                "inspected: %d verdicts, %d notes", len(inspection.result.verdicts), len(inspection.result.notes)
            )
            return finish(known, inspection, part, args, folder)


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
    if folder is not None:
        from valvelab.job.carried import within  # noqa: PLC0415 - as above

        result = within(result, folder)
    judged = [result.verdicts]

    @cache
    def system() -> System:
        return shown_in(args.units, part)

    @cache
    def shown() -> Inspection:
        return as_shown(inspection, system())

    def text(look: Look) -> str:
        told = said_in(result, system())
        tables = page(*known.tables(shown(), system()), look=look)
        limits = verdict_text(told.verdicts, told, system(), look)
        return "\n\n".join(filter(None, (tables, limits, page(*known.closing(shown(), system()), look=look))))

    def certify(path: Path) -> None:
        from valvelab.job.certificates import write  # noqa: PLC0415 - the report library is for paper alone
        from valvelab.records.job import Job  # noqa: PLC0415 - a job knows the parts of all uses
        from valvelab.records.particulars import Particulars  # noqa: PLC0415

        # the paper's verdicts leave no limit of the spec unanswered
        job = Job.of(part, units=system(), said=Particulars(shop=args.shop))
        judged.append(write(job, path, signer=args.signer).verdicts)

    if args.out is not None:
        more = {ending: partial(form, inspection) for ending, form in known.forms.items()}

        def whole() -> str:
            return with_summary(text(IN_FULL), result.verdicts)

        write_out(result, args.out, whole, certify, partial(said_on_disk, part), more)
    _write_pages(known, shown, args, system)
    if args.json:
        answer(result.model_dump_json(indent=1))
        tell_notes(result.notes, args)
    elif args.out is None or not args.quiet:
        conclude(text(look_of(args, result.verdicts)), judged[-1], said_in(result, system()).notes, args)
    return exit_code(judged[-1])


def _write_pages(
    known: Use[Any, Any], shown: Callable[[], Inspection], args: argparse.Namespace, system: Callable[[], System]
) -> None:
    """Write the figure, build sheet and cam card that are asked for, of the inspection as it is shown."""
    sheet, card = getattr(args, "sheet", None), getattr(args, "card", None)
    if args.plot is not None:
        plot(known, shown(), args.plot, system())
    if sheet is not None and known.sheet is not None:
        from valvelab.report.build_sheet import build_sheet  # noqa: PLC0415 - as above

        write_whole(sheet, build_sheet(known.sheet(shown(), system()), system()))
    if card is not None and known.card is not None:
        write_whole(card, known.card(shown(), card.suffix.lower(), system()))


def plot(known: Use[Any, Any], inspection: Inspection, path: Path, system: System) -> None:
    """Write the main figure of an inspection; WrongUsage where it has none."""
    from valvelab.report.figure_file import figure_bytes, figures_of  # noqa: PLC0415 - as above

    main = figures_of(known.paper(inspection, system)).get("main")
    if main is None:
        raise WrongUsage(f"--plot {path}: found no figure of {inspection.result.command}, expected a use that has one")
    write_whole(path, figure_bytes(main, path.suffix, system))


def _reporter(args: argparse.Namespace) -> Callable[[Progress], None] | None:
    """What a search tells of itself, on a terminal only."""
    if not shows_progress(args):
        return None

    def report(progress: Progress) -> None:
        bound = "" if progress.bound_sets is None else f" of at most {progress.bound_sets}"
        line = f"{progress.sets} sets{bound}"
        if progress.total_spread is not None:
            line += f", total spread {progress.total_spread:.3f}, at least {progress.bound_total_spread or 0.0:.3f}"
        LINE.say(line)

    return report
