"""`valvelab texture`: filtered surface-texture parameters of a trace."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from valvelab.cli.options import add_columns, add_common, quantity, spec_of
from valvelab.cli.output import finish, page, verdict_text
from valvelab.errors import WrongUsage
from valvelab.records.texture_result import TextureResult
from valvelab.units import System

if TYPE_CHECKING:
    from valvelab.inspection.form.texture import TextureInspection
    from valvelab.report.assembly import Part


def configure(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument("trace", type=Path, metavar="TRACE", help="CSV x, z; SMD text; X3P")
    parser.add_argument("--cutoff", metavar="LENGTH", help="long-wave cutoff, for example 0.8 (mm)")
    parser.add_argument("--short-cutoff", metavar="LENGTH", help='short-wave cutoff, for example "2.5 um"; 0 for none')
    parser.add_argument("--sections", type=int, metavar="N", help="sections in the evaluation length (default 5)")
    add_columns(parser)
    add_common(parser)


def run(args: argparse.Namespace) -> int:
    """Read, filter, evaluate, answer."""
    result = inspect(args).result
    return finish(result, args, lambda: texture_text(result, args.units))


def part(args: argparse.Namespace) -> Part:
    """The command's part of a certificate."""
    from valvelab.report.form_certificate import texture_part

    return texture_part(inspect(args), args.units)


def inspect(args: argparse.Namespace) -> TextureInspection:
    """The inspection that a command line asks for."""
    cutoff = None if args.cutoff is None else quantity(args.cutoff, "length", "--cutoff")
    short = None if args.short_cutoff is None else quantity(args.short_cutoff, "length", "--short-cutoff", "0 or above")
    if cutoff is not None and short is not None and short >= cutoff:
        raise WrongUsage(f"--short-cutoff {args.short_cutoff}: expected less than the cutoff {args.cutoff}")
    if args.sections is not None and not 1 <= args.sections <= 1000:
        raise WrongUsage(f"--sections: found {args.sections}, expected 1 to 1000")

    from valvelab.files.surface_trace import read_surface_trace
    from valvelab.inspection.form.texture import TextureQuestion, inspect_texture

    trace = read_surface_trace(args.trace, args.columns)
    spec, sources = spec_of(args)
    return inspect_texture(TextureQuestion(trace, cutoff, short, args.sections, spec, str(args.spec or ""), sources))


def texture_text(result: TextureResult, system: System) -> str:
    """The readable table."""
    from valvelab.tables.form import texture_table, trace_told

    return page(trace_told(result), texture_table(result, system), verdict_text(result.verdicts, system))
