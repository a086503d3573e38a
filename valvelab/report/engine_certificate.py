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
from valvelab.inspection.engine.motion import CAUTION as MOTION_CAUTION
from valvelab.inspection.engine.motion import MotionInspection
from valvelab.inspection.engine.phasing import CAUTION as PHASING_CAUTION
from valvelab.inspection.engine.phasing import PhasingInspection
from valvelab.records.motion_result import MotionValve
from valvelab.records.phasing_result import Event, PhasingResult
from valvelab.report.assembly import Part
from valvelab.report.page_model import Block, Box, FigureBlock, Plot, Section, Table
from valvelab.units import System, display_unit, show

PLOT_MM = 56.0


def phasing_part(inspection: PhasingInspection, system: System = "metric") -> Part:
    """The degree-wheel sheet's part of a certificate."""
    sheet, result = inspection.sheet, inspection.result
    figures = FigureBlock(
        ((event_diagram(inspection),), (wheel_dial(inspection),)),
        88.0,
        caption="Left: valve events on the crank circle, the card's dashed. Right: the readings on the wheel.",
    )
    return Part(
        name="Phasing",
        result=result,
        identity=(("part", sheet.part), ("serial number", sheet.serial), ("operator", sheet.operator),
                  ("measured on", sheet.date)),
        overview=(figures, _engine_table(result)),
        sections=(
            Section(
                "Events and centrelines",
                (*_phasing_tables(result, system), Box("At the engine", (PHASING_CAUTION,))),
                new_page=True,
            ),
        ),
        subjects=("phasing", "event"),
        serial=sheet.serial,
    )  # fmt: skip


def _deg(value: float | None) -> str:
    return show(value, "deg", decimals=2)


def _engine_table(result: PhasingResult) -> Table:
    u = result.uncertainty
    rows = (
        ("true TDC on the wheel", _deg(result.tdc_offset_deg), _deg(result.tdc_uncertainty_deg), "deg"),
        ("lobe separation", _deg(result.lobe_separation_cam_deg), _deg(u["lobe_separation_cam_deg"]), "cam deg"),
        ("advance", _deg(result.advance_crank_deg), _deg(u["advance_crank_deg"]), "crank deg"),
        (
            "correction, positive advances",
            _deg(result.correction_crank_deg),
            _deg(u["correction_crank_deg"]),
            "crank deg",
        ),
        ("nearest step on the shelf", _deg(result.nearest_adjuster_crank_deg), "", "crank deg"),
    )
    return Table(("", "value", "u", "unit"), rows, flush_left=(3,))


def _phasing_tables(result: PhasingResult, system: System) -> list[Block]:
    def event(value: Event | None) -> str:
        return "–" if value is None else f"{value.angle:.2f} {value.reference}"

    words = {"near_peak": "pairs near the nose", "events": "the events", None: "–"}
    lobes = tuple(
        (lobe.lobe, _deg(lobe.centreline_crank_deg), _deg(lobe.uncertainty["centreline_crank_deg"]),
         _deg(lobe.card_centreline_crank_deg), _deg(lobe.difference_crank_deg), words[lobe.centreline_from])
        for lobe in result.lobes
    )  # fmt: skip
    events = tuple(
        (lobe.lobe, show(row.at_mm, "mm", system), event(row.opening_event), event(row.closing_event),
         _deg(row.duration_crank_deg), _deg(row.uncertainty["duration_crank_deg"]), _deg(row.card_duration_crank_deg))
        for lobe in result.lobes
        for row in lobe.durations
    )  # fmt: skip
    steps = tuple(
        (_deg(row.step_crank_deg), _deg(row.intake_centreline_crank_deg), _deg(row.exhaust_centreline_crank_deg),
         _deg(row.advance_crank_deg), _deg(row.remaining_crank_deg))
        for row in result.adjuster_outcomes
    )  # fmt: skip
    length = display_unit("mm", system).label
    found: list[Block] = [
        Table(("lobe", "centreline", "u", "card", "later", "from"), lobes, title="Centrelines, crank deg after TDC",
              flush_left=(5,)),
        Table(("lobe", "at", "opens", "closes", "duration", "u", "card"), events, title="Events at the follower",
              units=("", length, "", "", "crank deg", "crank deg", "crank deg")),
    ]  # fmt: skip
    if steps:
        head = ("step", "intake centreline", "exhaust centreline", "advance", "remaining")
        found.append(Table(head, steps, title="What each step would give, crank deg", left=0))
    return found


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
    figure = FigureBlock(((lift_figure(inspection, drawn),),), 72.0, caption=caption)
    return Part(
        name="Valve motion",
        result=result,
        identity=identity,
        overview=(figure, _lift_table(result.valves, system)),
        sections=(
            Section("At speed", (*_speed_tables(result.valves, system), Box("Speeds", (MOTION_CAUTION,)))),
            Section("Valve curves", tuple(_curves(inspection, system)), new_page=True),
            Section("Valve motion", (*_reading_tables(result.valves, system), *_move_tables(result.valves, system),
                                     *_contact_tables(result.valves, system), _event_table(result.valves, system)),
                    new_page=True),
        ),
        subjects=("valve", "event"),
        serial=serial,
    )  # fmt: skip


