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


def _lobe_table(result: LobesResult, system: System) -> str:
    length = display_unit("mm", system).label
    header = [
        "lobe", f"lift {length}", "u", "centre cam deg", f"area {length}·deg", f"v max {length}/deg",
        f"a max {length}/deg²", f"a min {length}/deg²", f"runout {length}", "noise µm", "left out",
    ]  # fmt: skip
    if any(lobe.envelope for lobe in result.lobes):
        header += ["use of band"]
    rows = []
    for lobe in result.lobes:
        row = [
            lobe.lobe,
            show(lobe.max_lift_mm, "mm", system),
            show(lobe.uncertainty.get("max_lift_mm"), "mm", system),
            show(lobe.centre_cam_deg, "cam deg", system, 3),
            show(lobe.area_mm_cam_deg, "mm cam deg", system, 2),
            show(lobe.velocity_max_mm_per_cam_deg, "mm/cam deg", system, 5),
            show(lobe.acceleration_max_mm_per_cam_deg2, "mm/cam deg2", system, 6),
            show(lobe.acceleration_min_mm_per_cam_deg2, "mm/cam deg2", system, 6),
            show(lobe.base_circle.runout_tir_mm, "mm", system),
            show(lobe.noise_um, "", "metric", 2),
            str(lobe.outliers),
        ]
        if len(header) > len(row):
            row.append(_use(lobe))
        rows.append(row)
    return table(header, rows)


def _contour_table(result: LobesResult, system: System) -> str:
    """Contour figures, where they could be derived."""
    if all(lobe.curvature.max_pressure_angle_deg is None for lobe in result.lobes):
        return ""
    length = display_unit("mm", system).label
    rows = [
        [
            lobe.lobe,
            show(lobe.curvature.min_convex_radius_mm, "mm", system, 3),
            show(lobe.curvature.min_concave_radius_mm, "mm", system, 3),
            show(lobe.curvature.min_face_radius_mm, "mm", system, 3),
            show(lobe.curvature.max_pressure_angle_deg, "deg", system, 2),
        ]
        for lobe in result.lobes
    ]
    header = [
        "lobe",
        f"least convex {length}",
        f"tightest hollow {length}",
        f"face reach {length}",
        "pressure angle deg",
    ]
    return table(header, rows)


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
