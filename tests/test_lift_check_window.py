"""The inspector's desk by keyboard alone: car after car, readings that stand off, back, undone, kept, on paper."""

from __future__ import annotations

from pathlib import Path

import pytest
from PySide6.QtCore import QEvent, Qt
from PySide6.QtGui import QKeyEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from something import each

from valvelab.files.lift_check_sheet import lift_check_toml, parse_lift_check, read_lift_check_sheet
from valvelab.job.verify import verify_bytes
from valvelab.places import sample_profiles
from valvelab.records.lift_check import LiftCheckSheet
from valvelab.window.bays.liftcheck_view import LiftCheckView, free_name
from valvelab.window.main_window import MainWindow
from valvelab.workbench import lift_rule
from valvelab.workbench.lift_rule import Cell
from valvelab.workbench.liftcheck_bay import SHEETS, LiftCheckState
from valvelab.workbench.saved_bench import saved_document, saved_text

RULE = """
[instrument]
name = "dial 3"
uncertainty = "4 um"
resolution = "0.01 mm"
[[limit]]
of = "rule_lift"
max = "10.40 mm"
"""


class Keyboard:
    """Keys to whatever has the focus; `pressed` counts them."""

    def __init__(self) -> None:
        self.pressed = 0

    def type(self, text: str) -> None:
        """Type a text; a line feed is Enter."""
        for sign in text:
            target = QApplication.focusWidget()
            assert target is not None
            self.pressed += 1
            code = Qt.Key.Key_Return if sign == "\n" else Qt.Key.Key_unknown
            for kind in (QEvent.Type.KeyPress, QEvent.Type.KeyRelease):
                said = "\r" if sign == "\n" else sign
                QApplication.sendEvent(target, QKeyEvent(kind, code, Qt.KeyboardModifier.NoModifier, said))
            QApplication.processEvents()

    def press(self, key: Qt.Key, modifier: Qt.KeyboardModifier = Qt.KeyboardModifier.NoModifier) -> None:
        """One key that types nothing."""
        target = QApplication.focusWidget()
        assert target is not None
        self.pressed += 1
        QTest.keyClick(target, key, modifier)
        QApplication.processEvents()


@pytest.fixture
def keys() -> Keyboard:
    return Keyboard()


def sheet(window: MainWindow) -> LiftCheckSheet:
    return SHEETS.in_front(window.bench.document)


@pytest.fixture
def view(window: MainWindow, quiet: None, tmp_path: Path) -> LiftCheckView:
    """An event with its rule, and no car yet."""
    (tmp_path / "event.toml").write_text(RULE)
    window.activateWindow()
    window.bench.add_files([str(tmp_path / "event.toml")])
    QApplication.processEvents()
    made = window.pages.front()
    assert isinstance(made, LiftCheckView)
    made.desk.car_field.setFocus()
    return made


def readings(window: MainWindow) -> dict[str, tuple[float, ...]]:
    return {check.name: check.open_mm for check in sheet(window).check}


def test_a_car_of_two_valves_takes_few_keys(window: MainWindow, view: LiftCheckView, keys: Keyboard) -> None:
    window.bench.set(LiftCheckState, plan="1I 1E")
    first = ("10.36", "10.37", "10.36", "10.36", "10.37")
    second = ("10.21", "10.22", "10.21", "10.22", "10.21")
    keys.type("14\n")
    keys.type("".join(f"{value}\n" for value in first))
    assert view.desk.word.text() == "✓ Accepted"
    assert view.desk.sentence.text() == "1I 10.3640 mm: 0.0360 mm below, >99.9 % sure to conform."
    keys.type("\n")
    keys.type("".join(f"{value}\n" for value in second))
    keys.type("\n")
    assert keys.pressed - sum(len(value) + 1 for value in (*first, *second)) <= 12
    assert readings(window) == {"car 14 1I": tuple(map(float, first)), "car 14 1E": tuple(map(float, second))}
    assert view.desk.word.text() == "Next: type its number"
    assert QApplication.focusWidget() is view.desk.car_field
    assert view.counts.text() == "1 checked: 1 accepted"


