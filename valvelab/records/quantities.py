"""Typed quantities of a record: a text or a bare number in ("9.5 mm", "0.374 in", 15), the canonical number out.

class LashRecord(Typed):
    hot_mm: Annotated[float, LENGTH.between(0.0, 5.0, "a lash of 0 to 5 mm")] | None = None

A field's name carries its unit, its key in the file does not (`hot`); whoever holds the record holds mm, N and deg.
What can't be read is refused as `found …, expected …`; whoever reads the file adds the file and the key.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Annotated

from pydantic import ConfigDict, GetCoreSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from valvelab.errors import BadQuantity, CannotEvaluate
from valvelab.records.result import Record
from valvelab.units import CANONICAL, Dimension, parse_angle, parse_quantity, split_quantity

_UNIT = re.compile(r"_(?:n_per_mm|mm|um|n|mpa|kg|hz|rpm|deg)$")


def key_of(field: str) -> str:
    """The key in a file of a field: its name without the unit."""
    return _UNIT.sub("", field)


class Typed(Record):
    """Base of what a person types; made by field names in the program, by keys in a file."""

    model_config = ConfigDict(alias_generator=key_of, validate_by_name=True, validate_by_alias=True)


def refused(found: str, expected: str, key: str = "") -> PydanticCustomError:
    """What a validator raises: what was found and expected, at a key of the table that it validates."""
    words = {"found": found, "expected": expected, "key": key}
    return PydanticCustomError("quantity", "found {found}, expected {expected}", words)


def built(make: Callable[[], object], table: str = "") -> None:
    """Make something of a numerical room from a record; what it refuses is refused here, `table` not named again."""
    try:
        make()
    except CannotEvaluate as error:
        place, _, rest = str(error).partition(": found ")
        found, _, expected = rest.partition(", expected ")
        if expected:
            raise refused(found, expected, place.removeprefix(f"{table} ")) from None
        found, _, expected = str(error).partition(": expected ")
        raise refused(found, expected or "parts that go together") from None


@dataclass(frozen=True, slots=True)
class Quantity:
    """How a typed quantity is read: dimension, least and greatest canonical value, what is expected in words.

    least and greatest count as allowed unless `open_`; without `said` the words follow from them. What is not above 0
    is told so first where it must be `positive`.
    """

    dimension: Dimension
    least: float = -math.inf
    greatest: float = math.inf
    said: str = ""
    open_: bool = False
    positive: bool = False

    def read(self, value: float | str) -> float:
        """The canonical value; raises BadQuantity, whose field is empty."""
        number = self._parsed(value)
        if self.positive and not number > 0.0:
            raise BadQuantity("", f"{value!r}", f"a {self.dimension} above 0")
        inside = self.least < number < self.greatest if self.open_ else self.least <= number <= self.greatest
        if not inside:
            raise BadQuantity("", f"{value!r}", self.said or self._range())
        return number

    def between(self, least: float, greatest: float, said: str, *, open_: bool = False) -> Quantity:
        """The same within other ends, of either sign, with the words of its refusal."""
        return replace(self, least=least, greatest=greatest, said=said, open_=open_, positive=False)

    def _parsed(self, value: float | str) -> float:
        return parse_quantity(value, self.dimension, "")

    def _range(self) -> str:
        unit = CANONICAL[self.dimension]
        return f"a {self.dimension} of {self.least:g} to {self.greatest:g} {unit}".rstrip()

    def __get_pydantic_core_schema__(self, _source: object, handler: GetCoreSchemaHandler) -> CoreSchema:
        """A number or a text, read after it was seen to be one of the two."""
        return core_schema.no_info_after_validator_function(self._validated, handler.generate_schema(float | str))

    def _validated(self, value: float | str) -> float:
        try:
            return self.read(value)
        except BadQuantity as error:
            raise refused(error.found, error.expected) from None


class _CrankAngle(Quantity):
    """An angle in crank deg; cam deg are doubled."""

    __slots__ = ()

    def _parsed(self, value: float | str) -> float:
        return parse_angle(value, "crank", "")


class _Roughness(Quantity):
    """A roughness in µm; a bare number is in µm, one with a unit is a length."""

    __slots__ = ()

    def read(self, value: float | str) -> float:
        """The roughness in µm."""
        if isinstance(value, str) and split_quantity(value, "")[1]:
            return LENGTH.read(value) * 1000.0
        return Quantity.read(self, value)


@dataclass(frozen=True, slots=True)
class TypedText:
    """A text that names something else than a quantity; `read` gives it, or raises BadQuantity."""

    read: Callable[[str], object]

    def __get_pydantic_core_schema__(self, _source: object, _handler: GetCoreSchemaHandler) -> CoreSchema:
        """A text, read after it was seen to be one."""
        return core_schema.no_info_after_validator_function(self._validated, core_schema.str_schema())

    def _validated(self, text: str) -> object:
        try:
            return self.read(text)
        except BadQuantity as error:
            raise refused(error.found, error.expected) from None


# Least and greatest canonical value of what stands above 0: far beyond any engine, so that no figure overflows.
LENGTH = Quantity("length", 1e-7, 10_000.0, positive=True)
ANGLE = Quantity("angle")
CRANK_ANGLE = _CrankAngle("angle")

Length = Annotated[float, LENGTH]
"""mm, above 0."""
Place = Annotated[float, LENGTH.between(-10_000.0, 10_000.0, "a length within ±10000 mm")]
"""mm, of either sign."""
Force = Annotated[float, Quantity("force", 1e-3, 1e6, positive=True)]
"""N, above 0."""
Stiffness = Annotated[float, Quantity("rate", 1e-3, 1e10, positive=True)]
"""N/mm, above 0."""
Mass = Annotated[float, Quantity("mass", 1e-6, 100.0, positive=True)]
"""kg, above 0."""
Pressure = Annotated[float, Quantity("stress", 1.0, 1e7, positive=True)]
"""MPa, above 0."""
Frequency = Annotated[float, Quantity("frequency", 0.1, 1e6, positive=True)]
"""Hz, above 0."""
Speed = Annotated[float, Quantity("speed", 1.0, 1e5, positive=True)]
"""1/min, above 0."""
Angle = Annotated[float, ANGLE]
"""deg, of either sign."""
CrankAngle = Annotated[float, CRANK_ANGLE.between(-1e8, 1e8, "an angle within ±1e+08 crank deg")]
"""crank deg, of either sign."""
Roughness = Annotated[float, _Roughness("number", 1e-6, 1e6, positive=True)]
"""µm, above 0."""
