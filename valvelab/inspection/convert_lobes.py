"""The same lobes described under another follower."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from valvelab.arrays import FloatArray, read_only
from valvelab.errors import CannotEvaluate, Reason
from valvelab.follower.contour import Contour, contour, pressure_angle_under, under_follower
from valvelab.follower.shapes import Shape
from valvelab.inspection.lobe_contour import missing_for_contour
from valvelab.lobe.dense_smoothing import fit_general
from valvelab.lobe.profile import FittedLobes
from valvelab.lobe.smoothing import Smoothed, fit_uniform
from valvelab.records.measurement import LiftTable
from valvelab.records.result import Note, info, warning

_NEWTON_STEPS = 8


def convert(
    fitted: FittedLobes, table: LiftTable, shape: Shape, notes: list[Note]
) -> tuple[FittedLobes, frozenset[str]]:
    """Lobes as `shape` would follow them, on the same knots, and the names of those it can't follow.

    For every knot angle the place on the contour that the new follower meets there is found by Newton's method on the
    fitted profile, so nothing is interpolated. A contour that the follower can't touch is a finding, said in a note;
    such a lobe keeps its own lift here and has to be withheld. Raises CannotEvaluate where no contour can be derived.
    """
    reason = missing_for_contour(table)
    if reason is not None:
        raise CannotEvaluate(Reason.MISSING_INPUT, f"convert: {reason}")
    source = table.follower
    assert source is not None
    assert table.base_circle_radius_mm is not None
    splines = fitted.splines
    count = fitted.at_knots[0].shape[1]
    target = splines.knots()[:count]
    lifts = np.array(fitted.at_knots[0])
    withheld = set()
    for row, name in enumerate(fitted.names):
        try:
            lifts[row] = _lift_under(fitted, row, target, table.base_circle_radius_mm, source, shape)
        except CannotEvaluate as error:
            withheld.add(name)
            notes.append(warning(name, f"not described under a {_words(shape)}: {error}"))
    if splines.periodic:
        smoothed = fit_uniform(lifts, splines.start)
    else:
        smoothed = fit_general(target, lifts, np.ones(lifts.shape, dtype=np.bool_), periodic=False)
    contour_keeps = "curvature and face reach stay the contour's"
    notes.append(
        info(
            "convert",
            f"lift, events and pressure angle are those of the same contour under a {_words(shape)}; {contour_keeps}",
        )
    )
    converted = replace(fitted, splines=smoothed.splines, smoothed=_with_noise_of(fitted.smoothed, smoothed))
    return converted, frozenset(withheld)


def _with_noise_of(source: Smoothed, converted: Smoothed) -> Smoothed:
    """The converted spline carries the readings' covariance: lift moves nearly one to one between followers."""
    if source.splines.padded.shape != converted.splines.padded.shape:
        return converted
    return replace(source, splines=converted.splines)


def _words(shape: Shape) -> str:
    return f"roller of {shape.radius_mm:g} mm" if shape.kind == "roller" else f"{shape.kind} follower"


def _contour_at(fitted: FittedLobes, row: int, angle: FloatArray, base: float, shape: Shape) -> Contour:
    lift, velocity, acceleration = (fitted.splines.evaluate(row, angle, order) for order in range(3))
    return contour(angle, lift, velocity, acceleration, base, shape)


def _lift_under(
    fitted: FittedLobes, row: int, target: FloatArray, base: float, source: Shape, shape: Shape
) -> FloatArray:
    """Lift under the new follower at each target angle, mm."""
    whole = _contour_at(fitted, row, target, base, source)
    under_follower(whole, shape)  # refuses what can't be followed
    angle = np.array(target)
    for _ in range(_NEWTON_STEPS):
        found = _contour_at(fitted, row, angle, base, source)
        reach = _angle_under(found, shape)
        # dθ₂/dφ = (radius of curvature + r₂)(p + r₂)/ρ₂², and dφ/dθ likewise under the source
        slope = _rate(found, shape) / _rate(found, source)
        step = np.where(np.isfinite(slope) & (np.abs(slope) > 1e-6), (reach - target) / slope, 0.0)
        angle = angle - np.clip(step, -5.0, 5.0)
    found = _contour_at(fitted, row, angle, base, source)
    if shape.kind == "flat":
        return read_only(found.support_mm - base)
    r = shape.radius_mm or 0.0
    return read_only(np.hypot(found.support_mm + r, found.slope_mm) - base - r)


def _angle_under(found: Contour, shape: Shape) -> FloatArray:
    return np.asarray(found.normal_cam_deg + pressure_angle_under(found, shape))


def _rate(found: Contour, shape: Shape) -> FloatArray:
    """dθ/dφ of the cam angle at which a follower meets the contour, by the direction of its normal."""
    if shape.kind == "flat":
        return np.ones_like(found.support_mm)
    q = found.support_mm + (shape.radius_mm or 0.0)
    return np.asarray((found.radius_mm + (shape.radius_mm or 0.0)) * q / (q**2 + found.slope_mm**2))
