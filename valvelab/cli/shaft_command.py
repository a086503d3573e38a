"""`valvelab shaft`: eccentricity, runout and roundness per journal; straightness of the axis."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from valvelab.cli.options import add_columns, add_common, spec_of
from valvelab.cli.output import finish, page, verdict_text
from valvelab.records.shaft_result import ShaftResult
from valvelab.units import System

if TYPE_CHECKING:
    from valvelab.inspection.form.shaft import ShaftInspection
    from valvelab.report.assembly import Part


def configure(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument("readings", type=Path, metavar="READINGS", help="station, position, angle, reading")
    parser.add_argument(
        "--undulations", type=_whole, metavar="N",
        help="filter the form: Gaussian cutoff in undulations per turn, for example 50 (default: as read)",
    )  # fmt: skip
    parser.add_argument(
        "--gauge", type=Path, metavar="FILE",
        help="an uncertainty adopted from a gauge study: it counts unless the readings state a larger one",
    )  # fmt: skip
    add_columns(parser)
    add_common(parser)


def _whole(text: str) -> int:
    number = int(text)
    if not 2 <= number <= 5000:
        msg = f"{text}: expected 2 to 5000"
        raise argparse.ArgumentTypeError(msg)
    return number


def run(args: argparse.Namespace) -> int:
    """Read, evaluate, answer."""
    result = inspect(args).result
    return finish(result, args, lambda: shaft_text(result, args.units))


def part(args: argparse.Namespace) -> Part:
    """The command's part of a certificate."""
    from valvelab.report.form_certificate import shaft_part

    return shaft_part(inspect(args), args.units)


def inspect(args: argparse.Namespace) -> ShaftInspection:
    """The inspection that a command line asks for."""
    from valvelab.files.shaft_readings import read_shaft_readings
    from valvelab.inspection.form.shaft import ShaftQuestion, inspect_shaft

    readings = read_shaft_readings(args.readings, args.columns)
    spec, sources = spec_of(args)
    if args.gauge is not None:
        from valvelab.files.adopted_uncertainty import with_adopted_probe

        readings, adopted = with_adopted_probe(readings, args.gauge)
        sources = (*sources, adopted)
    return inspect_shaft(ShaftQuestion(readings, args.undulations, spec, str(args.spec or ""), sources))


def shaft_text(result: ShaftResult, system: System) -> str:
    """The readable tables."""
    from valvelab.tables.form import shaft_tables, straightness_told

    journals, *others = shaft_tables(result, system)
    line = straightness_told(result, system)
    return page(journals, line, others, verdict_text(result.verdicts, system))
