"""Figures of a lobe's contour with their uncertainty."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np

from valvelab.angles import fold_scalar
from valvelab.arrays import FloatArray, IntArray
from valvelab.follower.contour import Contour, contour, pressure_angle_under, undercut_at
from valvelab.follower.shapes import Shape
from valvelab.frozen import frozen
from valvelab.inspection.lobes.repeatability import LobeGroup
from valvelab.inspection.lobes.shaft import ByItem, MeasuredShaft
from valvelab.lobe.events import Places
from valvelab.lobe.profile import FittedLobes, Profile
from valvelab.lobe.propagation import Term
from valvelab.lobe.spline import SplineSet
from valvelab.measured import Each, missing
from valvelab.phrase import Phrase
from valvelab.records.measurement import LiftTable
from valvelab.records.result import Note, info, warning


@frozen
class Extreme:
    """A figure of the contour at its extreme: of which of its curves.

    sign: of the radius of curvature that counts, 0 where the figure is none. why: it may be missing.
    """

    of: str
    sign: int = 0
    why: str = ""


LEAST_CONVEX = Extreme("radius_mm", 1, "the contour has no convex stretch")
TIGHTEST_HOLLOW = Extreme("radius_mm", -1, "the contour has no hollow")
FACE_REACH = Extreme("slope_mm")
PRESSURE_ANGLE = Extreme("pressure_angle_deg")


def missing_for_contour(table: LiftTable) -> str | None:
    """Why no contour can be derived, or None."""
    if table.lift_at == "valve":
        return "the lift was read at the valve; a contour needs lift at the follower"
    if table.follower is None:
        return "the follower is not stated (follower: flat, roller with its radius, or point)"
    if table.base_circle_radius_mm is None:
        return "the base circle radius is not stated"
    return None


_GUIDE_SHARE = 0.6
"""Of the finest harmonic passed by half: a step of curvature through fit and blur together then overshoots by 0.2 %."""
_ZOOMS, _POINTS = 4, 17


def contour_extreme(shaft: MeasuredShaft, figure: Extreme) -> ByItem:
    """One figure of every lobe's contour."""
    reason = missing_for_contour(shaft.table)
    if reason is not None:
        return dict.fromkeys(shaft.kinds, missing(reason))
    found = {group: contours.extreme(figure) for group, contours in shaft.once(_contours).items()}
    return shaft.each(lambda group, row: found[group][row])


def contour_notes(shaft: MeasuredShaft) -> list[Note]:
    """Why there is no contour, and which lobes are undercut."""
    reason = missing_for_contour(shaft.table)
    if reason is not None:
        return [info("curvature", Phrase("not derived: {reason}", reason=reason))]
    contours = shaft.once(_contours)
    return [note for notes in shaft.each(lambda group, row: contours[group].notes(row)).values() for note in notes]


def _contours(shaft: MeasuredShaft) -> dict[LobeGroup, Contours]:
    """The contours of each group, as its lobes were read."""
    shape, base_mm = shaft.table.follower, shaft.table.base_circle_radius_mm
    assert shape is not None
    assert base_mm is not None
    return {group: Contours(group.source or group, shape, base_mm, shaft.under) for group in shaft.groups}


def _guide(fitted: FittedLobes) -> SplineSet:
    return fitted.splines.blurred(_GUIDE_SHARE * fitted.smoothed.half_harmonic)


def curvature_guides(groups: tuple[LobeGroup, ...]) -> dict[str, Profile]:
    """Every lobe's profile without its finest detail, by which extremes of curvature are found."""
    guides = [(part.fitted.names, _guide(part.fitted)) for part in groups]
    return {name: Profile(name, guide, row) for names, guide in guides for row, name in enumerate(names)}


