"""`valvelab lobes`: lobe and camshaft characteristics, envelope and limit verdicts."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from valvelab.cli.options import add_columns, add_common, checking_lifts, spec_of
from valvelab.cli.output import finish, table, verdict_table
from valvelab.errors import BadQuantity, CannotEvaluate, WrongUsage
from valvelab.units import System, display_unit, show

if TYPE_CHECKING:
    from valvelab.inspection.lobes.characteristics import LobeRow
    from valvelab.inspection.lobes.inspect import LobesInspection, Settings
    from valvelab.records.lobes_result import LobeResult, LobesResult
    from valvelab.report.assembly import Part


def configure(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument("lift", type=Path, metavar="LIFT", help="lift table (CSV, text or XLSX)")
    parser.add_argument("--at", action="append", metavar="LIFT", help='add a checking lift, for example "0.050 in"')
    parser.add_argument(
        "--convert", metavar="FOLLOWER", help='describe the lobes under "roller 9.525 mm", flat or point'
    )
    parser.add_argument(
        "--keep-eccentricity", action="store_true", help="leave the base circle's eccentricity in, as the shaft runs"
    )
    parser.add_argument(
        "--table-zero", action="store_true", help="keep the table's own zero; take nothing out by the base circle"
    )
    add_columns(parser)
    add_common(parser)


def run(args: argparse.Namespace) -> int:
    """Read, inspect, answer."""
    inspection = inspect(args)
    result = inspection.result
    return finish(result, args, lambda: lobes_text(result, args.units))


def part(args: argparse.Namespace) -> Part:
    """The command's part of a certificate."""
    from valvelab.report.lobes_certificate import lobes_part

    return lobes_part(inspect(args), args.units)


def inspect(args: argparse.Namespace) -> LobesInspection:
    """The inspection that a command line asks for."""
    settings = _settings(args)

    from valvelab.files.lift_table import read_lift_table
    from valvelab.files.spec_file import nominal_path
    from valvelab.inspection.lobes.inspect import inspect_lobes

    lift_table = read_lift_table(args.lift, args.columns)
    spec, sources = spec_of(args)
    if spec is None:
        return _named(args, lambda: inspect_lobes(lift_table, settings=settings))
    nominals = {
        envelope.nominal: read_lift_table(nominal_path(args.spec, envelope, number))
        for number, envelope in enumerate(spec.envelope, start=1)
    }
    sources = (*sources, *{nominal.source.sha256: nominal.source for nominal in nominals.values()}.values())
    return _named(args, lambda: inspect_lobes(lift_table, spec, nominals, settings, str(args.spec), sources))


def _named(args: argparse.Namespace, work: Callable[[], LobesInspection]) -> LobesInspection:
    """A refusal that knows no file is told which one was being inspected."""
    try:
        return work()
    except CannotEvaluate as error:
        raise CannotEvaluate(error.reason, f"{args.lift}: {error}") from error


def _settings(args: argparse.Namespace) -> Settings:
    lifts = checking_lifts(args.at)
    from valvelab.follower.shapes import parse_shape
    from valvelab.inspection.lobes.inspect import Settings

    try:
        shape = None if args.convert is None else parse_shape(args.convert, "--convert")
    except BadQuantity as error:
        raise WrongUsage(str(error)) from None
    return Settings(
        added_lifts_mm=lifts, take_out_eccentricity=not args.keep_eccentricity, keep_zero=args.table_zero,
        convert_to=shape,
    )  # fmt: skip


def lobes_text(result: LobesResult, system: System) -> str:
    """The readable tables: lobes, durations, camshaft, verdicts."""
    parts = [
        _lobe_table(result, system),
        _contour_table(result, system),
        _duration_table(result, system),
        _camshaft_lines(result, system),
    ]
    verdicts = verdict_table(result.verdicts, system)
    return "\n\n".join(part for part in (*parts, verdicts) if part)


_DECIMALS = {"cam deg": 3, "mm cam deg": 2, "mm/cam deg": 5, "mm/cam deg2": 6, "um": 2, "deg": 2}


