"""The engine rows of the table of characteristics: degreeing, and the valve."""

from __future__ import annotations

from valvelab.inspection.characteristics import Characteristic

_PRACTICE = "common practice"
_MECHANICS = "plain mechanics"
_CROSSING = "by degree wheel the reading at the follower's lift; of the valve's motion its crossing of the valve's lift"

CHARACTERISTICS: tuple[Characteristic, ...] = (
    Characteristic(
        "tdc_offset", "deg", "angle", "phasing", "wheel reading at true top dead centre",
        "middle of the piston-stop readings on the shorter arc", _PRACTICE, period=360.0, label="TDC on wheel",
    ),
    Characteristic(
        "intake_centreline", "crank deg", "angle", "phasing", "intake centreline after top dead centre",
        "middle of the equal-lift pairs near the nose, weighted by flank slope squared; else of the events", _PRACTICE,
        period=720.0,
    ),
    Characteristic(
        "exhaust_centreline", "crank deg", "angle", "phasing", "exhaust centreline before top dead centre",
        "middle of the equal-lift pairs near the nose, weighted by flank slope squared; else of the events", _PRACTICE,
        period=720.0,
    ),
    Characteristic(
        "advance", "crank deg", "angle", "phasing", "camshaft advance",
        "(exhaust centreline − intake centreline)/2, which is separation − intake centreline in number", _PRACTICE,
    ),
    Characteristic(
        "correction", "crank deg", "angle", "phasing", "how far to advance the camshaft to meet its card",
        "measured − card intake centreline; without one, card − measured exhaust centreline", _PRACTICE,
    ),
    Characteristic(
        "overlap", "crank deg", "angle", "phasing", "crank angle with both valves beyond the stated lift",
        "intake opening BTDC + exhaust closing ATDC", _PRACTICE, "lift",
    ),
    Characteristic(
        "opening", "crank deg", "angle", "event",
        "opening event before its dead centre (BTDC of an intake, BBDC of an exhaust), after it negative", _CROSSING,
        _PRACTICE, "lift", period=720.0,
    ),
    Characteristic(
        "closing", "crank deg", "angle", "event",
        "closing event after its dead centre (ABDC of an intake, ATDC of an exhaust), before it negative", _CROSSING,
        _PRACTICE, "lift", period=720.0,
    ),
    Characteristic(
        "rule_lift", "mm", "length", "valve", "valve lift as rules count it: at the valve, without lash",
        "rocker curve at the greatest lobe lift; repeated indicator readings at the retainer where given", _PRACTICE,
        free_of=frozenset({"angle unit"}),
    ),
    Characteristic(
        "max_valve_lift", "mm", "length", "valve", "greatest valve lift with the train's lash and deflection",
        "rocker curve of the lobe lift − lash − load/stiffness", _MECHANICS,
        free_of=frozenset({"angle unit"}),
    ),
    Characteristic(
        "valve_lift_at_gas_exchange_tdc", "mm", "length", "valve", "valve lift with the piston at gas-exchange top "
        "dead centre", "valve lift at crank angle 0", _PRACTICE, label="lift at TDC",
    ),
    Characteristic(
        "valve_duration", "crank deg", "angle", "valve", "crank angle over which the valve is beyond the stated lift",
        "crossings of the valve lift nearest its greatest on each flank", _PRACTICE, "lift",
    ),
    Characteristic(
        "seating_velocity", "mm/crank deg", "number", "valve", "speed at which the valve meets its seat",
        "size of the valve velocity where the lash is used up on the closing side", _PRACTICE,
    ),
    Characteristic(
        "piston_clearance", "mm", "length", "valve", "least clearance of valve and piston around gas exchange",
        "stated drop at dead centre + piston drop × cos(valve angle) − valve lift", _MECHANICS,
    ),
    Characteristic(
        "separation", "rpm", "speed", "valve", "lowest crank speed at which the follower leaves the cam, quasi-static",
        "spring force + effective mass × valve acceleration = 0 anywhere off the seat", _MECHANICS,
        label="leaves the cam, quasi-static",
    ),
    Characteristic(
        "dynamic_separation", "rpm", "speed", "valve", "lowest crank speed of the dynamic sweep with contact lost",
        "lumped valve gear with contact that can open, spring as a chain of masses", _MECHANICS,
        label="contact lost, dynamic",
    ),
    Characteristic(
        "margin_at_max_speed", "N", "force", "valve", "least contact force at the valve at the greatest crank speed",
        "least of spring force + effective mass × valve acceleration off the seat", _MECHANICS,
    ),
)  # fmt: skip
