"""Springs and shims for measured heights: which goes where, and what that gives."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import field
from math import sqrt

import numpy as np

from valvelab.arrays import BoolArray, FloatArray, IntArray
from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.inspection.springs.analysis import Fit, SpringAnalysis
from valvelab.inspection.springs.inspect import GUIDANCE, SpringsQuestion
from valvelab.inspection.springs.shim_case import Evaluation, FittingPlan, Lock, Possible, ShimCase
from valvelab.inspection.springs.shim_work import Setting
from valvelab.inspection.springs.usable import AS_JUDGED, ByHand, UsableSprings, usable_springs
from valvelab.phrase import Phrase, listed
from valvelab.records.result import Note, info, warning
from valvelab.records.shims_result import BY_HAND, ShimPosition, ShimsResult
from valvelab.records.spring_readings import HeightsTable, ValvePosition
from valvelab.springs.least_work import Chosen, Ways, least_work
from valvelab.springs.shims import ShimPlan, Stack, choose_shims

GUIDANCE_BIND_MM, GUIDANCE_SEAL_MM = 1.5, 1.3
"""Margins of common practice, no source: guidance, never a rule."""
TIE = 1e-9


@frozen
class ShimsQuestion:
    """Springs, measured heights, and what the preamble of the heights asks for.

    only: the springs that may be used (those of a matched set), and `of` what they are; None for all of the file.
    locks: what stays at a position, by position. by_hand: which springs a person takes in or leaves out.
    edited: positions whose lock was decided by hand, where the others stand as found before.
    """

    springs: SpringsQuestion
    heights: HeightsTable
    only: tuple[str, ...] | None = None
    of: str = ""
    locks: Mapping[str, Lock] = field(default_factory=dict)
    by_hand: ByHand = AS_JUDGED
    edited: tuple[str, ...] = ()


@frozen
class ShimsInspection:
    """What was asked of which springs; the case, by which any other plan can be evaluated; the plan; the result."""

    question: ShimsQuestion
    pool: UsableSprings
    case: ShimCase
    plan: FittingPlan
    result: ShimsResult


@frozen
class Solution:
    """The plan found; the least spread and root mean square there can be; whether no plan as good asks for less work.

    least_rms_n: None without a target. proven: None where work was not asked about. sought: whether there was a choice;
    without one nothing is said of the least.
    """

    plan: FittingPlan
    least_spread_n: float | None
    least_rms_n: float | None
    proven: bool | None
    sought: bool = True


def inspect_shims(question: ShimsQuestion) -> ShimsInspection:
    """The spring and shims for each position; CannotEvaluate(NOT_FEASIBLE) says why when there are none."""
    return planned(question, usable_springs(question.springs, question.by_hand))


def planned(question: ShimsQuestion, pool: UsableSprings) -> ShimsInspection:
    """The same for springs that were looked at before: with other locks, or of another set, quickly."""
    springs, notes = _of_the_set(question, pool)
    heights = question.heights
    lift, lift_notes = _lift(pool.fit, heights)
    barred = {one.spring: one.told for one in pool.excluded}
    case = ShimCase(springs, heights, lift, barred)
    try:
        solution = solve(case, question.locks)
    except CannotEvaluate as error:
        raise CannotEvaluate(error.reason, Phrase("{file}: {error}", file=heights.file, error=error)) from None
    found = case.evaluate(solution.plan)
    if found.refusals:
        first = found.refusals[0]
        raise CannotEvaluate(
            Reason.NOT_FEASIBLE,
            Phrase(
                "{file}: position {position}: {reason}",
                file=heights.file,
                position=f"{first.position!r}",
                reason=first.reason,
            ),
        )
    rows = tuple(row for row in found.rows if row is not None)
    notes = [note for note in notes if note.about not in {"installed height", "valve lift"}]
    notes += [*heights.notes, *lift_notes, *_fixed_notes(question, solution), *_notes(case, solution, rows)]
    notes += _work_notes(case, solution, found)
    used = {row.spring for row in rows}
    result = ShimsResult(
        source=tuple(dict.fromkeys((question.springs.table.source, heights.source, *question.springs.other_sources))),
        notes=tuple(dict.fromkeys(notes)),
        positions=rows,
        spread_seat_force_n=found.spread_n or 0.0,
        target_seat_force_n=heights.target_seat_force_n,
        rms_from_target_n=found.rms_from_target_n,
        least_spread_seat_force_n=solution.least_spread_n,
        least_rms_from_target_n=solution.least_rms_n,
        left_over=tuple(spring.name for spring in springs if spring.name not in used),
        excluded=pool.excluded,
        taken_in=pool.taken_in,
        moves=found.moves,
        purchases=found.purchases,
        least_work_proven=solution.proven,
    )
    return ShimsInspection(question, pool, case, solution.plan, result)


def solve(case: ShimCase, locks: Mapping[str, Lock] | None = None) -> Solution:
    """The best plan that keeps the locks; CannotEvaluate(NOT_FEASIBLE) says why when there is none.

    Best is nearest the target, or the least spread. Where the heights say what is fitted now, or how many parts there
    are, plans count as equally good within the standard uncertainty of the forces: their root mean square about the
    target no further than the best together with it, or the least window of forces wider by it. Of those the one that
    buys the fewest parts is taken, then the one that changes the fewest, then the nearest.
    """
    _refuse_unknown_margins(case)
    given = case.given(locks or {})
    if given is not None:
        return Solution(given, None, None, None, sought=False)
    possible = case.ways(locks or {})
    _explain_impossible(case, possible)
    target = case.heights.target_seat_force_n
    best = choose_shims(possible.choice, target)
    chosen = enumerate(zip(best.spring, best.height, strict=True))
    first = FittingPlan(tuple(_easiest(case, possible, number, *at) for number, at in chosen))
    rms = None if target is None else sqrt(float(np.mean((best.seat_force_n - target) ** 2)))
    spread = None if target is not None else best.spread_n
    if not case.work.matters:
        return Solution(first, spread, rms, None)
    plan, proven = _least(case, possible, best, first)
    return Solution(plan, spread, rms, proven)


def _easiest(case: ShimCase, possible: Possible, number: int, spring: int, height: int) -> Setting:
    """Of the stacks that give a height, the one that changes the fewest parts."""
    position, work = case.heights.positions[number], case.work
    stack = min(possible.stacks[number][height], key=lambda one: work.changes(position, one))
    return Setting(position.position, case.springs[spring].name, stack)


def _least(case: ShimCase, possible: Possible, best: ShimPlan, first: FittingPlan) -> tuple[FittingPlan, bool]:
    """Of the plans as good as the best, the one with fewest purchases and least work; whether that is proven."""
    rows = case.evaluate(first).rows
    known = [u for row in rows if row is not None and (u := row.uncertainty["seat_force_n"]) is not None]
    u2 = sum(u**2 for u in known) / len(rows)
    target, choice = case.heights.target_seat_force_n, possible.choice
    if target is None:
        low, high = best.window_n or (0.0, 0.0)
        room = 0.5 * sqrt(u2) + TIE
        error = (choice.force_n - 0.5 * (low + high)) ** 2
        near = choice.allowed & (choice.force_n >= low - room) & (choice.force_n <= high + room)
        most = None
    else:
        error = (choice.force_n - target) ** 2
        most = float(np.sum((best.seat_force_n - target) ** 2)) * (1.0 + TIE) + TIE + len(rows) * u2
        floor = np.where(choice.allowed, error, np.inf).min(axis=(1, 2))
        spare = most - float(floor.sum())
        near = choice.allowed & (error <= (floor + spare)[:, None, None])
    ways, stacks = _ways(case, possible, near, error)
    chosen: Chosen | None = least_work(ways, np.array(list(case.work.counted.values()), dtype=np.int64), most)
    if chosen is None:
        return first, False
    settings = [
        Setting(case.heights.positions[ways.position[row]].position, case.springs[ways.spring[row]].name, stacks[row])
        for row in chosen.rows
    ]
    return FittingPlan(tuple(settings)), chosen.proven


def _ways(case: ShimCase, possible: Possible, near: BoolArray, error: FloatArray) -> tuple[Ways, list[Stack]]:
    """Every near way with its work and parts, and its stack."""
    work = case.work
    names = [spring.name for spring in case.springs]
    found: list[tuple[int, int, float, int, bool]] = []
    uses: list[tuple[int, ...]] = []
    stacks: list[Stack] = []
    for number, position in enumerate(case.heights.positions):
        fresh = [work.new_spring(position, name) for name in names]
        for height in np.flatnonzero(near[number].any(axis=0)):
            kinds = _fewest(
                [(work.changes(position, one), work.uses(one), one) for one in possible.stacks[number][height]]
            )
            for spring in np.flatnonzero(near[number, :, height]):
                for changes, taken, stack in kinds:
                    home = position.spring == names[spring]
                    apart = float(error[number, spring, height])
                    found.append((number, int(spring), apart, changes + fresh[spring], home))
                    uses.append(taken)
                    stacks.append(stack)
    columns = list(zip(*found, strict=True))
    at, spring_of, apart_of, changed, at_home = (np.array(column) for column in columns)
    taken_of: IntArray = np.array(uses, dtype=np.int64).reshape(len(uses), len(work.counted))
    return Ways(at, spring_of, apart_of.astype(np.float64), changed, taken_of, at_home.astype(np.bool_)), stacks


def _fewest(kinds: list[tuple[int, tuple[int, ...], Stack]]) -> list[tuple[int, tuple[int, ...], Stack]]:
    """The stacks of one height that no other one of it beats in work and in every counted size."""
    kept: list[tuple[int, tuple[int, ...], Stack]] = []
    for one in sorted(kinds, key=lambda kind: (kind[0], kind[1])):
        if not any(all(a <= b for a, b in zip(other[1], one[1], strict=True)) for other in kept):
            kept.append(one)
    return kept


def _of_the_set(question: ShimsQuestion, pool: UsableSprings) -> tuple[tuple[SpringAnalysis, ...], list[Note]]:
    """The springs that may be used, and what to say of them; a set with a spring that stays out is refused."""
    notes = list(pool.notes)
    if question.only is None:
        return pool.analyses, notes
    file, of = question.springs.table.file, question.of or Phrase("the set")
    known = {analysis.name for analysis in pool.analyses}
    out = {one.spring: one.told for one in pool.excluded}
    for name in question.only:
        if name in out:
            raise CannotEvaluate(
                Reason.NOT_FEASIBLE,
                Phrase("{file}: {of} holds {name}, {out}", file=file, of=of, name=f"{name!r}", out=out[name]),
            )
        if name not in known:
            raise CannotEvaluate(
                Reason.MISSING_INPUT,
                Phrase(
                    "{file}: {of} holds {name}, which is not among the readings", file=file, of=of, name=f"{name!r}"
                ),
            )
    notes.append(info("springs", Phrase("those of {of} alone: {names}", of=of, names=", ".join(question.only))))
    return tuple(analysis for analysis in pool.analyses if analysis.name in question.only), notes


def _lift(fit: Fit, heights: HeightsTable) -> tuple[float | None, list[Note]]:
    """Valve lift: that of the heights, else of the springs' fit."""
    ours, theirs = heights.valve_lift_mm, fit.valve_lift_mm
    if ours is not None and theirs is not None and abs(ours - theirs) > 1e-9:
        return ours, [
            info(
                "valve lift",
                Phrase(
                    "{ours} mm of {file} is used, not {theirs} mm stated for the springs",
                    ours=f"{ours:g}",
                    file=heights.file,
                    theirs=f"{theirs:g}",
                ),
            )
        ]
    return (theirs if ours is None else ours), []


