"""The gauge's division: found in the readings or stated, and the rounding errors that readings share."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from lobe_samples import Floats, answers, crossing, design, lopsided, turn
from something import each

from valvelab.arrays import rectangular_sd
from valvelab.errors import BadFile
from valvelab.files.lift_table import read_lift_table
from valvelab.inspection.lobes.inspect import inspect_lobes
from valvelab.lobe.conditioning import condition
from valvelab.lobe.division import find_division, shared_rounding, zero_deviation
from valvelab.lobe.profile import fit_lobes
from valvelab.lobe.trace import Trace

LOBE = lopsided()


def rounded(lift: Floats, division: float, zero: float = 0.0) -> Floats:
    return division * np.round(lift / division + zero)


@pytest.mark.parametrize("division", [0.05, 0.02, 0.01, 0.002, 0.001, 1e-4, 0.0254, 0.0127, 0.00254])
def test_the_step_of_all_readings_is_found(division: float) -> None:
    lift = LOBE.value(turn(720)) + np.random.default_rng(1).normal(0.0, 0.3 * division, 720)
    assert find_division(rounded(lift, division)) == pytest.approx(division, rel=1e-12)


def test_inches_read_from_text_keep_their_step_in_mm() -> None:
    inches = np.array([float(f"{value:.3f}") for value in LOBE.value(turn(144)) / 25.4])
    assert find_division(inches * 25.4) == pytest.approx(0.0254, rel=1e-12)


def test_one_reading_off_the_step_is_enough_to_doubt_it() -> None:
    lift = rounded(LOBE.value(turn(144)), 0.01)
    lift[40] += 0.003
    assert find_division(lift) == pytest.approx(0.001, rel=1e-12)
    assert find_division(LOBE.value(turn(144))) == 0.0
    assert find_division(np.zeros(30)) == 0.0


def test_least_deviation_of_a_rectangle() -> None:
    """JCGM 100:2008, 4.3.7: a rectangle of half-width a has the variance a²/3."""
    assert rectangular_sd(0.01) == pytest.approx(0.005 / np.sqrt(3.0))


def test_readings_that_repeat_one_value_share_one_error() -> None:
    """Mean of four readings: all alike, its rounding variance is d²/12 and not a quarter of it."""
    mean = np.full((1, 4), 0.25)
    free = 0.01**2 / 12.0 / 4.0
    for lifts, expected in (([1, 1, 1, 1], 4.0), ([1, 2, 3, 4], 1.0), ([1, 1, 2, 2], 2.0)):
        shared = shared_rounding(0.01 * np.array([lifts]), 0.01, np.array([0.0025]), periodic=False)
        assert shared is not None
        assert shared.covariance(0, mean)[0, 0] + free == pytest.approx(expected * free)


def test_a_run_goes_on_over_the_end_of_the_turn_and_noise_ends_all_sharing() -> None:
    lifts = 0.01 * np.array([[0, 0, 5, 9, 5, 0]])
    shared = shared_rounding(lifts, 0.01, np.array([0.003]), periodic=True)
    assert shared is not None
    assert shared.runs[0][0] == shared.runs[0][1] == shared.runs[0][5]
    assert shared_rounding(lifts, 0.01, np.array([0.01]), periodic=True) is None
    assert shared_rounding(lifts, 0.0, np.array([0.003]), periodic=True) is None


@pytest.mark.parametrize("division", [0.01, 0.0254])
@pytest.mark.parametrize("readings", [72, 144, 360, 720])
def test_readings_one_division_off_are_no_outliers(division: float, readings: int) -> None:
    """The resting run reads a perfect 0.00, so its scatter is none; good readings on the flanks stay."""
    angle = turn(readings)
    rng = np.random.default_rng(readings)
    for _ in range(10):
        lift = rounded(LOBE.value(angle + rng.uniform(0.0, 5.0)) + rng.normal(0.0, 0.3 * division, readings), division)
        assert condition((Trace("1I", angle, lift),)).kept.all()


def test_a_misread_dial_is_still_an_outlier() -> None:
    angle = turn(360)
    lift = rounded(LOBE.value(angle), 0.01)
    lift[100] += 0.1
    assert np.flatnonzero(~condition((Trace("1I", angle, lift),)).kept[0]).tolist() == [100]


def test_noise_is_that_of_the_flanks_where_the_rest_reads_nothing() -> None:
    """Lobe on a flat rest that reads 0.00 all round: rounding alone scatters by d/√12 where the lift changes."""
    lift = rounded(LOBE.value(turn(144)), 0.01, 0.2)
    noise = float(fit_lobes(condition((Trace("1I", turn(144), lift),))).noise_mm[0])
    assert 0.95 < noise / rectangular_sd(0.01) < 2.0
    unknown = float(fit_lobes(condition((Trace("1I", turn(144), lift),), 0.0)).noise_mm[0])
    assert unknown > 0.7 * rectangular_sd(0.01)


def test_noise_frees_the_rounding_errors_of_readings_at_one_lift() -> None:
    """Simulated: readings of one lift with noise of σ, rounded; their mean errs by a sawtooth's first harmonic."""
    rng = np.random.default_rng(8)
    for sigma in (0.1, 0.25):
        places = rng.uniform(0.0, 1.0, 400)
        means = np.array([np.round(place + sigma * rng.normal(size=2000)).mean() - place for place in places])
        noise = np.array([np.sqrt(4.0 * sigma**2 + 1.0 / 12.0)])
        shared = shared_rounding(np.zeros((1, 4)), 1.0, noise, periodic=False)
        assert shared is not None
        # the harmonic alone: a little less than the whole sawtooth keeps, more than it where noise is large
        assert 0.9 < float(shared.deviation_mm[0]) / means.std() < 1.6


