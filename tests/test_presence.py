"""What is no lobe is refused in a sentence; lobes of every size and law, read finely or by hand, are not."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
import pytest
from lobe_samples import SMOOTH, STEPPING, Floats, answers, design, turn
from motion_laws import Flank, LobeDesign

from valvelab.cli.main import main
from valvelab.errors import CannotEvaluate, Reason
from valvelab.lobe.characteristics import LobeCharacteristics
from valvelab.lobe.conditioning import condition
from valvelab.lobe.presence import refuse_cut_off, refuse_no_lobe
from valvelab.lobe.profile import fit_lobes
from valvelab.lobe.trace import Trace

INPUTS = Path(__file__).parent / "crash_inputs"
ANGLE = turn(360)
NOISE = np.random.default_rng(7).normal(0.0, 1.0, 720)


@pytest.mark.parametrize(
    ("angle", "lift", "found"),
    [
        (ANGLE, np.ones(360), "found 1 mm in every reading"),
        (ANGLE, np.zeros(360), "found 0 mm in every reading"),
        (ANGLE, NOISE[:360], "in readings that scatter by"),
        (np.arange(720.0), NOISE, "in readings that scatter by"),
        (ANGLE, 8.0 * (ANGLE >= 180.0) + 1e-3 * NOISE[:360], "found a step of 8"),
        (np.arange(90.0), 8.0 * (np.arange(90.0) > 40.0), "found a step of 8"),
        (ANGLE, 8.0 * (np.abs(ANGLE - 100.0) <= 2.0), "0 cam deg of flanks to 5 of top"),
        (ANGLE, np.interp(ANGLE, [98.0, 99.0, 100.0, 101.0, 103.0], [0.0, 3.0, 8.0, 6.0, 0.0]), "at half its height"),
        (ANGLE, np.where(np.abs(ANGLE - 100.0) < 1.0, 8.0, 0.0) + 1e-3 * NOISE[:360], "expected a lobe"),
        (np.arange(40.0, 90.0), design("poly4567").value(np.arange(40.0, 90.0)), "to both sides of the nose"),
        (np.arange(110.0, 190.0), design("poly4567").value(np.arange(110.0, 190.0)), "to both sides of the nose"),
    ],
    ids=["constant", "zero", "noise", "noise of two turns", "step", "step without return", "five readings",
         "two readings", "one reading", "opening flank", "closing flank"],
)  # fmt: skip
def test_no_lobe_is_refused(angle: Floats, lift: Floats, found: str) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        with pytest.raises(CannotEvaluate, match=found) as refusal:
            fit_lobes(condition((Trace("3E", angle, lift),)))
    assert str(refusal.value).startswith("lobe 3E: found ")
    assert ", expected " in str(refusal.value)
    assert refusal.value.reason is Reason.BAD_VALUES


@pytest.mark.parametrize("law", [*SMOOTH, *STEPPING])
@pytest.mark.parametrize("step", [0.5, 2.5, 5.0, 10.0])
@pytest.mark.parametrize("division", [0.01, 0.0254])
@pytest.mark.parametrize("whole", [True, False])
def test_hand_read_lobes_are_lobes(law: str, step: float, division: float, whole: bool) -> None:
    lobe = design(law)  # type: ignore[arg-type]
    angle = np.arange(0.0, 360.0, step) if whole else np.arange(10.0, 191.0, step)
    found = answers(angle, np.round(lobe.value(angle) / division) * division)
    assert found.max_lift().value[0] == pytest.approx(8.0, abs=0.1)


@pytest.mark.parametrize("flank", [30.0, 100.0])
@pytest.mark.parametrize("height", [0.3, 40.0])
def test_small_and_large_lobes_are_lobes(height: float, flank: float) -> None:
    side = Flank("poly4567", flank)
    angle = turn(720)
    lift = LobeDesign(height, side, side, 100.3).value(angle) + 1e-3 * NOISE
    assert answers(angle, lift).max_lift().value[0] == pytest.approx(height, abs=5e-3)


@pytest.mark.parametrize("beyond", [4.0, 30.0])
def test_an_event_that_passes_its_nose_is_read(beyond: float) -> None:
    """The opening flank and some degrees past the nose: a greatest lift, and no closing."""
    lobe = design("poly4567")
    angle = np.arange(30.0, 100.3 + beyond, 1.0)
    found = answers(angle, lobe.value(angle) + 1e-3 * NOISE[: angle.size])
    assert found.max_lift().value[0] == pytest.approx(8.0, abs=3e-3)
    row = found.events(1.27)
    assert np.isfinite(row.opening.value[0])
    assert np.isnan(row.closing.value[0])


def test_the_last_knot_of_an_event_has_an_uncertainty() -> None:
    """A figure that is met at the table's last angle, as the curvature of a lobe that is cut off there."""
    from valvelab.lobe.events import Places
    from valvelab.lobe.propagation import Term

    angle = np.arange(30.0, 140.0, 1.0)
    found: LobeCharacteristics = answers(angle, design("poly4567").value(angle) + 1e-3 * NOISE[:110])
    last = np.array([found.fitted.splines.intervals])
    ends = [
        found.propagation.standard(Term(Places(last - back, np.array([t]), np.array([139.0])), 2, np.ones(1)))
        for back, t in ((0, 0.0), (1, 1.0))
    ]
    assert ends[0] == pytest.approx(ends[1], rel=1e-12)


