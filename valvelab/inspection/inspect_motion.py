"""The valve motion inspected: lobes, train and spec in, result out."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from valvelab.angles import fold_scalar, wrap_scalar
from valvelab.arrays import FloatArray
from valvelab.dynamics.response import Tell
from valvelab.errors import CannotEvaluate
from valvelab.inspection.judging import Item, Measured, judge
from valvelab.inspection.motion_contact import contact_extremes
from valvelab.inspection.motion_control import control_of, dynamic_sweeps
from valvelab.inspection.motion_question import MotionLobe, MotionQuestion, RuleReading, TrainSetting
from valvelab.inspection.motion_sides import Side, sides_of
from valvelab.phasing.piston import piston_drop
from valvelab.phasing.timing import trade_event
from valvelab.records.motion_result import (
    ClearanceChange,
    MotionResult,
    MotionValve,
    PistonClearance,
    RuleReadings,
    ValveDuration,
)
from valvelab.records.phasing_result import Event
from valvelab.records.result import Note, Source, Verdict, info, warning
from valvelab.records.spec import Spec
from valvelab.valve_motion.clearance import Clearance
from valvelab.valve_motion.clearance import piston_clearance as clearance_along
from valvelab.valve_motion.valve_lift import Crossings, Gear, crossings, valve_motion

PHASE_STEPS_DEG = (-8.0, -4.0, 0.0, 4.0, 8.0)
GUIDANCE_MM = {"intake": 2.0, "exhaust": 2.5}
CAUTION = (
    "Predicted speeds are estimates of a model, never safe speeds. Valve springs hold energy: eye protection, sound "
    "tools, hands clear. Results support, and never replace, the judgement of qualified people, the engine maker's "
    "limits and the event's officials. Not for flight-critical parts."
)


@dataclass(frozen=True, slots=True)
class MotionInspection:
    """The result, and each valve's curves behind it."""

    question: MotionQuestion
    sides: tuple[Side, ...]
    result: MotionResult


def inspect_motion(
    question: MotionQuestion,
    spec: Spec | None = None,
    source: tuple[Source, ...] = (),
    spec_file: str = "spec",
    notes: tuple[Note, ...] = (),
    tell: Tell | None = None,
) -> MotionInspection:
    """Valve lift, events, clearance, contact and control of every lobe, held against a spec.

    `tell` hears how much of the dynamic model is done and may end the work, which raises `dynamics.response.Stopped`.
    """
    sides, remarks = sides_of(question)
    remarks = [*notes, *remarks]
    sweeps, sweep_notes = dynamic_sweeps(question, sides, tell)
    remarks += sweep_notes
    kept = tuple(replace(side, sweep=swept) for side, swept in zip(sides, sweeps, strict=True))
    valves = []
    for side in kept:
        valve, said = _valve(question, side)
        valves.append(valve)
        remarks += said
    result = MotionResult(source=source, notes=_once(remarks), verdicts=(), valves=tuple(valves))
    return judged(MotionInspection(question, kept, result), spec, spec_file)


def judged(
    inspection: MotionInspection,
    spec: Spec | None = None,
    spec_file: str = "spec",
    rule_readings: tuple[RuleReading, ...] | None = None,
) -> MotionInspection:
    """An inspection without verdicts held against a spec, with other readings at the retainers where given."""
    question, result = inspection.question, inspection.result
    if rule_readings is not None:
        question = replace(question, train=replace(question.train, rule_readings=rule_readings))
    valves = tuple(
        valve.model_copy(update={"rule_readings": _readings(question.train, side.lobe)})
        for valve, side in zip(result.valves, inspection.sides, strict=True)
    )
    known = {lobe.name for lobe in question.lobes}
    remarks = [
        warning(row.valve, "rule readings of a valve that the lift table does not have")
        for row in question.train.rule_readings
        if row.valve not in known
    ]
    verdicts: tuple[Verdict, ...] = ()
    if spec is not None:
        found, said = judge(spec, {"valve": [_item(valve) for valve in valves]}, spec_file)
        verdicts, remarks = tuple(found), said + remarks
    notes = _once([*result.notes, *remarks])
    changed = result.model_copy(update={"valves": valves, "verdicts": verdicts, "notes": notes})
    return replace(inspection, question=question, result=changed)


