"""What a table in doubt about its units, or without an uncertainty of its angles, makes of a characteristic."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from valvelab.inspection.characteristics import FreeOf, by_name
from valvelab.inspection.judging import Item
from valvelab.measured import Measured
from valvelab.phrase import Phrase
from valvelab.records.measurement import NO_DOUBTS, Doubts

LACKS_ANGLE = Phrase("angle uncertainty is not stated: u holds none")


def doubt_about(free_of: Collection[FreeOf], doubts: Doubts) -> str:
    """Why a characteristic may be wrong; "" where no doubt touches it."""
    if doubts.lift and "lift unit" not in free_of:
        return doubts.lift
    if doubts.height and "height unit" not in free_of:
        return doubts.height
    return doubts.angle if "angle unit" not in free_of else ""


def doubted(item: Item, doubts: Doubts, spared: Collection[str] = ()) -> Item:
    """The same item; each value that a doubt touches says so, but those `spared`, which don't rest on the table."""
    if doubts == NO_DOUBTS:
        return item

    def look_up(name: str, at_mm: float | None) -> Measured | None:
        found = item.look_up(name, at_mm)
        if found is None or name in spared:
            return found
        row = by_name(name)
        return replace(found, doubt=found.doubt or doubt_about(() if row is None else row.free_of, doubts))

    return replace(item, look_up=look_up)
