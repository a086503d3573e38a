"""A degree-wheel sheet as typed in TOML, canonical once it is read.

What the sheet's rows hold is said where they are worked with; how they are grouped in the file is said here.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from valvelab.phasing.degreeing import (
    WHEEL_UNCERTAINTY,
    Card,
    EventReading,
    NosePair,
    SetAside,
    Sheet,
    WheelReading,
)
from valvelab.quantities import CardAngle
from valvelab.records.typed import Typed


class StopReadings(Typed):
    """Piston-stop readings on the wheel, either or both senses."""

    readings_deg: tuple[WheelReading, ...] = ()


class Wheel(Typed):
    """The degree wheel: standard uncertainty of one reading, and whether readings grow as the engine turns."""

    uncertainty_deg: Annotated[float, WHEEL_UNCERTAINTY] | None = None
    sense: Literal["forward", "reverse"] = "forward"


class Adjuster(Typed):
    """Steps the shop has on the shelf, crank deg; positive advances the camshaft."""

    steps_deg: tuple[CardAngle, ...] = ()


class PhasingSheet(Typed):
    """A whole sheet; every part is optional, so that a sheet can be half filled."""

    title: str | None = None
    part: str | None = None
    serial: str | None = None
    operator: str | None = None
    date: str | None = None
    stop: StopReadings = StopReadings.model_construct()
    reading: tuple[EventReading, ...] = ()
    near_peak: tuple[NosePair, ...] = ()
    wheel: Wheel = Wheel.model_construct()
    card: Card = Field(default_factory=Card)
    adjuster: Adjuster = Adjuster.model_construct()
    set_aside: tuple[SetAside, ...] = ()

    @property
    def sheet(self) -> Sheet:
        """All of it as it is worked with."""
        return Sheet(
            stop_deg=self.stop.readings_deg,
            events=self.reading,
            pairs=self.near_peak,
            wheel_uncertainty_deg=self.wheel.uncertainty_deg,
            sense=self.wheel.sense,
            card=self.card,
            steps_deg=self.adjuster.steps_deg,
            set_aside=self.set_aside,
            part=self.part,
            serial=self.serial,
            operator=self.operator,
            date=self.date,
        )
