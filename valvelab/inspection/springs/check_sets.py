"""Sets that a search found earlier, checked instead of looked for again.

A search that the clock ends gives another answer on another day; whether an answer keeps what it claims does not
depend on time: every limit, every number, and bounds that nothing found breaks.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from time import monotonic

import numpy as np

from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.inspection.springs.beside import beside
from valvelab.inspection.springs.sets import Prepared, SetsInspection, SetsQuestion, answer, prepare
from valvelab.phrase import Phrase, listed
from valvelab.records.result import Note, warning
from valvelab.sets.least_spread import EQUAL, LeastSpread
from valvelab.sets.match import MatchedSet, MatchedSets, match
from valvelab.sets.tray import Grouping, Tray, Watch

WITHIN = 1e-9
TRIED_S = 2.0
"""How long sets are looked for that would break a stated bound; none found says nothing."""


@frozen
class StatedSets:
    """What is claimed: position ("" without positions) and springs of each set, the two bounds, what ended it."""

    sets: tuple[tuple[str, tuple[str, ...]], ...]
    bound_sets: int
    bound_total_spread: float
    ended_by_time: bool = False


def check_sets(question: SetsQuestion, stated: StatedSets) -> SetsInspection:
    """The stated sets described anew, with a warning for everything that they do not keep.

    Refuses sets of springs that are not in the tray, or can't be matched.
    """
    ready = prepare(question)
    sets = tuple(_described(ready.tray, position, springs) for position, springs in stated.sets)
    used = {spring for one in sets for spring in one.springs}
    total = sum(float((one.spread / ready.tray.limits).sum()) for one in sets)
    engines = len(sets) // len(ready.tray.asked())
    least = LeastSpread(Grouping(()), total, stated.bound_total_spread)
    matched = MatchedSets(
        sets=sets,
        left_over=tuple(number for number in range(len(ready.tray.names)) if number not in used),
        total_spread=total,
        bound_sets=stated.bound_sets,
        bound_total_spread=stated.bound_total_spread,
        number_proven=engines * len(ready.tray.asked()) == stated.bound_sets,
        spread_proven=least.proven,
        ended=stated.ended_by_time,
    )
    faults = (*_faults(ready, matched), *_broken_bounds(ready.tray, matched))
    found = answer(question, ready, matched)
    return replace(found, result=found.result.model_copy(update={"notes": (*found.result.notes, *faults)}))


def _described(tray: Tray, position: str, springs: Sequence[str]) -> MatchedSet:
    rows = []
    for name in springs:
        if name not in tray.names:
            raise CannotEvaluate(
                Reason.BAD_VALUES,
                Phrase("a set with {name}, which is no spring of the tray with all values", name=f"{name!r}"),
            )
        rows.append(tray.names.index(name))
    if not rows:
        raise CannotEvaluate(Reason.BAD_VALUES, Phrase("a set without springs"))
    return MatchedSet(position, tuple(rows), np.ptp(tray.values[rows], axis=0))


def _faults(ready: Prepared, matched: MatchedSets) -> Iterator[Note]:
    """Limits, sizes, places and conditions that the sets do not keep."""
    tray = ready.tray
    places = {position.name: position for position in tray.asked()}
    counts = Counter(one.position for one in matched.sets)
    if matched.sets and len({counts[name] for name in places}) > 1:
        yield warning("sets", Phrase("not as many sets for each position"))
    for spring, many in Counter(spring for one in matched.sets for spring in one.springs).items():
        if many > 1:
            yield warning(tray.names[spring], Phrase("in {many} places", many=many))
    for number, one in enumerate(matched.sets, start=1):
        place = places.get(one.position)
        values = tray.values[list(one.springs)]
        if (one.spread > tray.limits * (1.0 + WITHIN)).any():
            yield warning(Phrase("set {number}", number=number), Phrase("over a limit"))
        if place is None or len(one.springs) != place.size:
            yield warning(
                Phrase("set {number}", number=number),
                Phrase("{count} springs, another number is asked for", count=len(one.springs)),
            )
        elif (values < place.low).any() or (values > place.high).any():
            yield warning(
                Phrase("set {number}", number=number), Phrase("outside what {name} asks for", name=place.name)
            )
        for text in _conditions(tray, set(one.springs)):
            yield warning(Phrase("set {number}", number=number), text)


def _conditions(tray: Tray, springs: set[int]) -> Iterator[str]:
    """Springs of one set to be kept together or apart that are not."""
    for group in tray.together:
        if springs & set(group) and not set(group) <= springs:
            yield Phrase(
                "parts springs that stay together: {springs}", springs=listed(tray.names[row] for row in group)
            )
    for a, b in tray.apart:
        if {a, b} <= springs:
            yield Phrase("joins {spring} and {other}, which stay apart", spring=tray.names[a], other=tray.names[b])


def _broken_bounds(tray: Tray, matched: MatchedSets) -> Iterator[Note]:
    """Bounds that a short search gets past; a true bound never is, however long one looks."""
    if len(matched.sets) > matched.bound_sets:
        yield warning(
            "sets",
            Phrase(
                "{count} sets, more than the bound of {bound_sets}",
                count=len(matched.sets),
                bound_sets=matched.bound_sets,
            ),
        )
    least = matched.bound_total_spread * (1.0 - EQUAL) - EQUAL
    if matched.total_spread < least:
        yield warning(
            "total_spread",
            Phrase("below the bound of {bound_total_spread}", bound_total_spread=f"{matched.bound_total_spread:g}"),
        )
    end = monotonic() + TRIED_S
    tried = match(tray, Watch(lambda: end - monotonic(), aside=beside))
    if len(tried.sets) > matched.bound_sets:
        yield warning(
            "sets",
            Phrase(
                "{count} sets are possible, more than the bound of {bound_sets}",
                count=len(tried.sets),
                bound_sets=matched.bound_sets,
            ),
        )
    if len(tried.sets) == len(matched.sets) and tried.total_spread < least:
        text = Phrase(
            "{total_spread} is possible, below the bound of {bound_total_spread}",
            total_spread=f"{tried.total_spread:.4f}",
            bound_total_spread=f"{matched.bound_total_spread:.4f}",
        )
        yield warning("total_spread", text)
