"""Gauge studies and the analysis of variance behind them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from valvelab.conformity.analysis_of_variance import crossed, one_way
from valvelab.conformity.gauge_study import (
    Components,
    anova_study,
    components_from,
    form_constant,
    range_constants,
    range_study,
    study_uncertainty,
)
from valvelab.errors import CannotEvaluate

#: the widely reproduced study of 10 parts × 3 appraisers × 3 trials; the sums of squares below are published with it
STUDY = np.asarray([
    [[0.29, 0.41, 0.64], [0.08, 0.25, 0.07], [0.04, -0.11, -0.15]],
    [[-0.56, -0.68, -0.58], [-0.47, -1.22, -0.68], [-1.38, -1.13, -0.96]],
    [[1.34, 1.17, 1.27], [1.19, 0.94, 1.34], [0.88, 1.09, 0.67]],
    [[0.47, 0.50, 0.64], [0.01, 1.03, 0.20], [0.14, 0.20, 0.11]],
    [[-0.80, -0.92, -0.84], [-0.56, -1.20, -1.28], [-1.46, -1.07, -1.45]],
    [[0.02, -0.11, -0.21], [-0.20, 0.22, 0.06], [-0.29, -0.67, -0.49]],
    [[0.59, 0.75, 0.66], [0.47, 0.55, 0.83], [0.02, 0.01, 0.21]],
    [[-0.31, -0.20, -0.17], [-0.63, 0.08, -0.34], [-0.46, -0.56, -0.49]],
    [[2.26, 1.99, 2.01], [1.80, 2.12, 2.19], [1.77, 1.45, 1.87]],
    [[-1.36, -1.25, -1.31], [-1.68, -1.62, -1.50], [-1.49, -1.77, -2.16]],
])  # fmt: skip

#: NIST StRD analysis of variance, SiRstv: silicon resistivity by five instruments, five readings each (data from
#: memory; the certified sums of squares below confirm them)
SIRSTV = np.asarray([
    [196.3052, 196.1240, 196.1890, 196.2569, 196.3403],
    [196.3042, 196.3825, 196.1669, 196.3257, 196.0422],
    [196.1303, 196.2005, 196.2889, 196.0343, 196.1811],
    [196.2795, 196.1748, 196.1494, 196.1485, 195.9885],
    [196.2119, 196.1051, 196.1850, 196.0052, 196.2090],
])  # fmt: skip


def test_published_study_by_analysis_of_variance() -> None:
    part, appraiser, interaction, repeat = crossed(STUDY)
    squares = [row.sum_of_squares for row in (part, appraiser, interaction, repeat)]
    assert squares == pytest.approx([88.3619, 3.1673, 0.3590, 2.7589], abs=5e-5)
    assert sum(squares) == pytest.approx(94.6471, abs=5e-5)
    assert (interaction.f_ratio, interaction.p_value) == pytest.approx((0.434, 0.974), abs=5e-4)
    assert (part.f_ratio, appraiser.f_ratio) == pytest.approx((492.291, 79.406), abs=1e-3)
    study = anova_study(STUDY)
    found = study.components
    assert study.interaction_pooled is True
    assert study.rows[-1].freedom == 78
    assert study.rows[-1].mean_square == pytest.approx(0.03997, abs=5e-6)
    assert found.repeatability == pytest.approx(0.199933, abs=1e-6)
    assert found.reproducibility == pytest.approx(0.226838, abs=1e-6)
    assert found.interaction is None
    assert found.grr == pytest.approx(0.302373, abs=2e-6)
    assert found.part == pytest.approx(1.042327, abs=1e-6)
    assert found.total == pytest.approx(1.085, abs=5e-4)
    assert found.grr_percent == pytest.approx(27.86, abs=5e-3)
    assert found.ndc == 4
    assert np.sqrt(repeat.mean_square) == pytest.approx(0.214435, abs=1e-6)


def test_published_study_by_ranges() -> None:
    found = range_study(STUDY)
    assert found.repeatability == pytest.approx(0.201857, abs=1e-6)
    assert found.reproducibility == pytest.approx(0.229667, abs=1e-6)
    assert found.grr == pytest.approx(0.305766, abs=1e-6)
    assert found.part == pytest.approx(1.104596, abs=1e-6)
    assert found.total == pytest.approx(1.146135, abs=1e-6)
    assert found.grr_percent == pytest.approx(26.68, abs=5e-3)
    assert found.ndc == 5


def test_constants_of_the_range() -> None:
    # tables of d2 and d3: ASTM E2587 / usual control-chart tables, n 2, 3, 5, 10
    for size, d2, d3 in ((2, 1.128, 0.853), (3, 1.693, 0.888), (5, 2.326, 0.864), (10, 3.078, 0.797)):
        assert range_constants(size) == pytest.approx((d2, d3), abs=6e-4)
    # two normals: E|x − y| = 2/√π, E(x − y)² = 2
    mean, deviation = range_constants(2)
    assert mean == pytest.approx(2.0 / np.sqrt(np.pi), abs=1e-6)
    assert mean**2 + deviation**2 == pytest.approx(2.0, abs=1e-5)
    # constants of the usual form: K1 2 and 3 trials, K2 2 and 3 appraisers, K3 2 to 10 parts
    assert [form_constant(n, single_range=False) for n in (2, 3)] == [0.8862, 0.5908]
    assert [form_constant(n, single_range=True) for n in range(2, 11)] == [
        0.7071,
        0.5231,
        0.4467,
        0.4030,
        0.3742,
        0.3534,
        0.3375,
        0.3249,
        0.3146,
    ]


def test_one_way_against_certified_values() -> None:
    between, within = one_way(SIRSTV)
    # NIST StRD SiRstv, certified
    assert between.sum_of_squares == pytest.approx(5.11462616000000e-02, rel=1e-11)
    assert within.sum_of_squares == pytest.approx(2.16636560000000e-01, rel=1e-11)
    assert between.f_ratio == pytest.approx(1.18046237440255, rel=1e-11)
    assert np.sqrt(within.mean_square) == pytest.approx(1.04076068334656e-01, rel=1e-11)
    # NIST StRD AtmWtAg, certified (between 3.63834187500000E-09, within 1.04951729166667E-08, F 1.59467335677930E+01)
    first = "568 465 572 785 446 903 526 494 616 587 519 486 419 569 508 672 385 518 662 424 360 333 610 477"
    second = "079 344 513 197 604 385 642 365 151 082 517 448 198 482 334 609 101 512 469 360 254 261 450 368"
    silver = 107.868 + 1e-7 * np.asarray(
        [[1000 + int(word) for word in first.split()], [1000 + int(word) for word in second.split()]]
    )
    between, within = one_way(silver)
    assert between.sum_of_squares == pytest.approx(3.63834187500000e-09, rel=1e-6)
    assert within.sum_of_squares == pytest.approx(1.04951729166667e-08, rel=1e-6)
    assert between.f_ratio == pytest.approx(15.9467335677930, rel=1e-6)


@pytest.mark.parametrize(("offset", "digits"), [(1.0, 1e-12), (1e6, 1e-8)])
def test_one_way_with_a_large_common_offset(offset: float, digits: float) -> None:
    # NIST StRD SmLs01 and SmLs04: nine treatments of 21; between 1.68, within 1.80, F 21, whatever the offset
    middles = [0.4, 0.3, 0.5, 0.3, 0.5, 0.3, 0.5, 0.3, 0.5]
    data = np.asarray([[offset + m] + [offset + m - 0.1, offset + m + 0.1] * 10 for m in middles])
    between, within = one_way(data)
    assert between.sum_of_squares == pytest.approx(1.68, rel=digits)
    assert within.sum_of_squares == pytest.approx(1.80, rel=digits)
    assert between.f_ratio == pytest.approx(21.0, rel=digits)


@given(st.integers(0, 2**32 - 1), st.floats(0.1, 50.0), st.floats(-1e3, 1e3))
@settings(max_examples=40)
def test_scale_offset_and_order_do_not_matter(seed: int, scale: float, offset: float) -> None:
    draw = np.random.default_rng(seed)
    y = draw.normal(size=(6, 1, 1)) + 0.3 * draw.normal(size=(1, 3, 1)) + 0.2 * draw.normal(size=(6, 3, 2))
    for method in (range_study, lambda readings: anova_study(readings).components):
        plain, moved = method(y), method(scale * y[::-1, ::-1, ::-1] + offset)
        assert moved.grr == pytest.approx(scale * plain.grr, rel=1e-6, abs=1e-9)
        assert moved.part == pytest.approx(scale * plain.part, rel=1e-6, abs=1e-9)
        assert moved.total**2 == pytest.approx(moved.grr**2 + moved.part**2)


def test_components_are_recovered() -> None:
    # a large study with known components, interaction among them
    draw = np.random.default_rng(2)
    y = (
        draw.normal(0.0, 2.0, (300, 1, 1))
        + draw.normal(0.0, 0.5, (1, 60, 1))
        + draw.normal(0.0, 0.4, (300, 60, 1))
        + draw.normal(0.0, 0.3, (300, 60, 2))
    )
    study = anova_study(y)
    assert study.interaction_pooled is False
    assert study.components.repeatability == pytest.approx(0.3, rel=0.02)
    assert study.components.interaction == pytest.approx(0.4, rel=0.02)
    assert study.components.reproducibility == pytest.approx(0.5, rel=0.25)
    assert study.components.part == pytest.approx(2.0, rel=0.1)


def test_single_appraiser_and_refusals() -> None:
    study = anova_study(STUDY[:, :1, :])
    assert study.components.reproducibility is None
    assert study.interaction_pooled is None
    assert study.components.repeatability == pytest.approx(np.sqrt(STUDY[:, 0, :].var(axis=1, ddof=1).mean()))
    assert range_study(STUDY[:, :1, :]).reproducibility is None
    for readings in (STUDY[:, :, :1], STUDY[:1]):
        with pytest.raises(CannotEvaluate, match="at least 2 parts and 2 trials"):
            anova_study(readings)
    with pytest.raises(CannotEvaluate, match="not finite"):
        anova_study(np.full((2, 2, 2), np.nan))


def test_nothing_varies() -> None:
    study = anova_study(np.ones((3, 2, 2)))
    assert study.components.total == 0.0
    assert (study.components.grr_percent, study.components.ndc) == (None, None)
    assert Components(0.5, None, None, 0.1).ndc == 1
    assert Components(0.01, 0.0, None, 1.0).grr_percent_of_tolerance(0.6) == pytest.approx(10.0)


def test_uncertainty_by_propagation_agrees_with_monte_carlo() -> None:
    study = anova_study(STUDY)
    draw = np.random.default_rng(41)
    stated = study_uncertainty(study, lambda c: c.repeatability)
    drawn = []
    for _ in range(4000):
        squares = [row.mean_square * draw.chisquare(row.freedom) / row.freedom for row in study.rows]
        drawn.append(components_from(squares, study.shape).repeatability)
    assert stated == pytest.approx(np.std(drawn), rel=0.05)
    # many appraisers and parts: the figure is then near linear in the mean squares, and the two agree for GRR % too
    draw = np.random.default_rng(43)
    y = draw.normal(size=(60, 1, 1)) + 0.3 * draw.normal(size=(1, 40, 1)) + 0.2 * draw.normal(size=(60, 40, 2))
    study = anova_study(y)
    stated = study_uncertainty(study, lambda c: c.grr_percent)
    drawn = []
    for _ in range(2000):
        squares = [row.mean_square * draw.chisquare(row.freedom) / row.freedom for row in study.rows]
        drawn.append(components_from(squares, study.shape).grr_percent)
    assert stated == pytest.approx(np.std(drawn), rel=0.1)
