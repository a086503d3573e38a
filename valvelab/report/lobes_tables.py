"""Tables of a camshaft's lobes for the certificate: a row a lobe, each value with its standard uncertainty."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from valvelab.records.lobes_result import LobeDuration, LobeResult, LobesResult
from valvelab.report.assembly import overall
from valvelab.report.page_model import Block, Mark, Section, Table
from valvelab.units import System, display_unit, show

ACROSS = 12


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table of lobes: head, canonical unit, and where the value comes from; no head: it is a u."""

    head: str
    unit: str
    value: Callable[[LobeResult], float | None]
    decimals: int | None = None


def characteristics_section(result: LobesResult, system: System) -> Section:
    """Tables of everything derived, with its standard uncertainty where there is one."""
    blocks: list[Block] = [
        lobe_table("Lift and centre", result, LIFT, system),
        *duration_tables(result, system),
        lobe_table("Velocity", result, VELOCITY, system),
        lobe_table("Acceleration and jerk", result, ACCELERATION, system),
        lobe_table("Base circle and contour", result, CONTOUR, system),
    ]
    if any(lobe.envelope for lobe in result.lobes):
        blocks.append(lobe_table("Envelope", result, ENVELOPE, system))
    return Section("Characteristics", (*blocks, *camshaft_tables(result, system)))


def lobe_table(title: str, result: LobesResult, columns: Sequence[Column], system: System) -> Table:
    """A row a lobe."""
    rows = tuple(
        (lobe.lobe, *(_shown(column.value(lobe), column, system) for column in columns)) for lobe in result.lobes
    )
    heads = ("lobe", *(column.head or "u" for column in columns))
    units = ("", *(display_unit(column.unit, system).label for column in columns))
    return Table(heads, rows, units=units, title=title)


def _shown(value: float | None, column: Column, system: System) -> str:
    decimals = display_unit(column.unit, system).decimals if column.decimals is None else column.decimals
    if column.decimals is not None and system == "inch" and column.unit.startswith("mm"):
        decimals += 2
    text = show(value, column.unit, system, decimals)
    if value is None or column.head or float(text) > 0.0:
        return text
    return show(value, column.unit, system, decimals + 2)


def _u(key: str) -> Callable[[LobeResult], float | None]:
    return lambda lobe: lobe.uncertainty.get(key)


LIFT = (
    Column("max lift", "mm", lambda lobe: lobe.max_lift_mm),
    Column("", "mm", _u("max_lift_mm")),
    Column("at", "cam deg", lambda lobe: lobe.max_lift_angle_cam_deg),
    Column("centre", "cam deg", lambda lobe: lobe.centre_cam_deg),
    Column("", "cam deg", _u("centre_cam_deg")),
    Column("by chord", "cam deg", lambda lobe: lobe.centres.chord_cam_deg),
    Column("by peak", "cam deg", lambda lobe: lobe.centres.peak_cam_deg),
    Column("by area", "cam deg", lambda lobe: lobe.centres.area_cam_deg),
    Column("area", "mm cam deg", lambda lobe: lobe.area_mm_cam_deg),
    Column("", "mm cam deg", _u("area_mm_cam_deg")),
    Column("noise", "um", lambda lobe: lobe.noise_um),
    Column("left out", "", lambda lobe: float(lobe.outliers), 0),
)
VELOCITY = (
    Column("highest", "mm/cam deg", lambda lobe: lobe.velocity_max_mm_per_cam_deg, 4),
    Column("", "mm/cam deg", _u("velocity_max_mm_per_cam_deg"), 4),
    Column("lowest", "mm/cam deg", lambda lobe: lobe.velocity_min_mm_per_cam_deg, 4),
    Column("", "mm/cam deg", _u("velocity_min_mm_per_cam_deg"), 4),
)
ACCELERATION = (
    Column("highest", "mm/cam deg²", lambda lobe: lobe.acceleration_max_mm_per_cam_deg2, 5),
    Column("", "mm/cam deg²", _u("acceleration_max_mm_per_cam_deg2"), 5),
    Column("lowest", "mm/cam deg²", lambda lobe: lobe.acceleration_min_mm_per_cam_deg2, 5),
    Column("", "mm/cam deg²", _u("acceleration_min_mm_per_cam_deg2"), 5),
    Column("jerk, greatest size", "mm/cam deg³", lambda lobe: lobe.jerk_max_abs_mm_per_cam_deg3, 6),
    Column("jerk rms", "mm/cam deg³", lambda lobe: lobe.jerk_rms_mm_per_cam_deg3, 6),
)
CONTOUR = (
    Column("runout TIR", "mm", lambda lobe: lobe.base_circle.runout_tir_mm),
    Column("", "mm", _u("runout_tir_mm")),
    Column("eccentricity", "mm", lambda lobe: lobe.base_circle.eccentricity_mm),
    Column("at", "cam deg", lambda lobe: lobe.base_circle.eccentricity_angle_cam_deg),
    Column("least convex radius", "mm", lambda lobe: lobe.curvature.min_convex_radius_mm),
    Column("least hollow radius", "mm", lambda lobe: lobe.curvature.min_concave_radius_mm),
    Column("least face radius", "mm", lambda lobe: lobe.curvature.min_face_radius_mm),
    Column("pressure angle", "deg", lambda lobe: lobe.curvature.max_pressure_angle_deg),
)
ENVELOPE = (
    Column("worst deviation", "mm", lambda lobe: lobe.envelope.worst_deviation_mm if lobe.envelope else None),
    Column("at, from centre", "cam deg", lambda lobe: lobe.envelope.worst_angle_cam_deg if lobe.envelope else None),
    Column("use of band", "", lambda lobe: lobe.envelope.worst_use_of_band if lobe.envelope else None, 2),
    Column("fitted angle", "cam deg", lambda lobe: lobe.envelope.fitted_angle_cam_deg if lobe.envelope else None),
    Column("rms deviation", "um", lambda lobe: lobe.envelope.rms_um if lobe.envelope else None),
)


