"""What the camshaft plots show, from a lobe inspection."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np

from valvelab.angles import wrap
from valvelab.arrays import FloatArray, stretches
from valvelab.decimals import decimals_among, decimals_of, with_sign
from valvelab.figures.description import Axis, Band, Curve, Dial, Figure, HeatMap, Marks, Role, Unit, ends_of
from valvelab.inspection.lobes.characteristics import CHARACTERISTICS, measured
from valvelab.units import show

if TYPE_CHECKING:
    from valvelab.inspection.lobes.inspect import LobesInspection
    from valvelab.inspection.lobes.repeatability import LobeGroup
    from valvelab.records.lobes_result import LobeResult

STEP_CAM_DEG = 0.25
MapKind = Literal["deviation", "lift"]
Derivative = Literal[0, 1, 2, 3]

_AXES: dict[int, tuple[str, str, Unit]] = {
    0: ("lift", "Lift", "mm"),
    1: ("velocity", "Velocity", "mm/cam deg"),
    2: ("acceleration", "Acceleration", "mm/cam deg2"),
    3: ("jerk", "Jerk", "mm/cam deg3"),
}
_INDEX_ERROR = next(row for row in CHARACTERISTICS if row.name == "index_error")
_LEFT_OUT = "left out of the fit"
ANGLE_FROM_CENTRE = "Cam angle from the lobe's centre"


def grid(inspection: LobesInspection) -> FloatArray:
    """Cam angle from the lobe centre that covers the longest lobe with some base circle, shape (n,), even steps."""
    half = max((_half_width(lobe) for lobe in inspection.result.lobes), default=80.0)
    half = min(180.0, 10.0 * np.ceil((half + 12.0) / 10.0))
    return np.arange(-half, half + STEP_CAM_DEG / 2.0, STEP_CAM_DEG)


def _half_width(lobe: LobeResult) -> float:
    widths = [d.duration_cam_deg for d in lobe.durations if d.duration_cam_deg is not None]
    return max(widths, default=140.0) / 2.0


def centre_of(inspection: LobesInspection, lobe: str) -> float:
    """Cam angle of a lobe's centre, of its highest point where the centre could not be derived."""
    found = next(row for row in inspection.result.lobes if row.lobe == lobe)
    centre = found.centre_cam_deg if found.centre_cam_deg is not None else found.max_lift_angle_cam_deg
    return 0.0 if centre is None else centre


def sampled(inspection: LobesInspection, lobe: str, x: FloatArray, derivative: Derivative = 0) -> FloatArray:
    """A lobe's fitted curve over angles from its own centre, shape of `x`."""
    return np.asarray(inspection.profiles[lobe].value(centre_of(inspection, lobe) + x, derivative), dtype=np.float64)


def motion_figure(inspection: LobesInspection, lobe: str, derivative: Derivative, x: FloatArray) -> Figure:
    """Lift or one of its derivatives: the chosen lobe strong, the others of its kind faint, its nominal thin."""
    name, title, unit = _AXES[derivative]
    others = [name for name in _of_its_kind(inspection, lobe) if name != lobe]
    curves = [Curve(x, sampled(inspection, other, x, derivative), "measured_quiet") for other in others]
    envelope = inspection.envelopes.get(lobe)
    if envelope is not None:
        curves.append(Curve(x, _nominal(inspection, lobe, x, derivative), "nominal", "nominal"))
    curves.append(Curve(x, sampled(inspection, lobe, x, derivative), "measured", lobe, valve=_kind(inspection, lobe)))
    marks = _left_out(inspection, lobe, x) if derivative == 0 else ()
    return Figure(name, title, _across(x), Axis(title, unit), tuple(curves), marks=marks)


def _left_out(inspection: LobesInspection, lobe: str, x: FloatArray) -> tuple[Marks, ...]:
    """Readings that were left out of the fit, where they were taken; the one farthest off says so."""
    part, row = _fitted(inspection, lobe)
    angle, lift_mm, fitted_mm = part.fitted.left_out(row)
    at = wrap(angle - centre_of(inspection, lobe))
    shown = (at >= x[0]) & (at <= x[-1])
    if not shown.any():
        return ()
    farthest = int(np.argmax(np.abs(lift_mm - fitted_mm)[shown]))
    told = tuple(_LEFT_OUT if place == farthest else "" for place in range(int(shown.sum())))
    return (Marks(at[shown], lift_mm[shown], "reject", _LEFT_OUT, told),)


