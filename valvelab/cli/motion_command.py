"""`valvelab motion`: what the valve does behind its train."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from valvelab.cli.options import add_columns, add_common, checking_lifts, spec_of
from valvelab.cli.output import finish, page, verdict_text
from valvelab.errors import CannotEvaluate
from valvelab.units import System

if TYPE_CHECKING:
    from valvelab.inspection.engine.motion import MotionInspection
    from valvelab.records.measurement import LiftTable
    from valvelab.records.motion_result import MotionResult
    from valvelab.report.assembly import Part


def configure(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument("lift", type=Path, metavar="LIFT", help="lift table")
    parser.add_argument("--train", type=Path, metavar="TRAIN", required=True, help="rocker, lash, spring, crank (TOML)")
    parser.add_argument("--at", action="append", metavar="LIFT", help="one more checking lift at the valve")
    parser.add_argument("--no-dynamics", action="store_true", help="leave the dynamic model out")
    add_common(parser)
    add_columns(parser)


def run(args: argparse.Namespace) -> int:
    """Inspect one lift table behind one train."""
    result = inspect(args).result
    return finish(result, args, lambda: text(result, args.units))


def part(args: argparse.Namespace) -> Part:
    """The command's part of a certificate."""
    from valvelab.report.engine_certificate import motion_part
    from valvelab.report.lobes_certificate import identity

    lift_table = _lift_table(args)
    return motion_part(inspect(args), args.units, identity(lift_table, args.units), lift_table.serial)


def inspect(args: argparse.Namespace) -> MotionInspection:
    """The inspection that a command line asks for."""
    lifts = checking_lifts(args.at)
    from valvelab.files.train_file import read_train
    from valvelab.inspection.engine.motion import inspect_motion
    from valvelab.inspection.engine.sides import motion_question
    from valvelab.inspection.lobes.inspect import inspect_lobes

    train, train_source = read_train(args.train)
    spec, sources = spec_of(args)
    lift_table = _lift_table(args)
    try:
        lobes = inspect_lobes(lift_table)
        question = motion_question(lift_table, lobes, train, lifts, not args.no_dynamics)
        return inspect_motion(
            question, spec, (lift_table.source, train_source, *sources), str(args.spec), lift_table.notes
        )
    except CannotEvaluate as error:
        raise CannotEvaluate(error.reason, f"{args.lift} with {args.train}: {error}") from error


def _lift_table(args: argparse.Namespace) -> LiftTable:
    from valvelab.files.lift_table import read_lift_table

    return read_lift_table(args.lift, args.columns)


def text(result: MotionResult, system: System) -> str:
    """The readable tables."""
    from valvelab.inspection.engine.motion import CAUTION
    from valvelab.tables.engine import (
        clearance_tables,
        contact_tables,
        control_tables,
        event_table,
        lift_table,
        reading_tables,
    )

    tables = [
        lift_table(result, system),
        *reading_tables(result, system),
        event_table(result, system),
        *clearance_tables(result, system),
        *control_tables(result, system),
        *contact_tables(result, system),
    ]
    return page(tables, verdict_text(result.verdicts, system), CAUTION)
