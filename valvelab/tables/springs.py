"""Tables of springs and matched sets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from math import ceil
from typing import TYPE_CHECKING, Any

from valvelab.decimals import USUAL, Usual, limit, told, with_sign
from valvelab.inspection.springs.characteristics import FORCES, LOST, OTHERS, recorded, row_of
from valvelab.phrase import Phrase, whole
from valvelab.records.springs_result import (
    LEFT_OUT,
    Due,
    ExcludedSpring,
    SpringHistory,
    SpringResult,
    SpringTrend,
    TakenSpring,
)
from valvelab.tables.description import Column, Fact, Table, facts, named_pairs, recorded_column, table_of
from valvelab.units import System, display_unit, show
from valvelab.very_same import OfTheSame

if TYPE_CHECKING:  # springs are told without the records of their sets
    from valvelab.records.sets_result import SetsResult, SpringSet

_BY_KEY = {row.key: row for row in recorded()}


def spring_column(name: str, *, with_u: bool = False) -> Column[Any]:
    """A characteristic of a spring, or of a spring of a nest."""
    return recorded_column(row_of(name), with_u=with_u)


def spring_tables(springs: Sequence[SpringResult], system: System) -> list[Table]:
    """A row a spring and stage: what it does, then wire and natural frequency, then the springs of nests."""
    named: list[Column[SpringResult]] = [Column("spring", words=lambda row: row.spring)]
    if any(row.stage is not None for row in springs):
        named.append(Column("stage", words=lambda row: row.stage or ""))
    if any(row.date is not None and row.date != row.stage for row in springs):
        named.append(Column("date", words=lambda row: row.date or ""))
    tables = []
    for title in (FORCES, OTHERS, LOST):
        columns = [spring_column(row.name, with_u=True) for row in recorded() if row.table == title]
        if title == FORCES or any(column.filled(springs) for column in columns):
            tables.append(table_of(springs, [*named, *columns], system, "" if title == FORCES else title))
    parts = [(row.spring, part) for row in springs for part in row.elements]
    if parts:
        element: Column[Any] = Column("element", words=lambda part: part.element)
        of_nest = named_pairs(Column("spring", words=str), [element, *(spring_column(row.name) for row in recorded())])
        tables.append(table_of(parts, of_nest, system, "Springs of a nest by themselves"))
    return tables


def due_tables(history: Sequence[SpringHistory], system: System) -> list[Table]:
    """A row for each limit that a spring moves towards; of springs without such a limit how the seat force moves."""
    rows = followed_rows(history)
    if not rows:
        return []
    columns = due_columns(system)
    table = table_of(rows, columns, system, "Trend, and when due")
    return [replace(table, wrap=(len(columns) - 1,))]


FollowedRow = tuple[SpringHistory, SpringTrend, Due | None]
_DAYS = 30.0


def followed_rows(history: Sequence[SpringHistory]) -> list[FollowedRow]:
    """Each limit that a spring moves towards, and of springs without such a limit the seat force."""
    return [
        (one, trend, due)
        for one in history
        for trend in one.trends
        for due in (trend.due or ((None,) if trend.characteristic == "seat_force" else ()))
    ]


def due_columns(system: System) -> list[Column[FollowedRow]]:
    """How a characteristic of a spring moves, towards which limit, and when it is due."""
    return [
        Column("spring", words=lambda row: row[0].spring),
        Column("trend of", words=lambda row: row_of(row[1].characteristic).head),
        Column("stages", words=lambda row: str(row[1].stages)),
        Column("moves by", words=partial(_moves, system=system)),
        Column("limit", words=partial(_limit, system=system)),
        Column("due", words=lambda row: due_ends(row[2])[0]),
        Column("earliest", words=lambda row: due_ends(row[2])[1]),
        Column("latest", words=lambda row: due_ends(row[2])[2]),
        Column("remark", words=_remark),
    ]


def _moves(row: FollowedRow, *, system: System) -> str:
    history, trend, _ = row
    if trend.slope is None:
        return "–"
    times = _DAYS if history.over == "date" else 1.0
    u = trend.slope_standard_uncertainty
    change = with_sign(told(times * trend.slope, trend.unit, system, None if u is None else times * u))
    if history.over == "date":
        return Phrase("{change} in {days} days", change=change, days=f"{_DAYS:g}")
    return Phrase("{change} a stage", change=change)


def _limit(row: FollowedRow, *, system: System) -> str:
    due = row[2]
    if due is None:
        return "–"
    stated = f"{limit(due.limit, 0, due.unit, system)} {display_unit(due.unit, system).label}"
    return Phrase("{what} {limit}", what=Phrase(row_of(due.limit_of).head), limit=stated)


def due_ends(due: Due | None) -> tuple[str, str, str]:
    """When it is due, earliest and latest: dates, or stages counted from the first."""
    if due is None:
        return "–", "–", "–"
    days = (due.due_date, due.earliest_date, due.latest_date)
    stages = (due.due_stage, due.earliest_stage, due.latest_stage)
    counted = (
        "–" if stage is None else Phrase("stage {number}", number=show(stage, "", decimals=1)) for stage in stages
    )
    first, second, third = (day or stage for day, stage in zip(days, counted, strict=True))
    return first, second, third


def _remark(row: FollowedRow) -> str:
    _, trend, due = row
    if due is None:
        return trend.reason or Phrase("no limit is stated")
    if due.extrapolated:
        return due.reason or Phrase("extrapolated")
    return due.reason or Phrase("passed between the stages that were read")


def spring_facts(spring: SpringResult, springs: Sequence[SpringResult], system: System) -> list[Fact]:
    """Everything about one spring, as the tables have it."""
    return facts(facts_columns(springs, system), spring, springs, system)


def facts_columns(springs: Sequence[SpringResult], system: System) -> list[Column[SpringResult]]:
    """What is told of every spring of a tray, to the decimals that it has over all of them."""
    columns = (spring_column(row.name) for row in recorded())
    return _OVER_ALL.of(springs, system, lambda: [column.over(springs, system) for column in columns])


_OVER_ALL: OfTheSame[list[Column[SpringResult]]] = OfTheSame(4)


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
    for key, most in result.within.items():
        known = _BY_KEY[key]
        columns += [
            Column(f"{known.head}, mean", known.unit, partial(_mean, key=key), usual=finer(known.unit)),
            Column("range", known.unit, partial(_range, key=key), usual=finer(known.unit)),
            Column("of limit", "%", partial(_use, key=key, most=most), usual=(0, 0)),
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


def _use(row: tuple[int, SpringSet], *, key: str, most: float) -> float:
    return 100.0 * row[1].spread[key] / most


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
    return in_order(_BY_KEY[key].head, placed=any(one.position for one in result.sets))


def in_order(name: str, *, placed: bool) -> str:
    """By what sets stand in order: the mean of a characteristic, `placed`: by position first."""
    return Phrase(
        "Sets in order of position, then of mean {name}." if placed else "Sets in order of mean {name}.",
        name=whole(name),
    )


def _s(count: int) -> str:
    return "s" * (count != 1)


def limits_told(result: SetsResult, system: System) -> str:
    """The limits of sets in words."""
    parts = []
    for key, most in result.within.items():
        display = display_unit(_BY_KEY[key].unit, system)
        parts.append(f"{_BY_KEY[key].head} {most * display.scale:.4g} {display.label}")
    return ", ".join(parts)


def left_over(names: Sequence[str]) -> str:
    """Springs that nothing took, or nothing."""
    return f"Left over: {', '.join(names)}." if names else ""


def kept_out(excluded: Sequence[ExcludedSpring]) -> str:
    """Springs that the spec rejects, with what for, and those that a person left out, with why; or nothing."""
    rejected = "; ".join(f"{one.spring} ({one.reason})" for one in excluded if not one.by_hand)
    left = "; ".join(f"{one.spring} ({one.reason.removeprefix(LEFT_OUT)})" for one in excluded if one.by_hand)
    told = [f"Rejected by the spec, so not used: {rejected}."] if rejected else []
    return " ".join([*told, f"Left out by hand: {left}."] if left else told)


def taken_in(taken: Sequence[TakenSpring]) -> str:
    """Springs that the spec rejects and a person took in, with what for and why; or nothing."""
    told = "; ".join(f"{one.spring} ({one.rejected_for}): {one.reason}" for one in taken)
    return f"Rejected by the spec and taken in: {told}." if told else ""
