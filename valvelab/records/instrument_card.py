"""An instrument's calibration card as typed in TOML: what it read on gauge blocks or weights, when, on what standards.

    name = "dial 3"
    unit = "mm"                   # of bare numbers; it says as well whether lengths or forces are read
    resolution = 0.01
    calibrated = 2026-02-10
    interval = 12                 # months; or due = 2027-02-10
    [standards]
    name = "block set B"
    uncertainty = "0.2 um"        # standard, common to all of them
    [[point]]
    true = 5.0
    readings = [5.002, 5.003]
    uncertainty = "0.1 um"        # standard, this block's own

A card without points may state the instrument's standard uncertainty alone.
"""

from __future__ import annotations

import math
from calendar import monthrange
from collections.abc import Iterator
from datetime import date
from typing import Annotated, Literal

from pydantic import Field, model_validator

from valvelab.conformity.instrument import (
    Calibration,
    CalibrationPoint,
    StatedUncertainty,
    error_curve,
)
from valvelab.errors import BadQuantity
from valvelab.phrase import Phrase
from valvelab.quantities import Day, Name, above_zero
from valvelab.records.result import Note, info, warning
from valvelab.records.spec import Quantity
from valvelab.records.typed import Typed
from valvelab.units import CANONICAL, FACTORS, bounded, factor, parse_quantity, split_quantity

MOST_POINTS, MOST_REPEATS = 500, 100
STANDARD_GRAVITY = 9.80665
"""m/s², a convention and no place's own (ISO 80000-4)."""
GRAVITY_UNKNOWN = 0.0027 / math.sqrt(3.0)
"""Relative standard uncertainty of gravity that nobody states: 9.780 m/s² at the equator, 9.832 at a pole (memory)."""


Weight = Annotated[float, above_zero("mass", 1e-6, 1000.0)]
"""kg, above 0."""


class CardPoint(Typed):
    """One gauge block or weight: its true value or mass, what was read on it, its own standard uncertainty."""

    true: Quantity | None = None
    mass_kg: Weight | None = None
    readings: tuple[Quantity, ...] = Field(min_length=1, max_length=MOST_REPEATS)
    uncertainty: Quantity | None = None


class Standards(Typed):
    """The standards, and the standard uncertainties that all of them share; gravity where weights were hung, m/s²."""

    name: str | None = None
    certificate: str | None = None
    uncertainty: Quantity | None = None
    relative_uncertainty: float = Field(default=0.0, ge=0.0, le=0.1)
    gravity: float | None = Field(default=None, ge=9.76, le=9.84)


