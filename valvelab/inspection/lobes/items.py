"""Lobes and the camshaft as items that limits apply to."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from valvelab.inspection.judging import Item
from valvelab.inspection.lobes.notes import no_derivative
from valvelab.inspection.lobes.repeatability import GroupScalars, number
from valvelab.measured import Measured
from valvelab.records.lobes_result import CamshaftResult, LobeResult

_NOT_REACHED = "a flank never passes that lift"

# A characteristic's name, where its value lies in the result, and its key among the uncertainties.
_PLAIN: dict[str, tuple[Callable[[LobeResult], float | None], str | None]] = {
    "max_lift": (lambda r: r.max_lift_mm, "max_lift_mm"),
    "max_lift_angle": (lambda r: r.max_lift_angle_cam_deg, "max_lift_angle_cam_deg"),
    "centre": (lambda r: r.centre_cam_deg, "centre_cam_deg"),
    "chord_centre": (lambda r: r.centres.chord_cam_deg, "chord_cam_deg"),
    "peak_centre": (lambda r: r.centres.peak_cam_deg, "peak_cam_deg"),
    "area_centre": (lambda r: r.centres.area_cam_deg, "area_cam_deg"),
    "area": (lambda r: r.area_mm_cam_deg, "area_mm_cam_deg"),
    "velocity_max": (lambda r: r.velocity_max_mm_per_cam_deg, "velocity_max_mm_per_cam_deg"),
    "velocity_min": (lambda r: r.velocity_min_mm_per_cam_deg, "velocity_min_mm_per_cam_deg"),
    "acceleration_max": (lambda r: r.acceleration_max_mm_per_cam_deg2, "acceleration_max_mm_per_cam_deg2"),
    "acceleration_min": (lambda r: r.acceleration_min_mm_per_cam_deg2, "acceleration_min_mm_per_cam_deg2"),
    "jerk_max_abs": (lambda r: r.jerk_max_abs_mm_per_cam_deg3, "jerk_max_abs_mm_per_cam_deg3"),
    "jerk_rms": (lambda r: r.jerk_rms_mm_per_cam_deg3, None),
    "runout_tir": (lambda r: r.base_circle.runout_tir_mm, "runout_tir_mm"),
    "eccentricity": (lambda r: r.base_circle.eccentricity_mm, "eccentricity_mm"),
    "noise": (lambda r: r.noise_um, None),
    "min_convex_radius": (lambda r: r.curvature.min_convex_radius_mm, "min_convex_radius_mm"),
    "min_concave_radius": (lambda r: r.curvature.min_concave_radius_mm, "min_concave_radius_mm"),
    "min_face_radius": (lambda r: r.curvature.min_face_radius_mm, "min_face_radius_mm"),
    "max_pressure_angle": (lambda r: r.curvature.max_pressure_angle_deg, "max_pressure_angle_deg"),
}
# Of the characteristics that rest on a second or third derivative.
_ORDERS = {
    "acceleration_max": 2, "acceleration_min": 2, "min_convex_radius": 2, "min_concave_radius": 2,
    "jerk_max_abs": 3, "jerk_rms": 3,
}  # fmt: skip
_EVENTS = {"opening": 1.0, "closing": 1.0, "duration": 2.0}
# What an error of angle does not move.
_FREE_OF_ANGLE = frozenset({"max_lift", "max_lift_spread", "runout_tir", "eccentricity", "noise"})
LACKS_ANGLE = "angle uncertainty is not stated: u holds none"


def lobe_items(
    lobes: tuple[LobeResult, ...], groups: list[GroupScalars], camshaft: CamshaftResult,
    without_angle: frozenset[str] = frozenset(),
) -> list[Item]:  # fmt: skip
    """One item a lobe, in the table's order; `without_angle`: lobes whose angle uncertainty nobody knows."""
    where = {name: (part, row) for part in groups for row, name in enumerate(part.fitted.names)}
    errors = {row.lobe: row.error_cam_deg for row in camshaft.index_errors or ()}
    return [
        _marked(
            Item(lobe.lobe, lobe.kind, _look_up(lobe, *where[lobe.lobe], errors.get(lobe.lobe))),
            without_angle=lobe.lobe in without_angle,
        )
        for lobe in lobes
    ]


