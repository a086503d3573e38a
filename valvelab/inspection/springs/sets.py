"""Matched sets from spring readings: characteristics chosen, solved exactly, described."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import field, replace
from math import inf
from time import monotonic

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.errors import CannotEvaluate, Reason, WrongUsage
from valvelab.frozen import frozen
from valvelab.inspection.springs.analysis import SpringAnalysis
from valvelab.inspection.springs.beside import beside
from valvelab.inspection.springs.characteristics import measured, row_of
from valvelab.inspection.springs.inspect import SpringsQuestion
from valvelab.inspection.springs.usable import AS_JUDGED, ByHand, usable_springs
from valvelab.measured import Measured
from valvelab.phrase import Phrase, listed
from valvelab.records.result import Note, info, warning
from valvelab.records.sets_result import SetsResult, SpringSet
from valvelab.records.springs_result import ExcludedSpring, TakenSpring
from valvelab.sets.least_spread import QUICK, THOROUGH, Effort
from valvelab.sets.match import MatchedSet, MatchedSets, match
from valvelab.sets.tray import LARGEST_SET, SMALLEST_SET, Position, Progress, Tray, Watch, tray

MATCHED = ("seat_force", "open_force", "rate", "solid_height", "free_length")
"""Characteristics that sets can be matched by."""
ORDERED_BY = "seat_force"


@frozen
class PositionWish:
    """A kind of place in the engine that wants its own set: `between` bounds characteristics by name."""

    name: str
    size: int
    between: Mapping[str, tuple[float, float]] = field(default_factory=dict)


@frozen
class SetsQuestion:
    """What is asked: readings, set size, the largest range of each characteristic in a set, and conditions by name.

    time_limit_s: ends the search with the best found; without one counted work does. quick: no small tray's spread is
    proven. thorough: go on for the least spread. by_hand: which springs a person takes in or leaves out.
    """

    springs: SpringsQuestion
    size: int
    within: Mapping[str, float]
    together: tuple[tuple[str, ...], ...] = ()
    apart: tuple[tuple[str, str], ...] = ()
    positions: tuple[PositionWish, ...] = ()
    time_limit_s: float = inf
    quick: bool = False
    thorough: bool = False
    by_hand: ByHand = AS_JUDGED


@frozen
class SetsInspection:
    """The tray as it was matched, the working behind the answer, and the result."""

    analyses: tuple[SpringAnalysis, ...]
    tray: Tray
    matched: MatchedSets
    result: SetsResult


def inspect_sets(
    question: SetsQuestion,
    report: Callable[[Progress], None] | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> SetsInspection:
    """The most matched sets, then the tightest. `report` hears of progress; `cancelled` ends it with the best found."""
    ready = prepare(question)
    effort = THOROUGH if question.thorough else QUICK if question.quick else Effort()
    matched = match(ready.tray, watch_of(question, report, cancelled), effort)
    return answer(question, ready, replace(matched, sets=_in_order(question, ready.tray, matched)))


def _in_order(question: SetsQuestion, problem: Tray, matched: MatchedSets) -> tuple[MatchedSet, ...]:
    """By position, then by mean seat force, or the first characteristic asked for."""
    names = tuple(question.within)
    by = names.index(ORDERED_BY) if ORDERED_BY in names else 0
    return tuple(
        sorted(matched.sets, key=lambda one: (one.position, float(problem.values[list(one.springs), by].mean())))
    )


@frozen
class Prepared:
    """A question ready to be matched: each spring in its latest stage, its values, the tray, what has to be said."""

    analyses: tuple[SpringAnalysis, ...]
    table: Mapping[str, Mapping[str, Measured]]
    tray: Tray
    notes: tuple[Note, ...]
    excluded: tuple[ExcludedSpring, ...]
    taken_in: tuple[TakenSpring, ...]


def prepare(question: SetsQuestion) -> Prepared:
    """The tray that a question is about. Refuses a question without limits, sizes out of range, an unusable tray."""
    _check(question)
    pool = usable_springs(question.springs, question.by_hand)
    chosen, notes = pool.analyses, list(pool.notes)
    names = tuple(question.within)
    table = {one.name: {name: measured(one, row_of(name)) for name in names} for one in chosen}
    notes += _left_out(table)
    usable = tuple(name for name, row in table.items() if all(number.value is not None for number in row.values()))
    if not usable:
        raise CannotEvaluate(Reason.MISSING_INPUT, _nothing(question, table))
    notes += _torn(question, usable)
    known = (*table, *(one.spring for one in pool.excluded))
    values = np.array([[table[name][c].value for c in names] for name in usable], dtype=np.float64)
    problem = tray(
        usable,
        values,
        np.array([question.within[c] for c in names], dtype=np.float64),
        question.size,
        tuple(group for names in question.together if len(group := _indices(names, usable, known)) > 1),
        tuple((pair[0], pair[1]) for names in question.apart if len(pair := _indices(names, usable, known)) == 2),
        tuple(_position(wish, names) for wish in question.positions),
    )
    return Prepared(chosen, table, problem, tuple(notes), pool.excluded, pool.taken_in)


def answer(question: SetsQuestion, ready: Prepared, matched: MatchedSets) -> SetsInspection:
    """Matched sets described, with what is proven of them."""
    problem, table = ready.tray, ready.table
    used = {problem.names[i] for one in matched.sets for i in one.springs}
    limits = {row_of(name).key: limit for name, limit in question.within.items()}
    result = SetsResult(
        source=question.springs.sources,
        notes=tuple(dict.fromkeys([*ready.notes, *_proof_notes(matched, question)])),
        size=question.size,
        within=limits,
        sets=tuple(_set(problem, one, limits) for one in matched.sets),
        left_over=tuple(name for name in table if name not in used),
        excluded=ready.excluded,
        taken_in=ready.taken_in,
        total_spread=matched.total_spread,
        proven_optimal=matched.proven_optimal,
        bound_sets=matched.bound_sets,
        number_proven=matched.number_proven,
        spread_proven=matched.spread_proven,
        bound_total_spread=matched.bound_total_spread,
        ended_by_time=matched.ended,
        values={spring: {row_of(c).key: row[c].value for c in row} for spring, row in table.items()},
    )
    return SetsInspection(ready.analyses, ready.tray, matched, result)


def _check(question: SetsQuestion) -> None:
    if not question.within:
        raise WrongUsage('sets: found no --within, expected at least one, such as --within "seat_force=6 N"')
    for name, limit in question.within.items():
        if name not in MATCHED:
            raise WrongUsage(f"--within {name}: expected one of {', '.join(MATCHED)}")
        if limit <= 0.0:
            raise WrongUsage(f"--within {name}: found {limit:g}, expected above 0")
    for size in [question.size, *(wish.size for wish in question.positions)]:
        if not SMALLEST_SET <= size <= LARGEST_SET:
            raise WrongUsage(f"--size: found {size}, expected {SMALLEST_SET} to {LARGEST_SET}")


def watch_of(
    question: SetsQuestion, report: Callable[[Progress], None] | None, cancelled: Callable[[], bool] | None
) -> Watch:
    """What watches a search: the question's time limit from now on, the caller's ways to follow and to stop it."""
    end = monotonic() + question.time_limit_s
    quiet = Watch()
    return Watch(lambda: end - monotonic(), cancelled or quiet.cancelled, report or quiet.report, beside)


def _left_out(table: Mapping[str, Mapping[str, Measured]]) -> Iterator[Note]:
    for spring, row in table.items():
        missing = [
            Phrase("no {what} ({reason})", what=name, reason=number.reason)
            for name, number in row.items()
            if number.value is None
        ]
        if missing:
            yield warning(spring, Phrase("left over: {why}", why=listed(missing, "; ")))


def _torn(question: SetsQuestion, usable: tuple[str, ...]) -> list[Note]:
    """Springs to be kept together of which one can't be matched at all."""
    return [
        warning(", ".join(group), Phrase("not all of them can be matched; the others are matched without them"))
        for group in question.together
        if 0 < len(set(group) & set(usable)) < len(group)
    ]


