"""Tables of a camshaft's lobes: a row a lobe, each value to the place of its standard uncertainty."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from itertools import groupby
from operator import itemgetter
from typing import TYPE_CHECKING, Any

from valvelab.decimals import decimals_of
from valvelab.inspection.lobes import characteristics
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
from valvelab.records.lobes_result import LobeDuration, LobeResult, LobesResult
from valvelab.records.measurement import COMPARISON_LIFT_MM
from valvelab.tables.description import Column, Fact, Mark, Table, facts, table_of
from valvelab.tables.verdicts import overall
from valvelab.units import System, display_unit, show

if TYPE_CHECKING:
    from valvelab.inspection.lobes.inspect import LobesInspection

RAMPS = "Ramps"
ACROSS = 12
ACROSS_AT_LIFTS = 10
"""Columns of numbers beside one another that a page has room for."""

LobeColumn = Column[LobeResult]


def of_row(row: LobeRow, stated: Callable[[LobeResult], Measured] | None = None, **how: Any) -> LobeColumn:
    """A characteristic of a lobe; `stated` where it is not stated of the whole lobe."""
    read = stated or row.stated
    column: LobeColumn = Column(
        row.head,
        row.unit,
        lambda lobe: read(lobe).value,
        lambda lobe: read(lobe).u,
        with_u=row.u_column,
        tip=row.explained,
    )
    return replace(column, **how)


def _of_envelope(head: str, unit: str, field: str, times: float = 1.0, **usual: Any) -> LobeColumn:
    def value(lobe: LobeResult) -> float | None:
        return None if lobe.envelope is None else times * getattr(lobe.envelope, field)

    return Column(head, unit, value, **usual)


def _of_ramp(side: str, what: str, unit: str, field: str) -> LobeColumn:
    def value(lobe: LobeResult) -> float | None:
        end = getattr(lobe.ramps, side)
        return None if end is None else getattr(end, field)

    return Column(f"{side} ramp {what}", unit, value, tip=f"{what.capitalize()} where the {side} ramp meets the flank")


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
    RAMPS: tuple(
        _of_ramp(side, what, unit, field)
        for side in ("opening", "closing")
        for what, unit, field in (("lift", "mm", "lift_mm"), ("velocity", "mm/cam deg", "velocity_mm_per_cam_deg"))
    ),
}  # fmt: skip
"""What stands beside the characteristics of a table."""


def lobe_tables(inspection: LobesInspection, system: System) -> list[Table]:
    """Everything derived of lobes and shaft, with its standard uncertainty where there is one."""
    result = inspection.result
    tables = []
    for title in (LIFT, VELOCITY, ACCELERATION, CONTOUR, RAMPS, ENVELOPE):
        columns = [*(of_row(row) for row in recorded() if row.table == title), *BESIDE.get(title, ())]
        if any(column.filled(result.lobes) for column in columns):
            tables.append(table_of(result.lobes, [LOBE, *columns], system, title, keep_empty=True))
    return [*tables[:1], *duration_tables(result, system), *tables[1:], *shaft_tables(inspection, system)]


def lobe_facts(inspection: LobesInspection, lobe: str, system: System) -> list[Fact]:
    """Everything about one lobe that needs no checking lift, its ramps and its place on the shaft last."""
    lobes = inspection.result.lobes
    columns = [*(of_row(row) for row in recorded() if row.needs_at is None), *BESIDE[RAMPS]]
    row = next(row for row in lobes if row.lobe == lobe)
    own = [fact for fact in shaft_facts(inspection, system) if fact.item == lobe]
    return [*facts(columns, row, lobes, system), *own]


def _at(result: LobesResult, row: LobeRow, number: int, head: str) -> LobeColumn:
    """A characteristic at the checking lift of that number."""
    decimals = _at_all_lifts(result, row)
    return of_row(row, lambda lobe: row.stated_at(lobe.durations[number]), head=head, decimals=decimals)


def _at_all_lifts(result: LobesResult, row: LobeRow) -> int:
    """One count of decimals for an angle at whatever lift."""
    return decimals_of((row.stated_at(at).u for lobe in result.lobes for at in lobe.durations), row.unit)


AtLift = tuple[str, float | None, float | None, float | None]
"""A lobe's name, opening, closing and duration at some lift."""


def columns_at_any_lift(result: LobesResult) -> list[Column[AtLift]]:
    """Columns for any one lift, with the names and decimals of the tables by checking lift."""
    rows = {row.name: row for row in recorded() if row.block == "durations"}

    def column(place: int, row: LobeRow) -> Column[AtLift]:
        return Column(row.head, row.unit, itemgetter(place), tip=row.explained, decimals=_at_all_lifts(result, row))

    shown = enumerate((rows["opening"], rows["closing"], rows["duration"]), start=1)
    return [Column("lobe", words=itemgetter(0), tip=LOBE.tip), *(column(place, row) for place, row in shown)]


