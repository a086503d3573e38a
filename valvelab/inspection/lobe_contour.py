"""Contour figures of one lobe with their uncertainty."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from valvelab.arrays import FloatArray
from valvelab.follower.contour import Contour, contour, summarise
from valvelab.follower.shapes import Shape
from valvelab.inspection.lobe_scalars import GroupScalars, number
from valvelab.lobe.events import Places
from valvelab.lobe.propagation import Term
from valvelab.records.measurement import LiftTable
from valvelab.records.result import Note, info, warning

_KEYS = ("min_convex_radius_mm", "min_concave_radius_mm", "min_face_radius_mm", "max_pressure_angle_deg")


@dataclass(frozen=True, slots=True)
class ContourFigures:
    """Values and standard uncertainties by JSON key, and what has to be said."""

    values: dict[str, float | None]
    uncertainty: dict[str, float | None]
    notes: tuple[Note, ...]


def shape_of(table: LiftTable) -> Shape | None:
    """The follower the table was taken with."""
    if table.follower is None:
        return None
    radius = 0.0 if table.follower.kind == "point" else table.follower.radius_mm
    return Shape(table.follower.kind, radius)


def missing_for_contour(table: LiftTable) -> str | None:
    """Why no contour can be derived, or None."""
    if table.lift_at == "valve":
        return "the lift was read at the valve; a contour needs lift at the follower"
    if table.follower is None:
        return "the follower is not stated (follower: flat, roller with its radius, or point)"
    if table.base_circle_radius_mm is None:
        return "the base circle radius is not stated"
    return None


def lobe_contour(part: GroupScalars, row: int, table: LiftTable) -> Contour:
    """Contour of one lobe at the knots of its fit."""
    count = part.fitted.at_knots[0].shape[1]
    lift, velocity, acceleration, _ = (values[row] for values in part.fitted.at_knots)
    shape = shape_of(table)
    assert shape is not None
    assert table.base_circle_radius_mm is not None
    angle = part.fitted.splines.knots()[:count]
    return contour(angle, lift, velocity, acceleration, table.base_circle_radius_mm, shape)


def contour_figures(part: GroupScalars, row: int, table: LiftTable) -> ContourFigures:
    """Curvature, face and pressure angle of one lobe; None throughout, with the reason, where they can't be derived."""
    name = part.fitted.names[row]
    reason = missing_for_contour(table)
    if reason is not None:
        note = info("curvature", f"not derived: {reason}")
        return ContourFigures(dict.fromkeys(_KEYS), {}, (note,))
    found = lobe_contour(part, row, table)
    summary = summarise(found)
    notes: list[Note] = []
    if summary.undercut_at is not None:
        follower = f"the {found.shape.kind} follower"
        text = f"undercut: {follower} cannot touch such a contour at {summary.undercut_at:.1f} cam deg"
        notes.append(warning(f"{name} curvature", text))
    slope, pressure = found.slope_mm, found.pressure_angle_deg
    places = {
        "min_convex_radius_mm": _where(found, summary.min_convex_at),
        "min_concave_radius_mm": _where(found, summary.min_concave_at),
        "min_face_radius_mm": int(np.argmax(np.abs(slope))),
        "max_pressure_angle_deg": int(np.argmax(np.abs(pressure))),
    }
    fields = {
        "min_convex_radius_mm": "radius_mm", "min_concave_radius_mm": "radius_mm",
        "min_face_radius_mm": "slope_mm", "max_pressure_angle_deg": "pressure_angle_deg",
    }  # fmt: skip
    uncertainty = {
        key: _uncertainty(part, row, found, place, fields[key]) for key, place in places.items() if place is not None
    }
    values: dict[str, float | None] = {
        "min_convex_radius_mm": None if places["min_convex_radius_mm"] is None else summary.min_convex_mm,
        "min_concave_radius_mm": summary.min_concave_mm,
        "min_face_radius_mm": summary.face_radius_mm,
        "max_pressure_angle_deg": summary.max_pressure_angle_deg,
    }
    return ContourFigures(values, uncertainty, tuple(notes))


def _where(found: Contour, angle: float | None) -> int | None:
    return None if angle is None else int(np.argmin(np.abs(found.angle_cam_deg - angle)))


def _uncertainty(part: GroupScalars, row: int, found: Contour, place: int, field: str) -> float | None:
    """First-order propagation through lift, velocity and acceleration at the place."""
    at_knots = part.fitted.at_knots
    start = np.array([at_knots[order][row, place] for order in range(3)])
    steps = np.array([1e-5, 1e-6, 1e-7])
    angle = found.angle_cam_deg[place : place + 1]

    def value(state: FloatArray) -> float:
        one = contour(angle, state[:1], state[1:2], state[2:3], found.base_circle_radius_mm, found.shape)
        return float(getattr(one, field)[0])

    slopes = [
        (value(start + step) - value(start - step)) / (2.0 * h) for step, h in zip(np.diag(steps), steps, strict=True)
    ]
    count = len(part.fitted.names)
    index, t = part.fitted.splines.locate(np.full(count, float(angle[0])))
    only = np.where(np.arange(count) == row, float(angle[0]), np.nan)
    places = Places(index, t, only)
    terms = [Term(places, order, np.full(count, slope)) for order, slope in enumerate(slopes)]
    return number(part.characteristics.propagation.standard(*terms)[row])