def _nothing(question: SetsQuestion, table: Mapping[str, Mapping[str, Measured]]) -> str:
    row = next(iter(table.values()))
    name, number = next((name, number) for name, number in row.items() if number.value is None)
    return Phrase(
        "{file}: no spring has a {name}: {reason}", file=question.springs.table.file, name=name, reason=number.reason
    )


def _indices(group: tuple[str, ...], usable: tuple[str, ...], known: tuple[str, ...]) -> tuple[int, ...]:
    for name in group:
        if name not in known:
            raise WrongUsage(f"--together/--apart: there is no spring {name!r}")
    if len(set(group)) < len(group):
        raise WrongUsage(f"--together/--apart: found {', '.join(group)}, expected different springs")
    return tuple(usable.index(name) for name in group if name in usable)


def _position(wish: PositionWish, names: tuple[str, ...]) -> Position:
    for name in wish.between:
        if name not in names:
            raise WrongUsage(f"--position {wish.name}: {name} is not among the characteristics of --within")
    low, high = zip(*(wish.between.get(name, (-inf, inf)) for name in names), strict=True)
    return Position(wish.name, wish.size, np.array(low), np.array(high))


def _proof_notes(matched: MatchedSets, question: SetsQuestion) -> Iterator[Note]:
    many = len(matched.sets)
    if matched.number_proven:
        yield info("sets", Phrase("{many} sets is proven to be the most there can be", many=many))
    else:
        yield warning(
            "sets", Phrase("{many} sets found, {bound_sets} not ruled out", many=many, bound_sets=matched.bound_sets)
        )
    if matched.ended:
        text = Phrase("a time limit or a stop ended the search: without one more sets or tighter ones may be found")
        yield warning("time_limit", text)
    if not many:
        return
    if matched.spread_proven:
        yield info(
            "total_spread",
            Phrase(
                "{total_spread} is proven to be the least for {many} sets",
                total_spread=f"{matched.total_spread:.4f}",
                many=many,
            ),
        )
    else:
        text = Phrase(
            "{spread} is the least found for {many} sets, not proven: nothing below {bound} is possible"
            if question.thorough
            else "{spread} is the least found for {many} sets, not proven: nothing below {bound} is possible; a "
            "thorough search may prove or better it",
            spread=f"{matched.total_spread:.4f}",
            many=many,
            bound=f"{matched.bound_total_spread:.4f}",
        )
        yield warning("total_spread", text)


def _set(problem: Tray, one: MatchedSet, limits: Mapping[str, float]) -> SpringSet:
    names = tuple(problem.names[i] for i in one.springs)
    return spring_set(names, one.position or None, problem.values[list(one.springs)], limits)


def spring_set(
    springs: tuple[str, ...], position: str | None, values: FloatArray, limits: Mapping[str, float]
) -> SpringSet:
    """A set described: `values` (springs, d) in the order of `limits`, each by its key and in its canonical unit."""
    spread = dict(zip(limits, map(float, np.ptp(values, axis=0)), strict=True))
    worst = max(limits, key=lambda key: spread[key] / limits[key])
    return SpringSet(
        springs=springs,
        position=position,
        spread=spread,
        mean=dict(zip(limits, map(float, values.mean(axis=0)), strict=True)),
        worst_share=spread[worst] / limits[worst],
        worst_in=worst,
    )
