"""Lift tables that nobody here made, against figures read off them by straight lines between readings.

An exhaust valve of an optical research engine (university open data, crank deg) and a cam under a bucket tappet from
lubrication research (cam deg), drawn from excerpts (`outside_facts`).
"""

from __future__ import annotations

import numpy as np
import pytest
from contour_figures import summarise
from outside_facts import exhaust_table, tappet_table

from valvelab.files.lift_table import read_lift_table
from valvelab.follower.contour import contour
from valvelab.follower.shapes import Shape
from valvelab.inspection.lobes.inspect import LobesInspection, LobesQuestion, inspect_lobes


@pytest.fixture(scope="module")
def exhaust(tmp_path_factory: pytest.TempPathFactory) -> LobesInspection:
    path = tmp_path_factory.mktemp("exhaust") / "lift.txt"
    path.write_text(exhaust_table(), encoding="utf-8")
    table = read_lift_table(path, "angle=0 [crank deg], 1E=1 [mm]")
    return inspect_lobes(table, question=LobesQuestion(added_lifts_mm=(0.1, 7.62)))


@pytest.fixture(scope="module")
def tappet(tmp_path_factory: pytest.TempPathFactory) -> LobesInspection:
    path = tmp_path_factory.mktemp("tappet") / "lift.txt"
    path.write_text(tappet_table(), encoding="utf-8", newline="")
    table = read_lift_table(path, "angle=0 [cam deg], 1I=1 [m]")
    return inspect_lobes(table, question=LobesQuestion(added_lifts_mm=(0.1, 5.0)))


@pytest.mark.parametrize(
    ("level", "opening", "closing", "duration", "centre"),
    [
        (0.1, 124.4974, 372.1720, 247.6746, 248.3347),
        (1.0, 143.2806, 349.0340, 205.7534, 246.1573),
        (1.27, 146.3858, 345.8351, 199.4494, 246.1104),
        (7.62, 208.1498, 283.8502, 75.7003, 246.0000),
    ],
)
def test_exhaust_valve(
    exhaust: LobesInspection, level: float, opening: float, closing: float, duration: float, centre: float
) -> None:
    row = next(row for row in exhaust.result.lobes[0].durations if row.at_mm == level)
    assert row.opening_cam_deg is not None
    assert row.closing_cam_deg is not None
    # the table is rough by a micrometre, which moves a crossing by 0.01° on the flank and by 0.1° on the ramp
    slack = 0.1 if level < 0.5 else 0.03
    assert 2.0 * row.opening_cam_deg == pytest.approx(opening, abs=slack)
    assert 2.0 * row.closing_cam_deg == pytest.approx(closing, abs=slack)
    assert row.duration_crank_deg == pytest.approx(duration, abs=slack)
    assert row.centre_cam_deg == pytest.approx(0.5 * centre, abs=slack)


def test_exhaust_valve_as_a_whole(exhaust: LobesInspection) -> None:
    lobe = exhaust.result.lobes[0]
    assert lobe.max_lift_mm == pytest.approx(8.8900, abs=5e-4)
    assert lobe.max_lift_angle_cam_deg == pytest.approx(123.0, abs=0.05)
    # trapezoid rule, mm·crank deg
    assert lobe.area_mm_cam_deg is not None
    assert 2.0 * lobe.area_mm_cam_deg == pytest.approx(1242.2541, rel=1e-3)
    # the closing side is slower, so the centre moves with the lift it is taken at
    by_lift = [row.centre_cam_deg for row in lobe.durations if row.at_mm in {0.1, 1.0, 7.62}]
    assert by_lift == sorted(by_lift, reverse=True)


@pytest.mark.parametrize(
    ("level", "opening", "closing", "duration", "centre"),
    [(1.0, -50.1811, 47.9974, 98.1785, -1.0919), (5.0, -28.4310, 26.0501, 54.4811, -1.1904)],
)
def test_tappet_cam(
    tappet: LobesInspection, level: float, opening: float, closing: float, duration: float, centre: float
) -> None:
    row = next(row for row in tappet.result.lobes[0].durations if row.at_mm == level)
    assert row.opening_cam_deg == pytest.approx(opening % 360.0, abs=0.02)
    assert row.closing_cam_deg == pytest.approx(closing, abs=0.02)
    assert row.duration_cam_deg == pytest.approx(duration, abs=0.02)
    assert row.centre_cam_deg == pytest.approx(centre % 360.0, abs=0.02)


def test_tappet_cam_never_closes_at_a_tenth(tappet: LobesInspection) -> None:
    lobe = tappet.result.lobes[0]
    assert lobe.max_lift_mm == pytest.approx(7.443446, abs=2e-4)
    row = next(row for row in lobe.durations if row.at_mm == 0.1)
    assert (row.closing_cam_deg, row.duration_cam_deg, row.duration_crank_deg, row.centre_cam_deg) == (None,) * 4
    assert row.opening_cam_deg == pytest.approx(360.0 - 75.3158, abs=0.05)
    notes = [note.text for note in tappet.result.notes if "0.1 mm" in note.about]
    assert len(notes) == 1
    assert "closing flank never comes below it" in notes[0]


def test_tappet_cam_under_its_flat_face(tappet: LobesInspection) -> None:
    """Base radius 18.4 mm; by finite differences the flat face is 23.664 mm and the least radius 2.41 mm ± 10 %."""
    profile = tappet.profiles["1I"]
    angle = np.arange(profile.start_cam_deg, profile.stop_cam_deg, 0.05)
    found = contour(angle, *(profile.value(angle, order) for order in range(3)), 18.4, Shape("flat"))
    summary = summarise(found)
    assert np.ptp(found.slope_mm) == pytest.approx(23.664, rel=2e-3)
    assert summary.min_convex_mm == pytest.approx(2.41, rel=0.1)