def _once(notes: list[Note]) -> tuple[Note, ...]:
    """Each text once, with all that it concerns."""
    about: dict[tuple[str, str], list[str]] = {}
    for note in notes:
        named = about.setdefault((note.level, note.text), [])
        if note.about not in named:
            named.append(note.about)
    make = {"info": info, "warning": warning}
    return tuple(make[level](", ".join(named), text) for (level, text), named in about.items())


def _valve(question: MotionQuestion, side: Side) -> tuple[MotionValve, list[Note]]:
    train, lobe = question.train, side.lobe
    notes: list[Note] = []
    rule = float(side.cycle.drive_mm.max())
    best = float(side.cycle.lift_mm.max())
    u_lift = _lift_uncertainty(train, side, rule)
    u_valve = _root(u_lift, train.lash_uncertainty_mm)
    durations = tuple(_duration(train, side, level) for level in question.checking_lifts_mm)
    notes += [
        info(lobe.name, f"the valve does not pass {row.at_mm:g} mm on both flanks: its duration there is left open")
        for row in durations
        if row.duration_crank_deg is None
    ]
    seating, said = _seating(side)
    notes += said
    at_tdc = None
    if side.tdc_known:
        at_tdc = float(valve_motion(lobe.profile, side.gear, side.timing, [0.0]).lift_mm[0])
    u_tdc = None if at_tdc is None else _valve_uncertainty(train, side, at_tdc)
    clearance, changes, said = _clearance(train, side)
    notes += said
    if clearance is None and not said:
        notes.append(info("piston_clearance", "not derived: needs [clearance], [crank] throw and rod, and the timing"))
    control, said = control_of(question, side)
    notes += said
    if control is None and not said:
        notes.append(info("control", "not derived: needs [valve] effective_mass, [spring] seat_force and rate"))
    contact, said = contact_extremes(question, side)
    notes += said
    valve = MotionValve(
        lobe=lobe.name,
        kind=lobe.kind,
        max_valve_lift_mm=best,
        rule_lift_mm=rule,
        rule_readings=_readings(train, lobe),
        valve_lift_at_gas_exchange_tdc_mm=at_tdc,
        durations=durations,
        seating_velocity_mm_per_crank_deg=seating,
        lash_mm=side.gear.lash_mm,
        piston_clearance=clearance,
        clearance_changes=changes,
        control=control,
        contact=contact,
        uncertainty={
            "rule_lift_mm": u_lift,
            "max_valve_lift_mm": u_valve,
            "valve_lift_at_gas_exchange_tdc_mm": u_tdc,
            "piston_clearance_mm": None if clearance is None else _clearance_uncertainty(train, side, clearance),
        },
    )
    return valve, notes


def _times(value: float | None, factor: float) -> float | None:
    return None if value is None else abs(value * factor)


def _root(*parts: float | None) -> float | None:
    known = [part for part in parts if part is not None]
    return math.sqrt(math.fsum(part**2 for part in known)) if known and parts[0] is not None else None


def _lift_uncertainty(train: TrainSetting, side: Side, drive_mm: float) -> float | None:
    """Standard uncertainty of the lift before lash: reading × ratio, and follower lift × uncertainty of the ratio."""
    at = int(np.argmin(np.abs(side.cycle.drive_mm - drive_mm)))
    lobe_part = _times(side.lobe.lift_uncertainty_mm, float(side.cycle.ratio[at]))
    return _root(lobe_part, _times(train.ratio_uncertainty, float(side.cycle.follower_lift_mm[at])))


def _valve_uncertainty(train: TrainSetting, side: Side, lift_mm: float) -> float | None:
    """The same of the valve's lift behind its lash; 0 where it is shut."""
    if lift_mm <= 0.0:
        return 0.0
    return _root(
        _lift_uncertainty(train, side, lift_mm / side.gear.share + side.gear.lost_mm), train.lash_uncertainty_mm
    )


