"""The spring room: least squares, interpolation, coil bind, stress, surge, nests. Sources beside each check."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from something import each
from spring_cases import SOLID, bench_force

from valvelab.errors import CannotEvaluate
from valvelab.records.wire_materials import read_wire_materials
from valvelab.springs.coil_bind import find_knee
from valvelab.springs.nest import Element, nest_force, nest_force_uncertainty, nest_rate, nest_solid_height
from valvelab.springs.rate import (
    LinearModel,
    fit_rate,
    least_squares,
    polynomial,
    rate_curve,
    reading_noise,
)
from valvelab.springs.spring import (
    ForceCurve,
    ReadingUncertainty,
    force_at,
    force_curve,
    force_uncertainty,
    hysteresis,
    monotone_cubic,
)
from valvelab.springs.stress import (
    active_mass,
    curvature_factor,
    fatigue_margin,
    rate_of_coil,
    shear_stress,
    static_margin,
    surge_from_coil,
    surge_from_mass,
    tensile_strength,
)

PSI = 4.4482216152605 / 25.4**2  # MPa
LBF_PER_IN = 4.4482216152605 / 25.4  # N/mm

# NIST StRD, Norris: x and y of 36 readings of ozone (linear regression, lower difficulty).
NORRIS = """0.1 0.2
338.8 337.4
118.1 118.2
888.0 884.6
9.2 10.1
228.1 226.5
668.5 666.3
998.5 996.3
449.1 448.6
778.9 777.0
559.2 558.2
0.3 0.4
0.1 0.6
778.1 775.5
668.8 666.9
339.3 338.0
448.9 447.5
10.8 11.6
557.7 556.0
228.3 228.1
998.0 995.8
888.8 887.6
119.6 120.2
0.3 0.3
0.6 0.3
557.6 556.8
339.3 339.1
888.0 887.2
998.5 999.0
778.9 779.0
10.2 11.1
117.6 118.3
228.9 229.2
668.4 669.1
449.2 448.9
0.2 0.5"""

# NIST StRD, Pontius: load cell calibration, 20 loads read twice; deflection of each run.
PONTIUS_FIRST = """.11019 .21956 .32949 .43899 .54803 .65694 .76562 .87487 .98292 1.09146
1.20001 1.30822 1.41599 1.52399 1.63194 1.73947 1.84646 1.95392 2.06128 2.16844"""
PONTIUS_SECOND = """.11052 .22018 .32939 .43886 .54798 .65739 .76596 .87474 .98300 1.09150
1.20004 1.30818 1.41613 1.52408 1.63159 1.73965 1.84696 1.95445 2.06177 2.16829"""


def agrees(found: float, certified: float, digits: float) -> bool:
    return -math.log10(abs(found - certified) / abs(certified) + 1e-16) >= digits


def standard_uncertainties(fit: LinearModel) -> np.ndarray:
    """Of each coefficient, from the scatter about the fit."""
    assert fit.residual_sd is not None
    return fit.residual_sd * np.sqrt(np.diag(fit.covariance_per_variance))


def test_norris_is_reproduced() -> None:
    y, x = np.array([[float(c) for c in line.split()] for line in NORRIS.splitlines()]).T
    fit = polynomial(x, y, 1)
    sds = standard_uncertainties(fit)
    assert fit.residual_sd is not None
    assert agrees(fit.coefficients[0], -0.262323073774029, 12)
    assert agrees(fit.coefficients[1], 1.00211681802045, 13)
    assert agrees(sds[0], 0.232818234301152, 12)
    assert agrees(sds[1], 0.429796848199937e-03, 12)
    assert agrees(fit.residual_sd, 0.884796396144373, 12)


def test_the_rate_line_through_norris_has_the_certified_slope() -> None:
    x, y = np.array([[float(c) for c in line.split()] for line in NORRIS.splitlines()]).T
    # the certified model is y over x; the file lists y first
    fit = fit_rate(y, x)
    assert agrees(fit.slope_n_per_mm, 1.00211681802045, 12)
    assert agrees(fit.intercept_n, -0.262323073774029, 10)
    assert fit.residual_sd_n is not None
    assert agrees(fit.residual_sd_n, 0.884796396144373, 12)
    assert fit.rate_uncertainty_n_per_mm is not None
    assert agrees(fit.rate_uncertainty_n_per_mm, 0.429796848199937e-03, 12)


def test_pontius_is_reproduced_as_force_against_deflection() -> None:
    deflection = np.array([float(v) for v in (PONTIUS_FIRST + " " + PONTIUS_SECOND).split()])
    load = np.tile(np.arange(150000.0, 3000001.0, 150000.0), 2)
    fit = polynomial(load, deflection, 2)
    sds = standard_uncertainties(fit)
    assert fit.residual_sd is not None
    assert agrees(fit.coefficients[0], 0.673565789473684e-03, 9)
    assert agrees(fit.coefficients[1], 0.732059160401003e-06, 12)
    assert agrees(fit.coefficients[2], -0.316081871345029e-14, 10)
    assert agrees(sds[0], 0.107938612033077e-03, 10)
    assert agrees(sds[1], 0.157817399981659e-09, 10)
    assert agrees(sds[2], 0.486652849992036e-16, 10)
    assert agrees(fit.residual_sd, 0.205177424076185e-03, 10)


@pytest.mark.parametrize(
    ("x", "y", "slope", "sd", "residual"),
    [
        (range(60, 71), range(130, 141), 2.07438016528926, 0.165289256198347e-01, 3.56753034006338),
        ((4, 5, 6), (3, 4, 4), 0.727272727272727, 0.420827318078432e-01, 0.369274472937998),
    ],
)
def test_the_sets_without_intercept_are_reproduced(
    x: range, y: range, slope: float, sd: float, residual: float
) -> None:
    # NIST StRD, NoInt1 and NoInt2
    fit = least_squares(np.array(x, dtype=float)[:, None], np.array(y, dtype=float))
    assert fit.residual_sd is not None
    assert agrees(fit.coefficients[0], slope, 13)
    assert agrees(standard_uncertainties(fit)[0], sd, 13)
    assert agrees(fit.residual_sd, residual, 13)


def test_the_rates_uncertainty_is_what_repeated_tests_show() -> None:
    # JCGM 101: Monte Carlo against the law of propagation
    generator = np.random.default_rng(3)
    heights = np.array([40.0, 38.0, 36.0, 33.0, 31.0, 30.0])
    truth = bench_force(heights)
    runs = [fit_rate(heights, truth + generator.normal(0, 0.8, heights.size), 0.8) for _ in range(3000)]
    spread = np.std([run.rate_n_per_mm for run in runs], ddof=1)
    stated = fit_rate(heights, truth, 0.8).rate_uncertainty_n_per_mm
    assert stated == pytest.approx(spread, rel=0.05)
    seen = np.mean([(run.residual_sd_n or 0.0) ** 2 for run in runs]) ** 0.5
    assert seen == pytest.approx(0.8, rel=0.03)


def test_the_force_uncertainty_agrees_with_monte_carlo() -> None:
    generator = np.random.default_rng(4)
    heights = np.sort(np.array([41.0, 39.5, 38.2, 36.0, 34.1, 32.0, 30.4, 29.0]))
    truth = 20.0 * (46.0 - heights) + 0.35 * (46.0 - heights) ** 2
    stated = ReadingUncertainty(1.2, 0.03)
    sd_force, noise = 1.2, 0.7
    found = []
    for _ in range(4000):
        common, shift = generator.normal(0, sd_force), generator.normal(0, 0.03)
        force = truth + generator.normal(0, noise, heights.size) + common
        found.append(monotone_cubic(heights, force, 37.0 + shift))
    curve = ForceCurve(heights, truth, noise)
    assert force_uncertainty(curve, 37.0, stated) == pytest.approx(np.std(found, ddof=1), rel=0.05)


def test_interpolation_is_exact_on_a_line_and_close_on_a_curve() -> None:
    heights = np.array([28.0, 30.0, 33.0, 36.0, 40.0])
    line = force_curve(heights, 25.0 * (45.0 - heights))
    assert force_at(line, 34.7) == pytest.approx(25.0 * (45.0 - 34.7), abs=1e-9)
    dense = np.linspace(28.0, 40.0, 25)
    bent = force_curve(dense, 20.0 * (46 - dense) + 0.5 * (46 - dense) ** 2)
    assert force_at(bent, 33.3) == pytest.approx(20.0 * 12.7 + 0.5 * 12.7**2, abs=2e-3)
    with pytest.raises(CannotEvaluate, match="outside the readings"):
        force_at(line, 41.0)


@given(st.lists(st.floats(0.5, 80.0), min_size=3, max_size=12), st.floats(0.0, 1.0))
def test_interpolation_never_overshoots(steps: list[float], place: float) -> None:
    heights = 60.0 - np.arange(len(steps) + 1.0)[::-1]
    forces = np.concatenate([np.cumsum(steps[::-1])[::-1], [0.0]]) + 5.0
    at = heights[0] + place * (heights[-1] - heights[0])
    i = min(int(np.searchsorted(heights, at, side="right")) - 1, heights.size - 2)
    value = monotone_cubic(heights, forces, at)
    assert forces[i + 1] - 1e-9 <= value <= forces[i] + 1e-9


def test_the_order_of_readings_does_not_matter_and_repeats_are_averaged() -> None:
    heights = np.array([40.0, 30.0, 35.0, 35.0])
    curve = force_curve(heights, np.array([100.0, 400.0, 249.0, 251.0]))
    assert curve.height_mm.tolist() == [30.0, 35.0, 40.0]
    assert curve.force_n.tolist() == [400.0, 250.0, 100.0]
    assert curve.repeat_sd_n == pytest.approx(math.sqrt(2.0))


def test_a_force_that_falls_under_compression_is_refused() -> None:
    with pytest.raises(CannotEvaluate, match="falls from 300 N at 36 mm to 250 N at 32 mm"):
        force_curve(np.array([40.0, 36.0, 32.0, 28.0]), np.array([100.0, 300.0, 250.0, 500.0]))
    # a fall as small as noise is kept
    assert force_curve(np.array([40.0, 30.0, 29.95]), np.array([100.0, 400.0, 398.0])).force_n[0] == 398.0


@given(st.floats(25.6, 27.4), st.floats(15.0, 60.0), st.floats(12.0, 90.0))
def test_the_knee_is_found_where_the_coils_close(solid: float, rate: float, stiffening: float) -> None:
    heights = np.array([40, 38, 36, 34, 32, 30, 29, 28, 27.6, solid - 0.2, solid - 0.4, solid - 0.6])
    force = bench_force(heights, rate=rate, solid=solid, closed=rate * stiffening)
    knee = find_knee(force_curve(heights, force))
    assert knee is not None
    assert knee.solid_height_mm == pytest.approx(solid, abs=1e-6)
    assert knee.force_n == pytest.approx(rate * (46.0 - solid), rel=1e-6)


def test_the_knee_holds_under_noise() -> None:
    generator = np.random.default_rng(8)
    heights = np.array([40, 38, 36, 34, 32, 30, 28.5, 27.4, 26.8, 26.5, 26.3, 26.15])
    for _ in range(300):
        force = bench_force(heights) + generator.normal(0, 1.5, heights.size)
        knee = find_knee(force_curve(heights, force))
        assert knee is not None
        assert knee.solid_height_mm == pytest.approx(SOLID, abs=0.03)


def test_heights_set_by_hand_are_in_the_uncertainty_of_the_solid_height() -> None:
    """Past the knee each hundredth of a millimetre is many newtons: two readings there say nothing of their scatter."""
    generator = np.random.default_rng(3)
    heights = np.array([40, 38, 36, 34, 32, 30, 28.5, 27.4, 26.8, 26.5, 26.3, 26.15])
    inside = 0
    for _ in range(300):
        force = bench_force(heights + generator.normal(0, 0.01, heights.size))
        knee = find_knee(force_curve(heights, force), 0.01)
        assert knee is not None
        inside += abs(knee.solid_height_mm - SOLID) < 2.0 * knee.standard_uncertainty_mm
        assert knee.standard_uncertainty_mm < 0.04
    assert 0.9 < inside / 300 < 1.0


def test_what_is_stated_of_heights_and_does_not_scatter_is_common_to_all() -> None:
    heights = np.array([40, 38, 36, 34, 32, 30, 28.5, 27.4, 26.8, 26.5, 26.3, 26.15])
    force = bench_force(heights)
    silent, stated = (find_knee(force_curve(heights, force), sd) for sd in (None, 0.05))
    assert silent is not None
    assert stated is not None
    assert stated.standard_uncertainty_mm == pytest.approx(silent.standard_uncertainty_mm, abs=1e-4)


def test_one_reading_past_the_knee_gives_a_bracket() -> None:
    heights = np.array([40.0, 36.0, 32.0, 28.0, 26.0])
    knee = find_knee(force_curve(heights, bench_force(heights)))
    assert knee is not None
    u = knee.standard_uncertainty_mm
    assert abs(knee.solid_height_mm - SOLID) <= math.sqrt(3.0) * u + 1e-9
    assert knee.first_past == 0


def test_no_knee_where_the_test_stopped_early_or_the_spring_is_progressive() -> None:
    generator = np.random.default_rng(9)
    heights = np.linspace(40.0, 27.0, 14)
    for _ in range(300):
        straight = bench_force(heights) + generator.normal(0, 1.5, heights.size)
        assert find_knee(force_curve(heights, straight)) is None
        progressive = 20 * (46 - heights) + 0.9 * (46 - heights) ** 2 + generator.normal(0, 1.5, heights.size)
        assert find_knee(force_curve(heights, progressive)) is None
    dual = np.where(heights > 33, 20 * (46 - heights), 20 * 13 + 40 * (33 - heights))
    assert find_knee(force_curve(heights, dual)) is None


def test_scatter_is_seen_about_a_line_at_least() -> None:
    """Four readings without slope: 1 N² about the line leaves two degrees of freedom, about their mean three."""
    assert reading_noise(np.arange(4.0), np.array([0.0, 1.0, 1.0, 0.0])) == pytest.approx(math.sqrt(0.5))


def test_the_rate_curve_is_that_of_five_neighbours() -> None:
    heights = np.arange(40.0, 32.0, -1.0)
    middles, rates = rate_curve(heights, 30.0 * (46.0 - heights))
    assert list(middles) == pytest.approx([35.0, 36.0, 37.0, 38.0])
    assert list(rates) == pytest.approx([30.0] * 4)


def test_the_rate_curve_follows_a_progressive_spring() -> None:
    heights = np.linspace(28.0, 42.0, 29)
    middles, rates = rate_curve(heights, 20.0 * (46 - heights) + 0.5 * (46 - heights) ** 2)
    assert rates == pytest.approx(20.0 + (46.0 - middles), rel=1e-9)


def test_noise_is_seen_through_a_bent_curve() -> None:
    generator = np.random.default_rng(2)
    heights = np.linspace(28.0, 42.0, 60)
    force = 20.0 * (46 - heights) + 0.5 * (46 - heights) ** 2 + generator.normal(0, 0.8, 60)
    assert reading_noise(heights, force) == pytest.approx(0.8, rel=0.25)


def test_hysteresis_is_the_mean_difference_at_equal_heights() -> None:
    down = force_curve(np.array([40.0, 35.0, 30.0]), np.array([100.0, 250.0, 400.0]))
    back = force_curve(np.array([40.0, 35.0, 30.0]), np.array([97.0, 242.0, 399.0]))
    assert hysteresis(down, back) == pytest.approx((3.0 + 8.0 + 1.0) / 3.0)
    uneven = force_curve(np.array([39.0, 33.0, 31.0]), bench_force(np.array([39.0, 33.0, 31.0])) - 4.0)
    straight = force_curve(np.array([40.0, 36.0, 32.0]), bench_force(np.array([40.0, 36.0, 32.0])))
    assert hysteresis(straight, uneven) == pytest.approx(4.0)


# -- stress, surge, wire -------------------------------------------------------------------------------------------


def test_the_textbook_spring_of_music_wire() -> None:
    # Budynas and Nisbett, Shigley's Mechanical Engineering Design, 10th ed., example 10-1: d 0.037 in, D 0.400 in,
    # Na 10.5, G 11.85 Mpsi; printed k 4.13 lbf/in; F 6.46 lbf at 146 kpsi
    d, D = 0.037 * 25.4, 0.400 * 25.4
    assert rate_of_coil(d, D, 10.5, 11.85e6 * PSI) / LBF_PER_IN == pytest.approx(4.1311, rel=1e-4)
    assert D / d == pytest.approx(10.811, abs=1e-3)
    uncorrected = shear_stress(6.4530 * 4.4482216152605, d, D, None) / PSI
    assert uncorrected * 1.12424 == pytest.approx(145.89e3, rel=1e-3)


def test_the_spring_makers_example_with_wahls_factor() -> None:
    # spring maker's handbook: d 0.250, D 1.69, 13 active, G 11.5 Mpsi, 4 in: 89 lbf/in, K 1.221, 119 695 psi at 356 lb
    d, D = 6.35, 1.69 * 25.4
    assert rate_of_coil(d, D, 13, 11.5e6 * PSI) / LBF_PER_IN == pytest.approx(89.488, abs=0.001)
    assert curvature_factor(D / d, "Wahl") == pytest.approx(1.221185, abs=1e-6)
    # 119 740 unrounded; the handbook carries rounded factors
    assert shear_stress(356.0 * 4.4482216152605, d, D, "Wahl") / PSI == pytest.approx(119_740, rel=1e-5)


def test_the_metric_textbook_example() -> None:
    # Bhandari, Design of Machine Elements, ex. 10.1: C 6, K 1.2525; d 7, D 42, 8 coils, G 81 370, 1250 N: 30.3376 mm
    assert curvature_factor(6.0, "Wahl") == pytest.approx(1.2525)
    assert 1250.0 / rate_of_coil(7.0, 42.0, 8.0, 81_370.0) == pytest.approx(30.337611, abs=1e-5)
    d = math.sqrt(1.2525 * 8 * 1250 * 6 / (math.pi * 0.5 * 1090))
    assert shear_stress(1250.0, d, 6 * d, "Wahl") == pytest.approx(545.0)
    assert d == pytest.approx(6.625083, abs=1e-6)


def test_the_standards_factor() -> None:
    # EN 13906-1: k = (w + 0.5)/(w − 0.75)
    assert curvature_factor(6.0) == pytest.approx(6.5 / 5.25)
    with pytest.raises(CannotEvaluate, match=r"above 1\.25"):
        curvature_factor(1.2)


def test_surge_both_ways() -> None:
    # chrome-silicon d 4, D 26, 5 active coils, G 77.2 GPa, ρ 7850: 28.11106 N/mm, 40.2877 g, 417.6594 Hz
    rate = rate_of_coil(4.0, 26.0, 5.0, 77_200.0)
    mass = active_mass(4.0, 26.0, 5.0)
    assert rate == pytest.approx(28.11106, abs=1e-5)
    assert mass == pytest.approx(0.0402877, abs=1e-7)
    assert surge_from_mass(rate, mass) == pytest.approx(417.6594, abs=1e-4)
    assert surge_from_coil(4.0, 26.0, 5.0, 77_200.0) == pytest.approx(surge_from_mass(rate, mass), rel=1e-12)


@pytest.mark.parametrize(
    ("name", "strength"),
    [("music wire", 1808.4), ("A229", 1431.4), ("Chrome Vanadium", 1588.4), ("chrome-silicon", 1699.5)],
)
def test_tensile_strength_of_4_mm_wire(name: str, strength: float) -> None:
    # Shigley's, 10th ed., table 10-4: A / d^m
    from valvelab.springs.stress import material_key

    assert tensile_strength(read_wire_materials()[material_key(name)], 4.0) == pytest.approx(strength, abs=0.06)


def test_every_wire_names_its_source() -> None:
    assert all(len(material.source) > 20 for material in read_wire_materials().values())


def test_margins() -> None:
    # EN 13906-1: permissible 0.56 of tensile strength; Goodman through the infinite-life point at that very point is 1
    assert static_margin(560.0, 2000.0) == pytest.approx(2.0)
    assert fatigue_margin(379.0 - 241.0, 379.0 + 241.0, 1700.0) == pytest.approx(1.0)
    assert fatigue_margin(300.0, 500.0, 1700.0, "peened") > fatigue_margin(300.0, 500.0, 1700.0)


# -- nests ---------------------------------------------------------------------------------------------------------


def nest() -> list[Element]:
    outer = np.array([46.0, 42.0, 38.0, 34.0, 30.0, 28.0])
    inner = np.array([44.0, 40.0, 36.0, 32.0, 28.0, 26.0])
    return [
        Element("outer", force_curve(outer, 32.0 * (52.0 - outer)), 0.0, 26.0, 0.02),
        Element("inner", force_curve(inner, 14.0 * (49.0 - inner)), -2.0, 25.0, 0.03),
    ]


def test_elements_add_at_the_same_valve_position() -> None:
    # plain mechanics: at 40 mm of the valve the inner spring, whose seat is 2 mm higher, stands at 38 mm
    assert nest_force(nest(), 40.0) == pytest.approx(32.0 * 12.0 + 14.0 * 11.0)
    fit = nest_rate(nest(), 31.0, 42.0, ReadingUncertainty())
    assert fit.rate_n_per_mm == pytest.approx(46.0)
    assert fit.intercept_n == pytest.approx(32.0 * 52.0 + 14.0 * 51.0)


def test_the_nest_closes_with_its_first_spring() -> None:
    assert nest_solid_height(nest()) == (27.0, 0.03)  # inner: 25 mm of its own is 27 mm of the valve
    outer, inner = nest()
    unknown = Element("outer", outer.curve)
    assert nest_solid_height([unknown, inner]) is None  # read to 28 mm only: it might close before 27 mm
    short = Element("inner", inner.curve, -2.0, 27.5)
    assert nest_solid_height([unknown, short]) == (29.5, None)


def test_what_the_tester_is_unsure_of_adds_up_over_the_elements() -> None:
    u = nest_force_uncertainty(nest(), 40.0, ReadingUncertainty(1.0, None))
    assert u == pytest.approx(2.0, rel=1e-6)
    through_height = nest_force_uncertainty(nest(), 40.0, ReadingUncertainty(None, 0.1))
    assert through_height == pytest.approx(4.6, rel=1e-3)


@pytest.mark.parametrize(("heights", "bends"), [(3, 1), (4, 1), (5, 1), (6, 2), (7, 3), (12, 3)])
def test_noise_is_the_least_scatter_about_what_may_bend(heights: int, bends: int) -> None:
    """NumPy's polyfit: residuals over what is spare; a parabola from six heights on, a cubic from seven."""
    random = np.random.default_rng(heights)
    height = np.linspace(28.0, 40.0, heights)
    force = 900.0 - 20.0 * height + 0.4 * (height - 34.0) ** 3 + random.normal(0.0, 0.5, heights)
    scatter = []
    for degree in each(range(1, bends + 1)):
        rest = force - np.polynomial.Polynomial.fit(height, force, degree)(height)
        scatter.append(float(np.sqrt(rest @ rest / (heights - degree - 1))))
    assert reading_noise(height, force) == pytest.approx(min(scatter), rel=1e-9)


def test_columns_that_depend_on_each_other_are_refused() -> None:
    one = np.linspace(1.0, 2.0, 5)
    with pytest.raises(CannotEvaluate, match="don't determine the fit"):
        least_squares(np.column_stack([one, one**2, 3.0 * one]), one)
