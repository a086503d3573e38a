"""A degree-wheel sheet as typed in TOML."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from valvelab.records.result import Record
from valvelab.records.spec import Quantity


class StopReadings(Record):
    """Piston-stop readings on the wheel, either or both senses."""

    readings: tuple[Quantity, ...] = ()


class EventRow(Record):
    """Wheel angles where the follower passes a lift; either may still be missing."""

    lobe: str = Field(min_length=1)
    lift: Quantity
    opening: Quantity | None = None
    closing: Quantity | None = None


class NearPeakRow(Record):
    """An equal-lift pair either side of the nose."""

    lobe: str = Field(min_length=1)
    below_peak: Quantity
    rising: Quantity | None = None
    falling: Quantity | None = None


class Wheel(Record):
    """The degree wheel: standard uncertainty of one reading, and whether readings grow as the engine turns."""

    uncertainty: Quantity | None = None
    sense: Literal["forward", "reverse"] = "forward"


class CardDurationRow(Record):
    """A duration that was ordered, crank deg."""

    lobe: str
    at: Quantity
    value: Quantity


class CardRecord(Record):
    """What was ordered; intake centreline in crank deg ATDC, exhaust centreline in crank deg BTDC."""

    intake_centreline: Quantity | None = None
    exhaust_centreline: Quantity | None = None
    duration: tuple[CardDurationRow, ...] = ()


class Adjuster(Record):
    """Steps the shop has on the shelf, crank deg; positive advances the camshaft."""

    steps: tuple[Quantity, ...] = ()


class SetAsideRow(Record):
    """A reading that was taken and does not count: what it was of, the wheel's reading, and why."""

    of: str = Field(min_length=1)
    reading: Quantity
    reason: str = Field(min_length=1)


class PhasingSheet(Record):
    """A whole sheet; every part is optional, so that a sheet can be half filled."""

    title: str | None = None
    part: str | None = None
    serial: str | None = None
    operator: str | None = None
    date: str | None = None
    stop: StopReadings = StopReadings()
    reading: tuple[EventRow, ...] = ()
    near_peak: tuple[NearPeakRow, ...] = ()
    wheel: Wheel = Wheel()
    card: CardRecord = CardRecord()
    adjuster: Adjuster = Adjuster()
    set_aside: tuple[SetAsideRow, ...] = ()