def lift_told(at_mm: float, system: System) -> str:
    """A checking lift as heads give it, without its unit."""
    return show(at_mm, "mm", system, 3 if system == "metric" else 4)


def duration_tables(result: LobesResult, system: System) -> list[Table]:
    """Duration, opening, closing and middle at every checking lift."""
    unit = display_unit("mm", system).label
    tables = []
    lifts = list(enumerate(lift_told(row.at_mm, system) for row in result.lobes[0].durations)) if result.lobes else []
    at_lift = [row for row in recorded() if row.needs_at is not None]
    for title in dict.fromkeys([DURATIONS, *(row.table for row in at_lift if row.table)]):
        rows = [row for row in at_lift if row.table == title]
        words = {row.name: row.head if len(rows) > 1 else "at" for row in rows}
        across = max(1, ACROSS_AT_LIFTS // sum(1 + row.u_column for row in rows))
        for start in range(0, len(lifts), across):
            some = lifts[start : start + across]
            columns = [_at(result, row, number, f"{words[row.name]} {lift}") for number, lift in some for row in rows]
            tables.append(table_of(result.lobes, [LOBE, *columns], system, f"{title}, by checking lift ({unit})"))
    return tables


Told = tuple[str, Measured]


def shaft_facts(inspection: LobesInspection, system: System) -> list[Fact]:
    """Separations, spreads and index errors."""
    found: list[Fact] = []
    for row in characteristics.CHARACTERISTICS:
        if row.subject == "camshaft" or row.block is None:
            measured = characteristics.measured(inspection.shaft, row)
            found += _of_items(row.head, row.unit, row.explained, measured, system)
    areas: dict[str, Measured] = {
        spread.kind: Measured(spread.area_mm_cam_deg) for spread in inspection.result.camshaft.spreads
    }
    return [*found, *_of_items("area spread", "mm cam deg", "Range of area over the lobes of one kind", areas, system)]


def _of_items(head: str, unit: str, tip: str, measured: Mapping[str, Measured], system: System) -> list[Fact]:
    """One characteristic of several items; nothing where no item has it."""
    rows: list[Told] = list(measured.items())
    column: Column[Told] = Column(head, unit, lambda row: row[1].value, lambda row: row[1].u, tip=tip)
    if not column.filled(rows):
        return []
    return [fact for row in rows for fact in facts([column], row, rows, system, item=row[0])]


def shaft_tables(inspection: LobesInspection, system: System) -> list[Table]:
    """The same, a table a characteristic, its items side by side."""
    tables = []
    for name, group in groupby(shaft_facts(inspection, system), key=lambda fact: fact.label):
        found = list(group)
        for start in range(0, len(found), ACROSS):
            some = found[start : start + ACROSS]
            heads = ("of", *(fact.item for fact in some))
            rows = ((name, *(fact.shown for fact in some)), ("u", *(fact.shown_u for fact in some)))
            tables.append(Table(heads, rows[: 1 + any(fact.u is not None for fact in found)]))
    return tables


def glance(result: LobesResult, system: System) -> Table:
    """One row a lobe: what is usually asked first, and the worst of its verdicts."""
    asked_first = [of_row(row) for row in recorded() if row.name in {"max_lift", "centre"}]
    columns: list[LobeColumn] = [LOBE, *asked_first]
    number = comparison_lift(result)
    if number is not None:
        lift = show(result.lobes[0].durations[number].at_mm, "mm", system, 2 if system == "metric" else 3)
        head = f"duration at {lift} {display_unit('mm', system).label}"
        columns += [_at(result, row, number, head) for row in recorded() if row.name == "duration"]
    worst = {lobe.lobe: overall([row for row in result.verdicts if row.item == lobe.lobe]) for lobe in result.lobes}

    def mark(lobe: LobeResult) -> Mark | str:
        decision = worst[lobe.lobe]
        return "–" if decision is None else Mark(decision)

    columns += [USE_OF_BAND, Column("worst verdict", words=mark)]
    return table_of(result.lobes, columns, system, "Lobe by lobe")


def comparison_lift(result: LobesResult) -> int | None:
    """Which row of durations is nearest the trade's comparison lift, 1.27 mm (0.050 in); None without any."""
    rows: Sequence[LobeDuration] = result.lobes[0].durations if result.lobes else ()
    return min(range(len(rows)), key=lambda number: abs(rows[number].at_mm - COMPARISON_LIFT_MM), default=None)
