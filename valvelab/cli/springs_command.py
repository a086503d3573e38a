"""`valvelab springs`: per spring, forces at heights, rate, solid height, coil-bind margin, stress and surge."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from valvelab.cli.options import add_columns, add_common, spec_of
from valvelab.cli.output import finish, page, verdict_text
from valvelab.units import System, display_unit, show

if TYPE_CHECKING:
    from valvelab.inspection.springs.inspect import SpringsQuestion
    from valvelab.records.springs_result import SpringsResult
    from valvelab.report.assembly import Part
    from valvelab.springs.stress import StressFactor


def configure(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument("readings", type=Path, metavar="READINGS", help="spring readings (text table or XLSX)")
    parser.add_argument(
        "--stress-factor",
        choices=("EN 13906-1", "Wahl"),
        default="EN 13906-1",
        help="correction of the shear stress for the coil's curvature (default EN 13906-1)",
    )
    add_common(parser)
    add_columns(parser)


def question_of(args: argparse.Namespace) -> SpringsQuestion:
    """Readings and spec of a command line as a question."""
    from valvelab.files.spring_readings import read_spring_readings
    from valvelab.inspection.springs.inspect import SpringsQuestion
    from valvelab.records.wire_materials import read_wire_materials

    spec, sources = spec_of(args)
    readings = read_spring_readings(args.readings, args.columns)
    factor: StressFactor = getattr(args, "stress_factor", "EN 13906-1")
    return SpringsQuestion(readings, spec, str(args.spec), read_wire_materials(), factor, sources)


def run(args: argparse.Namespace) -> int:
    """Inspect one file of readings."""
    from valvelab.inspection.springs.inspect import inspect_springs

    result = inspect_springs(question_of(args)).result
    return finish(result, args, lambda: text(result, args.units))


def part(args: argparse.Namespace) -> Part:
    """The command's part of a certificate."""
    from valvelab.inspection.springs.inspect import inspect_springs
    from valvelab.report.springs_certificate import springs_part

    question = question_of(args)
    return springs_part(inspect_springs(question), question.table, args.units)


def text(result: SpringsResult, system: System) -> str:
    """The readable tables."""
    from valvelab.inspection.springs.inspect import CAUTION
    from valvelab.tables.springs import spring_tables

    return page(
        _heights(result, system), spring_tables(result.springs, system), verdict_text(result.verdicts, system), CAUTION
    )


def _heights(result: SpringsResult, system: System) -> str:
    unit = display_unit("mm", system).label
    decimals = 3 if system == "inch" else 2
    if result.installed_height_mm is None:
        return ""
    line = f"installed height {show(result.installed_height_mm, 'mm', system, decimals)} {unit}"
    if result.valve_lift_mm is not None:
        opened = result.installed_height_mm - result.valve_lift_mm
        line += f", valve lift {show(result.valve_lift_mm, 'mm', system, decimals)} {unit}"
        line += f", open height {show(opened, 'mm', system, decimals)} {unit}"
    return line
