"""The answer of an inspection in one line, as the window's headline has it: what to do, or what decides."""

from __future__ import annotations

from collections.abc import Sequence

from valvelab.conformity.decision import TOO_WIDE
from valvelab.frozen import frozen
from valvelab.language import figures, spoken, word
from valvelab.records.lash import LashResult
from valvelab.records.phasing_result import PhasingResult
from valvelab.records.result import Decision, Result, Verdict
from valvelab.tables.engine import degrees, signed
from valvelab.tables.lash import lash_headline
from valvelab.tables.sentences import OF_ALL, chance, closest, item_told, margin, noun_of, room
from valvelab.tables.verdicts import WORDS, counts, judged, overall
from valvelab.units import System, display_unit, show


@frozen
class Headline:
    """A line of words, and the decision that its colour and shape stand for; None where it decides nothing."""

    text: str
    decision: Decision | None


def headline(result: Result, system: System) -> Headline:
    """What a result answers: an adjustment that is wanted first, then the gravest verdict, or the nearest call."""
    wanted = _wanted(result)
    decision = overall(result.verdicts)
    if decision is None or (wanted and decision == "accept"):
        return Headline(wanted or word("Measured; nothing judged"), None)
    told = _accepted(result, system) if decision == "accept" else _not_accepted(result, decision, system)
    return Headline(f"{wanted}. {told}" if wanted else told, decision)


def _wanted(result: Result) -> str:
    """What is to be done by an inspection that answers with that."""
    match result:
        case PhasingResult():
            return adjustment(result)
        case LashResult():
            return lash_headline(result)
        case _:
            return ""


def adjustment(result: PhasingResult) -> str:
    """What the camshaft is to be moved by: `Advance 4 crank deg: 3.02 ± 0.18 wanted`; empty while that is not known.

    The ± is one standard uncertainty.
    """
    value, u, step = (
        result.correction_crank_deg,
        result.uncertainty["correction_crank_deg"],
        result.nearest_adjuster_crank_deg,
    )
    if value is None:
        return ""

    def within(text: str) -> str:
        return text if u is None else f"{text} ± {degrees(u, u)}"

    if step is not None and abs(value - step) >= abs(value):
        told = word("Leave the camshaft as it is: no step comes nearer to {angle} crank deg")
        return told.format(angle=within(signed(value, u)))
    early, size = value > 0.0, within(degrees(abs(value), u))
    if step is None:
        whole = word(
            "Advance the camshaft by {angle} crank deg" if early else "Retard the camshaft by {angle} crank deg"
        )
        return whole.format(angle=size)
    told = word("Advance {step} crank deg: {angle} wanted" if early else "Retard {step} crank deg: {angle} wanted")
    return told.format(step=figures(f"{abs(step):g}"), angle=size)


def _accepted(result: Result, system: System) -> str:
    nearest = next(iter(closest([result], 1)), None)
    count = len(result.verdicts)
    if nearest is None:
        return word("Accepted: all {count} within limits").format(count=count)
    told = f"{item_told(nearest, result)}, {judged(nearest, system)} {_stands(nearest, result, system)}"
    whole = word("Accepted: {told}" if count == 1 else "Accepted: all {count} within limits; nearest: {told}")
    return whole.format(count=count, told=told)


def _not_accepted(result: Result, decision: Decision, system: System) -> str:
    """The gravest of the verdicts that are rejected, or undecided; how many items share it; how many there are."""
    found = [row for row in result.verdicts if row.decision == decision]
    worst = min(found, key=lambda row: (row.measured is None, row.probability_conforming or 0.0))
    told = f"{judged(worst, system)}{':' if worst.measured is None else ''} {_stands(worst, result, system)}"
    noun = noun_of(worst, result)
    alike = _items([row for row in result.verdicts if noun_of(row, result) == noun])
    these = _items([row for row in found if noun_of(row, result) == noun])
    if noun and len(alike) > 1:
        whole = word("{count} {whole} {decided}: {item}, {told}")
        said = len(these)
        head = whole.format(
            count=said,
            whole=word(OF_ALL[noun]).format(all=len(alike)),
            decided=word(WORDS[decision]),
            item=spoken(worst.item),
            told=told,
        )
    else:
        said = 1
        head = f"{word(WORDS[decision].capitalize())}: {item_told(worst, result)}, {told}"
    if len(found) == said:
        return head
    every = word("{head}; {count} verdicts {decided} in all")
    return every.format(head=head, count=len(found), decided=word(WORDS[decision]))


def _stands(verdict: Verdict, result: Result, system: System) -> str:
    """How a value stands to its limit, and how sure that is where the limit alone does not say."""
    if verdict.measured is None:
        return word(verdict.reason or "not measured")
    if verdict.decision == "undecided" and verdict.reason == TOO_WIDE:
        return _too_uncertain(verdict, counts(result, system)[verdict], system)
    told = margin(verdict, counts(result, system)[verdict], system)
    if room(verdict) >= 0.0:
        told = word("{margin} its limit").format(margin=told)
    if verdict.decision == "accept" or (verdict.decision == "reject" and room(verdict) < 0.0):
        return told
    return ", ".join(filter(None, (told, chance(verdict) or word(verdict.reason or ""))))


def _too_uncertain(verdict: Verdict, decimals: int, system: System) -> str:
    """A value that no reading so uncertain could bring within its limits."""
    value, u, low, high = verdict.measured, verdict.standard_uncertainty, verdict.lower, verdict.upper
    assert value is not None
    assert u is not None
    assert low is not None
    assert high is not None
    known, sure, apart = (show(one, verdict.unit, system, decimals) for one in (value, u, high - low))
    unit = display_unit(verdict.unit, system).label
    whole = word("{value} ± {u} {unit}, too uncertain for limits {apart} {unit} apart")
    return whole.format(value=known, u=sure, apart=apart, unit=unit)


def _items(verdicts: Sequence[Verdict]) -> list[str]:
    return list(dict.fromkeys(row.item for row in verdicts))