class InstrumentCard(Typed):
    """A whole card; either points or one stated standard uncertainty."""

    name: Name
    unit: str
    serial: str | None = None
    calibrated: Day | None = None
    due: Day | None = None
    interval: int | None = Field(default=None, ge=1, le=240, description="months from `calibrated` to due")
    resolution: Quantity | None = None
    repeatability: Quantity | None = Field(default=None, description="standard deviation of one reading, if known")
    uncertainty: Quantity | None = None
    standards: Standards = Standards()
    point: tuple[CardPoint, ...] = Field(default=(), max_length=MOST_POINTS)

    @model_validator(mode="after")
    def _fits(self) -> InstrumentCard:
        if not (_is_unit(self.unit, "length") or _is_unit(self.unit, "force")):
            raise BadQuantity("unit", f"{self.unit!r}", "a unit of length or force (mm, um, in, N, lbf, …)")
        if self.calibrated is not None and not "1900" <= self.calibrated < "2200":
            raise BadQuantity("calibrated", self.calibrated, "a day from 1900 to 2199")
        if self.interval is not None and self.calibrated is None:
            raise BadQuantity("interval", f"{self.interval} months", "a date `calibrated` that they count from")
        if self.interval is not None and self.due is not None:
            raise BadQuantity("due", f"{self.due} and an interval", "one of the two")
        if self.calibrated is not None and self.due is not None and self.due <= self.calibrated:
            raise BadQuantity("due", f"{self.due}", f"a date after `calibrated`, {self.calibrated}")
        if bool(self.point) == (self.uncertainty is not None):
            found = "both" if self.point else "neither"
            raise BadQuantity("", f"{found} of [[point]] and uncertainty", "a curve's points or one uncertainty")
        _ = self.calibration  # points that make no curve are refused
        return self

    @property
    def dimension(self) -> Literal["length", "force"]:
        """What the instrument reads."""
        return "length" if _is_unit(self.unit, "length") else "force"

    @property
    def canonical(self) -> str:
        """The unit that `calibration` is in: mm or N."""
        return CANONICAL[self.dimension]

    def is_of(self, instrument: str) -> bool:
        """Whether readings that name this instrument name the card's; case and spaces don't matter."""
        return instrument.casefold().split() == self.name.casefold().split()

    @property
    def due_on(self) -> str | None:
        """The day the next calibration is due, by date or interval, ISO 8601; None where neither is stated."""
        if self.calibrated is None or self.interval is None:
            return self.due
        begun = date.fromisoformat(self.calibrated)
        years, month = divmod(begun.month - 1 + self.interval, 12)
        year = begun.year + years
        return date(year, month + 1, min(begun.day, monthrange(year, month + 1)[1])).isoformat()

    @property
    def gravity_assumed(self) -> bool:
        """Whether weights were hung where nobody said how strong gravity is."""
        return self.standards.gravity is None and any(row.mass_kg is not None for row in self.point)

    @property
    def calibration(self) -> Calibration:
        """What the card says of readings in mm or N. Raises BadQuantity or CannotEvaluate for points of no curve."""
        division = self._size(self.resolution, "resolution")
        if self.uncertainty is not None:
            return StatedUncertainty(self._size(self.uncertainty, "uncertainty") or 0.0, division)
        relative = math.hypot(self.standards.relative_uncertainty, GRAVITY_UNKNOWN if self.gravity_assumed else 0.0)
        return error_curve(
            [self._point(row, f"[[point]] {number}") for number, row in enumerate(self.point, start=1)],
            common=self._size(self.standards.uncertainty, "[standards] uncertainty") or 0.0,
            relative=relative,
            division=division,
            repeatability=self._size(self.repeatability, "repeatability"),
            unit=self.canonical,
        )

    def _point(self, row: CardPoint, place: str) -> CalibrationPoint:
        if (row.true is None) == (row.mass_kg is None):
            raise BadQuantity(place, "both" if row.mass_kg else "neither of true and mass", "one of true and mass")
        if row.mass_kg is not None and self.dimension != "force":
            raise BadQuantity(f"{place} mass", f"{row.mass_kg:g} kg", f"true, a length: the card's unit is {self.unit}")
        true = (row.mass_kg or 0.0) * (self.standards.gravity or STANDARD_GRAVITY)
        return CalibrationPoint(
            true=true if row.true is None else self._canonical(row.true, f"{place} true"),
            readings=tuple(self._canonical(value, f"{place} readings") for value in row.readings),
            uncertainty=self._size(row.uncertainty, f"{place} uncertainty") or 0.0,
        )

    def _canonical(self, value: Quantity, field: str) -> float:
        """A value in mm or N; a bare number is in the card's unit."""
        bare = not isinstance(value, str) or not split_quantity(value, field)[1]
        scale = factor(self.unit, self.dimension, field) if bare else 1.0
        return bounded(scale * parse_quantity(value, self.dimension, field), self.dimension, field)

    def _size(self, value: Quantity | None, field: str) -> float | None:
        if value is None:
            return None
        size = self._canonical(value, field)
        if size <= 0.0:
            raise BadQuantity(field, f"{value!r}", f"a {self.dimension} above 0")
        return size

    @property
    def told(self) -> str:
        """Name, serial number, dates and standards in one line, for paper."""
        standards = [text for text in (self.standards.name, self.standards.certificate) if text]
        parts = [
            self.name,
            f"no. {self.serial}" if self.serial else "",
            f"calibrated {self.calibrated}" if self.calibrated else "",
            f"due {self.due_on}" if self.due_on else "",
            f"standards {', '.join(standards)}" if standards else "",
        ]
        return ", ".join(part for part in parts if part)

    def notes(self, inspected: str | None) -> Iterator[Note]:
        """What whoever uses the card has to know; `inspected`: the date that the readings state, if any."""
        day = _known_day(inspected)
        due = self.due_on
        if due is None:
            yield info(
                "instrument",
                Phrase("the card of {name} states no date by which its next calibration is due", name=self.name),
            )
        elif day is None:
            yield info(
                "instrument",
                Phrase(
                    "the readings state no date: whether {name}, due {due}, was in date is unknown",
                    name=self.name,
                    due=due,
                ),
            )
        elif day > due:
            yield warning(
                "instrument",
                Phrase(
                    "the calibration of {name} was due on {due}, the readings are of {day}",
                    name=self.name,
                    due=due,
                    day=day,
                ),
            )
        if day is not None and self.calibrated is not None and day < self.calibrated:
            text = Phrase(
                "{name} was calibrated on {calibrated}, after the readings of {day}",
                name=self.name,
                calibrated=self.calibrated,
                day=day,
            )
            yield warning("instrument", text)
        if self.gravity_assumed:
            text = Phrase(
                "gravity of {gravity} m/s² is assumed for the weights of {name}: forces carry {share} of standard "
                "uncertainty for it; state it in [standards]",
                gravity=STANDARD_GRAVITY,
                name=self.name,
                share=f"{GRAVITY_UNKNOWN:.2%}",
            )
            yield info("instrument", text)
        if self.point and self.resolution is None and all(len(row.readings) == 1 for row in self.point):
            text = Phrase(
                "the card of {name} has one reading a point and no resolution: their scatter is unknown", name=self.name
            )
            yield warning("instrument", text)


def _is_unit(unit: str, dimension: Literal["length", "force"]) -> bool:
    return unit.lower() in {name.lower() for name in FACTORS[dimension]}


def _known_day(text: str | None) -> str | None:
    try:
        return None if text is None else date.fromisoformat(text.strip()).isoformat()
    except ValueError:
        return None
