"""Typing into tables by keyboard: nothing that was typed is lost, and every key leads where it says."""

from __future__ import annotations

from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QLineEdit, QWidget
from test_entry_window import begin

from valvelab.window import theme
from valvelab.window.main_window import MainWindow
from valvelab.workbench.entry_kinds import entry_kind

SPRINGS = """spring,force at 41 mm [N],force at 31 mm [N]
1,250,710
2,252,712
3,248,705
"""


def press(key: Qt.Key, modifiers: Qt.KeyboardModifier = Qt.KeyboardModifier.NoModifier) -> None:
    """A key as the keyboard sends it: to a list that hangs open, else to what has the focus."""
    target = QApplication.activePopupWidget() or QApplication.focusWidget()
    assert target is not None
    QTest.keyClick(target, key, modifiers)


def type_text(text: str) -> None:
    for one in text:
        target = QApplication.activePopupWidget() or QApplication.focusWidget()
        assert target is not None
        QTest.keyClicks(target, one)


def cells(window: MainWindow, row: int) -> list[str]:
    model = window.limits.table.spec_model
    return [model.index(row, column).data() or "" for column in range(len(model.fields))]


def typed_in(window: MainWindow) -> tuple[int, int]:
    """The cell that is being typed into."""
    line = QApplication.focusWidget()
    assert isinstance(line, QLineEdit)
    assert window.limits.table.isAncestorOf(line)
    here = window.limits.table.currentIndex()
    return here.row(), here.column()


@pytest.fixture
def limits(window: MainWindow, tmp_path: Path) -> MainWindow:
    """Springs on the bench, their limits in front."""
    (tmp_path / "springs.csv").write_text(SPRINGS, encoding="utf-8")
    window.bench.add_files([str(tmp_path / "springs.csv")])
    window.activateWindow()
    window.do("limits")
    return window


def line_seen(window: MainWindow) -> bool:
    """Whether the sentence of the limits is seen whole in the window."""
    QApplication.processEvents()
    sentence = window.limits.sentence
    return sentence.visibleRegion().boundingRect() == sentence.rect()


def test_tab_keeps_what_no_word_completes_and_says_so(limits: MainWindow) -> None:
    limits.limits.add()
    assert QApplication.activePopupWidget() is not None, "the words are listed before a letter is typed"
    type_text("forc")
    press(Qt.Key.Key_Tab)
    assert typed_in(limits) == (0, 1)
    assert cells(limits, 0)[0] == "forc"
    said = limits.limits.sentence.text()
    assert said.startswith("✗ no characteristic is called 'forc'; nearest: ")
    assert {"seat_force", "open_force"} <= set(said.partition("nearest: ")[2].split(", "))
    assert line_seen(limits)
    model = limits.limits.table.spec_model
    row = [model.index(0, column).data(Qt.ItemDataRole.ToolTipRole) for column in range(len(model.fields))]
    assert set(row) == {said}, "every cell of the row tells it"


@pytest.mark.parametrize(
    ("text", "downs", "taken"),
    [("coil_b", 0, "coil_bind_margin"), ("coil bind m", 0, "coil_bind_margin"), ("forc", 1, "seat_force")],
)
def test_tab_takes_the_marked_or_the_only_word(limits: MainWindow, text: str, downs: int, taken: str) -> None:
    limits.limits.add()
    type_text(text)
    for _ in range(downs):
        press(Qt.Key.Key_Down)
    press(Qt.Key.Key_Tab)
    assert cells(limits, 0)[0] == taken
    assert typed_in(limits) == (0, 1)
    assert limits.limits.sentence.text().startswith("? still to type: ")
    assert line_seen(limits)


def test_a_row_is_typed_from_end_to_end_and_tab_leaves_only_there(limits: MainWindow) -> None:
    table = limits.limits.table
    limits.limits.add()
    for text in ("seat_force", "", "", "", "", "230 N", "260 N", "club 3"):
        type_text(text)
        press(Qt.Key.Key_Tab)
    assert cells(limits, 0)[0] == "seat_force"
    assert cells(limits, 0)[5:] == ["230 N", "260 N", "club 3"]
    assert typed_in(limits) == (1, 0), "from the last cell on to the next row"
    for _ in range(len(table.spec_model.fields) - 1):
        press(Qt.Key.Key_Tab)
    assert typed_in(limits) == (1, 7)
    press(Qt.Key.Key_Tab)
    assert not table.isAncestorOf(QApplication.focusWidget() or QWidget())
    assert QApplication.focusWidget() is not table


def test_tab_on_a_cell_that_is_only_chosen_goes_on(limits: MainWindow) -> None:
    table = limits.limits.table
    table.setFocus()
    table.setCurrentIndex(table.spec_model.index(0, 0))
    press(Qt.Key.Key_Tab)
    assert table.hasFocus()
    assert table.currentIndex().column() == 1
    press(Qt.Key.Key_Backtab)
    assert table.currentIndex().column() == 0
    press(Qt.Key.Key_Backtab)
    assert not table.hasFocus()


@pytest.mark.parametrize("typing", [True, False])
def test_control_tab_always_leaves(limits: MainWindow, typing: bool) -> None:
    table = limits.limits.table
    if typing:
        limits.limits.add()
        type_text("rate")
    else:
        table.setFocus()
        table.setCurrentIndex(table.spec_model.index(0, 0))
    press(Qt.Key.Key_Tab, Qt.KeyboardModifier.ControlModifier)
    focus = QApplication.focusWidget()
    assert focus is not table
    assert focus is None or not table.isAncestorOf(focus)
    assert cells(limits, 0)[0] == ("rate" if typing else "")


