"""What a tray of springs and its matched sets put on the certificate."""

from __future__ import annotations

from typing import TYPE_CHECKING

from valvelab.figures.history_figures import due_first, history_figure
from valvelab.figures.plan_figures import tray_plan
from valvelab.figures.spring_figures import (
    difference_figure,
    force_figure,
    map_figure,
    map_points,
    rate_figure,
    tray_lines,
)
from valvelab.records.shims_result import BY_HAND
from valvelab.report.assembly import Part
from valvelab.report.page_model import Block, FigureBlock, Paragraph, Section, figure_rows
from valvelab.tables.springs import (
    due_tables,
    kept_out,
    left_over,
    limits_told,
    set_tables,
    spring_tables,
    statement,
    taken_in,
)
from valvelab.tables.verdicts import worst_by_item
from valvelab.units import System, display_unit, show

if TYPE_CHECKING:
    from valvelab.inspection.springs.inspect import SpringsInspection
    from valvelab.inspection.springs.sets import SetsInspection
    from valvelab.records.sets_result import SetsResult
    from valvelab.records.shims_result import ShimsResult
    from valvelab.records.spring_readings import SpringTable
    from valvelab.records.springs_result import SpringsResult

WIDE_MM, FLAT_MM, TRAY_MM = 74.0, 62.0, 40.0
PROGRESSIVE_ACROSS = 3
FIRST_PAGE_SETS, FIRST_PAGE_SPRINGS = 14, 10
MOST_FOLLOWED, ACROSS_STAGES = 6, 2
READ = (
    "Forces are read at installed and at open height (installed height less valve lift) by monotone interpolation of "
    "the compress stroke; the rate is the slope of least squares between those heights. Readings past coil bind end "
    "the range, and the knee gives the solid height unless one is stated. u is the standard uncertainty."
)
FOLLOWED = (
    "A straight line through the stages of each spring from running in on, weighted by what its readings show. When it "
    "reaches a limit is an extrapolation; earliest and latest are the ends of 95 %, by Student's factor for the "
    "scatter of the stages about the line. Shown are the springs that are due first."
)
MATCHED = (
    "Sets are complete groups in which the range (greatest less least) of every characteristic named is within its "
    "limit. First as many sets as possible, then the least total spread: the sum of range over limit."
)


def springs_part(inspection: SpringsInspection, table: SpringTable, system: System = "metric") -> Part:
    """The tray's part of a certificate."""
    result = inspection.result
    names = [row.spring for row in result.springs]
    few = spring_tables(result.springs, system) if len(names) <= FIRST_PAGE_SPRINGS else []
    return Part(
        name="Valve springs",
        result=result,
        identity=identity(table, result.installed_height_mm, result.valve_lift_mm, system),
        picture=(FigureBlock(((tray_plan(names, worst_by_item(result.verdicts)),),), TRAY_MM),),
        found=(_tray_figures(inspection), *_followed(result, system, ACROSS_STAGES), *few),
        annexes=lambda: (
            Section("Springs", (*spring_tables(result.springs, system), *_progressive(inspection))),
            Section("From stage to stage", tuple(_followed(result, system, MOST_FOLLOWED))),
        ),
        method=READ,
        subjects=("spring",),
        serial=table.remarks.get("serial"),
    )


def _followed(result: SpringsResult, system: System, most: int) -> list[Block]:
    """When springs with several stages are due, and the seat force of so many that are due first."""
    due = due_tables(result.history, system)
    if not due:
        return []
    names = [one.spring for one in sorted(result.history, key=due_first)]
    drawn = [(name, figure) for name in names if (figure := history_figure(result, name)) is not None][:most]
    figures = figure_rows(
        [(figure,) for _, figure in drawn], ACROSS_STAGES, FLAT_MM, [f"Spring {name}" for name, _ in drawn]
    )
    return [Paragraph(FOLLOWED), *figures, *due]


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
        ("instrument", remarks.get("instrument")), ("calibration", table.calibration),
        ("measured on", remarks.get("date")),
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
    caption = "One mark a spring, a box around each set."
    picture = (FigureBlock(((map_figure(points, groups),),), WIDE_MM, caption=caption),) if points else ()
    fit = inspection.analyses[0].fit
    tables = set_tables(result, system)
    short = len(result.sets) <= FIRST_PAGE_SETS
    over = [Paragraph(left_over(result.left_over))] if result.left_over else []
    return Part(
        name="Matched spring sets",
        result=result,
        identity=(
            *identity(table, fit.installed_height_mm, fit.valve_lift_mm, system),
            ("springs in a set", str(result.size)),
            ("largest range in a set", limits_told(result, system)),
        ),
        told=(statement(result),),
        picture=picture,
        found=(*(tables if short else ()), *over, *decided(result)),
        annexes=lambda: (Section("Springs of the sets", tuple(tables)),),
        method=MATCHED,
        subjects=("spring",),
        serial=table.remarks.get("serial"),
        by_others=by_springs(result),
    )


_OF_SPRINGS = {"undecided", "rejected"}
"""What notes are about that name springs which are used though the spec does not accept them."""


def by_springs(result: SetsResult | ShimsResult) -> tuple[str, ...]:
    """What the springs' own inspection found, as it is used here, and where all of it stands."""
    undecided = [f"{note.text[:1].upper()}{note.text[1:]}." for note in result.notes if note.about in _OF_SPRINGS]
    found = [kept_out(result.excluded), taken_in(result.taken_in), *undecided]
    return *found, "The springs' own verdicts are on the springs certificate of these readings."


def decided(result: SetsResult | ShimsResult) -> list[Paragraph]:
    """Springs kept out and taken in, with the reasons, and what was decided by hand."""
    told = [kept_out(result.excluded), taken_in(result.taken_in)]
    told += [f"{note.text[:1].upper()}{note.text[1:]}." for note in result.notes if note.about == BY_HAND]
    return [Paragraph(text) for text in told if text]
