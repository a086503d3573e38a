"""Journals: runout, eccentricity, the four reference circles, harmonics, vee blocks, taper."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog
from something import each

from valvelab.camshaft.enclosing_circle import enclosing_circle
from valvelab.camshaft.journal import CIRCLES, evaluate_journal, journal_uncertainty
from valvelab.camshaft.roundness import (
    Circle,
    JournalTrace,
    arc_weights,
    circle_through,
    coverage,
    harmonics,
    reference_circle,
    standing_out,
)
from valvelab.camshaft.taper import taper
from valvelab.camshaft.vee_block import blind_orders, magnification
from valvelab.camshaft.zone import solve
from valvelab.errors import CannotEvaluate

TURN = np.arange(0.0, 360.0, 1.0)
#: Gander, Golub, Strebel, Least-squares fitting of circles and ellipses, BIT 34 (1994), first example
GANDER = np.asarray([(1, 7), (2, 6), (5, 8), (7, 7), (9, 5), (3, 7)], dtype=np.float64)


def trace(angle: np.ndarray, reading: np.ndarray, name: str = "J2", position: float | None = 40.0) -> JournalTrace:
    return JournalTrace(name, position, np.asarray(angle, dtype=np.float64), np.asarray(reading, dtype=np.float64))


def three_lobed(angle: np.ndarray) -> np.ndarray:
    return 0.005 * np.cos(3.0 * np.radians(angle))


def test_least_squares_circle_of_a_published_example() -> None:
    # Gander, Golub, Strebel 1994 print centre (4.7398, 2.9835), radius 4.7142 for the geometric fit
    centre, radius, left, _ = circle_through(GANDER[:, 0], GANDER[:, 1], "least squares")
    assert centre == pytest.approx((4.7398, 2.9835), abs=5e-5)
    assert radius == pytest.approx(4.7142, abs=5e-5)
    assert left @ left == pytest.approx(1.227599078, rel=1e-8)


def test_circumscribed_circle_of_the_published_points() -> None:
    # of the same six points, by hand: centre (5, 6), radius √17, held by three of them
    centre, radius, _, _ = circle_through(GANDER[:, 0], GANDER[:, 1], "circumscribed")
    assert centre == pytest.approx((5.0, 6.0), abs=1e-12)
    assert radius == pytest.approx(np.sqrt(17.0), rel=1e-14)


@given(st.integers(2, 60), st.integers(0, 2**32 - 1), st.sampled_from([0.0, 0.01, 0.25]))
@settings(max_examples=60)
def test_circumscribed_circle_of_any_points(count: int, seed: int, step: float) -> None:
    points = np.random.default_rng(seed).normal(size=(count, 2))
    if step:  # readings of a dial come in steps, so contacts tie
        points = np.round(points / step) * step
    centre, radius, shares = enclosing_circle(points)
    assert radius == pytest.approx(shapely.minimum_bounding_radius(shapely.MultiPoint(points)), rel=1e-9, abs=1e-12)
    assert shares.sum() == pytest.approx(1.0)
    assert shares.min() >= 0.0
    assert shares @ points == pytest.approx(centre, abs=1e-9)


@given(st.sampled_from([8, 12, 24, 36]), st.integers(0, 2**32 - 1), st.sampled_from([0.0, 0.001, 0.01]))
@settings(max_examples=40)
def test_a_stated_radius_changes_little_and_always_settles(count: int, seed: int, step: float) -> None:
    draw = np.random.default_rng(seed)
    angle = np.arange(count) * 360.0 / count
    reading = 0.02 * np.cos(np.radians(angle - draw.uniform(0.0, 360.0))) + 0.002 * draw.normal(size=count)
    if step:
        reading = np.round(reading / step) * step
    for kind in ("least squares", "minimum zone"):
        linear, exact = reference_circle(angle, reading, kind), reference_circle(angle, reading, kind, 200.0)
        assert exact.roundness_mm == pytest.approx(linear.roundness_mm, abs=5e-6)
    for kind in ("inscribed", "circumscribed"):
        assert reference_circle(angle, reading, kind, 200.0).roundness_mm >= linear.roundness_mm - 5e-6


@pytest.mark.parametrize("radius", [None, 10.0])
def test_three_lobed_journal_in_closed_form(radius: float | None) -> None:
    # r = 10 + 0.005 cos 3θ: zone 0.010 about the centre, inscribed 9.995, circumscribed 10.005 by symmetry
    found = {kind: reference_circle(TURN, three_lobed(TURN), kind, radius) for kind in CIRCLES}
    for circle in found.values():
        assert circle.roundness_mm == pytest.approx(0.010, abs=1e-9)
        assert circle.eccentricity_mm == pytest.approx(0.0, abs=1e-9)
    assert found["inscribed"].level_mm == pytest.approx(-0.005, abs=1e-9)
    assert found["circumscribed"].level_mm == pytest.approx(0.005, abs=1e-9)


def test_eccentric_journal_in_closed_form() -> None:
    # radius R about a centre e off the axis: r = e cos t + √(R² − e² sin² t); TIR 2e, second harmonic e²/(4R)
    e, size = 0.05, 25.0
    turned = np.radians(TURN)
    reading = e * np.cos(turned) + np.sqrt(size**2 - (e * np.sin(turned)) ** 2) - size
    form = evaluate_journal(trace(TURN, reading))
    assert form.tir_mm == pytest.approx(0.1, abs=1e-12)
    assert form.least_squares.eccentricity_mm == pytest.approx(e, rel=1e-9)
    assert form.least_squares.angle_deg % 360.0 == pytest.approx(0.0, abs=1e-6)
    assert form.harmonics.orders[1].amplitude_mm == pytest.approx(e**2 / (4.0 * size), rel=1e-5)
    # with the radius stated the circle is exact: nothing is left of the second harmonic
    exact = evaluate_journal(trace(TURN, reading), size)
    assert all(circle.roundness_mm < 1e-10 for circle in exact.circles.values())


def test_circles_agree_with_a_geometry_library() -> None:
    # shapely: minimum bounding circle and maximum inscribed circle of the polygon of points
    draw = np.random.default_rng(5)
    radial = 10.0 + 0.01 * draw.normal(size=TURN.size) + 0.02 * np.cos(2.0 * np.radians(TURN))
    x, y = radial * np.cos(np.radians(TURN)) + 0.5, radial * np.sin(np.radians(TURN)) - 0.3
    points = np.column_stack([x, y])
    assert circle_through(x, y, "circumscribed")[1] == pytest.approx(
        shapely.minimum_bounding_radius(shapely.MultiPoint(points)), rel=1e-9
    )
    # the polygon's sides cut inside the arc between two points by up to R(1 − cos 0.5°), 0.4 µm here
    inscribed = shapely.maximum_inscribed_circle(shapely.Polygon(points), tolerance=1e-6).length
    assert circle_through(x, y, "inscribed")[1] == pytest.approx(inscribed, abs=4e-4)


def test_minimum_zone_is_least_and_alternates() -> None:
    draw = np.random.default_rng(7)
    reading = 0.02 * np.cos(np.radians(TURN - 70.0)) + 0.002 * draw.normal(size=TURN.size)
    found = {kind: reference_circle(TURN, reading, kind) for kind in CIRCLES}
    zone = found["minimum zone"]
    assert all(zone.roundness_mm <= circle.roundness_mm + 1e-12 for circle in found.values())
    # no centre nearby does better: the zone is convex in the centre, so a local search is a proof
    turned = np.radians(TURN)
    for angle in np.radians(np.arange(0.0, 360.0, 15.0)):
        moved = zone.form_mm - 1e-5 * (np.cos(angle) * np.cos(turned) + np.sin(angle) * np.sin(turned))
        assert np.ptp(moved) >= zone.roundness_mm - 1e-12
    # two outer and two inner contacts alternate round the turn (the condition of ISO 12181-1's minimum zone)
    touching = np.flatnonzero(np.abs(zone.weights) > 1e-9)
    assert np.sign(zone.weights[touching]).tolist() in ([1, -1, 1, -1], [-1, 1, -1, 1])
    assert np.abs(zone.weights).sum() == pytest.approx(2.0)


@pytest.mark.parametrize("rounded", [False, True])
@pytest.mark.parametrize("turn", [360.0, 120.0])
def test_zones_are_those_of_a_general_solver(turn: float, rounded: bool) -> None:
    """HiGHS, on noise and on rounded readings, which meet many bounds at once; on a part of a turn some have no end."""
    draw = np.random.default_rng(3)
    for count in each((5, 12, 40, 180)):
        angle = np.radians(np.sort(draw.uniform(0.0, turn, count)))
        design = np.column_stack([np.ones(count), np.cos(angle), np.sin(angle)])
        values = draw.normal(size=count)
        values = np.round(values, 1) if rounded else values
        band = np.hstack([np.vstack([design, -design]), -np.ones((2 * count, 1))])
        asked = (
            (np.array([0.0, 0.0, 0.0, 1.0]), band, np.concatenate([values, -values])),
            (np.array([-1.0, 0.0, 0.0]), design, values),
            (np.array([1.0, 0.0, 0.0]), -design, -values),
        )
        for cost, matrix, bound in each(asked):
            known = linprog(cost, A_ub=matrix, b_ub=bound, bounds=(None, None), method="highs-ds")
            if known.x is None:
                with pytest.raises(CannotEvaluate):
                    solve(cost, matrix, bound)
                continue
            x, change = solve(cost, matrix, bound)
            assert (matrix @ x <= bound + 1e-9).all()
            assert cost @ x == pytest.approx(known.fun, abs=1e-6)
            # the multipliers prove it (duality): none above zero, together the cost, and at the bounds the optimum
            assert (change <= 1e-12).all()
            assert change @ matrix == pytest.approx(cost, abs=1e-9)
            assert change @ bound == pytest.approx(cost @ x, abs=1e-9)


@given(
    st.floats(0.0, 0.1),
    st.floats(0.0, 360.0),
    st.floats(-180.0, 180.0),
    st.floats(-1.0, 1.0),
    st.integers(0, 2**32 - 1),
)
@example(0.0, 0.0, 1.0, 0.0, 3381)  # opposite contacts: the circumscribed circle could slide
@settings(max_examples=40)
def test_datum_and_zero_of_the_probe_change_only_themselves(
    e: float, direction: float, turn: float, zero: float, seed: int
) -> None:
    angle = np.arange(0.0, 360.0, 7.5)
    reading = e * np.cos(np.radians(angle - direction)) + 0.003 * np.random.default_rng(seed).normal(size=angle.size)
    before = evaluate_journal(trace(angle, reading))
    after = evaluate_journal(trace(angle + turn, reading + zero))
    for kind in CIRCLES:
        assert after.circles[kind].roundness_mm == pytest.approx(before.circles[kind].roundness_mm, abs=1e-9)
        assert after.circles[kind].eccentricity_mm == pytest.approx(before.circles[kind].eccentricity_mm, abs=1e-6)
    assert after.tir_mm == pytest.approx(before.tir_mm, abs=1e-12)
    swing = np.hypot(*after.least_squares.centre_mm) * np.sin(
        np.radians(after.least_squares.angle_deg - before.least_squares.angle_deg - turn)
    )
    assert swing == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("count", [8, 9, 10, 12, 16])
def test_circles_without_a_diameter_are_those_of_a_large_one_or_slide(count: int) -> None:
    # the exact circles in the plane (radius 1 m, where the readings' curvature no longer counts) are the reference
    draw = np.random.default_rng(count)
    angle = np.arange(count) * 360.0 / count
    fast, slid = 0, 0
    for number in range(60):
        reading = 0.02 * np.cos(np.radians(angle - draw.uniform(0.0, 360.0))) + 0.003 * draw.normal(size=count)
        if number % 2:  # a dial of one micrometre
            reading = np.round(reading, 3)
        form = evaluate_journal(trace(angle, reading))
        for kind in ("inscribed", "circumscribed"):
            found, exact = form.circles[kind], reference_circle(angle, reading, kind, 1000.0)
            if kind in form.sliding:
                slid += 1
                assert found.sliding_mm is not None
                low, high = found.sliding_mm
                assert low - 1e-6 <= exact.roundness_mm <= high + 1e-6
            else:
                fast += 1
                assert found.roundness_mm == pytest.approx(exact.roundness_mm, rel=2e-3)
    assert fast > 60
    assert (slid > 5) == (count % 2 == 0)  # an odd number has no opposite readings


def test_a_circle_that_slides_by_hand() -> None:
    # readings in µm: 10 at 0 and 180 deg hold the circumscribed circle. Slid by t toward 90 deg, what is left below it
    # is 16 − t at 270, 6 + t at 90, 10 + t/√2 at 45 and 135 deg; the readings allow −6 ≤ t ≤ 10 √2. So the roundness is
    # least at t = 6/(1 + 1/√2), 12.485, and greatest at t = −6, 22. With a diameter the circle lies on their own line:
    # 16 there
    angle = np.arange(0.0, 360.0, 45.0)
    reading = 0.001 * np.asarray([10.0, 0.0, 4.0, 0.0, 10.0, 0.0, -6.0, 0.0])
    form = evaluate_journal(trace(angle, reading))
    assert form.circles["circumscribed"].sliding_mm == pytest.approx((0.001 * (16.0 - 6.0 / (1.0 + 0.5**0.5)), 0.022))
    assert form.sliding == ("circumscribed",)
    exact = evaluate_journal(trace(angle, reading), 20.0).circles["circumscribed"]
    assert exact.roundness_mm == pytest.approx(0.016, abs=1e-8)
    stated = journal_uncertainty(evaluate_journal(trace(angle, reading), 20.0), 1e-6).roundness_mm["circumscribed"]
    assert stated == pytest.approx((0.022 - 0.0124853) / np.sqrt(12.0), rel=1e-3)


def test_uneven_angles_and_several_turns() -> None:
    draw = np.random.default_rng(3)
    angle = np.sort(draw.uniform(0.0, 1080.0, 400))
    reading = 0.3 + 0.02 * np.cos(np.radians(angle - 200.0)) + 0.001 * np.cos(2.0 * np.radians(angle - 30.0))
    form = evaluate_journal(trace(angle, reading))
    assert form.coverage.turns == pytest.approx(3.0, abs=0.02)
    first, second, third = form.harmonics.orders[:3]
    assert (first.amplitude_mm, first.angle_deg) == pytest.approx((0.02, 200.0), rel=1e-9)
    assert (second.amplitude_mm, second.angle_deg) == pytest.approx((0.001, 30.0), rel=1e-8)
    assert third.amplitude_mm < 1e-12
    # crowded angles must not pull the circle: arcs weigh the readings
    crowded = np.concatenate([np.arange(0.0, 360.0, 5.0), np.arange(0.0, 90.0, 0.25)])
    pulled = 0.004 * np.cos(2.0 * np.radians(crowded))
    assert reference_circle(crowded, pulled, "least squares").eccentricity_mm < 2e-5
    assert arc_weights(crowded).mean() == pytest.approx(1.0)


def test_noise_is_found_in_repeated_turns_and_in_residuals() -> None:
    draw = np.random.default_rng(11)
    angle = np.tile(np.arange(0.0, 360.0, 10.0), 20)
    found = harmonics(angle, 0.01 * np.cos(np.radians(angle)) + 0.001 * draw.normal(size=angle.size))
    assert found.noise_from == "repeated turns"
    assert found.noise_mm == pytest.approx(0.001, rel=0.1)
    fine = np.arange(0.0, 360.0, 0.25)
    found = harmonics(fine, 0.01 * np.cos(np.radians(fine)) + 0.001 * draw.normal(size=fine.size))
    assert found.noise_from == "residuals"
    assert found.noise_mm == pytest.approx(0.001, rel=0.1)
    coarse = np.arange(0.0, 360.0, 30.0)
    assert harmonics(coarse, np.cos(coarse)).noise_mm is None


def test_undulation_filter_halves_its_cutoff_order() -> None:
    # ISO 12181-2: 50 % of a sine at the cutoff is transmitted, 2^(−(n/n_c)²) elsewhere
    form = evaluate_journal(trace(TURN, 0.004 * np.cos(15.0 * np.radians(TURN))), undulations=15)
    assert np.ptp(form.form_mm) == pytest.approx(0.004, rel=1e-6)
    assert form.tir_mm == pytest.approx(0.008, rel=1e-6)


def test_gaps_and_part_turns() -> None:
    seen = coverage(np.arange(0.0, 300.0, 5.0))
    assert (seen.largest_gap_deg, seen.gap_from_deg, seen.has_gap) == (65.0, 295.0, True)
    with pytest.raises(CannotEvaluate, match="read over 180 deg of the turn only"):
        evaluate_journal(trace(np.arange(0.0, 181.0, 5.0), np.zeros(37)))
    with pytest.raises(CannotEvaluate, match="expected no gap over 130 deg"):
        evaluate_journal(trace(np.asarray([0.0, 360.0, 720.0]), np.zeros(3)))
    four = evaluate_journal(trace(np.arange(0.0, 360.0, 90.0), np.asarray([0.01, 0.0, -0.01, 0.0])))
    assert four.least_squares.eccentricity_mm == pytest.approx(0.01)
    assert not four.has_roundness


def test_a_slip_of_the_probe_is_seen_and_kept() -> None:
    reading = 0.02 * np.cos(np.radians(TURN))
    assert standing_out(TURN, reading) == ()
    slipped = reading.copy()
    slipped[120] += 0.05
    assert standing_out(TURN, slipped) == (120,)
    assert evaluate_journal(trace(TURN, slipped)).tir_mm == pytest.approx(np.ptp(slipped))


@pytest.mark.parametrize(
    ("angle", "factors"),
    # usual table of the vee method, orders 2 to 9 (60 and 90 deg from memory; recomputed from the geometry)
    [(60.0, [0, 3, 0, 0, 3, 0, 0, 3]), (90.0, [1, 2, -0.4142, 2, 1, 0, 2.4142, 0]),
     (108.0, [1.382, 1.382, 0, 2.2361, 0, 1.382, 1.382, 0])],
)  # fmt: skip
def test_vee_block_factors(angle: float, factors: list[float]) -> None:
    assert [magnification(n, angle) for n in range(2, 10)] == pytest.approx(factors, abs=5e-5)
    assert magnification(1, angle) == pytest.approx(0.0, abs=1e-12)


def test_vee_block_blindness() -> None:
    assert blind_orders(90.0, 10) == (7, 9)
    assert blind_orders(60.0, 9) == (2, 4, 5, 7, 8)
    assert blind_orders(108.0, 11) == (4, 6, 9, 11)


@given(st.integers(2, 12), st.sampled_from([60.0, 90.0, 108.0, 120.0]))
@settings(max_examples=20)
def test_vee_block_factor_follows_from_contact(order: int, vee: float) -> None:
    # A part of form cos(n(θ − turned)) rests on two flanks and is read on the bisector: to first order each flank moves
    # its centre by minus the form there, along the flank's normal. Over a turn the amplitude seen is |F(n)|.
    flanks = np.radians([180.0 + vee / 2.0, 360.0 - vee / 2.0])
    normals = np.column_stack([np.cos(flanks), np.sin(flanks)])
    turned = np.radians(np.arange(0.0, 360.0, 5.0))
    moved = np.linalg.solve(normals, -np.cos(order * (flanks[:, None] - turned)))
    seen = np.cos(order * (np.pi / 2.0 - turned)) + moved[1]
    amplitude = 2.0 * np.abs(np.mean(seen * np.exp(1j * order * turned)))
    assert amplitude == pytest.approx(abs(magnification(order, vee)), abs=1e-9)


def test_taper_between_two_tracks() -> None:
    profile = 5.0 * np.clip(np.cos(np.radians(TURN - 90.0)), 0.0, None)
    first = trace(TURN, profile, "1I", 20.0)
    second = trace(TURN, profile + 0.010, "1I", 30.0)
    seen = taper(second, first)
    assert seen.mean_mm == pytest.approx(0.010, abs=1e-12)
    # 10 µm over 10 mm is 1/1000 rad, 3.4377 minutes of arc
    assert seen.angle_arcmin == pytest.approx(3.43775, abs=1e-4)
    assert seen.highest_mm == pytest.approx(0.010)
    with pytest.raises(CannotEvaluate, match="two positions"):
        taper(first, first)


def test_uncertainty_by_propagation_agrees_with_monte_carlo() -> None:
    # Extremes far apart, so that the same readings make them in every draw: the law of propagation then holds.
    draw = np.random.default_rng(17)
    angle = np.tile(np.arange(0.0, 360.0, 15.0), 3)
    turned = np.radians(angle)
    truth = 0.02 * np.cos(turned - 0.7) + 0.004 * np.cos(2.0 * turned) + 0.003 * np.cos(3.0 * turned + 0.4)
    noise = 0.00005
    kinds: tuple[Circle, ...] = ("least squares", "minimum zone", "inscribed", "circumscribed")
    rows = []
    for _ in range(120):
        form = evaluate_journal(trace(angle, truth + noise * draw.normal(size=angle.size)))
        rows.append([*(form.circles[kind].roundness_mm for kind in kinds), *form.least_squares.centre_mm])
    seen = np.std(rows, axis=0, ddof=1)
    one = evaluate_journal(trace(angle, truth + noise * draw.normal(size=angle.size)))
    told = journal_uncertainty(one, None)
    # three readings share each angle, and the extreme of three is steadier than one: allow for it
    for kind, spread in zip(kinds, seen, strict=False):
        stated = told.roundness_mm[kind]
        assert stated is not None
        assert 0.55 * stated < spread < 1.3 * stated
    assert told.centre_mm == pytest.approx(seen[-2], rel=0.3)
    stated_probe = journal_uncertainty(one, 0.001)
    assert stated_probe.tir_mm == pytest.approx(np.sqrt(2.0) * 0.001, rel=0.01)
