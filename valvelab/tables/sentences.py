"""What was decided, in plain sentences: what is wrong, by how much, what may not be done; and the closest calls.

One function makes them of verdicts, `sentences`; paper prints them and a headline may take the first.
"""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Iterable, Iterator, Sequence
from functools import cache

from valvelab.decimals import limit, percent
from valvelab.frozen import frozen
from valvelab.inspection.characteristics import Subject, of_subjects, of_unit
from valvelab.language import marked, spoken, word
from valvelab.records.result import OPEN, Decision, Result, Verdict
from valvelab.tables.verdicts import RANKED, counts, judged, overall, rank
from valvelab.units import System, display_unit, show

USUAL_SIDES = ("too high", "too low", "below", "above")
SIDES = {
    "opening": ("too early", "too late", "within", "within"),
    "closing": ("too late", "too early", "within", "within"),
    "duration": ("too long", "too short", "below", "above"),
    "wear": ("too much", "too little", "below", "above"),
}
NOUNS = {"lobe": "lobe", "spring": "spring", "station": "station", "valve": "valve", "event": "valve"}
"""What an item of a subject is called before its name; items of other subjects are named in full."""
OF_ALL = {
    "lobe": marked("of {all} lobes"), "spring": marked("of {all} springs"), "station": marked("of {all} stations"),
    "valve": marked("of {all} valves"),
}  # fmt: skip
"""How many there are of them."""
ACTS = {
    "lobes": "fit this camshaft", "shaft": "fit this shaft", "texture": "fit this part",
    "springs": "fit the springs named", "sets": "fit the springs named", "shims": "build to this plan",
    "lash": "build to this plan", "phasing": "start this engine", "motion": "run this engine",
    "gauge": "decide on parts with this gauge", "compare": "fit again what is named",
    "liftcheck": "let pass what is named",
}  # fmt: skip
"""What may not be done before an inspection of a use is settled."""
UNTIL: dict[Decision, str] = {
    "reject": "before this is put right, or whoever set the limit has allowed it in writing",
    "undecided": "before what is open is measured well enough, or whoever set the limit has decided",
}
MANY, LISTED = 3, 8
"""Items of one characteristic that have a sentence each, more share one; and how many it names."""
_TABLE = re.compile(r"\[\[(\w+)\]\]")
_KEY = re.compile(r"\b[a-z][a-z0-9]*(?:_[a-z0-9]+)+\b")


def margin(verdict: Verdict, decimals: int, system: System) -> str:
    """How far a value stands from its nearest limit: `0.036 mm below`, `0.065 mm too high`."""
    nearest = verdict.nearest
    if nearest is None:
        return ""
    inside, upper = nearest.inside, nearest.upper
    over_upper, under_lower, below, above = SIDES.get(verdict.characteristic, USUAL_SIDES)
    size = f"{show(abs(inside), verdict.unit, system, decimals)} {display_unit(verdict.unit, system).label}".strip()
    if inside < 0.0:
        return f"{size} {word(over_upper if upper else under_lower)}"
    return f"{size} {word(below if upper else above)}"


def room(verdict: Verdict) -> float:
    """How far inside its limits a value stands, in its unit; below 0 outside, infinite where there is no value."""
    return math.inf if verdict.nearest is None else verdict.nearest.inside


def chance(verdict: Verdict) -> str:
    """How sure it is that the true value conforms: `99.8 % sure to conform`."""
    share = verdict.probability_conforming
    return "" if share is None else word("{share} sure to conform").format(share=percent(share))


def limits_told(verdict: Verdict, decimals: int, system: System) -> str:
    """The limits as they stand in a cell: `6.97 to 7.03`, `≤ 0.025`, `≥ 2`."""
    low, high = (limit(end, decimals, verdict.unit, system) for end in (verdict.lower, verdict.upper))
    if verdict.lower is None or verdict.upper is None:
        return f"≤ {high}" if verdict.upper is not None else f"≥ {low}" if verdict.lower is not None else ""
    return word("{low} to {high}").format(low=low, high=high)


