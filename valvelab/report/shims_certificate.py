"""What a shim plan puts on the certificate, and on the sheet that is read at the bench."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from valvelab.figures.description import Axis, Curve, Figure, Guide, Marks
from valvelab.report.assembly import Part
from valvelab.report.page_model import SHEET_TYPE, Block, BuildSheet, FigureBlock, Paragraph, Section
from valvelab.report.springs_certificate import FLAT_MM, by_springs, decided
from valvelab.tables.shims import (
    build_table,
    moves_table,
    purchases_table,
    shim_table,
    spread_told,
    stays_told,
    stock_told,
)
from valvelab.tables.springs import left_over
from valvelab.units import System, display_unit, show

if TYPE_CHECKING:
    from valvelab.inspection.springs.shims import ShimsInspection
    from valvelab.records.shims_result import ShimsResult
    from valvelab.records.spring_readings import HeightsTable, SpringTable

NAME = "Spring shim plan"


def shims_part(
    inspection: ShimsInspection, table: SpringTable, heights: HeightsTable, system: System = "metric"
) -> Part:
    """The shim plan's part of a certificate."""
    result = inspection.result
    unit, force = display_unit("mm", system).label, display_unit("N", system).label
    fine = 3 if system == "inch" else 2

    def length(value: float | None) -> str | None:
        return None if value is None else f"{show(value, 'mm', system, fine)} {unit}"

    target = heights.target_seat_force_n
    lift = heights.valve_lift_mm if heights.valve_lift_mm is not None else table.valve_lift_mm
    return Part(
        name=NAME,
        result=result,
        identity=(
            ("part", table.remarks.get("part")),
            ("serial number", table.remarks.get("serial")),
            ("operator", table.remarks.get("operator")),
            ("valves", str(len(heights.positions))),
            ("shims in stock", stock_told(heights, "shim", system)),
            *((f"{kind}s in stock", stock_told(heights, kind, system)) for kind in heights.stock if kind != "shim"),
            ("shims at a valve", f"{heights.max_shims} at most"),
            ("target seat force", None if target is None else f"{show(target, 'N', system, 1)} {force}"),
            ("least coil-bind margin", length(heights.minimum_coil_bind_margin_mm)),
            ("valve lift", length(lift)),
        ),
        told=(spread_told(result, system),),
        picture=(FigureBlock(((seat_force_figure(inspection),),), FLAT_MM),),
        found=(shim_table(result, system), *decided(result)),
        annexes=lambda: tuple(_sections(result, system)),
        subjects=("spring",),
        serial=table.remarks.get("serial"),
        by_others=by_springs(result),
    )


def _sections(result: ShimsResult, system: System) -> list[Section]:
    """The build sheet, then the work and what is left over."""
    work: list[Block] = [moves_table(result, system), purchases_table(result, system)]
    if stays := stays_told(result):
        work.append(Paragraph(stays))
    sheet = Section("Build sheet", (replace(build_table(result, system), type_size=SHEET_TYPE),), new_page=True)
    sections = [sheet, Section("Work and purchases", tuple(work))] if stays or result.purchases else [sheet]
    return [
        *sections,
        *([Section("Springs left over", (Paragraph(left_over(result.left_over)),))] if result.left_over else []),
    ]


def shims_sheet(result: ShimsResult, system: System) -> BuildSheet:
    """The sheet that is read at the bench."""
    sentences = tuple(text for text in (stays_told(result), _to_buy(result, system)) if text)
    return BuildSheet(
        "Build sheet: springs and shims",
        spread_told(result, system),
        build_table(result, system),
        sentences,
        result.source,
    )


def _to_buy(result: ShimsResult, system: System) -> str:
    told = (f"{count} {part} {size}" for part, size, count in purchases_table(result, system).rows)
    unit = display_unit("mm", system).label
    return f"To buy ({unit}): {', '.join(told)}." if result.purchases else ""


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
