"""Springs for measured heights: what fits where, and what any plan for them gives. Nothing is searched for here."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import field, replace
from math import comb, hypot, sqrt
from typing import get_args

import numpy as np

from valvelab.arrays import BoolArray, FloatArray
from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.inspection.springs.analysis import SpringAnalysis
from valvelab.inspection.springs.shim_work import Setting, Work
from valvelab.phrase import Phrase, listed
from valvelab.records.shims_result import PartMove, Purchase, ShimPosition
from valvelab.records.spring_readings import HeightsTable, PartKind, ValvePosition
from valvelab.springs.nest import Element, nest_force_uncertainty, nest_forces
from valvelab.springs.shims import ShimChoice, Stack, stacks_of

MOST_STACKS = 20_000
MOST_WAYS = 30_000_000
SLACK_MM = 1e-9
Options = tuple[list[tuple[float, ...]], list[float | None], list[float | None], list[float | None]]
"""Stacks of shims, packers, keepers and retainers."""


@frozen
class Lock:
    """What stays at a position whatever is planned: its spring, and its parts' sizes by kind (none: an empty tuple)."""

    spring: str | None = None
    parts: Mapping[PartKind, tuple[float, ...]] = field(default_factory=dict)

    @classmethod
    def of(cls, setting: Setting) -> Lock:
        """All of a setting."""
        stack = setting.stack
        sizes: dict[PartKind, tuple[float, ...]] = {
            "shim": stack.shims_mm,
            "packer": _known(stack.packer_mm),
            "keeper": (stack.keeper_mm,),
            "retainer": (stack.retainer_mm,),
        }
        return cls(setting.spring, sizes)

    def setting(self, position: str) -> Setting | None:
        """What stands at its position, where all of that is locked."""
        if self.spring is None or len(self.parts) < len(get_args(PartKind)):
            return None
        packer, keeper, retainer = (next(iter(self.parts[kind]), None) for kind in ("packer", "keeper", "retainer"))
        return Setting(position, self.spring, Stack(self.parts["shim"], packer, keeper or 0.0, retainer or 0.0))


@frozen
class FittingPlan:
    """A setting for each position, in the order of the heights. Changes give another plan."""

    settings: tuple[Setting, ...]

    def at(self, position: str) -> Setting:
        """What goes to a position; KeyError for one that there is not."""
        found = next((one for one in self.settings if one.position == position), None)
        if found is None:
            raise KeyError(position)
        return found

    def with_stack(self, position: str, stack: Stack) -> FittingPlan:
        """The plan with another stack at a position."""
        return self._with({position: replace(self.at(position), stack=stack)})

    def with_spring(self, position: str, spring: str) -> FittingPlan:
        """The plan with another spring at a position; where it stands elsewhere the two change places."""
        here = self.at(position)
        changed = {position: replace(here, spring=spring)}
        other = next((one for one in self.settings if one.spring == spring and one.position != position), None)
        if other is not None:
            changed[other.position] = replace(other, spring=here.spring)
        return self._with(changed)

    def swapped(self, one: str, other: str) -> FittingPlan:
        """The plan with the springs of two positions exchanged; what goes with them stays."""
        return self.with_spring(one, self.at(other).spring)

    def _with(self, changed: Mapping[str, Setting]) -> FittingPlan:
        return FittingPlan(tuple(changed.get(one.position, one) for one in self.settings))


@frozen
class Refusal:
    """Why a plan can't be fitted at a position."""

    position: str
    reason: str


@frozen
class Evaluation:
    """What a plan gives: a row a position (None where its spring gives no force there), refusals, work, purchases.

    spread_n, rms_from_target_n: over the rows there are; None without any, or without a target.
    """

    plan: FittingPlan
    rows: tuple[ShimPosition | None, ...]
    refusals: tuple[Refusal, ...]
    moves: tuple[PartMove, ...] | None
    purchases: tuple[Purchase, ...]
    spread_n: float | None
    rms_from_target_n: float | None


