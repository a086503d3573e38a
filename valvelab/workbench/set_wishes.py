"""What a person decides of a tray before it is matched: springs taken in or left out, kept together or apart, places.

Everything here is a function of what the bay's state keeps for a tray, and becomes fields of the job's part as they
are, so that the search, the paper and the command line are asked the same.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations
from types import MappingProxyType

from valvelab.inspection.springs.sets import PositionWish
from valvelab.inspection.springs.usable import ByHand
from valvelab.language import say
from valvelab.quoting import listed, written

MOST_APART = 2_000
"""Pairs to be kept apart that a part of a job can state."""
MOST_PLACES = 6


@dataclass(frozen=True, slots=True)
class Place:
    """A kind of place in the engine that wants its own set: springs in it, seat force from and to in N, None open."""

    name: str
    size: int
    low_n: float | None = None
    high_n: float | None = None

    def takes(self, seat_force_n: float | None) -> bool:
        """Whether a spring of this seat force may go there."""
        if seat_force_n is None:
            return self.low_n is None and self.high_n is None
        return (self.low_n is None or seat_force_n >= self.low_n) and (
            self.high_n is None or seat_force_n <= self.high_n
        )


@dataclass(frozen=True, slots=True)
class Wishes:
    """All that was decided of one tray.

    take, leave_out: by spring, with the reason. together: groups of one set; apart: pairs of different sets. fixed:
    groups of springs that each stay in their set, whatever else comes into it. places: one set for each, or none.
    """

    take: Mapping[str, str] = field(default_factory=dict)
    leave_out: Mapping[str, str] = field(default_factory=dict)
    together: tuple[tuple[str, ...], ...] = ()
    apart: tuple[tuple[str, str], ...] = ()
    fixed: tuple[tuple[str, ...], ...] = ()
    places: tuple[Place, ...] = ()

    @property
    def asked(self) -> object:
        """What a search depends on: reasons aside, everything."""
        return frozenset(self.take), frozenset(self.leave_out), self.together, self.apart, self.fixed, self.places

    def holding(self, rejected: Collection[str], known: Collection[str]) -> Wishes:
        """Without what the tray gives no cause for: springs taken in that nothing rejects, springs it does not have."""
        return replace(
            self,
            take=MappingProxyType({name: why for name, why in self.take.items() if name in rejected}),
            leave_out=MappingProxyType({name: why for name, why in self.leave_out.items() if name in known}),
            together=_among(self.together, known),
            apart=tuple(pair for pair in self.apart if set(pair) <= set(known)),
            fixed=_among(self.fixed, known, 1),
        )


NONE = Wishes()


def _among(groups: Iterable[tuple[str, ...]], known: Collection[str], least: int = 2) -> tuple[tuple[str, ...], ...]:
    found = (tuple(name for name in group if name in known) for group in groups)
    return tuple(group for group in found if len(group) >= least)


# -- springs taken in and left out ------------------------------------------------------------------------------------


def taken(wishes: Wishes, springs: Iterable[str], reason: str) -> Wishes:
    """With rejected springs taken in for a reason."""
    free = as_judged(wishes, springs := tuple(springs))
    return replace(free, take=MappingProxyType({**free.take, **dict.fromkeys(springs, reason)}))


def left_out(wishes: Wishes, springs: Iterable[str], reason: str) -> Wishes:
    """With springs left out for a reason."""
    free = as_judged(wishes, springs := tuple(springs))
    return replace(free, leave_out=MappingProxyType({**free.leave_out, **dict.fromkeys(springs, reason)}))


def as_judged(wishes: Wishes, springs: Iterable[str]) -> Wishes:
    """With springs neither taken in nor left out by hand."""
    going = set(springs)
    take, leave = (
        MappingProxyType({name: why for name, why in kept.items() if name not in going})
        for kept in (wishes.take, wishes.leave_out)
    )
    return replace(wishes, take=take, leave_out=leave)


# -- springs tied to one another --------------------------------------------------------------------------------------


def tied(wishes: Wishes) -> tuple[tuple[str, ...], ...]:
    """Groups of springs that share a set, those that share a spring joined to one."""
    groups: list[dict[str, None]] = []
    for group in (*wishes.together, *wishes.fixed):
        joined = dict.fromkeys(group)
        for other in [one for one in groups if one.keys() & joined.keys()]:
            groups.remove(other)
            joined = other | joined
        groups.append(joined)
    return tuple(tuple(group) for group in groups if len(group) > 1)


def parted(wishes: Wishes) -> tuple[tuple[str, str], ...]:
    """Pairs that never share a set: those kept apart, and one of each two groups that are fixed in different sets."""
    fixed = ((a[0], b[0]) for a, b in combinations(wishes.fixed, 2))
    return tuple(dict.fromkeys((*wishes.apart, *fixed)))


def kept_together(wishes: Wishes, springs: Sequence[str]) -> Wishes:
    """With springs kept together."""
    return replace(wishes, together=tied(replace(wishes, together=(*wishes.together, tuple(springs)), fixed=())))


def kept_apart(wishes: Wishes, pairs: Iterable[tuple[str, str]]) -> Wishes:
    """With pairs kept apart; each is kept once, in either order."""
    known = {frozenset(pair) for pair in wishes.apart}
    new = [pair for pair in pairs if frozenset(pair) not in known]
    return replace(wishes, apart=(*wishes.apart, *new))


def fixed_in(wishes: Wishes, springs: Sequence[str], one: Sequence[str]) -> Wishes:
    """With springs of the set `one` fixed there, beside those that are fixed there already."""
    here = [group for group in wishes.fixed if set(group) & set(one)]
    others = (group for group in wishes.fixed if group not in here)
    joined = tuple(dict.fromkeys([*(name for group in here for name in group), *springs]))
    freed = [tuple(name for name in group if name not in springs) for group in others]
    return replace(wishes, fixed=(*(group for group in freed if group), joined))


def contradiction(wishes: Wishes) -> str:
    """The sentence that says which springs are asked to be in one set and in two; empty without any."""
    groups = tied(wishes)
    for first, second in parted(wishes):
        if any(first in group and second in group for group in groups):
            return say("{first} and {second} are to share a set and to be kept apart, expected one of the two").format(
                first=first, second=second
            )
    if len(parted(wishes)) > MOST_APART:
        return say("{count} pairs are to be kept apart, expected at most {most}").format(
            count=len(parted(wishes)), most=MOST_APART
        )
    return ""


@dataclass(frozen=True, slots=True)
class Told:
    """One wish in words, the springs that it is about, and the wishes without it."""

    text: str
    springs: tuple[str, ...]
    without: Wishes


def told(wishes: Wishes) -> Iterator[Told]:
    """Every wish, each with what is left when it is undone."""
    for name, why in wishes.take.items():
        yield Told(say("{name} taken in: {why}").format(name=name, why=why), (name,), as_judged(wishes, [name]))
    for name, why in wishes.leave_out.items():
        yield Told(say("{name} left out: {why}").format(name=name, why=why), (name,), as_judged(wishes, [name]))
    for group in wishes.together:
        without = replace(wishes, together=tuple(one for one in wishes.together if one != group))
        yield Told(f"together: {', '.join(group)}", group, without)
    for pair in wishes.apart:
        without = replace(wishes, apart=tuple(one for one in wishes.apart if one != pair))
        yield Told(f"apart: {', '.join(pair)}", pair, without)
    for group in wishes.fixed:
        fixed = tuple(one for one in wishes.fixed if one != group)
        yield Told(say("fixed in one set: {names}").format(names=", ".join(group)), group, replace(wishes, fixed=fixed))


def marks(wishes: Wishes) -> Mapping[str, tuple[str, ...]]:
    """What is wished of each spring, in words beside its name."""
    found: dict[str, list[str]] = {}
    for name in wishes.take:
        found.setdefault(name, []).append(say("taken in"))
    for group in wishes.fixed:
        for name in group:
            found.setdefault(name, []).append(say("fixed here"))
    for group in wishes.together:
        for name in group:
            others = [one for one in group if one != name]
            text = others[0] if len(others) == 1 else f"{len(others)} others"
            found.setdefault(name, []).append(f"with {text}")
    never: dict[str, list[str]] = {}
    for first, second in wishes.apart:
        never.setdefault(first, []).append(second)
        never.setdefault(second, []).append(first)
    for name, others in never.items():
        text = others[0] if len(others) == 1 else f"{len(others)} others"
        found.setdefault(name, []).append(say("never with {text}").format(text=text))
    return {name: tuple(texts) for name, texts in found.items()}


# -- what the search and the paper are asked --------------------------------------------------------------------------


def by_hand(wishes: Wishes) -> ByHand:
    """Which springs are taken in and left out, as the inspection asks."""
    return ByHand(wishes.take, wishes.leave_out)


def positions(wishes: Wishes) -> tuple[PositionWish, ...]:
    """The places, as the search asks."""
    infinite = float("inf")
    return tuple(
        PositionWish(
            one.name,
            one.size,
            {}
            if one.low_n is None and one.high_n is None
            else {
                "seat_force": (
                    -infinite if one.low_n is None else one.low_n,
                    infinite if one.high_n is None else one.high_n,
                )
            },
        )
        for one in wishes.places
    )


def part_fields(wishes: Wishes) -> dict[str, tuple[str, ...]]:
    """The fields of a part that ask all this again."""
    return hand_fields(wishes) | {
        "together": tuple(map(listed, tied(wishes))),
        "apart": tuple(map(listed, parted(wishes))),
        "position": tuple(_place_text(one) for one in wishes.places),
    }


def hand_fields(wishes: Wishes) -> dict[str, tuple[str, ...]]:
    """The fields of a part that say which springs are taken in and left out."""
    return {
        "take": tuple(f"{written(name)}={why}" for name, why in wishes.take.items()),
        "leave_out": tuple(f"{written(name)}={why}" for name, why in wishes.leave_out.items()),
    }


def _place_text(one: Place) -> str:
    text = f"{written(one.name)}: size={one.size}"
    if one.low_n is None and one.high_n is None:
        return text
    ends = ("" if end is None else f"{end!r} N" for end in (one.low_n, one.high_n))
    return f"{text}, seat_force={'..'.join(ends)}"
