"""The base-circle arc: zero, eccentricity and runout against what was put in."""

from __future__ import annotations

import numpy as np
import pytest
from coverage_study import Lobe, Shape, Side, by_law, double_harmonic
from hypothesis import given, settings
from hypothesis import strategies as st
from lobe_samples import LIFT, Floats, answers, correlated, design, fit, turn
from scipy.fft import dct

from valvelab.kept import forget
from valvelab.lobe import smoothing
from valvelab.lobe.base_circle import BaseCircle, harmonic_row
from valvelab.lobe.profile import FittedLobes

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


@pytest.mark.parametrize("beside", [-25.0, 25.0])
def test_runout_names_its_highest_and_its_lowest_place(beside: float) -> None:
    at = LOBE.centre + 180.0 + beside
    fitted = fit(ANGLE, swept(0.0, 0.05, at))
    base = fitted.bases[0]
    assert base is not None
    # farther from the highest place lies the end of the arc that stands on the other side
    lowest = base.first if beside > 0.0 else base.last
    assert base.runout_ends[0] == pytest.approx(at, abs=0.5 * fitted.splines.step)
    assert base.runout_ends[1] == pytest.approx(fitted.splines.start + fitted.splines.step * lowest, abs=1e-9)


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
    # second opinion: what general least squares leave of three waves a turn over that arc
    on = np.radians(0.5 * np.arange(base.first, base.last + 1))
    waves = 0.006 * np.cos(3.0 * (on - np.radians(280.3)))
    circle = np.stack([np.ones_like(on), np.cos(on), np.sin(on)], axis=-1)
    left = waves - circle @ np.linalg.lstsq(circle, waves)[0]
    # what does not stand clear of the noise is left out of it
    assert 0.85 * np.ptp(left) < base.form_mm < 1.02 * np.ptp(left)
    assert base.runout_mm == pytest.approx(np.ptp(waves), rel=0.05)


def _arc(base: BaseCircle) -> Floats:
    """Angles of an arc's knots, which are the readings' own."""
    return 0.5 * np.arange(base.first, base.last + 1)


def _circle(angles: Floats) -> Floats:
    on = np.radians(angles)
    return np.stack([np.ones_like(on), np.cos(on), np.sin(on)], axis=-1)


@pytest.mark.parametrize(("rest", "datum", "noise"), [(190.0, 0.0, 1e-3), (190.0, 0.0, 4e-3), (94.0, 304.7, 1e-3)])
def test_what_noise_could_hide_is_what_it_makes_of_no_eccentricity(rest: float, datum: float, noise: float) -> None:
    lift = _long(rest, 0.0, by_law("poly4567")).value(ANGLE - 100.3)
    lift += np.random.default_rng(0).normal(0.0, noise, ANGLE.size)
    fitted = fit(ANGLE + datum, lift)
    base = fitted.bases[0]
    assert base is not None
    angles = fitted.splines.start + _arc(base)
    nothing = np.random.default_rng(3).normal(0.0, noise, (4000, angles.size))
    found = np.linalg.lstsq(_circle(angles), nothing.T)[0][1:]
    # one in twenty of each part stands farther out; the larger part counts
    assert base.hidden_mm == pytest.approx(np.quantile(np.abs(found), 0.95, axis=1).max(), rel=0.12)


def test_form_pulls_zero_and_eccentricity_as_least_squares_say() -> None:
    """Half a wave and a whole one over the arc, as large as the largest that is seen, pass for a circle."""
    lift = swept(0.0, 0.0, 0.0, 0.2e-3) + 0.006 * np.cos(np.radians(4.0 * (ANGLE - 280.3)))
    on_flanks = np.abs(np.mod(ANGLE - LOBE.centre + 180.0, 360.0) - 180.0) < 84.0
    lift[on_flanks] -= 0.006 * np.cos(np.radians(4.0 * (ANGLE[on_flanks] - 280.3)))
    base = fit(ANGLE, lift).bases[0]
    assert base is not None
    angles = _arc(base)
    circle = _circle(angles)
    waves = 0.006 * np.cos(np.radians(4.0 * (angles - 280.3)))
    left = waves - circle @ np.linalg.lstsq(circle, waves)[0]
    largest = np.abs(dct(left, type=2)[2:] / angles.size).max()
    over = np.linspace(0.0, np.pi, angles.size)
    for row, pull in enumerate(base.pull, start=1):
        moved = np.linalg.lstsq(circle, largest * np.cos(row * over))[0]
        assert pull == pytest.approx(moved, rel=0.05, abs=0.03 * np.abs(moved).max())


