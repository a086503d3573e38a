"""The valve motion inspected: lobes, train and spec in, result out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.dynamics.response import Tell
from valvelab.frozen import frozen
from valvelab.inspection.characteristics import Subject
from valvelab.inspection.engine.characteristics import NEEDS_CONTROL, of_subject
from valvelab.inspection.engine.contact import contact_extremes
from valvelab.inspection.engine.control import control_of, dynamic_sweeps
from valvelab.inspection.engine.events import valve_durations
from valvelab.inspection.engine.rule_lift import rule_notes, rule_readings_of
from valvelab.inspection.engine.sides import Side, sides_of
from valvelab.inspection.engine.train import MotionQuestion
from valvelab.inspection.engine.valve import NEEDS_CLEARANCE, MeasuredValve
from valvelab.inspection.judging import Item, item_of, judge
from valvelab.inspection.unit_doubts import doubted
from valvelab.measured import Measured, missing
from valvelab.phasing.piston import piston_drop
from valvelab.phrase import Phrase, listed
from valvelab.records.motion_result import (
    ClearanceChange,
    MotionResult,
    MotionValve,
    PistonClearance,
)
from valvelab.records.result import Note, Source, Verdict, info, warning
from valvelab.records.spec import Spec
from valvelab.records.train import RuleReadingRecord, Train
from valvelab.valve_motion.clearance import Clearance, piston_clearances
from valvelab.valve_motion.valve_lift import crossings, valve_lift

PHASE_STEPS_DEG = (-8.0, -4.0, 0.0, 4.0, 8.0)
GUIDANCE_MM = {"intake": 2.0, "exhaust": 2.5}
CAUTION = (
    "Predicted speeds are estimates of a model, never safe speeds. Valve springs hold energy: eye protection, sound "
    "tools, hands clear. Results support, and never replace, the judgement of qualified people, the engine maker's "
    "limits and the event's officials. Not for flight-critical parts."
)


@frozen
class MotionInspection:
    """The result, and each valve's curves behind it."""

    question: MotionQuestion
    measured: tuple[MeasuredValve, ...]
    result: MotionResult

    @property
    def sides(self) -> tuple[Side, ...]:
        """Each lobe behind its gear."""
        return tuple(valve.side for valve in self.measured)


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
    measured, valves = [], []
    for side, swept in zip(sides, sweeps, strict=True):
        found, valve, said = _valve(question, replace(side, sweep=swept))
        measured.append(found)
        valves.append(valve)
        remarks += said
    result = MotionResult(source=source, notes=_once(remarks), verdicts=(), valves=tuple(valves))
    return judged(MotionInspection(question, tuple(measured), result), spec, spec_file)


def judged(
    inspection: MotionInspection,
    spec: Spec | None = None,
    spec_file: str = "spec",
    rule_readings: tuple[RuleReadingRecord, ...] | None = None,
) -> MotionInspection:
    """An inspection without verdicts held against a spec, with other readings at the retainers where given."""
    question, result = inspection.question, inspection.result
    if rule_readings is not None:
        question = replace(question, train=question.train.model_copy(update={"rule_reading": rule_readings}))
    readings = question.train.rule_reading
    measured = tuple(
        replace(valve, readings=rule_readings_of(readings, valve.side.lobe.name)) for valve in inspection.measured
    )
    valves = tuple(
        valve.model_copy(update={"rule_readings": found.readings})
        for valve, found in zip(result.valves, measured, strict=True)
    )
    known = {lobe.name for lobe in question.lobes}
    remarks = [
        warning(row.valve, Phrase("rule readings of a valve that the lift table does not have"))
        for row in readings
        if row.valve not in known
    ]
    remarks += [note for valve in valves for note in rule_notes(readings, valve.lobe, valve.rule_readings)]
    verdicts: tuple[Verdict, ...] = ()
    if spec is not None:
        found, said = judge(spec, _items(question, measured), spec_file, where="valve")
        verdicts, remarks = tuple(found), said + remarks
    notes = _once([*result.notes, *remarks])
    changed = result.model_copy(update={"valves": valves, "verdicts": verdicts, "notes": notes})
    return replace(inspection, question=question, measured=measured, result=changed)


def _items(question: MotionQuestion, valves: tuple[MeasuredValve, ...]) -> dict[Subject, list[Item]]:
    """Each valve, and each valve's events, at any lift that a limit names.

    What rests on a lift table in doubt says so; readings at a valve's own retainer rest on none.
    """
    items: dict[Subject, list[Item]] = {"valve": [], "event": []}
    for subject, rows in items.items():
        for valve in valves:
            lobe = valve.side.lobe
            item = item_of(lobe.name, lobe.kind, valve, of_subject(subject))
            rows.append(doubted(item, question.doubts, () if valve.readings is None else ("rule_lift",)))
    return items


