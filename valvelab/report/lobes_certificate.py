"""What a camshaft's lobes put on the certificate."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from valvelab.arrays import FloatArray
from valvelab.figures.description import Figure
from valvelab.figures.lobe_figures import deviation_figure, grid, lobe_map, motion_figure, position_dial
from valvelab.figures.plan_figures import camshaft_plan
from valvelab.records.measurement import LiftTable
from valvelab.report.assembly import Part
from valvelab.report.page_model import Block, FigureBlock, Paragraph, Plot, Section, figure_rows
from valvelab.report.scales import y_ends
from valvelab.report.texts import FIT
from valvelab.tables.description import Table
from valvelab.tables.lobes import glance, lobe_tables
from valvelab.tables.verdicts import worst_by_item
from valvelab.units import System, display_unit, show

if TYPE_CHECKING:
    from valvelab.inspection.lobes.inspect import LobesInspection
    from valvelab.lobe.profile import FittedLobes

STACK_MM = 122.0
PLAN_MM, MAP_MM = 46.0, 64.0
PLOTS_ACROSS = 2


def lobes_part(inspection: LobesInspection, system: System = "metric") -> Part:
    """The camshaft's part of a certificate, from its inspection."""
    result, table = inspection.result, inspection.table
    x = grid(inspection)
    plan = camshaft_plan(
        [lobe.lobe for lobe in result.lobes],
        worst_by_item(result.verdicts),
        {row.lobe: row.max_lift_angle_cam_deg for row in result.lobes if row.max_lift_angle_cam_deg is not None},
    )
    maps = FigureBlock(
        ((lobe_map(inspection, "deviation", x),), (position_dial(inspection),)),
        weights=(1.35, 1.0),
        height_mm=MAP_MM,
        caption="Left: every lobe over the angle from its own centre. Right: the shaft from the drive end.",
    )
    return Part(
        name="Camshaft",
        result=result,
        identity=identity(table, system),
        picture=(FigureBlock(((plan,),), PLAN_MM),),
        found=(glance(result, system),),
        annexes=lambda: (
            Section("Characteristics", (maps, *lobe_tables(inspection, system))),
            curves_section(inspection),
            fit_section(inspection, system),
        ),
        method=FIT,
        subjects=("lobe", "camshaft"),
        serial=table.serial,
    )


def identity(table: LiftTable, system: System) -> tuple[tuple[str, str | None], ...]:
    """Who measured what with what, as the table's preamble states it."""
    unit = display_unit("mm", system).label

    def length(value: float | None) -> str | None:
        return None if value is None else f"{show(value, 'mm', system)} {unit}"

    follower = None
    if table.follower is not None:
        radius = length(table.follower.radius_mm) if table.follower.kind == "roller" else None
        follower = table.follower.kind + (f", radius {radius}" if radius else "")
    temperature = None if table.temperature_degc is None else f"{show(table.temperature_degc, 'degC', decimals=1)} °C"
    encoder = table.encoder_uncertainty_cam_deg
    probe = [f"probe {length(table.probe_uncertainty_mm)}"] if table.probe_uncertainty_mm is not None else []
    probe += [f"encoder {show(encoder, 'cam deg')} cam deg"] if encoder is not None else []
    return (
        ("part", table.part), ("serial number", table.serial), ("operator", table.operator),
        ("instrument", table.instrument), ("calibration", table.calibration), ("measured on", table.date),
        ("temperature", temperature),
        ("lift taken at", table.lift_at), ("follower", follower),
        ("base circle radius", length(table.base_circle_radius_mm)), ("stated uncertainty", "; ".join(probe) or None),
    )  # fmt: skip


def fit_section(inspection: LobesInspection, system: System) -> Section:
    """How the readings were smoothed, and which were left out."""
    rows = tuple(_fit_row(part.fitted) for part in inspection.groups)
    heads = ("lobes", "half passes at", "correlation of neighbours", "zero", "eccentricity")
    blocks: list[Block] = [
        Paragraph(FIT), Table(heads, rows, units=("", "cam deg", "", "", ""), wrap=(0,), flush_left=(3, 4)),
    ]  # fmt: skip
    left_out = [(lobe.lobe, reading) for lobe in inspection.result.lobes for reading in lobe.outlier_readings]
    if left_out:
        cells = tuple(
            (
                lobe,
                show(row.angle_cam_deg, "cam deg"),
                show(row.lift_mm, "mm", system),
                show(row.fitted_lift_mm, "mm", system),
                show(row.lift_mm - row.fitted_lift_mm, "mm", system),
            )
            for lobe, row in left_out
        )
        length = display_unit("mm", system).label
        units = ("", "cam deg", length, length, length)
        blocks.append(
            Table(
                ("lobe", "at", "read", "fit there", "difference"),
                cells,
                units=units,
                title="Readings left out of the fit",
            )
        )
    return Section("Fit", tuple(blocks))


def _fit_row(fitted: FittedLobes) -> tuple[str, ...]:
    harmonic = fitted.smoothed.half_harmonic
    return (
        ", ".join(fitted.names),
        show(360.0 / harmonic if harmonic > 0.0 else None, "cam deg", decimals=2),
        show(fitted.smoothed.lag_correlation, "", decimals=2),
        "base circle" if any(base is not None for base in fitted.bases) and fitted.zero_taken_out else "table",
        "taken out" if fitted.eccentricity_taken_out else "left in",
    )


def curves_section(inspection: LobesInspection) -> Section:
    """Lift, deviation and acceleration of every lobe, lobes side by side."""
    x = grid(inspection)
    names = [lobe.lobe for lobe in inspection.result.lobes]
    columns = [tuple(lobe_plots(inspection, name, x)) for name in names]
    return Section("Curves", tuple(figure_rows(columns, PLOTS_ACROSS, STACK_MM, [f"Lobe {name}" for name in names])))


def lobe_plots(inspection: LobesInspection, lobe: str, x: FloatArray) -> list[Plot]:
    """One lobe's stack: lift, deviation with its band where there is a nominal, acceleration."""
    plots: list[Plot] = [alone(motion_figure(inspection, lobe, 0, x))]
    deviation = deviation_figure(inspection, lobe, x)
    plots.append(alone(motion_figure(inspection, lobe, 1, x)) if deviation is None else deviation)
    plots.append(alone(motion_figure(inspection, lobe, 2, x)))
    return plots


def alone(figure: Figure) -> Figure:
    """The figure without the other lobes' faint curves, which paper this small would blur, on their common scale."""
    low, high = y_ends(figure)
    room = 0.05 * (high - low)
    curves = tuple(curve for curve in figure.curves if curve.role != "measured_quiet")
    return replace(figure, curves=curves, y_axis=replace(figure.y_axis, range=(low - room, high + room)))
