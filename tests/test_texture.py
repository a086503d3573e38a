"""Surface texture: closed forms, published profiles, a second library, properties."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from outside_facts import dealt_surface
from scipy.stats import norm

from valvelab.camshaft.filters import gaussian_mean_line
from valvelab.camshaft.material_ratio import core_parameters, material_ratio_curve
from valvelab.camshaft.texture import (
    SETTING_CLASSES,
    TextureParameters,
    TraceSettings,
    amplitude,
    default_class,
    filter_trace,
    level,
    mean_element_width,
    parameters,
    sampling_uncertainty,
)
from valvelab.errors import CannotEvaluate

SPACING = 0.0005
X = np.arange(8000) * SPACING


def evaluated(z: np.ndarray, sections: int = 5) -> TextureParameters:
    bounds = tuple(round(k * z.size / sections) for k in range(sections + 1))
    return parameters(z, bounds, SPACING)


@pytest.fixture(scope="module")
def measured() -> np.ndarray:
    return dealt_surface()


def sine(amplitude_um: float, wavelength_mm: float) -> np.ndarray:
    return amplitude_um * np.sin(2.0 * np.pi * (X + 0.5 * SPACING) / wavelength_mm)


def triangle(amplitude_um: float, wavelength_mm: float) -> np.ndarray:
    phase = (X / wavelength_mm) % 1.0
    return amplitude_um * (4.0 * np.abs(phase - 0.5) - 1.0)


def test_sine_in_closed_form() -> None:
    # Ra 2A/π, Rq A/√2, Rsk 0, Rku 1.5, Rp = Rv = A, Rz = Rt = 2A, Rsm the wavelength
    found = evaluated(sine(1.5, 0.1))
    assert found.ra_um == pytest.approx(2.0 * 1.5 / np.pi, rel=1e-4)
    assert found.rq_um == pytest.approx(1.5 / np.sqrt(2.0), rel=1e-9)
    assert found.rsk == pytest.approx(0.0, abs=1e-9)
    assert found.rku == pytest.approx(1.5, rel=1e-9)
    assert (found.rp_um, found.rv_um) == pytest.approx((1.5, 1.5), rel=1e-3)
    assert (found.rz_um, found.rt_um) == pytest.approx((3.0, 3.0), rel=1e-3)
    assert found.rsm_um == pytest.approx(100.0, rel=1e-6)


def test_triangle_in_closed_form() -> None:
    # Ra A/2, Rq A/√3, Rku 1.8; its material ratio curve is straight: Rk 2A, Rpk = Rvk = 0, 0 and 100 %
    found = evaluated(triangle(3.0, 0.1))
    assert found.ra_um == pytest.approx(1.5, rel=1e-4)
    assert found.rq_um == pytest.approx(3.0 / np.sqrt(3.0), rel=1e-3)
    assert found.rku == pytest.approx(1.8, rel=1e-3)
    assert found.rk_um == pytest.approx(6.0, rel=1e-9)
    assert (found.rpk_um, found.rvk_um) == pytest.approx((0.0, 0.0), abs=1e-9)
    assert (found.rmrk1_pct, found.rmrk2_pct) == pytest.approx((0.0, 100.0), abs=1e-9)


def test_square_wave_in_closed_form() -> None:
    ra, rq, rsk, rku = amplitude(np.where(np.arange(8000) % 200 < 100, 2.0, -2.0))
    assert (ra, rq, rsk, rku) == pytest.approx((2.0, 2.0, 0.0, 1.0))


def test_core_of_normally_distributed_heights() -> None:
    # Flattest 40 % of Φ⁻¹ lies from 30 to 70 %; with q = Φ⁻¹(0.7) the least-squares slope there is
    # 12/0.4³ ∫ (p − ½) Φ⁻¹(p) dp = 12/0.4³ ((2 Φ(√2 q) − 1)/(2 √π) − 0.4 φ(q)), which is Rk: 2.5740 (by parts).
    # The core ends at ± half of it; the peak area above c is φ(c) − c (1 − Φ(c)).
    heights = norm.ppf((np.arange(200_000) + 0.5) / 200_000)
    core = core_parameters(np.random.default_rng(0).permutation(heights))
    assert core is not None
    q = norm.ppf(0.7)
    rk = 12.0 / 0.4**3 * ((2.0 * norm.cdf(np.sqrt(2.0) * q) - 1.0) / (2.0 * np.sqrt(np.pi)) - 0.4 * norm.pdf(q))
    half = 0.5 * rk
    area = norm.pdf(half) - half * norm.sf(half)
    assert rk == pytest.approx(2.5740, abs=1e-4)
    assert core.rk_um == pytest.approx(rk, rel=1e-5)
    assert (core.rmrk1_pct, 100.0 - core.rmrk2_pct) == pytest.approx((100.0 * norm.sf(half),) * 2, rel=1e-4)
    assert (core.rpk_um, core.rvk_um) == pytest.approx((2.0 * area / norm.sf(half),) * 2, rel=1e-3)


def test_core_of_a_cubic_bearing_curve() -> None:
    # height (½ − p)³ over the ratio p: flattest from 30 to 70 %, where the least-squares slope of t³ on ±0.2 is
    # 3/5 · 0.2² = 0.024 and the secant's 0.04. Rk 0.024; the core ends at ½ − p = ∛0.012; areas by integration.
    ratio = (np.arange(100_000) + 0.5) / 100_000
    core = core_parameters((0.5 - ratio) ** 3)
    assert core is not None
    end = 0.012 ** (1.0 / 3.0)
    area = (0.5**4 - end**4) / 4.0 - 0.012 * (0.5 - end)
    assert core.rk_um == pytest.approx(0.024, rel=1e-6)
    assert (core.rmrk1_pct, core.rmrk2_pct) == pytest.approx((100.0 * (0.5 - end), 100.0 * (0.5 + end)), abs=1e-3)
    assert (core.rpk_um, core.rvk_um) == pytest.approx((2.0 * area / (0.5 - end),) * 2, rel=1e-5)


def test_plateau_with_grooves() -> None:
    # 80 % plateau falling by 0.2 µm, 20 % grooves falling by 4 µm: the line lies on the plateau, so Rk is its slope
    # drawn out to the whole length, 0.25 µm
    ratio = (np.arange(10_000) + 0.5) / 10_000
    heights = np.where(ratio < 0.8, 0.25 * (0.8 - ratio), -20.0 * (ratio - 0.8))
    core = core_parameters(heights)
    assert core is not None
    assert core.rk_um == pytest.approx(0.25, rel=1e-6)
    assert core.rmrk1_pct == pytest.approx(0.0, abs=0.01)
    # the core ends at −0.05 µm: 80.25 %; below it a triangle 19.75 % wide and 3.95 µm deep
    assert core.rmrk2_pct == pytest.approx(80.25, abs=0.01)
    assert core.rvk_um == pytest.approx(3.95, rel=1e-3)


def test_figures_published_with_a_measured_profile(measured: np.ndarray) -> None:
    # published with the paper's repository, profile mean removed, no filter: Rz over 5 sections, Rt, and the heights at
    # 10, 50 and 90 % material from the highest peak. The extremes are the original's, the heights between them are
    # dealt from 42 points of its material ratio curve, which keeps the moments of heights to a per cent.
    found = evaluated(measured)
    assert found.rz_um == pytest.approx(2.6744426170156652, rel=1e-12)
    assert found.rt_um == pytest.approx(3.706617275460439, rel=1e-12)
    depths = np.interp([10.0, 50.0, 90.0], *material_ratio_curve(measured)) - measured.max()
    assert depths == pytest.approx([-0.4169167, -0.5442109, -1.3164566], abs=6e-4)
    # two implementations agreed on these, of the original heights, to 1e-14
    assert found.ra_um == pytest.approx(0.296806465274, rel=2e-4)
    assert found.rq_um == pytest.approx(0.437101981199, rel=2e-3)
    assert found.rsk == pytest.approx(-2.407942657299, rel=0.01)
    assert found.rku == pytest.approx(9.404034091406, rel=0.015)


def test_core_of_the_measured_profile_against_a_library(measured: np.ndarray) -> None:
    # one other implementation, which works on a histogram: a soft check
    found = evaluated(measured)
    assert found.rk_um == pytest.approx(0.29070, rel=1e-3)
    assert found.rpk_um == pytest.approx(0.11716, rel=0.015)
    assert found.rvk_um == pytest.approx(1.14578, rel=2e-3)
    assert (found.rmrk1_pct, found.rmrk2_pct) == pytest.approx((7.07, 73.34), abs=0.07)


@pytest.mark.filterwarnings("ignore")
def test_a_general_surface_library_agrees() -> None:
    # surfalize, a second opinion for development and tests only
    surfalize = pytest.importorskip("surfalize", reason="surfalize comes with the dev extra only")
    draw = np.random.default_rng(9)
    z = sine(0.8, 0.13) + 0.3 * draw.normal(size=X.size) ** 3
    z -= z.mean()
    other = surfalize.Profile(z, 1000.0 * SPACING, 1000.0 * SPACING * z.size)
    ours = evaluated(z)
    for name in ("Ra", "Rq", "Rz", "Rt", "Rp", "Rv", "Rsk", "Rku"):
        key = name.lower() if name in {"Rsk", "Rku"} else f"{name.lower()}_um"
        assert getattr(ours, key) == pytest.approx(getattr(other, name)(), rel=1e-12), name
    long_wave = surfalize.Profile(np.tile(z, 3), 1000.0 * SPACING, 3000.0 * SPACING * z.size)
    theirs = long_wave.filter("lowpass", 800.0).data
    mine = gaussian_mean_line(np.tile(z, 3), SPACING, 0.8)
    assert mine[8000:16000] == pytest.approx(theirs[8000:16000], abs=1e-3 * np.std(theirs))


def test_filtered_sine_keeps_what_the_filters_pass() -> None:
    # roughness of a sine of wavelength l: 2^(−(λs/l)²) − 2^(−(λc/l)²) of it (ISO 16610-21); waviness of λc itself: half
    x = np.arange(16000) * SPACING
    for wavelength in (0.8, 0.25, 0.02):
        z = 2.0 * np.sin(2.0 * np.pi * x / wavelength) + 5.0 + 0.3 * x
        rough = filter_trace(x, z, TraceSettings(0.8, 0.0025, 5))
        share = 2.0 ** -((0.0025 / wavelength) ** 2) * (1.0 - 2.0 ** -((0.8 / wavelength) ** 2))
        assert np.sqrt(2.0) * amplitude(rough.evaluated_um)[1] == pytest.approx(2.0 * share, rel=2e-3)
    assert (rough.start, rough.stop) == (4000, 12000)


def test_sections_are_means_and_the_evaluation_length_is_whole() -> None:
    # one scratch in one of five sections: a fifth of it shows in Rv, all of it in Rt
    z = sine(1.0, 0.1)
    z[3500] = -11.0
    found = evaluated(z)
    assert found.rv_um == pytest.approx(1.0 + 10.0 / 5.0, rel=1e-3)
    assert found.rt_um == pytest.approx(12.0, rel=1e-3)


def test_spacing_ignores_what_does_not_reach_a_tenth_of_rz() -> None:
    z = sine(1.0, 0.2) + 0.05 * np.sin(2.0 * np.pi * X / 0.004)
    assert mean_element_width(z, SPACING, 0.2) == pytest.approx(200.0, rel=2e-3)
    assert mean_element_width(sine(1.0, 8.0), SPACING, 0.2) is None
    assert mean_element_width(np.zeros(100), SPACING, 0.0) is None


@given(st.floats(0.1, 10.0), st.floats(-100.0, 100.0), st.floats(-5.0, 5.0), st.integers(0, 2**32 - 1))
@settings(max_examples=25)
def test_scale_offset_and_tilt(scale: float, offset: float, tilt: float, seed: int) -> None:
    z = np.convolve(np.random.default_rng(seed).normal(size=4099), np.hanning(100) / 10.0, mode="valid")
    x = np.arange(z.size) * 0.001
    steps = TraceSettings(0.8, 0.0025, 4)
    plain, moved = filter_trace(x, z, steps), filter_trace(x, scale * z + offset + tilt * x, steps)
    before, after = (parameters(part.roughness_um, part.bounds, part.spacing_mm) for part in (plain, moved))
    for name in ("ra_um", "rz_um", "rk_um", "rvk_um"):
        assert getattr(after, name) == pytest.approx(scale * getattr(before, name), rel=1e-6)
    assert (after.rsk, after.rku) == pytest.approx((before.rsk, before.rku), rel=1e-6, abs=1e-9)
    assert after.rsm_um == pytest.approx(before.rsm_um, rel=1e-6)


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=25)
def test_upside_down_swaps_peaks_and_valleys(seed: int) -> None:
    z = np.random.default_rng(seed).gamma(2.0, 1.0, size=2000)
    z -= z.mean()
    up, down = evaluated(z), evaluated(-z)
    assert (up.rp_um, up.rv_um, up.ra_um) == pytest.approx((down.rv_um, down.rp_um, down.ra_um))
    assert up.rsk == pytest.approx(-(down.rsk or 0.0))
    assert (up.rk_um, up.rpk_um, up.rvk_um) == pytest.approx((down.rk_um, down.rvk_um, down.rpk_um), rel=1e-6)
    assert up.rmrk1_pct == pytest.approx(100.0 - (down.rmrk2_pct or 0.0), abs=1e-6)
    ratio, height = material_ratio_curve(z)
    assert (np.diff(ratio) > 0.0).all()
    assert (np.diff(height) < 0.0).all()


@pytest.mark.parametrize(
    ("amplitude_um", "name"), [(0.02, "Sc1"), (0.1, "Sc2"), (1.0, "Sc3"), (10.0, "Sc4"), (60.0, "Sc5")]
)
def test_default_class_follows_the_roughness(amplitude_um: float, name: str) -> None:
    # Ra ranges of ISO 4288 (to 0.02, 0.1, 2, 10 µm; from memory), cutoffs of ISO 21920-3
    x = np.arange(40_000) * 0.001
    z = amplitude_um * np.sin(2.0 * np.pi * x / 0.02)
    assert default_class(x, z).name == name


def test_setting_classes() -> None:
    # ISO 21920-3: Sc1 … Sc5
    assert [row.cutoff_mm for row in SETTING_CLASSES] == [0.08, 0.25, 0.8, 2.5, 8.0]
    assert [1000.0 * row.short_cutoff_mm for row in SETTING_CLASSES] == [2.5, 2.5, 2.5, 8.0, 25.0]


def test_levelling_takes_out_a_line_and_nothing_else() -> None:
    z = sine(1.0, 0.1)
    assert level(X, z + 3.0 - 40.0 * X) == pytest.approx(level(X, z), abs=1e-9)
    assert level(X, 3.0 - 40.0 * X) == pytest.approx(0.0, abs=1e-9)


def test_refusals_and_flat_traces() -> None:
    with pytest.raises(CannotEvaluate, match=r"expected 5 × 0\.8 mm"):
        filter_trace(X[:7000], sine(1.0, 0.1)[:7000], TraceSettings(0.8, None, 5))
    # half a millimetre of a surface that wants the 0.8 mm cutoff: not filtered by a shorter one unasked
    with pytest.raises(CannotEvaluate, match=r"expected at least one cutoff of 0\.8 mm, which class Sc3"):
        default_class(X[:1000], sine(1.0, 0.05)[:1000])
    with pytest.raises(CannotEvaluate, match="too coarse for any setting class"):
        default_class(np.arange(50) * 2.0, np.zeros(50))
    flat = evaluated(np.zeros(1000))
    assert (flat.ra_um, flat.rz_um) == (0.0, 0.0)
    assert (flat.rsk, flat.rku, flat.rsm_um, flat.rk_um) == (None, None, None, None)


def test_sampling_uncertainty_agrees_with_monte_carlo() -> None:
    # Surfaces drawn from one process: the spread of each figure over many of them is what one surface's sections tell.
    draw = np.random.default_rng(31)
    bounds = tuple(range(0, 10_001, 1000))
    seen, told = [], []
    for _ in range(60):
        z = np.convolve(draw.normal(size=10_049), np.hanning(50) / 5.0, mode="valid")
        found = parameters(z, bounds, 0.001)
        stated = sampling_uncertainty(z, bounds, 0.001)
        names = ("ra_um", "rq_um", "rz_um", "rsm_um", "rku")
        seen.append([getattr(found, name) for name in names])
        told.append([stated[name] for name in names])
    ratio = np.sqrt(np.mean(np.square(np.asarray(told, dtype=np.float64)), axis=0)) / np.std(seen, axis=0, ddof=1)
    assert ratio == pytest.approx(1.0, abs=0.35)
    assert sampling_uncertainty(np.zeros(10), (0, 10), 0.001)["ra_um"] is None