def _clearance_uncertainty(train: TrainSetting, side: Side, found: PistonClearance) -> float | None:
    """That of the lift there; the stated drop at dead centre, throw and rod count as exact."""
    lift = valve_motion(side.lobe.profile, side.gear, side.timing, [found.at_crank_deg]).lift_mm[0]
    return _valve_uncertainty(train, side, float(lift)) or None


def _duration(train: TrainSetting, side: Side, level: float) -> ValveDuration:
    try:
        found = crossings(side.lobe.profile, side.gear, side.timing, side.cycle, level)
    except CannotEvaluate:
        found = Crossings(None, None, None, None)
    opening, closing = found.opening_crank_deg, found.closing_crank_deg
    both = opening is not None and closing is not None
    duration = closing - opening if opening is not None and closing is not None else None
    centre = None if not both or opening is None or closing is None else 0.5 * (opening + closing)
    return ValveDuration(
        at_mm=level,
        opening_cam_deg=_cam(side, opening),
        closing_cam_deg=_cam(side, closing),
        duration_cam_deg=None if duration is None else 0.5 * duration,
        duration_crank_deg=duration,
        centre_cam_deg=_cam(side, centre),
        opening_crank_deg=opening if side.tdc_known else None,
        closing_crank_deg=closing if side.tdc_known else None,
        opening_event=_event(side, "opening", opening),
        closing_event=_event(side, "closing", closing),
        uncertainty=_event_uncertainty(found, _valve_uncertainty(train, side, level)),
    )


def _event_uncertainty(found: Crossings, u_valve: float | None) -> dict[str, float | None]:
    """A lift wrong by u moves each crossing by u/slope; both move outward together, so the duration has their sum."""

    def one(slope: float | None) -> float | None:
        return None if slope is None or slope == 0.0 or u_valve is None else u_valve / abs(slope)

    opening, closing = one(found.opening_slope), one(found.closing_slope)
    both = None if opening is None or closing is None else opening + closing
    return {"opening_crank_deg": opening, "closing_crank_deg": closing, "duration_crank_deg": both}


def _cam(side: Side, crank: float | None) -> float | None:
    return None if crank is None else fold_scalar(float(side.timing.cam([crank])[0]))


def _event(side: Side, which: str, crank: float | None) -> Event | None:
    kind = side.lobe.kind
    if crank is None or kind is None or not side.tdc_known:
        return None
    centre = 90.0 if kind == "intake" else -90.0
    near = centre + wrap_scalar(crank - centre, 720.0)
    event = trade_event(kind, "opening" if which == "opening" else "closing", near)
    return Event(angle=event.angle_deg, reference=event.reference)


def _seating(side: Side) -> tuple[float | None, list[Note]]:
    if not side.opens:
        return None, []
    if side.gear.lost_mm == 0.0:
        return None, [info(side.lobe.name, "without lash the valve seats where the lobe ends: no seating velocity")]
    found = crossings(side.lobe.profile, side.gear, side.timing, side.cycle, 0.0)
    if found.closing_slope is None:
        return None, [
            warning(side.lobe.name, "the closing flank never uses up the lash: the valve is not seen to seat")
        ]
    return abs(found.closing_slope), []


def _readings(train: TrainSetting, lobe: MotionLobe) -> RuleReadings | None:
    rows = [row for row in train.rule_readings if row.valve == lobe.name]
    if not rows:
        return None
    values = np.array([value for row in rows for value in row.readings_mm])
    spread = float(values.std(ddof=1)) if values.size > 1 else None
    stated = [row.uncertainty_mm for row in rows if row.uncertainty_mm is not None]
    parts = [None if spread is None else spread / math.sqrt(values.size), max(stated) if stated else None]
    known = [part for part in parts if part is not None]
    return RuleReadings(
        count=int(values.size),
        mean_mm=float(values.mean()),
        standard_deviation_mm=spread,
        standard_uncertainty_mm=math.sqrt(math.fsum(part**2 for part in known)) if known else None,
    )


