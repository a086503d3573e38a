"""Control of the follower for the inspection: quasi-static, resonances, and the dynamic sweep."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.dynamics.control import Separation, contact_force, separation
from valvelab.dynamics.model import SpringChain, ValveGear
from valvelab.dynamics.response import Tell
from valvelab.dynamics.surge import resonances
from valvelab.dynamics.sweep import LobeDrive, SpeedSweep, sweep
from valvelab.errors import CannotEvaluate
from valvelab.inspection.engine.sides import Side
from valvelab.inspection.engine.train import MotionQuestion
from valvelab.phrase import Phrase
from valvelab.records.motion_result import Control, DynamicSweep, SpringResonance
from valvelab.records.result import Note, info, warning
from valvelab.records.train import Train

SWEEP_FROM, SWEEP_TO = 0.5, 1.25
SWEEP_BELOW_QUASI_STATIC = 0.55


def valve_gear(train: Train) -> ValveGear | None:
    """The dynamic model's gear, or None where the train does not state enough."""
    valve, spring = train.valve, train.spring
    mass, stiffness = valve.effective_mass_kg, valve.stiffness_n_per_mm
    seat, rate = spring.seat_force_n, spring.rate_n_per_mm
    if mass is None or stiffness is None or seat is None or rate is None:
        return None
    return ValveGear(
        effective_mass_kg=mass,
        stiffness_n_per_mm=stiffness,
        spring=SpringChain(seat, rate, spring.surge_hz, spring.bind_travel_mm),
        lash_mm=train.lash.counted_mm,
        damping_ratio=valve.damping_ratio,
        seat_stiffness_n_per_mm=valve.seat_stiffness_n_per_mm,
    )


def dynamic_sweeps(
    question: MotionQuestion, sides: Sequence[Side], tell: Tell | None = None
) -> tuple[list[SpeedSweep | None], list[Note]]:
    """A sweep for every lobe in one batch; None where it can't be run. `tell` hears the share done and may end it.

    From half the greatest speed, or well below the least quasi-static separation, to 1.25 × the greatest speed.
    """
    train = question.train
    none: list[SpeedSweep | None] = [None] * len(sides)
    if not question.dynamics or not sides:
        return none, []
    try:
        gear = valve_gear(train)
    except CannotEvaluate as error:
        return none, [warning("dynamic model", str(error))]
    if gear is None or train.crank.max_speed_rpm is None:
        missing = Phrase("[valve] effective_mass and stiffness, [spring] seat_force and rate, [crank] max_speed")
        return none, [info("dynamic model", Phrase("needs {missing}: not run", missing=missing))]
    notes = [
        info(
            "dynamic model",
            Phrase(
                "damping ratio {damping_ratio} of the gear, seat stiffness {seat_stiffness} N/mm, spring "
                "damping ratio {damping_ratio_2}: the speed is an estimate of the model, never a safe "
                "speed",
                damping_ratio=f"{train.valve.damping_ratio:g}",
                seat_stiffness=f"{gear.seat_stiffness:g}",
                damping_ratio_2=f"{gear.spring.damping_ratio:g}",
            ),
        )
    ]
    if train.spring.surge_hz is None:
        notes.append(
            info("dynamic model", Phrase("no surge frequency or coil data: the spring has no waves of its own"))
        )
    if train.spring.bind_travel_mm is None:
        notes.append(
            info("dynamic model", Phrase("installed and solid height are not stated: coils never touch in it"))
        )
    low = min([SWEEP_FROM * train.crank.max_speed_rpm, *_below_quasi_static(gear, sides)])
    speeds = np.linspace(low, SWEEP_TO * train.crank.max_speed_rpm, question.sweep_speeds)
    moving = [side for side in sides if side.opens]
    drives = [
        LobeDrive(side.lobe.profile, side.gear.rocker, side.timing, side.cycle.middle_crank_deg) for side in moving
    ]
    try:
        swept = iter(sweep(drives, gear, speeds, tell=tell) if drives else ())
        return [next(swept) if side.opens else None for side in sides], notes
    except CannotEvaluate as error:
        return none, [warning("dynamic model", str(error))]


def _below_quasi_static(gear: ValveGear, sides: Sequence[Side]) -> list[float]:
    found = [
        _separation(side, gear.effective_mass_kg, gear.spring.seat_force_n, gear.spring.rate_n_per_mm).crank_rpm
        for side in sides
    ]
    return [SWEEP_BELOW_QUASI_STATIC * rpm for rpm in found if rpm is not None]


