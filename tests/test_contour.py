"""Contours by support function: closed forms, a published-type example, shapely's parallel offset, round trips."""

from __future__ import annotations

import numpy as np
import pytest
from contour_figures import points_mm, summarise
from hypothesis import given, settings
from hypothesis import strategies as st
from lobe_samples import Floats, design
from scipy.interpolate import CubicSpline
from shapely import LineString, Polygon

from valvelab.errors import BadQuantity, CannotEvaluate
from valvelab.follower.contour import Contour, contour, pressure_angle_under
from valvelab.follower.conversion import angle_of, lift_of
from valvelab.follower.shapes import Shape, parse_shape

RADIAN = np.pi / 180.0
FLAT = Shape("flat")
CENTRE = np.array([4.0, 0.0])
TURN = np.arange(-180.0, 180.0, 0.05)


def under_follower(source: Contour, shape: Shape) -> tuple[Floats, Floats]:
    """Cam angle (ascending) and lift of a sampled contour under another follower."""
    angle = angle_of(source, shape)
    order = np.argsort(angle, kind="stable")
    return angle[order], lift_of(source, shape)[order]


def eccentric_circle(shape: Shape) -> Contour:
    """A circle of radius 20 turning 4 off its centre: base circle 16, lift 8."""
    t = TURN * RADIAN
    r = shape.radius_mm or 0.0
    if shape.kind == "flat":
        lift, first, second = 4.0 * (1.0 - np.cos(t)), 4.0 * np.sin(t), 4.0 * np.cos(t)
    else:
        # the roller's centre runs on a circle of radius 20 + r about the same centre
        root = np.sqrt((20.0 + r) ** 2 - 16.0 * np.sin(t) ** 2)
        lift = root - 4.0 * np.cos(t) - 16.0 - r
        first = -16.0 * np.sin(t) * np.cos(t) / root + 4.0 * np.sin(t)
        second = 4.0 * np.cos(t) - (16.0 * np.cos(2.0 * t) * root**2 + (16.0 * np.sin(t) * np.cos(t)) ** 2) / root**3
    return contour(TURN, lift, first * RADIAN, second * RADIAN**2, 16.0, shape)


def test_eccentric_circle_under_a_flat_face() -> None:
    # plain geometry: radius of curvature 20 everywhere, contact ±4 along the face
    found = eccentric_circle(FLAT)
    assert found.radius_mm == pytest.approx(np.full(TURN.size, 20.0), abs=1e-12)
    summary = summarise(found)
    assert summary.face_radius_mm == pytest.approx(4.0, abs=1e-12)
    assert (summary.min_concave_mm, summary.undercut_at, summary.max_pressure_angle_deg) == (None, None, 0.0)
    assert np.hypot(*(points_mm(found) + CENTRE).T) == pytest.approx(np.full(TURN.size, 20.0), abs=1e-12)


def test_eccentric_circle_under_a_roller() -> None:
    # plain geometry: pitch curve of radius 30, so contour 20; greatest pressure angle asin(4/30) = 7.662256°
    found = eccentric_circle(Shape("roller", 10.0))
    assert found.radius_mm == pytest.approx(np.full(TURN.size, 20.0), abs=1e-9)
    assert summarise(found).max_pressure_angle_deg == pytest.approx(7.662256, abs=1e-6)
    at_one_radian = np.interp(1.0 / RADIAN, found.angle_cam_deg, np.abs(found.pressure_angle_deg))
    assert at_one_radian == pytest.approx(6.441928, abs=1e-5)
    assert np.hypot(*(points_mm(found) + CENTRE).T) == pytest.approx(np.full(TURN.size, 20.0), abs=1e-10)


def test_eccentric_circle_under_a_point() -> None:
    found = eccentric_circle(Shape("point", 0.0))
    assert found.radius_mm == pytest.approx(np.full(TURN.size, 20.0), abs=1e-9)


