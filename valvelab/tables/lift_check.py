"""What the tables of a lift check show: each valve's readings, and the list of the event."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace

from valvelab.decimals import limit
from valvelab.frozen import frozen
from valvelab.phrase import Phrase, listed
from valvelab.records.lift_check import ReadingList
from valvelab.records.lift_check_result import CheckedEvent, CheckedLift, LiftCheckResult
from valvelab.records.result import Verdict
from valvelab.tables.description import Column, Table, named_pairs, table_of, u_of
from valvelab.tables.verdicts import columns_to, counts
from valvelab.units import System, show

ITEM: Column[CheckedLift] = Column("item", words=lambda row: row.item, tip="Car, boat or engine")
ENTRANT: Column[CheckedLift] = Column("entrant", words=lambda row: row.entrant or "")
VALVE: Column[CheckedLift] = Column("valve", words=lambda row: row.valve)
LIFT: Column[CheckedLift] = Column(
    "lift", "mm", lambda row: row.mean_mm, u_of("rule_lift_mm"), with_u=True, tip="Mean open less mean shut"
)
LIFTS: tuple[Column[CheckedLift], ...] = (
    ITEM, ENTRANT, VALVE,
    Column("readings", value=lambda row: len(row.readings_mm) or None, usual=(0, 0), tip="At full lift"),
    Column("mean open", "mm", lambda row: row.open_mean_mm, u_of("rule_lift_mm")),
    Column("mean shut", "mm", lambda row: row.zero_mean_mm, u_of("rule_lift_mm")),
    LIFT,
    Column("scatter", "mm", lambda row: row.repeatability_mm, u_of("rule_lift_mm"),
           tip="Standard deviation of one reading at full lift"),
)  # fmt: skip
EVENTS: tuple[Column[tuple[CheckedLift, CheckedEvent]], ...] = named_pairs(
    replace(ITEM, words=lambda row: row.name),
    (
        Column("at lift", "mm", lambda row: row.at_mm),
        Column("event", words=lambda row: {"opening": "opens", "closing": "closes"}[row.event]),
        Column("readings", value=lambda row: len(row.readings_deg), usual=(0, 0)),
        Column("mean", "deg", lambda row: row.mean_deg, lambda row: row.standard_uncertainty_deg, with_u=True,
               tip="Openings count before their dead centre, closings after it"),
    ),
)  # fmt: skip
_WORDS: dict[ReadingList, str] = {"zero": Phrase("shut"), "open": Phrase("open")}
_AS_READ = (2, 3)
_LISTED = ("characteristic", "measured", "u", "lower", "upper", "unit", "conforms", "verdict")


def lift_check_tables(result: LiftCheckResult, system: System) -> list[Table]:
    """Lift of every valve, and the events read on the wheel."""
    events = [(row, event) for row in result.checks for event in row.events]
    return [
        table_of(result.checks, LIFTS, system, "Lift at the valve"),
        table_of(events, EVENTS, system, "Events at the valve"),
    ]


def event_list(result: LiftCheckResult, system: System, title: str = "") -> Table:
    """All verdicts of an event in the order of its checks, with who entered what; a check without a rule stands too."""
    of_checks = [_of_check(column) for column in (ITEM, ENTRANT, VALVE)]
    return _listed(result.checks, result.verdicts, of_checks, counts(result, system), system, title)


def valve_list(
    rows: Sequence[CheckedLift],
    verdicts: Iterable[Verdict],
    decimals: Mapping[Verdict, int],
    system: System,
    title: str = "",
) -> Table:
    """Verdicts of one car's many valves, the readings of each in a cell."""

    def readings(of: Callable[[Reading], float | None]) -> Callable[[CheckedLift], str]:
        return lambda row: ", ".join(
            as_read(value, system) + (f" ({one.said})" if one.said else "")
            for one in readings_of(row)
            if (value := of(one)) is not None
        )

    shut, opened = readings(lambda one: one.shut_mm), readings(lambda one: one.open_mm)
    of_checks = [_of_check(VALVE), _of_check(Column("shut", words=shut)), _of_check(Column("open", words=opened))]
    table = _listed(rows, verdicts, of_checks, decimals, system, title)
    return replace(table, wrap=(2,))


def _listed(
    rows: Sequence[CheckedLift],
    verdicts: Iterable[Verdict],
    of_checks: Sequence[Column[tuple[CheckedLift, Verdict | None]]],
    decimals: Mapping[Verdict, int],
    system: System,
    title: str,
) -> Table:
    by_item: dict[str, list[Verdict]] = {}
    for verdict in verdicts:
        by_item.setdefault(verdict.item, []).append(verdict)
    none: list[Verdict | None] = [None]
    pairs = [(row, verdict) for row in rows for verdict in by_item.get(row.name) or none]
    every = {column.head: column for column in columns_to(decimals, system)}
    return table_of(pairs, [*of_checks, *(_of_verdict(every[name]) for name in _LISTED)], system, title)


