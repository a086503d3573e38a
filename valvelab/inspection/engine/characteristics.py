"""The engine rows of the table of characteristics, each with its function: degreeing, and the valve."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from typing import TYPE_CHECKING

from valvelab.inspection.characteristics import Row, Subject
from valvelab.inspection.engine.at_the_valve import CHARACTERISTICS as AT_THE_VALVE
from valvelab.inspection.engine.wheel import WheelEngine, WheelLobe
from valvelab.measured import Measured, missing
from valvelab.phasing.degreeing import Degreeing
from valvelab.phrase import Phrase

if TYPE_CHECKING:  # rows are listed without the valve train
    from valvelab.inspection.engine.valve import MeasuredValve
    from valvelab.records.motion_result import Control

NEEDS_CONTROL = Phrase("not derived: needs [valve] effective_mass, [spring] seat_force and rate")
NO_MAX_SPEED = "[crank] max_speed is not stated"
_KEEPS = "no contact is lost within the speeds looked at"


def _control(of: Callable[[Control], float | None], why: str) -> Callable[[MeasuredValve], Measured]:
    """Something of the follower's control; why: it may be missing where control is known."""

    def asked(valve: MeasuredValve) -> Measured:
        if valve.control is not None:
            return Measured.of(of(valve.control), None, why)
        return missing(NEEDS_CONTROL if valve.side.opens else Phrase("the valve never opens"))

    return asked


def _wheel(
    of: Callable[[Degreeing], Measured], *kinds: str, from_dead_centre: bool = True
) -> Callable[[WheelEngine], Measured]:
    """A value of the engine that rests on the lobes of some kinds."""
    return lambda engine: engine.about(of(engine.worked), kinds, from_dead_centre=from_dead_centre)


def overlap(engine: WheelEngine, lift_mm: float) -> Measured:
    """Crank angle with both valves beyond a lift."""
    return engine.about(engine.worked.overlap_at(lift_mm), _BOTH, from_dead_centre=False)


_BOTH = ("intake", "exhaust")
_PRACTICE = "common practice"
_MECHANICS = "plain mechanics"
_MIDDLE = "middle of the equal-lift pairs near the nose, weighted by flank slope squared; else of the events"

CHARACTERISTICS: tuple[Row, ...] = (
    Row("tdc_offset", "deg", "angle", "phasing", "wheel reading at true top dead centre",
        "middle of the piston-stop readings on the shorter arc", _PRACTICE, period=360.0, label="TDC on wheel",
        of=_wheel(lambda worked: worked.tdc_offset)),
    Row("intake_centreline", "crank deg", "angle", "phasing", "intake centreline after top dead centre", _MIDDLE,
        _PRACTICE, period=720.0, of=_wheel(lambda worked: worked.intake_centreline, "intake")),
    Row("exhaust_centreline", "crank deg", "angle", "phasing", "exhaust centreline before top dead centre", _MIDDLE,
        _PRACTICE, period=720.0, of=_wheel(lambda worked: worked.exhaust_centreline, "exhaust")),
    Row("advance", "crank deg", "angle", "phasing", "camshaft advance",
        "(exhaust centreline − intake centreline)/2, which is separation − intake centreline in number", _PRACTICE,
        of=_wheel(lambda worked: worked.advance, *_BOTH)),
    Row("correction", "crank deg", "angle", "phasing", "how far to advance the camshaft to meet its card",
        "measured − card intake centreline; without one, card − measured exhaust centreline", _PRACTICE,
        of=_wheel(lambda worked: worked.correction, *_BOTH)),
    Row("overlap", "crank deg", "angle", "phasing", "crank angle with both valves beyond the stated lift",
        "intake opening BTDC + exhaust closing ATDC", _PRACTICE, "lift", of=overlap),
    *AT_THE_VALVE,
    Row("max_valve_lift", "mm", "length", "valve", "greatest valve lift with the train's lash and deflection",
        "rocker curve of the lobe lift − lash − load/stiffness", _MECHANICS, free_of=frozenset({"angle unit"}),
        of=lambda valve: valve.max_lift),
    Row("valve_lift_at_gas_exchange_tdc", "mm", "length", "valve",
        "valve lift with the piston at gas-exchange top dead centre", "valve lift at crank angle 0", _PRACTICE,
        label="lift at TDC", of=lambda valve: valve.lift_at_tdc),
    Row("valve_duration", "crank deg", "angle", "valve", "crank angle over which the valve is beyond the stated lift",
        "crossings of the valve lift nearest its greatest on each flank", _PRACTICE, "lift",
        of=lambda valve, lift_mm: valve.duration(lift_mm)),
    Row("seating_velocity", "mm/crank deg", "number", "valve", "speed at which the valve meets its seat",
        "size of the valve velocity where the lash is used up on the closing side", _PRACTICE, states_u=False,
        of=lambda valve: valve.seating),
    Row("piston_clearance", "mm", "length", "valve", "least clearance of valve and piston around gas exchange",
        "stated drop at dead centre + piston drop × cos(valve angle) − valve lift", _MECHANICS,
        of=lambda valve: valve.least_clearance),
    Row("separation", "rpm", "speed", "valve", "lowest crank speed at which the follower leaves the cam, quasi-static",
        "spring force + effective mass × valve acceleration = 0 anywhere off the seat", _MECHANICS,
        label="leaves the cam, quasi-static", states_u=False,
        of=_control(lambda control: control.separation_rpm, _KEEPS)),
    Row("dynamic_separation", "rpm", "speed", "valve", "lowest crank speed of the dynamic sweep with contact lost",
        "lumped valve gear with contact that can open, spring as a chain of masses", _MECHANICS,
        label="contact lost, dynamic", states_u=False,
        of=_control(lambda control: control.dynamic_separation_rpm, f"the dynamic model was not run, or {_KEEPS}")),
    Row("margin_at_max_speed", "N", "force", "valve", "least contact force at the valve at the greatest crank speed",
        "least of spring force + effective mass × valve acceleration off the seat", _MECHANICS, states_u=False,
        of=_control(lambda control: control.margin_n_at_max_speed, NO_MAX_SPEED)),
)  # fmt: skip
WHEEL: tuple[Row, ...] = (
    Row("lobe_separation", "cam deg", "angle", "camshaft", "intake to exhaust centreline as the wheel has it",
        "half of the sum of both centrelines", _PRACTICE, listed=False,
        of=_wheel(lambda worked: worked.lobe_separation, *_BOTH, from_dead_centre=False)),
    Row("duration", "crank deg", "angle", "lobe", "crank angle over which the follower is beyond the stated lift",
        "closing − opening as read", _PRACTICE, "lift", listed=False, of=WheelLobe.duration),
)  # fmt: skip
"""What a degree wheel answers of a lobe's and a camshaft's characteristics."""
ANSWERED: Mapping[Subject, Collection[str]] = {row.subject: {row.name} for row in WHEEL}


def of_subject(subject: Subject) -> tuple[Row, ...]:
    """The rows of a subject."""
    return tuple(row for row in CHARACTERISTICS if row.subject == subject)
