"""Each lobe placed on the crank behind its gear, ready for all questions about its valve.

What a question is made of: an inspected lift table, and a measured spring where there is one.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from valvelab.angles import wrap_scalar
from valvelab.dynamics.sweep import SpeedSweep
from valvelab.errors import CannotEvaluate, Reason
from valvelab.frozen import frozen
from valvelab.inspection.engine.train import MotionLobe, MotionQuestion
from valvelab.inspection.lobes.characteristics import centre
from valvelab.inspection.lobes.contour import curvature_guides
from valvelab.lobe.characteristics import LobeCharacteristics
from valvelab.phasing.timing import lobe_cylinder, lobe_kind
from valvelab.phrase import Phrase
from valvelab.records.measurement import CHECKING_LIFTS_MM
from valvelab.records.result import Note, info, warning
from valvelab.records.train import Train
from valvelab.valve_motion.rocker import RatioRocker
from valvelab.valve_motion.valve_lift import Gear, Motion, Timing, whole_cycle

if TYPE_CHECKING:
    from valvelab.inspection.lobes.shaft import MeasuredShaft
    from valvelab.records.springs_result import SpringResult

UNLIKELY_DEG = 50.0
NO_ROCKER = Phrase(
    "found no [rocker] in the train, expected its ratio, points or geometry (ratio = 1 where "
    "the lobe bears on the valve's own follower), or a lift table with `lift at: valve`"
)


@frozen
class Side:
    """One lobe, its gear and its place.

    no_centre: why crank angles don't count from its gas-exchange dead centre, empty where they do.
    """

    lobe: MotionLobe
    gear: Gear
    timing: Timing
    no_centre: str
    cycle: Motion
    sweep: SpeedSweep | None = None

    @property
    def tdc_known(self) -> bool:
        """Whether crank angles count from its gas-exchange dead centre."""
        return not self.no_centre

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
        timing, no_centre = _timing(question, lobe)
        side = Side(lobe, gear, timing, no_centre, whole_cycle(lobe.profile, gear, timing))
        if no_centre:
            notes.append(
                warning(
                    lobe.name, Phrase("{no_centre}: what counts from dead centre is left open", no_centre=no_centre)
                )
            )
        else:
            notes += [] if question.train.timing is not None else [info("timing", _OWN_ANGLE)]
            notes += _unlikely(lobe, side.cycle.middle_crank_deg)
        if not side.opens:
            notes.append(
                warning(lobe.name, Phrase("lash and deflection take up the whole lift: the valve never opens"))
            )
        sides.append(side)
    return sides, notes


def _gear(question: MotionQuestion, notes: list[Note]) -> Gear:
    train = question.train
    rocker = train.rocker.rocker
    if question.lift_at != "valve" and not train.rocker.stated:
        raise CannotEvaluate(Reason.MISSING_INPUT, NO_ROCKER)
    if not train.lash.stated:
        notes.append(info("lash", Phrase("none is stated: the valve is taken to follow without lash")))
    if question.lift_at == "valve":
        if train.rocker.one_ratio != 1.0:
            notes.append(
                info("rocker", Phrase("the lift was read at the valve: the rocker is already in it and not applied"))
            )
        rocker = RatioRocker(1.0)
    stiffness = train.valve.stiffness_n_per_mm
    if stiffness is not None and train.spring.seat_force_n is None:
        notes.append(info("deflection", Phrase("[spring] seat_force is not stated: the gear counts as rigid")))
        stiffness = None
    return Gear(
        rocker=rocker,
        lash_mm=train.lash.counted_mm,
        stiffness_n_per_mm=stiffness,
        seat_force_n=train.spring.seat_force_n or 0.0,
        rate_n_per_mm=train.spring.rate_n_per_mm or 0.0,
    )


_OWN_ANGLE = Phrase("no [timing]: the table's own angle counts as cam angle from gas-exchange dead centre")


def _timing(question: MotionQuestion, lobe: MotionLobe) -> tuple[Timing, str]:
    """The lobe's place on the crank, and why it does not count from dead centre, empty where it does."""
    train = question.train
    if train.timing is None:
        shift = _firing_shift(question, lobe)
        if shift is None:
            return Timing(), "no [timing], and without a firing order the table's angle is that of cylinder 1"
        return Timing(0.0, -shift), ""
    line = train.centreline_deg(lobe.kind)
    if line is None:
        return Timing(), Phrase("[timing] has no centreline for it")
    if lobe.centre_cam_deg is None:
        return Timing(), Phrase("its centre could not be derived")
    return Timing(lobe.centre_cam_deg, line), ""


