"""`valvelab shims`: which spring and which shims at which valve."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from valvelab.cli.options import add_columns, add_common
from valvelab.cli.output import finish, page
from valvelab.cli.springs_command import question_of
from valvelab.errors import WrongUsage
from valvelab.units import System

if TYPE_CHECKING:
    from valvelab.inspection.springs.shims import ShimsQuestion
    from valvelab.records.shims_result import ShimsResult
    from valvelab.records.spring_readings import SpringTable
    from valvelab.report.assembly import Part


def configure(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument("readings", type=Path, metavar="READINGS", help="spring readings (text table or XLSX)")
    parser.add_argument(
        "--heights", type=Path, metavar="FILE", required=True, help="seat to retainer at each valve, without a shim"
    )
    parser.add_argument(
        "--from",
        type=Path,
        metavar="FILE",
        dest="sets",
        help="matched sets of these readings (sets --json); with --set",
    )
    parser.add_argument("--set", type=int, metavar="N", help="only the springs of this set of --from, counted from 1")
    parser.add_argument(
        "--fix",
        action="append",
        default=[],
        metavar="TEXT",
        help='a spring that goes to a position, such as "1I=Q07"; repeatable',
    )
    parser.add_argument(
        "--with-rejected", action="store_true", help="springs that the spec rejects may be used as well"
    )
    parser.set_defaults(sets_of_job=())
    add_common(parser)
    add_columns(parser)


def run(args: argparse.Namespace) -> int:
    """Plan springs and shims for one set of heights."""
    from valvelab.inspection.springs.shims import inspect_shims

    result = inspect_shims(_question(args)).result
    return finish(result, args, lambda: text(result, args.units))


def _question(args: argparse.Namespace) -> ShimsQuestion:
    from valvelab.files.heights import read_heights
    from valvelab.inspection.springs.shims import ShimsQuestion

    springs = question_of(args)
    only, of = _only(args, springs.table)
    fixed = dict(_fixed(text) for text in args.fix)
    if len(fixed) < len(args.fix):
        raise WrongUsage("--fix: found a position twice, expected each once")
    return ShimsQuestion(springs, read_heights(args.heights), only, of, fixed, args.with_rejected)


def _only(args: argparse.Namespace, table: SpringTable) -> tuple[tuple[str, ...] | None, str]:
    """The springs of the set asked for, and what to call it."""
    from valvelab.files.sets_file import read_sets, set_number

    if args.sets is not None:
        result, file = read_sets(args.sets, table.source.sha256, table.file), str(args.sets)
    else:
        mine = [sets for sets in args.sets_of_job if table.source.sha256 in {source.sha256 for source in sets.source}]
        if not mine:
            if args.set is not None:
                raise WrongUsage("--set: expected --from FILE beside it, the sets it counts in")
            return None, ""
        result, file = mine[-1], "the job's sets"
    if args.set is not None:
        return set_number(result, args.set, file), f"set {args.set} of {Path(file).name}"
    return tuple(name for one in result.sets for name in one.springs), f"the sets of {Path(file).name}"


def _fixed(text: str) -> tuple[str, str]:
    position, equals, spring = (part.strip() for part in text.partition("="))
    if not (position and equals and spring):
        raise WrongUsage(f'--fix {text!r}: expected POSITION=SPRING, such as "1I=Q07"')
    return position, spring


def part(args: argparse.Namespace) -> Part:
    """The command's part of a certificate."""
    from valvelab.inspection.springs.shims import inspect_shims
    from valvelab.report.springs_certificate import shims_part

    question = _question(args)
    inspection = inspect_shims(question)
    return shims_part(inspection, question.springs.table, question.heights, args.units)


def text(result: ShimsResult, system: System) -> str:
    """The readable plan, a row a valve."""
    from valvelab.tables.springs import kept_out, left_over, shim_table, spread_told

    plan, spread = shim_table(result, system), spread_told(result, system)
    return page(plan, spread, left_over(result.left_over), kept_out(result.excluded))