def test_delete_empties_a_cell_and_is_taken_back(limits: MainWindow) -> None:
    limits.limits.add()
    for text in ("seat_force", "", "", "", "", "230 N", "260 N", "club 3"):
        type_text(text)
        press(Qt.Key.Key_Tab)
    table = limits.limits.table
    table.setFocus()
    for key, column, left in ((Qt.Key.Key_Delete, 7, ""), (Qt.Key.Key_Backspace, 6, "")):
        table.setCurrentIndex(table.spec_model.index(0, column))
        press(key)
        assert cells(limits, 0)[column] == left
    assert limits.bench.history.undo_label == "change the seat_force limit"
    limits.do("undo")
    limits.do("undo")
    assert cells(limits, 0)[5:] == ["230 N", "260 N", "club 3"]
    table.setCurrentIndex(table.spec_model.index(0, 0))
    press(Qt.Key.Key_Delete)
    assert limits.limits.sentence.text() == "? still to type: a characteristic"
    press(Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert cells(limits, 0)[0] == "seat_force", "what is no edit yet goes before an edit does"
    assert limits.bench.history.undo_label == "change the seat_force limit"


def test_a_row_that_is_not_taken_outlives_an_edit_of_another(limits: MainWindow) -> None:
    limits.limits.add()
    for text in ("seat_force", "", "", "", "", "230 N"):
        type_text(text)
        press(Qt.Key.Key_Tab)
    limits.limits.add()
    type_text("forc")
    press(Qt.Key.Key_Tab)
    limits.limits.table.type_into(0, 6)
    type_text("260 N")
    press(Qt.Key.Key_Return)
    assert cells(limits, 0)[6] == "260 N"
    assert cells(limits, 1)[0] == "forc"


def test_the_readings_grid_leads_like_the_limits(window: MainWindow) -> None:
    window.activateWindow()
    window.bench.go_to_bay("springs")
    kind = entry_kind("spring readings")
    assert kind is not None
    window.readings.begin(kind)
    QApplication.processEvents()
    pane = window.readings.pane
    assert pane is not None
    for height in ("40", "38"):
        type_text(height)
        press(Qt.Key.Key_Return)
    grid = pane.grid
    grid.along = True
    grid.setFocus()
    grid.go_to(0, 0)
    press(Qt.Key.Key_Tab)
    assert grid.hasFocus()
    assert grid.place() == (0, 1)
    press(Qt.Key.Key_Backtab)
    assert grid.place() == (0, 0)
    type_text("Q01")
    press(Qt.Key.Key_Tab)
    assert grid.place() == (0, 1)
    type_text("250")
    press(Qt.Key.Key_Tab, Qt.KeyboardModifier.ControlModifier)
    assert not grid.hasFocus()
    assert grid.grid.cell(0, 1) == "250"
    grid.setFocus()
    grid.go_to(1, 2)
    press(Qt.Key.Key_Tab)
    assert not grid.hasFocus(), "the end of the last row"


@pytest.mark.parametrize(
    ("before", "text", "names"),
    [
        ([], "4", ["1", "2", "3", "4"]),
        (["Q09"], "2", ["Q09", "Q10", "Q11"]),
        (["3", "1"], "2", ["3", "1", "2", "4"]),
        ([], "Q01 to Q03", ["Q01", "Q02", "Q03"]),
        ([], "Q07", ["Q07"]),
        (["outer"], "2", ["outer"]),
        ([], "0", []),
    ],
)
@pytest.mark.parametrize("kind", [("spring readings", "springs"), ("gauge study", "gauge"), ("lash sheet", "lash")])
def test_a_count_lays_out_so_many_rows(
    window: MainWindow, kind: tuple[str, str], before: list[str], text: str, names: list[str]
) -> None:
    pane = begin(window, *kind)
    assert pane.rows.placeholderText().startswith("how many, or ")
    for one in (*before, text):
        pane.rows.setFocus()
        if one.isdecimal() and one in before:
            one = f"{one} to {one}"  # noqa: PLW2901 - a lone number counts
        type_text(one)
        press(Qt.Key.Key_Return)
    assert [row[0] for row in pane.grid.grid.rows] == names
    assert pane.message.text().startswith("✗ ") is (names == before), "what lays out nothing says why"


def test_an_angle_by_itself_is_an_angle(window: MainWindow) -> None:
    pane = begin(window, "lift table", "lobes")
    pane.rows.setFocus()
    type_text("4")
    press(Qt.Key.Key_Return)
    assert [row[0] for row in pane.grid.grid.rows] == ["4"]


@pytest.mark.parametrize("percent", [100, 150, 200])
@pytest.mark.parametrize(
    "kind", [("spring readings", "springs"), ("lift table", "lobes"), ("lash sheet", "lash"), ("heights", "springs")]
)
def test_fields_about_the_part_keep_a_width_to_type_in(window: MainWindow, kind: tuple[str, str], percent: int) -> None:
    theme.set_text_size(percent)
    QApplication.processEvents()
    pane = begin(window, *kind)
    em = pane.fontMetrics().height()
    for wide in (30, 18, 14):
        window.resizeDocks([window.docks["Readings"]], [wide * em], Qt.Orientation.Horizontal)
        QApplication.processEvents()
        least = min(field.width() for field in (pane.form.fields["operator"], pane.form.fields["date"]))
        assert least >= 6 * em, (wide, least / em)
        page = pane.form.widget()
        assert page.width() <= pane.form.viewport().width(), "nothing is pushed out of sight"