def _fitted(inspection: LobesInspection, lobe: str) -> tuple[LobeGroup, int]:
    """The group that a lobe was fitted in, and its row there."""
    part = next(part for part in inspection.groups if lobe in part.fitted.names)
    return part, part.fitted.names.index(lobe)


def deviation_figure(inspection: LobesInspection, lobe: str, x: FloatArray) -> Figure | None:
    """Measured − nominal of one lobe in its envelope, with the stretches outside.

    Without an envelope: against the mean of its kind; None where it is the only one.
    """
    envelope = inspection.envelopes.get(lobe)
    if envelope is None:
        return _against_its_kind(inspection, lobe, x)
    angle, deviation = envelope.fit.angle_cam_deg, 1000.0 * envelope.fit.deviation_mm
    lower, upper = 1000.0 * envelope.lower_mm, 1000.0 * envelope.upper_mm
    outside = (deviation < lower) | (deviation > upper)
    curves = [Curve(angle, deviation, "measured", lobe, valve=_kind(inspection, lobe))]
    marks: tuple[Marks, ...] = ()
    if outside.any():
        curves.append(Curve(angle, np.where(outside, deviation, np.nan), "outside", "outside"))
        worst = worst_of_stretches(deviation, lower, upper, outside)
        marks = (Marks(angle[worst], deviation[worst], "reject", "outside"),)
    return Figure(
        "deviation",
        "Deviation from nominal",
        _across(x),
        Axis("Deviation from nominal", "um"),
        tuple(curves),
        (Band(angle, lower, upper, "band", "envelope"),),
        marks,
    )


def residual_figure(inspection: LobesInspection, lobe: str, x: FloatArray) -> Figure:
    """Readings − fit over the angles of `x`, every turn; those left out of the fit carry the mark of a rejection."""
    part, row = _fitted(inspection, lobe)
    readings = part.fitted.conditioned
    fit = part.fitted.smoothed.splines.evaluate(row, readings.angle_cam_deg)
    off = 1000.0 * (readings.lifts_mm[row] - fit)
    angle = wrap(readings.angle_cam_deg - centre_of(inspection, lobe))
    shown = (angle >= x[0]) & (angle <= x[-1])
    kept, left_out = shown & readings.kept[row], shown & ~readings.kept[row]
    marks = [Marks(angle[kept], off[kept], "readings")]
    if left_out.any():
        marks.append(Marks(angle[left_out], off[left_out], "reject", _LEFT_OUT))
    title = "Readings − fit"
    return Figure("readings", title, _across(x), Axis(title, "um"), marks=tuple(marks))


def _against_its_kind(inspection: LobesInspection, lobe: str, x: FloatArray) -> Figure | None:
    names = _of_its_kind(inspection, lobe)
    if len(names) < 2:
        return None
    lifts = {name: sampled(inspection, name, x) for name in names}
    mean = np.mean(list(lifts.values()), axis=0)
    curves = [Curve(x, 1000.0 * (lifts[name] - mean), "measured_quiet") for name in names if name != lobe]
    curves.append(Curve(x, 1000.0 * (lifts[lobe] - mean), "measured", lobe, valve=_kind(inspection, lobe)))
    title = "Deviation from the mean of its kind"
    return Figure("deviation", title, _across(x), Axis(title, "um"), tuple(curves))


def _kind(inspection: LobesInspection, lobe: str) -> str | None:
    return next(row.kind for row in inspection.result.lobes if row.lobe == lobe)


def _of_its_kind(inspection: LobesInspection, lobe: str) -> list[str]:
    kinds = {row.lobe: row.kind for row in inspection.result.lobes}
    return [name for name, kind in kinds.items() if kind == kinds[lobe]]


def worst_of_stretches(deviation: FloatArray, lower: FloatArray, upper: FloatArray, outside: np.ndarray) -> np.ndarray:
    """Index of the worst point of each unbroken stretch outside, shape (stretches,)."""
    excess = np.maximum(deviation - upper, lower - deviation)
    return np.array([start + int(np.argmax(excess[start:end])) for start, end in stretches(outside)], dtype=np.intp)


