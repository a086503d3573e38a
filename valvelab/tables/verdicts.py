"""Verdicts as a table shows them: ranks, words, the outcome of many, and the columns of the table of verdicts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from valvelab.inspection.characteristics import printed
from valvelab.records.result import Decision, Verdict, numbered_reasons
from valvelab.tables.decimals import figure, limit, percent
from valvelab.tables.description import Column, Mark, Table, table_of
from valvelab.units import System, display_unit, show

RANKED: tuple[Decision, ...] = ("reject", "undecided", "accept")
"""Decisions, the gravest first."""
WORDS: dict[Decision, str] = {"accept": "accepted", "reject": "rejected", "undecided": "undecided"}
SIGNS: dict[Decision, str] = {"accept": "✓", "reject": "✗", "undecided": "?"}


def overall(verdicts: Sequence[Verdict]) -> Decision | None:
    """Rejected as soon as one is, else undecided as soon as one is, else accepted; None where nothing was judged."""
    found = {verdict.decision for verdict in verdicts}
    return next((decision for decision in RANKED if decision in found), None)


def rank(decision: str | None) -> int:
    """Place in the order of gravity; what was not judged comes last."""
    return RANKED.index(decision) if decision in RANKED else len(RANKED)


def worst_by_item(verdicts: Sequence[Verdict]) -> dict[str, Decision]:
    """The gravest decision on each item."""
    return {row.item: row.decision for row in sorted(verdicts, key=lambda row: -rank(row.decision))}


def judged(verdict: Verdict, system: System) -> str:
    """What was judged: the characteristic's printed name, and the lift or height it is at."""
    if verdict.at_mm is None:
        return printed(verdict.characteristic, verdict.unit)
    at = show(verdict.at_mm, "mm", system, 3 if system == "metric" else 4)
    return f"{printed(verdict.characteristic, verdict.unit)} at {at} {display_unit('mm', system).label}"


def columns(system: System, reasons: Mapping[str, int]) -> list[Column[Verdict]]:
    """The columns; `reasons` number the remarks, which stand under the table."""

    def number(read: str) -> Column[Verdict]:
        return Column(read, words=lambda row: limit(getattr(row, read), row.standard_uncertainty, row.unit, system))

    why: Column[Verdict] = Column("why", words=lambda row: f"({reasons[row.remark]})" if row.remark else "")
    return [
        Column("characteristic", words=lambda row: judged(row, system)),
        Column("of", words=lambda row: row.item),
        Column("measured", words=lambda row: figure(row.measured, row.standard_uncertainty, row.unit, system)),
        Column("u", words=lambda row: figure(row.standard_uncertainty, row.standard_uncertainty, row.unit, system)),
        number("lower"),
        number("upper"),
        Column("unit", words=lambda row: display_unit(row.unit, system).label),
        Column("conforms", words=lambda row: percent(row.probability_conforming)),
        Column("verdict", words=lambda row: Mark(row.decision)),
        *([why] if reasons else []),
        Column("clause", words=lambda row: row.clause or ""),
    ]


def verdict_table(verdicts: Sequence[Verdict], system: System, title: str = "") -> tuple[Table, tuple[str, ...]]:
    """The table of verdicts, and under it why some are undecided or what their uncertainty lacks."""
    reasons = numbered_reasons(verdicts)
    made = table_of(verdicts, columns(system, reasons), system, title)
    last = len(made.header) - 1
    table = Table(made.header, made.rows, left=2, title=title, wrap=(0, last), flush_left=(6, *range(8, last + 1)))
    return table, tuple(f"({number}) {reason}." for reason, number in reasons.items())
