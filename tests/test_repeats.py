"""Repeated readings: uncertainty of their mean, and readings that stand off."""

from __future__ import annotations

import math

import numpy as np
import pytest

from valvelab.conformity.repeats import division_of, mean_uncertainty, repeats_of, robust_factor, standing_off


def test_mean_of_four_or_more_follows_the_scaled_and_shifted_t() -> None:
    # JCGM 101:2008 6.4.9: standard deviation of t with n − 1 degrees of freedom, times s/√n; by scipy
    from scipy.stats import t

    for n in (4, 5, 10):
        readings = np.random.default_rng(n).normal(10.0, 0.02, n)
        expected = t(n - 1).std() * readings.std(ddof=1) / math.sqrt(n)
        assert mean_uncertainty(list(readings)) == pytest.approx(expected, rel=1e-9)


def test_two_or_three_readings_cover_by_their_range() -> None:
    """± 1.96 u of the mean of two or three holds 95 % of the truth: Lord's factors, by simulation."""
    random = np.random.default_rng(7)
    for n in (2, 3):
        readings = random.normal(0.0, 1.0, (20_000, n))
        u = np.array([mean_uncertainty(list(row)) for row in readings])
        assert np.mean(np.abs(readings.mean(axis=1)) < 1.96 * u) == pytest.approx(0.95, abs=0.006)


def test_a_stated_repeatability_serves_for_fewer_than_four() -> None:
    assert mean_uncertainty([10.0, 10.1], repeatability=0.02) == pytest.approx(0.02 / math.sqrt(2.0))
    assert mean_uncertainty([10.0], repeatability=0.02) == pytest.approx(0.02)
    assert mean_uncertainty([10.0]) is None


def test_never_below_the_division() -> None:
    # rectangular distribution of one division, JCGM 100:2008 F.2.2.1
    assert mean_uncertainty([10.36] * 6, 0.01) == pytest.approx(0.01 / math.sqrt(12.0))
    assert mean_uncertainty([10.36], 0.01) == pytest.approx(0.01 / math.sqrt(12.0))


@pytest.mark.parametrize(
    ("readings", "division"),
    [
        ([10.85, 10.86, 10.84], 0.01),
        ([10.8] * 3, 0.01),
        ([10.855, 10.85], 0.005),
        ([10.852, 10.854], 0.002),
        ([0.412 * 25.4, 0.413 * 25.4], 0.0254),
        ([0.4125 * 25.4, 0.413 * 25.4], 0.0127),
        ([10.123456, 10.2], None),
        ([], None),
    ],
)
def test_the_division_that_readings_show(readings: list[float], division: float | None) -> None:
    assert division_of(readings) == division


@pytest.mark.parametrize(
    ("readings", "off"),
    [
        ([10.85, 10.86, 10.50, 10.87, 10.89], (2,)),
        ([10.85, 10.86, 10.85, 10.87, 10.89], ()),
        ([10.36, 10.36, 10.50], (2,)),
        ([10.36, 10.37, 10.36], ()),
        # three divisions away among equal ones: not yet; four: yes
        ([10.36, 10.36, 10.36, 10.39], ()),
        ([10.36, 10.36, 10.36, 10.40], (3,)),
        # two contradict each other: neither is named, but their range says how little they tell
        ([10.36, 10.86], ()),
    ],
)
def test_readings_that_stand_off(readings: list[float], off: tuple[int, ...]) -> None:
    assert standing_off(readings, 0.01) == off


def test_the_robust_standard_deviation_of_few_is_that_of_the_noise() -> None:
    """Small samples' scaled median absolute deviation, its factors from memory, averages to the standard deviation."""
    random = np.random.default_rng(3)
    for n in range(2, 10):
        rows = random.normal(0.0, 1.0, (40_000, n))
        away = np.median(np.abs(rows - np.median(rows, axis=1)[:, None]), axis=1)
        assert np.mean(robust_factor(n) * away) == pytest.approx(1.0, abs=0.02)


def test_hand_readings_are_rarely_pointed_out() -> None:
    """A dial read to its division, scatter one division: less than one list of 50 has a reading named."""
    random = np.random.default_rng(5)
    for n in (3, 5, 8):
        lists = np.round(random.normal(1080.0, 1.0, (2000, n))) / 100.0
        assert np.mean([bool(standing_off(list(row), 0.01)) for row in lists]) < 0.02


def test_a_reading_set_aside_no_longer_counts_and_stays_in_the_list() -> None:
    readings = [10.85, 10.86, 10.50, 10.87, 10.89]
    whole, without = repeats_of(readings), repeats_of(readings, set_aside=[2])
    assert whole is not None
    assert without is not None
    assert (whole.doubtful, without.doubtful, without.counted) == ((2,), (), (0, 1, 3, 4))
    assert without.mean == pytest.approx(10.8675)
    assert whole.uncertainty is not None
    assert without.uncertainty is not None
    assert without.uncertainty < whole.uncertainty / 3.0
    assert repeats_of(readings, set_aside=range(5)) is None