@pytest.mark.parametrize("file", sorted(INPUTS.glob("lobe_*.csv")), ids=lambda file: file.stem)
def test_inputs_that_once_broke_off_give_a_result_or_a_sentence(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code = main(["lobes", str(file), "--quiet"])
    err = capsys.readouterr().err
    assert code in {0, 3}
    assert (code == 3) == (": found " in err or ", found " in err)
    assert len(err.splitlines()) == (1 if code == 3 else 0)


def test_turns_with_holes_are_fitted_as_an_uneven_turn() -> None:
    """Readings left out side by side in every turn leave a hole that no neighbour can fill."""
    angle = np.arange(0.0, 720.0)
    lift = design("poly4567").value(angle) + 1e-3 * NOISE
    traces = (Trace("1I", angle, lift),)
    conditioned = condition(traces)
    conditioned.kept[0, (conditioned.grid >= 60) & (conditioned.grid < 66)] = False
    found = LobeCharacteristics(fit_lobes(conditioned))
    assert found.max_lift().value[0] == pytest.approx(8.0, abs=2e-3)
    assert found.events(1.27).opening.value[0] == pytest.approx(
        answers(angle, lift).events(1.27).opening.value[0], abs=0.02
    )


def flat_top(flank_readings: int) -> tuple[Floats, Floats]:
    """Readings a degree apart: rest, some on the flank at half the lift, twenty on the top, rest."""
    lift = np.concatenate([np.zeros(30), np.full(flank_readings, 4.0), np.full(20, 8.0), np.zeros(30)])
    return np.arange(float(lift.size)), lift[None]


@pytest.mark.parametrize(("flank_readings", "a_lobe"), [(1, False), (3, True)])
def test_flanks_of_a_tenth_of_the_top_make_a_lobe(flank_readings: int, a_lobe: bool) -> None:
    angle, lifts = flat_top(flank_readings)
    if a_lobe:
        refuse_no_lobe(("1I",), angle, lifts)
        return
    with pytest.raises(CannotEvaluate, match="found a step of 8 mm with 1 cam deg of flanks to 20 of top"):
        refuse_no_lobe(("1I",), angle, lifts)


def test_a_hole_in_the_readings_makes_no_flank() -> None:
    """The one reading on the flank stands before a hole of 20 deg: it counts for two readings, not for ten."""
    angle, lifts = flat_top(1)
    angle[31:] += 20.0
    with pytest.raises(CannotEvaluate, match="found a step of 8 mm with 2 cam deg of flanks"):
        refuse_no_lobe(("1I",), angle, lifts)


@pytest.mark.parametrize(("last", "cut_off"), [(5.001, False), (5.1, True)])
@pytest.mark.parametrize("rising", [True, False])
def test_an_event_that_has_come_to_rest_at_its_end_is_not_cut_off(last: float, cut_off: bool, rising: bool) -> None:
    """Only the change between the last two knots tells; noise of 0.001 mm, five times that is no change."""
    lift = np.array([0.0, 1.0, 3.0, 5.0, last])[:: 1 if rising else -1][None]
    if not cut_off:
        refuse_cut_off(("1I",), lift, np.array([1e-3]), 1.0)
        return
    where = "last" if rising else "first"
    with pytest.raises(CannotEvaluate, match=rf"5.1 mm, at the {where} angle, still changing by 0.1 mm"):
        refuse_cut_off(("1I",), lift, np.array([1e-3]), 1.0)
