"""Verdicts as a table shows them: ranks, words, the outcome of many, and the columns of the table of verdicts."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from operator import attrgetter
from typing import TYPE_CHECKING

from valvelab.decimals import USUAL, decimals_of, limit, percent
from valvelab.inspection.characteristics import of_unit, printed
from valvelab.language import word
from valvelab.pieces import in_pieces
from valvelab.tables.description import Cell, Column, Mark, Table, table_of
from valvelab.units import System, display_unit, show
from valvelab.very_same import OfTheSame

if TYPE_CHECKING:
    from valvelab.records.batch_result import LotCharacteristic
    from valvelab.records.result import Decision, Result, Verdict

RANKED: tuple[Decision, ...] = ("reject", "undecided", "accept")
"""Decisions, the gravest first."""
WORDS: dict[Decision, str] = {"accept": "accepted", "reject": "rejected", "undecided": "undecided"}
_COUNTS: OfTheSame[dict[Verdict, int]] = OfTheSame(2)
_UNCERTAINTIES: OfTheSame[dict[tuple[str, str], list[float | None]]] = OfTheSame(4)
SIGNS: dict[Decision, str] = {"accept": "✓", "reject": "✗", "undecided": "?"}


def mark_text(decision: Decision) -> str:
    """A decision as sign and word."""
    return f"{SIGNS[decision]} {WORDS[decision]}"


def cell_words(cell: Cell) -> str:
    """What stands in a cell, in words."""
    return mark_text(cell.decision) if isinstance(cell, Mark) else cell


def overall(verdicts: Sequence[Verdict]) -> Decision | None:
    """Rejected as soon as one is, else undecided as soon as one is, else accepted; None where nothing was judged."""
    found = {verdict.decision for verdict in verdicts}
    return next((decision for decision in RANKED if decision in found), None)


def outcome_told(verdicts: Sequence[Verdict]) -> tuple[str, str]:
    """The overall verdict in a word, and a sentence with its counts."""
    decision = overall(verdicts)
    if decision is None:
        return "Nothing judged", "No limit of a spec applied; the certificate states what was measured."
    counts = [(kind, sum(row.decision == kind for row in verdicts)) for kind in RANKED]
    told = ", ".join(f"{count} {WORDS[kind]}" for kind, count in counts if count)
    characteristics = "characteristic" if len(verdicts) == 1 else "characteristics"
    return WORDS[decision].capitalize(), f"Of {len(verdicts)} {characteristics} judged: {told}."


def rank(decision: str | None) -> int:
    """Place in the order of gravity; what was not judged comes last."""
    return RANKED.index(decision) if decision in RANKED else len(RANKED)


def worst_by_item(verdicts: Sequence[Verdict]) -> dict[str, Decision]:
    """The gravest decision on each item."""
    return {row.item: row.decision for row in sorted(verdicts, key=lambda row: -rank(row.decision))}


def judged(row: Verdict | LotCharacteristic, system: System) -> str:
    """What was judged: the characteristic's printed name, and the lift or height it is at."""
    if row.at_mm is None:
        return word(printed(row.characteristic, row.unit))
    at = show(row.at_mm, "mm", system, USUAL["mm"][system == "inch"])
    named = word(printed(row.characteristic, row.unit))
    return word("{name} at {lift} {unit}").format(name=named, lift=at, unit=display_unit("mm", system).label)


def counts(result: Result, system: System) -> dict[Verdict, int]:
    """Decimals of a result's verdicts: those that the characteristic has there over all items, judged or not."""
    return _COUNTS.of(result, system, lambda: _counts(result, system))


def _counts(result: Result, system: System) -> dict[Verdict, int]:
    every = uncertainties(result)
    found = {judged: decimals_of(us, judged[1], system) for judged, us in every.items()}
    return {row: found[row.characteristic, row.unit] for row in result.verdicts}


def uncertainties(result: Result) -> dict[tuple[str, str], list[float | None]]:
    """By characteristic and unit that is judged: the standard uncertainties of it over all items, judged or not."""
    return _UNCERTAINTIES.of(result, None, lambda: _uncertainties(result))


def _uncertainties(result: Result) -> dict[tuple[str, str], list[float | None]]:
    from valvelab.records.result import stated_uncertainties

    judged_us: dict[tuple[str, str], list[float | None]] = {}
    for row in result.verdicts:
        judged_us.setdefault((row.characteristic, row.unit), []).append(row.standard_uncertainty)
    keys = {judged: known.key for judged in judged_us if (known := of_unit(*judged)) is not None}
    stated: dict[str, list[float | None]] = {key: [] for key in keys.values()}
    for us in in_pieces(stated_uncertainties(result)):
        for key in us.keys() & stated.keys():
            stated[key].append(us[key])
    found = {}
    for judged, own in judged_us.items():
        every = stated[keys[judged]] if judged in keys else []
        found[judged] = every if {*own} <= {*every} else own
    return found


def columns(among: Iterable[Result], system: System) -> list[Column[Verdict]]:
    """What a verdict of these results says; those of a result on one characteristic have one count of decimals."""
    return columns_to({row: count for result in among for row, count in counts(result, system).items()}, system)


def columns_to(known: Mapping[Verdict, int], system: System) -> list[Column[Verdict]]:
    """What a verdict says, to its count of decimals."""

    def number(head: str, read: str, tip: str, *, stated: bool = False) -> Column[Verdict]:
        value: Callable[[Verdict], float | None] = attrgetter(read)

        def words(row: Verdict) -> str:
            count = known[row]
            return limit(value(row), count, row.unit, system) if stated else show(value(row), row.unit, system, count)

        return Column(head, value=value, words=words, tip=tip)

    return [
        Column("characteristic", words=lambda row: judged(row, system), tip="What was judged"),
        Column("item", words=lambda row: row.item, tip="Lobe, spring, station or valve"),
        number("measured", "measured", "The value measured"),
        number("u", "standard_uncertainty", "Standard uncertainty"),
        number("lower", "lower", "Lower limit", stated=True),
        number("upper", "upper", "Upper limit", stated=True),
        Column("unit", words=lambda row: display_unit(row.unit, system).label),
        Column("conforms", value=lambda row: row.probability_conforming,
               words=lambda row: percent(row.probability_conforming),
               tip="Probability that the true value lies within the limits"),
        Column("verdict", words=lambda row: Mark(row.decision),
               tip="Accepted, rejected, or undecided within the uncertainty"),
        Column("clause", words=lambda row: row.clause or "", tip="The rule it comes from"),
        Column("why", words=lambda row: row.remark,
               tip="Why it is undecided, where an envelope is left, or what its uncertainty does not hold"),
    ]  # fmt: skip


def verdict_table(
    verdicts: Sequence[Verdict], among: Sequence[Result], system: System, title: str = ""
) -> tuple[Table, tuple[str, ...]]:
    """The table of verdicts of some results, and under it why some are undecided or what their uncertainty lacks."""
    from valvelab.records.result import numbered_reasons

    reasons = numbered_reasons(verdicts)
    *told, why = columns(among, system)
    if reasons:
        told.insert(-1, replace(why, words=lambda row: f"({reasons[row.remark]})" if row.remark else ""))
    table = table_of(verdicts, told, system, title)
    said = tuple(f"({number}) {reason}." for reason, number in reasons.items())
    return replace(table, wrap=(0, len(table.header) - 1)), said