@frozen
class Effect:
    """What a change of a plan does."""

    before: Evaluation
    after: Evaluation

    @property
    def changed(self) -> tuple[str, ...]:
        """Positions at which something else is fitted afterwards."""
        pairs = zip(self.before.plan.settings, self.after.plan.settings, strict=True)
        return tuple(now.position for now, then in pairs if now != then)


@frozen
class ShimCase:
    """Springs for measured heights.

    lift_mm: the valve's, None where it is not known. barred: springs of the readings that may not be used, with why.
    """

    springs: tuple[SpringAnalysis, ...]
    heights: HeightsTable
    lift_mm: float | None
    barred: Mapping[str, str] = field(default_factory=dict)

    @property
    def work(self) -> Work:
        """The parts at hand."""
        return Work.of(self.heights)

    # what a way to fit gives

    def coil_bind_margin(self, spring: SpringAnalysis, installed_mm: float) -> float | None:
        """Coil-bind margin at an installed height; None while solid height or lift is unknown."""
        if self.lift_mm is None or spring.solid_height.value is None:
            return None
        return installed_mm - self.lift_mm - spring.solid_height.value

    def seal_margin(self, position: ValvePosition, stack: Stack) -> float | None:
        """What is left between retainer and seal, valve open; None while distance or lift is unknown."""
        if self.lift_mm is None or position.retainer_to_seal_mm is None:
            return None
        return position.retainer_to_seal_mm + stack.raised_mm(position.fitted) - self.lift_mm

    def seat_forces(self, spring: SpringAnalysis, heights_mm: FloatArray) -> FloatArray:
        """Seat force at installed heights, (m,) in mm to (m,) in N; NaN where the spring may not stand."""
        margin = self.coil_bind_margin(spring, 0.0)
        limit = self.heights.minimum_coil_bind_margin_mm
        low, high = spring.span()
        kept = (heights_mm >= low - 1e-6) & (heights_mm <= high + 1e-6)
        if margin is not None:
            kept &= heights_mm + margin >= (limit or 0.0) - SLACK_MM
        elif limit is not None:
            kept &= False
        return np.where(kept, nest_forces(_elements(spring), heights_mm), np.nan)

    def row(self, position: ValvePosition, spring: SpringAnalysis, stack: Stack) -> ShimPosition | None:
        """What a spring with a stack gives at a position; None where it was not read at that height."""
        installed = stack.installed_mm(position.height_mm, position.fitted)
        seat = spring.plain_force(round(installed, 9))
        if seat is None:
            return None
        opened = None if self.lift_mm is None else round(installed - self.lift_mm, 9)
        force = None if opened is None else spring.plain_force(opened)
        u_height, u_seal = self.heights.height_uncertainty_mm, self.heights.retainer_to_seal_uncertainty_mm
        states = {*self.heights.states, *self.heights.stock}
        bound, seal = self.coil_bind_margin(spring, installed), self.seal_margin(position, stack)
        return ShimPosition(
            position=position.position,
            spring=spring.name,
            shims_mm=stack.shims_mm,
            packer_mm=stack.packer_mm,
            keeper_mm=stack.keeper_mm if "keeper" in states else None,
            retainer_mm=stack.retainer_mm if "retainer" in states else None,
            installed_height_mm=installed,
            seat_force_n=seat,
            open_force_n=force,
            coil_bind_margin_mm=bound,
            retainer_to_seal_margin_mm=seal,
            uncertainty={
                "installed_height_mm": u_height,
                "seat_force_n": self._force_u(spring, round(installed, 9)),
                "open_force_n": None if force is None or opened is None else self._force_u(spring, opened),
                "coil_bind_margin_mm": None if bound is None else _together(u_height, spring.solid_height.u),
                "retainer_to_seal_margin_mm": None if seal is None else u_seal,
            },
        )

    def _force_u(self, spring: SpringAnalysis, height_mm: float) -> float | None:
        """Standard uncertainty of a force there: the spring's own, and that of the measured height through its rate."""
        stated = spring.fit.stated
        wider = replace(stated, height_mm=_together(stated.height_mm, self.heights.height_uncertainty_mm))
        return nest_force_uncertainty(_elements(spring), height_mm, wider)

    # what may be fitted

    def stacks(self, position: ValvePosition, lock: Lock) -> list[Stack]:
        """Every stack that may go to a position, and keeps the distance to its seal."""
        options = self.options(position, lock)
        count = int(np.prod([len(one) for one in options]))
        _refuse_many(count)
        shim_stacks, packers, keepers, retainers = options
        every = (
            Stack(tuple(shim), packer, keeper or 0.0, retainer or 0.0)
            for keeper in keepers
            for retainer in retainers
            for packer in packers
            for shim in shim_stacks
        )
        limit = self.heights.minimum_retainer_to_seal_mm
        if limit is None:
            return list(every)
        return [one for one in every if (self.seal_margin(position, one) or 0.0) >= limit - SLACK_MM]

    def options(self, position: ValvePosition, lock: Lock) -> Options:
        """What may go to a position, part by part."""
        sizes, fitted = self.heights.sizes_mm, position.fitted
        return (
            [lock.parts["shim"]] if "shim" in lock.parts else self._shim_stacks(position),
            _optional(lock, "packer", (None, fitted.packer_mm, *sizes("packer"))),
            _optional(lock, "keeper", (fitted.keeper_mm, *sizes("keeper"))),
            _optional(lock, "retainer", (fitted.retainer_mm, *sizes("retainer"))),
        )

    def _shim_stacks(self, position: ValvePosition) -> list[tuple[float, ...]]:
        sizes, most = self.heights.sizes_mm("shim"), self.heights.max_shims
        _refuse_many(comb(len(sizes) + most, most))
        return list(dict.fromkeys([*stacks_of(sizes, most, every=self.work.matters), position.fitted.shims_mm]))

    def ways(self, locks: Mapping[str, Lock]) -> Possible:
        """All ways to fit the springs where the locks leave a choice; refuses a lock that can't be."""
        self._refuse_unknown(locks)
        by_height: list[dict[float, list[Stack]]] = []
        for position in self.heights.positions:
            at: dict[float, list[Stack]] = {}
            for stack in self.stacks(position, locks.get(position.position, Lock())):
                installed = round(stack.installed_mm(position.height_mm, position.fitted), 9)
                at.setdefault(installed, []).append(stack)
            by_height.append(at)
        most = max((len(at) for at in by_height), default=0) or 1
        if most * len(by_height) * len(self.springs) > MOST_WAYS:
            found = Phrase(
                "found {most} heights for {count} positions and {springs} springs",
                most=most,
                count=len(by_height),
                springs=len(self.springs),
            )
            raise CannotEvaluate(
                Reason.NOT_FEASIBLE, Phrase("{found}, expected fewer sizes in stock or fewer springs", found=found)
            )
        installed_mm = np.full((len(by_height), most), np.nan)
        for number, at in enumerate(by_height):
            installed_mm[number, : len(at)] = sorted(at)
        force = self._forces(installed_mm)
        allowed = np.isfinite(force)
        self._lock_springs(locks, allowed)
        choice = ShimChoice(installed_mm, np.nan_to_num(force), allowed)
        return Possible(choice, tuple(tuple(at[height] for height in sorted(at)) for at in by_height))

    def given(self, locks: Mapping[str, Lock]) -> FittingPlan | None:
        """The plan that the locks leave no choice in; None where they leave one. Refuses a lock that can't be."""
        self._refuse_unknown(locks)
        places = [position.position for position in self.heights.positions]
        settings = [locks.get(place, Lock()).setting(place) for place in places]
        known = tuple(one for one in settings if one is not None)
        return FittingPlan(known) if len(known) == len(places) else None

    def _forces(self, installed_mm: FloatArray) -> FloatArray:
        """Seat forces (positions, springs, m) at heights (positions, m); NaN where a spring may not stand."""
        known = np.isfinite(installed_mm)
        distinct, place = np.unique(installed_mm[known], return_inverse=True)
        force = np.full((installed_mm.shape[0], len(self.springs), installed_mm.shape[1]), np.nan)
        for number, spring in enumerate(self.springs):
            at_heights = np.full(installed_mm.shape, np.nan)
            at_heights[known] = self.seat_forces(spring, distinct)[place]
            force[:, number] = at_heights
        return force

    def _refuse_unknown(self, locks: Mapping[str, Lock]) -> None:
        places = {position.position for position in self.heights.positions}
        names = {spring.name for spring in self.springs}
        taken: dict[str, str] = {}
        for position, lock in locks.items():
            fixed = (
                Phrase("{spring} fixed to {position}", spring=f"{lock.spring!r}", position=f"{position!r}")
                if lock.spring
                else Phrase("parts fixed to {position}", position=f"{position!r}")
            )
            if position not in places:
                raise CannotEvaluate(Reason.NOT_FEASIBLE, Phrase("{fixed}, a position it does not have", fixed=fixed))
            if lock.spring is None:
                continue
            if lock.spring not in names:
                why = self.barred.get(lock.spring) or Phrase("a spring that may not be used here")
                raise CannotEvaluate(Reason.NOT_FEASIBLE, Phrase("{fixed}, {why}", fixed=fixed, why=why))
            if lock.spring in taken:
                raise CannotEvaluate(
                    Reason.NOT_FEASIBLE,
                    Phrase(
                        "{fixed}, and to {taken} as well: each spring once",
                        fixed=fixed,
                        taken=f"{taken[lock.spring]!r}",
                    ),
                )
            taken[lock.spring] = position

    def _lock_springs(self, locks: Mapping[str, Lock], allowed: BoolArray) -> None:
        """Leave each locked spring its position alone, and its position that spring alone."""
        names = [spring.name for spring in self.springs]
        for number, position in enumerate(self.heights.positions):
            lock = locks.get(position.position)
            if lock is None or lock.spring is None:
                continue
            column = names.index(lock.spring)
            kept = allowed[number, column].copy()
            if not kept.any():
                fixed = Phrase(
                    "{spring} fixed to {position}", spring=f"{lock.spring!r}", position=f"{position.position!r}"
                )
                raise CannotEvaluate(
                    Reason.NOT_FEASIBLE, Phrase("{fixed}, where no stack keeps the limits", fixed=fixed)
                )
            allowed[number], allowed[:, column] = False, False
            allowed[number, column] = kept

    # what a plan gives

    def evaluate(self, plan: FittingPlan) -> Evaluation:
        """What a plan gives, whether or not it can be fitted."""
        springs = {spring.name: spring for spring in self.springs}
        pairs = list(zip(self.heights.positions, plan.settings, strict=True))
        rows = tuple(
            self.row(position, springs[one.spring], one.stack) if one.spring in springs else None
            for position, one in pairs
        )
        forces = np.array([row.seat_force_n for row in rows if row is not None])
        target = self.heights.target_seat_force_n
        rms = None if target is None or not forces.size else sqrt(float(np.mean((forces - target) ** 2)))
        refusals = tuple(
            Refusal(position.position, reason)
            for (position, one), row in zip(pairs, rows, strict=True)
            for reason in self._refused(position, one, row, plan.settings)
        )
        work = self.work
        return Evaluation(
            plan,
            rows,
            refusals,
            work.moves(plan.settings),
            work.purchases(plan.settings),
            float(np.ptp(forces)) if forces.size else None,
            rms,
        )

    def effect(self, before: FittingPlan, after: FittingPlan) -> Effect:
        """What a plan gives before and after a change."""
        return Effect(self.evaluate(before), self.evaluate(after))

    def _refused(
        self, position: ValvePosition, one: Setting, row: ShimPosition | None, settings: Sequence[Setting]
    ) -> Iterator[str]:
        """Why a setting can't be fitted."""
        spring = next((known for known in self.springs if known.name == one.spring), None)
        if spring is None:
            why = self.barred.get(one.spring) or Phrase("a spring that may not be used here")
            yield Phrase("{spring}, {why}", spring=f"{one.spring!r}", why=why)
        others = [other.position for other in settings if other.spring == one.spring and other is not one]
        if others:
            yield Phrase("{spring} stands at {others} as well", spring=f"{one.spring!r}", others=listed(others))
        yield from self._out_of_stock(position, one.stack)
        if len(one.stack.shims_mm) > self.heights.max_shims and one.stack.shims_mm != position.fitted.shims_mm:
            yield Phrase("{count} shims, at most {most}", count=len(one.stack.shims_mm), most=self.heights.max_shims)
        if spring is not None and row is None:
            low, high = spring.span()
            installed = one.stack.installed_mm(position.height_mm, position.fitted)
            yield Phrase(
                "{spring} was not read at {installed} mm (it was read from {low} to {high} mm)",
                spring=f"{one.spring!r}",
                installed=f"{installed:g}",
                low=f"{low:g}",
                high=f"{high:g}",
            )
        if row is not None:
            limit = self.heights.minimum_coil_bind_margin_mm
            yield from _below(
                Phrase("coil-bind margin"), row.coil_bind_margin_mm, limit or 0.0, needed=limit is not None
            )
            seal = self.heights.minimum_retainer_to_seal_mm
            if seal is not None:
                yield from _below(Phrase("retainer-to-seal margin"), row.retainer_to_seal_margin_mm, seal, needed=True)

    def _out_of_stock(self, position: ValvePosition, stack: Stack) -> Iterator[str]:
        """Sizes that are neither in stock nor fitted there."""
        stock, fitted = self.heights.sizes_mm, position.fitted
        checks: tuple[tuple[PartKind, Collection[float], Collection[float]], ...] = (
            ("shim", stack.shims_mm, fitted.shims_mm),
            ("packer", _known(stack.packer_mm), _known(fitted.packer_mm)),
            ("keeper", (stack.keeper_mm,), (fitted.keeper_mm,)),
            ("retainer", (stack.retainer_mm,), (fitted.retainer_mm,)),
        )
        for kind, wanted, there in checks:
            for size in dict.fromkeys(wanted):
                if not any(abs(size - one) < 1e-6 for one in (*stock(kind), *there)):
                    yield Phrase("no {kind} of {size} mm is in stock or fitted there", kind=kind, size=f"{size:g}")