def _once(notes: list[Note]) -> tuple[Note, ...]:
    """Each text once, with all that it concerns."""
    about: dict[tuple[str, str], list[str]] = {}
    for note in notes:
        named = about.setdefault((note.level, note.text), [])
        if note.about not in named:
            named.append(note.about)
    make = {"info": info, "warning": warning}
    return tuple(make[level](listed(named), text) for (level, text), named in about.items())


def _valve(question: MotionQuestion, side: Side) -> tuple[MeasuredValve, MotionValve, list[Note]]:
    train, lobe = question.train, side.lobe
    durations = valve_durations(train, side, question.checking_lifts_mm)
    notes = [
        info(
            lobe.name,
            Phrase(
                "the valve does not pass {at} mm on both flanks: its duration there is left open", at=f"{row.at_mm:g}"
            ),
        )
        for row in durations
        if row.duration_crank_deg is None
    ]
    seating, said = _seating(side)
    notes += said
    clearance, changes, said = _clearance(train, side)
    notes += said
    if clearance is None and not said:
        notes.append(info("piston_clearance", NEEDS_CLEARANCE))
    control, said = control_of(question, side)
    notes += said
    if control is None and not said:
        notes.append(info("control", NEEDS_CONTROL))
    contact, said = contact_extremes(question, side)
    notes += said
    measured = MeasuredValve(train, side, seating, clearance, control)
    rows = [row for row in of_subject("valve") if row.needs_at is None]
    numbers = {row.key: row.measured(measured) for row in rows}
    valve = MotionValve(
        lobe=lobe.name,
        kind=lobe.kind,
        rule_readings=None,
        durations=durations,
        lash_mm=side.gear.lash_mm,
        piston_clearance=clearance,
        clearance_changes=changes,
        control=control,
        contact=contact,
        uncertainty={row.key: numbers[row.key].u for row in rows if row.states_u},
        **{key: found.value for key, found in numbers.items() if key in MotionValve.model_fields},
    )
    return measured, valve, notes


def _seating(side: Side) -> tuple[Measured, list[Note]]:
    """Speed where the lash is used up on the closing side."""
    if not side.opens:
        return missing(Phrase("the valve never opens")), []
    if side.gear.lost_mm == 0.0:
        note = info(side.lobe.name, Phrase("without lash the valve seats where the lobe ends: no seating velocity"))
        return missing(note.text), [note]
    (found,) = crossings(side.lobe.profile, side.gear, side.timing, side.cycle, (0.0,))
    if found.closing_slope is None:
        note = warning(
            side.lobe.name, Phrase("the closing flank never uses up the lash: the valve is not seen to seat")
        )
        return missing(note.text), [note]
    return Measured(abs(found.closing_slope)), []


def clearances_of(train: Train, side: Side, settings: Sequence[tuple[float, float]]) -> list[Clearance]:
    """Valve to piston along gas exchange, none where not stated.

    settings: how far the camshaft is advanced, crank deg, and the lash, mm.
    """
    stated = train.clearance.intake_mm if side.lobe.kind == "intake" else train.clearance.exhaust_mm
    throw, rod = train.crank.throw_mm, train.crank.rod_mm
    if side.lobe.kind is None or stated is None or throw is None or rod is None or not side.tdc_known:
        return []
    advance_crank_deg, lash_mm = (np.array(column)[:, None] for column in zip(*settings, strict=True))

    def lift(crank: FloatArray) -> FloatArray:
        return valve_lift(side.lobe.profile, side.gear, side.timing, crank + advance_crank_deg, lash_mm)

    def drop(crank: FloatArray) -> FloatArray:
        return piston_drop(crank, throw, rod)

    return piston_clearances(lift, drop, stated, train.valve.angle_deg)


def _clearance(train: Train, side: Side) -> tuple[PistonClearance | None, tuple[ClearanceChange, ...], list[Note]]:
    lashes = dict.fromkeys((side.gear.lash_mm, 0.0))
    settings = [(step, lash) for lash in lashes for step in PHASE_STEPS_DEG]
    every = clearances_of(train, side, [(0.0, side.gear.lash_mm), *settings])
    if not every:
        return None, (), []
    found, *moved = every
    changes = [
        ClearanceChange(advance_crank_deg=step, lash_mm=lash, min_mm=row.min_mm, at_crank_deg=row.at_crank_deg)
        for (step, lash), row in zip(settings, moved, strict=True)
    ]
    notes = []
    name, wanted = side.lobe.name, GUIDANCE_MM[side.lobe.kind or "intake"]
    if found.min_mm <= 0.0:
        notes.append(
            warning(
                name,
                Phrase(
                    "the valve would meet the piston: {min} mm at {at} crank deg",
                    min=f"{found.min_mm:.2f}",
                    at=f"{found.at_crank_deg:.0f}",
                ),
            )
        )
    elif found.min_mm < wanted:
        text = Phrase(
            "valve to piston is under {wanted} mm, common practice for this valve; guidance, not a rule",
            wanted=f"{wanted:g}",
        )
        notes.append(warning(name, text))
    return PistonClearance(min_mm=found.min_mm, at_crank_deg=found.at_crank_deg), tuple(changes), notes
