"""The base-circle arc: zero, eccentricity and runout against what was put in."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lobe_samples import LIFT, Floats, answers, design, fit, turn

LOBE = design("poly4567")
ANGLE = turn(720)


def swept(zero: float, size: float, at: float, noise: float = 0.0, seed: int = 0) -> Floats:
    """A lobe turned about a centre off its own by `size` toward `at`, read from some indicator zero."""
    lift = LOBE.value(ANGLE) + zero + size * np.cos(np.radians(ANGLE - at))
    return lift + np.random.default_rng(seed).normal(0.0, 1.0, ANGLE.size) * noise


@settings(max_examples=20)
@given(st.floats(-2.0, 2.0), st.floats(0.001, 0.2), st.floats(0.0, 359.0))
def test_zero_and_eccentricity_come_back(zero: float, size: float, at: float) -> None:
    found = answers(ANGLE, swept(zero, size, at))
    base = found.fitted.bases[0]
    assert base is not None
    assert base.abc[0] == pytest.approx(zero, abs=2e-5)
    assert base.eccentricity_mm == pytest.approx(size, abs=2e-5)
    off = np.mod(base.eccentricity_angle_cam_deg - at + 180.0, 360.0) - 180.0
    assert abs(off) < np.degrees(3e-5 / size)
    # taken out of the whole sweep, so the lobe is as it was
    assert found.max_lift().value[0] == pytest.approx(LIFT, abs=1e-4)


def test_runout_is_the_harmonics_range_over_the_arc() -> None:
    fitted = fit(ANGLE, swept(0.0, 0.05, 280.3))
    base = fitted.bases[0]
    assert base is not None
    first = fitted.splines.start + fitted.splines.step * base.first
    last = fitted.splines.start + fitted.splines.step * base.last
    assert last - first > 180.0
    # the arc holds both the highest place and, at one end, its lowest
    ends = np.radians(np.array([first, last]) - 280.3)
    assert base.runout_mm == pytest.approx(0.05 - 0.05 * np.cos(ends).min(), abs=2e-5)


def test_the_arc_ends_where_the_ramps_begin() -> None:
    fitted = fit(ANGLE, swept(0.0, 0.0, 0.0))
    base = fitted.bases[0]
    assert base is not None
    first = fitted.splines.start + fitted.splines.step * base.first
    last = fitted.splines.start + fitted.splines.step * base.last
    feet = LOBE.centre + 84.0, LOBE.centre - 84.0 + 360.0
    assert feet[0] - 6.0 < first < feet[0] + 8.0
    assert feet[1] - 8.0 < last < feet[1] + 6.0
    assert base.runout_mm < 2e-5


def test_noise_is_not_runout() -> None:
    """Range of raw noise of 2 µm over an arc is some 12 µm; the smoothed form must not show it."""
    runouts = []
    for seed in range(20):
        base = fit(ANGLE, swept(0.0, 0.0, 0.0, 2e-3, seed)).bases[0]
        assert base is not None
        runouts.append(base.runout_mm)
    assert np.median(runouts) < 0.8e-3


def test_form_beyond_eccentricity_is_reported() -> None:
    lift = swept(0.0, 0.0, 0.0, 0.5e-3) + 0.006 * np.cos(np.radians(3.0 * (ANGLE - 280.3)))
    on_flanks = np.abs(np.mod(ANGLE - LOBE.centre + 180.0, 360.0) - 180.0) < 84.0
    lift[on_flanks] -= 0.006 * np.cos(np.radians(3.0 * (ANGLE[on_flanks] - 280.3)))
    base = fit(ANGLE, lift).bases[0]
    assert base is not None
    assert base.form_mm > 0.006
    assert base.runout_mm > 0.006


def test_left_in_the_eccentricity_stays_in_the_lift() -> None:
    at = LOBE.centre
    fitted = fit(ANGLE, swept(0.3, 0.05, at), keep_eccentricity=True)
    # only the zero is taken out, so the nose stands higher by the eccentricity
    assert fitted.profile(0).value(at) == pytest.approx(LIFT + 0.05, abs=1e-4)
    assert fit(ANGLE, swept(0.3, 0.05, at)).profile(0).value(at) == pytest.approx(LIFT, abs=1e-4)


def test_turning_the_datum_turns_the_eccentricity() -> None:
    turned = answers(ANGLE + 33.3, swept(0.0, 0.05, 40.0)).fitted.bases[0]
    assert turned is not None
    assert turned.eccentricity_angle_cam_deg == pytest.approx(73.3, abs=0.01)
    assert turned.eccentricity_mm == pytest.approx(0.05, abs=1e-5)


def test_a_lobe_without_an_arc_says_so() -> None:
    # an eccentric circle never rests
    lift = 4.0 * (1.0 - np.cos(np.radians(ANGLE)))
    assert fit(ANGLE, lift).bases[0] is None


@pytest.mark.parametrize("size", [0.005, 0.02])
def test_eccentricity_scatters_as_its_uncertainty_says(size: float) -> None:
    lifts = np.stack([swept(0.1, size, 30.0, 2e-3, seed) for seed in range(300)])
    found = answers(ANGLE, *lifts)
    sizes = np.array([base.eccentricity_mm for base in found.fitted.bases if base is not None])
    angles = np.array([base.eccentricity_angle_cam_deg for base in found.fitted.bases if base is not None])
    stated = np.array([found.base_uncertainty(row)[1:] for row in range(300)], dtype=np.float64)
    assert sizes.size == 300
    # 300 repeats know a standard deviation to 4 %
    assert np.sqrt(np.mean(stated[:, 0] ** 2)) == pytest.approx(sizes.std(), rel=0.3)
    assert np.sqrt(np.mean(stated[:, 1] ** 2)) == pytest.approx(np.std(angles), rel=0.3)
    assert sizes.mean() == pytest.approx(size, abs=3.0 * sizes.std() / np.sqrt(300.0))
