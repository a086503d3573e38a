"""Extremes of curvature, face reach and pressure angle, and contact pressure, of fitted lobes with known contours."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from arc_lobe import ArcLobe
from contour_figures import summarise
from lobe_samples import Floats, answers, design, fit, turn
from motion_laws import Flank, LobeDesign

from valvelab.follower.contour import contour
from valvelab.follower.shapes import Shape
from valvelab.inspection.lobes.contour import (
    FACE_REACH,
    LEAST_CONVEX,
    PRESSURE_ANGLE,
    TIGHTEST_HOLLOW,
    Contours,
)
from valvelab.inspection.lobes.repeatability import LobeGroup
from valvelab.lobe.characteristics import LobeCharacteristics
from valvelab.records.result import Note

FLAT, POINT, ROLLER = Shape("flat"), Shape("point", 0.0), Shape("roller", 8.0)
#: cycloidal rise of 10 mm over 60 cam deg, base circle 20, roller 8
CYCLOIDAL = LobeDesign(10.0, Flank("cycloidal", 60.0, 0.0, 0.0), Flank("cycloidal", 60.0, 0.0, 0.0), 100.3)
SMOOTH = design("poly4567", (0.0, 0.0), flank=75.0)
REPEATS = 30


EXTREMES = {
    "min_convex_radius_mm": LEAST_CONVEX,
    "min_concave_radius_mm": TIGHTEST_HOLLOW,
    "min_face_radius_mm": FACE_REACH,
    "max_pressure_angle_deg": PRESSURE_ANGLE,
}


@dataclass(frozen=True)
class ContourFigures:
    values: dict[str, float | None]
    uncertainty: dict[str, float | None]
    notes: list[Note]


def figures(shape: Shape, base: float, *lifts: Floats) -> list[ContourFigures]:
    part = LobeGroup(answers(turn(lifts[0].size), *lifts))
    contours = Contours(part, shape, base)
    found = {key: contours.extreme(figure) for key, figure in EXTREMES.items()}
    rows = [{key: each[row] for key, each in found.items()} for row in range(len(lifts))]
    return [
        ContourFigures(
            {key: one.value for key, one in measured.items()},
            {key: one.u for key, one in measured.items() if one.value is not None},
            contours.notes(row),
        )
        for row, measured in enumerate(rows)
    ]


def repeats(lift: Floats, noise: float) -> list[Floats]:
    draw = np.random.default_rng(2)
    return [lift + draw.normal(0.0, noise, lift.size) for _ in range(REPEATS)]


def covered(found: list[ContourFigures], key: str, truth: float) -> float:
    """Share of the stated 95 % intervals that hold the truth."""
    values = np.array([row.values[key] for row in found], dtype=np.float64)
    u = np.array([row.uncertainty[key] for row in found], dtype=np.float64)
    return float((np.abs(values - truth) < 1.96 * u).mean())


def test_extremes_lie_between_readings() -> None:
    # recomputed independently from the textbook formulas of the pitch curve: 30.2941 deg, 15.24724 − 8, 38.2095 + 8
    (found,) = figures(ROLLER, 20.0, CYCLOIDAL.value(turn(360)))
    assert found.values["max_pressure_angle_deg"] == pytest.approx(30.2941, abs=2e-4)
    assert found.values["min_convex_radius_mm"] == pytest.approx(7.24724, abs=2e-4)
    assert found.values["min_concave_radius_mm"] == pytest.approx(46.2095, abs=2e-3)
    # at 2 deg neither extreme lies on a reading; the largest at one is 30.2889 deg
    (coarse,) = figures(ROLLER, 20.0, CYCLOIDAL.value(turn(180)))
    assert coarse.values["max_pressure_angle_deg"] == pytest.approx(30.2941, abs=1e-3)


@pytest.mark.parametrize(("readings", "noise"), [(720, 3e-4), (720, 1e-3), (360, 2e-3)])
@pytest.mark.parametrize(
    ("lobe", "shape", "base"), [(CYCLOIDAL, ROLLER, 20.0), (SMOOTH, FLAT, 35.0), (SMOOTH, POINT, 25.0)]
)
def test_smooth_lobes_with_noise(lobe: LobeDesign, shape: Shape, base: float, readings: int, noise: float) -> None:
    angle = np.arange(0.0, 360.0, 0.002)
    truth = summarise(contour(angle, *(lobe.value(angle, order) for order in range(3)), base, shape))
    found = figures(shape, base, *repeats(lobe.value(turn(readings)), noise))
    assert truth.min_convex_mm is not None
    assert covered(found, "min_convex_radius_mm", truth.min_convex_mm) >= 0.85
    assert covered(found, "min_face_radius_mm", truth.face_radius_mm) >= 0.85
    if shape.kind != "flat":
        assert covered(found, "max_pressure_angle_deg", truth.max_pressure_angle_deg) >= 0.85
    # an interval that holds everything would be no answer
    assert np.mean([row.uncertainty["min_convex_radius_mm"] for row in found]) < 0.1 * truth.min_convex_mm
    if truth.min_concave_mm is None:
        assert [row.values["min_concave_radius_mm"] for row in found] == [None] * REPEATS
    else:
        assert covered(found, "min_concave_radius_mm", truth.min_concave_mm) >= 0.85


@pytest.mark.parametrize("shape", [FLAT, Shape("roller", 10.0), POINT], ids=lambda shape: shape.kind)
@pytest.mark.parametrize("nose", [3.0, 7.0])
@pytest.mark.parametrize(("readings", "noise"), [(720, 0.0), (360, 0.0), (720, 3e-4), (720, 1e-3), (360, 2e-3)])
def test_the_nose_of_an_arc_lobe(shape: Shape, nose: float, readings: int, noise: float) -> None:
    # where the flank of 60 mm meets the nose the curvature jumps, and any smooth curve swings over
    lobe = ArcLobe(nose=nose, centre=100.3)
    lift = lobe.lift_under(turn(readings), shape)
    found = figures(shape, lobe.base, *(repeats(lift, noise) if noise else [lift]))
    assert covered(found, "min_convex_radius_mm", nose) >= 0.85
    off = [abs((row.values["min_convex_radius_mm"] or 0.0) - nose) for row in found]
    assert np.mean(off) < 0.65
    assert all(row.values["min_concave_radius_mm"] is None for row in found)
    assert not any(row.notes for row in found)


def test_an_undercut_has_no_radii_but_a_place() -> None:
    (found,) = figures(FLAT, 8.0, 1.5 * SMOOTH.value(turn(720)))
    assert found.values["min_convex_radius_mm"] is None
    assert "min_convex_radius_mm" not in found.uncertainty
    assert "cannot touch such a contour at" in found.notes[0].text
    assert found.values["min_face_radius_mm"] is not None


def test_contact_pressure_of_an_arc_lobe_is_that_of_its_nose() -> None:
    # Hertz: p₀ goes with the root of the curvature; turning by hand the force is greatest at the nose, 1/7 per mm
    from valvelab.inspection.engine.motion import inspect_motion
    from valvelab.inspection.engine.train import MotionLobe, MotionQuestion
    from valvelab.inspection.lobes.contour import curvature_guides
    from valvelab.records.train import Train

    lobe = ArcLobe(centre=100.3)
    fitted = fit(turn(720), lobe.lift_under(turn(720), FLAT))
    guide = curvature_guides((LobeGroup(LobeCharacteristics(fitted)),))["1I"]
    contact = {
        "length": 12.0,
        "modulus": "226 GPa",
        "poisson": 0.0,
        "base_circle_radius": lobe.base,
        "follower": "flat",
    }
    spring = {"seat_force": "250 N", "rate": "30 N/mm"}
    train = Train.model_validate({"rocker": {"ratio": 1.0}, "spring": spring, "contact": contact})
    assert train.contact is not None
    assert train.contact.combined_modulus_mpa == pytest.approx(113_000.0)
    question = MotionQuestion((MotionLobe("1I", "intake", fitted.profile(0), 100.3, guide=guide),), train)
    (row,) = inspect_motion(question).result.valves[0].contact
    at_nose = np.sqrt((250.0 + 30.0 * 8.0) * 113_000.0 / (np.pi * 12.0 * 7.0))
    assert row.nose_pressure_mpa == pytest.approx(at_nose, rel=0.02)
    assert row.max_pressure_mpa == pytest.approx(at_nose, rel=0.05)
