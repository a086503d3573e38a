"""`valvelab lobes`: exit codes, JSON by its schema, units, followers, specs, and one line for every bad input."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from lobe_samples import Floats, design

from valvelab.cli.main import main
from valvelab.cli.schema_command import schema_of

CENTRES = {"1I": 53.0, "1E": 303.0, "2I": 323.0, "2E": 213.0}
STEP = 1.0
PREAMBLE = (
    "# follower: flat\n# base circle radius: 60 mm\n# probe uncertainty: 0.5 um\n# encoder uncertainty: 0.01 cam deg\n"
)

LONG = "angle [cam deg],1I [mm]\n" + "".join(f"{angle},0\n" for angle in range(40))

Answer = tuple[int, str, str]


def columns(names: tuple[str, ...] = ("1I", "1E"), noise: float = 1e-3) -> tuple[Floats, Floats]:
    angle = np.arange(0.0, 360.0, STEP)
    rng = np.random.default_rng(1)
    lifts = [
        design("poly4567", centre=CENTRES[name]).value(angle) + rng.normal(0.0, noise, angle.size) for name in names
    ]
    return angle, np.array(lifts)


def table(
    path: Path, names: tuple[str, ...] = ("1I", "1E"), unit: str = "mm", factor: float = 1.0, preamble: str = PREAMBLE
) -> Path:
    angle, lifts = columns(names)
    head = ",".join(["angle [cam deg]", *(f"{name} [{unit}]" for name in names)])
    rows = "\n".join(",".join(f"{value:.12g}" for value in row) for row in np.column_stack([angle, *(lifts * factor)]))
    path.write_text(preamble + head + "\n" + rows + "\n", encoding="utf-8")
    return path


@pytest.fixture
def lift(tmp_path: Path) -> Path:
    return table(tmp_path / "lift.csv")


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Callable[..., Answer]:
    def answer(*arguments: object) -> Answer:
        try:
            code = main(["lobes", *map(str, arguments)])
        except SystemExit as end:  # argparse
            code = int(end.code or 0)
        out, err = capsys.readouterr()
        return code, out, err

    return answer


def document(run: Callable[..., Answer], *arguments: object) -> Any:
    code, out, err = run(*arguments, "--json", "--quiet")
    assert (code in {0, 1, 4}, err) == (True, "")
    return json.loads(out)


def lobe(found: Any, name: str = "1I") -> Any:
    return next(row for row in found["lobes"] if row["lobe"] == name)


def test_the_json_follows_its_schema_and_holds_nothing_but_numbers(run: Callable[..., Answer], lift: Path) -> None:
    found = document(run, lift)
    jsonschema.Draft202012Validator(schema_of("lobes")).validate(found)
    assert (found["program"], found["command"], found["verdicts"]) == ("valvelab", "lobes", [])
    assert found["source"][0]["file"].endswith("lift.csv")
    assert len(found["source"][0]["sha256"]) == 64
    text = json.dumps(found, allow_nan=False)
    assert "NaN" not in text
    for key in (
        "max_lift_mm",
        "max_lift_angle_cam_deg",
        "centre_cam_deg",
        "area_mm_cam_deg",
        "velocity_max_mm_per_cam_deg",
        "acceleration_min_mm_per_cam_deg2",
        "jerk_max_abs_mm_per_cam_deg3",
    ):
        assert lobe(found)[key] is not None
        assert lobe(found)["uncertainty"][key] > 0.0


def test_the_figures_are_those_of_the_lobe(run: Callable[..., Answer], lift: Path) -> None:
    found = document(run, lift)
    one = lobe(found)
    assert one["kind"] == "intake"
    assert one["max_lift_mm"] == pytest.approx(8.0, abs=3e-3)
    assert one["centre_cam_deg"] == pytest.approx(53.0, abs=0.02)
    assert one["noise_um"] == pytest.approx(1.0, rel=0.25)
    assert [row["at_mm"] for row in one["durations"]] == [0.15, 0.508, 1.0, 1.27, 5.08]
    assert one["curvature"]["max_pressure_angle_deg"] == 0.0
    assert found["camshaft"]["cylinders"] == [
        {"cylinder": 1, "lobe_separation_cam_deg": pytest.approx(110.0, abs=0.03)}
    ]
    assert found["camshaft"]["index_errors"] is None
    assert any("firing order" in note["text"] for note in found["notes"])


@pytest.mark.parametrize("argument", ["2.54", "2.54 mm", "0.1 in", "100 thou", "2,54"])
def test_checking_lifts_in_any_unit(run: Callable[..., Answer], lift: Path, argument: str) -> None:
    rows = lobe(document(run, lift, "--at", argument))["durations"]
    assert [row["at_mm"] for row in rows] == pytest.approx([0.15, 0.508, 1.0, 1.27, 2.54, 5.08])


def test_the_first_checking_lift_asked_for_makes_the_chord_centre(run: Callable[..., Answer], lift: Path) -> None:
    found = lobe(document(run, lift, "--at", "3 mm", "--at", "2 mm"))
    at_three = next(row for row in found["durations"] if row["at_mm"] == 3.0)
    assert found["centres"]["chord_cam_deg"] == at_three["centre_cam_deg"]


def test_inches_on_paper_or_in_the_table_change_no_json(run: Callable[..., Answer], tmp_path: Path, lift: Path) -> None:
    plain = document(run, lift)
    assert document(run, lift, "--units", "inch") == plain
    inch = document(run, table(tmp_path / "inch.csv", unit="in", factor=1.0 / 25.4))
    crank = tmp_path / "crank.csv"
    angle, lifts = columns()
    rows = "\n".join(",".join(f"{value:.12g}" for value in row) for row in np.column_stack([2.0 * angle, *lifts]))
    crank.write_text(f"{PREAMBLE}angle [crank deg],1I [mm],1E [mm]\n{rows}\n", encoding="utf-8")
    for other in (inch, document(run, crank)):
        for name in ("1I", "1E"):
            here, there = lobe(plain, name), lobe(other, name)
            for key in ("max_lift_mm", "centre_cam_deg", "area_mm_cam_deg", "velocity_max_mm_per_cam_deg"):
                assert there[key] == pytest.approx(here[key], rel=1e-6)
            assert [row["duration_crank_deg"] for row in there["durations"]] == pytest.approx(
                [row["duration_crank_deg"] for row in here["durations"]], rel=1e-6
            )


def test_a_reverse_sweep_is_mirrored(run: Callable[..., Answer], tmp_path: Path, lift: Path) -> None:
    plain = lobe(document(run, lift))
    turned = lobe(document(run, table(tmp_path / "back.csv", preamble=PREAMBLE + "# rotation: reverse\n")))
    assert turned["centre_cam_deg"] == pytest.approx(360.0 - plain["centre_cam_deg"], abs=1e-6)
    for one, other in zip(plain["durations"], turned["durations"], strict=True):
        assert other["opening_cam_deg"] == pytest.approx((-one["closing_cam_deg"]) % 360.0, abs=1e-6)
        assert other["duration_crank_deg"] == pytest.approx(one["duration_crank_deg"], abs=1e-6)


def test_readable_tables_in_both_systems(run: Callable[..., Answer], lift: Path) -> None:
    code, metric, notes = run(lift)
    assert code == 0
    assert "max lift" in metric
    assert "8.000" in metric
    assert "eccentricity" in notes
    _, inch, quiet = run(lift, "--units", "inch", "--quiet")
    assert inch.splitlines()[2].split()[0] == "in"
    assert "0.31" in inch
    assert quiet == ""


def test_another_follower(run: Callable[..., Answer], lift: Path) -> None:
    plain, rolled = lobe(document(run, lift)), lobe(document(run, lift, "--convert", "roller 9.525 mm"))
    # the nose stands as high under any follower, and a roller reads a slimmer lobe than a flat face
    assert rolled["max_lift_mm"] == pytest.approx(plain["max_lift_mm"], abs=2e-4)
    for wide, slim in zip(plain["durations"], rolled["durations"], strict=True):
        assert slim["duration_crank_deg"] < wide["duration_crank_deg"]
    # curvature and face reach belong to the contour; only the pressure angle is the roller's own
    angle, contour_of = "max_pressure_angle_deg", {**plain["curvature"]}
    assert contour_of.pop(angle) == 0.0
    assert 0.0 < rolled["curvature"].pop(angle) < 45.0
    assert rolled["curvature"] == contour_of
    same = lobe(document(run, lift, "--convert", "flat"))
    assert same["max_lift_mm"] == pytest.approx(plain["max_lift_mm"], abs=1e-4)
    assert same["area_mm_cam_deg"] == pytest.approx(plain["area_mm_cam_deg"], rel=1e-5)


def test_columns_by_number(run: Callable[..., Answer], tmp_path: Path, lift: Path) -> None:
    bare = tmp_path / "bare.txt"
    angle, lifts = columns()
    np.savetxt(bare, np.column_stack([2.0 * angle, *(lifts / 25.4)]), fmt="%.12g")
    found = document(run, bare, "--columns", "angle=0 [crank deg], 1E=2 [in]")
    assert [row["lobe"] for row in found["lobes"]] == ["1E"]
    assert lobe(found, "1E")["max_lift_mm"] == pytest.approx(lobe(document(run, lift), "1E")["max_lift_mm"], abs=1e-6)


def test_out_writes_what_it_would_print(run: Callable[..., Answer], tmp_path: Path, lift: Path) -> None:
    written = tmp_path / "lobes.json"
    code, _, _ = run(lift, "--out", written, "--quiet")
    assert code == 0
    whole = json.loads(written.read_text(encoding="utf-8"))
    assert whole.pop("$schema").startswith("urn:valvelab:schema:lobes:")
    assert whole == document(run, lift)
    text = tmp_path / "lobes.txt"
    run(lift, "--out", text, "--quiet")
    assert text.read_text(encoding="utf-8").startswith("Lift and centre\nlobe")


def test_eccentricity_kept(run: Callable[..., Answer], lift: Path) -> None:
    found = document(run, lift, "--keep-eccentricity")
    assert any("left in" in note["text"] for note in found["notes"])


GOOD = '[[limit]]\nof = "max_lift"\nnominal = "8.0 mm"\nbelow = "0.05 mm"\nabove = "0.05 mm"\nclause = "rules 7.3"\n'
BAD = '[[limit]]\nof = "duration"\nat = "1.27 mm"\nmax = "150 crank deg"\nlobes = "intake"\n'
CLOSE = '[[limit]]\nof = "max_lift"\nmin = "{:.6f} mm"\nlobes = ["1I"]\n'


def test_the_tables_own_zero_is_kept_where_asked(run: Callable[..., Answer], tmp_path: Path) -> None:
    """A resting run of waves is no circle; the warning offers the table's zero, and the option keeps it."""
    angle, lifts = columns(("1I",))
    rest = lifts[0] < 0.02
    waved = lifts[0] + 0.3 + 0.15 * rest * np.cos(np.radians(4.0 * angle))
    path = tmp_path / "waved.csv"
    rows = "".join(f"{a:g},{y:.4f}\n" for a, y in zip(angle, waved, strict=True))
    path.write_text(PREAMBLE + "angle [cam deg],1I [mm]\n" + rows, encoding="utf-8")
    found = document(run, path)
    assert any(note["level"] == "warning" and "--table-zero" in note["text"] for note in found["notes"])
    assert lobe(found)["max_lift_mm"] == pytest.approx(8.0, abs=0.1)
    kept = document(run, path, "--table-zero")
    assert lobe(kept)["max_lift_mm"] == pytest.approx(8.3, abs=0.01)
    assert any(note["about"] == "zero" and "as asked" in note["text"] for note in kept["notes"])


