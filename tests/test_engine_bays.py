"""Degreeing and valve motion at the bench: the guide, a wrong reading, trials, readings at the retainer, paper.

The degree-wheel readings are invented, made from the arithmetic of degreeing alone: a wheel set 1.25 deg off dead
centre, an intake of 230 crank deg at 106 ATDC, an exhaust of 234 at 110 BTDC.
"""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QAbstractButton, QApplication, QComboBox, QLabel, QLineEdit, QSlider, QWidget
from showing import show
from waiting import wait_for

from valvelab.conformity.decision import guard_band
from valvelab.dynamics.response import Stopped
from valvelab.files.phasing_sheet import parse_sheet_toml, read_phasing_sheet, sheet_toml
from valvelab.inspection.engine.motion import inspect_motion
from valvelab.inspection.engine.phasing import inspect_phasing
from valvelab.phasing.degreeing import Card, CardDuration, EventReading, NosePair, Sheet, degree
from valvelab.places import sample_profiles
from valvelab.records.result import Verdict
from valvelab.window.bays.motion_view import MotionView
from valvelab.window.bays.phasing_view import PhasingView
from valvelab.window.bench import Bench
from valvelab.window.chips import Heading
from valvelab.window.main_window import MainWindow
from valvelab.workbench import bays, phasing_bay, recovery, worksheet, worksheet_words
from valvelab.workbench.motion_files import MotionState
from valvelab.workbench.worksheet import Cell
from valvelab.workbench.worksheet_guide import doubts, target

SAMPLES = sample_profiles()
pytestmark = pytest.mark.usefixtures("quiet")
OFFSET = 1.25
#: what a true engine would show on the wheel: cell words → reading
TRUE = {
    ("stop", 0): OFFSET - 29.75,
    ("stop", 1): OFFSET + 29.75,
    ("1I", "rising"): OFFSET + 106 - 48,
    ("1I", "falling"): OFFSET + 106 + 48,
    ("1E", "rising"): (OFFSET - 110 - 49) % 360,
    ("1E", "falling"): (OFFSET - 110 + 49) % 360,
    ("1I", "opening"): (OFFSET + 106 - 115) % 360,
    ("1I", "closing"): OFFSET + 106 + 115,
    ("1E", "opening"): (OFFSET - 110 - 117) % 360,
    ("1E", "closing"): (OFFSET - 110 + 117) % 360,
}


def phasing(window: MainWindow) -> PhasingView:
    view = window.pages.front()
    assert isinstance(view, PhasingView)
    return view


def motion(window: MainWindow) -> MotionView:
    view = window.pages.front()
    assert isinstance(view, MotionView)
    return view


def enter(field: QLineEdit, text: str) -> None:
    field.setFocus()
    field.selectAll()
    QTest.keyClicks(field, text)
    QTest.keyClick(field, Qt.Key.Key_Return)


def card(view: PhasingView) -> None:
    """Type the card that was ordered, and the shelf."""
    fields = view.form.fields
    enter(fields[Cell("card", name="intake")], "106")
    enter(fields[Cell("card", name="exhaust")], "110")
    enter(fields[Cell("duration", 0)], "230")
    enter(fields[Cell("duration", 1)], "234")
    enter(fields[Cell("steps")], "-4 -2 0 2 4")
    enter(fields[Cell("wheel", name="uncertainty")], "0.25")


def worksheet_of(view: PhasingView) -> phasing_bay.Worksheet:
    known = bays.by_name("phasing")
    assert known is not None
    shown = bays.answer_value(view.bench.document, known)
    assert isinstance(shown, phasing_bay.Worksheet)
    return shown


def wheel_reading(view: PhasingView) -> float:
    """What the wheel of the true engine shows for the reading that the guide asks for."""
    shown = worksheet_of(view)
    assert shown.target is not None
    cell, sheet = shown.target.cell, shown.target.sheet
    if cell.part == "stop":
        return TRUE["stop", cell.row % 2]
    rows = sheet.pairs if cell.part == "pair" else sheet.events
    return TRUE[rows[cell.row].lobe, cell.name]


def facts(view: PhasingView) -> dict[str, str]:
    return {row.name: row.value for row in view.figures.rows_model.rows}


# -- the sheet as cells -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["quillmere_four_degree_wheel.toml", "quillmere_four_degree_wheel_misread.toml"])
def test_a_sheet_written_reads_back_the_same(name: str) -> None:
    sheet, _ = read_phasing_sheet(SAMPLES / name)
    assert parse_sheet_toml(sheet_toml(sheet)) == sheet


