"""Tables of springs, matched sets and shim plans."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from math import ceil
from typing import Any

from valvelab.decimals import USUAL, Usual, figure, told
from valvelab.inspection.springs.characteristics import FORCES, OTHERS, recorded, row_of
from valvelab.records.sets_result import SetsResult, SpringSet
from valvelab.records.shims_result import ShimPosition, ShimsResult
from valvelab.records.springs_result import ExcludedSpring, SpringResult
from valvelab.tables.description import Column, Fact, Table, facts, named_pairs, recorded_column, table_of
from valvelab.units import System, display_unit

_BY_KEY = {row.key: row for row in recorded()}


def spring_column(name: str, *, with_u: bool = False) -> Column[Any]:
    """A characteristic of a spring, or of a spring of a nest."""
    return recorded_column(row_of(name), with_u=with_u)


def spring_tables(springs: Sequence[SpringResult], system: System) -> list[Table]:
    """A row a spring and stage: what it does, then wire and natural frequency, then the springs of nests."""
    named: list[Column[SpringResult]] = [Column("spring", words=lambda row: row.spring)]
    if any(row.stage is not None for row in springs):
        named.append(Column("stage", words=lambda row: row.stage or ""))
    forces, others = (
        [spring_column(row.name, with_u=True) for row in recorded() if row.table == title] for title in (FORCES, OTHERS)
    )
    tables = [table_of(springs, [*named, *forces], system)]
    if any(column.filled(springs) for column in others):
        tables.append(table_of(springs, [*named, *others], system, OTHERS))
    parts = [(row.spring, part) for row in springs for part in row.elements]
    if parts:
        element: Column[Any] = Column("element", words=lambda part: part.element)
        of_nest = named_pairs(Column("spring", words=str), [element, *(spring_column(row.name) for row in recorded())])
        tables.append(table_of(parts, of_nest, system, "Springs of a nest by themselves"))
    return tables


def spring_facts(spring: SpringResult, springs: Sequence[SpringResult], system: System) -> list[Fact]:
    """Everything about one spring, as the tables have it."""
    return facts([spring_column(row.name) for row in recorded()], spring, springs, system)


def finer(unit: str) -> Usual:
    """One decimal more than usual: of means and ranges over springs."""
    metric, inch = USUAL[unit]
    return metric + 1, inch + 1


def set_tables(result: SetsResult, system: System) -> list[Table]:
    """A row a set: mean, range and share of the limit for each characteristic; then the springs of each."""
    if not result.sets:
        return []
    rows = list(enumerate(result.sets, start=1))
    columns: list[Column[tuple[int, SpringSet]]] = [Column("set", words=lambda row: str(row[0]))]
    if any(one.position for one in result.sets):
        columns.append(Column("position", words=lambda row: row[1].position or ""))
    columns.append(Column("springs", value=lambda row: float(len(row[1].springs)), usual=(0, 0)))
    for key, limit in result.within.items():
        known = _BY_KEY[key]
        columns += [
            Column(f"{known.head}, mean", known.unit, partial(_mean, key=key), usual=finer(known.unit)),
            Column("range", known.unit, partial(_range, key=key), usual=finer(known.unit)),
            Column("of limit", "%", partial(_use, key=key, limit=limit), usual=(0, 0)),
        ]
    columns += [
        Column("worst of limit", "%", lambda row: 100.0 * row[1].worst_share, usual=(0, 0)),
        Column("in", words=lambda row: _BY_KEY[row[1].worst_in].head),
    ]
    members: list[Column[tuple[int, SpringSet]]] = [
        Column("set", words=lambda row: str(row[0])),
        Column("springs", words=lambda row: ", ".join(row[1].springs)),
    ]
    plain = table_of(rows, members, system)
    return [
        table_of(rows, columns, system, "Sets"),
        Table(plain.header, plain.rows, left=2, wrap=(1,)),
    ]


def _mean(row: tuple[int, SpringSet], *, key: str) -> float:
    return row[1].mean[key]


def _range(row: tuple[int, SpringSet], *, key: str) -> float:
    return row[1].spread[key]


def _use(row: tuple[int, SpringSet], *, key: str, limit: float) -> float:
    return 100.0 * row[1].spread[key] / limit


def statement(result: SetsResult) -> str:
    """How many sets there are, what is known about more or tighter ones, what their spread is and their order."""
    count, left = len(result.sets), len(result.left_over)
    placed = any(one.position for one in result.sets)
    what = "sets by position" if placed else f"set{_s(count)} of {result.size}"
    said = [
        f"{count} {what}, {left} spring{_s(left)} left over.",
        number_told(count, result.bound_sets, proven=result.number_proven, placed=placed),
    ]
    if result.sets:
        said.append(tightness_told(result.total_spread, result.bound_total_spread, proven=result.spread_proven))
        said.append(
            f"Spread: {result.total_spread:.3f} in all, the sum over sets of each range as a share of its limit."
        )
        said.append(order_told(result))
    return " ".join(filter(None, said))


def number_told(count: int, bound: int, *, proven: bool, placed: bool = False) -> str:
    """Whether there can be more sets than `count`, of at most `bound`; `placed`: by position."""
    if not proven:
        return f"At most {bound} may exist."
    return "No arrangement gives more." if placed else f"No arrangement gives {count + 1}."


def tightness_told(total: float, bound: float, *, proven: bool) -> str:
    """How far from the best possible a total spread can be, with as many sets; `total` and `bound` plain numbers."""
    if proven:
        return "Tightness: no tighter arrangement exists."
    if bound <= 0.0:
        return "Tightness: how near to the best possible is not known."
    return f"Tightness: within {ceil(100.0 * (total / bound - 1.0))} % of the best possible."


def order_told(result: SetsResult) -> str:
    """The order that sets stand in; nothing of one set, or of sets in an order of their own."""
    key = "seat_force_n" if "seat_force_n" in result.within else next(iter(result.within))
    places = [(one.position or "", one.mean[key]) for one in result.sets]
    if len(places) < 2 or places != sorted(places):
        return ""
    by = "position, then of " if any(one.position for one in result.sets) else ""
    return f"Sets in order of {by}mean {_BY_KEY[key].head}."


def _s(count: int) -> str:
    return "s" * (count != 1)


def limits_told(result: SetsResult, system: System) -> str:
    """The limits of sets in words."""
    parts = []
    for key, limit in result.within.items():
        display = display_unit(_BY_KEY[key].unit, system)
        parts.append(f"{_BY_KEY[key].head} {limit * display.scale:.4g} {display.label}")
    return ", ".join(parts)


def left_over(names: Sequence[str]) -> str:
    """Springs that nothing took, or nothing."""
    return f"Left over: {', '.join(names)}." if names else ""


def kept_out(excluded: Sequence[ExcludedSpring]) -> str:
    """Springs that the spec rejects, with what for; or nothing."""
    told = "; ".join(f"{one.spring} ({one.reason})" for one in excluded)
    return f"Rejected by the spec, so not used: {told}." if told else ""


def shims_told(shims_mm: Sequence[float], system: System) -> str:
    """The shims of a stack, thickest first."""
    return " + ".join(figure(shim, None, "mm", system) for shim in shims_mm) or "none"


def shim_columns(system: System) -> list[Column[ShimPosition]]:
    """What a row of a shim plan says."""
    return [
        Column("valve", words=lambda row: row.position, tip="The valve's position"),
        Column("spring", words=lambda row: row.spring, tip="The spring that goes there"),
        Column("shims", "mm", words=lambda row: shims_told(row.shims_mm, system), tip="Shims below it, thickest first"),
        Column("without a shim", "mm", lambda row: row.installed_height_mm + sum(row.shims_mm),
               tip="Height of the seat as it is"),
        Column("installed height", "mm", lambda row: row.installed_height_mm,
               tip="Installed height with these shims"),
        Column("seat force", "N", lambda row: row.seat_force_n, tip="Seat force at that height"),
        Column("coil bind margin", "mm", lambda row: row.coil_bind_margin_mm,
               tip="Coil-bind margin at that height"),
    ]  # fmt: skip


def shim_table(result: ShimsResult, system: System) -> Table:
    """The plan, a row a valve."""
    return table_of(result.positions, shim_columns(system), system)


def spread_told(result: ShimsResult, system: System) -> str:
    """How far apart the seat forces of a plan lie, and the target where there is one."""
    text = f"Seat forces lie within {told(result.spread_seat_force_n, 'N', system)}"
    if result.target_seat_force_n is not None:
        text += f", target {told(result.target_seat_force_n, 'N', system)}"
    return text + "."