def test_verdicts_and_exit_codes(run: Callable[..., Answer], tmp_path: Path, lift: Path) -> None:
    close = CLOSE.format(lobe(document(run, lift))["max_lift_mm"] - 0.0005)
    spec = tmp_path / "spec.toml"
    for text, code in ((GOOD, 0), (GOOD + BAD, 1), (GOOD + close, 4), (close + BAD, 1), ("", 0)):
        spec.write_text(text, encoding="utf-8")
        assert run(lift, "--spec", spec, "--quiet")[0] == code
    spec.write_text(GOOD + close, encoding="utf-8")
    found = document(run, lift, "--spec", spec)
    jsonschema.Draft202012Validator(schema_of("lobes")).validate(found)
    assert [(row["item"], row["decision"], row["clause"]) for row in found["verdicts"]] == [
        ("1I", "accept", "rules 7.3"),
        ("1E", "accept", "rules 7.3"),
        ("1I", "undecided", None),
    ]
    assert 0.05 < found["verdicts"][2]["probability_conforming"] < 0.95
    assert [Path(source["file"]).name for source in found["source"]] == ["lift.csv", "spec.toml"]


ENVELOPE = (
    '[[envelope]]\nlobes = "{}"\nnominal = "nominal.csv"\nfit = ["angle"]\n'
    "[[envelope.band]]\nfrom = -80.0\nto = 80.0\nbelow = {}\nabove = {}\n"
)