def clearance_of(
    train: TrainSetting, side: Side, advance_crank_deg: float = 0.0, gear: Gear | None = None
) -> Clearance | None:
    """Valve to piston along gas exchange with the camshaft advanced, or another gear; None where not stated."""
    stated = train.intake_clearance_mm if side.lobe.kind == "intake" else train.exhaust_clearance_mm
    throw, rod = train.throw_mm, train.rod_mm
    if side.lobe.kind is None or stated is None or throw is None or rod is None or not side.tdc_known:
        return None
    timing, used = side.timing.moved(-advance_crank_deg), gear or side.gear

    def lift(crank: FloatArray) -> FloatArray:
        return valve_motion(side.lobe.profile, used, timing, crank).lift_mm

    def drop(crank: FloatArray) -> FloatArray:
        return piston_drop(crank, throw, rod)

    return clearance_along(lift, drop, stated, train.valve_angle_deg)


def _clearance(
    train: TrainSetting, side: Side
) -> tuple[PistonClearance | None, tuple[ClearanceChange, ...], list[Note]]:
    found = clearance_of(train, side)
    if found is None:
        return None, (), []
    changes = []
    lashes = dict.fromkeys((side.gear.lash_mm, 0.0))
    for lash in lashes:
        gear = replace(side.gear, lash_mm=lash)
        for step in PHASE_STEPS_DEG:
            moved = clearance_of(train, side, step, gear)
            if moved is not None:
                changes.append(
                    ClearanceChange(
                        advance_crank_deg=step, lash_mm=lash, min_mm=moved.min_mm, at_crank_deg=moved.at_crank_deg
                    )
                )
    notes = []
    name, wanted = side.lobe.name, GUIDANCE_MM[side.lobe.kind or "intake"]
    if found.min_mm <= 0.0:
        notes.append(warning(name, f"the valve would meet the piston: {found.min_mm:.2f} mm at "
                             f"{found.at_crank_deg:.0f} crank deg"))  # fmt: skip
    elif found.min_mm < wanted:
        text = f"valve to piston is under {wanted:g} mm, common practice for this valve; guidance, not a rule"
        notes.append(warning(name, text))
    return PistonClearance(min_mm=found.min_mm, at_crank_deg=found.at_crank_deg), tuple(changes), notes


def _item(valve: MotionValve) -> Item:
    def look_up(name: str, at_mm: float | None) -> Measured | None:
        u = valve.uncertainty
        control, clearance = valve.control, valve.piston_clearance
        if name == "valve_duration":
            row = next((d for d in valve.durations if at_mm is not None and abs(d.at_mm - at_mm) < 5e-4), None)
            return None if row is None else Measured(row.duration_crank_deg, row.uncertainty["duration_crank_deg"])
        if name == "rule_lift" and valve.rule_readings is not None:
            return Measured(valve.rule_readings.mean_mm, valve.rule_readings.standard_uncertainty_mm)
        known = {
            "rule_lift": (valve.rule_lift_mm, u["rule_lift_mm"]),
            "max_valve_lift": (valve.max_valve_lift_mm, u["max_valve_lift_mm"]),
            "valve_lift_at_gas_exchange_tdc": (
                valve.valve_lift_at_gas_exchange_tdc_mm,
                u["valve_lift_at_gas_exchange_tdc_mm"],
            ),
            "seating_velocity": (valve.seating_velocity_mm_per_crank_deg, None),
            "piston_clearance": (None if clearance is None else clearance.min_mm, u["piston_clearance_mm"]),
            "separation": (None if control is None else control.separation_rpm, None),
            "dynamic_separation": (None if control is None else control.dynamic_separation_rpm, None),
            "margin_at_max_speed": (None if control is None else control.margin_n_at_max_speed, None),
        }
        return Measured(*known[name]) if name in known else None

    return Item(valve.lobe, valve.kind, look_up)
