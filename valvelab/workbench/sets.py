"""Matched sets as a person edits them: what was asked, who is in which set, and how each set stands to the limits.

Everything here is a function of the bay's state, which undo, redo and recovery keep.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import floor, log10
from statistics import median
from types import MappingProxyType

from valvelab.csv_text import csv_text
from valvelab.decimals import decimals_of
from valvelab.language import say, say_many, say_number
from valvelab.phrase import Phrase
from valvelab.quoting import listed, written
from valvelab.records.sets_result import SetsResult
from valvelab.records.springs_result import SpringResult
from valvelab.tables.springs import finer as finer_than_usual
from valvelab.tables.springs import in_order, number_told, tightness_told
from valvelab.units import Dimension, System, display_unit, show
from valvelab.workbench.fitting import UNTOUCHED, Fitting
from valvelab.workbench.set_wishes import NONE, Place, Wishes, contradiction
from valvelab.workbench.state import BayState, entered, keyed

NAME = "springs"
KEYS = MappingProxyType({
    "seat_force": "seat_force_n", "open_force": "open_force_n", "rate": "rate_n_per_mm",
    "solid_height": "solid_height_mm", "free_length": "free_length_mm",
})  # fmt: skip
"""Characteristics that sets can be matched by, with their key in a result."""
UNITS = MappingProxyType({
    "seat_force": "N", "open_force": "N", "rate": "N/mm", "solid_height": "mm", "free_length": "mm",
})  # fmt: skip
DIMENSIONS: Mapping[str, Dimension] = MappingProxyType({
    "seat_force": "force", "open_force": "force", "rate": "rate", "solid_height": "length", "free_length": "length",
})  # fmt: skip
AT_FIRST = ("seat_force", "rate")
"""Characteristics matched by before anyone chose."""
SHARE_OF_MEDIAN = 0.025
USUAL_SIZE = 16
USUAL_TIME_S = 3600.0
"""Long enough that work ends the search, not time: the answer is then the same on every machine."""
LEFT_OVER = "left over"

Values = Mapping[str, Mapping[str, float | None]]
"""By spring, then by characteristic; by its key in a result the characteristic's standard uncertainty."""


def values_of(springs: Sequence[SpringResult]) -> Values:
    """What springs are matched by, of the rows of a result."""
    return {row.spring: row.uncertainty | {name: getattr(row, key) for name, key in KEYS.items()} for row in springs}


def words(name: str) -> str:
    """A characteristic's name in words."""
    return name.replace("_", " ")


def short(name: str) -> str:
    """A characteristic's name where there is little room."""
    return name.partition("_")[0]


def decimals(name: str, units: System, values: Values) -> int:
    """Decimals of a characteristic of a single spring, as the tables of springs have them."""
    return decimals_of((row.get(KEYS[name]) for row in values.values()), UNITS[name], units)


def finer(name: str, units: System) -> int:
    """Decimals of means, ranges and limits: one more than usual."""
    return finer_than_usual(UNITS[name])[units == "inch"]


@dataclass(frozen=True, slots=True)
class Wish:
    """What is asked of sets: springs in each, the largest range of each characteristic, seconds to look for.

    thorough: go on until the least total spread is proven or the time is up. asked: what was decided of the tray.
    """

    size: int
    within: Mapping[str, float]
    time_limit_s: float = USUAL_TIME_S
    thorough: bool = False
    asked: Wishes = NONE

    def place(self, name: str) -> Place:
        """The place of that name; without one the nameless place that takes any set of the size asked."""
        return next((one for one in self.asked.places if one.name == name), Place("", self.size))

    @property
    def trouble(self) -> str:
        """Why nothing can be matched like this, in a sentence; empty where it can."""
        if not self.within:
            return say("choose at least one characteristic to match by")
        windows = any(one.low_n is not None or one.high_n is not None for one in self.asked.places)
        if windows and "seat_force" not in self.within:
            return say("a place asks for a seat force: match by seat force as well")
        return contradiction(self.asked)


def usual_limit(values: Values, name: str, units: System) -> float:
    """A limit to start from: 2.5 % of the tray's median, round in the unit shown: 1, 1.5, 2, 3, 4, 5, 6 or 8 (ours)."""
    known = [value for row in values.values() if (value := row[name]) is not None and value > 0.0]
    if not known:
        return 1.0
    unit = display_unit(UNITS[name], units)
    wanted = SHARE_OF_MEDIAN * median(known) * unit.scale
    power = 10.0 ** floor(log10(wanted))
    step = max(round_step for round_step in (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0) if round_step <= wanted / power)
    return float(f"{step * power:.6g}") / unit.scale