angles = st.none() | st.floats(-360.0, 720.0, allow_nan=False)
lifts = st.floats(0.01, 20.0).map(lambda value: round(value, 4))
lobes = st.sampled_from(["1I", "1E", "2I1", 'an "odd" \\ name'])
sheets = st.builds(
    Sheet,
    stop_deg=st.lists(st.floats(-360.0, 720.0), max_size=5).map(tuple),
    events=st.lists(st.builds(EventReading, lobes, lifts, angles, angles), max_size=4).map(tuple),
    pairs=st.lists(st.builds(NosePair, lobes, lifts, angles, angles), max_size=4).map(tuple),
    wheel_uncertainty_deg=st.none() | st.floats(0.01, 10.0),
    sense=st.sampled_from(["forward", "reverse"]),
    card=st.builds(
        Card,
        st.none() | st.floats(80.0, 140.0),
        st.none() | st.floats(80.0, 140.0),
        st.lists(st.builds(CardDuration, lobes, lifts, st.floats(100.0, 400.0)), max_size=3).map(tuple),
    ),
    steps_deg=st.lists(st.floats(-20.0, 20.0), max_size=5).map(tuple),
    part=st.none() | st.text(max_size=12).filter(lambda text: text.isprintable()),
)


@given(sheets)
def test_any_sheet_survives_being_written(sheet: Sheet) -> None:
    assert parse_sheet_toml(sheet_toml(sheet)) == sheet


@given(sheets)
def test_every_cell_gives_back_what_was_put_in(sheet: Sheet) -> None:
    cells = [cell for lobe in worksheet.lobes_of(sheet) for row in worksheet.lobe_rows(sheet, lobe) for cell in row]
    for cell in cells:
        assert worksheet.value_of(worksheet.with_value(sheet, cell, 12.5), cell) == 12.5
    for name, value in (("part", "shaft"), ("serial", "7"), ("operator", "E"), ("date", "2026-03-14")):
        cell = Cell("word", name=name)
        assert worksheet.value_of(worksheet.with_value(sheet, cell, value), cell) == value


def test_stop_cells_close_up_when_one_is_emptied() -> None:
    sheet = worksheet.with_value(worksheet.blank_sheet(), Cell("stop", 3), -28.5)
    assert sheet.stop_deg == (-28.5,)
    sheet = worksheet.with_value(sheet, Cell("stop", 1), 31.0)
    assert worksheet.with_value(sheet, Cell("stop", 0), None).stop_deg == (31.0,)


def test_a_moved_checking_lift_takes_the_cards_duration_along() -> None:
    sheet = worksheet.with_value(worksheet.blank_sheet(), Cell("duration", 0), 230.0)
    moved = worksheet.with_value(sheet, Cell("event", 0, "lift"), 1.0)
    assert worksheet.value_of(moved, Cell("duration", 0)) == 230.0
    assert worksheet.without_row(moved, Cell("event", 0)).card.duration == ()


def test_typed_lifts_are_in_the_unit_shown() -> None:
    cell = Cell("event", 0, "lift")
    assert worksheet_words.read(cell, "0.050", "inch") == pytest.approx(1.27)
    assert worksheet_words.read(cell, "1.27 mm", "inch") == pytest.approx(1.27)
    assert worksheet_words.text_of(worksheet.blank_sheet(), cell, "inch") == "0.050"
    assert worksheet_words.read(Cell("steps"), "-4; −2, 0 2,5", "metric") == "-4 -2 0 2.5"


def test_the_misread_sample_puts_the_doubt_on_the_one_wrong_reading() -> None:
    sheet, _ = read_phasing_sheet(SAMPLES / "quillmere_four_degree_wheel_misread.toml")
    doubtful = doubts(sheet, degree(sheet))
    wrong = [cell for cell in doubtful if cell.part != "lobe"]
    assert wrong == [Cell("event", 0, "closing")]
    assert "wrong ten of the wheel" in doubtful[wrong[0]]
    found = target(sheet, inspect_phasing(sheet).next_reading, doubtful)
    assert found is not None
    assert found.again
    assert found.cell == wrong[0]


def test_swapped_readings_doubt_both() -> None:
    sheet, _ = read_phasing_sheet(SAMPLES / "quillmere_four_degree_wheel.toml")
    pair = sheet.pairs[0]
    swapped = replace(pair, rising_deg=pair.falling_deg, falling_deg=pair.rising_deg)
    sheet = replace(sheet, pairs=(swapped, *sheet.pairs[1:]))
    found = doubts(sheet, degree(sheet))
    assert {Cell("pair", 0, "rising"), Cell("pair", 0, "falling")} <= set(found)


