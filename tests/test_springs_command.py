"""`valvelab springs` as a user calls it: answers against known springs, exit codes, refusals, dirty files."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import make_spring_samples
import numpy as np
import pytest
from spring_cases import FREE, RATE, SOLID, bench_force, write_readings

from valvelab.cli.main import main
from valvelab.places import sample_profiles
from valvelab.records.springs_result import SpringsResult
from valvelab.springs.stress import active_mass, shear_stress, surge_from_mass

HEIGHTS = np.array([42, 40, 38, 36, 34, 32, 30, 28.5, 27.4, 26.8, 26.2, 26.0, 25.8])
FITTED = ("installed height: 38 mm", "valve lift: 10.6 mm")
WIRE = ("wire diameter: 4 mm", "mean coil diameter: 28 mm", "active coils: 5", "material: chrome-silicon")


def call(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, str, str]:
    code = main([str(word) for word in words])
    out, err = capsys.readouterr()
    return code, out, err


def answer(capsys: pytest.CaptureFixture[str], *words: object) -> Any:
    code, out, err = call(capsys, "springs", *words, "--json")
    assert code in {0, 1, 4}, err
    document = json.loads(out)
    SpringsResult.model_validate(document)
    return document


def test_a_known_spring(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = write_readings(tmp_path / "s.csv", {"A": (HEIGHTS, bench_force(HEIGHTS))}, *FITTED, *WIRE)
    spring = answer(capsys, file)["springs"][0]
    seat, opened = RATE * (FREE - 38.0), RATE * (FREE - 27.4)
    assert spring["seat_force_n"] == pytest.approx(seat)
    assert spring["open_force_n"] == pytest.approx(opened)
    assert spring["rate_n_per_mm"] == pytest.approx(RATE)
    assert spring["rate_fit"]["slope_n_per_mm"] == pytest.approx(-RATE)
    assert spring["rate_fit"]["intercept_n"] == pytest.approx(RATE * FREE)
    assert spring["solid_height_mm"] == pytest.approx(SOLID, abs=1e-6)
    assert spring["coil_bind_margin_mm"] == pytest.approx(27.4 - SOLID, abs=1e-6)
    assert spring["margin_per_coil_mm"] == pytest.approx((27.4 - SOLID) / 5.0, abs=1e-6)
    assert spring["stress_factor"] == "EN 13906-1"
    assert spring["stress_seat_mpa"] == pytest.approx(shear_stress(seat, 4.0, 28.0))
    assert spring["stress_solid_mpa"] == pytest.approx(shear_stress(RATE * (FREE - SOLID), 4.0, 28.0), rel=1e-6)
    assert spring["surge_hz"] == pytest.approx(surge_from_mass(RATE, active_mass(4.0, 28.0, 5.0)))
    tensile = 1974.0 / 4.0**0.108  # Shigley's, 10th ed., table 10-4
    assert spring["strength_margin"] == pytest.approx(0.56 * tensile / spring["stress_open_mpa"])


def test_wahls_factor_on_request(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = write_readings(tmp_path / "s.csv", {"A": (HEIGHTS, bench_force(HEIGHTS))}, *FITTED, *WIRE)
    spring = answer(capsys, file, "--stress-factor", "Wahl")["springs"][0]
    assert spring["stress_factor"] == "Wahl"
    assert spring["stress_seat_mpa"] == pytest.approx(shear_stress(RATE * 8.0, 4.0, 28.0, "Wahl"))


def test_a_spring_that_never_reached_solid(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    short = HEIGHTS[HEIGHTS > 27.0]
    file = write_readings(tmp_path / "s.csv", {"A": (short, bench_force(short))}, *FITTED)
    document = answer(capsys, file)
    spring = document["springs"][0]
    assert spring["solid_height_mm"] is None
    assert spring["coil_bind_margin_mm"] is None
    assert any("did not go to coil bind" in note["text"] for note in document["notes"])
    file = write_readings(tmp_path / "t.csv", {"A": (short, bench_force(short))}, *FITTED, "solid height: 26 mm")
    spring = answer(capsys, file)["springs"][0]
    assert (spring["solid_height_mm"], spring["solid_height_from"]) == (26.0, "stated")
    assert spring["coil_bind_margin_mm"] == pytest.approx(1.4)


def test_coil_bind_before_the_valve_is_open(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = write_readings(
        tmp_path / "s.csv", {"A": (HEIGHTS, bench_force(HEIGHTS))}, "installed height: 36 mm", "valve lift: 10 mm"
    )
    document = answer(capsys, file)
    spring = document["springs"][0]
    assert spring["open_force_n"] is None
    assert spring["coil_bind_margin_mm"] == pytest.approx(26.0 - SOLID, abs=1e-6)
    assert any("coil bind before the valve is open: A" in note["text"] for note in document["notes"])


def test_pounds_and_inches_semicolons_and_decimal_commas(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lines = ["# installed height: 1.9 in", "# valve lift: 0.6 in", "spring;height [in];force [lbf]"]
    for height, force in ((1.9, 130.0), (1.7, 210.0), (1.5, 290.0), (1.3, 370.0)):
        lines.append(f"A;{height};{force}".replace(".", ","))
    file = tmp_path / "inch.csv"
    file.write_text("\n".join(lines), encoding="utf-16")
    spring = answer(capsys, file)["springs"][0]
    assert spring["seat_force_n"] == pytest.approx(130.0 * 4.4482216152605)
    assert spring["rate_n_per_mm"] == pytest.approx(400.0 * 4.4482216152605 / 25.4)
    code, out, _ = call(capsys, "springs", file, "--units", "inch")
    assert code == 0
    assert "lbf/in" in out
    assert "400.0" in out


def test_the_specs_fitting_wins_and_verdicts_set_the_exit_code(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = write_readings(tmp_path / "s.csv", {"A": (HEIGHTS, bench_force(HEIGHTS))}, *FITTED)
    spec = tmp_path / "spec.toml"
    limit = '[fitting]\ninstalled_height = "40 mm"\n[decision]\nrule = "simple"\n[[limit]]\nof = "seat_force"\n'
    spec.write_text(limit + 'min = "170 N"\nmax = "190 N"\n', encoding="utf-8")
    document = answer(capsys, file, "--spec", spec)
    assert document["springs"][0]["seat_force_n"] == pytest.approx(RATE * (FREE - 40.0))
    assert [verdict["decision"] for verdict in document["verdicts"]] == ["accept"]
    assert any("the spec's 40 mm is used, not 38 mm" in note["text"] for note in document["notes"])
    spec.write_text(limit + 'min = "200 N"\n', encoding="utf-8")
    assert call(capsys, "springs", file, "--spec", spec)[0] == 1
    spec.write_text(limit.replace("seat_force", "hysteresis") + 'max = "10 N"\n', encoding="utf-8")
    assert call(capsys, "springs", file, "--spec", spec)[0] == 4


def test_a_force_at_any_height_can_be_limited(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = write_readings(tmp_path / "s.csv", {"A": (HEIGHTS, bench_force(HEIGHTS))}, *FITTED)
    spec = tmp_path / "spec.toml"
    spec.write_text(
        '[[limit]]\nof = "force"\nat = "35 mm"\nnominal = "330 N"\nbelow = 5\nabove = 5\n', encoding="utf-8"
    )
    verdict = answer(capsys, file, "--spec", spec)["verdicts"][0]
    assert (verdict["at_mm"], verdict["decision"]) == (35.0, "accept")
    assert verdict["measured"] == pytest.approx(330.0)


def test_both_strokes_stages_and_set_loss(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lines = [*(f"# {line}" for line in FITTED), "spring,stage,stroke,height [mm],force [N]"]
    for stage, drop in (("new", 0.0), ("run-in", 9.0)):
        for height in (40.0, 38.0, 33.0, 27.0):
            force = RATE * (FREE - height) - drop
            lines.append(f"A,{stage},compress,{height},{force}")
            lines.append(f"A,{stage},release,{height},{force - 6.0}")
    file = tmp_path / "s.csv"
    file.write_text("\n".join(lines), encoding="utf-8")
    new, run_in = answer(capsys, file)["springs"]
    assert new["seat_force_n"] == pytest.approx(RATE * 8.0)  # the compress stroke counts
    assert new["hysteresis_n"] == pytest.approx(6.0)
    assert (new["set_loss_n"], run_in["stage"]) == (None, "run-in")
    assert run_in["set_loss_n"] == pytest.approx(9.0)


def test_a_nest_adds_up_and_closes_with_its_first_spring(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lines = [*(f"# {line}" for line in FITTED), "spring,element,offset [mm],height [mm],force [N]"]
    lines += [f"N,outer,0,{h},{force}" for h, force in zip(HEIGHTS, bench_force(HEIGHTS), strict=True)]
    lines += [f"N,inner,-1.5,{own},{12.0 * (43.0 - own)}" for own in HEIGHTS - 1.5]
    file = tmp_path / "n.csv"
    file.write_text("\n".join(lines), encoding="utf-8")
    spring = answer(capsys, file)["springs"][0]
    # plain mechanics: the inner spring stands 1.5 mm lower than the valve's height
    assert spring["seat_force_n"] == pytest.approx(RATE * 8.0 + 12.0 * (43.0 - 36.5))
    assert spring["rate_n_per_mm"] == pytest.approx(RATE + 12.0)
    assert spring["solid_height_mm"] == pytest.approx(SOLID, abs=1e-6)
    assert [row["element"] for row in spring["elements"]] == ["outer", "inner"]


@pytest.mark.parametrize(
    ("body", "sentence"),
    [
        ("A,40,100\nA,35,60\nA,30,20", "a force that falls"),
        ("A,40,100\nA,35,250\nA,40,140\nA,35,290", "two springs with one name"),
        ("A,40,100\nA,0,250", "a height above 0"),
        ("A,40,-100\nA,35,250", "a force of 0 or more"),
        ("A,40,1.2.3\nA,35,250", "line 2: found force '1.2.3'"),
        (",40,100\n,35,250", "an empty 'spring'"),
    ],
)
def test_bad_readings_have_their_sentence(
    body: str, sentence: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "bad.csv"
    file.write_text("spring,height [mm],force [N]\n" + body + "\n", encoding="utf-8")
    code, out, err = call(capsys, "springs", file)
    assert (code, out) == (3, "")
    assert "bad.csv" in err
    assert sentence in err
    assert err.count("\n") == 1


@pytest.mark.parametrize(
    ("preamble", "sentence"),
    [
        ("installed height: 20 lbf", "installed height"),
        ("valve lift: -3 mm", "valve lift"),
        ("active coils: 0", "active coils"),
        ("force uncertainty: -1 N", "force uncertainty"),
    ],
)
def test_bad_preambles_have_their_sentence(
    preamble: str, sentence: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = write_readings(tmp_path / "bad.csv", {"A": (HEIGHTS, bench_force(HEIGHTS))}, preamble)
    code, _, err = call(capsys, "springs", file)
    assert code == 3
    assert sentence in err


def test_heights_in_any_order(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    mixed = np.random.default_rng(1).permutation(HEIGHTS)
    a = write_readings(tmp_path / "a.csv", {"A": (HEIGHTS, bench_force(HEIGHTS))}, *FITTED)
    b = write_readings(tmp_path / "b.csv", {"A": (mixed, bench_force(mixed))}, *FITTED)
    assert answer(capsys, a)["springs"] == answer(capsys, b)["springs"]


def test_an_unknown_wire_and_missing_heights_are_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = write_readings(tmp_path / "s.csv", {"A": (HEIGHTS, bench_force(HEIGHTS))}, "material: cheese")
    document = answer(capsys, file)
    texts = " ".join(note["text"] for note in document["notes"])
    assert "'cheese' is not in the wire table" in texts
    assert "no seat force, open force or margin" in texts
    assert document["springs"][0]["rate_n_per_mm"] == pytest.approx(RATE)


def test_the_uncertainties_agree_with_repeated_tests(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # JCGM 101: the spread of many simulated tests against the uncertainty stated for each
    generator = np.random.default_rng(12)
    runs = {f"R{i}": (HEIGHTS, bench_force(HEIGHTS) + generator.normal(0.0, 1.0, HEIGHTS.size)) for i in range(150)}
    springs = answer(capsys, write_readings(tmp_path / "s.csv", runs, *FITTED))["springs"]
    for key, slack in (("rate_n_per_mm", 0.25), ("seat_force_n", 0.25), ("coil_bind_margin_mm", 0.3)):
        seen = np.std([spring[key] for spring in springs], ddof=1)
        stated = np.sqrt(np.mean([spring["uncertainty"][key] ** 2 for spring in springs]))
        assert stated == pytest.approx(seen, rel=slack), key


@pytest.mark.parametrize("name", list(make_spring_samples.samples()))
def test_the_sample_is_what_the_script_writes(name: str) -> None:
    assert (sample_profiles() / name).read_text(encoding="utf-8") == make_spring_samples.samples()[name]


def test_the_sample_tray_shows_its_two_strangers(capsys: pytest.CaptureFixture[str]) -> None:
    tray = sample_profiles() / "springs_quillmere_tray.csv"
    document = answer(capsys, tray, "--spec", sample_profiles() / "springs_quillmere_spec.toml")
    doubtful = {verdict["item"] for verdict in document["verdicts"] if verdict["decision"] != "accept"}
    assert doubtful == {"Q23", "Q48"}


def test_a_stated_solid_height_counts_before_the_knee(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The knee serves where nothing is stated; a drawing's figure stands, and the difference is said."""
    stated = SOLID - 0.5
    file = write_readings(
        tmp_path / "s.csv",
        {"A": (HEIGHTS, bench_force(HEIGHTS))},
        *FITTED,
        f"solid height: {stated} mm",
        "wire diameter: 4 mm",
        "mean coil diameter: 28 mm",
    )
    document = answer(capsys, file)
    spring = document["springs"][0]
    assert (spring["solid_height_mm"], spring["solid_height_from"]) == (stated, "stated")
    assert spring["stress_solid_mpa"] == pytest.approx(shear_stress(RATE * (FREE - stated), 4.0, 28.0), rel=1e-6)
    assert any("the stated height counts" in note["text"] for note in document["notes"])