def compared(inspection: LobesInspection) -> bool:
    """Whether a lobe deviates from anything: a nominal, or others of its kind."""
    names = (row.lobe for row in inspection.result.lobes)
    return bool(inspection.envelopes) or any(len(_of_its_kind(inspection, name)) > 1 for name in names)


def lobe_map(inspection: LobesInspection, kind: MapKind, x: FloatArray) -> HeatMap:
    """Every lobe at once over the angle from its own centre: lift, or the deviation from its nominal.

    Where no lobe has a nominal, each is held against the mean of its kind, and the title says so; where each is also
    the only one of its kind there is lift alone. The colours reach at least to the edges of the widest band, so that
    a shaft well within its envelope looks pale.
    """
    names = tuple(row.lobe for row in inspection.result.lobes)
    lifts = np.array([sampled(inspection, name, x) for name in names])
    if kind == "lift" or not compared(inspection):
        return HeatMap("map", "Lift", _across(x), names, x, lifts, Axis("Lift", "mm"), diverging=False)
    values = np.empty_like(lifts)
    for row, name in enumerate(names):
        envelope = inspection.envelopes.get(name)
        if envelope is not None:
            values[row] = np.interp(x, envelope.fit.angle_cam_deg, envelope.fit.deviation_mm, left=np.nan, right=np.nan)
        elif inspection.envelopes:
            values[row] = np.nan
        else:
            kind_rows = [names.index(other) for other in _of_its_kind(inspection, name)]
            values[row] = lifts[row] - lifts[kind_rows].mean(axis=0)
    against = "Deviation from nominal" if inspection.envelopes else "Deviation from the mean of its kind"
    end = 1000.0 * _colour_end(inspection, values)
    value_axis = Axis("Deviation", "um", (-end, end))
    return HeatMap("map", against, _across(x), names, x, 1000.0 * values, value_axis)


def _colour_end(inspection: LobesInspection, values: FloatArray) -> float:
    """End of the colour scale in mm: the widest band, or the deviation that all but the boldest 0.5 % keep within."""
    sizes = np.abs(values[np.isfinite(values)])
    bold = float(np.quantile(sizes, 0.995)) if sizes.size else 0.0
    bands = [np.nanmax(np.maximum(-row.lower_mm, row.upper_mm)) for row in inspection.envelopes.values()]
    return max([bold, *map(float, bands)]) or 0.001


def position_dial(inspection: LobesInspection, chosen: str = "") -> Dial:
    """Where the lobes' centres stand on the shaft seen from the drive end, with index errors."""
    rows = [row for row in inspection.result.lobes if row.centre_cam_deg is not None]
    errors = {row.lobe: row.error_cam_deg for row in inspection.result.camshaft.index_errors or ()}
    known = measured(inspection.shaft, _INDEX_ERROR).values()
    places = decimals_of((error.u for error in known), "cam deg")
    angles = np.array([row.centre_cam_deg for row in rows], dtype=np.float64)
    nominal = None
    if errors:
        nominal = np.array([a - errors.get(row.lobe, 0.0) for a, row in zip(angles, rows, strict=True)])
    roles: list[Role] = [_role(row.kind) for row in rows]
    remarks = tuple(
        with_sign(show(errors[row.lobe], "cam deg", decimals=places)) + "°" if row.lobe in errors else ""
        for row in rows
    )
    title = "Lobe positions and index errors" if errors else "Lobe positions"
    decimals = decimals_among(inspection.result.lobes, "centre_cam_deg", "cam deg")
    labels = tuple(row.lobe for row in rows)
    return Dial("positions", title, angles, labels, tuple(roles), nominal, remarks, decimals, chosen)


def _role(kind: str | None) -> Role:
    return "intake" if kind == "intake" else "exhaust" if kind == "exhaust" else "measured_quiet"


def _across(x: FloatArray) -> Axis:
    return Axis(ANGLE_FROM_CENTRE, "cam deg", ends_of(x))


def _nominal(inspection: LobesInspection, lobe: str, x: FloatArray, derivative: Derivative) -> FloatArray:
    nominal = inspection.envelopes[lobe].nominal
    return np.asarray(nominal.profile.value(nominal.centre_cam_deg + x, derivative))


def wrapped_from(centre: float, angle: float | None) -> float | None:
    """An angle counted from a lobe's centre, within half a turn; None stays None."""
    return None if angle is None else float(wrap(angle - centre))