# -- degreeing in the window ------------------------------------------------------------------------------------------


def test_the_whole_degreeing_is_typed_through_the_guide_with_one_wrong_reading(window: MainWindow) -> None:
    window.bay_actions["phasing"].trigger()
    view = phasing(window)
    assert "never use the starter" in view.guide.caution.text()
    card(view)
    senses, misread = [], False
    for _ in range(40):
        shown = worksheet_of(view)
        if shown.target is None:
            break
        step, reading = shown.inspection.next_reading, wheel_reading(view)
        senses.append(step.turn)
        if step.what == "closing" and step.lobe == "1I" and not misread:
            reading, misread = reading + 10.0, True
        if step.expected_wheel_deg is not None:
            assert abs((reading - step.expected_wheel_deg + 180.0) % 360.0 - 180.0) < 25.0
        enter(view.guide.field, f"{reading:.2f}")
    assert misread
    assert view.guide.head.text() == "Everything is read"
    assert senses[:2] == ["forward", "backward"]
    assert senses[-2:] == ["forward", "backward"], "the stop once more, in the same order"
    assert set(senses[2:-2]) == {"forward"}, "every reading of a lobe turns forward; only the stop is met both ways"
    got = facts(view)
    assert float(got["TDC on wheel"]) == pytest.approx(OFFSET, abs=0.01)
    assert float(got["1I ATDC"]) == pytest.approx(106.0, abs=0.02)
    assert float(got["1E BTDC"]) == pytest.approx(110.0, abs=0.02)
    assert float(got["lobe separation, cam deg"]) == pytest.approx(108.0, abs=0.02)
    assert got["nearest step"] == "0.00"
    assert not any(field.doubt for field in view.form.fields.values())


def test_a_wrong_reading_is_marked_at_its_field_and_in_the_list_and_asked_for_again(window: MainWindow) -> None:
    window.bench.add_files([str(SAMPLES / "quillmere_four_degree_wheel_misread.toml")])
    view = phasing(window)
    marked = [cell for cell, field in view.form.fields.items() if field.doubt]
    assert marked == [Cell("event", 0, "closing")]
    assert view.form.lobe_marks["1I"].text() == "▲"
    assert view.form.lobe_marks["1E"].text() == ""
    listed = [row for row in window.notes.proxy.rows().rows if row.level == "warning"]
    assert any("likelier" in row.text for row in listed)
    assert view.guide.head.text() == "Take again: 1I closing"
    enter(view.guide.field, "226.75")
    assert view.guide.head.text() == "Everything is read"
    window.do("undo")
    assert view.guide.head.text() == "Take again: 1I closing"
    enter(view.guide.field, "236.75")
    assert view.guide.head.text() == "A reading does not fit", "read the same twice: another cause is to be looked for"
    assert not view.guide.field.isEnabled()


def test_every_entry_can_be_undone_and_keeps_the_focus_in_the_worksheet(window: MainWindow) -> None:
    window.bay_actions["phasing"].trigger()
    view = phasing(window)
    first, second = view.form.fields[Cell("stop", 0)], view.form.fields[Cell("stop", 1)]
    enter(first, "-28.5")
    assert second.hasFocus(), "Enter moves on"
    enter(second, "31")
    assert facts(view)["TDC on wheel"] == "1.25"
    assert window.bench.history.undo_label == "enter piston stop, touch 2, turning backward"
    window.do("undo")
    assert facts(view)["TDC on wheel"] == "–"
    window.do("redo")
    assert facts(view)["TDC on wheel"] == "1.25"
    assert view.form.fields[Cell("stop", 1)] is second, "fields stay while rows stay"


def test_nonsense_stays_in_its_field_with_the_reason(window: MainWindow) -> None:
    window.bay_actions["phasing"].trigger()
    view = phasing(window)
    before = window.bench.document
    field = view.form.fields[Cell("stop", 0)]
    enter(field, "thirty")
    assert field.text() == "thirty"
    assert "expected" in field.wrong
    assert window.bench.document is before
    assert field.sentence is not None
    assert field.sentence.text().startswith("✗ piston stop")
    QTest.keyClick(field, Qt.Key.Key_Escape)
    assert (field.text(), field.wrong) == ("", "")
    enter(field, "900")
    assert "−360" in field.wrong or "-360" in field.wrong