def nominal(folder: Path) -> None:
    angle = np.arange(-180.0, 180.0, 0.5)
    np.savetxt(
        folder / "nominal.csv",
        np.column_stack([angle, design("poly4567", centre=0.0).value(angle)]),
        header="angle [cam deg],N [mm]",
        comments="",
        delimiter=",",
        fmt="%.9g",
    )


def test_envelopes(run: Callable[..., Answer], tmp_path: Path, lift: Path) -> None:
    nominal(tmp_path)
    spec = tmp_path / "spec.toml"
    spec.write_text(ENVELOPE.format("all", '"0.02 mm"', '"0.02 mm"'), encoding="utf-8")
    code, _, _ = run(lift, "--spec", spec, "--quiet")
    found = document(run, lift, "--spec", spec)
    assert code == 0
    for name, centre in (("1I", 53.0), ("1E", 303.0 - 360.0)):
        use = lobe(found, name)["envelope"]
        assert use["fitted_angle_cam_deg"] == pytest.approx(centre, abs=0.01)
        assert use["worst_use_of_band"] < 0.2
        assert use["rms_um"] < 1.0
    verdict = found["verdicts"][0]
    assert (verdict["characteristic"], verdict["item"], verdict["unit"]) == ("envelope", "1I", "mm")
    assert (verdict["lower"], verdict["upper"]) == (-0.02, 0.02)
    spec.write_text(ENVELOPE.format("intake", "0.00001", "0.00001"), encoding="utf-8")
    assert run(lift, "--spec", spec, "--quiet")[0] in {1, 4}
    assert lobe(document(run, lift, "--spec", spec), "1E")["envelope"] is None


