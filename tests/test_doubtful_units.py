"""Tables that don't say their units, or run across the zero: read as meant, said, or judged by nobody."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PySide6.QtWidgets import QApplication

from valvelab.cli.main import main
from valvelab.errors import BadFile
from valvelab.files.heights import read_heights
from valvelab.files.lift_table import read_lift_table
from valvelab.files.spring_readings import read_spring_readings
from valvelab.inspection.lobes.inspect import inspect_lobes
from valvelab.places import sample_profiles
from valvelab.records.measurement import NO_DOUBTS, LiftTable
from valvelab.window.main_window import MainWindow

HALF_WIDTH, HEIGHT = 65.0, 9.0


def lift(angle_cam_deg: np.ndarray, centre: float = 110.0, half: float = HALF_WIDTH) -> np.ndarray:
    """A raised cosine, 9 mm high."""
    away = (angle_cam_deg - centre + 180.0) % 360.0 - 180.0
    return np.where(np.abs(away) < half, 0.5 * HEIGHT * (1.0 + np.cos(np.pi * away / half)), 0.0)


def lasting(level: float, half: float = HALF_WIDTH) -> float:
    """Cam degrees above a lift, in closed form."""
    return float(2.0 * half / np.pi * np.arccos(2.0 * level / HEIGHT - 1.0))


def table(folder: Path, header: str, angles: np.ndarray, lifts: np.ndarray, name: str = "lift.csv") -> Path:
    rows = "".join(f"{angle:g},{value:.6f}\n" for angle, value in zip(angles, lifts, strict=True))
    (folder / name).write_text(f"{header}\n{rows}", encoding="utf-8")
    return folder / name


def levels(found: LiftTable, about: str) -> list[str]:
    return [note.level for note in found.notes if note.about == about]


# Event-only tables across the zero

EARLY, LATE = np.arange(0.0, 124.0, 2.0), np.arange(558.0, 720.0, 2.0)
ACROSS = {
    "as it ran": np.concatenate([LATE, EARLY]),
    "sorted": np.concatenate([EARLY, LATE]),
    "sorted, falling": np.concatenate([EARLY, LATE])[::-1],
    "below zero": np.concatenate([LATE - 720.0, EARLY]),
}


@pytest.mark.parametrize("form", ACROSS)
def test_an_event_across_the_zero_is_one_sweep(tmp_path: Path, form: str) -> None:
    crank = ACROSS[form]
    path = table(tmp_path, "angle [crank deg],1I [mm]", crank, lift(crank / 2.0, 340.0))
    (row,) = inspect_lobes(read_lift_table(path)).result.lobes
    at = next(row for row in row.durations if row.at_mm == 1.27)
    assert row.centre_cam_deg == pytest.approx(340.0, abs=0.02)
    assert at.duration_crank_deg == pytest.approx(2.0 * lasting(1.27), abs=0.05)
    assert row.max_lift_mm == pytest.approx(HEIGHT, abs=0.001)


def test_each_sweep_may_be_sorted_across_the_zero(tmp_path: Path) -> None:
    crank = ACROSS["sorted"]
    rows = [
        f"1I,{sweep},{angle:g},{value:.6f}"
        for sweep in "ab"
        for angle, value in zip(crank, lift(crank / 2.0, 340.0), strict=True)
    ]
    (tmp_path / "sweeps.csv").write_text("\n".join(["lobe,sweep,angle [crank deg],lift [mm]", *rows]), encoding="utf-8")
    (row,) = inspect_lobes(read_lift_table(tmp_path / "sweeps.csv")).result.lobes
    assert row.centre_cam_deg == pytest.approx(340.0, abs=0.02)


def test_lobes_with_holes_across_the_zero_beside_whole_ones(tmp_path: Path) -> None:
    crank = np.arange(0.0, 720.0, 2.0)
    intake, exhaust = lift(crank / 2.0, 350.0), lift(crank / 2.0, 240.0)
    cells = ["" if value == 0.0 else f"{value:.6f}" for value in intake]
    rows = "\n".join(f"{a:g},{i},{e:.6f}" for a, i, e in zip(crank, cells, exhaust, strict=True))
    (tmp_path / "two.csv").write_text(f"angle [crank deg],1I [mm],1E [mm]\n{rows}\n", encoding="utf-8")
    found = read_lift_table(tmp_path / "two.csv")
    assert [row.centre_cam_deg for row in inspect_lobes(found).result.lobes] == pytest.approx([350.0, 240.0], abs=0.02)
    assert not [note for note in found.notes if note.level == "warning"]


def test_angles_that_turn_back_are_refused_in_the_files_own_unit(tmp_path: Path) -> None:
    crank = np.arange(100.0, 200.0, 2.0)
    crank[[20, 30]] = crank[[30, 20]]
    path = table(tmp_path, "angle [crank deg],1I [mm]", crank, lift(crank / 2.0, 75.0))
    with pytest.raises(BadFile, match="line 23: found lobe 1I at 142 crank deg after 160 crank deg, expected"):
        read_lift_table(path)


# Angles that say neither cam nor crank


def test_a_trace_too_long_for_cam_degrees_is_read_as_crank_and_said(tmp_path: Path) -> None:
    crank = np.arange(0.0, 720.0, 4.0)
    for header in ("angle,1I [mm]", "degrees,1I [mm]", "angle [deg],1I [mm]"):
        found = read_lift_table(table(tmp_path, header, crank, lift(crank / 2.0)))
        assert any("runs over 716 degrees, so it is read as crank deg" in note.text for note in found.notes)
        assert found.doubts == NO_DOUBTS
        (row,) = inspect_lobes(found).result.lobes
        at = next(row for row in row.durations if row.at_mm == 1.27)
        assert at.duration_crank_deg == pytest.approx(2.0 * lasting(1.27), abs=0.05)


def test_two_turns_that_repeat_are_cam_degrees(tmp_path: Path) -> None:
    cam = np.arange(0.0, 720.0, 3.0)
    found = read_lift_table(table(tmp_path, "angle,1I [mm]", cam, lift(cam)))
    assert any(
        "repeats after 360 degrees, so it is read as several turns in cam deg" in note.text for note in found.notes
    )
    (row,) = inspect_lobes(found).result.lobes
    assert row.centre_cam_deg == pytest.approx(110.0, abs=0.02)


CRANK_EVENT = np.arange(40.0, 402.0, 2.0)


@pytest.mark.parametrize(
    ("header", "doubtful"),
    [
        ("angle,1I [mm]", True),
        ("angle [deg],1I [mm]", True),
        ("angle [cam deg],1I [mm]", False),
        ("crank angle,1I [mm]", False),
    ],
)
def test_a_lobe_that_would_last_too_long_is_doubtful_without_a_unit(
    tmp_path: Path, header: str, doubtful: bool
) -> None:
    found = read_lift_table(table(tmp_path, header, CRANK_EVENT, lift(CRANK_EVENT / 2.0, half=90.0)))
    assert lasting(1.27, 90.0) * 2.0 > 180.0
    assert bool(found.doubts.angle) is doubtful
    assert found.doubts.lift == ""
    assert levels(found, "unit") == ["warning"] * doubtful


@pytest.mark.parametrize("half", [60.0, 118.0, 120.0])
def test_the_bound_is_180_cam_degrees_at_the_checking_lift(tmp_path: Path, half: float) -> None:
    cam = np.arange(0.0, 360.0, 1.0)
    found = read_lift_table(table(tmp_path, "angle,1I [mm]", cam, lift(cam, 10.0, half)))
    assert bool(found.doubts.angle) is (lasting(1.27, half) > 180.0)


# Lifts without a unit


@pytest.mark.parametrize(
    ("header", "scale", "doubtful"),
    [
        ("angle [cam deg],1I", 1 / 25.4, True), ("angle [cam deg],1I [in]", 1 / 25.4, False),
        ("angle [cam deg],1I [mm]", 1 / 25.4, False), ("angle [cam deg],1I", 1.0, False),
        ("angle [cam deg],1I", 1000.0, True), ("angle [cam deg],1I", 2.9 / 9.0, True),
        ("angle [cam deg],1I", 3.1 / 9.0, False),
    ],
)  # fmt: skip
def test_lifts_too_low_or_high_are_doubtful_without_a_unit(
    tmp_path: Path, header: str, scale: float, doubtful: bool
) -> None:
    cam = np.arange(0.0, 360.0, 2.0)
    found = read_lift_table(table(tmp_path, header, cam, lift(cam) * scale))
    assert bool(found.doubts.lift) is doubtful
    assert levels(found, "unit") == ["warning"] * doubtful


def test_inches_and_crank_degrees_without_units_are_both_doubtful(tmp_path: Path) -> None:
    found = read_lift_table(table(tmp_path, "angle,1I", CRANK_EVENT, lift(CRANK_EVENT / 2.0, half=90.0) / 25.4))
    assert found.doubts.lift
    assert found.doubts.angle


# No verdict rests on them

SPEC = """
[decision]
rule = "simple"
[[limit]]
of = "max_lift"
max = "20 mm"
[[limit]]
of = "max_lift_angle"
min = 0
[[limit]]
of = "duration"
at = "1.27 mm"
min = 1
[[limit]]
of = "area"
min = 1
[[limit]]
of = "velocity_max"
max = 1
[[envelope]]
nominal = "nominal.csv"
[[envelope.band]]
from = -30
to = 30
below = "20 mm"
above = "20 mm"
"""


def verdicts(folder: Path, capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, dict[str, Any]]:
    (folder / "spec.toml").write_text(SPEC, encoding="utf-8")
    code = main(["lobes", *map(str, words), "--spec", str(folder / "spec.toml"), "--json"])
    document = json.loads(capsys.readouterr().out)
    return code, {row["characteristic"]: row for row in document["verdicts"]}


def nominal(folder: Path, header: str = "angle [cam deg],1I [mm]", scale: float = 1.0) -> None:
    cam = np.arange(0.0, 360.0, 2.0)
    table(folder, header, cam, lift(cam) * scale, "nominal.csv")


def test_what_an_angle_in_doubt_touches_is_undecided(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    nominal(tmp_path)
    path = table(tmp_path, "angle,1I [mm]", CRANK_EVENT, lift(CRANK_EVENT / 2.0, half=90.0))
    code, rows = verdicts(tmp_path, capsys, path)
    assert code == 4
    assert {name for name, row in rows.items() if row["decision"] == "undecided"} == set(rows) - {"max_lift"}
    assert rows["max_lift"]["decision"] == "accept"
    assert all("cam or crank" in rows[name]["reason"] for name in set(rows) - {"max_lift"})
    code, rows = verdicts(tmp_path, capsys, path, "--columns", "angle=0 [crank deg], 1I=1 [mm]")
    assert (code, {row["decision"] for row in rows.values()}) == (0, {"accept"})


def test_what_a_lift_in_doubt_touches_is_undecided(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    nominal(tmp_path)
    cam = np.arange(0.0, 360.0, 2.0)
    code, rows = verdicts(tmp_path, capsys, table(tmp_path, "angle [cam deg],1I", cam, lift(cam) / 25.4))
    assert code == 4
    assert {name for name, row in rows.items() if row["decision"] == "undecided"} == set(rows) - {"max_lift_angle"}


def test_a_nominal_in_doubt_judges_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    nominal(tmp_path, "angle [cam deg],1I", 1 / 25.4)
    cam = np.arange(0.0, 360.0, 2.0)
    code, rows = verdicts(tmp_path, capsys, table(tmp_path, "angle [cam deg],1I [mm]", cam, lift(cam)))
    assert (code, rows["envelope"]["decision"]) == (4, "undecided")
    assert "nominal nominal.csv: lifts carry no unit" in rows["envelope"]["reason"]


def test_valve_motion_rests_on_the_same_table(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    camshaft = (sample_profiles() / "quillmere_four_camshaft.csv").read_text(encoding="utf-8")
    bare = tmp_path / "bare.csv"
    bare.write_text(camshaft.replace(" [mm]", ""), encoding="utf-8")
    rows = [line for line in bare.read_text(encoding="utf-8").split("\n") if line and not line.startswith("#")]
    scaled = [
        ",".join([cells[0], *(f"{float(c) / 25.4:.6f}" if c.strip() else "" for c in cells[1:])])
        for cells in (row.split(",") for row in rows[1:])
    ]
    bare.write_text("\n".join(["# follower: flat", rows[0], *scaled]) + "\n", encoding="utf-8")
    spec = tmp_path / "valve.toml"
    spec.write_text('[decision]\nrule = "simple"\n[[limit]]\nof = "max_valve_lift"\nmin = "0.1 mm"\n', encoding="utf-8")
    train = sample_profiles() / "quillmere_four_train.toml"
    code = main(["motion", str(bare), "--train", str(train), "--spec", str(spec), "--no-dynamics", "--json"])
    document = json.loads(capsys.readouterr().out)
    assert code == 4
    assert {row["decision"] for row in document["verdicts"]} == {"undecided"}
    assert any(note["about"] == "unit" and note["level"] == "warning" for note in document["notes"])


# Springs' lengths without a unit

INCH_SPRINGS = {
    "tidy": "height,force\n1.9,120\n1.8,160\n1.7,200\n1.6,240\n1.4,320\n",
    "wide": "spring,force at 1.9,force at 1.7,force at 1.4\n1,120,200,320\n2,121,201,321\n",
    "free length": "spring,height [mm],force [N],free length\n1,48,530,2.1\n1,43,890,2.1\n1,36,1400,2.1\n",
    "solid height": "# solid height: 0.95\nspring,height [mm],force [N]\n1,48,530\n1,43,890\n1,36,1400\n",
}
SPRING_SPEC = """[decision]
rule = "simple"
[[limit]]
of = "rate"
min = 1.0
[[limit]]
of = "hysteresis"
max = "1000 N"
"""


@pytest.mark.parametrize("form", INCH_SPRINGS)
def test_lengths_that_are_no_springs_in_mm_are_doubtful(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], form: str
) -> None:
    (tmp_path / "springs.csv").write_text(INCH_SPRINGS[form], encoding="utf-8")
    (tmp_path / "spec.toml").write_text(SPRING_SPEC, encoding="utf-8")
    code = main(["springs", str(tmp_path / "springs.csv"), "--spec", str(tmp_path / "spec.toml"), "--json"])
    document = json.loads(capsys.readouterr().out)
    assert [note["level"] for note in document["notes"] if note["about"] == "unit"] == ["warning"]
    rates = [row for row in document["verdicts"] if row["characteristic"] == "rate"]
    assert {row["decision"] for row in rates} == {"undecided"}
    assert all("carries no unit" in row["reason"] for row in rates)
    assert code == 4


def test_heights_at_the_valves_are_doubted_alike(tmp_path: Path) -> None:
    (tmp_path / "heights.csv").write_text("position,height\n1I,1.65\n1E,1.64\n", encoding="utf-8")
    (note,) = (note for note in read_heights(tmp_path / "heights.csv").notes if note.about == "unit")
    assert note.level == "warning"
    assert "height [mm] or [in]" in note.text


def test_heights_of_a_spring_in_mm_need_no_unit(tmp_path: Path) -> None:
    (tmp_path / "springs.csv").write_text("spring,height,force\n1,48,530\n1,43,890\n1,36,1400\n", encoding="utf-8")
    assert read_spring_readings(tmp_path / "springs.csv").doubts == NO_DOUBTS


def test_a_release_compared_at_equal_heights_is_free_of_their_unit(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    strokes = [("compress", 0.0), ("release", -2.0)]
    rows = [f"1,{h},{f + off},{stroke}" for stroke, off in strokes for h, f in ((1.9, 120), (1.7, 200), (1.4, 320))]
    (tmp_path / "springs.csv").write_text("\n".join(["spring,height,force,stroke", *rows]) + "\n", encoding="utf-8")
    (tmp_path / "spec.toml").write_text(SPRING_SPEC, encoding="utf-8")
    main(["springs", str(tmp_path / "springs.csv"), "--spec", str(tmp_path / "spec.toml"), "--json"])
    rows_of = {row["characteristic"]: row["decision"] for row in json.loads(capsys.readouterr().out)["verdicts"]}
    assert rows_of == {"rate": "undecided", "hysteresis": "accept"}


def test_two_files_of_springs_in_doubt_are_compared_by_nobody(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in ("before.csv", "after.csv"):
        (tmp_path / name).write_text(INCH_SPRINGS["wide"], encoding="utf-8")
    (tmp_path / "spec.toml").write_text('[[limit]]\nof = "rate_change"\nmax = 5.0\n', encoding="utf-8")
    files = [str(tmp_path / name) for name in ("before.csv", "after.csv")]
    code = main(["compare", *files, "--spec", str(tmp_path / "spec.toml"), "--json"])
    verdicts = json.loads(capsys.readouterr().out)["verdicts"]
    assert (code, {row["decision"] for row in verdicts}) == (4, {"undecided"})


@pytest.mark.parametrize(
    ("text", "column"),
    [
        ("spring,height [in],force\n1,1.9,120\n1,1.7,200\n", "force"),
        ("spring,height,force [lbf]\n1,1.9,120\n1,1.7,200\n", "height"),
        ("spring,height [in],force [lbf],free length\n1,1.9,120,2.1\n1,1.7,200,2.1\n", "free length"),
    ],
)
def test_a_bare_column_beside_inches_is_warned_of(tmp_path: Path, text: str, column: str) -> None:
    (tmp_path / "springs.csv").write_text(text, encoding="utf-8")
    told = [note for note in read_spring_readings(tmp_path / "springs.csv").notes if note.level == "warning"]
    assert any(f"column {column} carries no unit beside columns in inches or pounds" in note.text for note in told)


@pytest.mark.parametrize(
    ("text", "units"),
    [
        (INCH_SPRINGS["tidy"], {"height": "in", "force": "lbf"}),
        ("angle,1I\n" + "".join(f"{a},{v / 25.4:.5f}\n" for a, v in enumerate(lift(np.arange(360.0)))), {"1I": "in"}),
    ],
)
def test_a_table_in_doubt_offers_its_columns_with_the_units_that_fit(
    window: MainWindow, tmp_path: Path, app: QApplication, text: str, units: dict[str, str]
) -> None:
    (tmp_path / "table.csv").write_text(text, encoding="utf-8")
    window.bench.add_files([str(tmp_path / "table.csv")])
    app.processEvents()
    assert window.unit_offer.isVisible()
    window.unit_offer.taken.emit()
    app.processEvents()
    assert window.pages.front() is window.columns
    named = dict(window.columns.table.roles().values())
    assert {name: named[name] for name in units} == units
    window.columns.take.click()
    app.processEvents()
    assert not window.unit_offer.isVisible()
    (file,) = window.bench.document.files
    assert window.bench.document.content(file).value.doubts == NO_DOUBTS


def test_a_table_in_doubt_that_is_left_so_is_not_asked_about_again(
    window: MainWindow, tmp_path: Path, app: QApplication
) -> None:
    (tmp_path / "table.csv").write_text(INCH_SPRINGS["tidy"], encoding="utf-8")
    window.bench.add_files([str(tmp_path / "table.csv")])
    app.processEvents()
    window.unit_offer.refused.emit()
    window.bench.go_to_bay("lobes")
    window.bench.go_to_bay("springs")
    app.processEvents()
    assert not window.unit_offer.isVisible()
