"""The septic spline against scipy's B-splines and against its own derivatives."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import BSpline

from valvelab.lobe.spline import DEGREE, SplineSet, basis_at, periodic_padding, symbol

RNG = np.random.default_rng(5)


def open_spline(lobes: int = 2, intervals: int = 20) -> SplineSet:
    return SplineSet(RNG.normal(size=(lobes, intervals + DEGREE)), -3.0, 0.7, periodic=False)


def turn_spline(knots: int = 36) -> SplineSet:
    return SplineSet(periodic_padding(RNG.normal(size=(1, knots))), 5.0, 360.0 / knots, periodic=True)


@pytest.mark.parametrize("order", range(7))
def test_values_and_derivatives_agree_with_a_reference_library(order: int) -> None:
    # scipy.interpolate.BSpline on the same coefficients and uniform knots
    ours = open_spline()
    knots = ours.start + ours.step * np.arange(-DEGREE, ours.intervals + DEGREE + 1)
    angle = np.linspace(ours.start, ours.start + ours.span, 301)[1:-1]
    for lobe in range(2):
        reference = BSpline(knots, ours.padded[lobe], DEGREE)(angle, nu=order)
        assert ours.evaluate(lobe, angle, order) == pytest.approx(reference, rel=1e-9, abs=1e-9 * 10.0**order)


def test_the_basis_adds_to_one_and_its_derivatives_to_nothing() -> None:
    t = np.linspace(0.0, 1.0, 11)
    assert basis_at(t).sum(axis=1) == pytest.approx(np.ones(11), abs=1e-14)
    for order in range(1, DEGREE):
        assert basis_at(t, order).sum(axis=1) == pytest.approx(np.zeros(11), abs=1e-12)


def test_the_basis_at_its_knots_has_the_published_values() -> None:
    # septic cardinal B-spline: 1, 120, 1191, 2416, 1191, 120, 1 over 5040 (Eulerian numbers over 7!)
    assert basis_at(np.zeros(1))[0, :7] * 5040.0 == pytest.approx([1, 120, 1191, 2416, 1191, 120, 1], abs=1e-9)
    assert symbol(np.array([0.0])) == pytest.approx([1.0], abs=1e-14)


@pytest.mark.parametrize("order", range(5))
def test_knots_are_places_like_any_other(order: int) -> None:
    for spline in (open_spline(), turn_spline()):
        at_knots = spline.at_knots(order)[0]
        inside = slice(1, -1)
        assert at_knots[inside] == pytest.approx(spline.evaluate(0, spline.knots(), order)[inside], abs=1e-9)


def test_a_turn_closes_and_a_part_ends() -> None:
    turn = turn_spline()
    angle = np.linspace(0.0, 360.0, 100)
    for order in range(4):
        assert turn.evaluate(0, angle + 720.0, order) == pytest.approx(turn.evaluate(0, angle, order), abs=1e-9)
        assert turn.evaluate(0, 5.0, order) == pytest.approx(turn.evaluate(0, 365.0 - 1e-12, order), abs=1e-8)
    part = open_spline()
    assert part.evaluate(0, [part.start - 1.0, part.start + part.span + 1.0]) == pytest.approx([0.0, 0.0])
    assert part.evaluate(0, np.zeros((2, 3))).shape == (2, 3)


def test_blurring_keeps_a_straight_line_and_halves_the_stated_harmonic() -> None:
    line = SplineSet(np.arange(47.0)[None, :], 0.0, 1.0, periodic=False)
    assert line.blurred(30.0).padded == pytest.approx(line.padded, abs=1e-9)
    angle = np.arange(360)
    for harmonic, share in ((6, 0.5), (3, 2.0**-0.25), (12, 2.0**-4)):
        wave = SplineSet(periodic_padding(np.cos(np.radians(harmonic * angle))[None, :]), 0.0, 1.0, periodic=True)
        assert wave.blurred(6.0).padded == pytest.approx(share * wave.padded, abs=1e-12)
    assert wave.blurred(6.0).periodic