def test_a_wheel_read_the_wrong_way_round_is_marked_at_its_sense(window: MainWindow) -> None:
    window.bench.add_files([str(SAMPLES / "quillmere_four_degree_wheel.toml")])
    view = phasing(window)
    assert view.form.sense_mark.text() == ""
    view.form.edited.emit(Cell("wheel", name="sense"), "reverse")
    assert view.form.sense_mark.text() == "▲"
    assert "sense" in view.form.sense_mark.toolTip()


def test_a_spec_dropped_on_the_worksheet_judges_it_there(window: MainWindow) -> None:
    window.bay_actions["phasing"].trigger()
    enter(phasing(window).guide.field, "-28.5")
    window.bench.add_files([str(SAMPLES / "quillmere_four_engine.toml")])
    view = phasing(window)
    assert view.form.fields[Cell("stop", 0)].text() == "−28.5"
    assert "as fitted revision A" in window.banner.inspected.text()
    enter(view.form.fields[Cell("stop", 1)], "31")
    enter(view.form.fields[Cell("pair", 0, "rising")], "59.25")
    enter(view.form.fields[Cell("pair", 0, "falling")], "155.25")
    assert not window.verdicts.sheet.rows_model.rows, "the exhaust lobe is not read yet"
    assert window.banner.accessibleName() == "4 of 12 readings; next: 1E rising to the nose"
    # the nose at (59.25 + 155.25)/2 − 1.25 = 106, between stops at −28.5 and 31, where the card wants 102
    enter(view.form.fields[Cell("card", 0, "intake")], "102")
    told = "4 of 12 readings; next: 1E rising to the nose. So far: Advance the camshaft by 4.00 crank deg"
    assert window.banner.accessibleName() == told


def test_a_sheet_is_judged_once_it_is_read_and_nothing_is_to_be_taken_again(window: MainWindow) -> None:
    window.bench.add_files([str(SAMPLES / f"quillmere_four_{name}.toml") for name in ("degree_wheel", "engine")])
    window.bay_actions["phasing"].trigger()
    # 106 − 109.02 as the card and the centreline in the sheet's result have it, and the step of 4 is the nearest
    assert window.banner.accessibleName() == "Advance 4 crank deg: 3.02 ± 0.18 wanted"
    rows = window.verdicts.sheet.rows_model.rows
    assert [(row.characteristic, row.decision) for row in rows] == [
        ("intake_centreline", "accept"),
        ("lobe_separation", "accept"),
    ]
    closing = next(cell for cell in phasing(window).form.fields if (cell.part, cell.name) == ("event", "closing"))
    enter(phasing(window).form.fields[closing], "236.75")
    assert window.banner.accessibleName() == "15 of 16 readings; take again: 1I closing"
    assert not window.verdicts.sheet.rows_model.rows, "a reading that does not fit is not judged by"
    enter(phasing(window).guide.field, "227.25")
    assert window.banner.accessibleName() == "Advance 4 crank deg: 3.02 ± 0.18 wanted"


def test_rows_come_and_go_as_edits(window: MainWindow) -> None:
    window.bay_actions["phasing"].trigger()
    view = phasing(window)
    view.form.row_wanted.emit("pair", "1I")
    assert Cell("pair", 2, "rising") in view.form.fields
    view.form.lobe_wanted.emit("1I2")
    assert "1I2" in view.form.lobe_marks
    view.form.row_unwanted.emit(Cell("pair", 2))
    window.do("undo")
    window.do("undo")
    window.do("undo")
    assert Cell("pair", 2, "rising") not in view.form.fields


def test_the_sheet_is_saved_and_worked_on_from_its_file(window: MainWindow, tmp_path: Path) -> None:
    window.bay_actions["phasing"].trigger()
    view = phasing(window)
    enter(view.guide.field, "-28.5")
    assert view.save_button.isEnabled()
    view.save_to(tmp_path / "wheel.toml")
    assert parse_sheet_toml((tmp_path / "wheel.toml").read_text(encoding="utf-8")).stop_deg == (-28.5,)
    assert [file.name for file in window.bench.document.files] == ["wheel.toml"]
    view = phasing(window)
    assert not view.save_button.isEnabled()
    enter(view.form.fields[Cell("stop", 1)], "31")
    assert view.save_button.isEnabled()
    view.save_to(tmp_path / "wheel.toml")
    assert not view.save_button.isEnabled()
    view.start_new()
    assert facts(phasing(window))["TDC on wheel"] == "–"
    window.do("undo")
    assert facts(phasing(window))["TDC on wheel"] == "1.25"


