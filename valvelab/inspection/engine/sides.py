"""Each lobe placed on the crank behind its gear, ready for all questions about its valve."""

from __future__ import annotations

from dataclasses import dataclass

from valvelab.angles import wrap_scalar
from valvelab.dynamics.sweep import SpeedSweep
from valvelab.errors import CannotEvaluate, Reason
from valvelab.inspection.engine.train import MotionLobe, MotionQuestion
from valvelab.phasing.timing import lobe_cylinder
from valvelab.records.result import Note, info, warning
from valvelab.valve_motion.rocker import RatioRocker
from valvelab.valve_motion.valve_lift import Gear, Motion, Timing, peak_crank, whole_cycle

UNLIKELY_DEG = 50.0
NO_ROCKER = (
    "found no [rocker] in the train, expected its ratio, points or geometry (ratio = 1 where the lobe bears on the "
    "valve's own follower), or a lift table with `lift at: valve`"
)


@dataclass(frozen=True, slots=True)
class Side:
    """One lobe, its gear and its place; `tdc_known`: whether crank angles count from its gas-exchange dead centre."""

    lobe: MotionLobe
    gear: Gear
    timing: Timing
    tdc_known: bool
    cycle: Motion
    sweep: SpeedSweep | None = None

    @property
    def opens(self) -> bool:
        """Whether the valve leaves its seat at all."""
        return float(self.cycle.lift_mm.max()) > 0.0


def sides_of(question: MotionQuestion) -> tuple[list[Side], list[Note]]:
    """All lobes, and what has to be said about their timing and gear."""
    notes: list[Note] = []
    gear = _gear(question, notes)
    sides = []
    for lobe in question.lobes:
        timing, known, said = _timing(question, lobe)
        notes += said
        if known:
            notes += _unlikely(lobe, peak_crank(lobe.profile, timing))
        side = Side(lobe, gear, timing, known, whole_cycle(lobe.profile, gear, timing))
        if not side.opens:
            notes.append(warning(lobe.name, "lash and deflection take up the whole lift: the valve never opens"))
        sides.append(side)
    return sides, notes


def _gear(question: MotionQuestion, notes: list[Note]) -> Gear:
    train = question.train
    rocker = train.rocker
    if question.lift_at != "valve" and not train.has_rocker:
        raise CannotEvaluate(Reason.MISSING_INPUT, NO_ROCKER)
    if train.lash.hot_mm is None and train.lash.cold_mm is None:
        notes.append(info("lash", "none is stated: the valve is taken to follow without lash"))
    if question.lift_at == "valve":
        if not (isinstance(rocker, RatioRocker) and rocker.ratio == 1.0):
            notes.append(info("rocker", "the lift was read at the valve: the rocker is already in it and not applied"))
        rocker = RatioRocker(1.0)
    stiffness = train.stiffness_n_per_mm
    if stiffness is not None and train.seat_force_n is None:
        notes.append(info("deflection", "[spring] seat_force is not stated: the gear counts as rigid"))
        stiffness = None
    return Gear(
        rocker=rocker,
        lash_mm=train.lash.counted_mm,
        stiffness_n_per_mm=stiffness,
        seat_force_n=train.seat_force_n or 0.0,
        rate_n_per_mm=train.rate_n_per_mm or 0.0,
    )


def _timing(question: MotionQuestion, lobe: MotionLobe) -> tuple[Timing, bool, list[Note]]:
    train = question.train
    if train.has_timing:
        line = None
        if lobe.kind == "intake":
            line = train.intake_centreline_deg
        elif lobe.kind == "exhaust" and train.exhaust_centreline_deg is not None:
            line = -train.exhaust_centreline_deg
        if line is not None and lobe.centre_cam_deg is not None:
            return Timing(lobe.centre_cam_deg, line), True, []
        missing = "its centre could not be derived" if line is not None else "[timing] has no centreline for it"
        return Timing(), False, [warning(lobe.name, f"{missing}: what counts from dead centre is left open")]
    shift = _firing_shift(question, lobe)
    if shift is None:
        text = "no [timing], and without a firing order the table's angle is that of cylinder 1: what counts from dead "
        return Timing(), False, [warning(lobe.name, text + "centre is left open")]
    return (
        Timing(0.0, -shift),
        True,
        [info("timing", "no [timing]: the table's own angle counts as cam angle from gas-exchange dead centre")],
    )


def _unlikely(lobe: MotionLobe, peak_crank_deg: float) -> list[Note]:
    """A peak far from where any engine has it: most likely the table's zero is another dead centre, or none."""
    home = {"intake": 110.0, "exhaust": -110.0}.get(lobe.kind or "")
    if home is None or abs(wrap_scalar(peak_crank_deg - home, 720.0)) <= UNLIKELY_DEG:
        return []
    text = f"the greatest lift stands at {peak_crank_deg:.0f} crank deg from gas-exchange dead centre, where no engine "
    return [warning(lobe.name, text + "has it: the table's zero is another point; state [timing]")]


def _firing_shift(question: MotionQuestion, lobe: MotionLobe) -> float | None:
    """How much later, crank deg, the lobe's cylinder passes gas exchange than the first one; even firing."""
    cylinder = lobe_cylinder(lobe.name)
    cylinders = {lobe_cylinder(other.name) for other in question.lobes}
    if cylinder is None or len(cylinders) == 1:
        return 0.0
    order = question.firing_order
    first = min(number for number in cylinders if number is not None)
    if order is None or cylinder not in order:
        return 0.0 if cylinder == first == 1 else None
    return 720.0 / len(order) * order.index(cylinder)
