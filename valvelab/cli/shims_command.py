"""`valvelab shims`: which spring and which shims at which valve."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from valvelab.cli.options import add_columns, add_common
from valvelab.cli.output import finish, table
from valvelab.cli.springs_command import question_of
from valvelab.units import System, display_unit, show

if TYPE_CHECKING:
    from valvelab.inspection.inspect_shims import ShimsQuestion
    from valvelab.records.shims_result import ShimsResult
    from valvelab.report.assembly import Part


def configure(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument("readings", type=Path, metavar="READINGS", help="spring readings (text table or XLSX)")
    parser.add_argument(
        "--heights", type=Path, metavar="FILE", required=True, help="seat to retainer at each valve, without a shim"
    )
    add_common(parser)
    add_columns(parser)


def run(args: argparse.Namespace) -> int:
    """Plan springs and shims for one set of heights."""
    from valvelab.inspection.inspect_shims import inspect_shims

    result = inspect_shims(_question(args)).result
    return finish(result, args, lambda: text(result, args.units))


def _question(args: argparse.Namespace) -> ShimsQuestion:
    from valvelab.files.heights import read_heights
    from valvelab.inspection.inspect_shims import ShimsQuestion

    return ShimsQuestion(question_of(args), read_heights(args.heights))


def part(args: argparse.Namespace) -> Part:
    """The command's part of a certificate."""
    from valvelab.inspection.inspect_shims import inspect_shims
    from valvelab.report.springs_certificate import shims_part

    question = _question(args)
    inspection = inspect_shims(question)
    return shims_part(inspection, question.springs.table, question.heights, args.units)


def text(result: ShimsResult, system: System) -> str:
    """The readable plan, one row a position."""
    length, force = display_unit("mm", system).label, display_unit("N", system).label
    fine = 3 if system == "inch" else 2
    header = ["position", "spring", f"shims [{length}]", f"installed [{length}]"]
    header += [f"seat force [{force}]", f"margin [{length}]"]
    rows = [
        [
            row.position,
            row.spring,
            " + ".join(show(shim, "mm", system, fine) for shim in row.shims_mm) or "none",
            show(row.installed_height_mm, "mm", system, fine),
            show(row.seat_force_n, "N", system, 1),
            show(row.coil_bind_margin_mm, "mm", system, fine),
        ]
        for row in result.positions
    ]
    line = f"spread of seat forces {show(result.spread_seat_force_n, 'N', system, 2)} {force}"
    if result.target_seat_force_n is not None:
        line += f", target {show(result.target_seat_force_n, 'N', system, 1)} {force}"
    parts = [table(header, rows, left=2), line]
    if result.left_over:
        parts.append("left over: " + ", ".join(result.left_over))
    return "\n\n".join(parts)