def _unlikely(lobe: MotionLobe, peak_crank_deg: float) -> list[Note]:
    """A peak far from where any engine has it: most likely the table's zero is another dead centre, or none."""
    home = {"intake": 110.0, "exhaust": -110.0}.get(lobe.kind or "")
    if home is None or abs(wrap_scalar(peak_crank_deg - home, 720.0)) <= UNLIKELY_DEG:
        return []
    text = Phrase(
        "the greatest lift stands at {angle} crank deg from gas-exchange dead centre, where no engine has it: the "
        "table's zero is another point; state [timing]",
        angle=f"{peak_crank_deg:.0f}",
    )
    return [warning(lobe.name, text)]


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


def motion_question(
    shaft: MeasuredShaft, train: Train, checking_lifts_mm: tuple[float, ...] = (), dynamics: bool = True
) -> MotionQuestion:
    """A motion question on the fitted lobes of a lift table; extra checking lifts are added to the usual ones."""
    table, guides = shaft.table, curvature_guides(shaft.groups)
    profiles = shaft.each(lambda group, row: group.fitted.profile(row))
    centres, lifts = centre(shaft), shaft.ask(LobeCharacteristics.max_lift)
    found = [
        MotionLobe(
            name=name,
            kind=lobe_kind(name),
            profile=profile,
            centre_cam_deg=centres[name].value,
            lift_uncertainty_mm=lifts[name].u,
            encoder_cam_deg=table.encoder_uncertainty_cam_deg,
            guide=guides[name],
        )
        for name, profile in profiles.items()
    ]
    follower = table.follower
    return MotionQuestion(
        lobes=tuple(found),
        train=train,
        lift_at=table.lift_at,
        base_radius_mm=table.base_circle_radius_mm,
        roller_radius_mm=follower.radius_mm if follower is not None and follower.kind == "roller" else None,
        flat_follower=follower is not None and follower.kind == "flat",
        firing_order=table.firing_order,
        checking_lifts_mm=tuple(sorted({*CHECKING_LIFTS_MM, *checking_lifts_mm})),
        dynamics=dynamics,
        doubts=table.doubts,
    )


_TAKEN = {
    "seat_force_n": ("seat_force_n", "seat force"),
    "rate_n_per_mm": ("stated_rate_n_per_mm", "rate"),
    "surge_hz": ("stated_surge_hz", "surge"),
}
"""What a train takes over from a measured spring: its field there, and its name."""


def train_with_spring(
    train: Train, spring: SpringResult, installed_height_mm: float | None = None
) -> tuple[Train, tuple[Note, ...]]:
    """The train with a measured spring's seat force, rate, surge and travel to coil bind where they were derived.

    The travel needs the installed height it was measured for. What the spring lacks stays as the train states it.
    """
    taken = {name: value for name in _TAKEN if (value := getattr(spring, name)) is not None}
    named = ", ".join(words for name, (_, words) in _TAKEN.items() if name in taken)
    left = ", ".join(words for name, (_, words) in _TAKEN.items() if name not in taken)
    notes = (
        [info("spring", Phrase("{named} of the measured spring {spring}", named=named, spring=spring.spring))]
        if named
        else []
    )
    if left:
        notes.append(
            info(
                "spring",
                Phrase("{left} of spring {spring} not derived: as the train states", left=left, spring=spring.spring),
            )
        )
    values = {_TAKEN[name][0]: value for name, value in taken.items()}
    if installed_height_mm is not None and spring.solid_height_mm is not None:
        values |= {"installed_height_mm": installed_height_mm, "solid_height_mm": spring.solid_height_mm}
    return train.changed("spring", **values), tuple(notes)
