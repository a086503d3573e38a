"""A cam card: what a camshaft was ordered as, or found to be; part of a spec (TOML), canonical once it is read."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from valvelab.quantities import LENGTH, CardAngle, Name, Reader, ReadingLift, number
from valvelab.records.typed import Typed

if TYPE_CHECKING:
    from valvelab.phasing.degreeing import Card
    from valvelab.phasing.timing import EventName


def _event(which: EventName) -> Reader[float]:
    """An event as the trade counts it: openings before their dead centre, closings after it; crank deg."""

    def read(value: float | str) -> float:
        from valvelab.phasing.timing import typed_event  # a spec without a card, and its schema, load no numerics

        return typed_event(value, which, "")[0]

    return Reader(read)


LashSize = Annotated[float, number(LENGTH, lambda mm: 0.0 <= mm <= 5.0, "a lash of 0 to 5 mm")]
Ratio = Annotated[float, number(float, lambda ratio: 0.2 <= ratio <= 5.0, "a ratio of 0.2 to 5", float)]
Opening = Annotated[float, _event("opening")]
Closing = Annotated[float, _event("closing")]


class CardEvents(Typed):
    """A lobe at one lift: duration, and its events as the trade counts them, `"9 deg BTDC"`; crank deg."""

    lobe: Name
    at_mm: ReadingLift
    value_crank_deg: CardAngle
    opening_deg: Opening | None = None
    closing_deg: Closing | None = None


class CardLift(Typed):
    """A lobe's greatest lift."""

    lobe: Name
    value_mm: ReadingLift


class CamCard(Typed):
    """Centrelines in crank deg (intake ATDC, exhaust BTDC), lash at the valve, lifts, durations with their events."""

    intake_centreline_deg: CardAngle | None = None
    exhaust_centreline_deg: CardAngle | None = None
    intake_lash_mm: LashSize | None = None
    exhaust_lash_mm: LashSize | None = None
    rocker_ratio: Ratio | None = None
    lift: tuple[CardLift, ...] = ()
    duration: tuple[CardEvents, ...] = ()

    @property
    def ordered(self) -> Card:
        """What a degreeing is held against."""
        from valvelab.phasing.degreeing import Card, CardDuration

        rows = tuple(CardDuration(row.lobe, row.at_mm, row.value_crank_deg) for row in self.duration)
        return Card(self.intake_centreline_deg, self.exhaust_centreline_deg, rows)