def duration_tables(result: LobesResult, system: System) -> list[Table]:
    """Duration, opening and closing at every checking lift; a table takes five lifts."""
    if not result.lobes:
        return []
    unit = display_unit("mm", system).label
    tables = []
    lifts = [show(row.at_mm, "mm", system, 3 if system == "metric" else 4) for row in result.lobes[0].durations]
    for start in range(0, len(lifts), 5):
        spans, events = [], []
        for number, lift in list(enumerate(lifts))[start : start + 5]:
            spans.append(Column(f"at {lift}", "crank deg", _duration(number, _crank)))
            spans.append(Column("", "crank deg", _duration(number, _crank_u)))
            events.append(Column(f"opens {lift}", "cam deg", _duration(number, lambda row: row.opening_cam_deg)))
            events.append(Column(f"closes {lift}", "cam deg", _duration(number, lambda row: row.closing_cam_deg)))
        tables.append(lobe_table(f"Duration, by checking lift ({unit})", result, spans, system))
        tables.append(lobe_table(f"Opening and closing, by checking lift ({unit})", result, events, system))
    return tables


def _duration(number: int, value: Callable[[LobeDuration], float | None]) -> Callable[[LobeResult], float | None]:
    return lambda lobe: value(lobe.durations[number])


def camshaft_tables(result: LobesResult, system: System) -> list[Table]:
    """Separation by cylinder, index errors and spreads over lobes of a kind."""
    shaft = result.camshaft
    tables = []
    for start in range(0, len(shaft.cylinders), ACROSS):
        group = shaft.cylinders[start : start + ACROSS]
        cells = [show(row.lobe_separation_cam_deg, "cam deg") for row in group]
        heads = ("cylinder", *(str(row.cylinder) for row in group), "mean")
        mean = show(shaft.lobe_separation_mean_cam_deg, "cam deg")
        title = "" if start else "Lobe separation"
        tables.append(Table(heads, (("separation, cam deg", *cells, mean),), title=title))
    errors = shaft.index_errors or ()
    for start in range(0, len(errors), ACROSS):
        some = errors[start : start + ACROSS]
        heads = ("lobe", *(row.lobe for row in some))
        cells = [show(row.error_cam_deg, "cam deg", decimals=2) for row in some]
        tables.append(Table(heads, (("error, cam deg", *cells),), title="" if start else "Index errors"))
    if shaft.spreads:
        rows = tuple(
            (row.kind, show(row.max_lift_mm, "mm", system), show(row.duration_crank_deg, "crank deg"),
             show(row.area_mm_cam_deg, "mm cam deg", system))
            for row in shaft.spreads
        )  # fmt: skip
        units = ("", *(display_unit(unit, system).label for unit in ("mm", "crank deg", "mm cam deg")))
        tables.append(
            Table(("", "max lift", "duration", "area"), rows, units=units, title="Range over lobes of a kind")
        )
    return tables


def glance(result: LobesResult, system: System) -> Table:
    """One row a lobe: what is usually asked first, and the worst of its verdicts."""
    number = comparison_lift(result)
    unit = display_unit("mm", system).label
    columns = [*LIFT[:2], LIFT[3], LIFT[4]]
    if number is not None:
        lift = show(result.lobes[0].durations[number].at_mm, "mm", system, 2 if system == "metric" else 3)
        columns.append(Column(f"duration at {lift} {unit}", "crank deg", _duration(number, _crank)))
        columns.append(Column("", "crank deg", _duration(number, _crank_u)))
    columns.append(
        Column("use of band", "", lambda lobe: lobe.envelope.worst_use_of_band if lobe.envelope else None, 2)
    )
    plain = lobe_table("Lobe by lobe", result, columns, system)
    worst = [overall([row for row in result.verdicts if row.item == lobe.lobe]) for lobe in result.lobes]
    marks = ["–" if decision is None else Mark(decision) for decision in worst]
    rows = tuple((*row, mark) for row, mark in zip(plain.rows, marks, strict=True))
    return replace(plain, header=(*plain.header, "worst verdict"), units=(*plain.units, ""), rows=rows,
                   flush_left=(len(plain.header),))  # fmt: skip


def comparison_lift(result: LobesResult) -> int | None:
    """Which row of durations is nearest the trade's comparison lift, 1.27 mm (0.050 in); None without any."""
    rows = result.lobes[0].durations if result.lobes else ()
    return min(range(len(rows)), key=lambda number: abs(rows[number].at_mm - 1.27), default=None)


def _crank(row: LobeDuration) -> float | None:
    return row.duration_crank_deg


def _crank_u(row: LobeDuration) -> float | None:
    return row.uncertainty.duration_crank_deg
