"""Figures of a lobe's contour with their uncertainty."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from valvelab.angles import fold_scalar
from valvelab.arrays import FloatArray
from valvelab.follower.contour import Contour, contour, pressure_angle_under, undercut_at
from valvelab.follower.shapes import Shape
from valvelab.inspection.lobes.repeatability import LobeGroup
from valvelab.inspection.lobes.shaft import ByItem, MeasuredShaft
from valvelab.lobe.events import Places
from valvelab.lobe.profile import FittedLobes, Profile
from valvelab.lobe.propagation import Term
from valvelab.lobe.spline import SplineSet
from valvelab.measured import Each, missing
from valvelab.records.measurement import LiftTable
from valvelab.records.result import Note, info, warning


@dataclass(frozen=True, slots=True)
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
        return [info("curvature", f"not derived: {reason}")]
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
        on_fit = part.fitted.at_knots[:3]
        on_guide = [self.guide.at_knots(order)[:, : self._count] for order in range(3)]
        rows = range(len(part.fitted.names))
        self._fit_contours = [self._contour(self._knots, [values[row] for values in on_fit]) for row in rows]
        self._guide_contours = [self._contour(self._knots, [values[row] for values in on_guide]) for row in rows]

    def _contour(self, angle: FloatArray, state: list[FloatArray]) -> Contour:
        lift, velocity, acceleration = state
        found = contour(angle, lift, velocity, acceleration, self.base_mm, self.shape)
        if self.under is None:
            return found
        return replace(found, pressure_angle_deg=pressure_angle_under(found, self.under))

    def _at(self, splines: SplineSet, row: int, angle: FloatArray) -> Contour:
        return self._contour(angle, [splines.evaluate(row, angle, order) for order in range(3)])

    @cached_property
    def undercuts(self) -> list[str]:
        """What the follower can't do where a lobe is undercut, empty where it is not; (lobes,)."""
        places = [undercut_at(found) for found in self._guide_contours]
        return ["" if at is None else f"cannot touch such a contour at {fold_scalar(at):.1f} cam deg" for at in places]

    def notes(self, row: int) -> list[Note]:
        """That one lobe is undercut."""
        undercut = self.undercuts[row]
        if not undercut:
            return []
        text = f"undercut: the {self.shape.kind} follower {undercut}; its radii are left open"
        return [warning(f"{self.part.fitted.names[row]} curvature", text)]

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
        curved = figure.sign != 0
        contours = self._guide_contours if curved else self._fit_contours
        count = len(contours)
        value, crest, place = np.full(count, np.nan), np.zeros(count), np.full(count, np.nan)
        for row, found in enumerate(contours):
            score = _score(found, figure)
            top = int(np.argmax(score))
            if not np.isfinite(score[top]):
                continue
            splines = self.guide if curved else self.fit
            place[row] = self._zoomed(splines, row, figure, float(self._knots[top]), self.fit.step)
            value[row] = _size(self._at(self.fit, row, place[row : row + 1]), figure)[0]
            if curved:
                crest[row] = self._swing(row, figure, place[row], value[row])
        u = self._uncertainty(figure, place)
        return value, np.sqrt(u**2 + crest**2 + _plateau(contours, figure, u) ** 2)

    def _zoomed(self, splines: SplineSet, row: int, figure: Extreme, at: float, reach: float) -> float:
        """The place of the extreme within `reach` of an angle, on closer and closer grids."""
        for _ in range(_ZOOMS):
            angle = at + reach * np.linspace(-1.0, 1.0, _POINTS)
            score = _score(self._at(splines, row, angle), figure)
            if not np.isfinite(score).any():
                return at
            at, reach = float(angle[int(np.argmax(score))]), 2.0 * reach / (_POINTS - 1)
        return at

    def _swing(self, row: int, figure: Extreme, at: float, value: float) -> float:
        """How far the fit departs toward the extreme near a place; all of the value where it leaves its side."""
        found = self._at(self.fit, row, at + self.half_period * np.linspace(-1.0, 1.0, 4 * _POINTS))
        score = _score(found, figure)
        if not np.isfinite(value) or not np.isfinite(score).all():
            return abs(value) if figure.sign > 0 else 0.0
        return abs(float(_size(found, figure)[int(np.argmax(score))]) - value)

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


def _plateau(contours: list[Contour], figure: Extreme, u: FloatArray) -> FloatArray:
    """How far each extreme stands off the mean of all that lies within 2 u of it, (lobes,).

    The extreme of a noisy plateau, such as the nose of an arc, or of two equal flanks stands off by noise alone.
    """
    excess = np.zeros(u.size)
    for row, found in enumerate(contours):
        score = _score(found, figure)
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
