"""What a person types and what the program holds of it: `"9.5 mm"`, `"0.374 in"` or 15 in, the canonical number out.

    hot_mm: Annotated[float, number(LENGTH, lambda mm: 0.0 <= mm <= 5.0, "a lash of 0 to 5 mm")]

What can't be read is refused as `found …, expected …`; whoever reads the file adds the file and the key.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import UTC, date, datetime
from functools import partial
from time import time
from typing import Annotated, Any, Generic, TypeVar

from valvelab.errors import BadQuantity
from valvelab.frozen import frozen
from valvelab.units import CANONICAL, Dimension, bounded, parse_angle, parse_quantity, split_quantity

Meant = TypeVar("Meant")
Parse = Callable[[float | str], float]

LENGTH: Parse = partial(parse_quantity, dimension="length", field="")
ANGLE: Parse = partial(parse_quantity, dimension="angle", field="")
CAM_ANGLE: Parse = partial(parse_angle, wanted="cam", field="")
CRANK_ANGLE: Parse = partial(parse_angle, wanted="crank", field="")


def bounded_length(value: float | str) -> float:
    """A length no valvetrain part exceeds."""
    return bounded(LENGTH(value), "length", "")


@frozen
class Reader(Generic[Meant]):
    """How a field is read, as its annotation: `read` gives what was meant, or raises BadQuantity without a field.

    typed: what may be typed at all; another kind of value is refused before it is read.
    """

    read: Callable[[Any], Meant]
    typed: Any = float | str

    def __get_pydantic_core_schema__(self, _source: object, handler: Any) -> Any:
        """Asked by pydantic where a record with such a field is made from a file."""
        from pydantic_core import core_schema

        return core_schema.no_info_after_validator_function(self.read, handler.generate_schema(self.typed))


def number(parse: Parse, fits: Callable[[float], bool], expected: str, typed: Any = float | str) -> Reader[float]:
    """A number that `fits`; `expected` says in words which do."""

    def read(value: float | str) -> float:
        found = parse(value)
        if not fits(found):
            raise BadQuantity("", f"{value!r}", expected)
        return found

    return Reader(read, typed)


def above_zero(dimension: Dimension, least: float, greatest: float) -> Reader[float]:
    """A quantity above 0, within canonical ends far beyond any engine, so that no figure overflows."""
    ends = f"a {dimension} of {least:g} to {greatest:g} {CANONICAL[dimension]}".rstrip()

    def read(value: float | str) -> float:
        found = parse_quantity(value, dimension, "")
        if not least <= found <= greatest:
            raise BadQuantity("", f"{value!r}", ends if found > 0.0 else f"a {dimension} above 0")
        return found

    return Reader(read)


def _micrometres(value: float | str) -> float:
    if isinstance(value, str) and split_quantity(value, "")[1]:
        return LENGTH(value) * 1000.0
    return parse_quantity(value, "number", "")


def _to_the_nanometre(lift: float | str) -> float:
    """A length rounded, so that "0.050 in" and "1.27 mm" are one lift."""
    return round(LENGTH(lift), 6)


def day(value: str | date) -> str:
    """A day as ISO 8601; BadQuantity for what is none."""
    try:
        return (value if isinstance(value, date) else date.fromisoformat(value)).isoformat()
    except ValueError:
        raise BadQuantity("", repr(value), "a date as YYYY-MM-DD") from None


class _NotEmpty:
    """A text with something in it."""

    def __get_pydantic_core_schema__(self, _source: object, _handler: Any) -> Any:
        from pydantic_core import core_schema

        return core_schema.str_schema(min_length=1)


Name = Annotated[str, _NotEmpty()]
Day = Annotated[str, Reader(day, str | date)]
"""A day, ISO 8601."""
SIZE = above_zero("length", 1e-7, 10_000.0)
Length = Annotated[float, SIZE]
"""mm, above 0."""
Place = Annotated[float, number(LENGTH, lambda mm: abs(mm) <= 10_000.0, "a length within ±10000 mm")]
"""mm, of either sign."""
Force = Annotated[float, above_zero("force", 1e-3, 1e6)]
"""N, above 0."""
Stiffness = Annotated[float, above_zero("rate", 1e-3, 1e10)]
"""N/mm, above 0."""
Mass = Annotated[float, above_zero("mass", 1e-6, 100.0)]
"""kg, above 0."""
Pressure = Annotated[float, above_zero("stress", 1.0, 1e7)]
"""MPa, above 0."""
Frequency = Annotated[float, above_zero("frequency", 0.1, 1e6)]
"""Hz, above 0."""
Speed = Annotated[float, above_zero("speed", 1.0, 1e5)]
"""1/min, above 0."""
Roughness = Annotated[float, number(_micrometres, lambda um: 1e-6 <= um <= 1e6, "a roughness of 1e-06 to 1e+06 µm")]
"""µm, above 0; a bare number is in µm."""
Angle = Annotated[float, Reader(ANGLE)]
"""deg, of either sign."""
CrankAngle = Annotated[float, number(CRANK_ANGLE, lambda deg: abs(deg) <= 1e8, "an angle within ±1e+08 crank deg")]
"""crank deg, of either sign; cam deg are doubled."""

CARD_ANGLE = Reader(CRANK_ANGLE)
CardAngle = Annotated[float, CARD_ANGLE]
"""crank deg, as a cam card has it."""
READING_LIFT = number(_to_the_nanometre, lambda mm: 0.0 < mm < 50.0, "a lift above 0 and below 50 mm")
ReadingLift = Annotated[float, READING_LIFT]
"""mm at the follower."""


def time_of_writing() -> str:
    """The time now as ISO 8601 in UTC to the second; SOURCE_DATE_EPOCH of the environment stands in for the clock."""
    stated = os.environ.get("SOURCE_DATE_EPOCH", "")
    seconds = float(stated) if stated.isascii() and stated.isdigit() and len(stated) <= 11 else time()
    return datetime.fromtimestamp(seconds, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def iso_date(text: str | None) -> str:
    """A date as ISO 8601, today where there is none; BadQuantity for what is no date."""
    if text is None:
        return date.today().isoformat()  # noqa: DTZ011 - the date on the wall where the paper is signed
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        raise BadQuantity("date", repr(text), "a date as YYYY-MM-DD") from None