def _lift_table(valves: tuple[MotionValve, ...], system: System) -> Table:
    rows = tuple(
        (valve.lobe, show(valve.max_valve_lift_mm, "mm", system), show(valve.rule_lift_mm, "mm", system),
         show(valve.uncertainty["rule_lift_mm"], "mm", system),
         show(None if valve.rule_readings is None else valve.rule_readings.mean_mm, "mm", system),
         show(valve.valve_lift_at_gas_exchange_tdc_mm, "mm", system),
         show(None if valve.piston_clearance is None else valve.piston_clearance.min_mm, "mm", system))
        for valve in valves
    )  # fmt: skip
    length = display_unit("mm", system).label
    header = ("valve", "max lift", "rule lift", "u", "read at retainer", "lift at TDC", "to piston")
    return Table(header, rows, units=("", *(length,) * 6))


def _event_table(valves: tuple[MotionValve, ...], system: System) -> Table:
    def event(value: Event | None) -> str:
        return "–" if value is None else f"{value.angle:.2f} {value.reference}"

    rows = tuple(
        (valve.lobe, show(row.at_mm, "mm", system), event(row.opening_event), event(row.closing_event),
         _deg(row.duration_crank_deg), _deg(row.uncertainty["duration_crank_deg"]))
        for valve in valves
        for row in valve.durations
    )  # fmt: skip
    units = ("", display_unit("mm", system).label, "", "", "crank deg", "crank deg")
    return Table(("valve", "at", "opens", "closes", "duration", "u"), rows, units=units, title="Events at the valve")


def _speed_tables(valves: tuple[MotionValve, ...], system: System) -> list[Block]:
    rows = tuple(
        (valve.lobe, show(control.separation_rpm, "rpm"), show(control.margin_n_at_max_speed, "N", system),
         show(control.dynamic_separation_rpm, "rpm"),
         show(None if control.dynamic is None else control.dynamic.float_rpm, "rpm"))
        for valve in valves
        if (control := valve.control) is not None
    )  # fmt: skip
    if not rows:
        return []
    header = (
        "valve",
        "leaves the cam, quasi-static",
        "margin at max speed",
        "contact lost, dynamic",
        "flies 0.05 mm clear",
    )
    units = ("", "rpm", display_unit("N", system).label, "rpm", "rpm")
    return [Table(header, rows, units=units, title="Predicted control of the valve: estimates, never safe speeds")]


def _reading_tables(valves: tuple[MotionValve, ...], system: System) -> list[Block]:
    rows = tuple(
        (valve.lobe, str(read.count), show(read.mean_mm, "mm", system), show(read.standard_deviation_mm, "mm", system),
         show(read.standard_uncertainty_mm, "mm", system))
        for valve in valves
        if (read := valve.rule_readings) is not None
    )  # fmt: skip
    if not rows:
        return []
    length = display_unit("mm", system).label
    header = ("valve", "readings", "mean", "standard deviation", "u of the mean")
    units = ("", "", length, length, length)
    return [Table(header, rows, units=units, title="Indicator readings at the retainer, lash zero")]


def _move_tables(valves: tuple[MotionValve, ...], system: System) -> list[Block]:
    moved = [valve for valve in valves if valve.clearance_changes]
    if not moved:
        return []
    steps = sorted({row.advance_crank_deg for valve in moved for row in valve.clearance_changes})
    rows = tuple(
        (valve.lobe, show(lash, "mm", system), *(show(_moved(valve, lash, step), "mm", system) for step in steps))
        for valve in moved
        for lash in dict.fromkeys(row.lash_mm for row in valve.clearance_changes)
    )
    length = display_unit("mm", system).label
    header = ("valve", "lash", *(f"{step:+g} deg".replace("-", "−") for step in steps))
    title = "Least valve to piston with the camshaft advanced, and without lash"
    return [Table(header, rows, units=("", *(length,) * (1 + len(steps))), title=title)]


def _moved(valve: MotionValve, lash_mm: float, step: float) -> float | None:
    rows = (row for row in valve.clearance_changes if row.lash_mm == lash_mm and row.advance_crank_deg == step)
    return next((row.min_mm for row in rows), None)


def _contact_tables(valves: tuple[MotionValve, ...], system: System) -> list[Block]:
    rows = tuple(
        (valve.lobe, show(row.crank_rpm, "rpm"), show(row.max_pressure_mpa, "MPa", system),
         show(row.nose_pressure_mpa, "MPa", system), show(row.nose_film_um, "um", system, 3),
         show(row.nose_film_ratio, "", decimals=2))
        for valve in valves
        for row in valve.contact
        if row.crank_rpm in {0.0, max(other.crank_rpm for other in valve.contact)}
    )  # fmt: skip
    if not rows:
        return []
    stress, film = display_unit("MPa", system).label, display_unit("um", system).label
    header = ("valve", "speed", "greatest pressure", "at the nose", "film at the nose", "film / roughness")
    title = "Contact of lobe and follower, by hand and at the greatest speed"
    return [Table(header, rows, units=("", "rpm", stress, stress, film, ""), title=title)]


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
        plots = [plot for plot in drawn if plot is not None]
        for start in range(0, len(plots), 2):
            pair = plots[start : start + 2]
            blanks: tuple[tuple[Plot, ...], ...] = ((),) * (2 - len(pair))
            columns = (*((plot,) for plot in pair), *blanks)
            blocks.append(FigureBlock(columns, PLOT_MM, titles=(f"Valve {lobe}", "") if start == 0 else ()))
    return blocks
