"""Places on a fitted lobe: extremes between coarse knots, crossings at the very ends, and angles near the nose."""

from __future__ import annotations

import numpy as np
import pytest
from lobe_samples import Floats, answers, crossing, design, fit, lopsided, turn
from something import each

from valvelab.lobe.events import Places, crossings, event_mask, extreme, near_nose, unroll
from valvelab.lobe.profile import FittedLobes

ANGLE = turn(720)
COARSE = turn(72)
"""Knots five degrees apart, so that a crest lies well beside the knot that is nearest."""


def coarse(angle: Floats = COARSE) -> FittedLobes:
    return fit(angle, lopsided().value(angle), design("cycloidal", centre=211.3).value(angle))


@pytest.mark.parametrize(("order", "sign"), [(0, 1.0), (1, 1.0), (1, -1.0), (2, 1.0), (2, -1.0)])
@pytest.mark.parametrize("angle", [COARSE, ANGLE], ids=["coarse", "fine"])
def test_an_extreme_is_that_of_the_whole_curve(order: int, sign: float, angle: Floats) -> None:
    """Second opinion: the same polynomials at two hundred points between two knots."""
    fitted = coarse(angle)
    splines, lobes = fitted.splines, unroll(fitted)
    inside = np.linspace(0.0, 1.0, 201)
    for guide in each([splines, splines.blurred(20.0)]):
        places, _ = extreme(lobes, order, sign, guide)
        for row in range(2):
            rows = np.full(inside.size, row)
            curve = np.array(
                [guide.at(rows, np.full(inside.size, index), inside, order) for index in range(splines.intervals)]
            )
            found = guide.at(np.array([row]), places.index[row : row + 1], places.t[row : row + 1], order)[0]
            best = (sign * curve).max()
            assert best <= sign * found + 1e-9 * np.abs(curve).max()
            assert sign * found <= best + 2e-3 * (curve.max() - curve.min())


@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_a_sweep_of_less_than_the_steepest_place_is_steepest_at_its_end(side: float) -> None:
    lobe = design("poly4567", (0.0, 0.0))
    angle = np.arange(-66.0, 28.5, 0.9) if side > 0.0 else np.arange(-28.0, 66.0, 0.9)
    angle += lobe.centre
    fitted = fit(angle, lobe.value(angle))
    places, speed = extreme(unroll(fitted), 1, -side)
    end = 0 if side < 0.0 else -1
    assert places.index[0] == (0 if side < 0.0 else fitted.splines.intervals - 1)
    assert places.angle_cam_deg[0] == pytest.approx(angle[end], abs=0.5)
    assert speed[0] == pytest.approx(lobe.value(angle[[end]], 1)[0], rel=2e-3)


def test_the_place_of_an_acceleration_is_that_of_the_curve_without_its_finest_detail() -> None:
    lift = lopsided().value(ANGLE) + np.random.default_rng(5).normal(0.0, 2e-3, ANGLE.size)
    fitted = fit(ANGLE, lift)
    lobes = unroll(fitted)
    for sign in each([1.0, -1.0]):
        for order, guide in each([(1, None), (2, fitted.guide)]):
            own, value = extreme(lobes, order, sign)
            asked, _ = extreme(lobes, order, sign, guide)
            assert (own.index[0], own.t[0]) == (asked.index[0], asked.t[0])
            assert value == fitted.splines.at(np.array([0]), own.index, own.t, order)
        assert extreme(lobes, 2, sign)[0].t[0] != extreme(lobes, 2, sign, fitted.splines)[0].t[0]


def test_at_a_crossing_the_curve_has_that_lift() -> None:
    fitted = coarse()
    for lift in each([0.508, 1.27, 5.0, 7.9]):
        for places in each(crossings(unroll(fitted), lift)):
            assert fitted.splines.at(np.arange(2), places.index, places.t) == pytest.approx(lift, abs=1e-9)


def test_the_event_is_all_that_is_not_the_base_circles_arc() -> None:
    fitted = fit(ANGLE, lopsided().value(ANGLE))
    lobes, base = unroll(fitted), fitted.bases[0]
    assert base is not None
    knots = (lobes.first[0] + np.arange(ANGLE.size)) % ANGLE.size
    arc = set(np.arange(base.first, base.last + 1) % ANGLE.size)
    assert set(knots[~event_mask(lobes)[0]]) == arc


def test_a_crossing_in_the_first_and_in_the_last_interval_is_found() -> None:
    lobe = design("poly4567")
    for lift in each([0.9, 1.27]):
        ends = [lobe.centre + crossing(lobe, lift, side) for side in (-1, 1)]
        angle = np.linspace(ends[0] - 0.3, ends[1] + 0.3, 141)
        opening, closing = crossings(unroll(fit(angle, lobe.value(angle))), lift)
        assert opening.index[0] == 0
        assert [opening.angle_cam_deg[0], closing.angle_cam_deg[0]] == pytest.approx(ends, abs=2e-3)


def test_an_event_that_begins_above_the_lift_has_no_opening() -> None:
    lobe = design("poly4567")
    angle = np.linspace(lobe.centre + crossing(lobe, 1.27, -1), lobe.centre + 90.0, 141)
    opening, closing = crossings(unroll(fit(angle, lobe.value(angle))), 1.0)
    assert not opening.found[0]
    assert closing.found[0]


def test_angles_near_the_nose_are_those_of_its_own_turn() -> None:
    lobes = unroll(coarse())
    noses = np.array([100.3, 211.3])
    for turns in each([-2.0, -1.0, 0.0, 1.0, 3.0]):
        for beside in each([-170.0, 0.0, 170.0]):
            asked = Places(np.zeros(2, dtype=np.int64), np.zeros(2), noses + beside + 360.0 * turns)
            near = near_nose(lobes, asked)
            assert near == pytest.approx(noses + beside, abs=1e-9)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_the_greatest_velocity_is_the_fit_s_own(sign: float) -> None:
    """Only derivatives that noise roughens are looked for on a smoother copy: no slope of the fit is steeper."""
    rng = np.random.default_rng(8)
    found = answers(ANGLE, *(design("poly4567").value(ANGLE) + rng.normal(0.0, 5e-3, (20, 720))))
    assert found.fitted.guide is not None
    value = sign * found.extreme(1, sign)[0].value
    steepest = (sign * found.fitted.at_knots[1]).max(axis=1)
    assert (value >= steepest * (1.0 - 1e-12)).all()
