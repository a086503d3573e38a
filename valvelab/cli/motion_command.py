"""`valvelab motion`: what the valve does behind its train."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from valvelab.cli.options import add_columns, add_common, checking_lifts, spec_of
from valvelab.cli.output import finish, table, verdict_table
from valvelab.errors import CannotEvaluate
from valvelab.units import System, display_unit, show

if TYPE_CHECKING:
    from valvelab.inspection.engine.motion import MotionInspection
    from valvelab.records.measurement import LiftTable
    from valvelab.records.motion_result import MotionResult, MotionValve
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
    from valvelab.inspection.engine.motion_lobes import motion_question
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
    """The readable table."""
    from valvelab.inspection.engine.motion import CAUTION

    parts = [_lifts(result, system), _durations(result, system), _clearance(result, system), _control(result, system)]
    parts += [_resonances(result), _contact(result), verdict_table(result.verdicts, system), CAUTION]
    return "\n\n".join(part for part in parts if part)


def _lifts(result: MotionResult, system: System) -> str:
    unit = display_unit("mm", system).label
    rows = []
    for valve in result.valves:
        read = valve.rule_readings
        rows.append([
            valve.lobe,
            show(valve.max_valve_lift_mm, "mm", system),
            show(valve.rule_lift_mm, "mm", system),
            show(valve.uncertainty["rule_lift_mm"], "mm", system),
            show(None if read is None else read.mean_mm, "mm", system),
            show(None if read is None else read.standard_uncertainty_mm, "mm", system),
            show(valve.valve_lift_at_gas_exchange_tdc_mm, "mm", system),
            show(valve.seating_velocity_mm_per_crank_deg, "mm/crank deg", system, 5),
        ])  # fmt: skip
    header = ["valve", f"max lift [{unit}]", f"rule lift [{unit}]", "u", "read", "u", "lift at TDC",
              f"seats at [{unit}/crank deg]"]  # fmt: skip
    return table(header, rows)


def _durations(result: MotionResult, system: System) -> str:
    rows = []
    for valve in result.valves:
        for row in valve.durations:
            opens, closes = row.opening_event, row.closing_event
            rows.append([
                valve.lobe,
                show(row.at_mm, "mm", system),
                "–" if opens is None else f"{opens.angle:.2f} {opens.reference}",
                "–" if closes is None else f"{closes.angle:.2f} {closes.reference}",
                show(row.duration_crank_deg, "deg", decimals=2),
                show(row.uncertainty["duration_crank_deg"], "deg", decimals=2),
            ])  # fmt: skip
    unit = display_unit("mm", system).label
    return table(["valve", f"at [{unit}]", "opens", "closes", "duration [crank deg]", "u"], rows)


def _clearance(result: MotionResult, system: System) -> str:
    rows = []
    for valve in result.valves:
        if valve.piston_clearance is None:
            continue
        rows.append(_clearance_row(valve, system))
    unit = display_unit("mm", system).label
    header = ["valve", f"to piston [{unit}]", "at [crank deg]", "4 deg advanced", "4 deg retarded", "without lash"]
    return table(header, rows) if rows else ""


def _clearance_row(valve: MotionValve, system: System) -> list[str]:
    def changed(advance: float, lash: float) -> str:
        found = (c for c in valve.clearance_changes if c.advance_crank_deg == advance and c.lash_mm == lash)
        row = next(found, None)
        return show(None if row is None else row.min_mm, "mm", system, None if system == "inch" else 2)

    clearance = valve.piston_clearance
    return [
        valve.lobe,
        show(None if clearance is None else clearance.min_mm, "mm", system, None if system == "inch" else 2),
        show(None if clearance is None else clearance.at_crank_deg, "deg", decimals=1),
        changed(4.0, valve.lash_mm),
        changed(-4.0, valve.lash_mm),
        changed(0.0, 0.0),
    ]


def _control(result: MotionResult, system: System) -> str:
    rows = []
    for valve in result.valves:
        control = valve.control
        if control is None:
            continue
        rows.append([
            valve.lobe,
            show(control.separation_rpm, "rpm"),
            show(control.separation_at_crank_deg, "deg", decimals=1),
            show(control.margin_n_at_max_speed, "N", system),
            show(control.dynamic_separation_rpm, "rpm"),
            show(None if control.dynamic is None else control.dynamic.float_rpm, "rpm"),
            show(None if control.dynamic is None else control.dynamic.beyond_travel_rpm, "rpm"),
        ])  # fmt: skip
    force = display_unit("N", system).label
    header = ["valve", "quasi-static: leaves the cam at [rpm]", "at [crank deg]", f"margin at max speed [{force}]",
              "dynamic model: contact lost [rpm]", "flies 0.05 mm clear [rpm]", "beyond free travel [rpm]"]  # fmt: skip
    return table(header, rows) if rows else ""


def _resonances(result: MotionResult) -> str:
    rows = [
        [valve.lobe, str(row.order), show(row.crank_rpm, "rpm"), show(row.lift_harmonic_um, "um")]
        for valve in result.valves
        if valve.control is not None
        for row in valve.control.spring_resonances[:4]
    ]
    return table(["valve", "surge order", "crank rpm", "harmonic of the lift [µm]"], rows) if rows else ""


def _contact(result: MotionResult) -> str:
    rows = [
        [
            valve.lobe,
            show(row.crank_rpm, "rpm"),
            show(row.max_pressure_mpa, "MPa"),
            show(row.max_pressure_at_crank_deg, "deg", decimals=0),
            show(row.nose_pressure_mpa, "MPa"),
            show(row.nose_film_um, "um", decimals=3),
            show(row.nose_film_ratio, "", decimals=2),
        ]
        for valve in result.valves
        for row in valve.contact
    ]
    header = [
        "valve",
        "crank rpm",
        "max pressure [MPa]",
        "at [crank deg]",
        "at the nose",
        "nose film [µm]",
        "film ratio",
    ]
    return table(header, rows) if rows else ""
