"""What a tray of springs, its matched sets and a shim plan put on the certificate."""

from __future__ import annotations

from collections.abc import Sequence
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
from valvelab.report.assembly import Part, plain
from valvelab.report.page_model import Block, FigureBlock, Paragraph, Section, Table
from valvelab.units import System, display_unit, show

if TYPE_CHECKING:
    from valvelab.inspection.springs.inspect import SpringsInspection
    from valvelab.inspection.springs.sets import SetsInspection
    from valvelab.inspection.springs.shims import ShimsInspection
    from valvelab.records.sets_result import SetsResult
    from valvelab.records.spring_readings import HeightsTable, SpringTable
    from valvelab.records.springs_result import ExcludedSpring, SpringResult

WIDE_MM, FLAT_MM = 74.0, 62.0
PROGRESSIVE_ACROSS = 3
FIRST_PAGE_SETS = 14
FORCES = (
    ("seat force", "seat_force_n", "N"), ("open force", "open_force_n", "N"), ("rate", "rate_n_per_mm", "N/mm"),
    ("solid", "solid_height_mm", "mm"), ("margin", "coil_bind_margin_mm", "mm"),
    ("per coil", "margin_per_coil_mm", "mm"),
)  # fmt: skip
OTHERS = (
    ("free", "free_length_mm", "mm"), ("hysteresis", "hysteresis_n", "N"), ("set loss", "set_loss_n", "N"),
    ("stress, seat", "stress_seat_mpa", "MPa"), ("open", "stress_open_mpa", "MPa"),
    ("solid", "stress_solid_mpa", "MPa"), ("surge", "surge_hz", "Hz"), ("static margin", "strength_margin", ""),
    ("fatigue margin", "fatigue_margin", ""),
)  # fmt: skip
WITH_U = {"seat_force_n", "open_force_n", "rate_n_per_mm", "coil_bind_margin_mm"}
METRIC = {"N": 1, "N/mm": 2, "mm": 2, "MPa": 0, "Hz": 0, "": 2}
INCH = {"N": 1, "N/mm": 1, "mm": 3, "MPa": 1, "Hz": 0, "": 2}
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
    blocks: list[Block] = [Paragraph(READ), spring_table(result.springs, FORCES, system)]
    if any(getattr(row, key) is not None for row in result.springs for _, key, _ in OTHERS):
        blocks.append(spring_table(result.springs, OTHERS, system, "Wire, hysteresis and natural frequency"))
    blocks += [*element_tables(result.springs, system), *_progressive(inspection)]
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


def spring_table(
    springs: Sequence[SpringResult], columns: Sequence[tuple[str, str, str]], system: System, title: str = ""
) -> Table:
    """A row a spring and stage, the important values with their uncertainty; columns that no spring fills left out."""
    places = INCH if system == "inch" else METRIC
    filled = [column for column in columns if any(getattr(row, column[1]) is not None for row in springs)]
    staged = any(row.stage is not None for row in springs)
    heads, units = ["spring", *(["stage"] if staged else [])], ["", *([""] if staged else [])]
    for name, key, unit in filled:
        label = display_unit(unit, system).label
        heads += [name, *(["u"] if key in WITH_U else [])]
        units += [label, *([label] if key in WITH_U else [])]
    rows = []
    for row in springs:
        cells = [row.spring, *([row.stage or ""] if staged else [])]
        for _, key, unit in filled:
            cells.append(show(getattr(row, key), unit, system, places[unit]))
            if key in WITH_U:
                cells.append(show(row.uncertainty.get(key), unit, system, places[unit] + 1))
        rows.append(tuple(cells))
    return Table(tuple(heads), tuple(rows), units=tuple(units), left=2 if staged else 1, title=title)