class Contours:
    """Contours of the lobes of one group, from the fit and from a copy without its finest detail.

    Where curvature jumps, as arcs join, any smooth fit swings over; its own extreme of curvature is that of the swing.
    Extremes of curvature are therefore looked for on the blurred copy, whose swing is small, and read from the fit
    there; the greatest departure of the fit within half a period of its swing is part of their uncertainty.
    Curvature and face reach belong to the contour; the pressure angle is that of the follower that read it, or of the
    one it is described `under`.
    """

    def __init__(self, part: LobeGroup, shape: Shape, base_mm: float, under: Shape | None = None) -> None:
        self.part, self.shape, self.base_mm, self.under = part, shape, base_mm, under
        self.fit = part.fitted.splines
        self.guide = _guide(part.fitted)
        self.half_period = min(180.0 / part.fitted.smoothed.half_harmonic, 30.0)
        self._count = part.fitted.at_knots[0].shape[1]
        self._knots = self.fit.knots()[: self._count]
        self._on_fit = self._contour(self._knots, part.fitted.at_knots[:3])
        on_guide = [self.guide.at_knots(order)[:, : self._count] for order in range(3)]
        self._on_guide = self._contour(self._knots, on_guide)

    def _contour(self, angle: FloatArray, state: Sequence[FloatArray]) -> Contour:
        lift, velocity, acceleration = state
        found = contour(angle, lift, velocity, acceleration, self.base_mm, self.shape)
        if self.under is None:
            return found
        return replace(found, pressure_angle_deg=pressure_angle_under(found, self.under))

    def _at(self, splines: SplineSet, rows: IntArray, angle: FloatArray) -> Contour:
        """Contours of some lobes, each at angles of its own; (rows, angles)."""
        return self._contour(angle, [splines.evaluate(rows[:, None], angle, order) for order in range(3)])

    @cached_property
    def undercuts(self) -> list[str]:
        """What the follower can't do where a lobe is undercut, empty where it is not; (lobes,)."""
        angle = self._on_guide.angle_cam_deg
        places = [undercut_at(angle, radius, self.shape) for radius in self._on_guide.radius_mm]
        return [
            ""
            if at is None
            else Phrase("cannot touch such a contour at {angle} cam deg", angle=f"{fold_scalar(at):.1f}")
            for at in places
        ]

    def notes(self, row: int) -> list[Note]:
        """That one lobe is undercut."""
        undercut = self.undercuts[row]
        if not undercut:
            return []
        text = Phrase(
            "undercut: the {follower} {undercut}; its radii are left open",
            follower=Phrase(f"{self.shape.kind} follower"),
            undercut=undercut,
        )
        return [warning(Phrase("{names} curvature", names=self.part.fitted.names[row]), text)]

    def extreme(self, figure: Extreme) -> Each:
        """One figure of every lobe; none of curvature where it is undercut or its readings too far apart."""
        value, u = self._extreme(figure)
        found = Each(value, u, (figure.why,) * value.size)
        if not figure.sign:
            return found
        lost = [undercut or self.part.no_derivative(row, 2) for row, undercut in enumerate(self.undercuts)]
        return found.without(np.array([reason != "" for reason in lost]), lost)

    def _extreme(self, figure: Extreme) -> tuple[FloatArray, FloatArray]:
        """Value and standard uncertainty, (lobes,); NaN where there is none."""
        splines, found = (self.guide, self._on_guide) if figure.sign else (self.fit, self._on_fit)
        score = _score(found, figure)
        top = np.argmax(score, axis=1)
        rows = np.flatnonzero(np.isfinite(_picked(score, top)))
        value, crest, place = np.full(top.size, np.nan), np.zeros(top.size), np.full(top.size, np.nan)
        place[rows] = self._zoomed(splines, rows, figure, self._knots[top[rows]])
        value[rows] = _size(self._at(self.fit, rows, place[rows, None]), figure)[:, 0]
        if figure.sign:
            crest[rows] = self._swing(rows, figure, place[rows], value[rows])
        u = self._uncertainty(figure, place)
        return value, np.sqrt(u**2 + crest**2 + _plateau(score, u) ** 2)

    def _zoomed(self, splines: SplineSet, rows: IntArray, figure: Extreme, at: FloatArray) -> FloatArray:
        """The place of each extreme within a knot of an angle, on closer and closer grids; all (rows,)."""
        reach, found = self.fit.step, np.ones(rows.size, np.bool_)
        for _ in range(_ZOOMS):
            angle = at[:, None] + reach * np.linspace(-1.0, 1.0, _POINTS)
            score = _score(self._at(splines, rows, angle), figure)
            found &= np.isfinite(score).any(axis=1)
            at = np.where(found, _picked(angle, np.argmax(score, axis=1)), at)
            reach *= 2.0 / (_POINTS - 1)
        return at

    def _swing(self, rows: IntArray, figure: Extreme, at: FloatArray, value: FloatArray) -> FloatArray:
        """How far the fit departs toward the extreme near a place; all of the value where it leaves its side."""
        near = self._at(self.fit, rows, at[:, None] + self.half_period * np.linspace(-1.0, 1.0, 4 * _POINTS))
        score = _score(near, figure)
        stays = np.isfinite(value) & np.isfinite(score).all(axis=1)
        top = _picked(_size(near, figure), np.argmax(score, axis=1))
        return np.where(stays, np.abs(top - value), np.abs(value) if figure.sign > 0 else 0.0)

    def _uncertainty(self, figure: Extreme, place: FloatArray) -> FloatArray:
        """First-order propagation through lift, velocity and acceleration at each lobe's place; NaN for none."""
        rows = np.arange(place.size)
        index, t = self.fit.locate(np.where(np.isfinite(place), place, self.fit.start))
        state = [self.fit.at(rows, index, t, order) for order in range(3)]

        def value(changed: list[FloatArray]) -> FloatArray:
            return np.asarray(getattr(self._contour(place, changed), figure.of))

        places, terms = Places(index, t, place), []
        for order, step in enumerate((1e-5, 1e-6, 1e-7)):
            ahead, behind = (
                value([values + sign * step * (k == order) for k, values in enumerate(state)]) for sign in (1.0, -1.0)
            )
            terms.append(Term(places, order, (ahead - behind) / (2.0 * step)))
        return self.part.characteristics.of_extreme(*terms)


def _size(found: Contour, figure: Extreme) -> FloatArray:
    """The figure at each place, positive."""
    return np.asarray(np.abs(getattr(found, figure.of)))


def _picked(values: FloatArray, columns: IntArray) -> FloatArray:
    """One value of each row; values: (rows, n), columns: (rows,)."""
    return np.asarray(values[np.arange(columns.size), columns])


def _plateau(scores: FloatArray, u: FloatArray) -> FloatArray:
    """How far each extreme stands off the mean of all that lies within 2 u of it, (lobes,); scores: (lobes, knots).

    The extreme of a noisy plateau, such as the nose of an arc, or of two equal flanks stands off by noise alone.
    """
    excess = np.zeros(u.size)
    for row, score in enumerate(scores):
        if np.isfinite(u[row]) and np.isfinite(score).any():
            excess[row] = score.max() - score[score >= score.max() - 2.0 * u[row]].mean()
    return excess


def _score(found: Contour, figure: Extreme) -> FloatArray:
    """What is greatest where the figure is met; −∞ where the contour is of another kind."""
    size = _size(found, figure)
    if not figure.sign:
        return size
    radius = found.radius_mm
    right = radius > 0.0 if figure.sign > 0 else radius < -(found.shape.radius_mm or 0.0)
    return np.where(np.isfinite(radius) & right, -size, -np.inf)