def test_an_envelope_that_finds_no_lobe_is_an_undecided_row(
    run: Callable[..., Answer], tmp_path: Path, lift: Path
) -> None:
    nominal(tmp_path)
    spec = tmp_path / "spec.toml"
    spec.write_text(ENVELOPE.format("intake", "0.02", "0.02").replace('"intake"', '["1I", "9I"]'), encoding="utf-8")
    found = document(run, lift, "--spec", spec)
    assert [(row["item"], row["decision"]) for row in found["verdicts"]] == [("1I", "accept"), ("9I", "undecided")]
    again = ENVELOPE.format("all", "0.02", "0.02") + ENVELOPE.format("exhaust", "0.01", "0.01")
    spec.write_text(again, encoding="utf-8")
    assert any("[[envelope]] 2 names 1E again" in note["text"] for note in document(run, lift, "--spec", spec)["notes"])


@pytest.mark.parametrize(
    ("sizes", "words"),
    [
        (("0.02", "-0.02"), "[[envelope]] 1 band 1 above: found -0.02, expected a size of 0 or more"),
        (('"-1 um"', "0.02"), "band 1 below: found '-1 um', expected a size of 0 or more"),
        (("1e15", "0.02"), "band 1 below: found 1e+15 mm, expected at most 1000 mm"),
    ],
)
def test_sizes_of_a_band(
    run: Callable[..., Answer], tmp_path: Path, lift: Path, sizes: tuple[str, str], words: str
) -> None:
    nominal(tmp_path)
    spec = tmp_path / "spec.toml"
    spec.write_text(ENVELOPE.format("all", *sizes), encoding="utf-8")
    code, _, err = run(lift, "--spec", spec)
    assert code == 3
    assert words in err
    spec.write_text(ENVELOPE.format("all", 0.02, 0.02).replace("to = 80.0", "to = 1e15"), encoding="utf-8")
    assert "band 1 to: found 1000000000000000.0, expected cam deg" in run(lift, "--spec", spec)[2]


