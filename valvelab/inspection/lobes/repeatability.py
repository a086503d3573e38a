"""All scalars of fitted lobes under stable keys, so that sweeps can be compared and limits looked up."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.inspection.lobes.widening import Doubts, Widening
from valvelab.lobe.characteristics import LobeCharacteristics, Value
from valvelab.lobe.profile import FittedLobes


@dataclass(frozen=True)
class GroupScalars:
    """One group of lobes: its characteristics and every scalar, each with its uncertainty.

    `withheld`: lobes that have no motion under the follower asked for; their scalars are NaN. doubts: what its turns,
    drift and base circles show; widening: what that adds to the uncertainties, already in `scalars`.
    """

    characteristics: LobeCharacteristics
    scalars: dict[str, Value]
    drop_mm: float
    withheld: frozenset[str] = frozenset()
    doubts: Doubts | None = None
    widening: Widening | None = None

    def events_at(self, lift_mm: float) -> dict[str, Value]:
        """The event scalars of one lift, from the known ones where it is among them."""
        if f"opening@{lift_mm:.9g}" in self.scalars:
            return self.scalars
        events = event_scalars(self.characteristics, lift_mm)
        if self.widening is not None:
            events = self.widening.apply(events, lambda copy: event_scalars(copy, lift_mm))
        return masked(events, self.fitted.names, self.withheld)

    @property
    def fitted(self) -> FittedLobes:
        """The fit behind them."""
        return self.characteristics.fitted


def masked(scalars: dict[str, Value], names: tuple[str, ...], withheld: frozenset[str]) -> dict[str, Value]:
    """The same scalars with NaN for the lobes withheld."""
    if not withheld:
        return scalars
    out = np.array([name in withheld for name in names])
    return {
        key: Value(np.where(out, np.nan, value.value), np.where(out, np.nan, value.u)) for key, value in scalars.items()
    }


def event_scalars(characteristics: LobeCharacteristics, lift_mm: float) -> dict[str, Value]:
    """Opening, closing, duration and their middle at one lift, in cam degrees."""
    row = characteristics.events(lift_mm)
    return {
        f"opening@{lift_mm:.9g}": row.opening,
        f"closing@{lift_mm:.9g}": row.closing,
        f"duration@{lift_mm:.9g}": row.duration,
        f"middle@{lift_mm:.9g}": row.centre,
    }


def all_scalars(characteristics: LobeCharacteristics, lifts_mm: tuple[float, ...], drop_mm: float) -> dict[str, Value]:
    """Every scalar of a group but those of the contour and the envelope."""
    area, centroid = characteristics.area()
    result = {
        "max_lift_mm": characteristics.max_lift(),
        "max_lift_angle_cam_deg": characteristics.peak_angle(),
        "nose_cam_deg": characteristics.nose_centre(drop_mm),
        "area_mm_cam_deg": area,
        "area_cam_deg": centroid,
        "jerk_max_abs_mm_per_cam_deg3": characteristics.jerk_max_abs(),
    }
    for name, order, power in (("velocity", 1, ""), ("acceleration", 2, "2")):
        for end, sign in (("max", 1.0), ("min", -1.0)):
            result[f"{name}_{end}_mm_per_cam_deg{power}"] = characteristics.extreme(order, sign)[0]
    for lift in lifts_mm:
        result.update(event_scalars(characteristics, lift))
    return result


def widened_alike(scalars: dict[str, Value], plain: dict[str, Value], widened: dict[str, Value]) -> dict[str, Value]:
    """Scalars of a description derived from lobes, widened by what those lobes' own were beyond their plain ones."""
    result = {}
    for key, value in scalars.items():
        more = np.maximum(widened[key].u ** 2 - plain[key].u ** 2, 0.0) if key in widened else 0.0
        result[key] = Value(value.value, np.sqrt(value.u**2 + np.nan_to_num(more)))
    return result


def scalar(group: GroupScalars, key: str, row: int) -> tuple[float | None, float | None]:
    """Value and uncertainty of one lobe; None where missing."""
    value = group.scalars[key]
    return number(value.value[row]), number(value.u[row])


def number(value: float | FloatArray) -> float | None:
    """A plain float, or None where it is not finite."""
    plain = float(value)
    return plain if np.isfinite(plain) else None
