"""What degreeing and valve motion put on the certificate."""

from __future__ import annotations

from valvelab.figures.motion_figures import (
    clearance_figure,
    clearance_moves_figure,
    film_figure,
    force_figure,
    force_map,
    lift_figure,
    pressure_figure,
    resonance_figure,
    sweep_figure,
)
from valvelab.figures.phasing_figures import event_diagram, wheel_dial
from valvelab.figures.plan_figures import head_plan
from valvelab.inspection.engine.motion import CAUTION as MOTION_CAUTION
from valvelab.inspection.engine.motion import MotionInspection
from valvelab.inspection.engine.phasing import PhasingInspection
from valvelab.report.assembly import Part
from valvelab.report.page_model import Block, Box, FigureBlock, Plot, Section, figure_rows
from valvelab.tables.engine import (
    clearance_tables,
    contact_tables,
    control_tables,
    engine_table,
    event_table,
    lift_table,
    phasing_tables,
    reading_tables,
)
from valvelab.tables.headline import adjustment
from valvelab.tables.verdicts import worst_by_item
from valvelab.units import System

PLOT_MM = 56.0


def phasing_part(inspection: PhasingInspection, system: System = "metric") -> Part:
    """The degree-wheel sheet's part of a certificate."""
    sheet, result = inspection.sheet, inspection.result
    tables = phasing_tables(result, system)
    figures = FigureBlock(
        ((event_diagram(inspection),), (wheel_dial(inspection, system),)),
        88.0,
        caption="Left: valve events on the crank circle, the card's dashed. Right: the readings on the wheel.",
    )
    return Part(
        name="Phasing",
        result=result,
        identity=(
            ("part", sheet.part),
            ("serial number", sheet.serial),
            ("operator", sheet.operator),
            ("measured on", sheet.date),
        ),
        picture=(figures,),
        told=tuple(f"{wanted}." for wanted in [adjustment(result)] if wanted),
        found=(engine_table(result), *tables[:-1]),
        annexes=lambda: (Section("Steps", (tables[-1],)),),
        subjects=("phasing", "event"),
        serial=sheet.serial,
    )


def motion_part(
    inspection: MotionInspection,
    system: System = "metric",
    identity: tuple[tuple[str, str | None], ...] = (),
    serial: str | None = None,
) -> Part:
    """The valve motion's part of a certificate; curves of the first valve of each kind.

    `identity` and `serial` are the lift table's.
    """
    result = inspection.result
    drawn = _first_of_each_kind(inspection)
    caption = f"{', '.join(drawn)}: valve lift; dashed without lash, and the piston below dead centre."
    kinds = {side.lobe.name: side.lobe.kind or "" for side in inspection.sides}
    head = head_plan(list(kinds), worst_by_item(result.verdicts), kinds)
    figure = FigureBlock(((head,), (lift_figure(inspection, drawn),)), 72.0, weights=(1.0, 1.7), caption=caption)
    return Part(
        name="Valve motion",
        result=result,
        identity=identity,
        picture=(figure,),
        found=(lift_table(result, system), *control_tables(result, system), Box("Speeds", (MOTION_CAUTION,))),
        annexes=lambda: (
            Section(
                "Valve motion",
                (
                    *reading_tables(result, system),
                    *clearance_tables(result, system),
                    *contact_tables(result, system, every_speed=False),
                    event_table(result, system),
                ),
            ),
            Section("Valve curves", tuple(_curves(inspection, system))),
        ),
        subjects=("valve", "event"),
        serial=serial,
    )


def _first_of_each_kind(inspection: MotionInspection) -> list[str]:
    return sorted({side.lobe.kind: side.lobe.name for side in reversed(inspection.sides)}.values())


def _curves(inspection: MotionInspection, system: System) -> list[Block]:
    blocks: list[Block] = []
    for lobe in _first_of_each_kind(inspection):
        drawn: list[Plot | None] = [
            clearance_figure(inspection, lobe, system),
            clearance_moves_figure(inspection, lobe, system),
            *(draw(inspection, lobe) for draw in (force_figure, resonance_figure, sweep_figure, force_map)),
            *(draw(inspection, lobe) for draw in (pressure_figure, film_figure)),
        ]
        plots = [(plot,) for plot in drawn if plot is not None]
        blocks += figure_rows(plots, 2, PLOT_MM, (f"Valve {lobe}", ""))
    return blocks
