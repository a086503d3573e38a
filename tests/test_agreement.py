"""Turns and sweeps are compared before they are joined: refused, warned of and counted; drift; form of base circles."""

from __future__ import annotations

import contextlib
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from coverage_study import KINDS, LOBES, MOTION, Scenario, drift, scaled, slipped, study, take
from lobe_samples import LIFT, Floats, correlated, design
from something import each

from valvelab.cli.main import main
from valvelab.errors import BadFile, CannotEvaluate
from valvelab.inspection.lobes.inspect import LobesQuestion, inspect_lobes
from valvelab.inspection.lobes.notes import doubt_notes
from valvelab.inspection.lobes.repeatability import doubts_of
from valvelab.lobe.agreement import CLOSING, OPENING, SCALE, ZERO, compare
from valvelab.lobe.conditioning import condition
from valvelab.lobe.profile import fit_lobes
from valvelab.lobe.trace import Trace
from valvelab.records.measurement import LiftTable
from valvelab.records.result import Source

LOBE = LOBES["asymmetric"]
TWO = np.arange(720.0)
SECOND = TWO >= 360.0
NOISE = np.random.default_rng(11).normal(0.0, 1e-3, TWO.size)
PAIR = np.repeat([0, 1], 360)


def joined(lift: Floats, sweep: np.ndarray | None = None) -> None:
    fit_lobes(condition((Trace("1E", TWO, lift + NOISE, sweep),)))


def inspected(*lifts: Floats, angle: Floats = TWO, settings: LobesQuestion | None = None) -> list[str]:
    """Warnings of a table, one text each."""
    traces = tuple(Trace(f"{k}I", angle, lift) for k, lift in enumerate(lifts, start=1))
    table = LiftTable(
        file="t", traces=traces, source=Source(file="t", sha256="0" * 64), encoder_uncertainty_cam_deg=0.01
    )
    result = inspect_lobes(table, question=settings).result
    return [f"{note.about}: {note.text}" for note in result.notes if note.level == "warning"]


@pytest.mark.parametrize("nose", [200.0, 350.0, 500.0, 700.0])
def test_crank_degrees_read_as_cam_degrees_are_refused(nose: float) -> None:
    """A lobe in the first half of the crank's two turns, across the middle, in the second half, across the end."""
    with pytest.raises(CannotEvaluate, match=r"turn 2 to differ from turn 1 by \d.*crank degrees read as cam"):
        joined(LOBE.value((TWO - nose) / 2.0))


@pytest.mark.parametrize("sweep", [None, PAIR])
def test_what_contradicts_itself_is_refused_with_its_likely_cause(sweep: np.ndarray | None) -> None:
    one, other = ("turn 2", "turn 1") if sweep is None else ("sweep 2", "sweep 1")
    for off, sense in ((10.0, "later"), (-40.0, "earlier")):
        stands = f"{one} to stand {abs(off):.1f} cam deg {sense} than {other}.*slipped"
        with pytest.raises(CannotEvaluate, match=stands):
            joined(LOBE.value(TWO - 100.0 - off * SECOND), sweep)
    with pytest.raises(CannotEvaluate, match=f"{one} to lift 0.80 times what {other} lifts.*another lobe"):
        joined(LOBE.value(TWO - 100.0) * np.where(SECOND, 0.8, 1.0), sweep)
    double = LOBE.value(TWO - 100.0) + SECOND * LOBE.value(TWO - 220.0)
    with pytest.raises(CannotEvaluate, match=f"{one} to differ from {other} by .* mm of lift, whatever the shift"):
        joined(double, sweep)


def test_turns_that_differ_by_less_are_joined() -> None:
    """A zero set anew, four degrees of slip, a twentieth of the lift, another start, another sense."""
    at = LOBE.value(TWO - 100.0)
    joined(at + 1.0 * SECOND, PAIR)
    joined(LOBE.value(TWO - 100.0 - 4.0 * SECOND))
    joined(at * np.where(SECOND, 0.95, 1.0))
    backward = np.concatenate([TWO[:360], TWO[:360][::-1] + 0.5])
    fit_lobes(condition((Trace("1E", backward, LOBE.value(backward - 100.0), PAIR),)))


