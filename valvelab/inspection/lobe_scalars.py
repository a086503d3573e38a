"""All scalars of fitted lobes under stable keys, so that sweeps can be compared and limits looked up."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.lobe.characteristics import Instrument, LobeCharacteristics, Value
from valvelab.lobe.conditioning import Conditioned
from valvelab.lobe.profile import FittedLobes, fit_lobes

FEWEST_SWEEPS = 3
MOST_SWEEPS = 24
# Upper 95 % points of χ²/ν for ν = 2 … 23 (tables of the χ² distribution).
_CHI2_95 = (
    2.996, 2.605, 2.372, 2.214, 2.099, 2.010, 1.938, 1.880, 1.831, 1.789, 1.752, 1.720, 1.692, 1.666, 1.644, 1.623,
    1.604, 1.586, 1.571, 1.556, 1.542, 1.529,
)  # fmt: skip


@dataclass(frozen=True)
class GroupScalars:
    """One group of lobes: its characteristics and every scalar, each with its uncertainty.

    `withheld`: lobes that have no motion under the follower asked for; their scalars are NaN.
    """

    characteristics: LobeCharacteristics
    scalars: dict[str, Value]
    drop_mm: float
    withheld: frozenset[str] = frozenset()

    def events_at(self, lift_mm: float) -> dict[str, Value]:
        """The event scalars of one lift, from the known ones where it is among them."""
        if f"opening@{lift_mm:.9g}" in self.scalars:
            return self.scalars
        return masked(event_scalars(self.characteristics, lift_mm), self.fitted.names, self.withheld)

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


def with_repeatability(
    conditioned: Conditioned, scalars: dict[str, Value], lifts_mm: tuple[float, ...], drop_mm: float,
    *, take_out_eccentricity: bool,
) -> tuple[dict[str, Value], bool]:  # fmt: skip
    """Widen uncertainties where repeated sweeps scatter more than the noise explains (χ² test at 95 %).

    The mean of n sweeps then carries s/√n. Returns the scalars and whether any was widened.
    """
    count = conditioned.sweeps
    if not FEWEST_SWEEPS <= count <= MOST_SWEEPS or not conditioned.periodic:
        return scalars, False
    repeats: list[dict[str, Value]] = []
    for number in range(count):
        rows = conditioned.sweep == number
        if rows.sum() < 0.9 * conditioned.sweep.size / count:
            continue
        part = replace(
            conditioned,
            angle_cam_deg=conditioned.angle_cam_deg[rows], lifts_mm=conditioned.lifts_mm[:, rows],
            kept=conditioned.kept[:, rows], sweep=np.zeros(int(rows.sum()), dtype=np.int64),
            grid=None if conditioned.grid is None else conditioned.grid[rows],
        )  # fmt: skip
        fitted = fit_lobes(part, take_out_eccentricity=take_out_eccentricity)
        repeats.append(all_scalars(LobeCharacteristics(fitted, Instrument()), lifts_mm, drop_mm))
    if len(repeats) < FEWEST_SWEEPS:
        return scalars, False
    return _widened(scalars, repeats)


def _widened(scalars: dict[str, Value], repeats: list[dict[str, Value]]) -> tuple[dict[str, Value], bool]:
    n = len(repeats)
    result: dict[str, Value] = {}
    widened = False
    for key, value in scalars.items():
        values = np.stack([repeat[key].value for repeat in repeats])
        expected = np.mean(np.stack([repeat[key].u for repeat in repeats]) ** 2, axis=0)
        seen = values.var(axis=0, ddof=1)
        with np.errstate(invalid="ignore"):
            beyond = seen > _CHI2_95[n - 3] * expected
        extra = np.where(beyond, (seen - expected) / n, 0.0)
        widened = widened or bool(beyond.any())
        result[key] = Value(value.value, np.sqrt(value.u**2 + extra))
    return result, widened


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