def test_left_in_the_eccentricity_stays_in_the_lift() -> None:
    at = LOBE.centre
    fitted = fit(ANGLE, swept(0.3, 0.05, at), keep_eccentricity=True)
    # only the zero is taken out, so the nose stands higher by the eccentricity
    assert fitted.profile(0).value(at) == pytest.approx(LIFT + 0.05, abs=1e-4)
    assert fit(ANGLE, swept(0.3, 0.05, at)).profile(0).value(at) == pytest.approx(LIFT, abs=1e-4)


@pytest.mark.parametrize("datum", [33.3, 233.3])
def test_turning_the_datum_turns_the_eccentricity(datum: float) -> None:
    turned = answers(ANGLE + datum, swept(0.0, 0.05, 40.0)).fitted.bases[0]
    assert turned is not None
    assert turned.eccentricity_angle_cam_deg == pytest.approx(40.0 + datum, abs=0.01)
    assert turned.eccentricity_mm == pytest.approx(0.05, abs=1e-5)


@pytest.mark.parametrize("zero", [-30.0, 30.0])
def test_an_indicator_s_zero_is_free(zero: float) -> None:
    base = fit(ANGLE, swept(zero, 0.02, 40.0)).bases[0]
    assert base is not None
    assert base.abc[0] == pytest.approx(zero, abs=2e-5)


@pytest.mark.parametrize("readings", [72, 240, 500, 720])
@pytest.mark.parametrize("rest", [60.0, 80.0, 100.0])
def test_a_short_rest_is_found_however_far_apart_readings_are(readings: int, rest: float) -> None:
    angle = turn(readings)
    base = fit(angle, _long(rest, 0.0, by_law("poly4567")).value(angle - 100.3) + 0.3).bases[0]
    assert base is not None
    assert base.abc[0] == pytest.approx(0.3, abs=1e-6)
    step = 360.0 / readings
    middle = 0.5 * step * (base.first + base.last)
    assert middle == pytest.approx(280.3, abs=step), "it lies opposite the nose"
    # a flank leaves the circle by less than any tolerance at first
    assert rest - 6.0 - 2.0 * step < step * (base.last - base.first) < rest + 6.0
    # nine readings or so tell nothing of form
    assert np.abs(base.pull).max() < 1e-5


def test_an_arc_of_a_few_readings_tells_nothing_of_form() -> None:
    angle = turn(72)
    lift = _long(60.0, 0.0, by_law("poly4567")).value(angle - 100.3) + 0.05 * np.cos(np.radians(angle - 250.0))
    base = fit(angle, lift).bases[0]
    assert base is not None
    assert base.with_eccentricity
    assert base.form_mm == 0.0
    assert not base.pull.any()


def test_rows_of_the_harmonic_are_its_derivatives() -> None:
    angle = np.array([0.0, 33.0, 250.0])
    theta, radian = np.radians(angle), np.pi / 180.0
    none = np.zeros(3)
    first = np.stack([none, -radian * np.sin(theta), radian * np.cos(theta)], axis=-1)
    second = np.stack([none, -(radian**2) * np.cos(theta), -(radian**2) * np.sin(theta)], axis=-1)
    assert harmonic_row(angle) == pytest.approx(_circle(angle), abs=1e-15)
    assert harmonic_row(angle, 1) == pytest.approx(first, abs=1e-15)
    assert harmonic_row(angle, 2) == pytest.approx(second, abs=1e-15)


def test_form_is_told_where_it_stands_clear_of_the_noise() -> None:
    """A wave six times what the noise of 1 µm makes of it is seen, one of two and a half times is not."""
    usual = fit(ANGLE, swept(0.0, 0.0, 0.0, 1e-3)).bases[0]
    assert usual is not None
    angles = _arc(usual)
    share = (ANGLE - angles[0]) / np.ptp(angles)
    wave = np.where(np.abs(ANGLE - angles.mean()) < 0.5 * np.ptp(angles) + 6.0, np.cos(3.0 * np.pi * share), 0.0)
    seen = []
    for times in (2.5, 6.0):
        size = times * 1e-3 * np.sqrt(2.0 / angles.size)
        lifts = np.stack([swept(0.0, 0.0, 0.0, 1e-3, seed) + size * wave for seed in range(40)])
        seen.append(sum(base is not None and base.form_mm > size for base in fit(ANGLE, *lifts).bases))
    assert seen[0] <= 10
    assert seen[1] >= 24


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


def _long(rest: float, ramp: float, shape: Shape) -> Lobe:
    side = Side(shape, 180.0 - 0.5 * rest - ramp, ramp, 0.25 if ramp else 0.0)
    return Lobe(side, side, 10.6)


