"""Springs fitted to a head as a person decides it: of which springs, what is kept, what was edited.

Everything here is a function of the bay's state, which undo, recovery and job files keep.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from valvelab.decimals import decimals_among, decimals_of
from valvelab.inspection.springs.shim_case import SLACK_MM, Effect, Evaluation, FittingPlan
from valvelab.inspection.springs.shim_work import Setting
from valvelab.inspection.springs.shims import GUIDANCE_BIND_MM, GUIDANCE_SEAL_MM
from valvelab.language import say
from valvelab.phrase import Phrase
from valvelab.records.result import Decision
from valvelab.records.shims_result import ShimPosition
from valvelab.records.spring_readings import HeightsTable
from valvelab.units import System, display_unit, show


@dataclass(frozen=True, slots=True)
class Fitting:
    """What was decided of one head and one tray.

    set: the set whose springs are fitted, counted from 0; None for the whole tray. kept: what the search left as it
    was. settings: the whole plan where it was edited, else none; edited: the positions that it was edited at. locked:
    positions that stay as they are when it is solved again.
    """

    set: int | None = None
    kept: tuple[Setting, ...] = ()
    settings: tuple[Setting, ...] = ()
    edited: tuple[str, ...] = ()
    locked: tuple[str, ...] = ()

    @property
    def by_hand(self) -> tuple[str, ...]:
        """Positions that a person decided: edited, or kept while the rest was solved."""
        return tuple(dict.fromkeys([*(one.position for one in self.kept), *self.edited]))


UNTOUCHED = Fitting()


def standing_plan(fitting: Fitting, found: FittingPlan) -> FittingPlan:
    """The plan as it stands: edited, else as it was found."""
    return FittingPlan(fitting.settings) if fitting.settings else found


def edited(fitting: Fitting, plan: FittingPlan, found: FittingPlan) -> Fitting:
    """With another plan by hand."""
    pairs = zip(plan.settings, found.settings, strict=True)
    places = tuple(one.position for one, other in pairs if one != other)
    return replace(fitting, settings=plan.settings if places else (), edited=places)


def lock_turned(fitting: Fitting, position: str) -> Fitting:
    """With a position locked, or no longer."""
    others = tuple(one for one in fitting.locked if one != position)
    return replace(fitting, locked=others if position in fitting.locked else (*others, position))


def to_solve_again(fitting: Fitting, plan: FittingPlan) -> Fitting:
    """With the rest to be found anew around what is locked."""
    kept = tuple(one for one in plan.settings if one.position in fitting.locked)
    return replace(fitting, kept=kept, settings=(), edited=())


def as_found(fitting: Fitting) -> Fitting:
    """Without anything decided by hand."""
    return Fitting(fitting.set)


@dataclass(frozen=True, slots=True)
class Told:
    """What a change would do, in words, and why it can't be done (empty where it can)."""

    text: str
    refused: str


def effect_told(effect: Effect, locked: tuple[str, ...], units: System) -> Told:
    """`spread 3.1 → 2.6 N; 1I: seat force 402.3 → 401.0 N, coil bind margin …`, and what stands in the way."""
    changed = effect.changed
    held = [place for place in changed if place in locked]
    reasons = [say("{place} is locked").format(place=place) for place in held]
    reasons += [f"{one.position}: {say(one.reason)}" for one in effect.after.refusals if one.position in changed]
    words = [*_of_all(effect, units), *(_at(effect, place, units) for place in changed)]
    return Told("; ".join(word for word in words if word), "; ".join(reasons))


def _of_all(effect: Effect, units: System) -> Iterator[str]:
    before, after = effect.before, effect.after
    yield _moved("spread", before.spread_n, after.spread_n, "N", units)
    yield _moved(say("rms about the target"), before.rms_from_target_n, after.rms_from_target_n, "N", units)
    for word, count in ((say("to buy"), _bought), (say("parts that change place"), _moves)):
        then, now = count(before), count(after)
        if then != now:
            yield f"{word} {then} → {now}"


def _bought(evaluation: Evaluation) -> int:
    return sum(one.count for one in evaluation.purchases)


def _moves(evaluation: Evaluation) -> int:
    return len(evaluation.moves or ())


_FIGURES = (
    ("seat force", "seat_force_n", "N"), ("coil bind margin", "coil_bind_margin_mm", "mm"),
    ("retainer to seal", "retainer_to_seal_margin_mm", "mm"),
)  # fmt: skip


def _at(effect: Effect, position: str, units: System) -> str:
    """What changes at one position."""
    number = next(n for n, one in enumerate(effect.after.plan.settings) if one.position == position)
    before, after = effect.before.rows[number], effect.after.rows[number]
    if before is None or after is None:
        return ""
    told = []
    for word, key, unit in _FIGURES:
        places = decimals_among(effect.after.rows, key, unit, units)
        told.append(_moved(word, getattr(before, key), getattr(after, key), unit, units, places))
    return f"{position}: {', '.join(word for word in told if word)}"


def _moved(
    word: str, before: float | None, after: float | None, unit: str, units: System, places: int | None = None
) -> str:
    """A figure before and after; empty where there is none, or where it stays."""
    if before is None or after is None:
        return ""
    decimals = decimals_of((), unit, units) if places is None else places
    texts = [show(value, unit, units, decimals) for value in (before, after)]
    return "" if texts[0] == texts[1] else f"{word} {texts[0]} → {texts[1]} {display_unit(unit, units).label}"


def margin_mark(row: ShimPosition, key: str, heights: HeightsTable) -> tuple[Decision, str] | None:
    """What is to be said of a margin: below the stated minimum, or below common practice; None where it is neither."""
    value = getattr(row, key)
    stated, practice = {
        "coil_bind_margin_mm": (heights.minimum_coil_bind_margin_mm, GUIDANCE_BIND_MM),
        "retainer_to_seal_margin_mm": (heights.minimum_retainer_to_seal_mm, GUIDANCE_SEAL_MM),
    }[key]
    if value is None:
        return None
    if stated is not None and value < stated - SLACK_MM:
        return "reject", say(Phrase("below the stated minimum of {stated} mm", stated=f"{stated:g}"))
    if value < practice:
        told = Phrase(
            "below {practice} mm: common practice, as guidance and never as a limit", practice=f"{practice:g}"
        )
        return "undecided", say(told)
    return None
