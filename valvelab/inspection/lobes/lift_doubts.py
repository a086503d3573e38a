"""Lift tables whose units are in doubt: no verdict may rest on them."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from valvelab.inspection.judging import Item
from valvelab.measured import Measured
from valvelab.records.measurement import NO_DOUBTS, Doubts

# What stays as it is whatever the angles' unit, and whatever the lifts' unit; all else depends on it.
_FREE_OF_ANGLE = frozenset({"max_lift", "noise", "max_lift_spread", "rule_lift", "max_valve_lift"})
_FREE_OF_LIFT = frozenset({"max_lift_angle", "peak_centre", "area_centre"})


def doubt_about(characteristic: str, doubts: Doubts) -> str:
    """Why a characteristic may be wrong; "" where no doubt touches it."""
    if doubts.lift and characteristic not in _FREE_OF_LIFT:
        return doubts.lift
    return doubts.angle if characteristic not in _FREE_OF_ANGLE else ""


def doubted(item: Item, doubts: Doubts, spared: Collection[str] = ()) -> Item:
    """The same item; each value that a doubt touches says so, but those `spared`, which don't rest on the table."""
    if doubts == NO_DOUBTS:
        return item

    def look_up(name: str, at_mm: float | None) -> Measured | None:
        found = item.look_up(name, at_mm)
        if found is None or name in spared:
            return found
        return replace(found, doubt=found.doubt or doubt_about(name, doubts))

    return replace(item, look_up=look_up)