@pytest.mark.parametrize("eccentricity", [0.0, 0.05])
@pytest.mark.parametrize("ramp", [0.0, 30.0, 55.0])
@pytest.mark.parametrize("shape", [double_harmonic, by_law("poly345"), by_law("poly4567")])
@pytest.mark.parametrize("rest", [126.0, 110.0, 94.0])
def test_long_events_leave_the_zero_alone(rest: float, shape: Shape, ramp: float, eccentricity: float) -> None:
    """Without noise the lift is right to 0.1 µm and the duration at 0.15 mm to 0.01 crank deg."""
    lobe = _long(rest, ramp, shape)
    angle = turn(720)
    found = answers(angle, lobe.value(angle - 100.3) + eccentricity * np.cos(np.radians(angle - 40.0)))
    assert found.max_lift().value[0] == pytest.approx(10.6, abs=1e-4)
    fine = np.arange(0.0, 180.0, 1e-4)
    half = float(np.interp(-0.15, -lobe.value(fine), fine))
    assert 2.0 * found.events(0.15).duration.value[0] == pytest.approx(4.0 * half, abs=0.01)


@pytest.mark.parametrize("noise", [1e-3, 5e-3])
@pytest.mark.parametrize("rest", [126.0, 94.0])
def test_long_ramps_in_noise_are_covered(rest: float, noise: float) -> None:
    """What hides in the noise where a ramp begins stays inside the stated uncertainty of the lift."""
    lobe = _long(rest, 55.0, by_law("poly4567"))
    angle = turn(720)
    rng = np.random.default_rng(5)
    clean = lobe.value(angle - 100.3) + 0.03 * np.cos(np.radians(angle - 40.0))
    lift = answers(angle, *(clean + rng.normal(0.0, noise, (60, 720)))).max_lift()
    # 60 repeats know a coverage of 95 % to 3 %
    assert np.mean(np.abs(lift.value - 10.6) < 1.96 * lift.u) >= 0.85


def test_noise_that_may_hide_in_the_form_moves_no_base_circle(monkeypatch: pytest.MonkeyPatch) -> None:
    """It counts in u alone: were it counted in the arc's tolerance, waves on a resting run would pass for a circle."""
    lift = swept(0.1, 0.02, 30.0) + correlated(np.random.default_rng(2), (1, ANGLE.size), 0.8, 2e-3)[0]
    before = answers(ANGLE, lift)
    hides = smoothing.hidden_variance
    monkeypatch.setattr(smoothing, "hidden_variance", lambda *noise, **swept: 40.0 * hides(*noise, **swept))
    forget()
    after = answers(ANGLE, lift)
    forget()
    first, second = before.fitted.bases[0], after.fitted.bases[0]
    assert first is not None
    assert second is not None
    assert (second.first, second.last) == (first.first, first.last)
    assert second.abc.tolist() == first.abc.tolist()
    assert after.max_lift().u[0] > 1.5 * before.max_lift().u[0]


@pytest.mark.parametrize("datum", [0.0, 45.0, 90.0])
@pytest.mark.parametrize(("order", "high"), [(3, 0.12), (4, 0.12), (5, 0.12), (8, 0.04)])
def test_a_resting_run_that_is_no_circle_gives_no_eccentricity(order: int, high: float, datum: float) -> None:
    """Waves on a resting run pass for an eccentricity on any piece of it, and would move the nose by millimetres."""
    rest = np.abs(np.mod(ANGLE - LOBE.centre + 180.0, 360.0) - 180.0) > 84.0
    lift = swept(0.0, 0.0, 0.0, 1e-3) + high * rest * np.cos(np.radians(order * (ANGLE - 280.3) + 20.0))
    found = answers(ANGLE + datum, lift)
    base = found.fitted.bases[0]
    assert base is not None
    assert not base.circle
    assert not base.with_eccentricity
    assert base.form_mm == pytest.approx(2.0 * high, rel=0.1)
    assert found.max_lift().value[0] == pytest.approx(LIFT, abs=2.0 * high / np.sqrt(12.0))
    # a zero anywhere between the waves' highest and lowest place (JCGM 100:2008, 4.3.7)
    assert base.pull.tolist() == [[pytest.approx(base.form_mm / np.sqrt(12.0)), 0.0, 0.0], [0.0, 0.0, 0.0]]


def test_an_eccentricity_on_a_short_arc_is_seen() -> None:
    """Left in, 50 µm of it would pass for zero and for lift."""
    lobe = _long(80.0, 0.0, by_law("poly4567"))
    angle = turn(720)
    lift = lobe.value(angle - 100.3) + 0.05 * np.cos(np.radians(angle - 40.0))
    lift += np.random.default_rng(4).normal(0.0, 5e-4, 720)
    found = answers(angle, lift)
    base = found.fitted.bases[0]
    assert base is not None
    assert base.with_eccentricity
    top = found.max_lift()
    assert abs(top.value[0] - 10.6) < 3.0 * top.u[0] < 0.02


