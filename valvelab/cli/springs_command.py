"""`valvelab springs`: per spring, forces at heights, rate, solid height, coil-bind margin, stress and surge."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from valvelab.cli.options import add_columns, add_common, spec_of
from valvelab.cli.output import finish, table, verdict_table
from valvelab.units import System, display_unit, show

if TYPE_CHECKING:
    from valvelab.inspection.springs.inspect import SpringsQuestion
    from valvelab.records.springs_result import SpringResult, SpringsResult
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
    from valvelab.files.wire_materials import read_wire_materials
    from valvelab.inspection.springs.inspect import SpringsQuestion

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


COLUMNS = (
    ("seat force", "seat_force_n", "N"),
    ("open force", "open_force_n", "N"),
    ("rate", "rate_n_per_mm", "N/mm"),
    ("solid", "solid_height_mm", "mm"),
    ("margin", "coil_bind_margin_mm", "mm"),
    ("per coil", "margin_per_coil_mm", "mm"),
    ("free", "free_length_mm", "mm"),
    ("hysteresis", "hysteresis_n", "N"),
    ("set loss", "set_loss_n", "N"),
    ("τ seat", "stress_seat_mpa", "MPa"),
    ("τ open", "stress_open_mpa", "MPa"),
    ("τ solid", "stress_solid_mpa", "MPa"),
    ("surge", "surge_hz", "Hz"),
    ("static", "strength_margin", ""),
    ("fatigue", "fatigue_margin", ""),
)
DECIMALS = {"N": 1, "N/mm": 2, "mm": 2, "MPa": 0, "Hz": 0, "": 2}
INCH_DECIMALS = {"N": 1, "N/mm": 1, "mm": 3, "MPa": 1, "Hz": 0, "": 2}


def text(result: SpringsResult, system: System) -> str:
    """The readable table; columns that no spring fills are left out."""
    from valvelab.inspection.springs.inspect import CAUTION

    parts = [_heights(result, system), spring_table(result.springs, system), _elements(result, system)]
    if result.verdicts:
        parts.append(verdict_table(result.verdicts, system))
    return "\n\n".join(part for part in [*parts, CAUTION] if part)


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


def spring_table(springs: tuple[SpringResult, ...], system: System) -> str:
    """One row a spring."""
    decimals = INCH_DECIMALS if system == "inch" else DECIMALS
    filled = [column for column in COLUMNS if any(getattr(row, column[1]) is not None for row in springs)]
    staged = any(row.stage is not None for row in springs)
    header = ["spring", *(["stage"] if staged else [])]
    header += _titles(filled, system)
    rows = [
        [row.spring, *([row.stage or ""] if staged else [])]
        + [show(getattr(row, key), unit, system, decimals[unit]) for _, key, unit in filled]
        for row in springs
    ]
    return table(header, rows, left=2 if staged else 1)


def _titles(columns: Sequence[tuple[str, str, str]], system: System) -> list[str]:
    return [
        f"{title} [{label}]" if (label := display_unit(unit, system).label) else title for title, _, unit in columns
    ]


def _elements(result: SpringsResult, system: System) -> str:
    rows = [(row.spring, part.element, part) for row in result.springs for part in row.elements]
    if not rows:
        return ""
    decimals = INCH_DECIMALS if system == "inch" else DECIMALS
    keys = [column for column in COLUMNS if any(getattr(part, column[1], None) is not None for _, _, part in rows)]
    header = ["spring", "element", *_titles(keys, system)]
    cells = [
        [spring, element, *(show(getattr(part, key), unit, system, decimals[unit]) for _, key, unit in keys)]
        for spring, element, part in rows
    ]
    return table(header, cells, left=2)