def test_a_sheet_that_was_begun_comes_back_behind_a_file(window: MainWindow) -> None:
    window.bay_actions["phasing"].trigger()
    enter(phasing(window).guide.field, "-28.5")
    window.bench.add_files([str(SAMPLES / "quillmere_four_degree_wheel.toml")])
    view = phasing(window)
    assert facts(view)["TDC on wheel"] == "1.31"
    view.start_new()
    assert view.form.fields[Cell("stop", 0)].text() == "−28.5"
    view.start_new()
    assert view.form.fields[Cell("stop", 0)].text() == ""


def test_a_typed_sheet_outlives_the_window(app: QApplication, tmp_path: Path) -> None:
    made = MainWindow(Bench(tmp_path / "settings", background=False))
    made.show()
    made.bay_actions["phasing"].trigger()
    enter(phasing(made).guide.field, "-28.5")
    made.close()
    app.processEvents()
    again = MainWindow(Bench(tmp_path / "settings", background=False))
    show(again)
    again.left.ask()
    again.offer.taken.emit()
    again.bay_actions["phasing"].trigger()
    assert phasing(again).form.fields[Cell("stop", 0)].text() == "−28.5"
    phasing(again).save_to(tmp_path / "kept.toml")
    again.close()
    assert recovery.claim(tmp_path / "settings") == (None, ())
    for window in (made, again):
        window.deleteLater()
    app.processEvents()


def test_the_certificate_of_a_worksheet_needs_no_file(window: MainWindow, tmp_path: Path) -> None:
    sheet = read_phasing_sheet(SAMPLES / "quillmere_four_degree_wheel.toml")[0]
    window.bay_actions["phasing"].trigger()
    window.bench.history.apply(phasing_bay.with_sheet(window.bench.document, sheet), "type it all")
    path = tmp_path / "phasing.pdf"
    window.save_certificate(path)
    verified(path)
    assert window.bench.document.state(phasing_bay.PhasingState).sheets, "it stands as it stood"


def test_a_certificate_wants_readings(window: MainWindow, tmp_path: Path) -> None:
    from valvelab.job.certificates import write_shown
    from valvelab.workbench import bays

    bay = bays.by_name("phasing")
    assert bay is not None
    window.bay_actions["phasing"].trigger()
    value = bays.answer_value(window.bench.document, bay)
    with pytest.raises(Exception, match="no readings"):
        bays.work_of("phasing").certificate(window.bench.document, value)
    window.bench.add_files(
        [str(SAMPLES / name) for name in ("quillmere_four_degree_wheel.toml", "quillmere_four_engine.toml")]
    )
    window.bay_actions["phasing"].trigger()
    document = window.bench.document
    value = bays.answer_value(document, bay)
    path = tmp_path / "phasing.pdf"
    write_shown(bays.work_of("phasing").certificate(document, value), path, "metric", "2026-03-14")
    verified(path)


def verified(path: Path) -> None:
    """The certificate holds when it is computed again from what it carries."""
    from valvelab.cli.main import main

    assert main(["verify", str(path), "--quiet"]) == 0


# -- valve motion in the window ---------------------------------------------------------------------------------------


def one_cylinder(folder: Path) -> Path:
    """Three lobes of the sample camshaft are enough here."""
    rows = (SAMPLES / "quillmere_four_camshaft.csv").read_text(encoding="utf-8").splitlines()
    kept = [row if row.startswith("#") else ",".join(row.split(",")[:4]) for row in rows]
    path = folder / "camshaft.csv"
    path.write_text("\n".join(kept) + "\n", encoding="utf-8")
    return path


@pytest.fixture
def engine(window: MainWindow, tmp_path: Path) -> MainWindow:
    names = ("quillmere_four_train.toml", "quillmere_four_engine.toml")
    window.bench.add_files([str(one_cylinder(tmp_path)), *(str(SAMPLES / name) for name in names)])
    window.bay_actions["motion"].trigger()
    return window


def lines(view: MotionView) -> dict[str, tuple[str, str]]:
    return {row.name: (row.stated, row.tried) for row in view.lines.rows_model.rows}