def _lobe_table(result: LobesResult, system: System) -> str:
    columns = _columns(result, system, lambda row: row.block != "curvature")
    columns.append(("left out", [str(lobe.outliers) for lobe in result.lobes]))
    if any(lobe.envelope for lobe in result.lobes):
        columns.append(("use of band", [_use(lobe) for lobe in result.lobes]))
    return _table(result, columns)


def _contour_table(result: LobesResult, system: System) -> str:
    """Contour figures, where they could be derived."""
    if all(lobe.curvature.max_pressure_angle_deg is None for lobe in result.lobes):
        return ""
    return _table(result, _columns(result, system, lambda row: row.block == "curvature"))


def _columns(result: LobesResult, system: System, wanted: Callable[[LobeRow], bool]) -> list[tuple[str, list[str]]]:
    """Head and cells of every characteristic that is asked first; the lift's with its uncertainty."""
    from valvelab.inspection.lobes.characteristics import recorded

    found = []
    for row in recorded():
        if not row.terse or not wanted(row):
            continue
        # a reading's noise is told in micrometres in any shop
        units: System = "metric" if row.unit == "um" else system
        unit = display_unit(row.unit, units).label.replace(" cam deg", "·deg").replace("/cam deg", "/deg")
        decimals = 3 if row.block == "curvature" and row.unit == "mm" else _DECIMALS.get(row.unit)
        stated = [row.stated(lobe) for lobe in result.lobes]
        found.append((f"{row.terse} {unit}", [show(one.value, row.unit, units, decimals) for one in stated]))
        if row.name == "max_lift":
            found.append(("u", [show(one.u, row.unit, units, decimals) for one in stated]))
    return found


def _table(result: LobesResult, columns: list[tuple[str, list[str]]]) -> str:
    names = [lobe.lobe for lobe in result.lobes]
    rows = zip(names, *(cells for _, cells in columns), strict=True)
    return table(["lobe", *(head for head, _ in columns)], [list(row) for row in rows])


def _use(lobe: LobeResult) -> str:
    return "–" if lobe.envelope is None else f"{100.0 * lobe.envelope.worst_use_of_band:.0f} %"


def _duration_table(result: LobesResult, system: System) -> str:
    length = display_unit("mm", system).label
    rows = [
        [
            lobe.lobe,
            show(row.at_mm, "mm", system, 4 if system == "inch" else 3),
            show(row.opening_cam_deg, "cam deg", system, 3),
            show(row.closing_cam_deg, "cam deg", system, 3),
            show(row.duration_crank_deg, "crank deg", system, 3),
            show(row.uncertainty.duration_crank_deg, "crank deg", system, 3),
            show(row.centre_cam_deg, "cam deg", system, 3),
        ]
        for lobe in result.lobes
        for row in lobe.durations
    ]
    header = ["lobe", f"at {length}", "opens cam deg", "closes cam deg", "duration crank deg", "u", "middle cam deg"]
    return table(header, rows)


def _camshaft_lines(result: LobesResult, system: System) -> str:
    camshaft = result.camshaft
    lines = [
        f"cylinder {row.cylinder}: lobe separation {row.lobe_separation_cam_deg:.3f} cam deg"
        for row in camshaft.cylinders
    ]
    if camshaft.lobe_separation_mean_cam_deg is not None:
        lines.append(f"mean lobe separation {camshaft.lobe_separation_mean_cam_deg:.3f} cam deg")
    if camshaft.index_errors:
        errors = ", ".join(f"{row.lobe} {row.error_cam_deg:+.3f}" for row in camshaft.index_errors)
        lines.append(f"index errors, cam deg: {errors}")
    for spread in camshaft.spreads:
        lift = show(spread.max_lift_mm, "mm", system)
        duration = show(spread.duration_crank_deg, "crank deg", system, 3)
        unit = display_unit("mm", system).label
        lines.append(f"{spread.kind} lobes: lift within {lift} {unit}, duration within {duration} crank deg")
    return "\n".join(lines)