def test_the_headline_says_how_far_a_car_is_read(window: MainWindow, view: LiftCheckView, keys: Keyboard) -> None:
    window.bench.set(LiftCheckState, plan="1I 1E")
    keys.type("14\n10.36\n10.37\n10.36\n")
    assert window.banner.accessibleName() == "car 14: 1 of 2 valves read; next: 1E"
    assert window.verdicts.sheet.rows_model.rows == []
    keys.type("\n10.21\n10.22\n10.21\n")
    assert window.banner.accessibleName().startswith("Accepted")
    assert len(window.verdicts.sheet.rows_model.rows) == 2


def test_decisions_follow_every_reading(window: MainWindow, view: LiftCheckView, keys: Keyboard) -> None:
    keys.type("22\n10.46\n10.47\n10.46\n10.47\n")
    assert view.desk.word.text() == "✗ Rejected"
    assert "0.065 mm too high" in view.desk.sentence.text()
    keys.press(Qt.Key.Key_F6)
    keys.type("31\n10.39\n10.40\n10.40\n10.39\n")
    assert view.desk.word.text() == "? Undecided"
    assert [car.decision for car in view.cars.rows_model.rows] == ["undecided", "reject"]


def test_a_reading_that_stands_off_is_taken_again(window: MainWindow, view: LiftCheckView, keys: Keyboard) -> None:
    keys.type("40\n10.33\n10.34\n10.33\n10.13\n")
    assert view.desk.word.text() == "? Take again"
    assert "Reading 4 (10.13 mm)" in view.desk.sentence.text()
    keys.type("10.34\n")
    (check,) = sheet(window).check
    assert check.open_mm == (10.33, 10.34, 10.33, 10.13, 10.34), "nothing is written over"
    assert [(row.reading, row.reason) for row in check.set_aside] == [(4, "taken again")]
    assert view.desk.word.text() == "✓ Accepted"
    window.do("undo")
    assert sheet(window).check[0].open_mm == (10.33, 10.34, 10.33, 10.13)
    assert view.desk.word.text() == "? Take again"


def test_one_that_comes_the_same_again_still_counts(window: MainWindow, view: LiftCheckView, keys: Keyboard) -> None:
    keys.type("40\n10.33\n10.34\n10.33\n10.13\n10.13\n")
    assert sheet(window).check[0].set_aside == ()
    assert view.desk.word.text() != "✓ Accepted"


def test_set_aside_with_a_reason(window: MainWindow, view: LiftCheckView, keys: Keyboard) -> None:
    keys.type("40\n10.33\n10.34\n10.33\n10.13\n")
    keys.press(Qt.Key.Key_F7)
    assert QApplication.focusWidget() is view.desk.why
    keys.type("the dial was knocked\n")
    (row,) = sheet(window).check[0].set_aside
    assert (row.reading, row.reason) == (4, "the dial was knocked")
    assert view.desk.word.text() == "✓ Accepted"
    assert QApplication.focusWidget() is view.desk.entry


def test_shut_readings(window: MainWindow, view: LiftCheckView, keys: Keyboard) -> None:
    window.bench.set(LiftCheckState, shut_first=1)
    keys.type("14\n")
    assert view.desk.asked.text() == "1I shut, reading 1, mm"
    keys.type("0.02\n10.38\n10.39\n/0.02\n")
    (check,) = sheet(window).check
    assert (check.zero_mm, check.open_mm) == ((0.02, 0.02), (10.38, 10.39))
    keys.press(Qt.Key.Key_F8)
    keys.type("10.38\n")
    assert sheet(window).check[0].open_mm[-1] == 10.38


