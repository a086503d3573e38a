"""Tables without known names: what is guessed of them, what is shown before they are read, what comes to the front."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import openpyxl
import pytest
from analytic_lobe import PolynomialLobe
from invented_camshaft import STEP_CAM_DEG, lifts, write_spec, write_table
from PySide6.QtCore import Qt, QUrl
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QPushButton, QTextBrowser
from something import each
from waiting import wait_for

from valvelab.files.body import Where
from valvelab.files.guesses import guess_force_unit, guess_height_unit, guess_lift_unit, guess_roles, guess_turn
from valvelab.files.kinds import reader_of
from valvelab.files.spring_readings import read_spring_readings
from valvelab.files.table import read_table
from valvelab.lobe.trace import Trace
from valvelab.places import sample_profiles
from valvelab.units import INCH_MM, POUND_FORCE_N
from valvelab.window.bench import Bench
from valvelab.window.columns_pane import ColumnsPane
from valvelab.window.main_window import MainWindow
from valvelab.workbench import bays
from valvelab.workbench.columns_draft import Draft, assigned, first_draft, moved
from valvelab.workbench.document import BenchFile

LOBE = PolynomialLobe(lift_mm=9.0, flank_cam_deg=80.0, centre_cam_deg=180.0)
UNITS_MM = {"mm": 1.0, "in": INCH_MM, "thou": INCH_MM / 1000.0, "um": 1e-3}


def lasts_cam_deg(lobe: PolynomialLobe, lift_mm: float = 1.27) -> float:
    """Duration of a closed-form lobe, by bisection on its flank."""
    low, high = 0.0, lobe.flank_cam_deg
    for _ in range(60):
        middle = 0.5 * (low + high)
        above = float(lobe.value(lobe.centre_cam_deg + middle)) > lift_mm
        low, high = (middle, high) if above else (low, middle)
    return 2.0 * low


def trace(per_cam: float = 1.0, mm: float = 1.0, start: float = 0.0, stop: float = 360.0) -> Trace:
    """The closed-form lobe as a table writes it."""
    angle = np.arange(start, stop, 0.5)
    return Trace("1I", per_cam * angle, LOBE.value(angle) / mm)


# -- guesses ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("unit", UNITS_MM)
@pytest.mark.parametrize("lift_mm", [5.0, 8.92, 15.0, 20.0])
def test_the_unit_of_lifts_by_the_highest(unit: str, lift_mm: float) -> None:
    guess = guess_lift_unit(lift_mm / UNITS_MM[unit])
    assert guess.unit == unit
    assert f"{lift_mm / UNITS_MM[unit]:.4g}" in guess.reason


def test_what_is_said_of_a_lift_in_inches() -> None:
    assert guess_lift_unit(0.3512).reason == (
        "The highest lift is 0.3512, so taken as inches: 8.92 mm. As millimetres it would be a lobe of 0.35 mm."
    )


@pytest.mark.parametrize("highest", [1.4, 0.03, 45.0, 1e6])
def test_no_unit_is_guessed_for_what_is_no_lobe(highest: float) -> None:
    guess = guess_lift_unit(highest)
    assert not guess.unit
    assert "Choose" in guess.reason


@pytest.mark.parametrize("mm", UNITS_MM.values())
@pytest.mark.parametrize(("start", "stop"), [(0.0, 360.0), (90.0, 270.0), (100.0, 460.0)])
@pytest.mark.parametrize(("unit", "per_cam"), [("cam deg", 1.0), ("crank deg", 2.0)])
def test_cam_or_crank(mm: float, start: float, stop: float, unit: str, per_cam: float) -> None:
    guess = guess_turn([trace(per_cam, mm, start, stop)], [mm])
    assert guess.unit == unit
    lasts = lasts_cam_deg(LOBE)
    if unit == "cam deg":
        assert f"lasts {lasts:.0f} degrees" in guess.reason
    else:
        assert f"{lasts:.0f} cam deg" in guess.reason


def test_several_turns_in_cam_degrees_are_no_crank_degrees() -> None:
    angle = np.arange(0.0, 1080.0, 0.5)
    assert guess_turn([Trace("1I", angle, LOBE.value(angle))], [1.0]).unit == "cam deg"


def test_a_lobe_that_could_be_either_is_said_to_be() -> None:
    long = PolynomialLobe(lift_mm=12.0, flank_cam_deg=107.0, centre_cam_deg=180.0)
    assert 150.0 < lasts_cam_deg(long) < 180.0
    angle = np.arange(0.0, 360.0, 0.5)
    guess = guess_turn([Trace("1I", angle, long.value(angle))], [1.0])
    assert guess.unit == "cam deg"
    assert "Either can be meant" in guess.reason


def test_where_no_lobe_rises_nothing_is_guessed() -> None:
    angle = np.arange(0.0, 360.0, 1.0)
    assert not guess_turn([Trace("1I", angle, 0.5 * LOBE.value(angle) / 9.0)], [1.0]).unit


@pytest.mark.parametrize("rate_n_per_mm", [30.0, 62.0, 110.0])
@pytest.mark.parametrize(("height", "force"), [("mm", "N"), ("in", "lbf")])
def test_units_of_springs(rate_n_per_mm: float, height: str, force: str) -> None:
    mm, newton = UNITS_MM[height], {"N": 1.0, "lbf": POUND_FORCE_N}[force]
    assert guess_height_unit(np.array([33.0, 46.0]) / mm).unit == height
    assert guess_force_unit(rate_n_per_mm / newton, inches=height == "in").unit == force


def test_pounds_over_millimetres_and_newtons_over_inches() -> None:
    assert guess_force_unit(40.0 / POUND_FORCE_N, inches=False).unit == "lbf"
    assert guess_force_unit(62.0, inches=True).unit == "N"
    assert not guess_force_unit(0.5, inches=True).unit


def write(path: Path, text: str) -> str:
    path.write_text(text, encoding="utf-8")
    return str(path)


def roles(tmp_path: Path, kind: str, text: str) -> tuple[str, ...]:
    preview = read_table(write(tmp_path / "table.csv", text)).preview()
    reader = reader_of(kind)
    assert reader is not None
    return guess_roles(kind, reader.columns or {}, preview)


@pytest.mark.parametrize(
    ("kind", "text", "expected"),
    [
        ("lift table", "0,0,0\n1,0.1,0.2\n2,0.3,0.4\n", ("angle", "1I", "1E")),
        ("lift table", "No,wheel,a,b\n1,5,0,0\n2,6,1,2\n3,7,2,3\n", ("", "angle", "1I", "1E")),
        ("lift table", "a,wheel,note\n0.1,5,x\n0.3,6,y\n0.2,7,z\n", ("1I", "angle", "")),
        ("lift table", "EX 2,deg,probe\n0.1,5,1\n0.3,6,2\n0.2,7,1\n", ("2E", "angle", "1I")),
        ("spring readings", "1,46,300\n1,36,900\n2,46,301\n2,36,905\n", ("spring", "height", "force")),
        ("spring readings", "300,46\n900,36\n", ("force", "height")),
        ("spring readings", "tray,out,in\nQ1,300,46\nQ1,900,36\n", ("spring", "force", "height")),
        ("heights", "valve,seat\n1I,45.1\n1E,45.2\n", ("position", "height")),
        ("surface trace", "0,1\n0.1,2\n0.2,1\n", ("x", "z")),
    ],
)
def test_what_columns_hold(tmp_path: Path, kind: str, text: str, expected: tuple[str, ...]) -> None:
    assert roles(tmp_path, kind, text) == expected


def test_titles_with_commas_name_no_columns(tmp_path: Path) -> None:
    path = write(
        tmp_path / "tray.csv", "Quillmere tray 7\nset out, closing\n1,1.8,120\n1,1.3,320\n2,1.8,121\n2,1.3,322\n"
    )
    preview = read_table(path).preview()
    assert preview.header_row is None
    assert preview.numbers[0] == 3
    assert [(row.row, row.text) for row in preview.above] == [(1, "Quillmere tray 7"), (2, "set out  closing")]
    assert preview.rows[0] == ("1", "1.8", "120")


@pytest.mark.parametrize(
    ("bay", "kind"),
    [("lobes", "lift table"), ("springs", "spring readings"), ("motion", "lift table"), ("phasing", ""), ("", "")],
)
def test_the_kind_follows_the_bay(bay: str, kind: str) -> None:
    assert bays.table_of(bay) == kind


# -- drafts -----------------------------------------------------------------------------------------------------------

DIRTY = "Quillmere rig 2\nread 3 March\n\nWheel,Probe A,Probe B\n"


def lift_rows(mm: float = INCH_MM, per_cam: float = 2.0) -> list[list[float]]:
    """Angle, 1I and 1E of the invented camshaft as a rig in those units writes them."""
    angle = np.arange(0.0, 360.0, STEP_CAM_DEG)
    noise = np.random.default_rng(4).normal(0.0, 5e-4, (2, angle.size))
    columns = [(lifts(lobe, angle) + off) / mm for lobe, off in zip(("1I", "1E"), noise, strict=True)]
    return np.round(np.column_stack([per_cam * angle, *columns]), 6).tolist()


def dirty_csv(path: Path) -> str:
    rows = [f"{angle:g},{first:.6f},{second:.6f}" for angle, first, second in lift_rows()]
    rows[40] = rows[40].rpartition(",")[0] + ",n/a"
    return write(path, DIRTY + "\n".join(rows) + "\naverage,0.1,0.1\nend of readings,,\n")


def test_what_will_be_left_out_is_listed_with_its_text(tmp_path: Path) -> None:
    draft = first_draft(BenchFile(dirty_csv(tmp_path / "rig.csv")), "lift table")
    found = draft.look()
    assert found.roles == ("angle", "1I", "1E")
    told = assigned({0: ("angle", "crank deg"), 1: ("1I", "in"), 2: ("1E", "in")})
    seen = replace(draft, columns=told, table=found.table).look()
    assert seen.failure == ""
    assert seen.left_out_count == 3
    listed = {row.place: (row.text, row.why) for row in seen.left_out}
    assert listed["line 725"] == ("average 0.1 0.1", "without a reading of angle or 1I or 1E")
    assert listed["line 726"][0] == "end of readings"
    assert listed["line 45"][0].endswith("n/a")
    assert listed["line 45"][1] == "lobe 1E: without a number"
    assert seen.drawn is not None
    assert seen.drawn.units == "inch"
    assert [guess.unit for guess in seen.guesses] == ["crank deg", "in"]


def test_a_unit_in_the_header_is_not_guessed(tmp_path: Path) -> None:
    rows = "\n".join(f"{angle:g},{first:.6f}" for angle, first, _ in lift_rows())
    path = write(tmp_path / "rig.csv", f"Wheel [crank deg],Probe A [in]\n{rows}\n")
    told = assigned({0: ("angle", ""), 1: ("1I", "")})
    seen = replace(first_draft(BenchFile(path), "lift table"), columns=told).look()
    assert seen.guesses == ()
    assert seen.drawn is not None
    assert "crank deg" in seen.drawn.words


def test_the_peak_is_told_in_the_unit_chosen(tmp_path: Path) -> None:
    path = dirty_csv(tmp_path / "rig.csv")
    peak = max(row[1] for row in lift_rows())
    for unit, mm in (("in", INCH_MM), ("thou", INCH_MM / 1000.0)):
        told = assigned({0: ("angle", "crank deg"), 1: ("1I", unit)})
        drawn = replace(first_draft(BenchFile(path), "lift table"), columns=told).look().drawn
        assert drawn is not None
        assert f"1I {peak:.5g} {unit} ({peak * mm:.4g} mm)" in drawn.words
        (mark,) = drawn.figure.marks
        assert mark.y[0] == pytest.approx(peak * mm, rel=1e-12)


@pytest.mark.parametrize(
    ("kind", "sample", "words"),
    [
        ("spring readings", "springs_quillmere_tray.csv", "springs, heights"),
        ("heights", "springs_quillmere_heights.csv", "positions"),
        ("shaft readings", "club_four_journals.csv", "stations read"),
        ("surface trace", "club_four_lobe_3I_trace.csv", "long"),
        ("gauge study", "dial_gauge_study.csv", "parts, each read"),
    ],
)
def test_every_kind_of_table_is_drawn(kind: str, sample: str, words: str) -> None:
    """Samples have known names: the roles are right by them, and what is drawn is what they hold."""
    draft = first_draft(BenchFile(str(sample_profiles() / sample)), kind)
    found = draft.look()
    told = assigned({at: (role, "") for at, role in enumerate(found.roles) if role})
    seen = replace(draft, columns=told, table=found.table).look()
    assert seen.failure == ""
    assert seen.drawn is not None
    assert words in seen.drawn.words
    values = [curve.y for curve in seen.drawn.figure.curves] + [mark.y for mark in seen.drawn.figure.marks]
    assert sum(array.size for array in values) >= 8


def test_a_place_that_holds_nothing_is_a_sentence(tmp_path: Path) -> None:
    draft = moved(first_draft(BenchFile(dirty_csv(tmp_path / "rig.csv")), "lift table"), Where(None, 3))
    seen = draft.look()
    assert seen.preview is None
    assert "a row that holds something, for header=3" in seen.failure


# -- the window -------------------------------------------------------------------------------------------------------


def book(path: Path) -> str:
    """A cover with figures on it, then titles, names and readings on the second sheet, a footer below them."""
    made = openpyxl.Workbook()
    cover = made.active
    for row in (["Quillmere works"], ["revision", 3], ["pages", 2]):
        cover.append(row)
    sheet = made.create_sheet("Tuesday")
    for row in (["Quillmere works, rig 2"], ["read 3 March"], [], ["Wheel", "Probe A", "Probe B"], *lift_rows()):
        sheet.append(row)
    sheet.append(["average", 0.1, 0.1])
    made.save(path)
    return str(path)


def clean_csv(path: Path) -> str:
    rows = "\n".join(",".join(map(repr, row)) for row in lift_rows())
    return write(path, f"angle [crank deg],1I [in],1E [in]\n{rows}\n")


def choose(window: MainWindow, path: str) -> None:
    """Choose the second sheet of the workbook, with the mouse, and take what is guessed then."""
    pane = window.columns
    assert window.pages.front() is pane
    assert [pane.sheet.itemText(at) for at in range(pane.sheet.count())] == ["Sheet", "Tuesday"]
    assert not pane.take.isEnabled()
    pane.sheet.setFocus()
    QTest.keyClick(pane.sheet, Qt.Key.Key_Down)
    assert pane.path == path
    assert pane.header_row.value() == 4
    assert pane.first_row.value() == 5


def test_a_workbook_by_sheet_and_unit_is_read_to_the_last_digit(
    window: MainWindow, app: QApplication, tmp_path: Path
) -> None:
    spec = str(write_spec(tmp_path))
    rig = book(tmp_path / "rig.xlsx")
    window.bench.add_files([rig, spec])
    choose(window, rig)
    pane = window.columns
    assert pane.assignment() == "sheet=2, angle=0 [crank deg], 1I=1 [in], 1E=2 [in]"
    assert "so taken as inches" in pane.reasons.toPlainText()
    assert "two turns of the crank" in pane.reasons.toPlainText()
    assert pane.left_out.count() == 1
    assert "average" in pane.left_out.item(0).text()
    QTest.mouseClick(pane.take, Qt.MouseButton.LeftButton)
    got = window.bench.document.answers["lobes"].value
    other = MainWindow(Bench(tmp_path / "other", background=False))
    other.bench.add_files([clean_csv(tmp_path / "clean.csv"), spec])
    wanted = other.bench.document.answers["lobes"].value
    other.close()
    assert len(wanted.result.verdicts) > 4
    assert got.result.verdicts == wanted.result.verdicts
    assert got.result.lobes == wanted.result.lobes


def test_one_unit_for_all_lifts_and_another_for_one(window: MainWindow, tmp_path: Path) -> None:
    window.bench.add_files([dirty_csv(tmp_path / "rig.csv")])
    pane = window.columns
    assert pane.all_lifts.currentText() == "in"
    pane.all_lifts.setCurrentText("thou")
    assert pane.assignment() == "angle=0 [crank deg], 1I=1 [thou], 1E=2 [thou]"
    assert "(0.007621 mm)" in pane.words.text(), "the peak in mm shows what thousandths would be"
    pane.table.units[2].setCurrentText("in")
    assert pane.assignment() == "angle=0 [crank deg], 1I=1 [thou], 1E=2 [in]"
    assert pane.all_lifts.currentIndex() == -1
    pane.all_lifts.setCurrentText("in")
    assert pane.assignment() == "angle=0 [crank deg], 1I=1 [in], 1E=2 [in]"


def test_a_name_that_can_not_be_written_down_is_not_taken(window: MainWindow, tmp_path: Path) -> None:
    window.bench.add_files([dirty_csv(tmp_path / "rig.csv")])
    pane = window.columns
    assert pane.take.isEnabled()
    for name in ("probe, A", "a=1", "[x]"):
        pane.table.fields[1].setCurrentText(name)
        assert not pane.take.isEnabled(), name
        assert "can't hold" in pane.hint.text()
    pane.table.fields[1].setCurrentText("probe A")
    QTest.mouseClick(pane.take, Qt.MouseButton.LeftButton)
    assert [lobe.lobe for lobe in window.bench.document.answers["lobes"].value.result.lobes] == ["probe A", "1E"]


def test_header_and_first_row_are_chosen(window: MainWindow, tmp_path: Path) -> None:
    window.bench.add_files([dirty_csv(tmp_path / "rig.csv")])
    pane = window.columns
    first = next(action for action in pane.table.menu_of_row(9).actions() if action.text() == "Readings begin at row 9")
    first.trigger()
    assert pane.assignment() == "header=4, first row=9, angle=0 [crank deg], 1I=1 [in], 1E=2 [in]"
    assert pane.take.isEnabled()
    pane.header_row.setValue(0)
    assert pane.assignment().startswith("first row=9, ")
    pane.header_row.setValue(3)
    assert not pane.take.isEnabled()
    assert "a row that holds something" in pane.hint.text()
    names = next(action for action in pane.table.menu_of_row(4).actions() if action.text() == "Row 4 holds the names")
    names.trigger()
    assert pane.assignment() == "header=4, angle=0 [crank deg], 1I=1 [in], 1E=2 [in]"
    QTest.mouseClick(pane.take, Qt.MouseButton.LeftButton)
    assert [lobe.lobe for lobe in window.bench.document.answers["lobes"].value.result.lobes] == ["1I", "1E"]


def tray(path: Path, shift: float = 0.0) -> str:
    rows = [f"{n},{h},{120 + 400 * (1.8 - h) + n + shift}" for n in range(1, 9) for h in (1.8, 1.6, 1.3)]
    return write(path, "Quillmere tray\n" + "\n".join(rows) + "\n")


def test_the_bay_in_front_says_what_a_file_most_likely_is(window: MainWindow, tmp_path: Path) -> None:
    window.bench.go_to_bay("springs")
    window.bench.add_files([tray(tmp_path / "tray.csv")])
    pane = window.columns
    assert pane.kind.currentText() == "spring readings"
    assert pane.assignment() == "spring=0, height=1 [in], force=2 [lbf]"
    pane.kind.setCurrentIndex(pane.kind.findText("lift table"))
    assert pane.assignment().startswith("angle=")
    window.bench.remove_file(str(tmp_path / "tray.csv"))
    window.bench.go_to_bay("phasing")
    window.bench.add_files([tray(tmp_path / "other.csv", 3.0)])
    assert pane.kind.currentIndex() == -1
    assert pane.hint.text() == "Say what this file is."


def test_a_unit_that_nothing_tells_is_said(window: MainWindow, tmp_path: Path) -> None:
    window.bench.go_to_bay("texture")
    rows = "\n".join(f"{0.01 * n:.2f},{n % 7}" for n in range(200))
    window.bench.add_files([write(tmp_path / "trace.csv", f"along,high\n{rows}\n")])
    pane = window.columns
    assert pane.assignment() == "x=0 [mm], z=1 [um]"
    assert pane.reasons.toPlainText() == "No unit is stated: x in mm, z in um until you choose another."
    pane.table.units[1].setCurrentText("nm")
    assert pane.reasons.toPlainText() == "No unit is stated: x in mm until you choose another."
    assert pane.words.text() == "1.99 mm long, 6 nm (6e-06 mm) high."


def test_a_file_that_is_gone_says_so(window: MainWindow, tmp_path: Path) -> None:
    path = dirty_csv(tmp_path / "rig.csv")
    window.bench.add_files([path])
    QTest.mouseClick(window.columns.take, Qt.MouseButton.LeftButton)
    Path(path).unlink()
    window.bench.ask_columns_again(path)
    assert "no such file" in window.columns.hint.text()
    assert not window.columns.take.isEnabled()
    window.columns.later.click()
    assert window.pages.front() is not window.columns


def test_a_failed_assignment_keeps_the_pane_and_is_forgotten(window: MainWindow, tmp_path: Path) -> None:
    first = dirty_csv(tmp_path / "first.csv")
    window.bench.add_files([first])
    QTest.mouseClick(window.columns.take, Qt.MouseButton.LeftButton)
    assert list(window.bench.settings.columns.values()) == ["lift table: angle=0 [crank deg], 1I=1 [in], 1E=2 [in]"]
    torn = (tmp_path / "first.csv").read_text(encoding="utf-8").replace("\n200,", "\n200.1.2,")
    second = write(tmp_path / "second.csv", torn)
    window.bench.add_files([second])
    pane = window.columns
    assert window.pages.front() is pane, "asked, with what was tried: the file before does not jump to the front"
    assert pane.path == second
    assert pane.assignment() == "angle=0 [crank deg], 1I=1 [in], 1E=2 [in]"
    assert "200.1.2" in pane.hint.text()
    assert not pane.take.isEnabled()
    assert not window.bench.settings.columns
    third = write(tmp_path / "third.csv", torn.replace("200.1.2", "200.2.1"))
    window.bench.add_files([third])
    file = window.bench.document.file(third)
    assert file is not None
    assert file.columns is None, "not applied again unasked"


def test_a_file_that_was_understood_can_be_assigned_otherwise(window: MainWindow, tmp_path: Path) -> None:
    path = str(write_table(tmp_path / "shaft.csv", ("1I", "1E")))
    window.bench.add_files([path])
    before = window.bench.document.answers["lobes"].value
    window.bench.ask_columns_again(path)
    pane = window.columns
    assert window.pages.front() is pane
    assert pane.assignment() == "angle=0 [cam deg], 1I=1 [mm], 1E=2 [mm]"
    pane.later.click()
    assert window.pages.front() is not pane
    assert window.bench.document.answers["lobes"].value is before
    window.bench.ask_columns_again(path)
    pane.table.fields[2].setCurrentText("3E")
    QTest.mouseClick(pane.take, Qt.MouseButton.LeftButton)
    assert [lobe.lobe for lobe in window.bench.document.answers["lobes"].value.result.lobes] == ["1I", "3E"]
    window.bench.ask_columns_again(path)
    QTest.mouseClick(pane.take, Qt.MouseButton.LeftButton)
    assert window.pages.front() is not pane, "taken as it was"
    spec = str(write_spec(tmp_path))
    window.bench.add_files([spec])
    window.bench.ask_columns_again(spec)
    assert window.pages.front() is not pane


def test_what_is_opened_last_comes_to_the_front(window: MainWindow, tmp_path: Path) -> None:
    bench = window.bench
    named = "spring,height [in],force [lbf]\n"
    trays = [
        write(tmp_path / f"{name}.csv", named + Path(tray(tmp_path / "bare", shift)).read_text().partition("\n")[2])
        for name, shift in (("first", 0.0), ("second", 2.0), ("third", 4.0))
    ]

    def in_use(kind: str = "spring readings") -> str:
        file = bench.document.in_use(kind)
        return "" if file is None else file.path

    bench.add_files(trays[:1])
    assert bench.document.bay == "springs"
    bench.add_files(trays[1:])
    assert in_use() == trays[1], "the first of those opened together"
    steps = len(bench.history.past)
    bench.history.undo()
    assert in_use() == trays[0]
    assert len(bench.document.files) == 1
    bench.history.redo()
    assert in_use() == trays[1]
    assert len(bench.history.past) == steps
    bench.add_files([str(write_table(tmp_path / "shaft.csv"))])
    assert bench.document.bay == "lobes", "its bay comes to the front"
    bench.add_files(trays[2:])
    assert (bench.document.bay, in_use()) == ("springs", trays[2]), "one that lay there already"
    bench.add_files([str(write_spec(tmp_path))])
    assert bench.document.bay == "springs", "a spec is judged by, not looked at"
    bench.add_files([str(tmp_path / "nominal.csv")])
    assert in_use("lift table") == str(tmp_path / "shaft.csv"), "a nominal is no part"


def test_an_assigned_file_comes_to_the_front(window: MainWindow, tmp_path: Path) -> None:
    window.bench.add_files([str(write_table(tmp_path / "shaft.csv", ("1I", "1E", "2I")))])
    window.bench.add_files([dirty_csv(tmp_path / "rig.csv")])
    QTest.mouseClick(window.columns.take, Qt.MouseButton.LeftButton)
    found = window.bench.document.in_use("lift table")
    assert found is not None
    assert found.name == "rig.csv"
    assert [lobe.lobe for lobe in window.bench.document.answers["lobes"].value.result.lobes] == ["1I", "1E"]
    window.bench.history.undo()
    assert window.pages.front() is window.columns


def test_remembered_columns_are_seen_and_forgotten(window: MainWindow, tmp_path: Path) -> None:
    path = dirty_csv(tmp_path / "rig.csv")
    window.bench.add_files([path])
    QTest.mouseClick(window.columns.take, Qt.MouseButton.LeftButton)
    assert "angle=0 [crank deg], 1I=1 [in]" in window.files.item(0).toolTip()
    window.do("remembered")
    assert window.pages.front() is window.text_page
    text = window.text_page.findChild(QTextBrowser)
    assert "lift table: angle=0 [crank deg], 1I=1 [in], 1E=2 [in]" in text.toPlainText()
    (shape,) = window.bench.settings.columns
    text.anchorClicked.emit(QUrl(shape))
    assert window.bench.settings.columns == {}
    assert "None" in text.toPlainText()
    window.text_page.findChild(QPushButton).click()
    again = dirty_csv(tmp_path / "again.csv")
    window.bench.add_files([again])
    assert window.columns.path == again
    QTest.mouseClick(window.columns.take, Qt.MouseButton.LeftButton)
    (forget,) = [one for one in each(window.files.menu_of(again).actions()) if one.text().startswith("Forget")]
    forget.trigger()
    assert window.bench.settings.columns == {}


def test_a_choice_made_while_a_sheet_is_read_is_of_that_sheet(app: QApplication, tmp_path: Path) -> None:
    """Answers come late: what is chosen meanwhile is read from the new place, never from the one still in view."""
    pane = ColumnsPane()
    wanted: list[Draft] = []
    pane.wanted.connect(wanted.append)

    def answer() -> None:
        pane.take_up(wanted[-1].look())

    pane.show_file(BenchFile(book(tmp_path / "rig.xlsx")), "lift table")
    answer()
    answer()
    assert [field.currentText() for field in pane.table.fields] == ["not used", "angle"]
    before = len(wanted)
    pane.sheet.setCurrentIndex(1)
    pane.table.fields[0].setCurrentText("1I")
    assert len(wanted) == before + 1, "one at a time"
    assert not pane.take.isEnabled()
    answer()
    assert wanted[-1].columns.where == Where(2)
    assert wanted[-1].table is None
    answer()
    assert len(pane.table.fields) == 3
    assert pane.assignment().startswith("sheet=2, ")
    pane.take_up(replace(wanted[0], table=None).look())
    assert len(pane.table.fields) == 3, "an old answer is dropped"


def test_a_draft_is_read_in_the_background(app: QApplication, tmp_path: Path) -> None:
    made = MainWindow(Bench(tmp_path / "settings"))
    made.show()
    made.bench.add_files([book(tmp_path / "rig.xlsx")])
    pane = made.columns
    wait_for(lambda: pane.sheet.count() == 2)
    pane.sheet.setCurrentIndex(1)
    wait_for(pane.take.isEnabled, pane.hint.text)
    assert pane.assignment() == "sheet=2, angle=0 [crank deg], 1I=1 [in], 1E=2 [in]"
    pane.all_lifts.setCurrentText("thou")
    pane.all_lifts.setCurrentText("in")
    wait_for(pane.take.isEnabled, pane.hint.text)
    assert "in (" in pane.words.text()
    made.close()


def test_lifts_in_metres_are_seen() -> None:
    found = guess_lift_unit(0.0074434)
    assert found.unit == "m"
    assert "metres" in found.reason


BY_WORDS = [
    ("no;H [in];L [lbs]\n1;1,90;121\n1;1,80;161\n1;1,70;201\n", "spring readings"),
    ("load;H\n121;48\n161;46\n201;44\n", "spring readings"),
    ("a;N\n48;121\n46;161\n44;201\n", "spring readings"),
    ("sample;inspector;found\n1;A;7.1\n2;A;7.2\n1;B;7.1\n", "gauge study"),
]


@pytest.mark.parametrize(("text", "kind"), BY_WORDS)
@pytest.mark.parametrize("bay", ["lobes", "springs", "texture"])
def test_the_words_above_the_columns_say_what_a_file_is_before_the_bay_does(
    window: MainWindow, tmp_path: Path, text: str, kind: str, bay: str
) -> None:
    (tmp_path / "table.csv").write_text(text, encoding="utf-8")
    window.bench.go_to_bay(bay)
    window.bench.add_files([str(tmp_path / "table.csv")])
    QApplication.processEvents()
    assert window.pages.front() is window.columns
    assert window.columns.kind.currentData() == kind


@pytest.mark.parametrize("header", ["no;height in;lbs", "No.;Height (in);lbf", "nr;height [in];lb"])
def test_a_header_that_is_a_unit_of_force_is_a_force_in_it(tmp_path: Path, header: str) -> None:
    rows = "".join(f"{n};{h};{f + n}\n" for n in (1, 2) for h, f in (("1,90", 121), ("1,70", 201), ("1,40", 321)))
    (tmp_path / "springs.csv").write_text(f"{header}\n{rows}", encoding="utf-8")
    found = read_spring_readings(tmp_path / "springs.csv")
    assert [one.spring for one in found.springs] == ["1", "2"]
    stroke = found.springs[0].elements[0].compress
    assert stroke.force_n.max() == pytest.approx(322 * POUND_FORCE_N)
    assert stroke.height_mm.max() == pytest.approx(1.9 * INCH_MM)


def test_a_title_that_is_but_a_unit_says_what_its_column_holds(tmp_path: Path) -> None:
    (tmp_path / "springs.csv").write_text("N;a;b\n121;1;48\n161;1;46\n201;1;44\n", encoding="utf-8")
    reader = reader_of("spring readings")
    assert reader is not None
    roles = guess_roles(reader.name, reader.columns or {}, read_table(tmp_path / "springs.csv").preview())
    assert roles == ("force", "spring", "height")


def test_a_unit_that_a_header_states_is_not_argued_about(tmp_path: Path) -> None:
    (tmp_path / "springs.csv").write_text("a,b,lb\n1,1.9,121\n1,1.7,201\n1,1.4,321\n", encoding="utf-8")
    columns = assigned({0: ("spring", ""), 1: ("height", "in"), 2: ("force", "lb")})
    looked = Draft(BenchFile(str(tmp_path / "springs.csv")), "spring readings", columns).look()
    assert [guess.what for guess in looked.guesses] == ["height"]


def test_columns_are_lettered_as_a_sheet_letters_them(window: MainWindow, tmp_path: Path) -> None:
    (tmp_path / "table.csv").write_text("1 2 3\n4 5 6\n7 8 9\n", encoding="utf-8")
    window.bench.add_files([str(tmp_path / "table.csv")])
    QApplication.processEvents()
    table = window.columns.table
    assert [table.horizontalHeaderItem(at).text() for at in range(table.columnCount())] == ["A", "B", "C"]
    assert table.fields[0].accessibleName() == "What column A holds"