def item_told(verdict: Verdict, result: Result | None) -> str:
    """An item by name: `Exhaust lobe 3E`, `Spring Q23`, `Cylinder 1`."""
    noun = noun_of(verdict, result)
    if noun and verdict.item == "all":
        return word("Every {noun}").format(noun=word(noun))
    kind = _kinds(result).get(verdict.item, "") if noun else ""
    name = spoken(verdict.item)
    told = " ".join(filter(None, (word(" ".join(filter(None, (kind, noun)))), name)))
    return told[:1].upper() + told[1:]


def noun_of(verdict: Verdict, result: Result | None) -> str:
    """What the item of a verdict is; empty where its name says it."""
    row = of_unit(verdict.characteristic, verdict.unit)
    subject = "" if row is None else row.subject
    if subject == "comparison":
        return "lobe" if getattr(result, "kind", "") == "lobes" else "spring"
    return NOUNS.get(subject, "")


def _kinds(result: Result | None) -> dict[str, str]:
    """Whether items are of the intake or the exhaust, where their records say so."""
    rows = (row for key in (() if result is None else result.ITEMS) for row in getattr(result, key, ()))
    return {
        name: kind
        for row in rows
        if (kind := getattr(row, "kind", None)) is not None and (name := getattr(row, "lobe", None)) is not None
    }


@frozen
class Said:
    """A sentence on verdicts of one characteristic, and what they decide."""

    decision: Decision
    text: str


def findings(result: Result, system: System, among: Sequence[Verdict] | None = None) -> list[Said]:
    """What is rejected and what is undecided, a sentence each, the gravest first; many of one kind share one."""
    decimals = counts(result, system)
    verdicts = [row for row in (result.verdicts if among is None else among) if row.decision != "accept"]
    groups: dict[tuple[Decision, str, float | None, bool], list[Verdict]] = {}
    for row in sorted(verdicts, key=lambda row: (rank(row.decision), row.probability_conforming or 0.0)):
        key = (row.decision, row.characteristic, row.at_mm, row.measured is None)
        groups.setdefault(key, []).append(row)
    said = []
    for (decision, *_), rows in groups.items():
        if len(rows) > MANY:
            said.append(Said(decision, _of_many(rows, decimals, result, system)))
        else:
            said += [Said(decision, _of_one(row, decimals[row], result, system)) for row in rows]
    return said


def _of_one(verdict: Verdict, decimals: int, result: Result, system: System) -> str:
    """One verdict that is not accepted."""
    name = judged(verdict, system)
    told = _verb(verdict, decimals, system)
    return f"{item_told(verdict, result)}: {name} {told}."


def _of_many(verdicts: Sequence[Verdict], decimals: dict[Verdict, int], result: Result, system: System) -> str:
    """Verdicts of one decision on one characteristic of many items; the worst first."""
    worst, names = verdicts[0], [row.item for row in verdicts]
    listed = ", ".join(names[:LISTED]) + (f" and {len(names) - LISTED} more" if len(names) > LISTED else "")
    verb = "rejected" if worst.decision == "reject" else "not decided"
    name = judged(worst, system)
    head = f"{name[:1].upper()}{name[1:]} of {len(verdicts)} {noun_of(worst, result) or 'item'}s is {verb}: {listed}"
    if worst.measured is None:
        return f"{head}; {in_print(worst.reason or 'nothing was measured')}."
    told = _verb(worst, decimals[worst], system).removeprefix("is not decided: ")
    return f"{head}; the worst, {worst.item}: {told.removeprefix('is ')}."


def _verb(verdict: Verdict, decimals: int, system: System) -> str:
    """What is said of a value after its name: how far off it is, or why it is open."""
    if verdict.measured is None:
        return f"is not decided: {in_print(verdict.reason or 'nothing was measured').removeprefix(OPEN)}"
    unit = display_unit(verdict.unit, system).label
    value = f"{show(verdict.measured, verdict.unit, system, decimals)} {unit}".strip()
    nearest = verdict.nearest
    if nearest is None:
        return f"{value} is not decided"
    end, inside, upper = nearest
    bound = f"limit {limit(end, decimals, verdict.unit, system)} {unit}".strip()
    clause = f" ({verdict.clause})" if verdict.clause else ""
    if verdict.decision == "reject" and inside < 0.0:
        return f"is {margin(verdict, decimals, system)}: {value}, {bound}{clause}"
    if verdict.decision == "reject":
        return f"is rejected: {value}, {bound}{clause}; {chance(verdict)}"
    side = "below" if upper == (inside >= 0.0) else "above"
    size = f"{show(abs(inside), verdict.unit, system, decimals)} {unit}".strip()
    sure = f"; {chance(verdict)}" if verdict.probability_conforming is not None else f"; {verdict.reason}"
    return f"is not decided: {value} stands {size} {side} the {bound}{clause}, too near for its uncertainty{sure}"


