"""Sets that someone made, described instead of matched: what the spread of each is against the limits."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from valvelab.errors import WrongUsage
from valvelab.inspection.springs.characteristics import row_of
from valvelab.inspection.springs.sets import PositionWish, SetsInspection, SetsQuestion, answer, prepare, spring_set
from valvelab.phrase import Phrase
from valvelab.records.result import Note, info, warning
from valvelab.records.sets_result import SpringSet
from valvelab.sets.match import MatchedSets


def describe_sets(
    question: SetsQuestion, given: tuple[tuple[str, ...], ...], places: tuple[str, ...] = ()
) -> SetsInspection:
    """The answer of matching with the sets `given`, each a tuple of springs, in place of matched ones.

    places: of each set the position that it is for, where they are for any. Nothing is proven of it. A set over a
    limit, of another size than asked or outside its position's values is kept, with a warning.
    """
    ready = prepare(question)
    springs = len(ready.tray.names)
    nothing = MatchedSets((), tuple(range(springs)), 0.0, springs // question.size, 0.0, False, False)
    plain = answer(question, ready, nothing)
    table = plain.result.values
    _check(given, table, {one.spring: one.told for one in plain.result.excluded})
    keys = {row_of(name).key: limit for name, limit in question.within.items()}
    named = places or ("",) * len(given)
    made = tuple(_described(one, place, table, keys) for one, place in zip(given, named, strict=True))
    used = {name for one in given for name in one}
    total = sum(one.spread[key] / limit for one in made for key, limit in keys.items())
    about_matching = {"sets", "total_spread"}
    notes = [note for note in plain.result.notes if note.about not in about_matching]
    result = plain.result.model_copy(
        update={
            "notes": (
                *notes,
                info("sets", Phrase("as given, not matched: nothing is proven of them")),
                *_faults(question, made, keys, table),
            ),
            "sets": made,
            "left_over": tuple(name for name in table if name not in used),
            "total_spread": total,
            "proven_optimal": False,
            "bound_sets": len(table) // question.size,
            "number_proven": False,
            "spread_proven": False,
            "bound_total_spread": 0.0,
        }
    )
    return replace(plain, result=result)


def _check(given: tuple[tuple[str, ...], ...], table: dict[str, dict[str, float | None]], out: dict[str, str]) -> None:
    seen: set[str] = set()
    for one in given:
        for name in one:
            if name in out:
                raise WrongUsage(f"--set: {name!r}, {out[name]}; --take takes it in")
            if name not in table:
                raise WrongUsage(f"--set: there is no spring {name!r}")
            if name in seen:
                raise WrongUsage(f"--set: spring {name!r} twice, expected each once")
            seen.add(name)
            missing = next((key for key, value in table[name].items() if value is None), None)
            if missing is not None:
                raise WrongUsage(f"--set: spring {name!r} has no {missing}, by which sets are matched")


def _described(
    one: tuple[str, ...], place: str, table: dict[str, dict[str, float | None]], limits: dict[str, float]
) -> SpringSet:
    values = np.array([[table[name][key] for key in limits] for name in one], dtype=np.float64)
    return spring_set(one, place or None, values, limits)


def _faults(
    question: SetsQuestion,
    made: tuple[SpringSet, ...],
    keys: dict[str, float],
    table: dict[str, dict[str, float | None]],
) -> Iterator[Note]:
    wishes = {wish.name: wish for wish in question.positions}
    for number, one in enumerate(made, start=1):
        over = [key for key, limit in keys.items() if one.spread[key] > limit * (1.0 + 1e-9)]
        if over:
            yield warning(
                Phrase("set {number}", number=number), Phrase("over the limit: {names}", names=", ".join(over))
            )
        wish = wishes.get(one.position or "", PositionWish("", question.size))
        if len(one.springs) != wish.size:
            yield warning(
                Phrase("set {number}", number=number),
                Phrase("{count} springs, {size} are asked for", count=len(one.springs), size=wish.size),
            )
        for name, (low, high) in wish.between.items():
            astray = [spring for spring in one.springs if not low <= (table[spring][row_of(name).key] or 0.0) <= high]
            if astray:
                yield warning(
                    Phrase("set {number}", number=number),
                    Phrase(
                        "outside what {name} asks of {other_name}: {names}",
                        name=wish.name,
                        other_name=name,
                        names=", ".join(astray),
                    ),
                )
