"""Contour figures of one lobe with their uncertainty."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from valvelab.angles import fold_scalar
from valvelab.arrays import FloatArray
from valvelab.follower.contour import Contour, CurvatureSummary, contour, pressure_angle_under, summarise
from valvelab.follower.shapes import Shape
from valvelab.inspection.lobe_scalars import GroupScalars, number
from valvelab.lobe.events import Places
from valvelab.lobe.propagation import Term
from valvelab.lobe.smoothing_bias import too_wide
from valvelab.records.measurement import LiftTable
from valvelab.records.result import Note, info, warning


@dataclass(frozen=True, slots=True)
class ContourFigures:
    """Values and standard uncertainties by JSON key, and what has to be said."""

    values: dict[str, float | None]
    uncertainty: dict[str, float | None]
    notes: tuple[Note, ...]


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
    shape = table.follower
    assert shape is not None
    assert table.base_circle_radius_mm is not None
    angle = part.fitted.splines.knots()[:count]
    return contour(angle, lift, velocity, acceleration, table.base_circle_radius_mm, shape)


_FIELDS = {
    "min_convex_radius_mm": "radius_mm",
    "min_concave_radius_mm": "radius_mm",
    "min_face_radius_mm": "slope_mm",
    "max_pressure_angle_deg": "pressure_angle_deg",
}


def contour_figures(part: GroupScalars, table: LiftTable, under: Shape | None = None) -> dict[str, ContourFigures]:
    """Curvature, face and pressure angle of each lobe of a group; None, with the reason, where not derived.

    Curvature and face reach belong to the contour; the pressure angle is that of the follower that read it, or of the
    one it is described `under`.
    """
    names = part.fitted.names
    reason = missing_for_contour(table)
    if reason is not None:
        note = info("curvature", f"not derived: {reason}")
        return {name: ContourFigures(dict.fromkeys(_FIELDS), {}, (note,)) for name in names}
    contours = [_seen(lobe_contour(part, row, table), under) for row in range(len(names))]
    summaries = [summarise(found) for found in contours]
    places = [_places(found, summary) for found, summary in zip(contours, summaries, strict=True)]
    uncertainty = {
        key: _uncertainty(part, contours, [place[key] for place in places], field, under)
        for key, field in _FIELDS.items()
    }
    flat = too_wide(part.characteristics.spacing_cam_deg, 2)
    for row in np.flatnonzero(flat):
        # without an acceleration there is no radius of curvature
        summaries[row] = replace(summaries[row], min_convex_mm=None, min_concave_mm=None)
        places[row] |= {"min_convex_radius_mm": None, "min_concave_radius_mm": None}
    return {
        name: ContourFigures(
            {
                "min_convex_radius_mm": summary.min_convex_mm,
                "min_concave_radius_mm": summary.min_concave_mm,
                "min_face_radius_mm": summary.face_radius_mm,
                "max_pressure_angle_deg": summary.max_pressure_angle_deg,
            },
            {key: number(uncertainty[key][row]) for key, place in places[row].items() if place is not None},
            _undercut_notes(name, contours[row], summary),
        )
        for row, (name, summary) in enumerate(zip(names, summaries, strict=True))
    }


def _seen(found: Contour, under: Shape | None) -> Contour:
    """The contour with the pressure angle of the follower it is described under."""
    return found if under is None else replace(found, pressure_angle_deg=pressure_angle_under(found, under))


def _undercut_notes(name: str, found: Contour, summary: CurvatureSummary) -> tuple[Note, ...]:
    if summary.undercut_at is None:
        return ()
    at = fold_scalar(summary.undercut_at)
    text = f"undercut: the {found.shape.kind} follower cannot touch such a contour at {at:.1f} cam deg"
    return (warning(f"{name} curvature", text),)


def _places(found: Contour, summary: CurvatureSummary) -> dict[str, int | None]:
    """The knot at which each figure is met."""

    def knot(angle: float | None) -> int | None:
        return None if angle is None else int(np.argmin(np.abs(found.angle_cam_deg - angle)))

    return {
        "min_convex_radius_mm": knot(summary.min_convex_at),
        "min_concave_radius_mm": knot(summary.min_concave_at),
        "min_face_radius_mm": int(np.argmax(np.abs(found.slope_mm))),
        "max_pressure_angle_deg": int(np.argmax(np.abs(found.pressure_angle_deg))),
    }


def _uncertainty(
    part: GroupScalars, contours: list[Contour], knots: list[int | None], field: str, under: Shape | None
) -> FloatArray:
    """First-order propagation through lift, velocity and acceleration at each lobe's place; (lobes,), NaN for none."""
    rows = np.arange(len(contours))
    there = np.array([knot is not None for knot in knots])
    at = np.array([knot or 0 for knot in knots])
    state = [values[rows, at] for values in part.fitted.at_knots[:3]]
    angle = contours[0].angle_cam_deg[at]

    def value(changed: list[FloatArray]) -> FloatArray:
        lift, velocity, acceleration = changed
        found = contour(angle, lift, velocity, acceleration, contours[0].base_circle_radius_mm, contours[0].shape)
        return np.asarray(getattr(_seen(found, under), field))

    places = Places(at, np.zeros(rows.size), np.where(there, angle, np.nan))
    terms = []
    for order, step in enumerate((1e-5, 1e-6, 1e-7)):
        ahead, behind = (
            value([values + sign * step * (k == order) for k, values in enumerate(state)]) for sign in (1.0, -1.0)
        )
        terms.append(Term(places, order, (ahead - behind) / (2.0 * step)))
    return part.characteristics.of_extreme(*terms)
