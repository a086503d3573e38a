"""Rule lift by an indicator at the retainer: numbers against outside facts, refusals, commands, paper."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path
from statistics import NormalDist
from typing import Any

import numpy as np
import pytest
from papers import carried_files, page_texts, with_files
from something import each

from valvelab.cli.main import main
from valvelab.conformity.decision import decide, guard_band
from valvelab.conformity.repeats import repeats_of
from valvelab.errors import BadFile
from valvelab.files.adopted_uncertainty import write_adopted
from valvelab.files.lift_check_sheet import parse_lift_check
from valvelab.inspection.lift_check.inspect import LiftCheckInspection, inspect_lift_check
from valvelab.inspection.lift_check.measure import InstrumentInUse, checked
from valvelab.job.verify import verify
from valvelab.places import sample_profiles
from valvelab.records.gauge_result import AdoptedUncertainty
from valvelab.records.lift_check import LiftCheck, TimingWheel

SAMPLE = sample_profiles() / "quillmere_spring_meeting.toml"
HEAD = """event = "Quillmere spring meeting"
date = "2026-05-02"
[instrument]
uncertainty = "4 um"
resolution = "0.01 mm"
"""
LIMIT = """[[limit]]
of = "rule_lift"
max = "10.40 mm"
clause = "club rules 5.2"
"""
INCH_HEAD = """[instrument]
uncertainty = "0.0002 in"
resolution = "0.001 in"
"""
INCH_LIMIT = LIMIT.replace("10.40 mm", "0.410 in")
INCH_CHECK = """[[check]]
item = "boat 7"
valve = "1I"
open = ["0.409 in"]
"""
EVENT = """[[check.event]]
lift = "1.27 mm"
"""


def a_check(
    item: str = "car 14", valve: str = "1I", zero: str = '"0.00 mm"', opened: str = '"10.36 mm", "10.37 mm"'
) -> str:
    return f'[[check]]\nitem = "{item}"\nvalve = "{valve}"\nzero = [{zero}]\nopen = [{opened}]\n'


def inspected(text: str) -> LiftCheckInspection:
    return inspect_lift_check(parse_lift_check(text.encode()))


def aside(reading: int, reason: str, of: str = "open") -> str:
    return f'[[check.set_aside]]\nof = "{of}"\nreading = {reading}\nreason = "{reason}"\n'


def written(folder: Path, text: str) -> Path:
    path = folder / "sheet.toml"
    path.write_text(text, encoding="utf-8")
    return path


def run(capsys: pytest.CaptureFixture[str], *words: str | Path) -> tuple[int, str, str]:
    code = main([str(word) for word in words])
    said = capsys.readouterr()
    return code, said.out, said.err


# --- numbers ---


def test_mean_and_scatter_of_twenty_readings() -> None:
    # JCGM 100:2008, 4.4.3 with table 1: twenty temperatures, from memory; they give the mean, s, s/√20 printed there
    readings = [
        96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07,
        100.33, 100.42, 100.68, 100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72,
    ]  # fmt: skip
    found = repeats_of(readings)
    assert found is not None
    assert found.mean == pytest.approx(100.145, abs=0.0005)
    assert found.standard_deviation == pytest.approx(1.489, abs=0.0005)
    # s/√20 = 0.333 there; wider by √(19/17) here, for being of twenty only (JCGM 101:2008, 6.4.9)
    assert found.uncertainty == pytest.approx(0.333 * math.sqrt(19.0 / 17.0), abs=0.001)


def test_the_uncertainty_is_calibration_open_and_zero() -> None:
    """u² = calibration² + u(open)² + u(zero)², each of five readings by JCGM 101:2008, 6.4.9."""
    opened, zero = [10.36, 10.38, 10.35, 10.37, 10.34], [0.00, 0.01, -0.01, 0.01, 0.00]
    texts = [", ".join(f'"{value:.2f} mm"' for value in values) for values in (opened, zero)]
    (row,) = inspected(HEAD + a_check(zero=texts[1], opened=texts[0])).result.checks
    u_open, u_zero = (np.std(values, ddof=1) / math.sqrt(5.0) * math.sqrt(2.0) for values in (opened, zero))
    assert row.mean_mm == pytest.approx(np.mean(opened) - np.mean(zero))
    assert row.standard_uncertainty_mm == pytest.approx(math.hypot(0.004, u_open, u_zero))


def test_equal_readings_are_known_to_the_division() -> None:
    # a division's rectangular distribution, JCGM 100:2008 F.2.2.1, at full lift and shut
    five = ", ".join(['"10.36 mm"'] * 5)
    (row,) = inspected(HEAD + a_check(zero='"0.00 mm", "0.00 mm"', opened=five)).result.checks
    assert row.standard_uncertainty_mm == pytest.approx(math.hypot(0.004, 0.01 / math.sqrt(12), 0.01 / math.sqrt(12)))


def test_one_shut_reading_scatters_like_full_lift() -> None:
    opened = [10.36, 10.38, 10.35, 10.37, 10.34]
    texts = ", ".join(f'"{value:.2f} mm"' for value in opened)
    sd = np.std(opened, ddof=1)
    for zero in ('"0.00 mm"', ""):
        (row,) = inspected(HEAD + a_check(zero=zero, opened=texts)).result.checks
        u = math.hypot(0.004, sd / math.sqrt(5.0) * math.sqrt(2.0), sd * math.sqrt(2.0))
        assert row.standard_uncertainty_mm == pytest.approx(u)


def test_a_ratio_and_a_temperature_enter() -> None:
    sheet = HEAD + a_check(opened='"6.87 mm", "6.87 mm", "6.87 mm", "6.87 mm"', zero='"0.00 mm", "0.00 mm"')
    (plain,) = inspected(sheet).result.checks
    (derived,) = inspected(f"{sheet}ratio = 1.5\nratio_uncertainty = 0.004\n").result.checks
    assert derived.mean_mm == pytest.approx(1.5 * 6.87)
    assert plain.standard_uncertainty_mm is not None
    expected = math.hypot(1.5 * plain.standard_uncertainty_mm, 6.87 * 0.004)
    assert derived.standard_uncertainty_mm == pytest.approx(expected)
    # steel, 11.5 µm/m/K (engineering handbooks): 40 K over 20 °C lengthen 6.87 mm by 3.16 µm
    (warm,) = inspected(f'{sheet}temperature = "60 degC"\n').result.checks
    assert warm.standard_uncertainty_mm == pytest.approx(math.hypot(plain.standard_uncertainty_mm, 0.00316), abs=1e-6)
    (whole,) = inspected(f'temperature = "60 degC"\n{sheet}').result.checks
    assert whole.standard_uncertainty_mm == warm.standard_uncertainty_mm


def test_the_chance_of_conformity_is_that_of_the_normal_distribution() -> None:
    # JCGM 106:2012, clause 7, one upper limit: Φ((U − y)/u)
    (verdict,) = inspected(
        HEAD + LIMIT + a_check(opened='"10.39 mm", "10.40 mm", "10.40 mm", "10.39 mm"')
    ).result.verdicts
    assert verdict.measured is not None
    assert verdict.standard_uncertainty is not None
    z = (10.40 - verdict.measured) / verdict.standard_uncertainty
    assert verdict.probability_conforming == pytest.approx(NormalDist().cdf(z))
    assert verdict.decision == "undecided"


def test_the_guard_band_of_the_guarded_rule() -> None:
    # ISO 14253-1:2017, 95 % one-sided: 1.6449 u
    band = guard_band(0.01, "guarded", 0.95)
    assert band == pytest.approx(0.016449, abs=1e-6)
    assert decide(10.40 - band - 1e-6, 0.01, None, 10.40).outcome == "accept"
    assert decide(10.40 - band + 1e-6, 0.01, None, 10.40).outcome == "undecided"
    assert decide(10.40 + band + 1e-6, 0.01, None, 10.40).outcome == "reject"


@pytest.mark.parametrize("division", [0.01, 0.0254])
@pytest.mark.parametrize("count", [1, 3, 5, 10])
@pytest.mark.parametrize("scatter", [0.002, 0.010])
def test_intervals_hold_and_cars_just_outside_are_not_accepted(division: float, count: int, scatter: float) -> None:
    """Zero read once, indicator wrong by its calibration, any place between divisions; common practice for repeats.

    A single reading with the repeatability that is stated for the dial, which is that of readings as read.
    """
    trials = 150
    random = np.random.default_rng(round(1e6 * division) + 100 * count + round(1e4 * scatter))
    stated = math.hypot(scatter, division / math.sqrt(12.0)) if count == 1 else None
    use = InstrumentInUse(0.004, division, stated)
    held = accepted = 0
    for _ in range(trials):
        true, start, wrong = (
            random.uniform(10.36, 10.36 + division),
            random.uniform(0.0, division),
            random.normal(0.0, 0.004),
        )
        zero = _read(start + random.normal(0.0, scatter, 1), division)
        opened = _read(start + true + wrong + random.normal(0.0, scatter, count), division)
        lift = checked(LiftCheck(item="car", valve="1I", zero_mm=zero, open_mm=opened), use, TimingWheel(), None).lift
        assert lift.value is not None
        assert lift.u is not None
        held += abs(lift.value - true) <= 1.96 * lift.u
        accepted += decide(lift.value, lift.u, None, true - 1e-4).outcome == "accept"
    assert held >= 0.9 * trials
    assert accepted <= 0.05 * trials + 2.0 * math.sqrt(0.05 * 0.95 * trials)


def _read(values: Any, division: float) -> tuple[float, ...]:
    return tuple(float(value) for value in np.round(np.round(values / division) * division, 7))


# --- what a reader has to know ---


def test_one_reading_is_said() -> None:
    result = inspected(HEAD + LIMIT + a_check(opened='"10.30 mm"')).result
    assert result.verdicts[0].reason == "one reading tells nothing of its repeatability"
    assert any(note.level == "warning" and note.text.startswith("one reading only") for note in result.notes)


def test_a_zero_that_wanders_is_said_and_counts() -> None:
    steady = inspected(HEAD + a_check(zero='"0.00 mm", "0.01 mm", "0.00 mm", "0.01 mm"')).result
    found = inspected(HEAD + a_check(zero='"0.00 mm", "0.01 mm", "0.00 mm", "0.05 mm"')).result
    assert not any("apart" in note.text for note in steady.notes)
    assert any("the zero readings lie 0.05 mm apart" in note.text for note in found.notes)
    (before,), (after,) = steady.checks, found.checks
    assert after.standard_uncertainty_mm is not None
    assert before.standard_uncertainty_mm is not None
    assert after.standard_uncertainty_mm >= 0.05 / math.sqrt(12.0)
    assert before.standard_uncertainty_mm < after.standard_uncertainty_mm


def test_a_reading_that_stands_off_leaves_it_undecided_until_it_is_set_aside() -> None:
    readings = '"10.33 mm", "10.34 mm", "10.13 mm", "10.33 mm", "10.34 mm"'
    found = inspected(HEAD + LIMIT + a_check(opened=readings)).result
    assert found.checks[0].doubtful_readings == (2,)
    assert found.verdicts[0].decision == "undecided"
    assert "reading 3 (10.13 mm) stands off" in str(found.verdicts[0].reason)
    settled = inspected(HEAD + LIMIT + a_check(opened=readings) + aside(3, "dial knocked")).result
    assert settled.checks[0].mean_mm == pytest.approx(10.335)
    assert settled.verdicts[0].decision == "accept"
    assert any(note.text == "open reading 3, 10.13 mm, set aside: dial knocked" for note in settled.notes)


def test_a_valve_without_readings_is_undecided_with_its_reason() -> None:
    found = inspected(HEAD + LIMIT + a_check(opened="")).result
    assert found.checks[0].mean_mm is None
    assert (found.verdicts[0].decision, found.verdicts[0].reason) == ("undecided", "no reading at full lift")
    both = inspected(HEAD + LIMIT + a_check() + aside(1, "slipped") + aside(2, "slipped")).result
    assert both.verdicts[0].reason == "every reading at full lift is set aside"


@pytest.mark.parametrize(
    ("zero", "opened", "why"),
    [
        ("10.50 mm", "10.37 mm", "open reads 0.13 mm less than shut"),
        ("0.00 mm", "-10.37 mm", "open reads 10.37 mm less than shut"),
        ("0.00 mm", "0.412 mm", "0.412 mm is no valve's lift"),
        ("0.00 mm", "1037 mm", "1037 mm is no valve's lift"),
    ],
)
def test_a_size_that_no_valve_has_is_never_judged(zero: str, opened: str, why: str) -> None:
    found = inspected(HEAD + LIMIT + a_check(zero=f'"{zero}"', opened=f'"{opened}"')).result
    assert found.verdicts[0].decision == "undecided"
    assert why in str(found.verdicts[0].reason)


def test_an_instrument_without_an_uncertainty_or_past_its_date_is_said() -> None:
    notes = inspected(LIMIT + a_check()).result.notes
    assert any("uncertainty is not stated" in note.text for note in notes)
    late = HEAD.replace("[instrument]", '[instrument]\ndue = "2026-05-01"')
    assert any("was due on 2026-05-01" in note.text for note in inspected(late + LIMIT + a_check()).result.notes)
    due = HEAD.replace("[instrument]", '[instrument]\ndue = "2026-05-02"')
    assert not any("was due" in note.text for note in inspected(due + LIMIT + a_check()).result.notes)


def test_a_sheet_without_a_rule_judges_nothing_and_says_so() -> None:
    result = inspected(HEAD + a_check()).result
    assert result.verdicts == ()
    assert any(note.level == "warning" and "nothing was judged" in note.text for note in result.notes)


def test_a_note_on_many_valves_is_told_once() -> None:
    many = "".join(a_check(f"car {number}", opened='"10.30 mm"') for number in range(12))
    notes = [note for note in inspected(HEAD + LIMIT + many).result.notes if note.text.startswith("one reading")]
    assert [note.about for note in notes] == ["12 checks"]


# --- refusals ---

REFUSED = {
    "a limit without a unit beside inches": (
        INCH_HEAD + LIMIT.replace('"10.40 mm"', "0.41") + INCH_CHECK,
        "[[limit]] 1 max: found 0.41 without a unit beside inches",
    ),
    "a reading without a unit beside inches": (
        INCH_HEAD + INCH_LIMIT + INCH_CHECK.replace('["0.409 in"]', '["0.409 in", 0.408]'),
        "[[check]] 1 open: found 0.408 without a unit beside inches",
    ),
    "a division without a unit beside inches": (
        INCH_HEAD.replace('"0.001 in"', "0.001") + INCH_LIMIT + INCH_CHECK,
        "[instrument] resolution: found 0.001 without a unit beside inches",
    ),
    "ends the wrong way round": (
        HEAD + LIMIT.replace("max", 'min = "10.5 mm"\nmax') + a_check(),
        "[[limit]] 1 rule_lift: found lower 10.5 above upper 10.4",
    ),
    "a characteristic that it does not judge": (
        HEAD + LIMIT.replace("rule_lift", "max_lift") + a_check(),
        "[[limit]] 1 of: found 'max_lift', expected rule_lift, opening, closing",
    ),
    "an event on a lift table's angle": (
        HEAD + '[[limit]]\nof = "opening"\nat = "1.27 mm"\nmax = "58 cam deg"\n' + a_check(),
        "[[limit]] 1 opening: found an angle of a lift table, or at the follower",
    ),
    "a valve twice": (
        HEAD + LIMIT + a_check() + a_check(valve="1i"),
        "[[check]] 2: found car 14 1i again, as in check 1",
    ),
    "an event from the wrong dead centre": (
        HEAD + LIMIT + a_check() + EVENT + 'opens = ["9 deg BBDC"]\n',
        "[[check]] 1 event: found an angle from BDC, expected one from TDC for the opening of an intake",
    ),
    "a rule from the wrong dead centre": (
        HEAD + '[[rule]]\nlift = "1.27 mm"\nopens_max = "58 deg BBDC"\n' + a_check() + EVENT + "opens = [9]\n",
        "[[rule]] 1 opening: found an angle from BDC for car 14 1I, expected one from TDC",
    ),
    "a rule without an end": (
        HEAD + '[[rule]]\nlift = "1.27 mm"\n' + a_check(),
        "[[rule]] 1: found no end, expected opens_min, opens_max, closes_min or closes_max",
    ),
    "a reading set aside that is not there": (
        HEAD + LIMIT + a_check() + aside(3, "slipped"),
        "[[check]] 1 set_aside: found open reading 3, expected one of 2 readings, from 1",
    ),
    "a reading set aside before the first": (
        HEAD + LIMIT + a_check() + aside(0, "slipped", "zero"),
        "[[check]] 1 set_aside: found zero reading 0, expected one of 1 readings, from 1",
    ),
    "a reading set aside for nothing": (
        HEAD + LIMIT + a_check() + aside(1, ""),
        "[[check]] 1 set_aside 1 reason: found ''",
    ),
    "a date in another order": (
        HEAD.replace("2026-05-02", "02.05.2026") + LIMIT + a_check(),
        "date: found '02.05.2026', expected a date as YYYY-MM-DD",
    ),
    "a ratio's uncertainty alone": (
        HEAD + LIMIT + a_check() + "ratio_uncertainty = 0.01\n",
        "[[check]] 1 ratio_uncertainty: found it without a ratio",
    ),
    "another dimension": (HEAD + LIMIT + a_check(opened='"10.36 N"'), "[[check]] 1 open 1: found unit 'N'"),
    "a length beyond all": (HEAD + LIMIT + a_check(opened='"10.4 m"'), "[[check]] 1 open 1: found '10.4 m'"),
    "a word for a number": (HEAD + LIMIT + a_check(opened='"ten"'), "[[check]] 1 open 1: found 'ten'"),
    "no number": (HEAD + LIMIT + a_check(opened="nan"), "[[check]] 1 open 1: found nan"),
    "no check": (HEAD + LIMIT, "found no [[check]], expected a valve that was read"),
    "an empty sheet": ("", "found no [[check]], expected a valve that was read"),
    "a sheet of another kind": (
        "[stop]\nreadings = [-28.5, 31.0]\n",
        "found unknown key 'stop', expected one of event, date",
    ),
    "a misspelt key": (HEAD + LIMIT + a_check() + 'opne = ["10 mm"]\n', "[[check]] 1: found unknown key 'opne'"),
    "no TOML": (HEAD + "[[check]\n", "line 6, column 8: found no TOML"),
    "one key twice": (HEAD + LIMIT + a_check() + 'open = ["10 mm"]\n', "found no TOML (cannot overwrite a value)"),
    "a gauge study that is gone": (
        HEAD.replace('uncertainty = "4 um"', 'adopted = "gone.toml"') + LIMIT + a_check(),
        "gone.toml: found no such file or directory",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", REFUSED)
def test_what_cannot_be_used_is_one_sentence(case: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text, sentence = REFUSED[case]
    code, out, err = run(capsys, "liftcheck", written(tmp_path, text), "--json")
    assert (code, out) == (3, "")
    assert len(err.splitlines()) == 1
    assert sentence in err


def test_inches_with_their_unit_are_read() -> None:
    (row,) = inspected(INCH_HEAD + INCH_LIMIT + INCH_CHECK + "zero = [0]\n").result.checks
    assert row.mean_mm == pytest.approx(0.409 * 25.4)


# --- commands ---


def test_exit_codes_follow_the_gravest_verdict(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    five = ", ".join(['"10.30 mm"'] * 5)
    for opened, expected in (
        (five, 0),
        (five.replace("10.30", "10.50"), 1),
        (five.replace("10.30", "10.40"), 4),
        ("", 4),
    ):
        assert (
            run(capsys, "liftcheck", written(tmp_path, HEAD + LIMIT + a_check(opened=opened)), "--quiet")[0] == expected
        )


def test_json_has_the_keys_of_the_contract(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "liftcheck", SAMPLE, "--json", "--quiet")
    document = json.loads(out)
    assert code == 1
    assert {"program", "version", "command", "source", "notes", "verdicts", "checks"} <= set(document)
    asked = {
        "item", "valve", "readings_mm", "mean_mm", "repeatability_mm", "standard_uncertainty_mm", "doubtful_readings",
    }  # fmt: skip
    for row in each(document["checks"]):
        assert asked <= set(row)
    assert document["verdicts"][0]["item"] == "car 14 1I"
    # the readings as typed, in mm; mean_mm is the lift: mean of the open ones less mean of the shut ones
    second = document["checks"][1]
    assert second["readings_mm"] == [10.21, 10.22, 10.21, 10.22]
    assert second["mean_mm"] == pytest.approx(10.215 - 0.01)
    assert document["checks"][4]["doubtful_readings"] == [2]


def test_limits_of_a_spec_are_judged_beside_the_sheets_own(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    spec = tmp_path / "spec.toml"
    spec.write_text('[[limit]]\nof = "rule_lift"\nmin = "10.355 mm"\nclause = "spec 1"\n', encoding="utf-8")
    sheet = written(tmp_path, HEAD + LIMIT + a_check(opened=", ".join(['"10.36 mm"'] * 5)))
    code, out, _ = run(capsys, "liftcheck", sheet, "--spec", spec, "--json")
    document = json.loads(out)
    assert [(row["clause"], row["lower"], row["upper"]) for row in document["verdicts"]] == [
        ("club rules 5.2", None, 10.4),
        ("spec 1", 10.355, None),
    ]
    assert code == 4
    assert [Path(row["file"]).name for row in document["source"]] == ["sheet.toml", "spec.toml"]


def test_an_item_is_asked_for_by_its_name(capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = run(capsys, "liftcheck", SAMPLE, "--item", "car 22", "--json", "--quiet")
    assert [row["item"] for row in json.loads(out)["checks"]] == ["car 22"]
    code, _, err = run(capsys, "liftcheck", SAMPLE, "--item", "car 23")
    assert code == 3
    assert "found no 'car 23', expected car 14, car 22" in err


def test_an_adopted_uncertainty_counts_where_it_is_the_larger(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    adopted = AdoptedUncertainty(
        kind="dial", standard_uncertainty="0.006 mm", study="study.csv", study_sha256="0" * 64, method="anova"
    )
    write_adopted(tmp_path / "dial.toml", adopted)
    sheet = written(tmp_path, HEAD.replace("[instrument]", '[instrument]\nadopted = "dial.toml"') + LIMIT + a_check())
    told = json.loads(run(capsys, "liftcheck", sheet, "--json")[1])["instrument"]
    assert (told["standard_uncertainty_mm"], told["uncertainty_from"]) == (0.006, "gauge study")
    write_adopted(tmp_path / "dial.toml", adopted.model_copy(update={"standard_uncertainty": "0.002 mm"}))
    told = json.loads(run(capsys, "liftcheck", sheet, "--json")[1])["instrument"]
    assert (told["standard_uncertainty_mm"], told["uncertainty_from"]) == (0.004, "sheet")


# --- paper ---


@pytest.fixture(scope="module")
def paper(tmp_path_factory: pytest.TempPathFactory) -> Path:
    target = tmp_path_factory.mktemp("paper") / "event.pdf"
    assert main(["liftcheck", str(SAMPLE), "--out", str(target), "--quiet"]) == 1
    return target


ON_EVERY_PAGE = (
    "Quillmere spring meeting", "2026-05-02", "scrutineer 2", "dial 2 no. QD-2", "2026-02-10, due 2027-02-10",
    "club rules 5.2", "guard band", "Turn the engine by hand", "inspector, date", "entrant, date",
    "for the event, date",
)  # fmt: skip


def test_the_event_is_listed_and_every_car_has_a_page_whole_by_itself(paper: Path) -> None:
    pages = page_texts(paper)
    assert len(pages) == 6
    assert all(car in pages[0] for car in ("car 14", "car 22", "car 31", "car 40", "car 57"))
    for page, car in each(zip(pages[1:], ("car 14", "car 22", "car 31", "car 40", "car 57"), strict=True)):
        for told in (f"{car}: lift check", *ON_EVERY_PAGE):
            assert told in page, (car, told)
        assert "no serial number" not in page


def test_decisions_stand_in_words(paper: Path) -> None:
    _, _, rejected, undecided, doubtful, derived = (" ".join(text.split()) for text in page_texts(paper))
    assert "0.0650 mm too high" in rejected
    assert "nearer than the guard band of 0.0195 mm" in undecided
    assert "reading 3 (10.13 mm) stands off from the others" in doubtful
    assert "Readings at the lobe or lifter, lift by the ratio 1.5" in derived
    assert "rocker cover sealed" in derived


def test_the_paper_of_one_car_carries_the_sheet_and_names_it(tmp_path: Path) -> None:
    target = tmp_path / "car.pdf"
    assert main(["liftcheck", str(SAMPLE), "--item", "car 31", "--out", str(target), "--quiet"]) == 4
    (page,) = page_texts(target)
    assert "car 31: lift check" in page
    assert "car 14" not in page
    assert carried_files(target)[SAMPLE.name] == SAMPLE.read_bytes()
    assert verify(target).agrees


def test_a_rule_on_valves_of_other_cars_leaves_a_car_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rule = LIMIT + LIMIT.replace("max", 'valves = ["1E"]\nmax')
    five = ", ".join(['"10.30 mm"'] * 5)
    sheet = written(tmp_path, HEAD + rule + a_check(opened=five) + a_check("car 22", "1E", opened=five))
    code, out, _ = run(capsys, "liftcheck", sheet, "--item", "car 14", "--json")
    assert (code, [row["item"] for row in json.loads(out)["verdicts"]]) == (0, ["car 14 1I"])
    nobody = written(tmp_path, HEAD + LIMIT + LIMIT.replace("max", 'valves = ["2E"]\nmax') + a_check(opened=five))
    code, out, _ = run(capsys, "liftcheck", nobody, "--item", "car 14", "--json")
    assert (code, json.loads(out)["verdicts"][1]["item"]) == (4, "2E")


def test_a_paper_in_inches_verifies(tmp_path: Path) -> None:
    target = tmp_path / "boat.pdf"
    sheet = written(tmp_path, INCH_HEAD + INCH_LIMIT + INCH_CHECK.replace("0.409", "0.415"))
    assert main(["liftcheck", str(sheet), "--out", str(target), "--units", "inch", "--quiet"]) == 1
    assert re.search(r"0\.0050+ in too high", " ".join(page_texts(target)[0].split()))
    assert verify(target).agrees


def test_a_changed_reading_is_noticed(paper: Path, tmp_path: Path) -> None:
    forged = SAMPLE.read_bytes().replace(b"10.46 mm", b"10.36 mm")
    found = verify(with_files(paper, tmp_path / "forged.pdf", {SAMPLE.name: forged}))
    assert not found.agrees
    assert any(".mean_mm" in row.where for row in found.differing)


def test_a_hostile_paper_reads_nothing_but_what_it_carries(paper: Path, tmp_path: Path) -> None:
    outside = tmp_path / "outside.toml"
    outside.write_text('kind = "dial"\nstandard_uncertainty = "1 um"\n', encoding="utf-8")
    for name in (str(outside), "../outside.toml"):
        text = SAMPLE.read_text(encoding="utf-8").replace("[instrument]", f'[instrument]\nadopted = "{name}"')
        with pytest.raises(BadFile, match="outside the certificate"):
            verify(with_files(paper, tmp_path / "hostile.pdf", {SAMPLE.name: text.encode()}))


def many_cars(cars: int, valves: tuple[str, ...]) -> str:
    five = ", ".join(['"10.36 mm"'] * 5)
    return HEAD + LIMIT + "".join(a_check(f"car {n}", valve, opened=five) for n in range(cars) for valve in valves)


def test_two_hundred_cars_are_inspected(tmp_path: Path) -> None:
    target = tmp_path / "event.json"
    sheet = written(tmp_path, many_cars(200, ("1I",)))
    assert main(["liftcheck", str(sheet), "--out", str(target), "--quiet"]) == 0
    assert len(json.loads(target.read_text(encoding="utf-8"))["checks"]) == 200


def test_a_long_list_runs_over_pages_with_its_heads(tmp_path: Path) -> None:
    """Fifty-six rows on two pages, then a page a car, of eight valves each; the benchmark writes two hundred cars."""
    paper = tmp_path / "event.pdf"
    valves = tuple(f"{cylinder}{kind}" for cylinder in range(1, 5) for kind in "IE")
    assert main(["liftcheck", str(written(tmp_path, many_cars(7, valves))), "--out", str(paper), "--quiet"]) == 0
    pages = page_texts(paper)
    assert len(pages) == 2 + 7
    for page in each(pages[:2]):
        assert {"entrant", "valve", "conforms", "verdict"} <= set(page.split())


def test_a_job_takes_a_lift_check_beside_others(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job = tmp_path / "job.toml"
    for name in (SAMPLE.name, "quillmere_four_degree_wheel.toml"):
        (tmp_path / name).write_bytes((sample_profiles() / name).read_bytes())
    parts = (("phasing", "quillmere_four_degree_wheel.toml"), ("liftcheck", SAMPLE.name))
    job.write_text("".join(f'[[part]]\ninspect = "{use}"\nfile = "{file}"\n' for use, file in parts), encoding="utf-8")
    target = tmp_path / "both.pdf"
    assert run(capsys, "certify", job, "--out", target, "--quiet")[0] == 1
    pages = page_texts(target)
    assert sum("car 22: lift check" in page for page in pages) == 1
    assert "Lift check" in pages[0]