def _of_check(column: Column[CheckedLift]) -> Column[tuple[CheckedLift, Verdict | None]]:
    words = column.words
    assert words is not None
    return Column(column.head, words=lambda pair: words(pair[0]), tip=column.tip)


def _of_verdict(column: Column[Verdict]) -> Column[tuple[CheckedLift, Verdict | None]]:
    words = column.words
    assert words is not None
    value = column.value

    def figure(pair: tuple[CheckedLift, Verdict | None]) -> float | None:
        return None if value is None or pair[1] is None else value(pair[1])

    return Column(
        column.head,
        value=None if value is None else figure,
        words=lambda pair: "" if pair[1] is None else words(pair[1]),
    )


@frozen
class Reading:
    """One row of a valve's readings: its number, shut and open as read, the lift that it gives, and what is said."""

    number: int
    shut_mm: float | None
    open_mm: float | None
    lift_mm: float | None
    said: str


def readings_of(row: CheckedLift) -> list[Reading]:
    """A valve's readings side by side, in the order they were taken."""
    reasons = {
        (out.of, out.reading): listed((_WORDS[out.of], Phrase("set aside: {reason}", reason=out.reason)), " ")
        for out in row.set_aside
    }
    standing = {"open": row.doubtful_readings, "zero": row.doubtful_zero}
    reasons |= {(of, place): listed((_WORDS[of], Phrase("stands off")), " ") for of in _WORDS for place in standing[of]}
    found = []
    for place in range(max(len(row.readings_mm), len(row.zero_mm))):
        shut, read = (values[place] if place < len(values) else None for values in (row.zero_mm, row.readings_mm))
        said = listed((reasons[of, place] for of in _WORDS if (of, place) in reasons), "; ")
        lift = row.lifts_mm[place] if place < len(row.lifts_mm) else None
        found.append(Reading(place + 1, shut, read, lift, said))
    return found


def reading_columns(row: CheckedLift, system: System) -> list[Column[Reading]]:
    """Columns of a valve's readings: as read, the lift that each gives, what is said of it."""

    def read(head: str, of: Callable[[Reading], float | None]) -> Column[Reading]:
        return Column(head, "mm", of, words=lambda one: as_read(of(one), system))

    return [
        Column("no.", words=lambda one: str(one.number)),
        read("shut", lambda one: one.shut_mm),
        read("open", lambda one: one.open_mm),
        Column("lift", "mm", lambda one: one.lift_mm, lambda _one: row.standard_uncertainty_mm),
        Column("said of it", words=lambda one: one.said),
    ]


def car_readings(rows: Sequence[CheckedLift], decimals: int, system: System, title: str = "") -> Table:
    """Each reading of some valves, a row each, with a row of means and the lift after each valve's own.

    decimals: of means and lift.
    """
    shown: list[tuple[CheckedLift, Reading | None]] = [(row, one) for row in rows for one in [*readings_of(row), None]]

    def column(
        head: str,
        read: Callable[[Reading], float | None],
        mean: Callable[[CheckedLift], float | None],
        unit: str = "mm",
    ) -> Column[tuple[CheckedLift, Reading | None]]:
        def words(pair: tuple[CheckedLift, Reading | None]) -> str:
            row, one = pair
            if one is None:
                return show(mean(row), unit, system, decimals)
            return "" if (value := read(one)) is None else as_read(value, system)

        return Column(head, unit, lambda pair: mean(pair[0]), words=words)

    by_card = any(row.correction_mm is not None for row in rows)
    nothing: Callable[[Reading], None] = lambda _one: None  # noqa: E731 - of a single reading there is none
    return table_of(
        shown,
        (
            Column("valve", words=lambda pair: pair[0].valve if pair[1] is None or pair[1].number == 1 else ""),
            Column("reading", words=lambda pair: "mean" if pair[1] is None else str(pair[1].number)),
            column("shut", lambda one: one.shut_mm, lambda row: row.zero_mean_mm),
            column("open", lambda one: one.open_mm, lambda row: row.open_mean_mm),
            *([column("by card", nothing, lambda row: row.correction_mm)] if by_card else ()),
            column("lift", nothing, lambda row: row.mean_mm),
            column("u", nothing, lambda row: row.standard_uncertainty_mm),
            Column("said of it", words=lambda pair: "" if pair[1] is None else pair[1].said),
        ),
        system,
        title,
    )


def lift_told(value: float, decimals: int, system: System, unit: str = "mm") -> str:
    """A figure of a check to its decimals, further where it was stated further."""
    return limit(value, decimals, unit, system)


def as_read(value: float | None, system: System) -> str:
    """A reading as the dial has it."""
    return show(None, "mm") if value is None else limit(value, _AS_READ[system == "inch"], "mm", system)
