"""Lobes described under another follower: circular arcs in closed form, published laws, findings, uncertainty."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from arc_lobe import ArcLobe
from contour_figures import points_mm
from lobe_samples import Floats, design, fit, measured, turn
from motion_laws import LobeDesign
from scipy.optimize import brentq
from something import each

from valvelab.follower.contour import Contour, contour
from valvelab.follower.conversion import angle_of, follow, lift_of
from valvelab.follower.shapes import Shape
from valvelab.inspection.lobes.convert import Converted, convert
from valvelab.lobe.characteristics import LobeCharacteristics
from valvelab.records.result import Note

FLAT, POINT, ROLLER = Shape("flat"), Shape("point", 0.0), Shape("roller", 10.0)
PAIRS = [(FLAT, POINT), (FLAT, ROLLER), (POINT, FLAT), (ROLLER, FLAT), (ROLLER, POINT), (POINT, ROLLER)]
NAMES = [f"{source.kind} to {shape.kind}" for source, shape in PAIRS]
ARCS = [ArcLobe(centre=100.3), ArcLobe(nose=3.0, centre=100.3), ArcLobe(25.0, 90.0, 7.0, 9.0, 100.3)]


def converted(source: Shape, shape: Shape, base: float, *lifts: Floats) -> tuple[Converted, list[Note]]:
    """Even readings of a turn under one follower, described under another."""
    notes: list[Note] = []
    table: Any = SimpleNamespace(follower=source, base_circle_radius_mm=base, lift_at="follower")
    return convert(fit(turn(lifts[0].size), *lifts), table, shape, notes), notes


@pytest.mark.parametrize(("source", "shape"), PAIRS, ids=NAMES)
@pytest.mark.parametrize("lobe", ARCS)
@pytest.mark.parametrize(("readings", "lift_um", "crank_deg"), [(720, 0.8, 0.005), (360, 2.7, 0.035)])
def test_arcs_under_another_follower_in_closed_form(
    source: Shape, shape: Shape, lobe: ArcLobe, readings: int, lift_um: float, crank_deg: float
) -> None:
    # between readings 1 deg apart a nose of 3 mm is not seen closer than this by any curve through them
    found, _ = converted(source, shape, lobe.base, lobe.lift_under(turn(readings), source))
    assert found.withheld.keys() == frozenset()
    at = np.arange(0.0, 360.0, 0.1)
    off = found.fitted.splines.evaluate(0, at) - lobe.lift_under(at, shape)
    assert 1000.0 * np.abs(off).max() < lift_um
    characteristics = LobeCharacteristics(found.fitted, None, found.propagation)
    assert characteristics.max_lift().value[0] == pytest.approx(lobe.lift, abs=5e-4)
    for level in (0.15, 0.508, 1.27, 5.08):
        opening, closing = characteristics.places_at(level)
        half = brentq(lambda t, h=level: float(lobe.lift_under(np.array([lobe.centre + t]), shape)[0]) - h, 0.0, 120.0)
        assert 2.0 * (closing[0] - opening[0]) == pytest.approx(4.0 * half, abs=crank_deg)


def exact(lobe: LobeDesign, base: float, source: Shape, shape: Shape, at: float) -> float:
    """Lift of a design under another follower at one cam angle, by root finding on the law itself."""

    def met(angle: float) -> Contour:
        place = np.array([angle])
        return contour(place, *(lobe.value(place, order) for order in range(3)), base, source)

    angle = brentq(lambda t: float(angle_of(met(t), shape)[0]) - at, at - 60.0, at + 60.0, xtol=1e-13)
    return float(lift_of(met(float(angle)), shape)[0])


@pytest.mark.parametrize(("source", "shape", "base"), [(FLAT, ROLLER, 35.0), (FLAT, POINT, 40.0), (ROLLER, FLAT, 45.0)])
@pytest.mark.parametrize("law", ["poly4567", "cycloidal"])
def test_smooth_laws_under_another_follower(source: Shape, shape: Shape, base: float, law: Any) -> None:
    lobe = design(law, centre=100.3, flank=75.0)
    found, notes = converted(source, shape, base, lobe.value(turn(720)))
    assert [note.level for note in notes] == ["info"]
    for at in (40.2, 61.7, 88.0, 95.55, 100.3, 107.1, 131.9, 150.0, 300.0):
        assert found.fitted.splines.evaluate(0, at) == pytest.approx(exact(lobe, base, source, shape, at), abs=1e-4)


def test_every_angle_is_answered_to_the_last_digit() -> None:
    lobe = ARCS[0]
    splines = fit(turn(360), lobe.lift_under(turn(360), FLAT)).splines

    def contour_at(angle: Floats) -> Contour:
        values = (splines.evaluate(0, angle, order) for order in range(3))
        return contour(angle, *values, lobe.base, FLAT)

    found = follow(contour_at, 0.0, 1.0, 360, POINT, periodic=True)
    assert found.covered.all()
    back = angle_of(contour_at(found.source_cam_deg), POINT)
    assert np.abs(np.mod(back - turn(360) + 180.0, 360.0) - 180.0).max() < 1e-9


def test_a_hollow_flank_is_a_finding_with_its_place() -> None:
    # 10 mm of lift over 75 deg on a base circle of 15 mm is hollow under a roller of 10 mm (see the contour's own test)
    lobe = design("poly4567", centre=100.3, flank=75.0)
    found, notes = converted(ROLLER, FLAT, 15.0, 1.25 * lobe.value(turn(720)))
    assert found.withheld.keys() == {"1I"}
    (said,) = [note.text for note in notes if note.level == "warning"]
    assert "a flat face cannot follow the hollow flank at" in said
    where = float(said.split(" at ")[1].split(" cam")[0])
    assert 40.0 < abs(where - 100.3) < 75.0
    # a large roller neither, and one as small as that which read it does
    assert converted(ROLLER, Shape("roller", 500.0), 15.0, 1.25 * lobe.value(turn(720)))[0].withheld.keys() == {"1I"}
    assert not converted(ROLLER, Shape("roller", 10.5), 15.0, 1.25 * lobe.value(turn(720)))[0].withheld


def test_a_shallow_hollow_is_ridden_on_both_sides() -> None:
    # the contour: a circle of 20 mm with a dent of 12 µm, hollow at its bottom; a flat face rests on both its sides
    def contour_at(angle: Floats) -> Contour:
        off = angle - 180.0
        value = -0.012 * np.exp(-0.5 * off**2)
        return contour(angle, value, -value * off, value * (off**2 - 1.0), 20.0, Shape("point", 0.0))

    assert contour_at(np.array([180.0])).radius_mm[0] < 0.0
    found = follow(contour_at, 90.0, 0.25, 721, FLAT, periodic=False)
    assert found.bridge is not None
    assert 0.001 < found.bridge.depth_mm < 0.02
    assert abs(found.bridge.angle_cam_deg - 180.0) < 2.0
    # as the upper hull of the points says: the greatest reach of any point of the contour along the face's normal
    along = np.arange(90.0, 270.0, 0.01)
    dense = contour_at(along)
    points = points_mm(dense)
    for k in (300, 352, 356, 360, 364, 400):
        normal = np.radians(90.0 + 0.25 * k)
        reach = float((points @ np.array([np.cos(normal), np.sin(normal)])).max())
        assert found.lift_mm[k] == pytest.approx(reach - 20.0, abs=1e-6)


def test_an_event_only_table_keeps_its_range() -> None:
    lobe = design("poly4567", centre=100.3, flank=75.0)

    def contour_at(angle: Floats) -> Contour:
        return contour(angle, *(lobe.value(angle, order) for order in range(3)), 40.0, FLAT)

    found = follow(contour_at, 60.0, 0.5, 162, ROLLER, periodic=False)
    covered = np.flatnonzero(found.covered)
    assert covered.size < 162  # on the flanks a roller meets the same contour later
    for k in covered[:: covered.size // 5]:
        assert found.lift_mm[k] == pytest.approx(exact(lobe, 40.0, FLAT, ROLLER, 60.0 + 0.5 * k), abs=1e-9)
    assert (np.diff(covered) == 1).all()


def test_an_event_only_table_that_ends_lifting_is_warned_of() -> None:
    lobe, angle = design("poly4567", (0.0, 0.0), centre=100.3, flank=75.0), np.arange(60.0, 140.25, 0.5)
    fitted = fit(angle, lobe.value(angle))
    table: Any = SimpleNamespace(follower=FLAT, base_circle_radius_mm=40.0, lift_at="follower")
    notes: list[Note] = []
    convert(fitted, table, ROLLER, notes)
    (said,) = [note.text for note in notes if note.level == "warning" and "table ends" in note.text]
    first, last = exact_range(lobe, 40.0, 60.0), exact_range(lobe, 40.0, 140.0)
    assert f"it tells {np.ceil(first * 2.0) / 2.0:.1f} to {np.floor(last * 2.0) / 2.0:.1f} cam deg only" in said
    # one that ends on the base circle is not
    whole, quiet = np.arange(20.0, 180.25, 0.5), []
    convert(fit(whole, lobe.value(whole)), table, ROLLER, quiet)
    assert [note.level for note in quiet] == ["info"]


def exact_range(lobe: LobeDesign, base: float, at: float) -> float:
    """Cam angle at which a roller meets the place that a flat face met at an angle."""
    place = np.array([at])
    return float(angle_of(contour(place, *(lobe.value(place, order) for order in range(3)), base, FLAT), ROLLER)[0])


@pytest.mark.parametrize(
    ("source", "shape", "base"), [(FLAT, ROLLER, 45.0), (ROLLER, FLAT, 60.0), (POINT, ROLLER, 60.0)]
)
def test_stated_uncertainty_covers(source: Shape, shape: Shape, base: float) -> None:
    # 60 repeats with white noise of 1 µm; the noise-free description is the truth
    lobe, draw = design("poly4567", flank=75.0), np.random.default_rng(21)
    clean, _ = converted(source, shape, base, lobe.value(turn(1440)))
    truth = measured(LobeCharacteristics(clean.fitted, None, clean.propagation))
    noisy, _ = converted(source, shape, base, *(lobe.value(turn(720)) + draw.normal(0.0, 1e-3, 720) for _ in range(60)))
    for name, (value, u) in each(measured(LobeCharacteristics(noisy.fitted, None, noisy.propagation)).items()):
        error = value - truth[name][0][0]
        assert (np.abs(error) < 1.96 * u).mean() >= 0.85, name
        assert np.sqrt((error**2).mean()) > 0.4 * u.mean(), name
