"""Springs that are read again and again: stages and dates, what was lost, the trend, and when a limit is reached."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from openpyxl import Workbook
from pypdf import PdfReader
from something import each
from spring_cases import FITTED_38, SEASON, write_readings, write_season
from test_springs_numbers import NORRIS

from valvelab.cli.main import main
from valvelab.errors import CannotEvaluate
from valvelab.springs.trend import crossing, fit_trend, student_factor


def limits(tmp_path: Path, **ends: str) -> Path:
    path = tmp_path / "spec.toml"
    path.write_text("".join(f'[[limit]]\nof = "{name}"\n{end}\n' for name, end in ends.items()), encoding="utf-8")
    return path


def answer(capsys: pytest.CaptureFixture[str], *words: object, code: int = 0) -> Any:
    got = main([*(str(word) for word in words), "--json"])
    out, err = capsys.readouterr()
    assert got == code, err
    return json.loads(out) if out else err


# -- the numbers ------------------------------------------------------------------------------------------------------


def test_student_s_factor_is_that_of_the_printed_tables() -> None:
    # two-sided 95 %, as printed in every table of Student's distribution (NIST/SEMATECH e-Handbook, 1.3.6.7.2)
    for freedom, printed in ((1, 12.706), (2, 4.303), (3, 3.182), (5, 2.571), (10, 2.228), (30, 2.042)):
        assert student_factor(freedom) == pytest.approx(printed, abs=5e-4)


def test_the_trend_through_norris_has_the_certified_slope_and_uncertainty() -> None:
    y, x = np.array([[float(c) for c in line.split()] for line in NORRIS.splitlines()]).T
    trend = fit_trend(x, y, None)
    # NIST StRD, Norris, certified
    assert trend.slope == pytest.approx(1.00211681802045, rel=1e-11)
    assert trend.slope_u == pytest.approx(0.429796848199937e-03, rel=1e-9)
    assert trend.at(0.0) == pytest.approx(-0.262323073774029, rel=1e-9)
    assert trend.freedom == 34


def test_a_value_known_ten_times_worse_hardly_moves_the_trend() -> None:
    x, u = np.array([0.0, 10.0, 20.0, 30.0]), np.array([0.1, 0.1, 0.1, 1.0])
    trend = fit_trend(x, np.array([250.0, 249.0, 248.0, 249.0]), u)
    # the normal equations of weights 1/u², by hand: W = 301, Σwx = 3030, Σwx² = 50900 less 3030²/301
    weights = 1.0 / u**2
    centre = weights @ x / weights.sum()
    expected = weights @ ((x - centre) * np.array([250.0, 249.0, 248.0, 249.0])) / (weights @ (x - centre) ** 2)
    assert trend.slope == pytest.approx(expected, rel=1e-12)
    assert trend.slope == pytest.approx(-0.1, abs=0.005)


def test_the_interval_of_a_crossing_holds_its_95_percent() -> None:
    # stages 40 days apart; the tester is set up anew for each, which the readings of one stage do not show
    generator = np.random.default_rng(3)
    x = np.arange(5) * 40.0
    for set_up in (0.0, 1.5):
        held = known = 0
        for _ in range(1500):
            y = 250.0 - 0.1 * x + generator.normal(size=5) + set_up * generator.normal(size=5)
            trend = fit_trend(x, y, np.full(5, 1.0))
            if (met := crossing(trend, 225.0)) is not None:
                known += 1
                held += met.earliest <= 250.0 <= met.latest
        assert known > 1000
        assert held / known > 0.93


def test_two_values_show_no_scatter_and_one_no_trend() -> None:
    two = fit_trend(np.array([0.0, 10.0]), np.array([250.0, 240.0]), np.array([0.1, 0.1]))
    assert two.slope == pytest.approx(-1.0)
    assert not two.significant()
    assert crossing(two, 235.0) is None
    for x, u in ((np.array([5.0, 5.0]), np.array([0.1, 0.1])), (np.array([0.0, 5.0]), None)):
        with pytest.raises(CannotEvaluate, match="stages"):
            fit_trend(x, np.array([250.0, 249.0]), u)


# -- from readings to the date ----------------------------------------------------------------------------------------


def test_a_spring_that_loses_2_percent_each_meeting_is_due_when_the_line_says(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # 240 N new; 5 % go with running in, then 2 % of new in 40 days: 4.8 N. From 228 N on 2026-02-11 the limit of 204 N
    # is 200 days off, and 20 % of new (192 N) are 300
    file = write_season(tmp_path / "s.csv", {"A": (0.0, 0.05, 0.07, 0.09), "B": (0.0, 0.01, 0.01, 0.01)})
    spec = limits(tmp_path, seat_force='min = "204 N"', seat_force_drop='max = "20 %"')
    found = answer(capsys, "springs", file, "--spec", spec)
    assert [row["stage"] for row in found["springs"][:4]] == [stage for stage, _ in SEASON]
    assert [row["date"] for row in found["springs"][:4]] == [day for _, day in SEASON]
    drops = [row["seat_force_drop_pct"] for row in found["springs"][:4]]
    assert drops[0] is None
    assert drops[1:] == pytest.approx([5.0, 7.0, 9.0])
    last = found["springs"][3]
    assert (last["open_force_drop_pct"], last["rate_drop_pct"]) == (pytest.approx(9.0), pytest.approx(9.0))
    history = {one["spring"]: one for one in found["history"]}
    seat = history["A"]["trends"][0]
    assert (seat["characteristic"], seat["stages"], seat["from_stage"]) == ("seat_force", 3, "run-in")
    assert seat["slope"] == pytest.approx(-0.12)
    assert (seat["slope_unit"], seat["significant"]) == ("N per day", True)
    assert seat["value_at_last_stage"] == pytest.approx(218.4)
    by_limit = {due["limit_of"]: due for due in seat["due"]}
    run_in = date(2026, 2, 11)
    for name, days in (("seat_force", 200), ("seat_force_drop", 300)):
        due = by_limit[name]
        assert abs((date.fromisoformat(due["due_date"]) - run_in).days - days) <= 1
        assert due["earliest_date"] < due["due_date"] < due["latest_date"]
        assert (due["extrapolated"], due["reason"]) == (True, None)
    steady = history["B"]["trends"][0]
    assert (steady["significant"], steady["due"][0]["due_date"]) == (False, None)
    assert "no trend beyond the scatter" in steady["due"][0]["reason"]
    said = " ".join(note["text"] for note in found["notes"])
    assert "extrapolation" in said
    assert "never as a limit: a spring that lost more than 10 % of its seat force" in said
    judged = {(v["characteristic"], v["item"]): v for v in found["verdicts"]}
    assert judged["seat_force_drop", "A"]["measured"] == pytest.approx(9.0)
    assert judged["seat_force_drop", "A"]["unit"] == "%"


def test_the_tester_s_calibration_counts_once_in_what_was_lost(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = write_season(tmp_path / "s.csv", {"A": (0.0, 0.10, 0.10, 0.10)})
    row = answer(capsys, "springs", file)["springs"][1]
    # a tester 0.6 N off in both stages moves 1 − 0.9 by 0.6 · 0.1 / 240, that is 0.025 %, and not by 0.34 %
    noise = 0.1 / 12.0**0.5
    expected = 100.0 / 240.0 * ((0.81 + 1.0) * noise**2 + (0.1 * 0.6) ** 2) ** 0.5
    assert row["uncertainty"]["seat_force_drop_pct"] == pytest.approx(expected, rel=0.02)


def test_stages_without_dates_are_counted(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    stages = tuple((word, "") for word in ("run-in", "after 1", "after 2", "after 3"))
    # read from a file that has the last stage first, as they come there
    file = write_season(tmp_path / "s.csv", {"A": (0.06, 0.04, 0.02, 0.0)}, tuple(reversed(stages)))
    found = answer(capsys, "springs", file, "--spec", limits(tmp_path, seat_force_drop='max = "10 %"'))
    history = found["history"][0]
    assert history["over"] == "stage"
    assert [one["stage"] for one in history["stages"]] == ["run-in", "after 1", "after 2", "after 3"]
    due = history["trends"][0]["due"][0]
    assert due["due_stage"] == pytest.approx(5.0)
    assert due["earliest_stage"] < 5.0 < due["latest_stage"]
    assert due["due_date"] is None
    assert any("drops count from the first" in note["text"] for note in found["notes"])


@pytest.mark.parametrize(
    ("lost", "count", "reason"),
    [
        ((0.0, 0.05), 2, "one stage after running in shows no trend"),
        ((0.0, 0.05, 0.07), 3, "two stages show no scatter about a line"),
        ((0.0, 0.09, 0.07, 0.05), 4, "it does not fall"),
        ((0.0, 0.020, 0.027, 0.034), 4, "further off than 10 times as long"),
        ((0.0, 0.21, 0.25, 0.29), 4, "passed before the trend begins"),
    ],
)
def test_where_no_date_can_be_said_the_reason_stands(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], lost: tuple[float, ...], count: int, reason: str
) -> None:
    file = write_season(tmp_path / "s.csv", {"A": lost}, SEASON[:count])
    spec = limits(tmp_path, seat_force_drop='max = "20 %"')
    code = 1 if max(lost) > 0.2 else 0
    due = answer(capsys, "springs", file, "--spec", spec, code=code)["history"][0]["trends"][0]["due"][0]
    assert due["due_date"] is None
    assert reason in due["reason"]


def test_a_limit_passed_between_stages_is_no_extrapolation(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = write_season(tmp_path / "s.csv", {"A": (0.0, 0.05, 0.07, 0.09)})
    spec = limits(tmp_path, seat_force_drop='max = "8 %"')
    due = answer(capsys, "springs", file, "--spec", spec, code=1)["history"][0]["trends"][0]["due"][0]
    assert abs((date.fromisoformat(due["due_date"]) - date(2026, 4, 12)).days) <= 1
    assert due["extrapolated"] is False


def test_a_limit_on_what_was_lost_is_undecided_for_one_stage(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = write_season(tmp_path / "s.csv", {"A": (0.0,)}, SEASON[:1])
    found = answer(capsys, "springs", file, "--spec", limits(tmp_path, seat_force_drop='max = "10 %"'), code=4)
    assert found["history"] == []
    assert found["verdicts"][0]["decision"] == "undecided"
    assert "nothing to compare with" in found["verdicts"][0]["reason"]


def test_terminal_and_paper_show_the_trend_and_paper_agrees(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = write_season(tmp_path / "s.csv", {"A": (0.0, 0.05, 0.07, 0.09), "B": (0.0, 0.01, 0.03, 0.05)}, noise=0.05)
    spec, paper = limits(tmp_path, seat_force='min = "204 N"'), tmp_path / "p.pdf"
    asked = ("springs", file, "--spec", spec)
    found = answer(capsys, *asked)
    due = found["history"][0]["trends"][0]["due"][0]
    assert main([*map(str, asked), "--out", str(paper)]) == 0
    told = capsys.readouterr().out
    printed = " ".join(" ".join(page.extract_text() for page in PdfReader(paper).pages).split())
    for text in each(("Trend, and when due", "Lost against new", due["due_date"], due["latest_date"], "extrapolated")):
        assert text in told
        assert text in printed
    assert "limit on seat force" in printed
    assert main(["verify", str(paper)]) == 0


# -- what the file says -----------------------------------------------------------------------------------------------

HEAD = "spring,stage,date,height [mm],force [N]"


@pytest.mark.parametrize("text", ["3/5/26", "05.03.2026", "2026-3-5", "2026-02-30", "20260305", "May 3"])
def test_a_date_in_another_order_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str) -> None:
    file = tmp_path / "s.csv"
    file.write_text(f"{HEAD}\nA,new,2026-02-01,40,180\nA,new,{text},38,240\n", encoding="utf-8")
    refused = answer(capsys, "springs", file, code=3)
    assert f"line 3: found date '{text}', expected a date as year-month-day, such as 2026-05-03" in refused


def test_one_stage_on_two_dates_is_refused_and_dates_alone_are_stages(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "s.csv"
    rows = "A,new,2026-02-01,40,180\nA,new,2026-02-02,38,240\n"
    file.write_text(f"{HEAD}\n{rows}", encoding="utf-8")
    refused = answer(capsys, "springs", file, code=3)
    assert (
        "line 3: found stage 'new' of spring 'A' on 2026-02-02 after 2026-02-01, expected one date a stage" in refused
    )
    file.write_text(f"{HEAD}\n{rows}".replace("new", ""), encoding="utf-8")
    found = answer(capsys, "springs", file)["springs"]
    assert [(row["stage"], row["date"]) for row in found] == [("2026-02-01",) * 2, ("2026-02-02",) * 2]


def test_a_workbook_s_dates_are_dates(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    book = Workbook()
    sheet = book.active
    sheet.append(HEAD.split(","))
    for stage, day in (("new", date(2026, 2, 1)), ("run-in", date(2026, 2, 11))):
        sheet.append(["A", stage, day, 40, 180])
        sheet.append(["A", stage, day, 38, 240])
    book.save(tmp_path / "s.xlsx")
    found = answer(capsys, "springs", tmp_path / "s.xlsx")["springs"]
    assert [row["date"] for row in found] == ["2026-02-01", "2026-02-11"]


def test_a_wide_table_holds_every_spring_s_own_lengths_squareness_and_stages(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "s.csv"
    head = "spring,stage,date,40 mm [N],38 mm [N],28 mm [N],solid height [mm],free length [mm],squareness [deg]"
    lines = ["A,new,2026-02-01,180,240,540,24.9,46.0,1.2", "A,used,2026-05-01,171,228,513,24.9,45.7,1.5"]
    file.write_text("\n".join([*(f"# {line}" for line in FITTED_38), head, *lines]) + "\n", encoding="utf-8")
    found = answer(capsys, "springs", file)["springs"]
    assert [row["solid_height_mm"] for row in found] == [24.9, 24.9]
    assert [row["free_length_mm"] for row in found] == [46.0, 45.7]
    assert found[1]["free_length_drop_pct"] == pytest.approx(100.0 * 0.3 / 46.0)
    assert found[1]["coil_bind_margin_mm"] == pytest.approx(28.0 - 24.9)
    assert [row["squareness_angle_deg"] for row in found] == [1.2, 1.5]
    assert found[0]["squareness_mm"] == pytest.approx(46.0 * np.tan(np.radians(1.2)))


@pytest.mark.parametrize(
    ("known", "u_of_one", "u_of_both"),
    [
        # a reading off a division of 0.1 mm: 0.1/√12 each (JCGM 100:2008, F.2.2.1), in both stages
        (("height resolution: 0.1 mm",), 0.1 / np.sqrt(12.0), np.hypot(45.7 / 46.0, 1.0) * 0.1 / np.sqrt(12.0)),
        # a calibration that both stages share counts once in their difference
        (("height uncertainty: 0.05 mm",), 0.05, 0.05),
        ((), None, None),
    ],
)
def test_free_length_in_a_column_and_what_was_lost_of_it_have_the_u_of_the_lengths(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    known: tuple[str, ...],
    u_of_one: float | None,
    u_of_both: float | None,
) -> None:
    file = tmp_path / "s.csv"
    head = "spring,stage,40 mm [N],38 mm [N],free length [mm]"
    lines = [*(f"# {line}" for line in known), head, "A,new,180,240,46.0", "A,used,171,228,45.7"]
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    result = answer(capsys, "springs", file)
    new, used = (row["uncertainty"] for row in result["springs"])
    said = [note["text"] for note in result["notes"] if note["about"] == "free_length_drop"]
    assert bool(said) == (not known)
    if u_of_one is None or u_of_both is None:
        assert (new["free_length_mm"], used["free_length_drop_pct"]) == (None, None)
    else:
        assert new["free_length_mm"] == pytest.approx(u_of_one)
        assert used["free_length_drop_pct"] == pytest.approx(100.0 / 46.0 * u_of_both)


def test_squareness_is_judged_with_its_uncertainty_in_either_unit(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "s.csv"
    head = ("# free length: 50 mm", "# squareness uncertainty: 0.1 mm", "spring,height [mm],force [N],squareness [mm]")
    rows = ("A,40,180,0.9", "A,38,240,0.9", "B,40,180,1.45", "B,38,240,1.45", "C,40,180,2.5", "C,38,240,2.5")
    file.write_text("\n".join((*head, *rows)) + "\n", encoding="utf-8")
    # 0.03 of the free length, as EN 15800 has it for its best grade (from memory): 1.5 mm, or 1.718 deg
    spec = limits(tmp_path, squareness='max = "1.5 mm"', squareness_angle="max = 1.718")
    found = answer(capsys, "springs", file, "--spec", spec, code=1)
    for name in each(("squareness", "squareness_angle")):
        decided = {v["item"]: v["decision"] for v in found["verdicts"] if v["characteristic"] == name}
        assert decided == {"A": "accept", "B": "undecided", "C": "reject"}
    assert found["springs"][0]["squareness_angle_deg"] == pytest.approx(np.degrees(np.arctan(0.9 / 50.0)))
    for wrong, sentence in each((("0.9,", "squareness 1 mm after 0.9 mm"), ("-0.9", "a squareness of 0 or more"))):
        text = file.read_text(encoding="utf-8").replace("A,38,240,0.9", f"A,38,240,{wrong}".replace("0.9,", "1.0"))
        (tmp_path / "wrong.csv").write_text(text, encoding="utf-8")
        assert sentence in answer(capsys, "springs", tmp_path / "wrong.csv", code=3)


# -- repeats ----------------------------------------------------------------------------------------------------------


def test_a_repeat_that_stands_off_is_pointed_out_and_nothing_near_it_is_decided(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    heights = [42.0, 41.0, 40.0, 38.0, 38.0, 38.0, 38.0, 36.0, 34.0, 32.0, 30.0, 28.0]
    forces = [30.0 * (46.0 - height) for height in heights]
    forces[5] += 6.0
    rows = {"A": (heights, forces), "B": (heights, [30.0 * (46.0 - height) for height in heights])}
    file = write_readings(tmp_path / "s.csv", rows, *FITTED_38, "force resolution: 0.5 N")
    spec = limits(tmp_path, seat_force='min = "200 N"', open_force='min = "500 N"', rate="max = 40")
    found = answer(capsys, "springs", file, "--spec", spec, code=4)
    decided = {(v["characteristic"], v["item"]): v["decision"] for v in found["verdicts"]}
    assert decided["seat_force", "A"] == decided["rate", "A"] == "undecided"
    assert decided["open_force", "A"] == "accept"
    assert {decided[name, "B"] for name in ("seat_force", "open_force", "rate")} == {"accept"}
    said = {note["about"]: note["text"] for note in found["notes"] if note["level"] == "warning"}
    assert said["A"].startswith("246 N at 38 mm stands off from the other 3 readings there: take it again")
    # three divisions are no doubt
    forces[5] -= 4.5
    write_readings(file, {"A": (heights, forces)}, *FITTED_38, "force resolution: 0.5 N")
    assert answer(capsys, "springs", file, "--spec", spec)["springs"][0]["seat_force_n"] == pytest.approx(240.375)


def test_repeats_on_the_head_are_averaged_with_the_uncertainty_of_few(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    forces = [240.0, 241.0, 240.5, 241.5, 240.5]
    rows = {"A": ([38.0] * 5, forces), "B": ([38.0] * 5, [value + 3.0 for value in forces])}
    file = write_readings(tmp_path / "s.csv", rows, "installed height: 38 mm", "force resolution: 0.5 N")
    row = answer(capsys, "springs", file)["springs"][0]
    assert row["seat_force_n"] == pytest.approx(240.7)
    # JCGM 101:2008, 6.4.9: s/√n · √((n − 1)/(n − 3)), with s = 0.5701 of these five
    assert row["uncertainty"]["seat_force_n"] == pytest.approx(0.57009 / 5**0.5 * 2.0**0.5, rel=1e-4)


# -- several files ----------------------------------------------------------------------------------------------------


def a_file_a_stage(tmp_path: Path, dates: tuple[str, ...], *further: str) -> list[Path]:
    files = []
    for number, day in enumerate(dates):
        forces = [30.0 * (46.0 - height) * (1.0 - 0.02 * number) for height in (40.0, 38.0, 34.0, 30.0, 28.0)]
        rows = {name: ([40.0, 38.0, 34.0, 30.0, 28.0], forces) for name in ("A", "B")}
        head = (*FITTED_38, "force resolution: 0.1 N", *([f"date: {day}"] if day else []), *further)
        files.append(write_readings(tmp_path / f"round_{number}.csv", rows, *head))
    return files


def test_a_file_a_stage_is_one_history_on_terminal_and_paper(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    first, *others = a_file_a_stage(tmp_path, ("2026-02-01", "2026-03-13", "2026-04-22"))
    later = [word for file in others for word in ("--later", str(file))]
    spec, paper = limits(tmp_path, seat_force_drop='max = "10 %"'), tmp_path / "p.pdf"
    found = answer(capsys, "springs", first, *later, "--spec", spec, "--out", paper)
    assert [Path(source["file"]).name for source in found["source"]] == [
        *(f"round_{n}.csv" for n in range(3)),
        "spec.toml",
    ]
    assert [row["date"] for row in found["springs"][:3]] == ["2026-02-01", "2026-03-13", "2026-04-22"]
    due = found["history"][1]["trends"][0]["due"][0]
    # 2 % in 40 days: 10 % after 200
    assert abs((date.fromisoformat(due["due_date"]) - date(2026, 8, 20)).days) <= 1
    assert main(["verify", str(paper)]) == 0
    capsys.readouterr()
    held = PdfReader(paper).attachments
    assert {"round_0.csv", "round_1.csv", "round_2.csv"} <= set(held)


def test_files_without_dates_are_stages_by_their_names_and_what_differs_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    first, second = a_file_a_stage(tmp_path, ("", ""))
    text = second.read_text(encoding="utf-8").replace("installed height: 38", "installed height: 37")
    second.write_text("# instrument: other tester\n" + text, encoding="utf-8")
    found = answer(capsys, "springs", first, "--later", second)
    assert [row["stage"] for row in found["springs"][:2]] == ["round_0", "round_1"]
    said = {note["about"]: note["text"] for note in found["notes"] if note["level"] == "warning"}
    assert "counts for all" in said["installed height"]
    assert "what one reads more than the other counts as lost" in said["instrument"]
    refused = answer(capsys, "springs", first, "--later", second, "--later", second, code=3)
    assert "expected each stage in one file" in refused
