"""Springs and shims for measured heights: which goes where, and what that gives."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from math import nan

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.errors import CannotEvaluate, Reason
from valvelab.inspection.springs.analysis import Fit, SpringAnalysis
from valvelab.inspection.springs.inspect import SpringsQuestion
from valvelab.inspection.springs.usable import AS_JUDGED, ByHand, UsableSprings, usable_springs
from valvelab.records.result import Note, info, warning
from valvelab.records.shims_result import ShimPosition, ShimsResult
from valvelab.records.spring_readings import HeightsTable, ValvePosition
from valvelab.springs.shims import ShimChoice, ShimPlan, choose_shims, stacks_of


@dataclass(frozen=True, slots=True)
class ShimsQuestion:
    """Springs, measured heights, and what the preamble of the heights asks for.

    only: the springs that may be used (those of a matched set), and `of` what they are; None for all of the file.
    fixed: the spring that goes to a position, by position. by_hand: which springs a person takes in or
    leaves out.
    """

    springs: SpringsQuestion
    heights: HeightsTable
    only: tuple[str, ...] | None = None
    of: str = ""
    fixed: Mapping[str, str] = field(default_factory=dict)
    by_hand: ByHand = AS_JUDGED


@dataclass(frozen=True, slots=True)
class ShimsInspection:
    """The working behind the plan, and the result."""

    analyses: tuple[SpringAnalysis, ...]
    choice: ShimChoice
    plan: ShimPlan
    result: ShimsResult


def inspect_shims(question: ShimsQuestion) -> ShimsInspection:
    """The spring and shims for each position; CannotEvaluate(NOT_FEASIBLE) says why when there are none."""
    pool = usable_springs(question.springs, question.by_hand)
    springs, notes = _of_the_set(question, pool)
    heights = question.heights
    lift, lift_notes = _lift(pool.fit, heights)
    case = _Case(springs, heights, lift)
    choice = _fixed(question, case.choice(), springs, pool)
    try:
        case.explain_impossible(choice)
        plan = choose_shims(choice, heights.target_seat_force_n)
    except CannotEvaluate as error:
        raise CannotEvaluate(error.reason, f"{heights.file}: {error}") from None
    notes = [note for note in notes if note.about not in {"installed height", "valve lift"}]
    notes += [*heights.notes, *lift_notes, *case.notes()]
    result = ShimsResult(
        source=tuple(dict.fromkeys((question.springs.table.source, heights.source, *question.springs.other_sources))),
        notes=tuple(dict.fromkeys(notes)),
        positions=case.positions(choice, plan),
        spread_seat_force_n=plan.spread_n,
        target_seat_force_n=heights.target_seat_force_n,
        left_over=tuple(spring.name for number, spring in enumerate(springs) if number not in plan.spring),
        excluded=pool.excluded,
        taken_in=pool.taken_in,
    )
    return ShimsInspection(springs, choice, plan, result)


def _of_the_set(question: ShimsQuestion, pool: UsableSprings) -> tuple[tuple[SpringAnalysis, ...], list[Note]]:
    """The springs that may be used, and what to say of them; a set with a spring that stays out is refused."""
    notes = list(pool.notes)
    if question.only is None:
        return pool.analyses, notes
    file, of = question.springs.table.file, question.of or "the set"
    known = {analysis.name for analysis in pool.analyses}
    out = {one.spring: one.told for one in pool.excluded}
    for name in question.only:
        if name in out:
            raise CannotEvaluate(Reason.NOT_FEASIBLE, f"{file}: {of} holds {name!r}, {out[name]}")
        if name not in known:
            raise CannotEvaluate(Reason.MISSING_INPUT, f"{file}: {of} holds {name!r}, which is not among the readings")
    notes.append(info("springs", f"those of {of} alone: {', '.join(question.only)}"))
    return tuple(analysis for analysis in pool.analyses if analysis.name in question.only), notes


def _fixed(
    question: ShimsQuestion, choice: ShimChoice, springs: tuple[SpringAnalysis, ...], pool: UsableSprings
) -> ShimChoice:
    """The choice with each fixed spring at its position and nowhere else; refuses what can't be."""
    names = [analysis.name for analysis in springs]
    places = [position.position for position in question.heights.positions]
    out = {one.spring: one.told for one in pool.excluded}
    allowed = choice.allowed.copy()
    taken: dict[str, str] = {}
    for position, spring in question.fixed.items():
        fixed = f"{spring!r} fixed to {position!r}"
        if position not in places:
            raise CannotEvaluate(Reason.NOT_FEASIBLE, f"{question.heights.file}: {fixed}, a position it does not have")
        if spring not in names:
            why = out.get(spring, "a spring that may not be used here")
            raise CannotEvaluate(Reason.NOT_FEASIBLE, f"{question.springs.table.file}: {fixed}, {why}")
        if spring in taken:
            raise CannotEvaluate(Reason.NOT_FEASIBLE, f"{fixed}, and to {taken[spring]!r} as well: each spring once")
        taken[spring] = position
        row, column = places.index(position), names.index(spring)
        kept = choice.allowed[row, column].copy()
        if not kept.any():
            raise CannotEvaluate(
                Reason.NOT_FEASIBLE, f"{question.heights.file}: {fixed}, where no stack keeps the limits"
            )
        allowed[row], allowed[:, column] = False, False
        allowed[row, column] = kept
    return replace(choice, allowed=allowed)