def _refuse_unknown_margins(case: ShimCase) -> None:
    """Refuse a minimum that nothing can be held against."""
    heights = case.heights
    no_lift = "no valve lift is stated" if case.lift_mm is None else ""
    if heights.minimum_coil_bind_margin_mm is not None:
        solids = [spring.solid_height for spring in case.springs]
        unknown = solids[0].reason if all(solid.value is None for solid in solids) else ""
        if missing := no_lift or unknown:
            raise CannotEvaluate(
                Reason.MISSING_INPUT, Phrase("a minimum coil-bind margin is asked for, but {missing}", missing=missing)
            )
    if heights.minimum_retainer_to_seal_mm is not None:
        silent = [one.position for one in heights.positions if one.retainer_to_seal_mm is None]
        unknown = f"no `retainer to seal` is stated for {', '.join(silent)}" if silent else ""
        if missing := no_lift or unknown:
            raise CannotEvaluate(
                Reason.MISSING_INPUT,
                Phrase("a minimum retainer-to-seal margin is asked for, but {missing}", missing=missing),
            )


def _explain_impossible(case: ShimCase, possible: Possible) -> None:
    """Refuse with the reason when a position has no spring at all."""
    choice = possible.choice
    for position, installed, allowed in zip(case.heights.positions, choice.installed_mm, choice.allowed, strict=True):
        if not allowed.any():
            raise CannotEvaluate(Reason.NOT_FEASIBLE, _reason(case, position, installed[np.isfinite(installed)]))