def element_tables(springs: Sequence[SpringResult], system: System) -> list[Block]:
    """The springs of nests one by one."""
    places = INCH if system == "inch" else METRIC
    pairs = [(row.spring, part) for row in springs for part in row.elements]
    if not pairs:
        return []
    columns = [
        column for column in (*FORCES, *OTHERS) if any(getattr(part, column[1], None) is not None for _, part in pairs)
    ]
    rows = tuple(
        (spring, part.element, *(show(getattr(part, key), unit, system, places[unit]) for _, key, unit in columns))
        for spring, part in pairs
    )
    heads = ("spring", "element", *(name for name, _, _ in columns))
    units = ("", "", *(display_unit(unit, system).label for _, _, unit in columns))
    return [Table(heads, rows, units=units, left=2, title="Springs of a nest by themselves")]


def _progressive(inspection: SpringsInspection) -> list[Block]:
    """Rate over height of the springs whose rate is not constant."""
    names = list(dict.fromkeys(row.spring for row in inspection.result.springs if row.progressive))
    if not names:
        return []
    tray = tray_lines(inspection)
    blocks: list[Block] = []
    for start in range(0, len(names), PROGRESSIVE_ACROSS):
        some = names[start : start + PROGRESSIVE_ACROSS]
        columns = tuple((rate_figure(inspection, name, tray),) for name in some)
        blank: tuple[tuple[Figure, ...], ...] = ((),) * (PROGRESSIVE_ACROSS - len(some))
        blocks.append(FigureBlock((*columns, *blank), FLAT_MM, titles=tuple(some)))
    return blocks


def sets_part(inspection: SetsInspection, table: SpringTable, system: System = "metric") -> Part:
    """The matched sets' part of a certificate."""
    result = inspection.result
    groups = [one.springs for one in result.sets]
    points = map_points(inspection.analyses)
    overview: list[Block] = [Paragraph(proof(result), "strong")]
    if points:
        overview.append(
            FigureBlock(((map_figure(points, groups),),), WIDE_MM, caption="One mark a spring, a box around each set.")
        )
    fit = inspection.analyses[0].fit
    blocks: list[Block] = [Paragraph(MATCHED)]
    if result.sets and len(result.sets) <= FIRST_PAGE_SETS:
        overview.append(set_table(result, system))
    elif result.sets:
        blocks.append(set_table(result, system))
    if result.sets:
        blocks.append(member_table(result))
    if result.left_over:
        blocks.append(Paragraph("Left over: " + ", ".join(result.left_over)))
    if result.excluded:
        overview.append(Paragraph(kept_out(result.excluded)))
    return Part(
        name="Matched spring sets",
        result=result,
        identity=(*identity(table, fit.installed_height_mm, fit.valve_lift_mm, system),
                  ("springs in a set", str(result.size)), ("largest range in a set", limits_told(result, system))),
        overview=tuple(overview),
        sections=(Section("Springs of the sets", tuple(blocks), new_page=True),),
        subjects=("spring",),
        serial=table.remarks.get("serial"),
    )  # fmt: skip


def kept_out(excluded: tuple[ExcludedSpring, ...]) -> str:
    """Springs that the spec rejects, with what for."""
    return "Rejected by the spec, so not used: " + "; ".join(f"{one.spring} ({one.reason})" for one in excluded) + "."


def proof(result: SetsResult) -> str:
    """How many sets there are and what is known about more or tighter ones."""
    left = len(result.left_over)
    text = f"{len(result.sets)} set{'s' * (len(result.sets) != 1)} of {result.size}, "
    text += f"{left} spring{'s' * (left != 1)} left over."
    if not result.sets:
        return text
    many = "Proven to be the most there can be" if result.number_proven else f"At most {result.bound_sets} are possible"
    tight = f"their total spread is {result.total_spread:.3f}"
    if result.spread_proven:
        tight += ", proven to be the least"
    elif result.bound_total_spread > 0.0:
        tight += f", and none below {result.bound_total_spread:.3f} is possible"
    return f"{text} {many}; {tight}."


def limits_told(result: SetsResult, system: System) -> str:
    """The limits in words."""
    parts = []
    for key, limit in result.within.items():
        name, unit = name_and_unit(key)
        parts.append(f"{name} {limit * display_unit(unit, system).scale:.4g} {display_unit(unit, system).label}")
    return ", ".join(parts)