def rise(angle: Floats) -> Contour:
    """Cycloidal rise 10 mm over 60 cam deg, base circle 20, roller 8."""
    x = angle / 60.0
    w = 2.0 * np.pi
    lift = 10.0 * (x - np.sin(w * x) / w)
    return contour(
        angle, lift, 10.0 / 60.0 * (1.0 - np.cos(w * x)), 10.0 / 3600.0 * w * np.sin(w * x), 20.0, Shape("roller", 8.0)
    )


def test_roller_on_a_cycloidal_rise() -> None:
    # recomputed independently from the textbook formulas of the pitch curve; the place, 28.150°, was read off a grid
    found = rise(np.linspace(0.0, 60.0, 60_001))
    summary = summarise(found)
    pressure = np.abs(found.pressure_angle_deg)
    assert summary.max_pressure_angle_deg == pytest.approx(30.2941, abs=1e-4)
    assert found.angle_cam_deg[np.argmax(pressure)] == pytest.approx(28.150, abs=5e-3)
    assert summary.min_convex_mm == pytest.approx(15.24724 - 8.0, abs=1e-5)
    assert summary.min_concave_mm == pytest.approx(38.2095 + 8.0, abs=1e-4)


def lobe_contour(shape: Shape, base: float = 30.0, step: float = 0.02, lift: float = 8.0) -> Contour:
    """A 4-5-6-7 lobe as `shape` reads it; the base circle is large enough to be possible under anything."""
    lobe = design("poly4567", (0.0, 0.0), centre=0.0, flank=80.0)
    angle = np.arange(-180.0, 180.0, step)
    values = [lift / 8.0 * lobe.value(angle, order) for order in range(3)]
    return contour(angle, *values, base, shape)


@pytest.mark.parametrize("source", [FLAT, Shape("roller", 10.0), Shape("point", 0.0)])
def test_points_lie_a_rollers_radius_from_its_centre(source: Shape) -> None:
    found = lobe_contour(source)
    points = points_mm(found)
    theta = found.angle_cam_deg * RADIAN
    lobe = design("poly4567", (0.0, 0.0), centre=0.0, flank=80.0)
    lift = lobe.value(found.angle_cam_deg)
    if source.kind == "flat":
        reach = points[:, 0] * np.cos(theta) + points[:, 1] * np.sin(theta)
        assert reach == pytest.approx(30.0 + lift, abs=1e-10)
    else:
        r = source.radius_mm or 0.0
        centre = (30.0 + r + lift)[:, None] * np.column_stack([np.cos(theta), np.sin(theta)])
        assert np.hypot(*(points - centre).T) == pytest.approx(np.full(theta.size, r), abs=1e-10)


@pytest.mark.parametrize("radius", [5.0, 12.0, 30.0])
def test_conversion_to_a_roller_against_a_parallel_offset(radius: float) -> None:
    """The roller's centre runs on the contour's parallel; shapely offsets the polygon of the contour's points.

    At 0.02° a chord sinks below a radius of 40 mm by 40·(0.02° in rad)²/8 = 0.0006 µm, and the offset's arcs of 512
    segments a quarter by 0.04 µm at 30 mm; so 0.2 µm is asked.
    """
    source = lobe_contour(FLAT)
    angle, lift = under_follower(source, Shape("roller", radius))
    parallel = Polygon(points_mm(source)).buffer(radius, quad_segs=512)
    for at in (-60.0, -31.0, -7.5, 0.0, 22.0, 48.0, 120.0):
        far = LineString([(0.0, 0.0), (100.0 * np.cos(at * RADIAN), 100.0 * np.sin(at * RADIAN))])
        reach = far.intersection(parallel).length
        assert np.interp(at, angle, lift) == pytest.approx(reach - 30.0 - radius, abs=2e-4)


