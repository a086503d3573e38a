"""The fitted profile against the laws that lobes were made from, without noise and with it."""

from __future__ import annotations

import numpy as np
import pytest
from lobe_samples import (
    LIFT,
    NO_RAMP,
    RAMP,
    SMOOTH,
    STEPPING,
    answers,
    correlated,
    crossing,
    design,
    fit,
    lopsided,
    turn,
)
from motion_laws import LawName

from valvelab.errors import CannotEvaluate, Reason
from valvelab.lobe.characteristics import LobeCharacteristics
from valvelab.lobe.profile import Profile
from valvelab.lobe.smoothing import fit_uniform

DENSE = np.arange(0.0, 360.0, 0.05)
CHECKING = (0.15, 0.508, 1.0, 1.27, 5.08)


def duration_error_crank_deg(found: LobeCharacteristics, lobe: object, lift: float) -> float:
    exact = crossing(lobe, lift, 1) - crossing(lobe, lift, -1)  # type: ignore[arg-type]
    return 2.0 * float(found.events(lift).duration.value[0] - exact)


@pytest.mark.parametrize("ramp", [NO_RAMP, RAMP])
@pytest.mark.parametrize("name", [*SMOOTH, *STEPPING])
@pytest.mark.parametrize("centre", [100.0, 100.37, 359.6])
def test_readings_without_noise_a_degree_apart(name: LawName, ramp: tuple[float, float], centre: float) -> None:
    """Lift right to 0.1 µm everywhere and duration to 0.01 crank deg at every checking lift."""
    lobe = design(name, ramp, centre)
    angle = turn(360)
    found = answers(angle, lobe.value(angle))
    error = found.fitted.profile(0).value(DENSE) - lobe.value(DENSE)
    assert np.abs(error).max() < 1e-4
    assert found.max_lift().value[0] == pytest.approx(LIFT, abs=1e-4)
    for lift in CHECKING:
        assert abs(duration_error_crank_deg(found, lobe, lift)) < 0.01


@pytest.mark.parametrize("ramp", [NO_RAMP, RAMP])
@pytest.mark.parametrize(
    ("name", "acceleration_percent"), [*[(name, 1.0) for name in SMOOTH], *[(name, 3.0) for name in STEPPING]]
)
def test_a_micrometre_of_noise_half_a_degree_apart(
    name: LawName, acceleration_percent: float, ramp: tuple[float, float]
) -> None:
    """Peak velocity right to 0.1 %, peak acceleration to 1 %, or 3 % where the law steps in jerk: median of 40 fits,

    each of one lobe by itself, as a table with a single lobe would be.
    """
    lobe = design(name, ramp)
    angle = turn(720)
    exact = {order: lobe.value(DENSE, order) for order in (1, 2)}
    errors: dict[int, list[float]] = {1: [], 2: []}
    for seed in range(40):
        noise = np.random.default_rng(seed).normal(0.0, 1e-3, angle.size)
        found = answers(angle, lobe.value(angle) + noise)
        for order in (1, 2):
            peaks = exact[order].max(), exact[order].min()
            for sign, peak in zip((1.0, -1.0), peaks, strict=True):
                errors[order].append(abs(float(found.extreme(order, sign)[0].value[0]) / peak - 1.0))
    assert 100.0 * np.median(errors[1]) < 0.1
    assert 100.0 * np.median(errors[2]) < acceleration_percent


def test_more_samples_converge() -> None:
    lobe = lopsided()
    errors = []
    for readings in (180, 360, 720, 1440):
        noise = np.random.default_rng(2).normal(0.0, 1e-3, (24, readings))
        fitted = fit(turn(readings), *(lobe.value(turn(readings)) + noise))
        deviations = [fitted.profile(row).value(DENSE) - lobe.value(DENSE) for row in range(24)]
        errors.append(float(np.sqrt(np.mean(np.square(deviations)))))
    assert errors == sorted(errors, reverse=True)
    assert errors[-1] < 0.5 * errors[0]


@pytest.mark.parametrize("noise_mm", [0.5e-3, 2e-3, 10e-3])
@pytest.mark.parametrize("lag", [0.0, 0.3, 0.6])
def test_the_noise_is_found(noise_mm: float, lag: float) -> None:
    lobe = design("poly4567")
    angle = turn(1440)
    fitted = fit(angle, *(lobe.value(angle) + correlated(np.random.default_rng(4), (8, 1440), lag, noise_mm)))
    assert np.median(fitted.noise_mm) == pytest.approx(noise_mm, rel=0.08)
    assert fitted.smoothed.lag_correlation == pytest.approx(lag, abs=0.08)


def test_correlated_noise_is_not_taken_for_form() -> None:
    """Plain cross-validation would follow the noise: acceleration errors beyond the peak itself."""
    lobe = design("poly4567")
    angle = turn(720)
    noise = correlated(np.random.default_rng(8), (16, 720), 0.6, 1e-3)
    fitted = fit(angle, *(lobe.value(angle) + noise))
    peak = np.abs(lobe.value(DENSE, 2)).max()
    error = [fitted.profile(row).value(DENSE, 2) - lobe.value(DENSE, 2) for row in range(16)]
    assert np.sqrt(np.mean(np.square(error))) < 0.02 * peak