def name_and_unit(key: str) -> tuple[str, str]:
    """A characteristic's words and canonical unit, from its JSON key."""
    from valvelab.inspection.springs.characteristics import CHARACTERISTICS, KEY_OF

    row = next(row for row in CHARACTERISTICS if KEY_OF[row.name] == key)
    return plain(row.name), row.unit


def set_table(result: SetsResult, system: System) -> Table:
    """A row a set: mean, range and share of the limit for each characteristic."""
    places = INCH if system == "inch" else METRIC
    placed = any(one.position for one in result.sets)
    heads, units = ["set", *(["position"] if placed else []), "springs"], ["", *([""] if placed else []), ""]
    for key in result.within:
        name, unit = name_and_unit(key)
        label = display_unit(unit, system).label
        heads += [f"{name}, mean", "range", "of limit"]
        units += [label, label, "%"]
    rows = []
    for number, one in enumerate(result.sets, start=1):
        cells = [str(number), *([one.position or ""] if placed else []), str(len(one.springs))]
        for key, limit in result.within.items():
            unit = name_and_unit(key)[1]
            cells.append(show(one.mean[key], unit, system, places[unit]))
            cells.append(show(one.spread[key], unit, system, places[unit] + 1))
            cells.append(f"{100.0 * one.spread[key] / limit:.0f}")
        rows.append(tuple(cells))
    return Table(tuple(heads), tuple(rows), units=tuple(units), left=2 if placed else 1, title="Sets")


def member_table(result: SetsResult) -> Table:
    """Which springs are in which set."""
    rows = tuple((str(number), ", ".join(one.springs)) for number, one in enumerate(result.sets, start=1))
    return Table(("set", "springs"), rows, left=2, wrap=(1,))


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
    rows = tuple(
        (row.position, row.spring, " + ".join(show(shim, "mm", system, fine) for shim in row.shims_mm) or "none",
         show(bare.height_mm, "mm", system, fine), show(row.installed_height_mm, "mm", system, fine),
         show(row.seat_force_n, "N", system, 1), show(row.coil_bind_margin_mm, "mm", system, fine))
        for row, bare in zip(result.positions, heights.positions, strict=True)
    )  # fmt: skip
    plan = Table(
        ("valve", "spring", "shims", "without a shim", "installed", "seat force", "margin"), rows,
        units=("", "", unit, unit, unit, force, unit), left=3,
    )  # fmt: skip
    spread = f"Seat forces lie within {show(result.spread_seat_force_n, 'N', system, 2)} {force}."
    left = ", ".join(result.left_over)
    blocks = (Section("Springs left over", (Paragraph(left),)),) if left else ()
    out = (Paragraph(kept_out(result.excluded)),) if result.excluded else ()
    lift = heights.valve_lift_mm if heights.valve_lift_mm is not None else table.valve_lift_mm
    return Part(
        name="Spring shim plan",
        result=result,
        identity=(
            ("part", table.remarks.get("part")), ("serial number", table.remarks.get("serial")),
            ("operator", table.remarks.get("operator")), ("valves", str(len(heights.positions))),
            ("shims in stock", f"{stock} {unit}" if stock else None),
            ("shims at a valve", f"{heights.max_shims} at most"),
            ("target seat force", None if target is None else f"{show(target, 'N', system, 1)} {force}"),
            ("least coil-bind margin", length(heights.minimum_coil_bind_margin_mm)), ("valve lift", length(lift)),
        ),
        overview=(Paragraph(spread, "strong"), plan, *out, FigureBlock(((seat_force_figure(inspection),),), FLAT_MM)),
        sections=blocks,
        subjects=("spring",),
        serial=table.remarks.get("serial"),
    )  # fmt: skip


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
        name="seat force", title="Seat force at each valve", x_axis=Axis("valve", "", (0.5, x.size + 0.5), names=names),
        y_axis=Axis("seat force", "N", (min(ends) - room, max(ends) + room)),
        curves=(stems,), marks=(Marks(x, y, "measured"),),
        guides=() if target is None else (Guide(target, "y", label="target"),),
    )  # fmt: skip
