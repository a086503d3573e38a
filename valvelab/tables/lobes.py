"""Tables of a camshaft's lobes: a row a lobe, each value to the place of its standard uncertainty."""

from __future__ import annotations

from collections.abc import Sequence
from operator import attrgetter
from typing import Any

from valvelab.inspection.characteristics import printed
from valvelab.inspection.lobes.characteristics import (
    ACCELERATION,
    CONTOUR,
    DURATIONS,
    ENVELOPE,
    LIFT,
    VELOCITY,
    LobeRow,
    recorded,
)
from valvelab.measured import Measured
from valvelab.records.lobes_result import CamshaftResult, IndexErrorRow, LobeDuration, LobeResult, LobesResult
from valvelab.tables.decimals import figure
from valvelab.tables.description import Column, Mark, Table, table_of
from valvelab.tables.verdicts import overall
from valvelab.units import System, display_unit, show

ACROSS = 12
LIFTS_ACROSS = 5

LobeColumn = Column[LobeResult]


def of_row(row: LobeRow) -> LobeColumn:
    """A characteristic of a lobe."""
    return Column(
        row.head, row.unit, lambda lobe: row.stated(lobe).value, lambda lobe: row.stated(lobe).u, with_u=row.u_column,
        tip=row.meaning,
    )  # fmt: skip


def _of_envelope(head: str, unit: str, field: str, times: float = 1.0, **usual: Any) -> LobeColumn:
    def value(lobe: LobeResult) -> float | None:
        return None if lobe.envelope is None else times * getattr(lobe.envelope, field)

    return Column(head, unit, value, **usual)


def _left_out(lobe: LobeResult) -> float:
    return float(lobe.outliers)


LOBE: LobeColumn = Column("lobe", words=lambda lobe: lobe.lobe, tip="Cylinder and kind")
LEFT_OUT: LobeColumn = Column("left out", value=_left_out, usual=(0, 0), tip="Readings left out of the fit")
USE_OF_BAND = _of_envelope("use of band", "%", "worst_use_of_band", 100.0, usual=(0, 0))
BESIDE: dict[str, tuple[LobeColumn, ...]] = {
    LIFT: (LEFT_OUT,),
    ENVELOPE: (
        _of_envelope("at, from centre", "cam deg", "worst_angle_cam_deg"), USE_OF_BAND,
        _of_envelope("fitted angle", "cam deg", "fitted_angle_cam_deg"), _of_envelope("rms deviation", "um", "rms_um"),
    ),
}  # fmt: skip
"""What stands beside the characteristics of a table."""


def lobe_tables(result: LobesResult, system: System) -> list[Table]:
    """Everything derived of lobes and shaft, with its standard uncertainty where there is one."""
    lobes = result.lobes
    tables = []
    for title in (LIFT, VELOCITY, ACCELERATION, CONTOUR, ENVELOPE):
        columns = [*(of_row(row) for row in recorded() if row.table == title), *BESIDE.get(title, ())]
        if any(column.filled(lobes) for column in columns):
            tables.append(table_of(lobes, [LOBE, *columns], system, title))
    return [*tables[:1], *duration_tables(result, system), *tables[1:], *camshaft_tables(result, system)]


def _at(row: LobeRow, number: int, head: str) -> LobeColumn:
    """A characteristic at the checking lift of that number."""

    def stated(lobe: LobeResult) -> Measured:
        return row.stated_at(lobe.durations[number])

    return Column(
        head,
        row.unit,
        lambda lobe: stated(lobe).value,
        lambda lobe: stated(lobe).u,
        with_u=row.u_column,
        tip=row.meaning,
    )


def lift_told(at_mm: float, system: System) -> str:
    """A checking lift as heads give it, without its unit."""
    return show(at_mm, "mm", system, 3 if system == "metric" else 4)