@settings(max_examples=20)
@given(st.floats(1.0, 60.0), st.booleans())
def test_there_and_back_is_the_same_lift(radius: float, from_flat: bool) -> None:
    source_shape = FLAT if from_flat else Shape("roller", 10.0)
    other = Shape("roller", radius)
    source = lobe_contour(source_shape, step=0.25)
    angle, lift = under_follower(source, other)
    turn = CubicSpline([*angle, angle[0] + 360.0], [*lift, lift[0]], bc_type="periodic")
    again = contour(angle, turn(angle), turn(angle, 1), turn(angle, 2), 30.0, other)
    back_angle, back = under_follower(again, source_shape)
    lobe = design("poly4567", (0.0, 0.0), centre=0.0, flank=80.0)
    assert back == pytest.approx(lobe.value(back_angle), abs=2e-4)


def test_a_larger_roller_reads_a_fuller_lobe() -> None:
    source = lobe_contour(FLAT)
    at = np.array([-40.0, 35.0])
    lifts = [np.interp(at, *under_follower(source, shape)) for shape in (Shape("point", 0.0), Shape("roller", 10.0))]
    lifts += [
        np.interp(at, *under_follower(source, Shape("roller", 500.0))),
        np.interp(at, *under_follower(source, FLAT)),
    ]
    assert np.all(np.diff(np.stack(lifts), axis=0) > 0.0)
    # the nose stands as high under any
    for shape in (Shape("point", 0.0), Shape("roller", 10.0), FLAT):
        assert under_follower(source, shape)[1].max() == pytest.approx(8.0, abs=1e-9)


def test_the_nose_radius_by_hand() -> None:
    # at the nose of a law with zero end acceleration the radius is R_b + s under a flat face (ρ = R_b + s + s″)
    found = lobe_contour(FLAT)
    assert found.radius_mm[np.argmax(found.support_mm)] == pytest.approx(38.0, abs=1e-6)


def test_an_impossible_flat_contour_is_a_finding_and_no_exception() -> None:
    summary = summarise(lobe_contour(FLAT, base=8.0, lift=12.0))
    assert summary.undercut_at is not None
    assert 0.0 < abs(summary.undercut_at) < 60.0


def test_a_hollow_flank_is_measured() -> None:
    source = lobe_contour(Shape("roller", 10.0), base=15.0, lift=10.0)
    summary = summarise(source)
    assert summary.min_concave_mm is not None
    assert summary.min_concave_mm > 0.0


def test_no_base_circle_is_refused() -> None:
    zero = np.zeros(3)
    with pytest.raises(CannotEvaluate, match="base circle radius: found 0 mm, expected above 0"):
        contour(zero, zero, zero, zero, 0.0, FLAT)


@pytest.mark.parametrize(
    ("text", "shape"),
    [
        ("flat", FLAT),
        ("point", Shape("point", 0.0)),
        ("roller 9.525 mm", Shape("roller", 9.525)),
        (" Roller 0.375 in ", Shape("roller", 9.525)),
        ("roller 9,525", Shape("roller", 9.525)),
    ],
)
def test_shapes_are_read(text: str, shape: Shape) -> None:
    found = parse_shape(text)
    assert found.kind == shape.kind
    assert found.radius_mm == pytest.approx(shape.radius_mm)


@pytest.mark.parametrize("text", ["", "roller", "roller -3 mm", "roller 0", "roller 3 N", "flat 3 mm", "mushroom"])
def test_other_shapes_are_refused(text: str) -> None:
    with pytest.raises(BadQuantity, match="follower: found"):
        parse_shape(text)


def test_pressure_angle_under_another_follower_is_its_own() -> None:
    # plain geometry: what a roller shows of its own contour, and 0 for a flat face
    theta = np.radians(np.arange(0.0, 360.0, 0.5))
    flat = contour(
        np.degrees(theta),
        4.0 * (1.0 - np.cos(theta)),
        4.0 * np.sin(theta) * np.pi / 180.0,
        4.0 * np.cos(theta) * (np.pi / 180.0) ** 2,
        16.0,
        Shape("flat"),
    )
    # eccentric circle of radius 20, eccentricity 4, under a roller of 10: asin(4/30)
    assert np.abs(pressure_angle_under(flat, Shape("roller", 10.0))).max() == pytest.approx(7.662256, abs=2e-4)
    assert not pressure_angle_under(flat, Shape("flat")).any()