def test_back_to_any_car_by_its_number(window: MainWindow, view: LiftCheckView, keys: Keyboard) -> None:
    keys.type("14\n10.36\n10.37\n")
    keys.press(Qt.Key.Key_F6)
    keys.type("15\n10.30\n")
    keys.press(Qt.Key.Key_F6)
    keys.type("car 14\n10.36\n")
    assert readings(window) == {"car 14 1I": (10.36, 10.37, 10.36), "car 15 1I": (10.3,)}
    keys.press(Qt.Key.Key_PageDown)
    assert window.bench.document.state(LiftCheckState).item == "car 15"
    keys.press(Qt.Key.Key_PageUp)
    assert window.bench.document.state(LiftCheckState).item == "car 14"


def test_a_gauge_that_types(window: MainWindow, view: LiftCheckView, keys: Keyboard) -> None:
    keys.type("14\n+ 10.36 MM\n+0.4080,IN\n")
    assert sheet(window).check[0].open_mm == pytest.approx((10.36, 10.3632))
    keys.type("ten\n")
    assert len(sheet(window).check[0].open_mm) == 2
    assert "a number" in view.desk.entry.wrong
    view.desk.entry.setText("")
    keys.type("10.36\n")
    view.desk.car_field.setFocus()
    assert not view.desk.entry.wrong, "an empty field that is left wants nothing"


def test_the_rule_is_stated_once(window: MainWindow, quiet: None, keys: Keyboard) -> None:
    window.activateWindow()
    window.bay_actions["liftcheck"].trigger()
    QApplication.processEvents()
    made = window.pages.front()
    assert isinstance(made, LiftCheckView)
    assert made.desk.word.text() == "First the rule: F4"
    keys.press(Qt.Key.Key_F4)
    keys.type("0.41 in\n")
    assert sheet(window).limit[0].max == "0.41 in"
    made.rule.edited.emit(Cell("limit", "min"), "0.42 in")
    assert "lower" in made.rule.wrong.text()
    assert sheet(window).limit[0].min is None
    window.do("units")
    made.rule.edited.emit(Cell("limit", "max"), "0.410")
    assert sheet(window).limit[0].max == "0.410 in", "a bare number is in the unit shown"
    keys.press(Qt.Key.Key_F4)
    made.desk.car_field.setFocus()
    keys.type("7\n.4085\n")
    assert sheet(window).check[0].open_mm == pytest.approx((10.3759,))


@pytest.mark.parametrize(
    ("cell", "text", "expected"),
    [
        (Cell("sheet", "date"), "3/5/26", "YYYY-MM-DD"),
        (Cell("instrument", "uncertainty_mm"), "-4 um", "above 0"),
        (Cell("instrument", "uncertainty_mm"), "4 N", "length"),
        (Cell("limit", "clause"), "5.2", "at least or at most first"),
        (Cell("rule", "valves"), "1I", "may open or close first"),
        (Cell("rule", "opens_max"), "forty", "a number"),
        (Cell("decision", "confidence"), "40 %", "greater than 0.5"),
        (Cell("decision", "rule"), "perhaps", "guarded"),
    ],
)
def test_what_the_rule_refuses(cell: Cell, text: str, expected: str) -> None:
    with pytest.raises(ValueError, match="found") as refused:
        lift_rule.with_text(LiftCheckSheet(), cell, text, "metric")
    assert expected in str(refused.value)


def test_every_cell_reads_what_it_shows() -> None:
    known, _ = read_lift_check_sheet(sample_profiles() / "quillmere_spring_meeting.toml")
    for part, name in each(lift_rule.ASKED):
        cell = Cell(part, name)
        text = lift_rule.shown(known, cell, "metric")
        assert lift_rule.with_text(known, cell, text, "metric") == known if text else True


