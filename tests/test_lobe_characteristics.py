"""Lobe characteristics: exact answers, and what has to stay the same when the lobe is read another way."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lobe_samples import LIFT, Floats, Truth, answers, crossing, design, lopsided, measured, turn
from motion_laws import LobeDesign
from something import each

from valvelab.lobe.characteristics import LobeCharacteristics

ANGLE = turn(720)
PLACES = ("opening", "closing", "middle", "nose", "area_centre")


def single(found: LobeCharacteristics) -> dict[str, float]:
    """Values of the only lobe; angles folded next to 100."""
    values = {name: float(value[0]) for name, (value, _) in measured(found).items()}
    for name in PLACES:
        values[name] = 100.0 + (values[name] - 100.0 + 180.0) % 360.0 - 180.0
    return values


@pytest.mark.parametrize("lobe", [lopsided(), design("cycloidal"), design("poly345", (0.0, 0.0))])
def test_every_characteristic_has_its_exact_value(lobe: LobeDesign) -> None:
    found = single(answers(ANGLE, lobe.value(ANGLE)))
    for name, exact in each(Truth(lobe).values().items()):
        tolerance = {"max_lift": 1e-4, "area": 5e-3}.get(name, 2e-3 if name in PLACES else None)
        assert found[name] == pytest.approx(exact, rel=2e-4 if tolerance is None else 0.0, abs=tolerance)


def test_area_of_a_law_in_closed_form() -> None:
    # every point-symmetric law has ½ under its rise, so a lobe of two of them has h × β (common calculus)
    lobe = design("cycloidal", (0.0, 0.0))
    area, centroid = answers(ANGLE, lobe.value(ANGLE)).area()
    assert area.value[0] == pytest.approx(LIFT * 62.0, rel=1e-6)
    assert centroid.value[0] % 360.0 == pytest.approx(lobe.centre, abs=1e-4)


def test_the_centres_differ_on_an_unsymmetrical_lobe() -> None:
    found = single(answers(ANGLE, lopsided().value(ANGLE)))
    assert found["nose"] > 100.3 + 0.05
    assert found["area_centre"] > found["nose"] + 0.5
    assert found["middle"] > found["nose"]


@settings(max_examples=10)
@given(st.floats(-360.0, 360.0))
def test_turning_the_datum_moves_the_places_and_nothing_else(by: float) -> None:
    plain = single(answers(ANGLE, lopsided().value(ANGLE)))
    turned = {name: value[0] for name, (value, _) in measured(answers(ANGLE + by, lopsided().value(ANGLE))).items()}
    for name, value in each(plain.items()):
        if name in PLACES:
            assert (turned[name] - value - by + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=1e-6)
        else:
            assert turned[name] == pytest.approx(value, rel=1e-8)


def test_a_mirrored_sweep_swaps_opening_and_closing() -> None:
    plain = single(answers(ANGLE, lopsided().value(ANGLE)))
    mirrored = {name: value[0] for name, (value, _) in measured(answers(-ANGLE, lopsided().value(ANGLE))).items()}
    for name, swapped in (("opening", "closing"), ("closing", "opening"), ("nose", "nose"), ("middle", "middle")):
        assert (mirrored[name] + plain[swapped] + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=1e-6)
    for name, swapped, sign in (
        ("velocity_max", "velocity_min", -1.0),
        ("acceleration_max", "acceleration_max", 1.0),
        ("duration", "duration", 1.0),
        ("area", "area", 1.0),
    ):
        assert mirrored[name] == pytest.approx(sign * plain[swapped], rel=1e-8)


@settings(max_examples=10)
@given(st.floats(0.2, 3.0))
def test_lift_scales_what_is_lift_and_leaves_the_angles(scale: float) -> None:
    lobe = lopsided()
    plain = answers(ANGLE, lobe.value(ANGLE))
    scaled = answers(ANGLE, scale * lobe.value(ANGLE))
    assert scaled.max_lift().value[0] == pytest.approx(scale * plain.max_lift().value[0], rel=1e-5)
    assert scaled.area()[0].value[0] == pytest.approx(scale * plain.area()[0].value[0], rel=1e-5)
    assert scaled.extreme(1, 1.0)[0].value[0] == pytest.approx(scale * plain.extreme(1, 1.0)[0].value[0], rel=1e-4)
    rows = plain.events(1.27), scaled.events(scale * 1.27)
    assert rows[1].duration.value[0] == pytest.approx(rows[0].duration.value[0], abs=1e-4)


def test_crossings_are_the_ones_nearest_the_nose() -> None:
    # a ripple on the ramp crosses the lift several times; the outer crossings don't count
    lift = lopsided().value(ANGLE)
    bump = 0.3 * np.exp(-(((ANGLE - 20.0) / 4.0) ** 2))
    row = answers(ANGLE, lift + bump).events(0.28)
    exact = lopsided().centre + crossing(lopsided(), 0.28, -1)
    assert row.opening.value[0] % 360.0 == pytest.approx(exact, abs=2e-3)


def test_a_lift_that_is_never_reached_has_no_events() -> None:
    row = answers(ANGLE, lopsided().value(ANGLE)).events(9.0)
    for value in (row.opening, row.closing, row.duration, row.centre):
        assert np.isnan(value.value[0])
        assert np.isnan(value.u[0])


def test_a_flank_that_never_closes_has_no_closing() -> None:
    angle = np.arange(10.0, 150.0, 0.5)
    row = answers(angle, lopsided().value(angle)).events(0.508)
    assert np.isfinite(row.opening.value[0])
    assert np.isnan(row.closing.value[0])
    assert np.isnan(row.duration.value[0])


@pytest.mark.parametrize("noise", [0.0, 1e-3])
def test_ramps_are_found_where_they_meet_the_flank(noise: float) -> None:
    lobe = design("poly4567")
    lift = lobe.value(ANGLE) + np.random.default_rng(1).normal(0.0, 1.0, 720) * noise
    opening, closing = answers(ANGLE, lift).ramps()
    # the main law of the flank starts 62 cam deg before the nose, at the ramp's own lift and speed there
    assert opening.angle_cam_deg[0] % 360.0 == pytest.approx(lobe.centre - 62.0, abs=6.0)
    assert closing.angle_cam_deg[0] % 360.0 == pytest.approx(lobe.centre + 62.0, abs=6.0)
    speed = lobe.value(np.array([lobe.centre - 63.0]), 1)[0]
    assert opening.velocity[0] == pytest.approx(speed, rel=0.1)
    assert closing.velocity[0] == pytest.approx(-speed, rel=0.1)
    assert 0.05 < opening.lift_mm[0] < 0.25


def test_a_flank_without_a_ramp_shows_none() -> None:
    lobe = design("poly4567", (0.0, 0.0))
    opening, closing = answers(ANGLE, lobe.value(ANGLE)).ramps()
    assert np.isnan(opening.angle_cam_deg[0])
    assert np.isnan(closing.angle_cam_deg[0])


@pytest.mark.parametrize("law", ["cycloidal", "poly4567"])
def test_jerk_of_smooth_laws(law: str) -> None:
    lobe = design(law, (0.0, 0.0))  # type: ignore[arg-type]
    found = answers(ANGLE, lobe.value(ANGLE))
    dense = lobe.value(np.arange(0.0, 360.0, 0.01), 3)
    inside = dense[dense != 0.0]
    assert found.jerk_rms()[0] == pytest.approx(np.sqrt(np.mean(inside**2)), rel=0.03)
    if law == "poly4567":
        assert found.jerk_max_abs().value[0] == pytest.approx(np.abs(dense).max(), rel=2e-3)


def test_many_lobes_answer_like_each_alone() -> None:
    rng = np.random.default_rng(6)
    lifts: list[Floats] = [
        design("poly4567", centre=centre).value(ANGLE) + rng.normal(0.0, 1e-3, 720) for centre in (20.0, 140.0, 290.0)
    ]
    together = measured(answers(ANGLE, *lifts))
    for row, lift in each(enumerate(lifts)):
        alone = measured(answers(ANGLE, lift))
        for name, (value, u) in each(together.items()):
            # the smoothing strength is pooled, so alone and together differ by a small part of the uncertainty
            assert value[row] == pytest.approx(alone[name][0][0], abs=0.5 * u[row])


def test_repeated_turns_of_one_lobe_keep_the_answer() -> None:
    angle = np.arange(5 * 720) * 0.5
    one, five = (single(answers(a, lopsided().value(a))) for a in (ANGLE, angle))
    assert five == pytest.approx(one, rel=1e-7)


def test_dragging_a_checking_lift_gives_what_the_table_gives() -> None:
    found = answers(ANGLE, lopsided().value(ANGLE), design("cycloidal").value(ANGLE))
    for lift in (0.3, 1.27, 4.4):
        row = found.events(lift)
        opening, closing = found.places_at(lift)
        assert opening == pytest.approx(row.opening.value, abs=0.0)
        assert closing == pytest.approx(row.closing.value, abs=0.0)