@frozen
class Possible:
    """All ways to fit: forces by height, and the stacks that give each height of each position."""

    choice: ShimChoice
    stacks: tuple[tuple[list[Stack], ...], ...]


def _refuse_many(count: int) -> None:
    if count > MOST_STACKS:
        raise CannotEvaluate(
            Reason.NOT_FEASIBLE,
            Phrase(
                "found {count} ways to stack the parts in stock at one position, expected at most "
                "{most}: fewer sizes, or a smaller `max shims`",
                count=count,
                most=MOST_STACKS,
            ),
        )


def _optional(lock: Lock, kind: PartKind, free: Sequence[float | None]) -> list[float | None]:
    """The sizes that a part of a kind may have at a position; None for no such part."""
    if kind in lock.parts:
        return list(lock.parts[kind]) or [None]
    return list(dict.fromkeys(free))


def _below(name: str, margin: float | None, limit: float, *, needed: bool) -> Iterator[str]:
    if margin is None and needed:
        yield Phrase("its {name} is not known", name=name)
    elif margin is not None and margin < limit - SLACK_MM:
        yield Phrase("{name} {margin} mm, at least {limit} mm", name=name, margin=f"{margin:.2f}", limit=f"{limit:g}")


def _elements(spring: SpringAnalysis) -> list[Element]:
    return [element.part(to_the_knee=True) for element in spring.elements]


def _known(size: float | None) -> tuple[float, ...]:
    return () if size is None else (size,)


def _together(one: float | None, other: float | None) -> float | None:
    """Two independent standard uncertainties; None where neither is known."""
    return None if one is None and other is None else hypot(one or 0.0, other or 0.0)
