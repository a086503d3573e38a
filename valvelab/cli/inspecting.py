"""The commands that inspect: their options are the fields of a job's part, their answer is what the use tells."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args, get_origin

from pydantic import ValidationError

from valvelab.cli.options import add_common
from valvelab.cli.output import page, plain, tell_notes, verdict_text, write_out
from valvelab.cli.streams import answer
from valvelab.errors import WrongUsage
from valvelab.job.use import Around, Inspection, OfPart, Use
from valvelab.job.uses import use
from valvelab.records.job import PARTS, Job, JobPart
from valvelab.records.result import exit_code

if TYPE_CHECKING:
    from valvelab.sets.tray import Progress


def configure(parser: argparse.ArgumentParser, name: str, *, file_needed: bool = True) -> None:
    """Options of a use's command."""
    kind = PARTS[name]
    file = kind.model_fields["file"]
    nargs = None if file_needed else "?"
    parser.add_argument("file", type=Path, metavar=file.title, help=file.description, nargs=nargs)
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
            required=info.is_required(),
            action="append" if get_origin(info.annotation) is tuple else "store",
            choices=[one for one in among if isinstance(one, str)] or None,
            type=next((kind for kind in (int, Path) if kind in among), str),
        )
    add_common(parser)


def part_of(kind: type[OfPart], args: argparse.Namespace) -> OfPart:
    """The part that a command line asks for."""
    stated = {field: value for field in kind.model_fields if (value := getattr(args, field, None)) is not None}
    try:
        return kind.model_validate(stated)
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
        known, part = use(self.name), part_of(PARTS[self.name], args)
        return finish(known, known.inspect(part, Around(report=_reporter(args))), part, args)


def finish(known: Use[Any, Any], inspection: Inspection, part: JobPart, args: argparse.Namespace) -> int:
    """Print and write one inspection; returns the exit code that its verdicts ask for, or those of its certificate."""
    result = inspection.result
    judged = [result.verdicts]

    def text() -> str:
        tables = known.tables(inspection, args.units)
        return page(*tables, verdict_text(result.verdicts, result, args.units), *known.closing(inspection))

    def certify(path: Path) -> None:
        from valvelab.job.certificates import write  # noqa: PLC0415 - the report library is for paper alone

        # the paper's verdicts leave no limit of the spec unanswered
        judged.append(write(Job.of(part, args.units), path).verdicts)

    if args.out is not None:
        write_out(result, args.out, text, certify)
    if args.json:
        answer(result.model_dump_json(indent=1))
    elif args.out is None or not args.quiet:
        answer(plain(text()))
    tell_notes(result.notes, args)
    return exit_code(judged[-1])


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
