"""Rows of the table of characteristics that are read at a valve as well as worked out behind its train.

They stand apart from the other engine rows so that a check of readings loads nothing of the valve train.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from valvelab.inspection.characteristics import Row
from valvelab.measured import Measured
from valvelab.phasing.timing import EventName


class HasEvents(Protocol):
    """A lobe or valve whose events are known."""

    def event(self, which: EventName, lift_mm: float) -> Measured:
        """Opening or closing at a lift, as the trade counts it."""


class HasLift(Protocol):
    """A valve whose lift without lash is known."""

    @property
    def rule_lift(self) -> Measured:
        """Lift without lash."""


def _event(which: EventName) -> Callable[[HasEvents, float], Measured]:
    """An event: by degree wheel at the follower's lift, of the valve's motion or at the retainer at the valve's."""
    return lambda item, lift_mm: item.event(which, lift_mm)


def _rule_lift(valve: HasLift) -> Measured:
    return valve.rule_lift


_PRACTICE = "common practice"
_CROSSING = "by degree wheel the reading at the follower's lift; of the valve's motion its crossing of the valve's lift"

CHARACTERISTICS: tuple[Row, ...] = (
    Row("opening", "crank deg", "angle", "event",
        "opening event before its dead centre (BTDC of an intake, BBDC of an exhaust), after it negative", _CROSSING,
        _PRACTICE, "lift", period=720.0, of=_event("opening")),
    Row("closing", "crank deg", "angle", "event",
        "closing event after its dead centre (ABDC of an intake, ATDC of an exhaust), before it negative", _CROSSING,
        _PRACTICE, "lift", period=720.0, of=_event("closing")),
    Row("rule_lift", "mm", "length", "valve", "valve lift as rules count it: at the valve, without lash",
        "rocker curve at the greatest lobe lift; repeated indicator readings at the retainer where given", _PRACTICE,
        free_of=frozenset({"angle unit"}), of=_rule_lift),
)  # fmt: skip