def test_a_small_drift_across_the_rest_is_still_a_circle() -> None:
    # ten micrometres, closing with a step in the middle of the rest, beside ramps of 0.2 mm
    away = np.abs(np.mod(ANGLE - 180.0 + 180.0, 360.0) - 180.0)
    flank, ramp = np.clip(1.0 - away / 60.0, 0.0, 1.0), np.clip(1.0 - (away - 60.0) / 20.0, 0.0, 1.0)

    def rise(x: Floats) -> Floats:
        return np.asarray(x**4 * (35.0 - 84.0 * x + 70.0 * x**2 - 20.0 * x**3))

    lift = 7.8 * rise(flank) + 0.2 * rise(ramp) + 0.01 * ANGLE / 360.0
    lift = lift + np.random.default_rng(1).normal(0.0, 5e-4, ANGLE.size)
    found = answers(ANGLE, lift)
    base = found.fitted.bases[0]
    assert base is not None
    assert base.circle
    assert found.max_lift().value[0] == pytest.approx(8.0, abs=0.006)


def dented(depth_mm: float, half_width_deg: float, at_deg: float) -> Floats:
    """Lifts of a law with its ramps on a shaft 0.03 mm out of centre, with a dent in its base circle."""
    beyond = np.minimum(np.abs(np.mod(ANGLE - at_deg + 180.0, 360.0) - 180.0) / half_width_deg, 1.0)
    return swept(0.0, 0.03, 40.0, 5e-4) - 0.5 * depth_mm * (1.0 + np.cos(np.pi * beyond))


def as_without_dent(fitted: FittedLobes) -> BaseCircle:
    """The base circle of `dented` lifts, whose eccentricity the dent leaves alone."""
    (base,) = fitted.bases
    assert base is not None
    assert base.eccentricity_mm == pytest.approx(0.03, abs=1e-3)
    return base


@pytest.mark.parametrize(("depth_mm", "half_width_deg", "at_deg"), [
    (0.01, 20.0, 280.0), (0.05, 10.0, 280.0), (0.05, 40.0, 280.0), (0.09, 20.0, 230.0), (-0.03, 15.0, 300.0),
])  # fmt: skip
def test_a_dent_in_the_base_circle_is_no_eccentricity(depth_mm: float, half_width_deg: float, at_deg: float) -> None:
    """The dent is told as form, and moves nothing else."""
    fitted = fit(ANGLE, dented(depth_mm, half_width_deg, at_deg))
    assert as_without_dent(fitted).form_mm == pytest.approx(abs(depth_mm), rel=0.15)
    assert float(fitted.at_knots[0].max()) == pytest.approx(LIFT, abs=1e-3)


@pytest.mark.parametrize(("depth_mm", "half_width_deg", "at_deg"), [
    (0.01, 30.0, 225.0), (0.03, 6.0, 210.0), (0.05, 20.0, 195.0), (0.05, 30.0, 335.0), (0.09, 30.0, 340.0),
    (-0.05, 30.0, 335.0), (-0.02, 20.0, 215.0),
])  # fmt: skip
def test_a_dent_at_a_ramp_is_no_eccentricity(depth_mm: float, half_width_deg: float, at_deg: float) -> None:
    """With nothing of the rest between the dent (or bump) and a ramp: those end at 182 and 378 cam deg."""
    fitted = fit(ANGLE, dented(depth_mm, half_width_deg, at_deg))
    base = as_without_dent(fitted)
    assert float(fitted.at_knots[0].max()) == pytest.approx(LIFT, abs=1e-3)
    if 182.0 + half_width_deg < at_deg < 378.0 - half_width_deg and half_width_deg > 10.0:
        assert base.form_mm == pytest.approx(abs(depth_mm), rel=0.2)


@pytest.mark.parametrize("at", [0.0, 60.0, 150.0, 290.0])
@pytest.mark.parametrize(("order", "size_mm"), [(2, 0.004), (2, 0.02), (3, 0.004), (3, 0.02), (5, 0.02), (9, 0.02)])
def test_waves_of_the_base_circle_are_no_dents(order: int, size_mm: float, at: float) -> None:
    """They cross any harmonic, and stay on none: every knot of the arc counts for the zero."""
    wave = size_mm * np.cos(np.radians(order * ANGLE - at))
    (base,) = fit(ANGLE, swept(0.0, 0.0, 0.0, 5e-4, order) + wave).bases
    assert base is not None
    assert np.count_nonzero(base.weights[0]) >= base.last - base.first