def _separation(side: Side, mass_kg: float, seat_n: float, rate_n_per_mm: float) -> Separation:
    cycle = side.cycle
    return separation(
        cycle.crank_deg, cycle.lift_mm, cycle.acceleration_mm_per_crank_deg2, mass_kg, seat_n, rate_n_per_mm
    )


def control_of(question: MotionQuestion, side: Side) -> tuple[Control | None, list[Note]]:
    """Separation speed, margin and resonances; None where mass or spring is not stated."""
    train, name = question.train, side.lobe.name
    mass, seat, rate = train.valve.effective_mass_kg, train.spring.seat_force_n, train.spring.rate_n_per_mm
    if mass is None or seat is None or rate is None:
        if mass is None and seat is None:
            return None, []
        return None, [
            info(name, Phrase("control needs [valve] effective_mass, [spring] seat_force and rate: left open"))
        ]
    if not side.opens:
        return None, []
    notes: list[Note] = []
    cycle = side.cycle
    acceleration = cycle.acceleration_mm_per_crank_deg2
    found = _separation(side, mass, seat, rate)
    margin = None
    if train.crank.max_speed_rpm is not None:
        off_seat = cycle.lift_mm > 0.0
        force = contact_force(cycle.lift_mm, acceleration, mass, seat, rate, train.crank.max_speed_rpm)
        margin = float(force[off_seat].min()) if off_seat.any() else None
    else:
        notes.append(info(name, Phrase("[crank] max_speed is not stated: the margin there is left open")))
    orders: tuple[SpringResonance, ...] = ()
    if train.spring.surge_hz is not None:
        orders = tuple(
            SpringResonance.model_validate(row, from_attributes=True)
            for row in resonances(cycle.lift_mm[:-1], train.spring.surge_hz, train.crank.max_speed_rpm)
        )
    else:
        notes.append(info(name, Phrase("[spring] surge or coil data are not stated: resonances are left open")))
    if side.sweep is not None:
        notes += _sweep_notes(side.sweep, name)
    control = Control(
        separation_rpm=found.crank_rpm,
        separation_at_crank_deg=found.at_crank_deg if side.tdc_known else None,
        margin_n_at_max_speed=margin,
        dynamic_separation_rpm=None if side.sweep is None else side.sweep.first_loss_rpm,
        spring_resonances=orders,
        dynamic=None if side.sweep is None else _dynamic(side.sweep, side.tdc_known),
    )
    return control, notes


def _sweep_notes(swept: SpeedSweep, name: str) -> Iterator[Note]:
    first, last = swept.rpm[0], swept.rpm[-1]
    if not swept.lost.any():
        said = Phrase(
            "the dynamic model keeps contact up to {last} rpm, where its sweep ends; that is no safe speed",
            last=f"{last:.0f}",
        )
        yield info(name, said)
        return
    if bool(swept.lost[0]):
        said = Phrase(
            "the dynamic model has lost contact already at {first} rpm, where its sweep begins; it is lost earlier",
            first=f"{first:.0f}",
        )
        yield warning(name, said)
    if swept.beyond_rpm is not None:
        said = Phrase(
            "from {beyond} rpm on the dynamic model throws the valve beyond its free travel of {travel} mm, where it "
            "describes the gear no longer: no figure is given there",
            beyond=f"{swept.beyond_rpm:.0f}",
            travel=f"{swept.free_travel_mm:.1f}",
        )
        yield warning(name, said)


def _dynamic(swept: SpeedSweep, tdc_known: bool) -> DynamicSweep:
    def known(values: FloatArray) -> tuple[float | None, ...]:
        return tuple(None if math.isnan(value) else value for value in values.tolist())

    return DynamicSweep(
        crank_rpm=tuple(swept.rpm.tolist()),
        least_force_n=known(swept.least_force_n),
        peak_force_n=known(swept.peak_force_n),
        loft_mm=known(swept.loft_mm),
        bounce_mm=known(swept.bounce_mm),
        seating_speed_m_per_s=known(swept.seating_speed_m_per_s),
        coils_touch=tuple(None if value is None else value > 0.0 for value in known(swept.coil_squeeze_mm)),
        free_travel_mm=swept.free_travel_mm,
        beyond_travel_rpm=swept.beyond_rpm,
        first_loss_crank_deg=swept.first_loss_crank_deg if tdc_known else None,
        float_rpm=swept.float_rpm,
    )