def test_sliders_try_and_verdicts_stay(engine: MainWindow) -> None:
    view = motion(engine)
    verdicts = [row.decision for row in engine.verdicts.sheet.rows_model.rows]
    lash = view.trial.sliders["lash_mm"]
    lash.setFocus()
    before = lash.value()
    QTest.keyClick(lash, Qt.Key.Key_Right)
    QTest.qWait(30)
    assert lash.value() == before + 1
    stated, tried = lines(view)["max valve lift, mm"]
    assert float(stated) - float(tried) == pytest.approx(0.01, abs=0.002), "a lash of 0.01 mm more, plain mechanics"
    assert lines(view)["rule lift, mm"][0] == lines(view)["rule lift, mm"][1], "the rule lift is judged without lash"
    assert [row.decision for row in engine.verdicts.sheet.rows_model.rows] == verdicts
    assert engine.bench.history.undo_label == "try another lash"
    engine.do("undo")
    assert lines(view)["max valve lift, mm"][0] == lines(view)["max valve lift, mm"][1]


def test_advancing_brings_the_intake_nearer_to_the_piston(engine: MainWindow) -> None:
    view = motion(engine)
    enter(view.trial.fields["advance_deg"], "4")
    stated, tried = (float(text) for text in lines(view)["piston clearance, mm"])
    assert tried < stated
    opens = [text.split()[0] for text in lines(view)["opens at 1.27 mm"]]
    assert float(opens[1]) - float(opens[0]) == pytest.approx(4.0, abs=0.15)
    view.trial.reset.click()
    assert not view.trial.reset.isEnabled()


def test_what_can_not_be_tried_says_why(window: MainWindow) -> None:
    window.bench.add_files([str(SAMPLES / "lake_v8_camshaft.csv"), str(SAMPLES / "lake_v8_train.toml")])
    window.bay_actions["motion"].trigger()
    slider = motion(window).trial.sliders["ratio"]
    assert not slider.isEnabled()
    assert "measured by points" in slider.toolTip()


@pytest.mark.parametrize("page", ["lift", "clearance", "rule", "contact", "speed"])
@pytest.mark.parametrize("units", ["metric", "inch"])
def test_every_page_draws(engine: MainWindow, page: str, units: str) -> None:
    if units == "inch":
        engine.do("units")
    engine.bench.set(MotionState, page=page)
    QApplication.processEvents()
    front = motion(engine).pages.currentWidget()
    assert front is not motion(engine).nothing


def test_readings_at_the_retainer_are_judged_at_once(engine: MainWindow, tmp_path: Path) -> None:
    view = motion(engine)
    engine.bench.set(MotionState, page="rule")
    engine.bench.set(MotionState, valve="2I")
    for number, text in enumerate(("10.95", "10.96", "10.94")):
        enter(view.rule.fields[number], text)
    enter(view.rule.u_field, "0.008")
    row = next(v for v in engine.verdicts.sheet.rows_model.rows if (v.item, v.characteristic) == ("2I", "rule_lift"))
    assert row.measured == pytest.approx(10.95)
    assert row.decision == "reject"
    # three readings: their range 0.02 by Lord's factor for 95 %, 1.304 (from memory), beside the indicator's u
    assert row.standard_uncertainty == pytest.approx(((0.02 * 1.304 / 1.959964) ** 2 + 0.008**2) ** 0.5, rel=1e-6)
    enter(view.rule.fields[3], "10.95")
    row = next(v for v in engine.verdicts.sheet.rows_model.rows if (v.item, v.characteristic) == ("2I", "rule_lift"))
    # four: s/√n · √((n − 1)/(n − 3)), JCGM 101 6.4.9, s² = 2·0.01²/3
    assert row.standard_uncertainty == pytest.approx((2 * 0.01**2 / 3 / 4 * 3 + 0.008**2) ** 0.5, rel=1e-6)
    assert "Rejected" in view.rule.verdict.text()
    assert "club rules 7.3" in view.rule.words.text()
    sheet = engine.verdicts.sheet
    cells = {column.title: column.text(row) for column in sheet.rows_model.columns}
    assert f"Mean {cells['measured']} mm, u {cells['u']} mm." in view.rule.words.text()
    drawn = [text for marks in view.rule.scale.items_by_name["rule_lift"].figure.marks for text in marks.texts]
    assert f"mean {cells['measured']} mm" in drawn
    assert f"limit {cells['upper']} mm" in drawn
    view.save_train_to(tmp_path / "train.toml")
    table = tomllib.loads((tmp_path / "train.toml").read_text(encoding="utf-8"))
    assert [row["valve"] for row in table["rule_reading"]] == ["1I", "2I"]
    assert not motion(engine).rule.save.isEnabled()