def wish_of(state: SpringsState, values: Values, positions: int | None, units: System, asked: Wishes = NONE) -> Wish:
    """The wish in the fields; before any was typed a set for the engine's heights, or sixteen springs."""
    size = state.size
    if size is None:
        size = min(32, positions) if positions is not None and positions > 1 else min(USUAL_SIZE, max(2, len(values)))
    within = {
        name: limit_of(state, values, name, units)
        for name in KEYS
        if name in state.matched_by and any(row[name] is not None for row in values.values())
    }
    return Wish(size, within, state.time_limit_s, state.thorough, asked)


def limit_of(state: SpringsState, values: Values, name: str, units: System) -> float:
    """A characteristic's limit in its field, whether it is matched by or not."""
    return state.limits.get(name) or usual_limit(values, name, units)


@dataclass(frozen=True, slots=True)
class Proof:
    """What matching proved, and for which wish."""

    size: int
    within: Mapping[str, float]
    sets: int
    bound_sets: int
    total_spread: float
    bound_total_spread: float
    number_proven: bool
    spread_proven: bool
    asked: Wishes = NONE

    def is_for(self, wish: Wish) -> bool:
        """Whether it answers this wish."""
        same = dict(self.within) == dict(wish.within) and self.asked.asked == wish.asked.asked
        return same and (self.size == wish.size or bool(wish.asked.places))


@dataclass(frozen=True, slots=True)
class Grouping:
    """Springs in sets; a spring in none is left over. `edited` since matching by hand.

    places: of each set the place it is for, where places were asked for.
    """

    sets: tuple[tuple[str, ...], ...] = ()
    proof: Proof | None = None
    edited: bool = False
    places: tuple[str, ...] = ()

    def set_of(self, spring: str) -> int | None:
        """Index of the set a spring is in."""
        return next((number for number, one in enumerate(self.sets) if spring in one), None)

    def place_of(self, number: int) -> str:
        """The place that a set is for, empty where it is for none."""
        return self.places[number] if number < len(self.places) else ""

    def title(self, number: int) -> str:
        """What a set is called: `Set 1`, or `Set 1, intake`."""
        place = self.place_of(number)
        if place:
            return Phrase("Set {number}, {place}", number=number + 1, place=place)
        return Phrase("Set {number}", number=number + 1)

    def filled(self) -> Grouping:
        """Without sets that no spring is in."""
        kept = [(one, self.place_of(number)) for number, one in enumerate(self.sets) if one]
        places = tuple(place for _, place in kept)
        return replace(self, sets=tuple(one for one, _ in kept), places=places if any(places) else ())


@dataclass(frozen=True, slots=True)
class SpringsState(BayState):
    """What is looked at, what is asked of sets, and by SHA-256 of its readings the sets and the wishes of each tray.

    fittings: by SHA-256 of readings and heights.

    page: the list beside the drawings. below: what the page of sets shows below its fields. size: None until one was
    typed. limits: those typed, by characteristic.
    """

    bay = NAME
    spring: str = ""
    page: str = "sets"
    below: str = "sets"
    plots: frozenset[str] = frozenset({"force", "difference", "coils"})
    size: int | None = entered(
        None, "Springs in a set", text="in a set", edit="change the set size", least=2, most=32, merges=True
    )
    time_limit_s: float = entered(
        USUAL_TIME_S,
        "Time limit",
        text="search for",
        edit="change the time limit",
        dimension="time",
        unit="s",
        step=5.0,
        least=1.0,
        most=3600.0,
    )
    thorough: bool = False
    matched_by: frozenset[str] = frozenset(AT_FIRST)
    limits: Mapping[str, float] = keyed()
    groupings: Mapping[str, Grouping] = keyed()
    wishes: Mapping[str, Wishes] = keyed()
    fittings: Mapping[str, Fitting] = keyed()

    @property
    def unsaved(self) -> bool:
        """Springs were put into sets, something was decided of them, or a plan was decided by hand."""
        return (
            any(grouping.sets for grouping in self.groupings.values())
            or any(wishes != NONE for wishes in self.wishes.values())
            or any(fitting != UNTOUCHED for fitting in self.fittings.values())
        )


def grouping_of(state: SpringsState, values: Values, readings: str) -> Grouping:
    """The grouping kept for these readings (their SHA-256), without springs that the tray does not have."""
    kept = state.groupings.get(readings, Grouping())
    if not kept.sets:
        return kept
    return replace(kept, sets=tuple(tuple(name for name in one if name in values) for one in kept.sets)).filled()