def duration_tables(result: LobesResult, system: System) -> list[Table]:
    """Duration, opening, closing and middle at every checking lift."""
    unit = display_unit("mm", system).label
    tables = []
    lifts = [lift_told(row.at_mm, system) for row in result.lobes[0].durations] if result.lobes else []
    at_lift = [row for row in recorded() if row.needs_at is not None]
    for start in range(0, len(lifts), LIFTS_ACROSS):
        some = list(enumerate(lifts))[start : start + LIFTS_ACROSS]
        for title in dict.fromkeys([DURATIONS, *(row.table for row in at_lift if row.table)]):
            rows = [row for row in at_lift if row.table == title]
            words = {row.name: row.head if len(rows) > 1 else "at" for row in rows}
            columns = [_at(row, number, f"{words[row.name]} {lift}") for number, lift in some for row in rows]
            tables.append(table_of(result.lobes, [LOBE, *columns], system, f"{title}, by checking lift ({unit})"))
    return tables


def camshaft_tables(result: LobesResult, system: System) -> list[Table]:
    """Separation by cylinder, index errors and spreads over lobes of a kind."""
    shaft = result.camshaft
    tables = [*_separations(shaft, system), *_index_errors(shaft.index_errors or (), result, system)]
    if shaft.spreads:
        columns: list[Column[Any]] = [
            Column("", words=lambda row: row.kind),
            _spread("max_lift", "mm", "max_lift_mm"), _spread("duration", "crank deg", "duration_crank_deg"),
            _spread("area", "mm cam deg", "area_mm_cam_deg"),
        ]  # fmt: skip
        tables.append(table_of(shaft.spreads, columns, system, "Range over lobes of a kind"))
    return tables


def _spread(name: str, unit: str, field: str) -> Column[Any]:
    return Column(printed(name), unit, attrgetter(field))


def _separations(shaft: CamshaftResult, system: System) -> list[Table]:
    tables = []
    known = shaft.uncertainty
    mean_u = known.get("lobe_separation_mean_cam_deg")
    mean = figure(shaft.lobe_separation_mean_cam_deg, mean_u, "cam deg", system)
    for start in range(0, len(shaft.cylinders), ACROSS):
        group = shaft.cylinders[start : start + ACROSS]
        heads = ("cylinder", *(str(row.cylinder) for row in group), "mean")
        cells = [
            figure(row.lobe_separation_cam_deg, known.get(f"lobe_separation_cam_deg {row.cylinder}"), "cam deg", system)
            for row in group
        ]
        title = "" if start else "Lobe separation"
        tables.append(Table(heads, (("separation, cam deg", *cells, mean),), title=title))
    return tables


def _index_errors(errors: Sequence[IndexErrorRow], result: LobesResult, system: System) -> list[Table]:
    tables = []
    by_lobe = {lobe.lobe: lobe.uncertainty.get("centre_cam_deg") for lobe in result.lobes}
    for start in range(0, len(errors), ACROSS):
        some = errors[start : start + ACROSS]
        cells = [figure(row.error_cam_deg, by_lobe.get(row.lobe), "cam deg", system) for row in some]
        heads = ("lobe", *(row.lobe for row in some))
        tables.append(Table(heads, (("error, cam deg", *cells),), title="" if start else "Index errors"))
    return tables


def glance(result: LobesResult, system: System) -> Table:
    """One row a lobe: what is usually asked first, and the worst of its verdicts."""
    asked_first = [of_row(row) for row in recorded() if row.name in {"max_lift", "centre"}]
    columns: list[LobeColumn] = [LOBE, *asked_first]
    number = comparison_lift(result)
    if number is not None:
        lift = show(result.lobes[0].durations[number].at_mm, "mm", system, 2 if system == "metric" else 3)
        head = f"duration at {lift} {display_unit('mm', system).label}"
        columns += [_at(row, number, head) for row in recorded() if row.name == "duration"]
    worst = {lobe.lobe: overall([row for row in result.verdicts if row.item == lobe.lobe]) for lobe in result.lobes}

    def mark(lobe: LobeResult) -> Mark | str:
        decision = worst[lobe.lobe]
        return "–" if decision is None else Mark(decision)

    columns += [USE_OF_BAND, Column("worst verdict", words=mark)]
    return table_of(result.lobes, columns, system, "Lobe by lobe")


def comparison_lift(result: LobesResult) -> int | None:
    """Which row of durations is nearest the trade's comparison lift, 1.27 mm (0.050 in); None without any."""
    rows: Sequence[LobeDuration] = result.lobes[0].durations if result.lobes else ()
    return min(range(len(rows)), key=lambda number: abs(rows[number].at_mm - 1.27), default=None)