def test_the_command_refuses_two_turns_of_cam_degrees_that_are_crank_degrees(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "crank.csv"
    rows = "".join(f"{a:g},{y:.4f}\n" for a, y in zip(TWO, design("poly4567").value(TWO / 2.0), strict=True))
    path.write_text("angle [cam deg],1I [mm]\n" + rows, encoding="utf-8")
    assert main(["lobes", str(path)]) == 3
    err = capsys.readouterr().err
    assert "crank" in err
    assert len(err.splitlines()) == 1


@pytest.mark.parametrize("step", [0.5, 2.5])
def test_each_effect_is_found_as_put_in(step: float) -> None:
    """Zero, both flanks and scale of the second of two turns, within their stated noise."""
    angle = np.arange(0.0, 720.0, step)
    second = angle >= 360.0
    lobe = LOBES["cycloid"]
    rng = np.random.default_rng(3)
    moved = 1.004 * lobe.value(angle - 100.0 - np.where(np.mod(angle, 360.0) < 100.0, 0.05, 0.08)) + 0.006
    lift = np.where(second, moved, lobe.value(angle - 100.0)) + rng.normal(0.0, 1e-3, angle.size)
    found = compare(fit_lobes(condition((Trace("1I", angle, lift),))))
    assert found is not None
    off = found.effects[0, 1] - found.effects[0, 0]
    u = np.sqrt(np.diagonal(found.covariance[0], axis1=1, axis2=2).sum(axis=0))
    for effect, wanted in ((ZERO, 0.006), (OPENING, 0.05), (CLOSING, 0.08), (SCALE, 0.004)):
        assert abs(off[effect] - wanted) < 3.5 * u[effect] + 0.02 * wanted


@pytest.mark.parametrize(
    ("modifier", "kept", "moved"),
    [(slipped(0.5), {"max_lift", "duration@1.27", "area"}, {"centre", "opening@1.27"}),
     (scaled(0.99), {"centre"}, {"max_lift", "duration@5.08", "area", "velocity_max"})],
)  # fmt: skip
def test_what_two_turns_disagree_in_is_covered_and_nothing_else_is_wider(
    modifier: object, kept: set[str], moved: set[str]
) -> None:
    """The truth is the first turn's: 95 % intervals hold it, and u is at most 2.5 × the error seen."""
    scenario = Scenario("asymmetric", 1.0, noise_mm=0.001, turns=2)
    found = study(replace(scenario, modifiers=(modifier,)), 12).seen  # type: ignore[arg-type]
    plain = study(scenario, 12).seen
    for name in each(moved):
        assert found[name].coverage > 0.9
        assert 0.6 < found[name].ratio < 2.5
    for name in each(kept):
        assert np.median(found[name].u) < 1.6 * np.median(plain[name].u) + 2e-3


def test_a_disagreement_is_a_warning_with_its_figure() -> None:
    at = LOBE.value(TWO - 100.0)
    slip = LOBE.value(TWO - 100.0 - 0.5 * SECOND) + NOISE
    said = inspected(slip)
    assert [text for text in said if text.startswith("1I repeatability: turns disagree by up to 0.50")], said
    said = inspected(at * np.where(SECOND, 0.99, 1.0) + NOISE, at + NOISE[::-1])
    assert [text for text in said if text.startswith("1I repeatability: turns disagree by up to 86.")], said
    assert not any("2I" in text for text in said)


@pytest.mark.parametrize(
    ("step", "turns", "lag", "division"), [(1.0, 3, 0.0, 0.0), (2.5, 5, 0.6, 0.0), (5.0, 2, 0.0, 0.01)]
)
def test_a_good_table_of_sixteen_lobes_is_not_warned(step: float, turns: int, lag: float, division: float) -> None:
    """Noise alone warns in at most one table of twenty, whatever its lobes, turns, correlation and rounding.

    Of 30 tables five or more would be warned once in a hundred such tests.
    """
    rng = np.random.default_rng([int(10 * step), turns])
    warned = 0
    angle = np.arange(0.0, 360.0 * turns + 0.5 * step, step)
    names = list(LOBES)
    for _ in range(30):
        noise = correlated(rng, (16, angle.size), lag, 1e-3 if division == 0.0 else 2e-3)
        lifts = [LOBES[names[k % len(names)]].value(angle - rng.uniform(0.0, 360.0)) + noise[k] for k in range(16)]
        if division:
            lifts = [division * np.round(lift / division + rng.uniform(-0.5, 0.5)) for lift in lifts]
        fitted = fit_lobes(condition(tuple(Trace(f"{k}", angle, lift) for k, lift in enumerate(lifts))))
        warned += bool([*doubt_notes(doubts_of(fitted), 16)])
    assert warned < 5


def test_two_sweeps_set_up_anew_are_given_their_whole_difference() -> None:
    lift = LOBE.value(TWO - 100.0 - 0.2 * SECOND) + NOISE
    found = compare(fit_lobes(condition((Trace("1I", TWO, lift, PAIR),))))
    assert found is not None
    spread = found.spread(np.array([0.0, 0.5, 0.5, 0.0]))
    assert spread.across[0] == pytest.approx(0.2, abs=0.003)
    assert np.sqrt(spread.extra[0]) == pytest.approx(0.2, abs=0.003)


def test_sweeps_of_the_event_alone_are_compared_in_zero_too() -> None:
    one = np.arange(-95.0, 100.0)
    angle, sweep = np.tile(one, 2), np.repeat([0, 1], one.size)
    lift = LOBE.value(angle) + 0.02 * sweep + NOISE[: angle.size]
    traces = (Trace("1I", angle, lift, sweep),)
    table = LiftTable(file="t", traces=traces, source=Source(file="t", sha256="0" * 64))
    result = inspect_lobes(table).result
    assert any("sweeps disagree by up to 2" in note.text and "in zero" in note.text for note in result.notes)
    u = result.lobes[0].uncertainty["max_lift_mm"]
    assert u is not None
    assert u == pytest.approx(0.02, rel=0.15)


def test_a_drift_that_the_closing_reading_shows_is_warned_of_and_covered() -> None:
    scenario = Scenario("2-10-12-14", 1.0, noise_mm=0.001, closing=True, modifiers=(drift(0.01),))
    table, _ = take(scenario, np.random.default_rng(1))
    said = [note for note in inspect_lobes(table).result.notes if note.about == "1I drift"]
    assert said
    assert said[0].level == "warning"
    assert "the zero drifts by up to" in said[0].text
    seen = study(scenario, 16).seen
    for name in KINDS:
        assert seen[name].coverage >= (0.85 if KINDS[name] == MOTION else 0.9), name
    assert seen["max_lift"].ratio < 2.5
    assert seen["duration@0.15"].ratio < 2.5


def begun(begins: float, drifts_mm: float, seed: int, form: Floats | float = 0.0, sense: int = 1) -> LiftTable:
    """A turn of readings each half degree from an angle on, nose at 100.3 and rest from 182 to 378 cam deg."""
    angle = begins + sense * 0.5 * np.arange(720)
    rng = np.random.default_rng(seed)
    lift = design("poly4567").value(np.mod(angle, 360.0)) + 0.02 * np.cos(np.radians(angle - rng.uniform(0.0, 360.0)))
    lift += drifts_mm * np.arange(720) / 720.0 + form + rng.normal(0.0, 5e-4, 720)
    return LiftTable(
        file="t", traces=(Trace("1I", np.mod(angle, 360.0), lift),), source=Source(file="t", sha256="0" * 64)
    )


@pytest.mark.parametrize(
    ("begins", "sense"), [(0.0, 1), (200.0, 1), (240.0, 1), (290.0, 1), (345.0, 1), (200.0, -1), (345.0, -1)]
)
def test_a_drift_without_a_closing_reading_shows_where_the_turn_begins_on_the_rest(begins: float, sense: int) -> None:
    """The lift is off by half of the drift and more; its interval holds the true one."""
    result = inspect_lobes(begun(begins, 0.01, 1, sense=sense)).result
    (said,) = [note for note in result.notes if note.about == "1I drift"]
    assert said.level == "warning"
    assert "the zero drifts by up to 9." in said.text or "the zero drifts by up to 10." in said.text
    lobe = result.lobes[0]
    u = lobe.uncertainty["max_lift_mm"]
    assert lobe.max_lift_mm is not None
    assert u is not None
    assert abs(lobe.max_lift_mm - LIFT) < 2.0 * u < 0.05


def test_noise_and_form_of_the_base_circle_are_no_drift() -> None:
    angle = 0.5 * np.arange(720)
    told = 0
    for seed in range(20):
        rng = np.random.default_rng(100 + seed)
        begins, at, wide = float(rng.integers(185, 375)), rng.uniform(190.0, 370.0), rng.uniform(5.0, 30.0)
        away = np.abs(np.mod(angle + begins - at + 180.0, 360.0) - 180.0) / wide
        forms = (
            0.0,
            -0.02 * (1.0 + np.cos(np.pi * np.minimum(away, 1.0))),
            0.01 * np.cos(np.radians(rng.integers(2, 9) * (angle + begins))),
        )
        for form in forms:
            told += any(note.about == "1I drift" for note in inspect_lobes(begun(begins, 0.0, seed, form)).result.notes)
    assert told == 0


def test_turns_that_step_in_zero_are_a_drift_and_sweeps_set_anew_are_not() -> None:
    angle = np.arange(0.0, 1080.0)
    noise = np.random.default_rng(2).normal(0.0, 1e-3, angle.size)
    lift = LOBE.value(angle - 100.0) + noise
    said = inspected(lift + 0.01 * angle / 360.0, angle=angle)
    assert any("the zero drifts by up to 10." in text or "the zero drifts by up to 9." in text for text in said), said
    sweep = np.repeat([0, 1, 2], 360)
    anew = fit_lobes(condition((Trace("1I", angle, lift + 0.05 * sweep, sweep),)))
    assert [*doubt_notes(doubts_of(anew), 1)] == []


def test_form_of_the_base_circle_widens_what_rests_on_it() -> None:
    """Waves of 10 µm pull at zero and eccentricity; the lift they move stays inside its interval."""
    angle = np.arange(720) * 0.5
    lobe = design("poly4567")
    rng = np.random.default_rng(8)
    rest = np.clip((np.abs(np.mod(angle - lobe.centre + 180.0, 360.0) - 180.0) - 84.0) / 10.0, 0.0, 1.0)
    inside = []
    for _ in range(12):
        wave = np.cos(np.radians(rng.integers(3, 7) * angle) + rng.uniform(0.0, 6.3))
        lift = lobe.value(angle) + 0.01 * rest * wave + rng.normal(0.0, 1e-3, angle.size)
        table = LiftTable(file="t", traces=(Trace("1I", angle, lift),), source=Source(file="t", sha256="0" * 64))
        found = inspect_lobes(table).result.lobes[0]
        u = found.uncertainty["max_lift_mm"]
        assert found.max_lift_mm is not None
        assert u is not None
        inside.append(abs(found.max_lift_mm - 8.0) < 1.96 * u)
    assert np.mean(inside) >= 0.8


def test_the_envelope_counts_what_turns_disagree_in(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lobe = design("poly4567")
    one = TWO[:360]

    def write(name: str, angle: Floats, lift: Floats) -> Path:
        rows = "".join(f"{a:g},{y:.5f}\n" for a, y in zip(angle, lift, strict=True))
        (tmp_path / name).write_text("# encoder uncertainty: 0.001 cam deg\nangle [cam deg],1I [mm]\n" + rows)
        return tmp_path / name

    write("nominal.csv", one, lobe.value(one))
    band = "[[envelope.band]]\nfrom = -70\nto = 70\nbelow = 0.1\nabove = 0.1\n"
    (tmp_path / "spec.toml").write_text('[[envelope]]\nlobes = "all"\nnominal = "nominal.csv"\n' + band)
    stated = []
    for scale in (1.0, 0.99):
        path = write("two.csv", TWO, lobe.value(TWO) * np.where(SECOND, scale, 1.0) + NOISE)
        main(["lobes", str(path), "--spec", str(tmp_path / "spec.toml"), "--json"])
        answer = json.loads(capsys.readouterr().out)
        stated.append(next(row for row in answer["verdicts"] if row["characteristic"] == "envelope"))
    assert stated[0]["standard_uncertainty"] < 2e-3
    assert stated[1]["standard_uncertainty"] == pytest.approx(0.08, rel=0.3)


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.filterwarnings("error")
def test_mutilated_tables_give_a_result_or_a_sentence(seed: int) -> None:
    """Turns cut short, thinned, holed, scaled, with spikes, in sweeps of any length, backward: finite or refused."""
    rng = np.random.default_rng(seed)
    answered = 0
    for _ in range(12):
        step = float(rng.choice([2.5, 5.0, 10.0]))
        angle = np.arange(0.0, 360.0 * rng.integers(1, 4) + rng.choice([0.0, step]), step)
        angle = angle + rng.choice([0.0, 0.3]) * step * rng.uniform(-1.0, 1.0, angle.size)
        lift = LOBE.value(angle - rng.uniform(0.0, 360.0)) + rng.choice([0.0, 1e-3]) * rng.normal(0.0, 1.0, angle.size)
        lift = 0.01 * np.round(lift / 0.01) if rng.random() < 0.3 else lift
        lift = np.where(angle > 360.0, rng.choice([1.0, 0.97, 1.2]), 1.0) * lift
        first, last = np.sort(rng.integers(0, angle.size, 2))
        used = [slice(None), slice(first, None), slice(first, last), rng.random(angle.size) < 0.6][rng.integers(0, 4)]
        angle, lift = angle[used], lift[used]
        if angle.size == 0:
            continue
        if rng.random() < 0.3:
            lift[rng.integers(0, lift.size, 3)] += 5.0
        order = slice(None, None, -1 if rng.random() < 0.3 else 1)
        sweep = np.arange(angle.size) * 2 // angle.size if rng.random() < 0.3 else None
        traces = (Trace("1I", angle[order].copy(), lift[order].copy(), sweep),)
        table = LiftTable(file="t", traces=traces, source=Source(file="t", sha256="0" * 64))
        # the record takes finite numbers only
        with contextlib.suppress(BadFile):
            answered += bool(inspect_lobes(table).result.lobes)
    assert answered > 3