def test_a_whole_shaft_has_its_index_errors(run: Callable[..., Answer], tmp_path: Path) -> None:
    # two cylinders firing 1-2 are half a turn apart; 2I was put 90° off, so what is stated can't be the shaft's
    path = table(tmp_path / "two.csv", ("1I", "1E", "2I", "2E"), preamble=PREAMBLE + "# firing order: 1-2\n")
    found = document(run, path)
    assert found["camshaft"]["index_errors"] is None
    assert any("check firing order" in note["text"] for note in found["notes"])
    spec = tmp_path / "spec.toml"
    spec.write_text("[camshaft.places]\n1I = 53.0\n1E = 303.0\n2I = 323.0\n2E = 213.0\n", encoding="utf-8")
    errors = document(run, path, "--spec", spec)["camshaft"]["index_errors"]
    assert [row["lobe"] for row in errors] == ["1I", "1E", "2I", "2E"]
    assert max(abs(row["error_cam_deg"]) for row in errors) < 0.03


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "found"),
        ("angle [cam deg],1I [mm]\n", "found"),
        ("angle [cam deg],1I [N]\n0,1\n", "found"),
        ("angle [cam deg],1I [mm]\n" + "".join(f"{k},0\n" for k in range(9)), "expected 16 or more"),
        ("angle [cam deg],1I [mm]\n0,1\n1,x\n2,3\n", "line 3"),
        ("angle [cam deg],1I [mm]\n" + "".join(f"{k % 7},{k}\n" for k in range(40)), "run one way"),
        ("angle [cam deg],1I [mm],1I [mm]\n0,1,1\n", "1I"),
        ("# follower: mushroom\n" + LONG, "mushroom"),
        ("# base circle radius: 3 N\n" + LONG, "base circle radius"),
        ("\x00\x01\x02", "found"),
    ],
)
def test_a_bad_table_ends_in_one_line(run: Callable[..., Answer], tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "bad.csv"
    path.write_text(text, encoding="utf-8")
    code, out, err = run(path)
    assert (code, out) == (3, "")
    assert err.count("\n") == 1
    assert err.startswith("valvelab: ")
    assert words in err
    assert "bad.csv" in err


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[[limit]\n", "line 1"),
        ('[[limit]]\nof = "max_lift"\nmaximum = 3\n', "maximum"),
        ('[[limit]]\nof = "lift"\nmax = 3\n', "valvelab characteristics"),
        ('[[limit]]\nof = "max_lift"\nmax = "3 N"\n', "length unit"),
        ('[[limit]]\nof = "max_lift"\n', "min/max"),
        ('[[limit]]\nof = "duration"\nmax = 3\n', "`at`"),
        ('[decision]\nrule = "guess"\n', "guarded"),
        (
            "[camshaft]\nlobe_separation = 1e300\n",
            "lobe_separation: found 1e+300, expected an angle of 0 to",
        ),
        ("[camshaft]\nbank_angle = 1e300\n", "an angle of -360 to 360 cam deg"),
        ("[camshaft]\ncylinders = 1000000000\n", "[camshaft] cylinders: found 1000000000, expected less than or equal"),
        ("[camshaft.places]\n1I = 1e300\n", "1I: found 1e+300, expected less than or equal to 720"),
        (ENVELOPE.format("all", 0.02, 0.02), "nominal.csv"),
        (ENVELOPE.format("all", 0.02, 0.02).replace("nominal.csv", "../../nominal.csv"), "nominal"),
        (ENVELOPE.format("all", '"0.02 N"', 0.02), "below"),
        ('[camshaft]\nfiring_order = "1-x"\n', "firing_order"),
    ],
)
def test_a_bad_spec_ends_in_one_line(
    run: Callable[..., Answer], tmp_path: Path, lift: Path, text: str, words: str
) -> None:
    if "0.02 N" in text:
        nominal(tmp_path)
    spec = tmp_path / "spec.toml"
    spec.write_text(text, encoding="utf-8")
    code, out, err = run(lift, "--spec", spec)
    assert (code, out) == (3, "")
    assert err.count("\n") == 1
    assert words in err
    assert "spec.toml" in err or "nominal.csv" in err