def forbidden(results: Iterable[Result]) -> str:
    """What may not be done, and until when; empty where everything judged is accepted."""
    acts: dict[Decision, dict[str, None]] = {}
    for result in results:
        worst = overall(result.verdicts)
        if worst is not None and worst != "accept":
            acts.setdefault(worst, {})[ACTS.get(result.command, "use what is named")] = None
    known: dict[str, None] = {}
    told = []
    for decision in RANKED[:2]:
        these = [act for act in acts.get(decision, {}) if act not in known]
        known |= dict.fromkeys(these)
        if these:
            told.append(f"Do not {_either(these)} {UNTIL[decision]}.")
    return " ".join(told)


def _either(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"


def sentences(results: Sequence[Result], system: System, most: int | None = None) -> tuple[str, ...]:
    """Everything not accepted in plain sentences, then what may not be done; or that all is within its limits.

    most: how many of the first there are at most, the gravest first; the rest is counted.
    """
    said = sorted((one for result in results for one in findings(result, system)), key=lambda one: rank(one.decision))
    count = sum(len(result.verdicts) for result in results)
    if not said:
        all_of = f"All {count} values judged are within their limits."
        accepted = "The value judged is within its limits." if count == 1 else all_of
        return (accepted,) if count else ()
    shown = said if most is None else said[:most]
    rest = len(said) - len(shown)
    more = (f"And {rest} more; the table of what decides has them all.",) if rest else ()
    return (*(one.text for one in shown), *more, forbidden(results))


def closest(results: Sequence[Result], most: int) -> list[Verdict]:
    """The accepted verdicts nearest their limit, in standard uncertainties; of one characteristic the nearest alone."""
    found: dict[tuple[str, str], Verdict] = {}
    for verdict in sorted(_accepted(results), key=nearness):
        found.setdefault((verdict.characteristic, verdict.unit), verdict)
    return list(found.values())[:most]


def folded(results: Sequence[Result]) -> list[tuple[Verdict, int]]:
    """Accepted verdicts, one a characteristic: that nearest its limit, and how many there are."""
    groups: dict[tuple[str, str, float | None], list[Verdict]] = {}
    for verdict in _accepted(results):
        groups.setdefault((verdict.characteristic, verdict.unit, verdict.at_mm), []).append(verdict)
    return [(min(rows, key=nearness), len(rows)) for rows in groups.values()]


def _accepted(results: Sequence[Result]) -> Iterator[Verdict]:
    return (row for result in results for row in result.verdicts if row.decision == "accept" and room(row) < math.inf)


def nearness(verdict: Verdict) -> tuple[float, float]:
    """How near its limit a value stands: in standard uncertainties where they are known, else as a share of it."""
    inside = room(verdict)
    if verdict.standard_uncertainty:
        return inside / verdict.standard_uncertainty, inside
    ends = [abs(end) for end in (verdict.lower, verdict.upper) if end]
    return 100.0 * inside / max(ends, default=1.0), inside


def in_print(text: str, subjects: Collection[Subject] = ()) -> str:
    """Words of a note as paper has them: characteristics of these subjects by their printed names, no keys."""
    heads = _heads(frozenset(subjects))
    told = _KEY.sub(lambda found: heads.get(found[0]) or found[0].replace("_", " "), _TABLE.sub(r"\1", text))
    return told.replace(" is null", " is not stated")


def about_in_print(text: str, subjects: Collection[Subject]) -> str:
    """What a note is about, as paper has it: `J2, J3 TIR` for `J2, J3 tir`."""
    heads = _heads(frozenset(subjects))
    return " ".join(heads.get(word, in_print(word)) for word in text.split(" "))


@cache
def _heads(subjects: frozenset[Subject]) -> dict[str, str]:
    """Printed names by name and by key in a record."""
    return {name: row.head for row in reversed(of_subjects(subjects)) for name in (row.key, row.name)}
