"""The answer of `valvelab lobes`; the numbers of a lobe stand in it by the keys of the table of characteristics."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Any, ClassVar, Literal, cast

from pydantic import create_model

from valvelab.records.result import Kind, Record, Result


class Numbers(Record):
    """A record with numbers beside its fields, each None where it could not be derived; a table says which."""

    if TYPE_CHECKING:

        def __getattr__(self, key: str) -> float | None: ...  # noqa: D105


class Centres(Numbers):
    """The lobe centre, four ways; they differ on an unsymmetrical lobe."""


class DurationUncertainty(Numbers):
    """Standard uncertainties of one row of durations."""


class LobeDuration(Numbers):
    """Opening, closing and duration at one checking lift."""

    at_mm: float
    uncertainty: DurationUncertainty


class BaseCircle(Numbers):
    """Runout and eccentricity of the base circle."""


class RampEnd(Record):
    """Where a ramp meets its flank."""

    angle_cam_deg: float
    lift_mm: float
    velocity_mm_per_cam_deg: float


class Ramps(Record):
    """Opening and closing ramp; None where no ramp stands apart from the flank."""

    opening: RampEnd | None
    closing: RampEnd | None


class Curvature(Numbers):
    """Contour and face figures; a concave radius is given as a positive size, None without a hollow."""


class EnvelopeUse(Record):
    """How the profile lies in its envelope; deviation is measured − nominal, use above 1 is outside."""

    worst_deviation_mm: float
    worst_angle_cam_deg: float
    worst_use_of_band: float
    fitted_angle_cam_deg: float | None
    rms_um: float


class OutlierReading(Record):
    """A reading left out of the fit; it stays in the record."""

    angle_cam_deg: float
    lift_mm: float
    fitted_lift_mm: float


class LobeResult(Numbers):
    """Everything about one lobe."""

    lobe: str
    kind: Kind | None
    centres: Centres
    durations: tuple[LobeDuration, ...]
    ramps: Ramps
    base_circle: BaseCircle
    outliers: int
    outlier_readings: tuple[OutlierReading, ...]
    curvature: Curvature
    envelope: EnvelopeUse | None
    uncertainty: dict[str, float | None]


class CylinderSeparation(Record):
    """Lobe separation of one cylinder."""

    cylinder: int
    lobe_separation_cam_deg: float


class IndexErrorRow(Record):
    """A lobe's centre against its nominal place, after one phase for the whole shaft."""

    lobe: str
    error_cam_deg: float


class Spread(Record):
    """Range over the lobes of one kind."""

    kind: Kind
    max_lift_mm: float | None
    duration_crank_deg: float | None
    area_mm_cam_deg: float | None


class CamshaftResult(Record):
    """The shaft as a whole."""

    cylinders: tuple[CylinderSeparation, ...]
    lobe_separation_mean_cam_deg: float | None
    index_errors: tuple[IndexErrorRow, ...] | None
    spreads: tuple[Spread, ...]
    uncertainty: dict[str, float | None]


class LobesResult(Result):
    """The document of `valvelab lobes`."""

    ITEMS: ClassVar[tuple[str, ...]] = ("lobes",)
    command: Literal["lobes"] = "lobes"
    lobes: tuple[LobeResult, ...]
    camshaft: CamshaftResult


_NUMBER: tuple[Any, Any] = (float | None, ...)
_BLOCKS: dict[str, type[Record]] = {"centres": Centres, "base_circle": BaseCircle, "curvature": Curvature}
_BEHIND = {"jerk_rms_mm_per_cam_deg3": ("ramps",), "noise_um": ("outliers", "outlier_readings")}
"""What stands behind a number that is no number itself."""


@lru_cache(maxsize=4)
def with_numbers(keys: tuple[tuple[str, str], ...]) -> tuple[type[LobeResult], type[LobesResult]]:
    """The records of a lobe and of the answer with the numbers of a table, in its order.

    `keys`: each with the block that holds it, "" for a number of the lobe itself.
    """
    order, blocks = ["lobe", "kind"], dict[str, dict[str, Any]]()
    for block, key in keys:
        order += [block or key, *_BEHIND.get(key, ())]
        blocks.setdefault(block, {})[key] = _NUMBER
    order = [*dict.fromkeys(order), "uncertainty"]
    fields = blocks[""] | {block: (_extended(model, blocks[block]), ...) for block, model in _BLOCKS.items()}
    at_lift = blocks["durations"]
    of_them = {"uncertainty": (_extended(DurationUncertainty, at_lift), ...)}
    row = _extended(LobeDuration, at_lift | of_them, ["at_mm", *at_lift, "uncertainty"])
    fields["durations"] = (tuple[row, ...], ...)  # type: ignore[valid-type]
    lobe = _extended(LobeResult, fields, order)
    whole = _extended(LobesResult, {"lobes": (tuple[lobe, ...], ...)})  # type: ignore[valid-type]
    return cast("type[LobeResult]", lobe), cast("type[LobesResult]", whole)


def _extended(base: type[Record], fields: dict[str, tuple[Any, Any]], order: list[str] | None = None) -> type[Record]:
    """A record with more fields, by its own name; `order`: of all its fields, in which they are written."""
    model: type[Record] = create_model(
        base.__name__, __base__=base, __doc__=base.__doc__, __module__=base.__module__, **cast("dict[str, Any]", fields)
    )
    if order is not None:
        model.__pydantic_fields__ = {name: model.__pydantic_fields__[name] for name in order}
    return model
