"""`valvelab shaft`: eccentricity, runout and roundness per journal; straightness of the axis."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from valvelab.cli.options import add_columns, add_common, spec_of
from valvelab.cli.output import finish, table, verdict_table
from valvelab.records.shaft_result import ShaftResult
from valvelab.units import System, display_unit, show

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
    """The readable table."""
    length, small = display_unit("mm", system).label, display_unit("um", system).label
    header = ["station", f"at {length}", f"eccentricity {length}", "angle deg", f"TIR {length}",
              f"LSC {small}", f"MZC {small}", f"MIC {small}", f"MCC {small}"]  # fmt: skip
    rows = [
        [
            row.station, show(row.position_mm, "mm", system, 2), show(row.eccentricity_mm, "mm", system),
            show(row.eccentricity_angle_deg, "deg", system, 1), show(row.tir_mm, "mm", system),
            show(row.roundness_lsc_um, "um", system), show(row.roundness_mzc_um, "um", system),
            show(row.roundness_mic_um, "um", system), show(row.roundness_mcc_um, "um", system),
        ]
        for row in result.stations
    ]  # fmt: skip
    line = result.straightness
    parts = [table(header, rows)] if rows else []
    parts.append(
        f"straightness of the axis: minimum zone {show(line.minimum_zone_um, 'um', system)} {small}, "
        f"least squares {show(line.least_squares_um, 'um', system)} {small}, "
        f"worst at {line.worst_station or '–'}"
    )
    if result.tapers:
        header = ["taper of", f"from {length}", f"to {length}", f"mean {small}", f"highest {small}", "arcmin"]
        rows = [
            [row.station, show(row.from_mm, "mm", system, 2), show(row.to_mm, "mm", system, 2),
             show(row.taper_um, "um", system), show(row.highest_um, "um", system),
             show(row.angle_arcmin, "deg", system, 2)]
            for row in result.tapers
        ]  # fmt: skip
        parts.append(table(header, rows))
    verdicts = verdict_table(result.verdicts, system)
    return "\n\n".join([*parts, *([verdicts] if verdicts else [])])