def matched(result: SetsResult, asked: Wishes = NONE) -> Grouping:
    """The grouping that matching found, with what it proved of what was `asked`."""
    names = {key: name for name, key in KEYS.items()}
    within = {names[key]: limit for key, limit in result.within.items()}
    proof = Proof(
        result.size,
        within,
        len(result.sets),
        result.bound_sets,
        result.total_spread,
        result.bound_total_spread,
        result.number_proven,
        result.spread_proven,
        asked,
    )
    places = tuple(one.position or "" for one in result.sets)
    return Grouping(tuple(one.springs for one in result.sets), proof, places=places if any(places) else ())


def as_given(grouping: Grouping) -> tuple[str, ...]:
    """The sets as a part of a job states them: `Q01,Q02`, or `intake: Q01,Q02`."""
    places = (grouping.place_of(number) for number in range(len(grouping.sets)))
    return tuple(
        f"{written(place)}: {listed(one)}" if place else listed(one)
        for place, one in zip(places, grouping.sets, strict=True)
    )


def moved(grouping: Grouping, springs: Sequence[str], to: int | None) -> Grouping:
    """Springs put into a set: None takes them out of theirs, one past the last set makes a new one."""
    if all(grouping.set_of(spring) == to for spring in springs):
        return grouping
    going = set(springs)
    sets = [tuple(name for name in one if name not in going) for one in grouping.sets]
    if to is not None:
        while len(sets) <= to:
            sets.append(())
        sets[to] = (*sets[to], *springs)
    places = (*grouping.places, *[""] * (len(sets) - len(grouping.sets))) if grouping.places else ()
    return replace(grouping, sets=tuple(sets), places=places, edited=True).filled()


@dataclass(frozen=True, slots=True)
class Standing:
    """How a set stands to the limits: mean, range, and range over limit of each characteristic that is matched by.

    astray: springs that the set's place does not take.
    """

    springs: tuple[str, ...]
    wanted: int
    mean: Mapping[str, float]
    range: Mapping[str, float]
    use: Mapping[str, float]
    astray: tuple[str, ...] = ()

    @property
    def complete(self) -> bool:
        """Whether it has as many springs as wanted."""
        return len(self.springs) == self.wanted

    @property
    def over(self) -> tuple[str, ...]:
        """Characteristics whose range is beyond the limit."""
        return tuple(name for name, use in self.use.items() if use > 1.0 + 1e-9)

    @property
    def faulty(self) -> bool:
        """Whether it is over a limit, not complete, or has springs that its place does not take."""
        return bool(self.over or self.astray) or not self.complete

    @property
    def worst(self) -> str:
        """The characteristic that uses most of its limit; empty where nothing is known."""
        return max(self.use, key=lambda name: self.use[name], default="")

    @property
    def spread(self) -> float:
        """Σ of range over limit."""
        return sum(self.use.values())


def standing(springs: Sequence[str], values: Values, wish: Wish, place: str = "") -> Standing:
    """How these springs would stand as one set, in a place where it is for one."""
    asked = wish.place(place)
    mean, extent, use = {}, {}, {}
    for name, limit in wish.within.items():
        known = [value for spring in springs if (value := values[spring][name]) is not None]
        if known:
            mean[name] = sum(known) / len(known)
            extent[name] = max(known) - min(known)
            use[name] = extent[name] / limit
    astray = tuple(name for name in springs if not asked.takes(values[name]["seat_force"]))
    return Standing(tuple(springs), asked.size, mean, extent, use, astray)


def standings(grouping: Grouping, values: Values, wish: Wish) -> tuple[Standing, ...]:
    """Every set's standing."""
    return tuple(standing(one, values, wish, grouping.place_of(number)) for number, one in enumerate(grouping.sets))


def left_over(grouping: Grouping, values: Values) -> tuple[str, ...]:
    """Springs in no set, in the tray's order."""
    used = {name for one in grouping.sets for name in one}
    return tuple(name for name in values if name not in used)


def told(one: Standing, wish: Wish, units: System) -> str:
    """A standing in words: `seat force 5.2 of 6.0 N, rate 0.41 of 0.60 N/mm`."""
    parts = []
    for name, extent in one.range.items():
        unit, places = UNITS[name], finer(name, units)
        mark = " ✗" if name in one.over else ""
        parts.append(
            f"{words(name)} {show(extent, unit, units, places)} of "
            f"{wish.within[name] * display_unit(unit, units).scale:.4g} {display_unit(unit, units).label}{mark}"
        )
    return ", ".join(parts)


