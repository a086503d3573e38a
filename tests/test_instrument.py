"""Instrument cards: the error curve, what it leaves of uncertainty, and what a card may not say."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from valvelab.conformity.instrument import (
    CalibrationPoint,
    ErrorCurve,
    StatedUncertainty,
    corrected,
    corrected_lift,
    error_curve,
    pooled_scatter,
)
from valvelab.errors import BadFile
from valvelab.files.instrument_card import read_instrument_card
from valvelab.places import sample_profiles
from valvelab.records.instrument_card import InstrumentCard

DIAL = sample_profiles() / "quillmere_dial_card.toml"
TESTER = sample_profiles() / "quillmere_spring_tester_card.toml"


def curve(errors: dict[float, float], own: float = 0.0, **common: float) -> ErrorCurve:
    return error_curve([CalibrationPoint(true, (true + error,), own) for true, error in errors.items()], **common)


def test_the_correction_is_straight_between_points_and_nothing_outside() -> None:
    dial = curve({10.0: -0.002, 0.0: 0.0, 5.0: 0.004})  # in any order
    at = np.array([0.0, 2.502, 5.004, 7.501, 9.998])
    assert dial.correction(at) == pytest.approx([0.0, -0.002, -0.004, -0.001, 0.002], abs=1e-9)
    assert dial.correction([5.004 + 4.994 / 4]) == pytest.approx([-0.0025])
    assert np.isnan(dial.correction([-0.1, 10.1])).all()
    kept = corrected(dial, [5.004, 12.0])
    assert kept.values == pytest.approx([5.0, 12.0])
    assert kept.outside.tolist() == [False, True]


def test_an_end_holds_as_near_as_it_is_known() -> None:
    dial = curve({0.0: 0.001, 10.0: 0.003})
    assert dial.correction([-0.019]) == pytest.approx([-0.001])  # 0.2 % of the range
    assert np.isnan(dial.correction([-0.03]))
    coarse = curve({0.0: 0.001, 10.0: 0.003}, division=0.05)
    assert coarse.correction([-0.03]) == pytest.approx([-0.001])  # a division


def test_an_end_gauges_calibration_has_the_published_uncertainty() -> None:
    # JCGM 100:2008, H.1.3: standard 25 nm, pooled scatter 13 nm of one observation; the mean of five has 5.8 nm
    observed = [CalibrationPoint(0.0, (0.0,) * 2), CalibrationPoint(50e6, (50e6 + 215.0,) * 2, uncertainty=25.0)]
    gauge = error_curve(observed, repeatability=13.0)
    assert gauge.calibration_uncertainty(50e6 + 215.0) == pytest.approx(math.hypot(25.0, 13.0 / math.sqrt(2.0)))
    assert 13.0 / math.sqrt(5.0) == pytest.approx(5.8, abs=0.05)  # the arithmetic of the example itself


def test_standards_of_one_certificate_add_up_and_do_not_average() -> None:
    # JCGM 100:2008, 5.2.2, example: ten resistors of 1000 Ω against one standard of u = 0.1 Ω are known to 1 Ω together
    stack = curve({0.0: 0.0, 1_000.0: 0.0, 10_000.0: 0.0}, relative=1e-4)
    assert stack.calibration_uncertainty(10_000.0) == pytest.approx(1.0)
    assert stack.uncertainty_of_difference(10_000.0, 9_000.0) == pytest.approx(0.1)
    assert curve({0.0: 0.0, 5.0: 0.0, 10.0: 0.0}, common=0.5).uncertainty_of_difference(9.0, 1.0) == pytest.approx(0.0)


def test_rounding_is_the_readings_own() -> None:
    # rectangular distribution of one division, JCGM 100:2008 F.2.2.1
    dial = curve({0.0: 0.0, 5.0: 0.0, 10.0: 0.0}, division=0.01)
    calibration = float(dial.calibration_uncertainty(5.0))
    assert calibration == pytest.approx(0.01 / math.sqrt(12.0))  # that of the calibration's one reading
    assert dial.standard_uncertainty(5.0) == pytest.approx(math.sqrt(2.0) * calibration)


def test_scatter_is_pooled_over_the_points() -> None:
    # JCGM 100:2008, H.1.3.2 pools; the t factor by simulation: 95 % of means lie within 1.96 u
    random = np.random.default_rng(3)
    tables = random.normal(0.0, 1.0, (4_000, 4, 3))
    u = np.array([(pooled_scatter(table.tolist()) or 0.0) / math.sqrt(3.0) for table in tables])
    assert np.mean(np.abs(tables[:, 0].mean(axis=1)) < 1.96 * u) == pytest.approx(0.95, abs=0.015)
    assert pooled_scatter([[1.0], [2.0, 2.1]]) is None


@pytest.mark.parametrize(("a", "b"), [(7.3, 0.0), (7.3, 6.9), (5.0, 2.5), (9.9, 0.4)])
def test_differences_agree_with_monte_carlo(a: float, b: float) -> None:
    """Propagation of distributions, JCGM 101:2008, 7: standards, shared and own, and the scatter of each mean."""
    true = np.array([0.0, 2.0, 4.0, 6.0, 8.0, 10.0])
    own, common, relative, scatter = 0.0006, 0.0010, 2e-4, 0.0008
    rows = [CalibrationPoint(float(t), (float(t), float(t)), own) for t in true]
    dial = error_curve(rows, common=common, relative=relative, repeatability=scatter)
    random, draws = np.random.default_rng(11), 40_000
    standards = common * random.normal(size=(draws, 1)) + relative * true * random.normal(size=(draws, 1))
    standards += own * random.normal(size=(draws, 6))
    errors = random.normal(0.0, scatter / math.sqrt(2.0), (draws, 6)) - standards
    at = {x: np.array([np.interp(x, true, row) for row in errors]) for x in (a, b)}
    for x, drawn in at.items():
        assert dial.calibration_uncertainty(x) == pytest.approx(drawn.std(), rel=0.02)
    assert dial.uncertainty_of_difference(a, b) == pytest.approx((at[a] - at[b]).std(), rel=0.02)
    assert dial.uncertainty_of_difference(a, a) == 0.0


@pytest.mark.parametrize("ragged", [False, True])
def test_corrected_differences_are_covered_between_the_points(*, ragged: bool) -> None:
    """Dials whose error is smooth, or a random walk, on eleven blocks: 95 % intervals hold in 90 % and more."""
    random, held = np.random.default_rng(5), []
    fine = np.linspace(0.0, 10.0, 1_001)
    for _dial in range(60):
        if ragged:
            error = 0.0002 * np.cumsum(random.normal(size=fine.size))
        else:
            error = sum(
                random.normal(0.0, 0.003 / k) * np.sin(0.2 * np.pi * k * fine + random.uniform(0, 6)) for k in (1, 2, 3)
            )
        rows = [
            CalibrationPoint(float(t), tuple(t + error[100 * k] + random.normal(0.0, 0.0002, 3)))
            for k, t in enumerate(fine[::100])
        ]
        dial = error_curve(rows)
        a, b = (fine + error)[random.integers(10, 990, (2, 40))]
        found = [corrected(dial, x).values - np.interp(x, fine + error, fine) for x in (a, b)]
        held.append(np.abs(found[0] - found[1]) < 1.96 * dial.uncertainty_of_difference(a, b))
    assert np.mean(held) > 0.9


def test_outside_the_range_the_uncertainty_grows_with_the_distance() -> None:
    dial = curve({0.0: 0.0, 5.0: 0.004, 10.0: -0.002}, own=0.0002)
    u = dial.calibration_uncertainty([10.0, 11.0, 15.0, -1.0])
    assert u[0] == pytest.approx(0.0002, rel=0.1)
    assert u[1] > 0.004 / math.sqrt(3.0) > u[0]
    assert u[2] > u[1]
    assert dial.uncertainty_of_difference(11.0, 5.0) > u[1]


def test_a_lift_carries_what_its_readings_do_not_share() -> None:
    dial = curve({0.0: 0.001, 5.0: 0.004, 10.0: -0.002}, own=0.0003, common=0.001)
    lift = corrected_lift(dial, [0.001, 0.001], [9.998, 9.998])
    assert lift.lift_mm == pytest.approx(10.0)
    assert lift.uncertainty_mm == pytest.approx(0.0003 * math.sqrt(2.0))
    assert not lift.outside
    assert corrected_lift(dial, [], [10.4]).outside
    stated = corrected_lift(StatedUncertainty(0.004), [0.0], [9.998])
    assert (stated.lift_mm, stated.uncertainty_mm) == (9.998, 0.004)  # once, METHODS' rule without a curve


# Cards


def test_the_samples_cards() -> None:
    dial, source = read_instrument_card(DIAL)
    assert (dial.dimension, dial.canonical, str(dial.due_on)) == ("length", "mm", "2027-02-10")
    assert source.file == str(DIAL)
    assert dial.calibration.correction(3.0 + 0.013 / 3) == pytest.approx(-0.013 / 3)
    tester, _ = read_instrument_card(TESTER)
    found = tester.calibration
    assert (tester.dimension, found.division) == ("force", 1.0)
    assert found.correction(198.0) == pytest.approx(20.0 * 9.813 - 198.0)  # weight = mass × gravity
    told = "dial 3, no. QD-3, calibrated 2026-02-10, due 2027-02-10, standards gauge blocks, set B, Q-118"
    assert dial.told == told


def test_a_month_too_short_for_the_day(tmp_path: Path) -> None:
    card = _card(tmp_path, 'calibrated = "2025-08-31"\ninterval = 6\nuncertainty = "4 um"')
    assert str(card.due_on) == "2026-02-28"


def test_gravity_that_nobody_states_is_assumed_and_said(tmp_path: Path) -> None:
    rows = "".join(f"[[point]]\nmass = {mass}\nreadings = [{9.81 * mass}]\n" for mass in (10, 20, 40))
    card = _card(tmp_path, rows, unit="N")
    (note,) = [note for note in card.notes(None) if "gravity" in note.text]
    assert "9.80665" in note.text
    # extremes of gravity at sea level, rectangular: JCGM 100:2008, 4.3.7
    assert card.calibration.calibration_uncertainty(392.4) > 0.0015 * 392.0


def test_inches_are_read_in_inches(tmp_path: Path) -> None:
    rows = '[[point]]\ntrue = 0\nreadings = [0]\n[[point]]\ntrue = 0.2\nreadings = [0.2001, "5.0800 mm"]\n'
    card = _card(tmp_path, f'resolution = "0.0001 in"\n{rows}', unit="in")
    assert card.calibration.division == pytest.approx(0.00254)
    assert card.calibration.correction(5.08127) == pytest.approx(-0.00127)


def test_when_it_was_calibrated_is_held_against_the_day_of_the_readings() -> None:
    dial, _ = read_instrument_card(DIAL)
    assert [note.level for note in dial.notes("2026-05-02")] == []
    (late,) = dial.notes("2027-05-02")
    assert (late.level, "due on 2027-02-10" in late.text) == ("warning", True)
    (early,) = dial.notes("2025-05-02")
    assert (early.level, "after the readings" in early.text) == ("warning", True)
    for unknown in (None, "last spring"):
        (note,) = dial.notes(unknown)
        assert (note.level, "unknown" in note.text) == ("info", True)


TWO = "[[point]]\ntrue = 0\nreadings = [0]\n[[point]]\ntrue = 10\nreadings = [10.002]\n"


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (f'name = "d"\n{TWO}', "no key 'unit', expected one"),
        (f'name = "d"\nunit = "furlong"\n{TWO}', "unit: found 'furlong', expected a unit of length or force"),
        (f'name = ""\nunit = "mm"\n{TWO}', "name: found ''"),
        ('name = "d"\nunit = "mm"\n', "found neither of [[point]] and uncertainty, expected a curve's points or one"),
        (f'name = "d"\nunit = "mm"\nuncertainty = 1\n{TWO}', "found both of [[point]] and uncertainty"),
        ('name = "d"\nunit = "mm"\n[[point]]\ntrue = 1\nreadings = [1]\n', "point: found 1, expected at least 2"),
        (f'name = "d"\nunit = "mm"\n{TWO}[[point]]\ntrue = 10\nreadings = [10]\n', "found the reference 10 mm twice"),
        (
            f'name = "d"\nunit = "mm"\n{TWO}[[point]]\ntrue = 5\nreadings = [5.6]\n',
            "found 5.6 mm read at 5 mm, expected an error of at most 0.5 mm (5% of the calibrated range)",
        ),
        (
            f'name = "d"\nunit = "mm"\n{TWO}[[point]]\ntrue = 9.9\nreadings = [10.1]\n',
            "found 10.1 mm read at 9.9 mm and 10.002 mm at 10 mm, expected readings that grow with the reference",
        ),
        (
            f'name = "d"\nunit = "mm"\ncalibrated = 2026-02-10\ndue = 2026-02-09\n{TWO}',
            "due: found 2026-02-09, expected a date after `calibrated`, 2026-02-10",
        ),
        (f'name = "d"\nunit = "mm"\ncalibrated = "10.2.26"\n{TWO}', "calibrated: found '10.2.26', expected a date as"),
        (f'name = "d"\nunit = "mm"\ncalibrated = 9999-12-31\ninterval = 12\n{TWO}', "a day from 1900 to 2199"),
        (f'name = "d"\nunit = "mm"\ninterval = 12\n{TWO}', "interval: found 12 months, expected a date `calibrated`"),
        (f'name = "d"\nunit = "mm"\n{TWO}[[point]]\nmass = 1\nreadings = [5]\n', "[[point]] 3 mass: found 1 kg"),
        (f'name = "d"\nunit = "mm"\n{TWO}[[point]]\nreadings = [5]\n', "[[point]] 3: found neither of true and mass"),
        (f'name = "d"\nunit = "mm"\n{TWO}[[point]]\ntrue = 5\nreadings = []\n', "[[point]] 3 readings: found []"),
        (
            f'name = "d"\nunit = "mm"\n{TWO}[[point]]\ntrue = 5\nreadings = ["5 N"]\n',
            "[[point]] 3 readings: found unit 'N', expected a length unit",
        ),
        (f'name = "d"\nunit = "mm"\nresolution = -0.01\n{TWO}', "resolution: found -0.01, expected a length above 0"),
        (f'name = "d"\nunit = "mm"\n{TWO}[[point]]\ntrue = nan\nreadings = [5]\n', "found nan"),
    ],
)
def test_a_card_that_can_not_be_used(tmp_path: Path, text: str, sentence: str) -> None:
    path = tmp_path / "card.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BadFile) as refused:
        read_instrument_card(path)
    assert sentence in str(refused.value)
    assert "\n" not in str(refused.value)


def _card(folder: Path, text: str, unit: str = "mm") -> InstrumentCard:
    path = folder / "card.toml"
    path.write_text(f'name = "d"\nunit = "{unit}"\n{text}', encoding="utf-8")
    return read_instrument_card(path)[0]
