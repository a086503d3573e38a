"""`valvelab shaft`, `texture` and `gauge` as a user calls them: answers, exit codes, refusals."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from valvelab.cli.main import main
from valvelab.places import sample_profiles
from valvelab.records.gauge_result import GaugeResult
from valvelab.records.shaft_result import ShaftResult
from valvelab.records.texture_result import TextureResult

SAMPLES = sample_profiles()
TURN = np.arange(0.0, 360.0, 5.0)
PLACES = (0.0, 40.0, 80.0, 120.0, 160.0)


class Call:
    """One command line, its exit code and what it said."""

    def __init__(self, capsys: pytest.CaptureFixture[str], *words: object) -> None:
        self.code = main([str(word) for word in words])
        self.out, self.err = capsys.readouterr()

    @property
    def json(self) -> Any:
        return json.loads(self.out)

    def note(self, about: str) -> str:
        """The notes on something, as one text."""
        return " | ".join(note["text"] for note in self.json["notes"] if note["about"] == about)


def shaft_csv(
    path: Path,
    readings: dict[tuple[str, float], np.ndarray],
    preamble: str = "support: centres",
    angle: np.ndarray = TURN,
) -> Path:
    lines = [f"# {line}" for line in preamble.splitlines()] + ["station, position [mm], angle [deg], reading [um]"]
    for (name, place), values in readings.items():
        lines += [f"{name}, {place}, {a:g}, {value:.9f}" for a, value in zip(angle, values, strict=True)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def bowed(amplitude_um: float = 20.0, direction: float = 30.0) -> dict[tuple[str, float], np.ndarray]:
    return {
        (f"J{k}", z): amplitude_um * np.sin(np.pi * z / 160.0) * np.cos(np.radians(TURN - direction))
        for k, z in enumerate(PLACES, start=1)
    }


def test_bowed_shaft_in_closed_form(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    call = Call(capsys, "shaft", shaft_csv(tmp_path / "a.csv", bowed()), "--json")
    assert call.code == 0
    ShaftResult.model_validate(call.json)
    middle = call.json["stations"][2]
    assert middle["station"] == "J3"
    assert middle["position_mm"] == 80.0
    assert middle["eccentricity_mm"] == pytest.approx(0.020, abs=1e-9)
    assert middle["eccentricity_angle_deg"] == pytest.approx(30.0, abs=1e-6)
    assert middle["tir_mm"] == pytest.approx(0.040, abs=1e-9)
    assert middle["roundness_lsc_um"] == pytest.approx(0.0, abs=1e-5)
    # half a sine over five stations: heights 0, 14.142, 20, 14.142, 0; the zone in the plane of the bow is 20 µm
    assert call.json["straightness"]["minimum_zone_um"] == pytest.approx(20.0, rel=1e-6)
    heights = 20.0 * np.sin(np.pi * np.asarray(PLACES) / 160.0)
    assert call.json["straightness"]["least_squares_um"] == pytest.approx(2.0 * np.abs(heights - heights.mean()).max())
    assert call.json["straightness"]["worst_station"] == "J3"


def test_vees_close_the_axis_and_tell_their_blindness(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    inner = {
        key: value + 2.0 * np.cos(7.0 * np.radians(TURN)) for key, value in bowed().items() if 0.0 < key[1] < 160.0
    }
    path = shaft_csv(tmp_path / "a.csv", inner, "support: vees 0.0 mm 160.0 mm")
    call = Call(capsys, "shaft", path, "--json")
    assert call.json["support"] == "vees"
    # the two supports are centres without eccentricity, so the bow is that of the five
    assert call.json["straightness"]["minimum_zone_um"] == pytest.approx(20.0, rel=1e-6)
    assert "does not see lobing of order 7, 9, 15" in call.note("vees")
    assert "lobing of order 7 (4.00 µm)" in call.note("J3")
    assert "the vee's angle is not stated" in call.note(str(path))
    stated = shaft_csv(tmp_path / "b.csv", inner, "support: vees 60 deg 0.0 mm 160.0 mm")
    call = Call(capsys, "shaft", stated, "--json")
    assert "order 2, 4, 5, 7, 8" in call.note("vees")
    over = shaft_csv(tmp_path / "c.csv", bowed(), "support: vees 0.0 mm 160.0 mm\nvee angle: 90")
    assert "read over its own vee" in Call(capsys, "shaft", over, "--json").note("J1")


def test_inches_and_micrometres_agree(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    metric = shaft_csv(tmp_path / "a.csv", bowed())
    lines = metric.read_text(encoding="utf-8").splitlines()
    rows = [line.split(", ") for line in lines[2:]]
    inch = ["# support: centres", "station; position [in]; angle [deg]; reading [in]"]
    inch += [f"{n}; {float(z) / 25.4:.12f}; {a}; {float(r) / 25400.0:.15f}" for n, z, a, r in rows]
    other = tmp_path / "b.csv"
    other.write_text("\n".join(inch).replace(".", ","), encoding="utf-8")
    first, second = (Call(capsys, "shaft", path, "--json").json for path in (metric, other))
    for one, two in zip(first["stations"], second["stations"], strict=True):
        assert one["eccentricity_mm"] == pytest.approx(two["eccentricity_mm"], abs=1e-9)
        assert one["position_mm"] == pytest.approx(two["position_mm"], abs=1e-4)
    assert first["straightness"]["minimum_zone_um"] == pytest.approx(
        second["straightness"]["minimum_zone_um"], rel=1e-5
    )


def test_a_journal_read_over_half_a_turn(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    half = TURN[TURN <= 180.0]
    only = shaft_csv(tmp_path / "a.csv", {("J1", 0.0): np.cos(np.radians(half))}, angle=half)
    call = Call(capsys, "shaft", only, "--json")
    assert (call.code, call.out) == (3, "")
    assert "read over 180 deg of the turn only" in call.err
    # beside whole journals the others are still given, and the half one is null with a note
    mixed = tmp_path / "b.csv"
    mixed.write_text(
        shaft_csv(tmp_path / "c.csv", bowed()).read_text(encoding="utf-8")
        + "".join(f"J6, 200, {a:g}, 1.0\n" for a in half),
        encoding="utf-8",
    )
    call = Call(capsys, "shaft", mixed, "--json")
    assert call.code == 0
    last = call.json["stations"][-1]
    assert (last["tir_mm"], last["eccentricity_mm"], last["roundness_mzc_um"]) == (None, None, None)
    assert "not evaluated" in call.note("J6")
    assert call.json["straightness"]["minimum_zone_um"] == pytest.approx(20.0, rel=1e-6)


def test_gaps_slips_and_few_readings_are_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    seen = TURN[(TURN < 100.0) | (TURN > 160.0)]
    gap = shaft_csv(tmp_path / "a.csv", {("J1", 0.0): np.cos(np.radians(seen))}, angle=seen)
    call = Call(capsys, "shaft", gap, "--json")
    assert "nothing was read over 70 deg from 95 deg on" in call.note("J1")
    assert call.json["straightness"]["minimum_zone_um"] is None
    assert "found 1 positions along the axis" in call.note("straightness")
    slipped = 10.0 * np.cos(np.radians(TURN))
    slipped[20] += 40.0
    call = Call(capsys, "shaft", shaft_csv(tmp_path / "b.csv", {("J1", 0.0): slipped}), "--json")
    assert "1 reading(s) stand far off their neighbours, kept as read: at 100 deg" in call.note("J1")
    four = np.arange(0.0, 360.0, 90.0)
    call = Call(capsys, "shaft", shaft_csv(tmp_path / "c.csv", {("J1", 0.0): np.cos(four)}, angle=four), "--json")
    assert call.json["stations"][0]["roundness_lsc_um"] is None
    assert "no roundness from 4 angles" in call.note("J1")


def test_verdicts_and_exit_codes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = shaft_csv(tmp_path / "a.csv", bowed(), "support: centres\nprobe uncertainty: 0.5 um")
    spec = tmp_path / "spec.toml"

    def judged(limits: str) -> Call:
        spec.write_text(limits, encoding="utf-8")
        return Call(capsys, "shaft", path, "--spec", spec, "--json")

    accepted = judged('[[limit]]\nof = "tir"\nmax = "0.05 mm"\n[[limit]]\nof = "straightness"\nmax = 25\n')
    assert accepted.code == 0
    assert [row["decision"] for row in accepted.json["verdicts"]] == ["accept"] * 6
    assert len(accepted.json["source"]) == 2
    rejected = judged('[[limit]]\nof = "tir"\nstations = ["J3"]\nmax = "0.03 mm"\nclause = "drawing 7"\n')
    assert rejected.code == 1
    verdict = rejected.json["verdicts"][0]
    assert (verdict["item"], verdict["unit"], verdict["clause"]) == ("J3", "mm", "drawing 7")
    # the reading carries 0.5 µm, a difference of two √2 times that: 0.0405 is within reach of 0.0400
    undecided = judged('[[limit]]\nof = "tir"\nstations = ["J3"]\nmax = "0.0405 mm"\n')
    assert undecided.code == 4
    assert undecided.json["verdicts"][0]["standard_uncertainty"] == pytest.approx(0.000707, rel=1e-3)
    assert judged('[[limit]]\nof = "runout_of_truth"\nmax = 1\n').code == 3
    assert judged('[[limit]]\nof = "straightness"\nmax = "3 N"\n').code == 3


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("station, position [mm], angle [deg]\nJ1, 0, 0\n", "reading"),
        ("station, position [mm], angle [deg], reading [kg]\nJ1, 0, 0, 1\n", "unit 'kg'"),
        ("station, position [mm], angle [deg], reading [mm]\nJ1, 0, zero, 1\n", "line 2"),
        ("station, position [mm], angle [deg], reading [mm]\nJ1, 0, 0, nan\n", "line 2"),
        ("# support: chuck\nstation, position [mm], angle [deg], reading [mm]\nJ1, 0, 0, 1\n", "'chuck'"),
        ("# support: vees 5 mm 5 mm\nstation, position [mm], angle [deg], reading [mm]\nJ1, 0, 0, 1\n", "both vees"),
        ("# support: vees 1 N 5 mm\nstation, position [mm], angle [deg], reading [mm]\nJ1, 0, 0, 1\n", "support"),
        ("# probe uncertainty: -1 um\nstation, angle [deg], reading [mm]\nJ1, 0, 1\n", "above 0"),
        ("station, position [mm], angle [deg], reading [mm]\n3I, 0, 0, 1\n", "lobes only"),
        ("station, position [mm], angle [deg], reading [mm]\nJ1, 0, 0, 1e300\n", "line 2: found reading '1e300'"),
        ("station, position [mm], angle [deg], reading [mm]\nJ1, 1e90, 0, 1\n", "line 2: found position '1e90'"),
        ("", "expected"),
    ],
)
def test_dirty_shaft_files(tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str, told: str) -> None:
    path = tmp_path / "dirty.csv"
    path.write_text(text, encoding="utf-8")
    call = Call(capsys, "shaft", path, "--json", "--quiet")
    assert (call.code, call.out) == (3, "")
    assert call.err.count("\n") == 1
    assert told in call.err
    assert str(path) in call.err


def test_columns_assigned_by_hand(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "bare.csv"
    path.write_text("".join(f"J1;0;{a:g};{np.cos(np.radians(a)):.6f}\n" for a in TURN), encoding="utf-8")
    words = ("station=0, position=1 [mm], angle=2 [deg], reading=3 [um]",)
    call = Call(capsys, "shaft", path, "--columns", *words, "--json")
    assert call.json["stations"][0]["eccentricity_mm"] == pytest.approx(0.001, abs=1e-8)


def test_a_circle_free_to_slide_gives_no_roundness(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # 10 µm at 0 and 180 deg, less elsewhere: what holds the circumscribed circle leaves it free to slide along 90 deg
    rows = [f"J1, {45 * k}, {r}" for k, r in enumerate((10, 0, 4, 0, 10, 0, -6, 0))]
    path = tmp_path / "journal.csv"
    path.write_text("station, angle [deg], reading [um]\n" + "\n".join(rows) + "\n", encoding="utf-8")
    call = Call(capsys, "shaft", path, "--json")
    (station,) = call.json["stations"]
    assert (station["roundness_mcc_um"], station["uncertainty"]["roundness_mcc_um"]) == (None, None)
    assert station["roundness_mic_um"] is not None
    assert "roundness is 12.49 to 22.00 µm: not stated; it takes the journal's diameter" in call.note("J1")
    path.write_text("# journal diameter: 40 mm\n" + path.read_text(encoding="utf-8"), encoding="utf-8")
    call = Call(capsys, "shaft", path, "--json")
    assert call.json["stations"][0]["roundness_mcc_um"] == pytest.approx(16.0, abs=1e-4)
    assert "takes the angles as exact" in call.note("J1")


def test_texture_defaults_and_options(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    x = np.arange(5600) * 0.001
    path = tmp_path / "sine.csv"
    path.write_text(
        "x [mm], z [um]\n"
        + "".join(f"{a:.3f}, {1.0 * np.sin(2.0 * np.pi * a / 0.1) + 3.0 + 0.5 * a:.6f}\n" for a in x),
        encoding="utf-8",
    )
    call = Call(capsys, "texture", path, "--json")
    TextureResult.model_validate(call.json)
    assert (call.code, call.json["cutoff_mm"], call.json["sections"]) == (0, 0.8, 5)
    assert call.json["short_cutoff_mm"] == 0.0025
    share = 2.0 ** -(0.025**2) * (1.0 - 2.0 ** -(8.0**2))
    assert call.json["parameters"]["ra_um"] == pytest.approx(2.0 / np.pi * share, rel=5e-4)  # 100 readings a wave
    assert call.json["parameters"]["rsm_um"] == pytest.approx(100.0, rel=1e-4)
    # Rz 2 µm of a 1 µm sine
    assert "10 % of Rz (0.2 µm)" in call.note("Rsm")
    assert "Gaussian filter's profile (ISO 16610-21, cutoff 0.8 mm)" in call.note("Rk family")
    chosen = Call(capsys, "texture", path, "--cutoff", "0.25 mm", "--short-cutoff", "8 um", "--sections", 3, "--json")
    assert (chosen.json["cutoff_mm"], chosen.json["short_cutoff_mm"], chosen.json["sections"]) == (0.25, 0.008, 3)
    for words in (
        ("--cutoff", "0"),
        ("--cutoff", "1 N"),
        ("--sections", "0"),
        ("--cutoff", "0.8", "--short-cutoff", "1"),
    ):
        assert Call(capsys, "texture", path, *words).code == 2
    too_long = Call(capsys, "texture", path, "--cutoff", "8")
    assert too_long.code == 3
    assert "at least one cutoff of 8 mm" in too_long.err
    fewer = Call(capsys, "texture", path, "--cutoff", "2.5", "--json")
    assert fewer.json["sections"] == 2
    assert "2 instead of 5" in fewer.note("sections")


def test_too_smooth_and_too_rough_are_both_rejected(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    spec = tmp_path / "spec.toml"
    spec.write_text('[[limit]]\nof = "ra"\nmin = "0.1 um"\nmax = "0.4 um"\n', encoding="utf-8")
    draw = np.random.default_rng(6).normal(size=4200)
    for scale, decision, code in ((0.05, "reject", 1), (0.3, "accept", 0), (1.0, "reject", 1)):
        path = tmp_path / f"{scale}.csv"
        path.write_text(
            "x [mm], z [um]\n" + "".join(f"{0.001 * k:.3f}, {scale * z:.6f}\n" for k, z in enumerate(draw)),
            encoding="utf-8",
        )
        call = Call(capsys, "texture", path, "--spec", spec, "--short-cutoff", "0", "--json")
        assert (call.code, call.json["verdicts"][0]["decision"]) == (code, decision)
        assert call.json["verdicts"][0]["unit"] == "um"


def test_flat_trace_gives_nulls_with_notes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "flat.csv"
    path.write_text("x [mm], z [um]\n" + "".join(f"{0.001 * k:.3f}, 1.0\n" for k in range(500)), encoding="utf-8")
    call = Call(capsys, "texture", path, "--json")
    assert call.code == 0
    assert call.json["parameters"]["ra_um"] == 0.0
    assert call.json["parameters"]["rsk"] is None
    assert "the profile is flat" in call.note("rsk")


@pytest.mark.parametrize(
    ("name", "words"),
    [("club_four_journals.csv", ("shaft",)), ("club_four_lobe_3I_trace.csv", ("texture",)),
     ("hydroplane_journal_trace.smd", ("texture",)), ("dial_gauge_study.csv", ("gauge",))],
)  # fmt: skip
def test_samples_are_answered_and_judged(name: str, words: tuple[str], capsys: pytest.CaptureFixture[str]) -> None:
    spec = SAMPLES / "club_four_shaft_spec.toml"
    call = Call(capsys, *words, SAMPLES / name, "--spec", spec, "--json")
    assert call.code in {0, 4}
    assert call.json["verdicts"]
    for units in ("metric", "inch"):
        table = Call(capsys, *words, SAMPLES / name, "--spec", spec, "--units", units, "--quiet")
        assert "verdict" in table.out
        assert table.err == ""


def test_sample_taper(capsys: pytest.CaptureFixture[str]) -> None:
    call = Call(capsys, "shaft", SAMPLES / "club_four_journals.csv", "--json")
    (row,) = call.json["tapers"]
    # the sample was drawn with 9 µm over 8 mm
    assert row["taper_um"] == pytest.approx(-9.0, abs=0.2)
    assert row["angle_arcmin"] == pytest.approx(-3.87, abs=0.1)
    assert "3I" not in {station["station"] for station in call.json["stations"]}


def study_csv(path: Path, rows: list[str], header: str = "part, appraiser, trial, reading [mm]") -> Path:
    path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    return path


def test_gauge_units_tolerance_and_adoption(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    draw = np.random.default_rng(8)
    parts, noise = draw.normal(0.0, 0.01, 8), draw.normal(0.0, 0.001, (8, 2, 2))
    rows = [
        f"{p}, {'AB'[a]}, {t}, {(parts[p] + noise[p, a, t]) / 25.4:.9f}"
        for p in range(8)
        for a in range(2)
        for t in range(2)
    ]
    study = study_csv(tmp_path / "a.csv", rows, "part, appraiser, trial, reading [in]")
    adopted = tmp_path / "dial.toml"
    call = Call(capsys, "gauge", study, "--tolerance", "0.002 in", "--adopt", f"runout={adopted}", "--json")
    GaugeResult.model_validate(call.json)
    assert (call.code, call.json["unit"], call.json["tolerance"]) == (0, "mm", pytest.approx(0.0508))
    anova = call.json["anova"]
    assert anova["repeatability_sd"] == pytest.approx(0.001, rel=0.35)
    assert anova["grr_percent_of_tolerance"] == pytest.approx(600.0 * anova["grr_sd"] / 0.0508)
    assert call.json["ranges"]["interaction_sd"] is None
    journals = shaft_csv(tmp_path / "j.csv", bowed())
    used = Call(capsys, "shaft", journals, "--gauge", adopted, "--json")
    assert used.json["stations"][0]["uncertainty"]["tir_mm"] == pytest.approx(np.sqrt(2.0) * anova["grr_sd"], rel=1e-4)
    assert "adopted for runout" in used.note("probe uncertainty")
    # readings that state their own: the larger of the two counts, and the note says which
    grr = float(anova["grr_sd"])
    for own, counting, said in ((0.1 * grr, grr, "counts: the readings' own"), (10.0 * grr, 10.0 * grr, "own")):
        stated = shaft_csv(tmp_path / "own.csv", bowed(), preamble=f"support: centres\nprobe uncertainty: {own:.9f} mm")
        both = Call(capsys, "shaft", stated, "--gauge", adopted, "--json")
        u = both.json["stations"][0]["uncertainty"]["tir_mm"]
        assert u == pytest.approx(np.sqrt(2.0) * counting, rel=1e-4)
        assert said in both.note("probe uncertainty")
    assert Call(capsys, "gauge", study, "--tolerance", "3 N").code == 2
    assert Call(capsys, "gauge", study, "--adopt", "runout").code == 2
    assert Call(capsys, "gauge").code == 2


def test_unbalanced_studies_are_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rows = [f"{p}, {a}, {t}, {p}.{t}" for p in (1, 2, 3) for a in "AB" for t in (1, 2)]
    missing = Call(capsys, "gauge", study_csv(tmp_path / "a.csv", rows[:-1]))
    assert missing.code == 3
    assert "part 3, appraiser B, trial 2: found no reading, expected one" in missing.err
    twice = Call(capsys, "gauge", study_csv(tmp_path / "b.csv", [*rows, rows[0]]))
    assert "part 1, appraiser A, trial 1: found 2 readings" in twice.err
    once = Call(capsys, "gauge", study_csv(tmp_path / "c.csv", [row for row in rows if ", 1, " in row]))
    assert once.code == 3
    assert "expected at least 2 parts and 2 trials" in once.err
    wide = Call(capsys, "gauge", study_csv(tmp_path / "d.csv", [f"{k}, {k}, {k}, 1" for k in range(1000)]))
    assert wide.code == 3


def test_a_plan_is_printed_filled_in_and_read_back(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plan = Call(capsys, "gauge", "--plan", "5,3,2")
    assert plan.code == 0
    assert plan.out == Call(capsys, "gauge", "--plan", "5,3,2").out
    assert plan.out != Call(capsys, "gauge", "--plan", "5,3,2", "--seed", "2").out
    draw = np.random.default_rng(1)
    lines = plan.out.splitlines()
    assert len(lines) == 3 + 30
    filled = [line + f"{draw.normal():.4f}" if line[0].isdigit() else line for line in lines]
    path = tmp_path / "filled.csv"
    path.write_text("\n".join(filled), encoding="utf-8")
    call = Call(capsys, "gauge", path, "--json")
    assert call.code == 0
    assert (call.json["parts"], call.json["appraisers"]) == (["1", "2", "3", "4", "5"], ["A", "B", "C"])
    for words in ("5,3", "1,3,2", "5,3,1", "a,b,c", "1000,1000,1000"):
        assert Call(capsys, "gauge", "--plan", words).code == 2
    assert len(Call(capsys, "gauge", "--plan", "2,1,2", "--json").json["plan"]) == 4


def test_a_study_without_any_spread_and_one_beyond_all_measure(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    cells = [(p, a, t) for p in (1, 2, 3) for a in "AB" for t in (1, 2)]
    same = Call(capsys, "gauge", study_csv(tmp_path / "a.csv", [f"{p}, {a}, {t}, {p}" for p, a, t in cells]), "--json")
    assert same.code == 0
    assert (same.json["anova"]["ndc"], same.json["anova"]["grr_percent"]) == (None, 0.0)
    assert "resolution too coarse" in same.note("ndc")
    vast = Call(capsys, "gauge", study_csv(tmp_path / "b.csv", [f"{p}, {a}, {t}, {p}e200" for p, a, t in cells]))
    assert (vast.code, vast.out) == (3, "")
    assert "at most 100000 mm" in vast.err


@pytest.mark.parametrize(("command", "file", "of"), [
    ("texture", "club_four_lobe_3I_trace.csv", "ra"), ("gauge", "dial_gauge_study.csv", "tir"),
    ("shaft", "club_four_journals.csv", "tir"),
])  # fmt: skip
def test_a_size_below_zero_is_refused_with_its_place(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], command: str, file: str, of: str
) -> None:
    spec = tmp_path / "spec.toml"
    spec.write_text(f'[[limit]]\nof = "{of}"\nnominal = 0.3\nbelow = -0.1\nabove = 0.1\n', encoding="utf-8")
    call = Call(capsys, command, sample_profiles() / file, "--spec", spec)
    assert call.code == 3
    assert f"spec.toml, [[limit]] 1 {of} below: found -0.1, expected a size of 0 or more" in call.err
