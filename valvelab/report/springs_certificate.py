"""What a tray of springs, its matched sets and a shim plan put on the certificate."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from valvelab.figures.description import Axis, Curve, Figure, Guide, Marks
from valvelab.figures.spring_figures import (
    difference_figure,
    force_figure,
    map_figure,
    map_points,
    rate_figure,
    tray_lines,
)
from valvelab.report.assembly import Part
from valvelab.report.page_model import Block, FigureBlock, Paragraph, Section, figure_rows
from valvelab.tables.springs import (
    kept_out,
    left_over,
    limits_told,
    set_tables,
    shim_table,
    spread_told,
    spring_tables,
    statement,
)
from valvelab.units import System, display_unit, show

if TYPE_CHECKING:
    from valvelab.inspection.springs.inspect import SpringsInspection
    from valvelab.inspection.springs.sets import SetsInspection
    from valvelab.inspection.springs.shims import ShimsInspection
    from valvelab.records.spring_readings import HeightsTable, SpringTable

WIDE_MM, FLAT_MM = 74.0, 62.0
PROGRESSIVE_ACROSS = 3
FIRST_PAGE_SETS = 14
READ = (
    "Forces are read at installed and at open height (installed height less valve lift) by monotone interpolation of "
    "the compress stroke; the rate is the slope of least squares between those heights. Readings past coil bind end "
    "the range, and the knee gives the solid height unless one is stated. u is the standard uncertainty."
)
MATCHED = (
    "Sets are complete groups in which the range (greatest less least) of every characteristic named is within its "
    "limit. First as many sets as possible, then the least total spread: the sum of range over limit."
)


def springs_part(inspection: SpringsInspection, table: SpringTable, system: System = "metric") -> Part:
    """The tray's part of a certificate."""
    result = inspection.result
    blocks: list[Block] = [Paragraph(READ), *spring_tables(result.springs, system), *_progressive(inspection)]
    return Part(
        name="Valve springs",
        result=result,
        identity=identity(table, result.installed_height_mm, result.valve_lift_mm, system),
        overview=(_tray_figures(inspection),),
        sections=(Section("Springs", tuple(blocks), new_page=True),),
        subjects=("spring",),
        serial=table.remarks.get("serial"),
    )


def identity(
    table: SpringTable, installed_mm: float | None, lift_mm: float | None, system: System
) -> tuple[tuple[str, str | None], ...]:
    """Who measured what with what, as the readings' preamble states it."""
    unit, fine = display_unit("mm", system).label, 3 if system == "inch" else 2
    force, height = table.force_uncertainty_n, table.height_uncertainty_mm
    stated = [f"force {show(force, 'N', system, 2)} {display_unit('N', system).label}"] if force is not None else []
    stated += [f"height {show(height, 'mm', system, fine + 1)} {unit}"] if height is not None else []

    def length(value: float | None) -> str | None:
        return None if value is None else f"{show(value, 'mm', system, fine)} {unit}"

    remarks = table.remarks
    return (
        ("part", remarks.get("part")), ("serial number", remarks.get("serial")), ("operator", remarks.get("operator")),
        ("instrument", remarks.get("instrument")), ("measured on", remarks.get("date")),
        ("springs", str(len({row.spring for row in table.springs}))), ("installed height", length(installed_mm)),
        ("valve lift", length(lift_mm)), ("wire", table.coil.material),
        ("stated uncertainty", "; ".join(stated) or None),
    )  # fmt: skip


def _tray_figures(inspection: SpringsInspection) -> FigureBlock:
    """All lines with the worst spring strong, the same less the tray's median, and the map."""
    result = inspection.result
    rejected = [verdict.item for verdict in result.verdicts if verdict.decision == "reject"]
    chosen = rejected[0] if rejected else result.springs[0].spring
    tray = tray_lines(inspection)
    lines = (force_figure(inspection, chosen, tray), difference_figure(inspection, chosen, tray))
    why = "the first that was rejected" if rejected else "the first of the tray"
    caption = f"Left: force of every spring over height, and the same less the tray's median; strong: {chosen}, {why}."
    points = map_points(inspection.analyses)
    if not points:
        return FigureBlock((lines,), WIDE_MM, caption=caption)
    caption += " Right: one mark a spring."
    return FigureBlock((lines, (map_figure(points),)), WIDE_MM, weights=(1.3, 1.0), caption=caption)


