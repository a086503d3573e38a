"""What is said of a lift check in words: how far a value stands from its limit, and what was decided."""

from __future__ import annotations

from valvelab.decimals import percent
from valvelab.records.result import Verdict
from valvelab.units import System, display_unit, show

_SIDES = {
    "rule_lift": ("too high", "too low", "below", "above"),
    "opening": ("too early", "too late", "within", "within"),
    "closing": ("too late", "too early", "within", "within"),
}


def margin(verdict: Verdict, decimals: int, system: System) -> str:
    """How far a value stands from its nearest limit: `0.036 mm below`, `0.065 mm too high`."""
    value = verdict.measured
    ends = [(end, upper) for end, upper in ((verdict.lower, False), (verdict.upper, True)) if end is not None]
    if value is None or not ends:
        return ""
    end, upper = min(ends, key=lambda one: (one[0] - value) if one[1] else (value - one[0]))
    inside = (end - value) if upper else (value - end)
    over_upper, under_lower, below, above = _SIDES[verdict.characteristic]
    size = f"{show(abs(inside), verdict.unit, system, decimals)} {display_unit(verdict.unit, system).label}"
    if inside < 0.0:
        return f"{size} {over_upper if upper else under_lower}"
    return f"{size} {below if upper else above}"


def chance(verdict: Verdict) -> str:
    """How sure it is that the true value conforms: `conforms with 99.8 %`."""
    share = verdict.probability_conforming
    return "" if share is None else f"{percent(share)} sure to conform"
