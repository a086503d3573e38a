"""Readings before the fit: unwrapping, folding, turns, outliers; nothing altered, everything counted."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lobe_samples import Floats, answers, design, turn

from valvelab.errors import CannotEvaluate, Reason
from valvelab.lobe.conditioning import Conditioned, condition, group
from valvelab.lobe.trace import Trace

LOBE = design("poly4567")


def conditioned(angle: Floats, lift: Floats, sweep: np.ndarray | None = None) -> Conditioned:
    return condition((Trace("1I", angle, lift, sweep),))


def same_answer(angle: Floats, lift: Floats) -> None:
    found = answers(angle, lift)
    even = turn(360)
    plain = answers(even, LOBE.value(even))
    row, expected = found.events(1.27), plain.events(1.27)
    assert found.max_lift().value[0] == pytest.approx(plain.max_lift().value[0], abs=2e-5)
    assert row.duration.value[0] == pytest.approx(expected.duration.value[0], abs=1e-3)
    assert np.mod(row.centre.value[0], 360.0) == pytest.approx(np.mod(expected.centre.value[0], 360.0), abs=1e-3)


@pytest.mark.parametrize(
    "angle",
    [
        turn(360) + 217.0,
        np.mod(turn(360) + 217.0, 360.0),
        turn(360) - 1000.0,
        turn(360)[::-1].copy(),
        np.arange(361.0),
        np.arange(3 * 360.0),
        np.mod(np.arange(2.5 * 360.0), 360.0),
        np.mod(turn(360) + 217.0 + 180.0, 360.0) - 180.0,
    ],
    ids=["elsewhere", "wrapped", "negative", "backward", "closed", "three turns", "two and a half", "signed"],
)
def test_however_the_turn_is_written_the_lobe_is_the_same(angle: Floats) -> None:
    same_answer(angle, LOBE.value(angle))


@settings(max_examples=15)
@given(st.floats(-720.0, 720.0), st.booleans())
def test_where_the_sweep_starts_does_not_matter(start: float, backward: bool) -> None:
    angle = turn(360) + start
    angle = angle[::-1].copy() if backward else angle
    found = conditioned(angle, LOBE.value(angle))
    assert found.periodic
    assert found.angle_cam_deg.size == 360
    assert np.all(np.diff(found.angle_cam_deg) > 0.0)
    assert found.lifts_mm[0] == pytest.approx(LOBE.value(found.angle_cam_deg), abs=1e-9)


def test_turns_are_counted_and_every_reading_is_kept() -> None:
    angle = np.arange(3 * 720) * 0.5
    found = conditioned(angle, LOBE.value(angle))
    assert (found.sweeps, found.angle_cam_deg.size, found.cells) == (3, 3 * 720, 720)
    closed = conditioned(np.arange(361.0), LOBE.value(np.arange(361.0)))
    assert closed.sweeps == 1


def test_numbered_sweeps_may_each_start_anew() -> None:
    angle = np.concatenate([turn(360), turn(360)[::-1]])
    sweep = np.repeat([0, 1], 360)
    found = conditioned(angle, LOBE.value(angle), sweep)
    assert (found.sweeps, found.cells) == (2, 360)


def test_a_large_hole_makes_it_an_event() -> None:
    angle = np.concatenate([[0.0, 0.5], np.arange(30.0, 170.0, 0.5)])
    found = conditioned(angle, LOBE.value(angle))
    assert not found.periodic
    assert found.set_aside == 2
    assert found.angle_cam_deg[0] == 30.0


def test_an_event_across_the_fold_is_not_cut() -> None:
    lobe = design("poly4567", centre=0.0)
    angle = np.mod(np.arange(-95.0, 95.5, 0.5), 360.0)
    found = conditioned(angle, lobe.value(angle))
    assert np.all(np.diff(found.angle_cam_deg) > 0.0)
    assert np.ptp(found.angle_cam_deg) == pytest.approx(190.0)


@pytest.mark.parametrize("size_mm", [0.02, -0.05, 0.3])
@pytest.mark.parametrize("at", [90, 200, 251, 700])
def test_a_spike_is_left_out_listed_and_does_not_move_the_answer(size_mm: float, at: int) -> None:
    angle = turn(720)
    lift = LOBE.value(angle) + np.random.default_rng(3).normal(0.0, 1e-3, 720)
    clean = answers(angle, lift)
    spoiled = lift.copy()
    spoiled[at] += size_mm
    found = answers(angle, spoiled)
    kept = found.fitted.conditioned.kept[0]
    assert np.flatnonzero(~kept).tolist() == [at]
    assert found.fitted.conditioned.lifts_mm[0, at] == spoiled[at]
    assert found.max_lift().value[0] == pytest.approx(clean.max_lift().value[0], abs=4e-4)
    assert found.events(1.27).duration.value[0] == pytest.approx(clean.events(1.27).duration.value[0], abs=5e-3)


@pytest.mark.parametrize("noise_mm", [0.0, 1e-3, 5e-3])
@pytest.mark.parametrize("law", ["cycloidal", "modified_trapezoid", "harmonic", "constant_acceleration"])
def test_a_sound_lobe_loses_nothing(law: str, noise_mm: float) -> None:
    lobe = design(law)  # type: ignore[arg-type]
    for readings in (360, 720, 3600):
        angle = turn(readings)
        lifts = lobe.value(angle) + np.random.default_rng(1).normal(0.0, 1.0, (4, readings)) * noise_mm
        found = condition(tuple(Trace(str(k), angle, lift) for k, lift in enumerate(lifts)))
        assert (~found.kept).sum() <= 1


def test_lobes_that_share_their_angles_are_fitted_together() -> None:
    first, other = turn(360), turn(720)
    traces = (
        Trace("1I", first, LOBE.value(first)),
        Trace("1E", other, LOBE.value(other)),
        Trace("2I", first.copy(), LOBE.value(first)),
    )
    assert [[trace.name for trace in part] for part in group(traces)] == [["1I", "2I"], ["1E"]]


def test_what_cannot_be_used_is_refused_with_its_place() -> None:
    angle = turn(360)
    lift = LOBE.value(angle)
    with pytest.raises(CannotEvaluate, match="not finite"):
        conditioned(angle, np.where(angle == 7.0, np.nan, lift))
    forth_and_back = np.concatenate([np.arange(200.0), np.arange(150.0, 310.0)])
    with pytest.raises(CannotEvaluate, match="reading 201: found angle 150 after 199, expected angles that run") as no:
        conditioned(forth_and_back, LOBE.value(forth_and_back))
    assert no.value.reason is Reason.BAD_VALUES
    with pytest.raises(CannotEvaluate, match="found 10 readings, expected 16 or more"):
        conditioned(angle[:10], lift[:10])
