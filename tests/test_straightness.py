"""Straightness of the axis: least-squares line, minimum-zone cylinder, their sensitivities."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog, minimize

from valvelab.camshaft.straightness import least_squares_axis, minimum_zone_axis
from valvelab.errors import CannotEvaluate

X = np.arange(7.0)
Y = np.asarray([0.0, 3.0, -1.0, 4.0, 2.0, -2.0, 1.0])


def in_plane(y: np.ndarray, direction_deg: float = 0.0) -> np.ndarray:
    return np.outer(y, [np.cos(np.radians(direction_deg)), np.sin(np.radians(direction_deg))])


@pytest.mark.parametrize("direction", [0.0, 30.0, 90.0, 217.0])
def test_points_in_one_plane(direction: float) -> None:
    # x 0…6, y 0 3 −1 4 2 −2 1: LS slope −1/7, intercept 10/7; minimum zone 16/3 with slope −1/3 (linear programming)
    least = least_squares_axis(X, in_plane(Y, direction))
    assert np.hypot(*least.slope) == pytest.approx(1.0 / 7.0)
    assert np.hypot(*least.at_zero_mm) == pytest.approx(10.0 / 7.0)
    signed = least.offsets_mm @ [np.cos(np.radians(direction)), np.sin(np.radians(direction))]
    assert np.ptp(signed) == pytest.approx(40.0 / 7.0)
    assert np.sqrt(np.mean(signed**2)) == pytest.approx(1.979486637, rel=1e-9)
    assert least.zone_mm == pytest.approx(2.0 * np.abs(signed).max())
    zone = minimum_zone_axis(X, in_plane(Y, direction))
    assert zone.zone_mm == pytest.approx(16.0 / 3.0, rel=1e-7)
    assert np.hypot(*zone.slope) == pytest.approx(1.0 / 3.0, rel=1e-3)


def test_smallest_circle_where_no_slope_helps() -> None:
    # Points of Gander, Golub, Strebel (1994): smallest circle about them has centre (5, 6), radius √17. Each is put at
    # both ends of the shaft and in the middle, so that a tilt can only widen the cylinder.
    points = np.asarray([(1, 7), (2, 6), (5, 8), (7, 7), (9, 5), (3, 7)], dtype=np.float64)
    z = np.repeat([-10.0, 0.0, 10.0], len(points))
    zone = minimum_zone_axis(z, np.tile(points, (3, 1)))
    assert zone.zone_mm == pytest.approx(2.0 * np.sqrt(17.0), rel=1e-7)
    assert zone.at_zero_mm == pytest.approx([5.0, 6.0], abs=1e-3)


@given(st.integers(3, 12), st.integers(0, 2**32 - 1))
@settings(max_examples=25)
def test_minimum_zone_is_the_least(count: int, seed: int) -> None:
    draw = np.random.default_rng(seed)
    z = np.sort(draw.uniform(0.0, 400.0, count)) + np.arange(count)
    centres = 0.01 * draw.normal(size=(count, 2)) + np.outer(z, [1e-4, -2e-4])
    zone, least = minimum_zone_axis(z, centres), least_squares_axis(z, centres)
    assert zone.zone_mm <= least.zone_mm * (1.0 + 1e-9)
    assert 2.0 * zone.distances_mm.max() == pytest.approx(zone.zone_mm, rel=1e-6)
    # an independent search from the answer finds nothing better
    scale = zone.zone_mm

    def largest(step: np.ndarray) -> float:
        moved = zone.offsets_mm - scale * (step[:2] + np.outer((z - z.mean()) / np.ptp(z), step[2:]))
        return float(2.0 * np.hypot(moved[:, 0], moved[:, 1]).max() / scale)

    other = minimize(
        largest, np.zeros(4), method="Nelder-Mead", options={"maxiter": 400, "xatol": 1e-9, "fatol": 1e-12}
    )
    assert other.fun >= 1.0 - 1e-6
    # any plane's own minimum zone, by linear programming, is a lower bound
    angle = draw.uniform(0.0, np.pi)
    flat = centres @ [np.cos(angle), np.sin(angle)]
    matrix = np.block([[-np.ones((count, 1)), -z[:, None], -np.ones((count, 1))],
                       [np.ones((count, 1)), z[:, None], -np.ones((count, 1))]])  # fmt: skip
    bound = linprog([0, 0, 1], A_ub=matrix, b_ub=np.concatenate([-flat, flat]), bounds=(None, None))
    assert 2.0 * bound.fun <= zone.zone_mm * (1.0 + 1e-6) + 1e-9


@given(st.floats(-0.01, 0.01), st.floats(-1e-4, 1e-4), st.floats(-180.0, 180.0), st.integers(0, 2**32 - 1))
@settings(max_examples=12)
def test_a_tilt_a_shift_and_a_turn_of_the_shaft_change_nothing(
    shift: float, slope: float, turn: float, seed: int
) -> None:
    z = np.asarray([0.0, 55.0, 120.0, 180.0, 260.0])
    centres = 0.02 * np.random.default_rng(seed).normal(size=(5, 2))
    angle = np.radians(turn)
    turned = centres @ np.asarray([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    moved = turned + shift + np.outer(z, [slope, -slope])
    for line in (least_squares_axis, minimum_zone_axis):
        assert line(z, moved).zone_mm == pytest.approx(line(z, centres).zone_mm, rel=1e-6)
    assert least_squares_axis(z, moved).worst == least_squares_axis(z, centres).worst


def test_a_straight_axis_and_too_few_stations() -> None:
    z = np.asarray([0.0, 50.0, 100.0])
    assert minimum_zone_axis(z, np.outer(z, [1e-4, 2e-4])).zone_mm == pytest.approx(0.0, abs=1e-12)
    with pytest.raises(CannotEvaluate, match="found 2 positions along the axis, expected 3"):
        least_squares_axis(np.asarray([0.0, 0.0, 10.0]), np.zeros((3, 2)))


def test_uncertainty_by_propagation_agrees_with_monte_carlo() -> None:
    draw = np.random.default_rng(23)
    z = np.asarray([0.0, 60.0, 120.0, 180.0, 240.0])
    centres = np.column_stack([0.02 * np.sin(np.pi * z / 240.0), [0.0, 0.004, -0.006, 0.005, 0.0]])
    u = 0.0002
    for line in (least_squares_axis, minimum_zone_axis):
        drawn = [line(z, centres + u * draw.normal(size=centres.shape)).zone_mm for _ in range(50)]
        stated = u * float(np.sqrt(np.square(line(z, centres).weights).sum()))
        assert np.std(drawn, ddof=1) == pytest.approx(stated, rel=0.3)