def rule_row(window: MainWindow, valve: str) -> Verdict:
    rows = window.verdicts.sheet.rows_model.rows
    return next(row for row in rows if (row.item, row.characteristic) == (valve, "rule_lift"))


def test_a_reading_that_stands_off_decides_nothing_until_it_is_set_aside(engine: MainWindow, tmp_path: Path) -> None:
    view = motion(engine)
    engine.bench.set(MotionState, page="rule")
    engine.bench.set(MotionState, valve="2I")
    for number, text in enumerate(("10.85", "10.86", "10.50", "10.87", "10.89")):
        enter(view.rule.fields[number], text)
    enter(view.rule.u_field, "0.008")
    assert rule_row(engine, "2I").decision == "undecided"
    assert view.rule.words.text().startswith("Reading 3 (10.50) stands off from the others")
    assert "stands off" in view.rule.fields[2].doubt
    # its dot is on the plot
    (item,) = view.rule.scale.items_by_name.values()
    low, high = item.view.viewRange()[0]
    assert low < 10.50
    assert high > 10.90
    assert view.rule.aside.text() == "Set reading 3 aside…"
    view.rule.set_aside(2, "stylus slipped")
    row = rule_row(engine, "2I")
    assert row.measured == pytest.approx(10.8675)
    # 10.85, 10.86, 10.87, 10.89: s/√4 · √3 = 0.0148, beside the indicator's 0.008; 0.0325 inside the limit is 1.93 u
    assert row.standard_uncertainty == pytest.approx(0.01682, abs=1e-4)
    assert (row.decision, row.reason) == ("accept", None)
    assert row.probability_conforming == pytest.approx(0.973, abs=2e-3)
    assert "1 of them set aside" in view.rule.words.text()
    view.save_train_to(tmp_path / "train.toml")
    table = tomllib.loads((tmp_path / "train.toml").read_text(encoding="utf-8"))
    assert table["rule_reading"][1]["set_aside"] == [{"reading": 3, "reason": "stylus slipped"}]
    assert "stylus slipped" in view.rule.fields[2].doubt
    view.rule.aside.click()
    assert rule_row(engine, "2I").reason is not None


def test_a_ninth_reading_is_one_more(engine: MainWindow) -> None:
    view = motion(engine)
    engine.bench.set(MotionState, page="rule")
    engine.bench.set(MotionState, valve="2I")
    view.rule.fields[0].setFocus()
    typed = [10.85, 10.86, 10.84, 10.85, 10.86, 10.85, 10.84, 10.85, 10.87, 10.86]
    for value in typed:
        field = QApplication.focusWidget()
        assert field in view.rule.fields
        QTest.keyClicks(field, f"{value}")
        QTest.keyClick(field, Qt.Key.Key_Return)
    assert rule_row(engine, "2I").measured == pytest.approx(sum(typed) / 10)
    assert [field.text() for field in view.rule.fields[:10]] == [f"{value:.2f}" for value in typed]


def test_a_train_without_a_rocker_is_named_at_the_bay(window: MainWindow, tmp_path: Path) -> None:
    text = (SAMPLES / "quillmere_four_train.toml").read_text(encoding="utf-8")
    train = tmp_path / "no_rocker.toml"
    train.write_text(text.replace("[rocker]\nratio = 1.55\nuncertainty = 0.003\n", ""), encoding="utf-8")
    window.bench.add_files([str(one_cylinder(tmp_path)), str(train)])
    window.bay_actions["motion"].trigger()
    assert bays.answer_value(window.bench.document, bays.by_name("motion")) is None
    told = " ".join(label.text() for label in window.findChildren(QLabel) if label.isVisible())
    assert "no_rocker.toml" in told
    assert "[rocker]" in told


def test_the_guard_band_is_where_the_decision_turns(engine: MainWindow) -> None:
    """Just inside the guard band's edge a value is accepted, just outside it is not (JCGM 106:2012, clause 7)."""
    from valvelab.conformity.decision import decide

    verdict = next(v for v in engine.verdicts.sheet.rows_model.rows if v.characteristic == "rule_lift")
    guard = guard_band(verdict.standard_uncertainty, "guarded", 0.95)
    u, upper = verdict.standard_uncertainty, verdict.upper
    assert guard == pytest.approx(1.6448536 * u, rel=1e-6), "one-sided 95 % of the normal distribution"
    assert decide(upper - guard - 1e-6, u, None, upper).outcome == "accept"
    assert decide(upper - guard + 1e-6, u, None, upper).outcome == "undecided"


