"""`valvelab phasing`: a degree-wheel sheet worked out."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from valvelab.cli.options import add_common, spec_of
from valvelab.cli.output import finish, page, verdict_text
from valvelab.errors import BadFile
from valvelab.units import System

if TYPE_CHECKING:
    from valvelab.inspection.engine.phasing import PhasingInspection
    from valvelab.report.assembly import Part


def configure(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument("sheet", type=Path, metavar="SHEET", help="degree-wheel readings (TOML)")
    add_common(parser)


def run(args: argparse.Namespace) -> int:
    """Inspect one sheet."""
    inspection = inspect(args)
    return finish(inspection.result, args, lambda: text(inspection, args.units))


def part(args: argparse.Namespace) -> Part:
    """The command's part of a certificate."""
    from valvelab.report.engine_certificate import phasing_part

    return phasing_part(inspect(args), args.units)


def inspect(args: argparse.Namespace) -> PhasingInspection:
    """The inspection that a command line asks for."""
    from valvelab.files.phasing_sheet import read_phasing_sheet
    from valvelab.inspection.engine.phasing import inspect_phasing

    sheet, source = read_phasing_sheet(args.sheet)
    if not (sheet.stop_deg or sheet.events or sheet.pairs):
        raise BadFile(str(args.sheet), "", "no readings", "[stop] readings, [[near_peak]] or [[reading]]")
    spec, sources = spec_of(args)
    return inspect_phasing(sheet, spec, (source, *sources), str(args.spec or ""))


def text(inspection: PhasingInspection, system: System) -> str:
    """The readable tables, and what to read next."""
    from valvelab.inspection.engine.phasing import CAUTION
    from valvelab.tables.engine import engine_table, phasing_tables

    result, step = inspection.result, inspection.next_reading
    tables = [engine_table(result), *phasing_tables(result, system)]
    following = f"Next: {step.instruction}\n  Why: {step.why}."
    return page(tables, verdict_text(result.verdicts, system), following, CAUTION)
