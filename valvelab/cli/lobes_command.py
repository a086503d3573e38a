"""`valvelab lobes`: lobe and camshaft characteristics, envelope and limit verdicts."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from valvelab.cli.options import add_columns, add_common, checking_lifts, spec_of
from valvelab.cli.output import finish, page, verdict_text
from valvelab.errors import BadQuantity, CannotEvaluate, WrongUsage
from valvelab.units import System

if TYPE_CHECKING:
    from valvelab.inspection.lobes.inspect import LobesInspection, LobesQuestion
    from valvelab.report.assembly import Part


def configure(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument("lift", type=Path, metavar="LIFT", help="lift table (CSV, text or XLSX)")
    parser.add_argument("--at", action="append", metavar="LIFT", help='add a checking lift, for example "0.050 in"')
    parser.add_argument(
        "--convert", metavar="FOLLOWER", help='describe the lobes under "roller 9.525 mm", flat or point'
    )
    parser.add_argument(
        "--keep-eccentricity", action="store_true", help="leave the base circle's eccentricity in, as the shaft runs"
    )
    parser.add_argument(
        "--table-zero", action="store_true", help="keep the table's own zero; take nothing out by the base circle"
    )
    add_columns(parser)
    add_common(parser)


def run(args: argparse.Namespace) -> int:
    """Read, inspect, answer."""
    inspection = inspect(args)
    result = inspection.result
    return finish(result, args, lambda: lobes_text(inspection, args.units))


def part(args: argparse.Namespace) -> Part:
    """The command's part of a certificate."""
    from valvelab.report.lobes_certificate import lobes_part

    return lobes_part(inspect(args), args.units)


def inspect(args: argparse.Namespace) -> LobesInspection:
    """The inspection that a command line asks for."""
    question = _question(args)

    from valvelab.files.lift_table import read_lift_table
    from valvelab.files.spec_file import nominal_path
    from valvelab.inspection.lobes.inspect import inspect_lobes

    lift_table = read_lift_table(args.lift, args.columns)
    spec, sources = spec_of(args)
    if spec is None:
        return _named(args, lambda: inspect_lobes(lift_table, question=question))
    nominals = {
        envelope.nominal: read_lift_table(nominal_path(args.spec, envelope, number))
        for number, envelope in enumerate(spec.envelope, start=1)
    }
    sources = (*sources, *{nominal.source.sha256: nominal.source for nominal in nominals.values()}.values())
    return _named(args, lambda: inspect_lobes(lift_table, spec, nominals, question, str(args.spec), sources))


def _named(args: argparse.Namespace, work: Callable[[], LobesInspection]) -> LobesInspection:
    """A refusal that knows no file is told which one was being inspected."""
    try:
        return work()
    except CannotEvaluate as error:
        raise CannotEvaluate(error.reason, f"{args.lift}: {error}") from error


def _question(args: argparse.Namespace) -> LobesQuestion:
    lifts = checking_lifts(args.at)
    from valvelab.follower.shapes import parse_shape
    from valvelab.inspection.lobes.inspect import LobesQuestion

    try:
        shape = None if args.convert is None else parse_shape(args.convert, "--convert")
    except BadQuantity as error:
        raise WrongUsage(str(error)) from None
    return LobesQuestion(
        added_lifts_mm=lifts, take_out_eccentricity=not args.keep_eccentricity, keep_zero=args.table_zero,
        convert_to=shape,
    )  # fmt: skip


def lobes_text(inspection: LobesInspection, system: System) -> str:
    """The readable tables: lobes, durations, contour, camshaft, verdicts."""
    from valvelab.tables.lobes import lobe_tables

    return page(lobe_tables(inspection, system), verdict_text(inspection.result.verdicts, system))