def _progressive(inspection: SpringsInspection) -> list[FigureBlock]:
    """Rate over height of the springs whose rate is not constant."""
    names = list(dict.fromkeys(row.spring for row in inspection.result.springs if row.progressive))
    if not names:
        return []
    tray = tray_lines(inspection)
    columns = [(rate_figure(inspection, name, tray),) for name in names]
    return figure_rows(columns, PROGRESSIVE_ACROSS, FLAT_MM, names)


def sets_part(inspection: SetsInspection, table: SpringTable, system: System = "metric") -> Part:
    """The matched sets' part of a certificate."""
    result = inspection.result
    groups = [one.springs for one in result.sets]
    points = map_points(inspection.analyses)
    overview: list[Block] = [Paragraph(statement(result), "strong")]
    if points:
        overview.append(
            FigureBlock(((map_figure(points, groups),),), WIDE_MM, caption="One mark a spring, a box around each set.")
        )
    fit = inspection.analyses[0].fit
    blocks: list[Block] = [Paragraph(MATCHED)]
    tables = set_tables(result, system)
    (overview if len(result.sets) <= FIRST_PAGE_SETS else blocks).extend(tables[:1])
    blocks += tables[1:]
    if result.left_over:
        blocks.append(Paragraph(left_over(result.left_over)))
    if result.excluded:
        overview.append(Paragraph(kept_out(result.excluded)))
    return Part(
        name="Matched spring sets",
        result=result,
        identity=(
            *identity(table, fit.installed_height_mm, fit.valve_lift_mm, system),
            ("springs in a set", str(result.size)),
            ("largest range in a set", limits_told(result, system)),
        ),
        overview=tuple(overview),
        sections=(Section("Springs of the sets", tuple(blocks), new_page=True),),
        subjects=("spring",),
        serial=table.remarks.get("serial"),
    )


def shims_part(
    inspection: ShimsInspection, table: SpringTable, heights: HeightsTable, system: System = "metric"
) -> Part:
    """The shim plan's part of a certificate."""
    result = inspection.result
    unit, force = display_unit("mm", system).label, display_unit("N", system).label
    fine = 3 if system == "inch" else 2

    def length(value: float | None) -> str | None:
        return None if value is None else f"{show(value, 'mm', system, fine)} {unit}"

    stock = ", ".join(show(shim, "mm", system, fine) for shim in heights.shims_mm)
    target = heights.target_seat_force_n
    blocks = (Section("Springs left over", (Paragraph(left_over(result.left_over)),)),) if result.left_over else ()
    out = (Paragraph(kept_out(result.excluded)),) if result.excluded else ()
    lift = heights.valve_lift_mm if heights.valve_lift_mm is not None else table.valve_lift_mm
    return Part(
        name="Spring shim plan",
        result=result,
        identity=(
            ("part", table.remarks.get("part")),
            ("serial number", table.remarks.get("serial")),
            ("operator", table.remarks.get("operator")),
            ("valves", str(len(heights.positions))),
            ("shims in stock", f"{stock} {unit}" if stock else None),
            ("shims at a valve", f"{heights.max_shims} at most"),
            ("target seat force", None if target is None else f"{show(target, 'N', system, 1)} {force}"),
            ("least coil-bind margin", length(heights.minimum_coil_bind_margin_mm)),
            ("valve lift", length(lift)),
        ),
        overview=(
            Paragraph(spread_told(result, system), "strong"),
            shim_table(result, system),
            *out,
            FigureBlock(((seat_force_figure(inspection),),), FLAT_MM),
        ),
        sections=blocks,
        subjects=("spring",),
        serial=table.remarks.get("serial"),
    )


def seat_force_figure(inspection: ShimsInspection) -> Figure:
    """Seat force at each valve with its shims, against the target where there is one."""
    result = inspection.result
    x = np.arange(1.0, len(result.positions) + 1.0)
    y = np.array([row.seat_force_n for row in result.positions])
    target = result.target_seat_force_n
    ends = [*y, *([] if target is None else [target])]
    room = 0.5 * (max(ends) - min(ends)) or 1.0
    foot = min(ends) - room if target is None else target
    gap = np.full_like(x, np.nan)
    stems = Curve(np.repeat(x, 3), np.column_stack([np.full_like(x, foot), y, gap]).ravel(), "measured")
    names = tuple(zip(x.tolist(), (row.position for row in result.positions), strict=True))
    return Figure(
        name="seat force",
        title="Seat force at each valve",
        x_axis=Axis("valve", "", (0.5, x.size + 0.5), names=names),
        y_axis=Axis("seat force", "N", (min(ends) - room, max(ends) + room)),
        curves=(stems,),
        marks=(Marks(x, y, "measured"),),
        guides=() if target is None else (Guide(target, "y", label="target"),),
    )
