"""The spec: what was ordered, as TOML.

It is canonical once it is read, but for the ends of limits: they stay as typed (`"0.050 in"`) until they are needed,
because their dimension depends on the characteristic they limit; `valvelab.inspection.limits` turns them canonical.
"""

from __future__ import annotations

import re
from typing import Annotated, Literal

from pydantic import Field, model_validator

from valvelab.conformity.band import BandPiece
from valvelab.errors import BadQuantity
from valvelab.quantities import CAM_ANGLE, Reader, bounded_length, number
from valvelab.records.cam_card import CamCard
from valvelab.records.result import Record
from valvelab.records.typed import Typed

Quantity = float | str
Selection = Literal["all", "intake", "exhaust"] | tuple[str, ...]


MOST_COILS = 100.0
"""More coils than any valve spring has (ours; no source)."""


def _cylinders(order: str) -> tuple[int, ...]:
    parts = re.split(r"[\s,;\-–]+", order.strip())
    if not all(part.isdigit() for part in parts):
        raise BadQuantity("", repr(order), "cylinders such as 1-3-4-2")
    return tuple(int(part) for part in parts)


FittedLength = Annotated[float, number(bounded_length, lambda mm: mm > 0.0, "a length above 0")]
LimitPlace = Annotated[float, number(bounded_length, lambda mm: mm > 0.0, "a lift or height above 0")]
Coils = Annotated[
    float, number(float, lambda coils: 0.0 < coils <= MOST_COILS, f"a number above 0 and up to {MOST_COILS:g}", float)
]
FiringOrder = Annotated[tuple[int, ...], Reader(_cylinders, str)]
BankAngle = Annotated[float, number(CAM_ANGLE, lambda deg: abs(deg) <= 360.0, "an angle of -360 to 360 cam deg")]
Separation = Annotated[float, number(CAM_ANGLE, lambda deg: 0.0 <= deg <= 180.0, "an angle of 0 to 180 cam deg")]


class DecisionRule(Record):
    """How verdicts are reached."""

    rule: Literal["guarded", "simple"] = "guarded"
    confidence: float = Field(default=0.95, gt=0.5, lt=1.0)


class Fitting(Typed):
    """Heights used for spring characteristics; wins over a file's preamble."""

    installed_height_mm: FittedLength | None = None
    valve_lift_mm: FittedLength | None = None
    wire_diameter_mm: FittedLength | None = None
    mean_coil_diameter_mm: FittedLength | None = None
    active_coils: Coils | None = None
    total_coils: Coils | None = None
    free_length_mm: FittedLength | None = None
    solid_height_mm: FittedLength | None = None
    material: str | None = None


class LimitSpec(Typed):
    """One limit on one characteristic: nominal with below/above, or min/max."""

    of: str
    lobes: Selection = "all"
    springs: Selection = "all"
    stations: Selection = "all"
    valves: Selection = "all"
    at_mm: LimitPlace | None = None
    lift_at: Literal["follower", "valve"] | None = Field(
        default=None, description="of opening and closing: whose lift `at` is; left out, that of the inspection asked"
    )
    nominal: Quantity | None = None
    below: Quantity | None = None
    above: Quantity | None = None
    min: Quantity | None = None
    max: Quantity | None = None
    clause: str | None = None

    @model_validator(mode="after")
    def _one_form(self) -> LimitSpec:
        band = self.below is not None or self.above is not None
        ends = self.min is not None or self.max is not None
        if band and self.nominal is None:
            msg = "below/above need a nominal"
            raise ValueError(msg)
        if ends and (band or self.nominal is not None):
            msg = "a limit is either nominal with below/above, or min/max"
            raise ValueError(msg)
        if not band and not ends:
            msg = "a limit needs below/above with a nominal, or min/max"
            raise ValueError(msg)
        return self


class EnvelopeSpec(Typed):
    """A nominal lift curve with its band."""

    lobes: Selection = "all"
    nominal: str
    fit: tuple[Literal["angle", "lift"], ...] = ("angle",)
    clause: str | None = None
    band: tuple[BandPiece, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _runs_forward(self) -> EnvelopeSpec:
        for count, piece in enumerate(self.band, start=1):
            if piece.to_cam_deg <= piece.from_cam_deg:
                found = f"from {piece.from_cam_deg:g} to {piece.to_cam_deg:g}"
                raise BadQuantity(f"band {count}", found, "from below to")
        return self


class CamshaftSpec(Typed):
    """Where the lobes should sit; wins over a lift table's preamble."""

    firing_order: FiringOrder | None = None
    cylinders: int | None = Field(default=None, ge=1, le=64)
    bank_angle_cam_deg: BankAngle | None = None
    second_bank: tuple[int, ...] | None = None
    lobe_separation_cam_deg: Separation | None = None
    places: dict[str, Annotated[float, Field(ge=-720.0, le=720.0)]] | None = None


class Spec(Record):
    """A whole spec; every part is optional."""

    title: str | None = None
    revision: str | None = None
    # constructed, not validated: no command without a spec has use for what checks one
    decision: DecisionRule = DecisionRule.model_construct()
    fitting: Fitting = Fitting.model_construct()
    camshaft: CamshaftSpec = CamshaftSpec.model_construct()
    limit: tuple[LimitSpec, ...] = ()
    envelope: tuple[EnvelopeSpec, ...] = ()
    card: CamCard | None = None


NO_SPEC = Spec.model_construct()
"""A spec that states nothing."""