def order_told(grouping: Grouping, values: Values, wish: Wish) -> str:
    """By what sets stand in order; nothing of one set, or of sets in an order of their own."""
    if len(grouping.sets) < 2 or not wish.within:
        return ""
    name = "seat_force" if "seat_force" in wish.within else next(iter(wish.within))
    all_of = enumerate(standings(grouping, values, wish))
    places = [(grouping.place_of(number), one.mean.get(name, 0.0)) for number, one in all_of]
    if places != sorted(places):
        return ""
    return say(in_order(words(name), placed=bool(grouping.places)))


def kept_out(out: Mapping[str, str]) -> str:
    """What is said of springs that are not used, each with its reason; empty without any."""
    names = ", ".join(f"{name} ({say(why)})" for name, why in out.items())
    return say("not used: {names}").format(names=names) if out else ""


def kept_out_shortly(out: Mapping[str, str]) -> str:
    """The same without the reasons, and of many springs how many."""
    if not out:
        return ""
    many = say_many("{count} spring not used", "{count} springs not used", len(out))
    return say("Not used: {names}").format(names=", ".join(out)) if len(out) <= 6 else many


def verdict_on(grouping: Grouping, values: Values, wish: Wish) -> str:
    """One sentence on the whole grouping: how many sets hold, what matching proved, what moves by hand changed."""
    if not grouping.sets:
        return _none_yet(grouping, values, wish)
    all_of = standings(grouping, values, wish)
    total = sum(one.spread for one in all_of)
    faulty = sum(1 for one in all_of if one.faulty)
    proof = grouping.proof
    text = say("{counted}, {count} left over, total spread {total}").format(
        counted=say_many("{count} set", "{count} sets", len(all_of)),
        count=len(left_over(grouping, values)),
        total=say_number(f"{total:.3f}"),
    )
    if faulty:
        text += say("; {faulty} over a limit or not complete").format(faulty=faulty)
    if astray := sum(len(one.astray) for one in all_of):
        text += say("; {counted} out of place").format(counted=say_many("{count} spring", "{count} springs", astray))
    if proof is None:
        return text
    if not proof.is_for(wish):
        return say("{text}; matched for other limits or wishes").format(text=text)
    if grouping.edited:
        return say("{text}; moved by hand (matched: {counted}, {total_spread})").format(
            text=text,
            counted=say_many("{count} set", "{count} sets", proof.sets),
            total_spread=say_number(f"{proof.total_spread:.3f}"),
        )
    number = number_told(proof.sets, proof.bound_sets, proven=proof.number_proven, placed=bool(grouping.places))
    return f"{text}. {number} {tightness_told(total, proof.bound_total_spread, proven=proof.spread_proven)}"


def _none_yet(grouping: Grouping, values: Values, wish: Wish) -> str:
    proof = grouping.proof
    if proof is None or grouping.edited or not proof.is_for(wish):
        return say("{counted}, not matched yet").format(
            counted=say_many("{count} spring", "{count} springs", len(values))
        )
    if proof.number_proven:
        return say(
            "Not one set of {size} can be made within these limits: widen a limit, or put fewer in a set"
        ).format(size=wish.size)
    return say("No set of {size} found in the time; up to {bound_sets} are not ruled out").format(
        size=wish.size, bound_sets=proof.bound_sets
    )


def as_csv(
    grouping: Grouping, values: Values, wish: Wish, units: System, out: Mapping[str, str] = MappingProxyType({})
) -> str:
    """The sets as a table with a preamble: one row a spring, those left over last; `out` are not used."""
    head = f"# size: {wish.size}\n" if not grouping.places else ""
    if out:
        head += f"# {' '.join(kept_out(out).split())}\n"
    for name, limit in wish.within.items():
        unit = display_unit(UNITS[name], units)
        head += f"# largest range of {words(name)}: {limit * unit.scale:.6g} {unit.label}\n"
    names = [name for name in KEYS if any(row[name] is not None for row in values.values())]
    heads = [f"{words(name)} [{display_unit(UNITS[name], units).label}]" for name in names]
    place = ["place"] if grouping.places else []
    rows: list[list[str]] = [["set", *place, "spring", *heads]]
    groups = [(str(n + 1), grouping.place_of(n), one) for n, one in enumerate(grouping.sets)]
    for title, where, springs in [*groups, (LEFT_OVER, "", left_over(grouping, values))]:
        for spring in springs:
            cells = [_plain(values[spring][name], UNITS[name], units) for name in names]
            rows.append([title, *[where for _ in place], spring, *cells])
    return head + csv_text(rows)


def _plain(value: float | None, unit: str, units: System) -> str:
    return "" if value is None else f"{value * display_unit(unit, units).scale:.6g}"