def _reason(case: ShimCase, position: ValvePosition, installed_mm: FloatArray) -> str:
    if not installed_mm.size:
        least = case.heights.minimum_retainer_to_seal_mm
        return Phrase(
            "position {position} keeps no retainer-to-seal margin of {least} mm with any part in stock",
            position=f"{position.position!r}",
            least=f"{least:g}",
        )
    tallest = float(installed_mm.max())
    margins = [case.coil_bind_margin(spring, tallest) for spring in case.springs]
    best = max((margin for margin in margins if margin is not None), default=None)
    limit = case.heights.minimum_coil_bind_margin_mm or 0.0
    if best is not None and best < limit:
        how = Phrase("even without a shim" if tallest <= position.height_mm + 1e-9 else "however it is stacked")
        return Phrase(
            "position {position} at {tallest} mm leaves a coil-bind margin of {best} mm at most "
            "{how}, below {limit} mm",
            position=f"{position.position!r}",
            tallest=f"{tallest:g}",
            best=f"{best:.2f}",
            how=how,
            limit=f"{limit:g}",
        )
    lows, highs = zip(*(spring.span() for spring in case.springs), strict=True)
    reached = Phrase("from {low} to {high} mm", low=f"{installed_mm.min():g}", high=f"{tallest:g}")
    return Phrase(
        "position {position} can be shimmed {reached}, where no spring was read with margin "
        "enough (the springs were read from {lows} to {highs} mm)",
        position=f"{position.position!r}",
        reached=reached,
        lows=f"{min(lows):g}",
        highs=f"{max(highs):g}",
    )