def test_a_backward_band_is_refused(run: Callable[..., Answer], tmp_path: Path, lift: Path) -> None:
    nominal(tmp_path)
    spec = tmp_path / "spec.toml"
    text = ENVELOPE.format("all", 0.02, 0.02).replace("from = -80.0", "from = 90.0")
    spec.write_text(text, encoding="utf-8")
    code, _, err = run(lift, "--spec", spec)
    assert code == 3
    assert "from 90 to 80" in err


@pytest.mark.parametrize(
    "arguments",
    [("--at", "3 N"), ("--at", "0"), ("--at", "-1 mm"), ("--at", "much"), ("--convert", "mushroom"),
     ("--convert", "roller"), ("--units", "cubits"), ("--columns", "angle"), ("--nonsense",)],
)  # fmt: skip
def test_wrong_usage(run: Callable[..., Answer], lift: Path, arguments: tuple[str, ...]) -> None:
    code, out, err = run(lift, *arguments)
    assert (code, out) == (2, "")
    assert arguments[0] in err
    assert "Traceback" not in err


@pytest.mark.parametrize(
    ("preamble", "words"),
    [
        ("# follower: flat\n", "base circle radius"),
        ("# base circle radius: 15 mm\n", "follower"),
        ("# follower: flat\n# base circle radius: 15 mm\n# lift at: valve\n", "at the valve"),
    ],
)
def test_a_conversion_without_its_data_is_refused(
    run: Callable[..., Answer], tmp_path: Path, preamble: str, words: str
) -> None:
    path = table(tmp_path / "lift.csv", preamble=preamble)
    code, _, err = run(path, "--convert", "point")
    assert code == 3
    assert words in err
    # without the conversion the rest still works, and the curvature says why it is missing
    found = document(run, path)
    assert lobe(found)["curvature"]["min_face_radius_mm"] is None
    assert any(words in note["text"] for note in found["notes"])


def test_a_missing_file(run: Callable[..., Answer], tmp_path: Path) -> None:
    code, out, err = run(tmp_path / "none.csv")
    assert (code, out) == (3, "")
    assert err.count("\n") == 1
    assert "none.csv" in err


def test_an_undercut_is_a_finding(run: Callable[..., Answer], tmp_path: Path) -> None:
    path = table(tmp_path / "lift.csv", preamble="# follower: flat\n# base circle radius: 12 mm\n")
    code, out, err = run(path, "--json")
    assert code == 0
    assert "undercut" in err
    assert json.loads(out)["lobes"][0]["curvature"]["min_face_radius_mm"] > 0.0


def test_a_spike_is_counted_and_listed(run: Callable[..., Answer], tmp_path: Path) -> None:
    path = table(tmp_path / "lift.csv")
    lines = path.read_text(encoding="utf-8").splitlines()
    row = lines[5 + 53].split(",")
    lines[5 + 53] = ",".join([row[0], f"{float(row[1]) + 0.3:.6f}", row[2]])
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    found = lobe(document(run, path))
    assert found["outliers"] == 1
    reading = found["outlier_readings"][0]
    assert reading["angle_cam_deg"] == pytest.approx(float(row[0]))
    assert reading["lift_mm"] - reading["fitted_lift_mm"] == pytest.approx(0.3, abs=0.005)


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ("".join(f"{i},{1e300 if i == 50 else 0}\n" for i in range(360)), "1e+300 mm"),
        ("5,1\n" * 100, "at 1 angles"),
    ],
)
def test_numbers_no_lobe_can_have(run: Callable[..., Answer], tmp_path: Path, rows: str, words: str) -> None:
    path = tmp_path / "odd.csv"
    path.write_text("angle [cam deg],1I [mm]\n" + rows, encoding="utf-8")
    code, out, err = run(path)
    assert (code, out, err.count("\n")) == (3, "", 1)
    assert words in err
    assert "odd.csv" in err