def test_the_greatest_lift_of_a_flat_nose_is_known_no_better_than_the_division() -> None:
    """A dwell on top repeats one value: its rounding error d/√12, and the rest's, which does the same."""
    lobe = design("poly4567", ramp=(0.0, 0.0))
    top = np.minimum(lobe.value(turn(720)), 0.999 * lobe.lift)
    found = answers(turn(720), rounded(top, 0.0254, 0.3))
    # and some more, because the same errors look like slow noise
    assert 0.95 < float(found.max_lift().u[0]) / (np.sqrt(2.0) * rectangular_sd(0.0254)) < 1.8


def test_rounded_rest_and_nose_are_covered_on_every_lobe() -> None:
    """Nine in ten for any fraction of a division in the lift; d/√12 for each would leave four in five."""
    stated = 1.96 * np.hypot(zero_deviation(1.0), rectangular_sd(1.0))
    rest = np.linspace(-0.5, 0.5, 10_001)
    for fraction in each(np.linspace(0.0, 1.0, 101)):
        error = np.round(fraction + rest) - np.round(rest) - fraction
        assert (np.abs(error) <= stated).mean() > 0.89


def test_an_event_only_table_carries_the_rounding_of_its_zero() -> None:
    angle = 100.0 + np.arange(-96.0, 97.0, 0.5)
    found = answers(angle, rounded(LOBE.value(angle), 0.01))
    speed = [float(LOBE.value(np.array([100.3 + crossing(LOBE, 1.27, side)]), 1)[0]) for side in (-1, 1)]
    least = rectangular_sd(0.01) * (1.0 / speed[0] - 1.0 / speed[1])
    assert found.events(1.27).duration.u[0] > least
    assert found.max_lift().u[0] > rectangular_sd(0.01)


def table(path: Path, preamble: str) -> Path:
    angle = turn(144)
    lift = rounded(LOBE.value(angle) / 25.4, 0.001)
    rows = "\n".join(f"{a},{s:.3f}" for a, s in zip(angle, lift, strict=True))
    path.write_text(f"{preamble}angle [cam deg],1I [in]\n{rows}\n", encoding="utf-8")
    return path


def test_the_division_is_said(tmp_path: Path) -> None:
    notes = {note.about: note for note in inspect_lobes(read_lift_table(table(tmp_path / "a.csv", ""))).result.notes}
    assert notes["division"].level == "info"
    assert "multiples of 0.001 in (0.0254 mm)" in notes["division"].text
    assert "7.3 µm" in notes["division"].text


def test_a_stated_resolution_counts(tmp_path: Path) -> None:
    read = read_lift_table(table(tmp_path / "a.csv", "# probe resolution: 0.0005 in\n"))
    assert read.probe_resolution_mm == pytest.approx(0.0127)
    notes = {note.about: note.text for note in inspect_lobes(read).result.notes}
    assert notes["division"].startswith("the gauge's division is stated as 0.0005 in (0.0127 mm)")
    assert not read.remarks
    with pytest.raises(BadFile, match="probe resolution"):
        read_lift_table(table(tmp_path / "b.csv", "# probe resolution: -1 um\n"))