def test_uneven_readings_give_the_same_lobe() -> None:
    lobe = design("poly4567")
    angle = np.sort(np.random.default_rng(6).uniform(0.0, 360.0, 400))
    found = answers(angle, lobe.value(angle))
    assert found.max_lift().value[0] == pytest.approx(LIFT, abs=1e-4)
    assert abs(duration_error_crank_deg(found, lobe, 1.27)) < 0.01
    assert np.abs(found.fitted.profile(0).value(DENSE) - lobe.value(DENSE)).max() < 5e-4


def test_a_gap_on_a_flank_costs_precision_there_only() -> None:
    lobe = design("poly4567")
    angle = turn(360)
    angle = angle[(angle < 62.0) | (angle > 70.0)]
    rng = np.random.default_rng(9)
    found = answers(angle, lobe.value(angle) + rng.normal(0.0, 1e-3, angle.size))
    off_gap = (DENSE < 60.0) | (DENSE > 72.0)
    error = np.abs(found.fitted.profile(0).value(DENSE) - lobe.value(DENSE))
    assert error[off_gap].max() < 3e-3
    assert error.max() < 0.05
    assert found.fitted.profile(0).period == 360.0


def test_missing_cells_of_a_uniform_turn_are_not_invented() -> None:
    lobe = design("cycloidal")
    angle = np.delete(turn(720), [10, 171, 200, 500])
    rng = np.random.default_rng(10)
    found = answers(angle, lobe.value(angle) + rng.normal(0.0, 1e-3, angle.size))
    assert np.abs(found.fitted.profile(0).value(DENSE) - lobe.value(DENSE)).max() < 3e-3
    assert found.fitted.noise_mm[0] == pytest.approx(1e-3, rel=0.15)


def test_what_a_reading_adds_to_the_fit_is_known() -> None:
    """Missing cells are filled by it: against fits of readings of which one stands off by a nanometre."""
    angle, cells = turn(720), np.array([10, 171, 200, 201])
    lifts = design("modified_trapezoid").value(angle) + np.random.default_rng(11).normal(0.0, 1e-3, angle.size)
    before = fit_uniform(lifts[None], 0.0)
    after = [fit_uniform((lifts + 1e-6 * (np.arange(angle.size) == cell))[None], 0.0) for cell in cells]
    moved = [(one.splines.at_knots() - before.splines.at_knots())[0, cells] / 1e-6 for one in after]
    assert before.steps[0].rows.size > 0
    assert before.answer_at(0, cells) == pytest.approx(np.array(moved).T, abs=1e-6)


def test_an_event_only_sweep_keeps_its_own_zero() -> None:
    lobe = design("poly4567")
    angle = 100.0 + np.arange(-95.0, 95.5, 0.5)
    found = answers(angle, lobe.value(angle) + 0.037)
    profile = found.fitted.profile(0)
    assert profile.period is None
    assert found.fitted.bases == (None,)
    assert found.max_lift().value[0] == pytest.approx(LIFT + 0.037, abs=1e-4)
    assert (profile.start_cam_deg, profile.stop_cam_deg) == pytest.approx((5.0, 195.0))
    assert profile.value(300.0) == 0.0
    assert profile.value(460.0) == pytest.approx(profile.value(100.0), abs=1e-12)


def test_several_turns_are_averaged() -> None:
    lobe = design("poly4567")
    angle = np.arange(4 * 720) * 0.5
    rng = np.random.default_rng(11)
    one = fit(turn(720), lobe.value(turn(720)) + rng.normal(0.0, 2e-3, 720))
    four = fit(angle, lobe.value(angle) + rng.normal(0.0, 2e-3, angle.size))
    assert four.conditioned.sweeps == 4
    assert four.noise_mm[0] == pytest.approx(1e-3, rel=0.2)
    assert four.reading_noise_mm[0] == pytest.approx(2e-3, rel=0.1)
    assert one.reading_noise_mm[0] == pytest.approx(2e-3, rel=0.15)


def test_a_profile_answers_in_the_shape_it_was_asked() -> None:
    angle = turn(360)
    profile = fit(angle, design("poly4567").value(angle)).profile(0)
    assert isinstance(profile, Profile)
    assert profile.value(10.0).shape == ()
    assert profile.value([[1.0, 2.0], [3.0, 4.0]], 2).shape == (2, 2)
    assert profile.value(370.0) == pytest.approx(profile.value(10.0), abs=1e-12)


def test_too_few_readings_are_refused() -> None:
    angle = np.linspace(0.0, 340.0, 9)
    with pytest.raises(CannotEvaluate, match="9 readings, expected 16 or more") as refusal:
        fit(angle, np.zeros(9))
    assert refusal.value.reason is Reason.TOO_FEW_READINGS