def test_the_dynamic_model_runs_beside_the_window_and_can_be_stopped(engine: MainWindow) -> None:
    view = motion(engine)
    engine.bench.set(MotionState, page="speed")
    view.speed.run.click()
    view.speed.cancel.click()
    wait_for(lambda: not view.run.running)
    assert "stopped" in view.speed.state.text()
    view.speed.run.click()
    wait_for(lambda: not view.run.running)
    assert "contact is first lost at" in view.speed.words.text()
    assert "never a safe speed" in view.speed.caution.text()
    assert len(view.speed.panel.findChildren(Heading)) == 2
    enter(view.trial.fields["seat_force_n"], "300")
    assert "contact is first lost at" not in view.speed.words.text(), "an answer to another trial is not shown"


def test_a_stopped_model_says_so(tmp_path: Path) -> None:
    from valvelab.files.lift_table import read_lift_table
    from valvelab.files.train_file import read_train
    from valvelab.inspection.engine.sides import motion_question
    from valvelab.inspection.lobes.inspect import measured_shaft

    table = read_lift_table(one_cylinder(tmp_path))
    question = motion_question(measured_shaft(table)[0], read_train(SAMPLES / "quillmere_four_train.toml")[0])
    told: list[float] = []

    def tell(share: float) -> bool:
        told.append(share)
        return len(told) < 3

    with pytest.raises(Stopped):
        inspect_motion(replace(question, lobes=question.lobes[:1]), tell=tell)
    assert told == sorted(told)
    assert 0.0 <= told[-1] < 0.67


def test_a_measured_spring_can_be_tried(engine: MainWindow) -> None:
    engine.bench.add_files([str(SAMPLES / "springs_quillmere_tray.csv"), str(SAMPLES / "springs_quillmere_spec.toml")])
    engine.bay_actions["motion"].trigger()
    view = motion(engine)
    box = view.trial.springs
    assert box.count() > 1
    box.setCurrentIndex(3)
    box.activated.emit(3)
    stated, tried = lines(view)["margin at max speed, N"]
    assert stated != tried


def test_springs_beside_a_motion_stand_at_the_height_that_a_spec_without_limits_states(
    engine: MainWindow, tmp_path: Path
) -> None:
    spec = tmp_path / "fitted.toml"
    spec.write_text('[fitting]\ninstalled_height = "37.00 mm"\nvalve_lift = "10.60 mm"\n', encoding="utf-8")
    engine.bench.add_files([str(SAMPLES / "springs_quillmere_tray.csv"), str(spec)])
    engine.bay_actions["motion"].trigger()
    motion(engine)
    bay, document = bays.by_name("motion"), engine.bench.document
    assert bay is not None
    assert bays.answer_value(document, bay).springs.installed_height_mm == 37.0
    assert str(spec) in bays.files_in_use(document)


def test_the_certificate_of_the_valve_motion_holds(engine: MainWindow, tmp_path: Path) -> None:
    from valvelab.job.certificates import write_shown
    from valvelab.workbench import bays

    bay = bays.by_name("motion")
    assert bay is not None
    document = engine.bench.document
    value = bays.answer_value(document, bay)
    path = tmp_path / "motion.pdf"
    write_shown(bays.work_of("motion").certificate(document, value), path, "metric", "2026-03-14")
    verified(path)


@pytest.mark.parametrize("bay", ["phasing", "motion"])
def test_every_input_has_an_accessible_name(engine: MainWindow, bay: str) -> None:
    engine.bay_actions[bay].trigger()
    page = engine.pages.front()
    kinds = (QLineEdit, QComboBox, QSlider, QAbstractButton)
    inputs: list[QWidget] = [child for kind in kinds for child in page.findChildren(kind)]
    ours = [child for child in inputs if not child.objectName().startswith("qt_")]
    nameless = [child for child in ours if not (child.accessibleName() or getattr(child, "text", str)())]
    assert nameless == []


@pytest.mark.parametrize("bay", ["phasing", "motion"])
def test_the_bay_fits_a_small_window(engine: MainWindow, bay: str) -> None:
    engine.bay_actions[bay].trigger()
    QApplication.processEvents()
    area = engine.pages.currentWidget()
    page = engine.pages.front()
    assert area is not None
    assert page.width() <= area.width()
    assert page.height() <= area.height()
