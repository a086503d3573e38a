"""Tables of a camshaft's lobes for the certificate: a row a lobe, each value with its standard uncertainty."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

from valvelab.inspection.lobes.characteristics import (
    ACCELERATION,
    CONTOUR,
    ENVELOPE,
    LIFT,
    VELOCITY,
    LobeRow,
    recorded,
)
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
        lobe_table(LIFT, result, [*_of_table(LIFT), LEFT_OUT], system),
        *duration_tables(result, system),
        *(lobe_table(title, result, _of_table(title), system) for title in (VELOCITY, ACCELERATION, CONTOUR)),
    ]
    if any(lobe.envelope for lobe in result.lobes):
        blocks.append(lobe_table(ENVELOPE, result, [*_of_table(ENVELOPE), *BAND], system))
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


_DECIMALS = {"mm/cam deg": 4, "mm/cam deg2": 5, "mm/cam deg3": 6}


def _columns(*rows: LobeRow) -> list[Column]:
    """A column for each characteristic, and one for its uncertainty where there is room."""
    found = []
    for row in rows:
        decimals = _DECIMALS.get(row.unit)
        found.append(Column(row.head, row.unit, partial(_value, row), decimals))
        if row.u_column:
            found.append(Column("", row.unit, partial(_u, row), decimals))
    return found


def _value(row: LobeRow, lobe: LobeResult) -> float | None:
    return row.stated(lobe).value


def _u(row: LobeRow, lobe: LobeResult) -> float | None:
    return row.stated(lobe).u


def _of_table(title: str) -> list[Column]:
    return _columns(*(row for row in recorded() if row.table == title))


LEFT_OUT = Column("left out", "", lambda lobe: float(lobe.outliers), 0)
BAND = (
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
    columns = _columns(*(row for row in recorded() if row.name in {"max_lift", "centre"}))
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
