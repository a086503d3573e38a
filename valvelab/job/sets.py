"""The matched sets of a job: the most sets of springs, then the tightest."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from valvelab.errors import BadFile, WrongUsage
from valvelab.inspection.characteristics import by_name
from valvelab.inspection.springs.check_sets import StatedSets, check_sets
from valvelab.inspection.springs.given_sets import describe_sets
from valvelab.inspection.springs.sets import MATCHED, PositionWish, SetsInspection, SetsQuestion, inspect_sets
from valvelab.job.springs import by_hand, question_of
from valvelab.job.typed import quantity
from valvelab.job.use import Around, Asked, Told, Use
from valvelab.quoting import cut, names_in
from valvelab.records.parts.springs import SetsPart
from valvelab.records.sets_result import SetsResult
from valvelab.tables.springs import kept_out, left_over, set_tables, statement, taken_in
from valvelab.units import System

if TYPE_CHECKING:  # what draws paper is loaded where paper is asked for
    from valvelab.report.assembly import Part

Sets = Asked[SetsQuestion, SetsInspection]


def inspect(part: SetsPart, around: Around) -> Sets:
    """Match, describe the sets given, or check those that a paper states."""
    question = _question(part, around)
    if part.set:
        given = [_given(text, {wish.name for wish in question.positions}) for text in part.set]
        places = tuple(place for place, _ in given)
        inspection = describe_sets(question, tuple(one for _, one in given), places if any(places) else ())
    elif around.stated is not None:
        inspection = check_sets(question, _stated(around.stated))
    else:
        inspection = inspect_sets(question, around.report)
    return Asked(question, inspection)


def _stated(document: Mapping[str, Any]) -> StatedSets:
    """The sets that a result's JSON claims."""
    try:
        sets = tuple((str(row["position"] or ""), tuple(map(str, row["springs"]))) for row in document["sets"])
        bounds = int(document["bound_sets"]), float(document["bound_total_spread"])
        ended = bool(document.get("ended_by_time", False))
    except (KeyError, TypeError, ValueError):
        raise BadFile("result of sets", "sets", "no sets with their bounds", "what valvelab sets answers") from None
    if not math.isfinite(bounds[1]):
        raise BadFile("result of sets", "bound_total_spread", f"{bounds[1]}", "a number")
    return StatedSets(sets, *bounds, ended)


def _question(part: SetsPart, around: Around) -> SetsQuestion:
    positions = tuple(_position(text) for text in part.position)
    size = part.size if part.size is not None or not positions else sum(wish.size for wish in positions)
    if size is None:
        raise WrongUsage("sets: expected --size N")
    return SetsQuestion(
        springs=question_of(part, around),
        size=size,
        within=dict(_within(text) for text in part.within),
        together=tuple(_names(text, 2) for text in part.together),
        apart=tuple(_two(text) for text in part.apart),
        positions=positions,
        time_limit_s=math.inf if part.time_limit is None else quantity(part.time_limit, "time", "--time-limit"),
        quick=part.quick,
        thorough=part.thorough,
        by_hand=by_hand(part),
    )


def _quantity(name: str, text: str, option: str) -> float:
    characteristic = by_name(name) if name in MATCHED else None
    if characteristic is None:
        raise WrongUsage(f"{option} {name!r}: expected one of {', '.join(MATCHED)}")
    return quantity(text.strip(), characteristic.dimension, f"{option} {name}", "any")


def _within(text: str) -> tuple[str, float]:
    name, equals, value = text.partition("=")
    if not equals:
        raise WrongUsage(f'--within {text!r}: expected NAME=LIMIT, such as "seat_force=6 N"')
    return name.strip(), _quantity(name.strip(), value, "--within")


def _names(text: str, least: int) -> tuple[str, ...]:
    names = names_in(text)
    if len(names) < least:
        raise WrongUsage(f"--together/--apart {text!r}: expected {least} springs or more with commas between")
    return names


def _given(text: str, places: Collection[str]) -> tuple[str, tuple[str, ...]]:
    """A set made by hand, with the position that it is for where one stands before a colon."""
    place, rest = cut(text, ":") or ("", "")
    return (place, _names(rest, 1)) if place in places else ("", _names(text, 1))


def _two(text: str) -> tuple[str, str]:
    names = _names(text, 2)
    if len(names) != 2:
        raise WrongUsage(f"--apart {text!r}: expected two springs")
    return names[0], names[1]


def _position(text: str) -> PositionWish:
    """`intake: size=8, seat_force=240 N..260 N` as a wish."""
    name, rest = cut(text, ":") or ("", "")
    size = None
    between: dict[str, tuple[float, float]] = {}
    for piece in rest.split(",") if rest else []:
        key, _, value = (text_of.strip() for text_of in piece.partition("="))
        if key == "size" and value.isdecimal():
            size = int(value)
            continue
        low, dots, high = value.partition("..")
        if not dots:
            raise WrongUsage(f"--position {text!r}: {piece.strip()!r}, expected NAME=LOW..HIGH")
        ends = [_quantity(key, end, "--position") if end.strip() else None for end in (low, high)]
        between[key] = (-math.inf if ends[0] is None else ends[0], math.inf if ends[1] is None else ends[1])
    if size is None:
        raise WrongUsage(f'--position {text!r}: expected a size, such as "intake: size=8"')
    return PositionWish(name, size, between)


def tables(asked: Sets, system: System) -> Sequence[Told]:
    """What is proven, a row a set, the springs of each, what is left over."""
    result = asked.inspection.result
    decided = [kept_out(result.excluded), taken_in(result.taken_in)]
    return [statement(result), set_tables(result, system), left_over(result.left_over), *decided]


def paper(asked: Sets, system: System) -> Part:
    """The sets' part of a certificate."""
    from valvelab.report.springs_certificate import sets_part

    return sets_part(asked.inspection, asked.question.springs.table, system)


USE = Use(SetsPart, SetsResult, inspect, tables, paper)