def test_events_are_read_on_the_wheel(window: MainWindow, quiet: None, keys: Keyboard) -> None:
    window.bench.add_files([str(sample_profiles() / "quillmere_spring_meeting.toml")])
    made = window.pages.front()
    assert isinstance(made, LiftCheckView)
    made.choose_item("car 14 1E")
    assert {at: field.text() for at, field in made.desk.events.items()} == {
        (1.27, "opening"): "52 deg BBDC; 52.5 deg BBDC",
        (1.27, "closing"): "4 deg ATDC; 4 deg ATDC",
    }
    made.desk.event_read.emit((1.27, "opening", ()))
    assert sheet(window).check[1].event[0].opens == ()
    made.choose_item("car 14 1I")
    assert made.desk.events == {}


def test_rocker_off(window: MainWindow, view: LiftCheckView, keys: Keyboard) -> None:
    keys.type("57\n6.87\n6.88\n6.87\n6.87\n")
    view.desk.stated.emit("ratio", 1.5)
    view.desk.stated.emit("ratio_uncertainty", 0.004)
    assert view.desk.sentence.text().startswith("1I 10.309")
    view.desk.stated.emit("ratio", 90.0)
    assert sheet(window).check[0].ratio == 1.5


def test_a_page_carries_its_own_car_alone(
    window: MainWindow, view: LiftCheckView, keys: Keyboard, tmp_path: Path
) -> None:
    keys.type("14\n10.36\n10.37\n")
    keys.press(Qt.Key.Key_F6)
    keys.type("15\n10.30\n10.31\n")
    page = free_name(tmp_path, "car 15")
    view.write_page_to(page)
    content = page.read_bytes()
    found = verify_bytes(content, page.name)
    assert found.agrees
    assert {verdict.item for verdict in found.verdicts} == {"car 15 1I"}
    assert free_name(tmp_path, "car 15").name == "car_15-2.pdf"
    assert [paper.path for paper in window.bench.document.papers] == [str(page)]
    assert readings(window) == {"car 14 1I": (10.36, 10.37), "car 15 1I": (10.3, 10.31)}, "the sheet stands as it stood"


def test_the_list_of_an_event_is_the_bay_s_certificate(
    window: MainWindow, view: LiftCheckView, keys: Keyboard, tmp_path: Path
) -> None:
    keys.type("14\n10.36\n10.37\n")
    window.save_certificate(tmp_path / "event.pdf")
    assert verify_bytes((tmp_path / "event.pdf").read_bytes(), "event.pdf").agrees


def test_a_sheet_is_kept(window: MainWindow, view: LiftCheckView, keys: Keyboard, tmp_path: Path) -> None:
    keys.type("14\n10.36\n10.37\n")
    known = sheet(window)
    again = saved_document(saved_text(window.bench.document).encode())
    assert again.state(LiftCheckState).sheets == window.bench.document.state(LiftCheckState).sheets
    view.save_to(tmp_path / "saved.toml")
    assert not window.bench.document.state(LiftCheckState).sheets
    assert read_lift_check_sheet(tmp_path / "saved.toml")[0] == known == sheet(window)


def test_a_sheet_reads_as_it_was_written() -> None:
    known, _ = read_lift_check_sheet(sample_profiles() / "quillmere_spring_meeting.toml")
    assert parse_lift_check(lift_check_toml(known).encode()) == known


def test_the_rule_comes_up_while_the_desk_waits_for_the_next_car(window: MainWindow, quiet: None) -> None:
    """The list of cars gets the focus on the way, and brings none of them to the front."""
    window.activateWindow()
    window.bench.add_files([str(sample_profiles() / "quillmere_spring_meeting.toml")])
    QApplication.processEvents()
    view = window.pages.front()
    assert isinstance(view, LiftCheckView)
    view.next_car()
    for rule in (True, False):
        view.turn_page()
        QApplication.processEvents()
        state = window.bench.document.state(LiftCheckState)
        assert (state.item, state.rule, view.pages.currentIndex()) == ("", rule, int(rule))