def _lift(fit: Fit, heights: HeightsTable) -> tuple[float | None, list[Note]]:
    """Valve lift: that of the heights, else of the springs' fit."""
    ours, theirs = heights.valve_lift_mm, fit.valve_lift_mm
    if ours is not None and theirs is not None and abs(ours - theirs) > 1e-9:
        return ours, [
            info("valve lift", f"{ours:g} mm of {heights.file} is used, not {theirs:g} mm stated for the springs")
        ]
    return (theirs if ours is None else ours), []


@dataclass(frozen=True, slots=True)
class _Case:
    """Springs for measured heights; lift_mm: the valve's, None where it is not known."""

    springs: tuple[SpringAnalysis, ...]
    heights: HeightsTable
    lift_mm: float | None

    def margin(self, spring: SpringAnalysis, installed_mm: float) -> float | None:
        """Coil-bind margin at an installed height; None while solid height or lift is unknown."""
        if self.lift_mm is None or spring.solid_height.value is None:
            return None
        return installed_mm - self.lift_mm - spring.solid_height.value

    def force(self, spring: SpringAnalysis, height_mm: float) -> float:
        """Seat force at a height; NaN where the spring may not stand there."""
        limit, margin = self.heights.minimum_coil_bind_margin_mm, self.margin(spring, height_mm)
        kept = margin is not None and margin >= limit - 1e-9 if limit is not None else margin is None or margin >= 0.0
        low, high = spring.span()
        force = spring.plain_force(height_mm) if kept and low - 1e-6 <= height_mm <= high + 1e-6 else None
        return nan if force is None else force

    def choice(self) -> ShimChoice:
        """All ways to fit the springs."""
        stacks = stacks_of(self.heights.shims_mm, self.heights.max_shims)
        bare = np.array([position.height_mm for position in self.heights.positions])
        installed = bare[:, None] - np.array([sum(stack) for stack in stacks])[None, :]
        distinct, place = np.unique(np.round(installed, 9), return_inverse=True)
        found = np.array([[self.force(spring, float(height)) for height in distinct] for spring in self.springs])
        force = np.swapaxes(found[:, place.reshape(installed.shape)], 0, 1)
        return ShimChoice(stacks, installed, np.nan_to_num(force), np.isfinite(force))

    def explain_impossible(self, choice: ShimChoice) -> None:
        """Refuse with the reason when a position has no spring at all."""
        if self.heights.minimum_coil_bind_margin_mm is not None:
            solids = [spring.solid_height for spring in self.springs]
            unknown = solids[0].reason if all(solid.value is None for solid in solids) else ""
            missing = "no valve lift is stated" if self.lift_mm is None else unknown
            if missing:
                text = f"a minimum coil-bind margin is asked for, but {missing}"
                raise CannotEvaluate(Reason.MISSING_INPUT, text)
        for position, installed, allowed in zip(
            self.heights.positions, choice.installed_mm, choice.allowed, strict=True
        ):
            if not allowed.any():
                raise CannotEvaluate(Reason.NOT_FEASIBLE, self._reason(position, installed))

    def _reason(self, position: ValvePosition, installed_mm: FloatArray) -> str:
        margins = [self.margin(spring, position.height_mm) for spring in self.springs]
        best = max((margin for margin in margins if margin is not None), default=None)
        limit = self.heights.minimum_coil_bind_margin_mm or 0.0
        if best is not None and best < limit:
            return (
                f"position {position.position!r} at {position.height_mm:g} mm leaves a coil-bind margin of "
                f"{best:.2f} mm at most even without a shim, below {limit:g} mm"
            )
        lows, highs = zip(*(spring.span() for spring in self.springs), strict=True)
        reached = f"from {installed_mm.min():g} to {installed_mm.max():g} mm"
        return (
            f"position {position.position!r} can be shimmed {reached}, where no spring was read with margin enough "
            f"(the springs were read from {min(lows):g} to {max(highs):g} mm)"
        )

    def notes(self) -> Iterator[Note]:
        """What is not stated, and what that leaves out."""
        if not self.heights.shims_mm:
            yield warning("shims", "the heights state no shims in stock: none are fitted")
        if self.heights.target_seat_force_n is None:
            yield info("target seat force", "none is stated: the least spread of seat forces was sought")
        unknown = [spring.name for spring in self.springs if spring.solid_height.value is None]
        if unknown and self.heights.minimum_coil_bind_margin_mm is not None:
            yield warning("solid_height", f"not used, solid height unknown: {', '.join(unknown)}")
        elif unknown or self.lift_mm is None:
            yield warning("coil_bind_margin", "not known for every spring: coil bind was not watched there")

    def positions(self, choice: ShimChoice, plan: ShimPlan) -> tuple[ShimPosition, ...]:
        """What goes where."""
        rows = []
        for number, position in enumerate(self.heights.positions):
            spring, stack = self.springs[plan.spring[number]], plan.stack[number]
            installed = float(choice.installed_mm[number, stack])
            rows.append(
                ShimPosition(
                    position=position.position,
                    spring=spring.name,
                    shims_mm=choice.stacks[stack],
                    installed_height_mm=installed,
                    seat_force_n=float(plan.seat_force_n[number]),
                    coil_bind_margin_mm=self.margin(spring, installed),
                )
            )
        return tuple(rows)
