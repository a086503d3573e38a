"""Valve events: wheel readings to crank angles, trade event angles, and the arithmetic between them.

Crank angle 0 is top dead centre of gas exchange, growing in the running sense.
Source: common practice; plain arithmetic.
"""

from __future__ import annotations

import re
from typing import Literal

from valvelab.angles import fold_scalar, wrap_scalar
from valvelab.frozen import frozen
from valvelab.units import parse_angle

Kind = Literal["intake", "exhaust"]
EventName = Literal["opening", "closing"]
WheelSense = Literal["forward", "reverse"]
Reference = Literal["BTDC", "ATDC", "BBDC", "ABDC"]
DeadCentre = Literal["TDC", "BDC"]

_LOBE_NAME = re.compile(r"(\d+)([IE])(\d*)")
_REFERENCE = re.compile(r"(.*?)\s*\b([AB])([TB]DC)\s*", re.IGNORECASE | re.DOTALL)


def lobe_kind(name: str) -> Kind | None:
    """`intake` for 1I, 1I2, …; `exhaust` for 4E; None for any other name."""
    match = _LOBE_NAME.fullmatch(name.strip().upper())
    if match is None:
        return None
    return "intake" if match.group(2) == "I" else "exhaust"


def lobe_cylinder(name: str) -> int | None:
    """Cylinder number of 1I, 4E2, …; None for any other name."""
    match = _LOBE_NAME.fullmatch(name.strip().upper())
    return None if match is None else int(match.group(1))


@frozen
class TradeEvent:
    """An event as the trade says it: degrees before or after the dead centre it belongs to."""

    angle_deg: float
    reference: Reference


def crank_angle(wheel_deg: float, tdc_offset_deg: float, sense: WheelSense) -> float:
    """Crank angle from true dead centre, in [−180, 180), of a wheel reading."""
    angle = wheel_deg - tdc_offset_deg
    return wrap_scalar(-angle if sense == "reverse" else angle)


def opening_and_closing(kind: Kind, opening_deg: float, closing_deg: float) -> tuple[float, float]:
    """Both events on one continuous crank axis, from angles known only within a turn of the wheel.

    An intake opens within half a turn of gas-exchange dead centre and closes less than a turn later; an exhaust closes
    within half a turn of it and opened less than a turn before. Crank deg.
    """
    duration = fold_scalar(closing_deg - opening_deg)
    if kind == "intake":
        opening = wrap_scalar(opening_deg)
        return opening, opening + duration
    closing = wrap_scalar(closing_deg)
    return closing - duration, closing


def single_event(kind: Kind, which: EventName, angle_deg: float) -> float:
    """One event alone on the crank axis: within half a turn of the dead centre it belongs to. Crank deg."""
    return wrap_scalar(angle_deg - _home(kind, which)) + _home(kind, which)


def _home(kind: Kind, which: EventName) -> float:
    if kind == "intake":
        return 0.0 if which == "opening" else 180.0
    return -180.0 if which == "opening" else 0.0


def trade_event(kind: Kind, which: EventName, crank_deg: float) -> TradeEvent:
    """Crank angle as BTDC/ATDC (intake opening, exhaust closing) or BBDC/ABDC (intake closing, exhaust opening)."""
    home = _home(kind, which)
    angle = crank_deg - home
    before: Reference = "BTDC" if home == 0.0 else "BBDC"
    after: Reference = "ATDC" if home == 0.0 else "ABDC"
    return TradeEvent(-angle, before) if angle < 0.0 else TradeEvent(angle, after)


def trade_number(kind: Kind, which: EventName, crank_deg: float) -> float:
    """The event's number as the trade writes it: openings before their dead centre, closings after it; deg, signed."""
    from_home = crank_deg - _home(kind, which)
    return -from_home if which == "opening" else from_home


def event_words(kind: Kind, which: EventName, number_deg: float) -> str:
    """The event as it is typed, `"9.0 deg BTDC"`, from its number as the trade counts it. Crank deg."""
    before = (number_deg >= 0.0) == (which == "opening")
    return f"{abs(number_deg)!r} deg {'B' if before else 'A'}{home_of(kind, which)}"


def typed_event(value: str | float, which: EventName, field: str) -> tuple[float, DeadCentre | None]:
    """An event as a person types it, `"9 deg BTDC"`: its number as the trade counts it, and the dead centre it names.

    Crank deg; openings count before their dead centre, closings after it, and a bare number counts that way. Refuses
    what is no angle, naming `field`.
    """
    match = _REFERENCE.fullmatch(value) if isinstance(value, str) else None
    if match is None:
        return parse_angle(value, "crank", field), None
    number = parse_angle(match[1], "crank", field)
    return number if (match[2].upper() == "B") == (which == "opening") else -number, named_dead_centre(value)


def named_dead_centre(value: str | float | None) -> DeadCentre | None:
    """The dead centre that an event's words name, as in `"9 deg BTDC"`; None where they name none."""
    match = _REFERENCE.fullmatch(value) if isinstance(value, str) else None
    if match is None:
        return None
    return "TDC" if match[3].upper() == "TDC" else "BDC"


def home_of(kind: Kind, which: EventName) -> DeadCentre:
    """The dead centre that an event is counted from."""
    return "TDC" if _home(kind, which) == 0.0 else "BDC"


def nose_middle(kind: Kind | None, rising_deg: float, falling_deg: float) -> float:
    """Middle of an equal-lift pair on the shorter arc, on the turn where the kind's centreline lies.

    Intake in [−70, 290), exhaust in [−290, 70), another lobe in [−180, 180). Crank deg.
    """
    middle = rising_deg + 0.5 * wrap_scalar(falling_deg - rising_deg)
    expected = {"intake": 110.0, "exhaust": -110.0, None: 0.0}[kind]
    return expected + wrap_scalar(middle - expected)


def after_dead_centre(kind: str | None, intake_atdc: float | None, exhaust_btdc: float | None) -> float | None:
    """The centreline of a kind of lobe of the two as they are stated, after dead centre positive; crank deg.

    None where it is not stated, or the kind is neither intake nor exhaust.
    """
    if kind == "intake":
        return intake_atdc
    return -exhaust_btdc if kind == "exhaust" and exhaust_btdc is not None else None


def lobe_separation(intake_centreline_atdc: float, exhaust_centreline_btdc: float) -> float:
    """Lobe separation in cam degrees from both centrelines in crank degrees: (ICL + ECL)/2."""
    return 0.5 * (intake_centreline_atdc + exhaust_centreline_btdc)


def advance(intake_centreline_atdc: float, exhaust_centreline_btdc: float) -> float:
    """Camshaft advance, crank deg: (ECL − ICL)/2, which is separation − ICL in number."""
    return 0.5 * (exhaust_centreline_btdc - intake_centreline_atdc)


def events_from_card(kind: Kind, duration_crank_deg: float, centreline_deg: float) -> tuple[float, float]:
    """Opening and closing crank angle of a symmetrical lobe from its duration and its card centreline.

    `centreline_deg` as the card has it: ATDC for an intake, BTDC for an exhaust. Crank deg.
    """
    centre = centreline_deg if kind == "intake" else -centreline_deg
    return centre - 0.5 * duration_crank_deg, centre + 0.5 * duration_crank_deg


def nearest_step(correction_deg: float, steps_deg: tuple[float, ...]) -> float | None:
    """The step on the shelf nearest to a correction; of two equally near the smaller one; None with an empty shelf.

    Deg.
    """
    if not steps_deg:
        return None
    return min(steps_deg, key=lambda step: (round(abs(step - correction_deg), 9), abs(step), step))
