"""The spec: what was ordered, as TOML.

Quantities stay as typed (`"0.050 in"`) until they are needed, because their dimension depends on the
characteristic they limit; `valvelab.inspection.judging` turns them canonical.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from valvelab.records.result import Record

Quantity = float | str
Selection = Literal["all", "intake", "exhaust"] | tuple[str, ...]


class DecisionRule(Record):
    """How verdicts are reached."""

    rule: Literal["guarded", "simple"] = "guarded"
    confidence: float = Field(default=0.95, gt=0.5, lt=1.0)


class Fitting(Record):
    """Heights used for spring characteristics; wins over a file's preamble."""

    installed_height: Quantity | None = None
    valve_lift: Quantity | None = None
    wire_diameter: Quantity | None = None
    mean_coil_diameter: Quantity | None = None
    active_coils: float | None = None
    total_coils: float | None = None
    free_length: Quantity | None = None
    solid_height: Quantity | None = None
    material: str | None = None


class LimitSpec(Record):
    """One limit on one characteristic: nominal with below/above, or min/max."""

    of: str
    lobes: Selection = "all"
    springs: Selection = "all"
    stations: Selection = "all"
    valves: Selection = "all"
    at: Quantity | None = None
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
        if band and ends:
            msg = "a limit is either nominal with below/above, or min/max"
            raise ValueError(msg)
        if not band and not ends:
            msg = "a limit needs below/above with a nominal, or min/max"
            raise ValueError(msg)
        return self


class Band(Record):
    """Allowed deviation over a range of cam angle, counted from the nominal's lobe centre."""

    from_: float | str = Field(alias="from")
    to: float | str
    below: Quantity
    above: Quantity


class EnvelopeSpec(Record):
    """A nominal lift curve with its band."""

    lobes: Selection = "all"
    nominal: str
    fit: tuple[Literal["angle", "lift"], ...] = ("angle",)
    clause: str | None = None
    band: tuple[Band, ...] = Field(min_length=1)


class CamshaftSpec(Record):
    """Where the lobes should sit; wins over a lift table's preamble."""

    firing_order: str | None = None
    cylinders: int | None = Field(default=None, ge=1, le=64)
    bank_angle: float | str | None = None
    second_bank: tuple[int, ...] | None = None
    lobe_separation: float | str | None = None
    places: dict[str, Annotated[float, Field(ge=-720.0, le=720.0)]] | None = None


class Spec(Record):
    """A whole spec; every part is optional."""

    title: str | None = None
    revision: str | None = None
    decision: DecisionRule = DecisionRule()
    fitting: Fitting = Fitting()
    camshaft: CamshaftSpec = CamshaftSpec()
    limit: tuple[LimitSpec, ...] = ()
    envelope: tuple[EnvelopeSpec, ...] = ()
