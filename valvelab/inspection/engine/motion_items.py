"""Valves behind their train as items that limits apply to."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from valvelab.inspection.characteristics import Subject
from valvelab.inspection.engine.events import event_number, valve_duration
from valvelab.inspection.engine.rule_lift import measured_of
from valvelab.inspection.engine.sides import Side
from valvelab.inspection.engine.train import MotionQuestion, TrainSetting
from valvelab.inspection.judging import Item
from valvelab.inspection.lobes.lift_doubts import LACKS_ANGLE, doubted
from valvelab.measured import Measured
from valvelab.records.motion_result import MotionValve

_NOT_PASSED = "the valve does not pass that lift on that flank"
_NO_CENTRE = "what counts from dead centre is not known: see the notes on the timing"
_CONTROL = "not derived, or no contact is lost within the speeds looked at: see the notes"
_LACKS_TIMING = "the timing's own uncertainty is not known"


def motion_items(
    question: MotionQuestion, sides: Sequence[Side], valves: Sequence[MotionValve]
) -> dict[Subject, list[Item]]:
    """Each valve, and each valve's events, at any lift that a limit names.

    What rests on a lift table in doubt says so; readings at a valve's own retainer rest on none.
    """
    train, doubts = question.train, question.doubts
    return {
        "valve": [
            doubted(_valve(train, side, valve), doubts, () if valve.rule_readings is None else ("rule_lift",))
            for side, valve in zip(sides, valves, strict=True)
        ],
        "event": [doubted(_events(train, side), doubts) for side in sides],
    }


def _valve(train: TrainSetting, side: Side, valve: MotionValve) -> Item:
    u = valve.uncertainty
    control, clearance = valve.control, valve.piston_clearance
    known = {
        "rule_lift": Measured(valve.rule_lift_mm, u["rule_lift_mm"]),
        "max_valve_lift": Measured(valve.max_valve_lift_mm, u["max_valve_lift_mm"]),
        "valve_lift_at_gas_exchange_tdc": Measured(
            valve.valve_lift_at_gas_exchange_tdc_mm, u["valve_lift_at_gas_exchange_tdc_mm"], _NO_CENTRE
        ),
        "seating_velocity": Measured(valve.seating_velocity_mm_per_crank_deg, None, "not derived: see the notes"),
        "piston_clearance": Measured(
            None if clearance is None else clearance.min_mm, u["piston_clearance_mm"],
            "not derived: needs [clearance], [crank] throw and rod, and the timing",
        ),
        "separation": Measured(None if control is None else control.separation_rpm, None, _CONTROL),
        "dynamic_separation": Measured(None if control is None else control.dynamic_separation_rpm, None, _CONTROL),
        "margin_at_max_speed": Measured(
            None if control is None else control.margin_n_at_max_speed, None,
            "not derived: needs [valve] effective_mass, [spring] seat_force and rate, and [crank] max_speed",
        ),
    }  # fmt: skip

    def look_up(name: str, at_mm: float | None) -> Measured | None:
        if name == "valve_duration" and at_mm is not None:
            row = valve_duration(train, side, at_mm)
            lacks = LACKS_ANGLE if side.lobe.encoder_cam_deg is None else ""
            return Measured(row.duration_crank_deg, row.uncertainty["duration_crank_deg"], _NOT_PASSED, lacks=lacks)
        if name == "rule_lift" and valve.rule_readings is not None:
            return measured_of(valve.rule_readings)
        return known.get(name)

    return Item(valve.lobe, valve.kind, look_up)


def _events(train: TrainSetting, side: Side) -> Item:
    """Opening and closing as the trade counts them, at the valve's lift."""

    def look_up(name: str, at_mm: float | None) -> Measured | None:
        if at_mm is None:
            return None
        if side.lobe.kind is None:
            return Measured(None, None, "its name says neither intake nor exhaust")
        if not side.tdc_known:
            return Measured(None, None, _NO_CENTRE)
        which: Literal["opening", "closing"] = "opening" if name == "opening" else "closing"
        row = valve_duration(train, side, at_mm)
        u = row.uncertainty[f"{which}_crank_deg"]
        lacks = [_LACKS_TIMING, *([LACKS_ANGLE] if side.lobe.encoder_cam_deg is None else [])]
        return Measured(event_number(side, row, which), u, _NOT_PASSED, lacks="; ".join(lacks))

    return Item(side.lobe.name, side.lobe.kind, look_up)