def _fixed_notes(question: ShimsQuestion, solution: Solution) -> Iterator[Note]:
    """What was decided by hand."""
    by_hand = question.edited or question.locks
    if by_hand:
        told = listed(
            (
                listed((one.position, _setting_told(one)), " ")
                for one in solution.plan.settings
                if one.position in by_hand
            ),
            "; ",
        )
        rest = (
            ""
            if solution.sought or len(by_hand) == len(question.heights.positions)
            else Phrase(", the rest as found before")
        )
        yield info(BY_HAND, Phrase("decided by hand{rest}: {told}", rest=rest, told=told))


def _setting_told(setting: Setting) -> str:
    """A setting in words: `spring Q07, shims 0.5 mm + 0.25 mm`."""
    stack = setting.stack
    shims = listed((f"{size:g} mm" for size in stack.shims_mm), " + ") or Phrase("none")
    others = (
        ("packer {size} mm", stack.packer_mm),
        ("keepers {size} mm", stack.keeper_mm),
        ("retainer {size} mm", stack.retainer_mm),
    )
    return listed(
        [
            Phrase("spring {spring}", spring=setting.spring),
            Phrase("shims {shims}", shims=shims),
            *(Phrase(template, size=f"{size:g}") for template, size in others if size),
        ]
    )


def _notes(case: ShimCase, solution: Solution, rows: tuple[ShimPosition, ...]) -> Iterator[Note]:
    """What is not stated and what that leaves out; what common practice would have."""
    heights = case.heights
    if heights.height_uncertainty_mm is None:
        yield warning(
            "height uncertainty", Phrase("not stated: that of forces and margins leaves the measured heights out")
        )
    if not heights.sizes_mm("shim"):
        yield warning("shims", Phrase("the heights state no shims in stock: none are fitted"))
    if heights.target_seat_force_n is None and solution.sought:
        yield info("target seat force", Phrase("none is stated: the least spread of seat forces was sought"))
    unknown = [spring.name for spring in case.springs if spring.solid_height.value is None]
    if unknown and heights.minimum_coil_bind_margin_mm is not None:
        yield warning("solid_height", Phrase("not used, solid height unknown: {names}", names=", ".join(unknown)))
    elif unknown or case.lift_mm is None:
        yield warning("coil_bind_margin", Phrase("not known for every spring: coil bind was not watched there"))
    under = [
        Phrase("{position} ({what})", position=row.position, what=name)
        for row in rows
        for name, margin, wanted in (
            (Phrase("coil bind"), row.coil_bind_margin_mm, GUIDANCE_BIND_MM),
            (Phrase("retainer to seal"), row.retainer_to_seal_margin_mm, GUIDANCE_SEAL_MM),
        )
        if margin is not None and margin < wanted
    ]
    if under:
        yield info("margins", Phrase("{guidance}; less here: {names}", guidance=GUIDANCE, names=listed(under)))


def _work_notes(case: ShimCase, solution: Solution, found: Evaluation) -> Iterator[Note]:
    """What least work cost in evenness, what has to be bought, and what is not proven."""
    if solution.proven is None:
        return
    least, got = (solution.least_rms_n, found.rms_from_target_n)
    what = Phrase("root mean square about the target")
    if case.heights.target_seat_force_n is None:
        least, got, what = solution.least_spread_n, found.spread_n, Phrase("spread")
    if least is not None and got is not None and got > least + 1e-6:
        yield info(
            "work",
            Phrase(
                "the {what} is {got} N; {least} N is possible with more parts bought or changed: the "
                "difference is within the standard uncertainty of the forces",
                what=what,
                got=f"{got:.2f}",
                least=f"{least:.2f}",
            ),
        )
    if not solution.proven:
        yield warning("work", Phrase("not proven: a plan as good with fewer purchases or changes may exist"))