def _marked(item: Item, *, without_angle: bool) -> Item:
    """The same item; where asked, each value that an error of angle moves says that its uncertainty lacks it."""
    if not without_angle:
        return item

    def look_up(name: str, at_mm: float | None) -> Measured | None:
        found = item.look_up(name, at_mm)
        return found if found is None or name in _FREE_OF_ANGLE else replace(found, lacks=LACKS_ANGLE)

    return replace(item, look_up=look_up)


def _look_up(
    lobe: LobeResult, part: GroupScalars, row: int, index_error: float | None
) -> Callable[[str, float | None], Measured | None]:
    def look_up(name: str, at_mm: float | None) -> Measured | None:
        if name in _EVENTS and at_mm is not None:
            return _event(part, row, name, at_mm)
        if name == "index_error":
            reason = "no nominal place is known"
            u = None if index_error is None else lobe.uncertainty.get("centre_cam_deg")
            return Measured(index_error, u, reason)
        if name == "envelope":
            use = lobe.envelope
            value = None if use is None else use.worst_deviation_mm
            return Measured(value, lobe.uncertainty.get("worst_deviation_mm"), "no envelope applies to this lobe")
        if name not in _PLAIN:
            return None
        value_of, key = _PLAIN[name]
        why = no_derivative(part, row, _ORDERS[name]) if name in _ORDERS else None
        u = None if key is None else lobe.uncertainty.get(key)
        return Measured(value_of(lobe), u, why or "see the notes")

    return look_up


def _event(part: GroupScalars, row: int, name: str, at_mm: float) -> Measured:
    key = f"{name}@{at_mm:.9g}"
    scalars = part.events_at(at_mm)
    value, u = number(scalars[key].value[row]), number(scalars[key].u[row])
    factor = _EVENTS[name]
    if value is None or u is None:
        return Measured(None, None, _NOT_REACHED)
    if name != "duration":
        value %= 360.0
    return Measured(factor * value, factor * u)


def camshaft_items(
    camshaft: CamshaftResult, lobes: tuple[LobeResult, ...], without_angle: frozenset[str] = frozenset()
) -> list[Item]:
    """The shaft, its cylinders and its kinds of lobe as items; each answers only its own characteristics."""
    items = [
        _one(f"cylinder {row.cylinder}", "lobe_separation", row.lobe_separation_cam_deg,
             camshaft.uncertainty.get(f"lobe_separation_cam_deg {row.cylinder}"))
        for row in camshaft.cylinders
    ]  # fmt: skip
    mean = camshaft.lobe_separation_mean_cam_deg
    items.append(
        _one("camshaft", "lobe_separation_mean", mean, camshaft.uncertainty.get("lobe_separation_mean_cam_deg"))
    )
    for spread in camshaft.spreads:
        members = [lobe for lobe in lobes if lobe.kind == spread.kind]
        u_lift = _widest([lobe.uncertainty.get("max_lift_mm") for lobe in members])
        u_duration = _widest([
            row.uncertainty.duration_crank_deg for lobe in members for row in lobe.durations if row.at_mm == 1.27
        ])  # fmt: skip
        items.append(_one(spread.kind, "max_lift_spread", spread.max_lift_mm, u_lift))
        items.append(_one(spread.kind, "duration_spread", spread.duration_crank_deg, u_duration))
    return [_marked(item, without_angle=bool(without_angle)) for item in items]


def _widest(us: list[float | None]) -> float | None:
    """Uncertainty of a difference of two of them."""
    known = [u for u in us if u is not None]
    return float(2.0**0.5 * max(known)) if known else None


def _one(name: str, characteristic: str, value: float | None, u: float | None) -> Item:
    def look_up(asked: str, _at_mm: float | None) -> Measured | None:
        return Measured(value, u, "see the notes") if asked == characteristic else None

    return Item(name, None, look_up)
