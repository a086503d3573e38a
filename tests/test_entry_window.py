"""Readings typed in the window, by the keyboard alone: from an empty bench to verdicts, pasted, undone, kept."""

from __future__ import annotations

from pathlib import Path

import pytest
from openpyxl import Workbook
from PySide6.QtCore import QEvent, Qt
from PySide6.QtGui import QGuiApplication, QKeyEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QLabel, QLineEdit

from valvelab.places import sample_profiles
from valvelab.window.bays.phasing_grid import LobeGrid
from valvelab.window.entry_pane import EntryPane
from valvelab.window.main_window import MainWindow
from valvelab.workbench import phasing_bay
from valvelab.workbench.entry_kinds import KINDS, entry_kind
from valvelab.workbench.entry_text import grid_of
from valvelab.workbench.phasing_bay import PhasingState
from valvelab.workbench.saved_bench import saved_document

SPEC = """
[fitting]
installed_height = "38 mm"
valve_lift = "8 mm"
[[limit]]
of = "seat_force"
min = "230 N"
max = "250 N"
"""
FORCES = {"1": (180, 240, 480), "2": (181, 241, 481), "3": (179, 239, 479), "4": (200, 260, 500)}


def key(text: str) -> None:
    """One key as a keyboard, or a gauge that types like one, sends it to whatever has the focus."""
    target = QApplication.focusWidget()
    assert target is not None
    codes = {"\r": Qt.Key.Key_Return, "\t": Qt.Key.Key_Tab, "\n": Qt.Key.Key_unknown}
    code = codes.get(text, Qt.Key.Key_unknown if not text.isalnum() else Qt.Key(ord(text.upper())))
    for kind in (QEvent.Type.KeyPress, QEvent.Type.KeyRelease):
        QApplication.sendEvent(target, QKeyEvent(kind, code, Qt.KeyboardModifier.NoModifier, text))


def type_keys(text: str) -> None:
    for one in text:
        key(one)


def begin(window: MainWindow, kind: str, bay: str) -> EntryPane:
    window.activateWindow()
    window.bench.go_to_bay(bay)
    known = entry_kind(kind)
    assert known is not None
    window.readings.begin(known)
    QApplication.processEvents()
    pane = window.readings.pane
    assert pane is not None
    return pane


def to_grid(pane: EntryPane, row: int = 0, column: int = 1) -> None:
    pane.grid.setFocus()
    pane.grid.go_to(row, column)


@pytest.fixture
def springs(window: MainWindow, quiet: None) -> EntryPane:
    """A table of springs at three heights, begun by typing the heights."""
    pane = begin(window, "spring readings", "springs")
    assert QApplication.focusWidget() is pane.columns
    type_keys("40\r38\r30\r")
    to_grid(pane)
    return pane


def text(window: MainWindow) -> str:
    return window.bench.document.files[-1].text or ""


def test_four_springs_at_three_heights_typed_by_keyboard_end_in_verdicts(
    window: MainWindow, tmp_path: Path, quiet: None
) -> None:
    (tmp_path / "spec.toml").write_text(SPEC, encoding="utf-8")
    window.bench.add_files([str(tmp_path / "spec.toml")])
    pane = begin(window, "spring readings", "springs")
    assert "a height to read forces at" in pane.message.text()
    type_keys("40\r38\r30\r")
    to_grid(pane)
    for forces in FORCES.values():
        for force in forces:
            type_keys(f"{force}\r")
    rows = grid_of("spring readings", text(window)).rows
    assert rows == tuple((name, *map(str, forces)) for name, forces in FORCES.items())
    sheet = window.verdicts.sheet
    shown = {row.item: row.decision for row in sheet.rows_model.rows}
    assert shown == {"1": "accept", "2": "accept", "3": "accept", "4": "reject"}
    window.bench.history.undo()
    assert grid_of("spring readings", text(window)).rows[3] == ("4", "200", "260", "")
    assert pane.grid.grid == grid_of("spring readings", text(window))
    assert window.bench.history.redo_label == "type spring 4 at 30 mm"


def test_the_headline_says_how_far_a_table_is_typed(window: MainWindow, springs: EntryPane) -> None:
    type_keys("180\r240\r480\r")
    assert window.banner.accessibleName() == "Measured; nothing judged"
    to_grid(springs, 1, 0)
    type_keys("B\r")
    assert window.banner.accessibleName() == "1 of 2 springs typed, 1 of them whole"
    to_grid(springs, 1, 1)
    type_keys("181\r")
    assert window.banner.accessibleName() == "Measured; nothing judged"


def test_every_entry_is_a_step_of_undo_by_its_name(window: MainWindow, springs: EntryPane) -> None:
    type_keys("180\r240\r480\r181\r")
    labels = [step.label for step in window.bench.history.past]
    assert labels[-4:] == [
        "type spring 1 at 40 mm",
        "type spring 1 at 38 mm",
        "type spring 1 at 30 mm",
        "type spring 2 at 40 mm",
    ]
    for _ in range(4):
        window.do("undo")
    assert grid_of("spring readings", text(window)).rows == ()
    assert springs.grid.grid.rows == ()


@pytest.mark.parametrize("end", ["\r", "\t", "\n"])
def test_what_a_gauge_types_is_taken_and_goes_on(window: MainWindow, springs: EntryPane, end: str) -> None:
    type_keys(f"+ 180.25 N{end}240.5,N{end}")
    assert springs.grid.grid.rows == (("1", "180.25", "240.5", ""),)
    assert springs.grid.place() == (0, 3)
    type_keys(f"480{end}")
    assert springs.grid.place() == (1, 1)


@pytest.mark.parametrize("end", ["\r", "\t", "\n"])
def test_a_gauge_types_into_the_degree_wheel_s_next_reading(window: MainWindow, quiet: None, end: str) -> None:
    window.activateWindow()
    window.bench.go_to_bay("phasing")
    QApplication.processEvents()
    type_keys(f"- 28.5 DEG{end}31.0{end}")
    assert phasing_bay.sheet_in_front(window.bench.document).stop_deg == (-28.5, 31.0)


def test_many_lobes_are_typed_and_pasted_into_the_worksheet_s_table(window: MainWindow, quiet: None) -> None:
    window.activateWindow()
    window.bench.go_to_bay("phasing")
    window.bench.set(PhasingState, drawing="lobes")
    QApplication.processEvents()
    lobes = window.findChild(LobeGrid)
    assert lobes is not None
    lobes.setFocus()
    lobes.go_to(0, 2)
    type_keys("352\r219.5\r")
    assert window.bench.history.undo_label == "type lobe 1I closes"
    lobes.go_to(2, 0)
    lobes.paste("2I\t1,27\t172\t39,5\n\t\t5\n3E\t0.05 in\t9999\t20x\n")
    sheet = phasing_bay.sheet_in_front(window.bench.document)
    read = [(event.lobe, event.lift_mm, event.opening_deg, event.closing_deg) for event in sheet.events]
    assert read == [
        ("1I", 1.27, 352.0, 219.5),
        ("1E", 1.27, None, None),
        ("2I", 1.27, 172.0, 39.5),
        ("3E", 1.27, None, None),
    ]
    assert lobes.grid.rows[4] == ("3E", "1.27", "9999", "20x", "", "", "")
    told = [lobes.entry_model.index(*place).data(Qt.ItemDataRole.ToolTipRole) for place in ((3, 2), (4, 2), (4, 3))]
    assert told[0] == "the lobe of this row is wanted"
    assert "-360 to 720" in told[1]
    assert "unit" in told[2]
    window.do("undo")
    assert len(phasing_bay.sheet_in_front(window.bench.document).events) == 2


def test_down_the_column_is_one_switch(springs: EntryPane) -> None:
    springs.go(along=False)
    springs.rows.setFocus()
    type_keys("Q1 to Q3\r")
    to_grid(springs)
    type_keys("180\r181\r182\r240\r")
    assert [row[1] for row in springs.grid.grid.rows] == ["180", "181", "182"]
    assert springs.grid.grid.rows[0][2] == "240"
    assert "3 of 3 springs typed" in springs.message.text()


def test_a_wrong_entry_keeps_its_text_says_why_and_is_not_passed_on(window: MainWindow, springs: EntryPane) -> None:
    type_keys("18x\r240\r480\r")
    assert springs.grid.grid.rows[0] == ("1", "18x", "240", "480")
    springs.grid.go_to(0, 1)
    assert springs.message.text().startswith("✗")
    index = springs.grid.entry_model.index(0, 1)
    assert "force unit" in index.data(Qt.ItemDataRole.ToolTipRole)
    file = window.bench.document.files[-1]
    table = window.bench.document.contents[file].value
    assert [stroke.compress.force_n.tolist() for spring in table.springs for stroke in spring.elements] == [[240, 480]]  # type: ignore[attr-defined, union-attr]
    type_keys("181\r")
    assert springs.grid.grid.rows[0][1] == "181"


def test_a_block_is_pasted_copied_and_emptied_by_keys(window: MainWindow, springs: EntryPane) -> None:
    QGuiApplication.clipboard().setText("180,5\t240\t480\n181\t54.2 lbf\t481\n")
    QTest.keyClick(springs.grid, Qt.Key.Key_V, Qt.KeyboardModifier.ControlModifier)
    rows = springs.grid.grid.rows
    assert rows == (("1", "180.5", "240", "480"), ("2", "181", "241.09361", "481"))
    assert window.bench.history.undo_label == "paste readings"
    springs.grid.selectAll()
    QTest.keyClick(springs.grid, Qt.Key.Key_C, Qt.KeyboardModifier.ControlModifier)
    assert QGuiApplication.clipboard().text().splitlines()[1] == "2\t181\t241.09361\t481"
    springs.grid.clearSelection()
    springs.grid.go_to(0, 2)
    QTest.keyClick(springs.grid, Qt.Key.Key_Delete)
    assert springs.grid.grid.rows[0] == ("1", "180.5", "", "480")


def test_a_block_that_would_write_over_readings_asks_first(window: MainWindow, springs: EntryPane) -> None:
    springs.grid.paste("180\t240\t480\n181\t241\t481\n")
    springs.grid.go_to(0, 2)
    springs.grid.paste("240\n999\n242\n")
    assert springs.grid.grid.rows[1][2] == "241", "nothing is written over unasked"
    assert springs.offer.isVisible()
    springs.offer.refused.emit()
    assert springs.grid.grid.rows[1][2] == "241"
    springs.grid.paste("240\n999\n242\n")
    said = springs.offer.findChild(QLabel)
    assert said is not None
    assert said.text() == "Replace spring 2 at 38 mm, 241 by 999?", (
        "what stays the same, or was empty, is not asked about"
    )
    springs.offer.taken.emit()
    assert [row[2] for row in springs.grid.grid.rows] == ["240", "999", "242"]
    window.do("undo")
    assert springs.grid.grid.rows[1][2] == "241"


def test_a_block_too_long_to_be_typed_is_refused_in_words(springs: EntryPane) -> None:
    springs.grid.paste("1\t2\n" * 20_002)
    assert springs.grid.grid.rows == ()
    assert "open that" in springs.message.text()


def test_a_column_of_words_stands_among_the_heights(window: MainWindow, springs: EntryPane) -> None:
    springs.columns.setFocus()
    type_keys("stage\rsolid height\r")
    to_grid(springs)
    type_keys("180\r240\r480\rrun-in\r25,4\r")
    table = window.bench.document.contents[window.bench.document.files[-1]].value
    (spring,) = table.springs  # type: ignore[union-attr]
    assert (spring.stage, spring.elements[0].solid_height_mm) == ("run-in", 25.4)


def test_a_repeat_is_a_further_row_and_overwrites_nothing(springs: EntryPane) -> None:
    type_keys("180\r240\r480\r")
    springs.grid.go_to(0, 1)
    springs.repeat.click()
    type_keys("182\r")
    assert springs.grid.grid.rows == (("1", "180", "240", "480"), ("1", "182", "", ""))


def test_the_form_is_part_of_the_table_and_of_undo(window: MainWindow, springs: EntryPane) -> None:
    type_keys("180\r240\r480\r")
    field = springs.form.fields["installed height"]
    assert field.placeholderText() == ""
    field.setFocus()
    type_keys("38,0\r")
    assert "# installed height: 38,0 mm" in text(window)
    table = window.bench.document.contents[window.bench.document.files[-1]].value
    assert table.installed_height_mm == 38.0  # type: ignore[union-attr]
    assert window.bench.history.undo_label == "state installed height"
    window.do("undo")
    assert field.text() == ""


def test_a_follower_is_chosen_with_its_radius(window: MainWindow, quiet: None) -> None:
    pane = begin(window, "lift table", "lobes")
    box = pane.form.choices["follower"]
    assert box.currentText() == "not stated"
    box.setCurrentText("roller")
    box.activated.emit(box.currentIndex())
    assert "follower" not in text(window)
    type_keys("9,5\r")
    assert "# follower: roller 9,5 mm" in text(window)
    box.setCurrentText("flat")
    box.activated.emit(box.currentIndex())
    assert "# follower: flat" in text(window)


def test_while_a_table_is_half_filled_the_page_is_calm(window: MainWindow, quiet: None) -> None:
    pane = begin(window, "lift table", "lobes")
    type_keys("1I\r")
    pane.rows.setFocus()
    type_keys("0 to 350 by 10\r")
    to_grid(pane)
    type_keys("0\r0\r0.1\r")
    assert window.pages.front() is window.empty
    assert all(row.level != "error" for row in window.bench.document.problems())
    assert "wanted of 1I: 8 lifts or more" in pane.message.text()
    assert window.bench.document.columns_of == ""


def test_readings_in_doubt_are_pointed_out(springs: EntryPane) -> None:
    block = "\n".join(f"{180 + n}\t{240 + n}\t{480 + n}" for n in range(8))
    springs.grid.paste(block)
    springs.grid.go_to(3, 2)
    type_keys("343\r")
    index = springs.grid.entry_model.index(3, 2)
    assert "take again" in str(index.data(Qt.ItemDataRole.ToolTipRole))
    assert springs.message.text().startswith("▲ spring 4 at 38 mm: 343")


def test_an_opened_file_is_edited_here_and_stays_as_it_is_on_disk(
    window: MainWindow, tmp_path: Path, quiet: None
) -> None:
    path = tmp_path / "heights.csv"
    original = (sample_profiles() / "springs_quillmere_heights.csv").read_bytes()
    path.write_bytes(original)
    window.bench.add_files([str(path)])
    window.files.edit_wanted.emit(str(path))
    pane = window.readings.pane
    assert pane is not None
    assert window.bench.document.bay == "springs"
    to_grid(pane)
    type_keys("41\r")
    assert "1I,41" in text(window)
    assert path.read_bytes() == original
    pane.save_to(tmp_path / "written.csv")
    assert "1I,41" in (tmp_path / "written.csv").read_text(encoding="utf-8")


def test_a_workbook_is_edited_as_well(window: MainWindow, tmp_path: Path) -> None:
    book = Workbook()
    for row in (["position", "height [mm]"], ["1I", 40.25], ["1E", 41]):
        book.active.append(row)  # type: ignore[union-attr]
    book.save(tmp_path / "heights.xlsx")
    window.bench.add_files([str(tmp_path / "heights.xlsx")])
    window.readings.edit(str(tmp_path / "heights.xlsx"))
    assert window.readings.pane is not None
    assert window.readings.pane.grid.grid.rows == (("1I", "40.25"), ("1E", "41"))


def test_enter_in_the_empty_field_of_heights_leads_to_the_readings(window: MainWindow, quiet: None) -> None:
    pane = begin(window, "spring readings", "springs")
    type_keys("40\r30\r\r180\r480\r181\r")
    assert pane.grid.grid.rows == (("1", "180", "480"), ("2", "181", ""))


def test_what_stands_in_an_open_cell_is_kept_at_the_end(window: MainWindow, springs: EntryPane) -> None:
    type_keys("180")
    window.close()
    assert "1,180" in text(window)
    (kept,) = window.bench.place.glob("recovery-*.json")
    assert "1,180" in (saved_document(kept.read_bytes()).files[-1].text or "")


@pytest.mark.parametrize("kind", [one.kind for one in KINDS])
def test_every_field_has_a_name_that_can_be_spoken_and_nothing_in_it(
    window: MainWindow, quiet: None, kind: str
) -> None:
    bays = {
        "lift table": "lobes",
        "shaft readings": "shaft",
        "gauge study": "gauge",
        "surface trace": "texture",
        "lash sheet": "lash",
    }
    pane = begin(window, kind, bays.get(kind, "springs"))
    fields = [one for one in pane.findChildren(QLineEdit) if one.isVisible()]
    assert len(fields) > 3
    assert [one for one in fields if not one.accessibleName() or one.text()] == []
    adders = [one for one in (pane.columns, pane.rows) if one in fields]
    assert adders
    assert [one for one in fields if one.placeholderText()] == adders, "those say what they take, and state nothing"


def test_enter_goes_on_in_the_form_and_stays_where_it_can_not_be_read(springs: EntryPane, window: MainWindow) -> None:
    first, second = springs.form.fields["installed height"], springs.form.fields["valve lift"]
    first.setFocus()
    type_keys("1.5 in\r")
    assert QApplication.focusWidget() is second
    type_keys("eight\r")
    assert QApplication.focusWidget() is second
    assert second.wrong
    second.selectAll()
    type_keys("8\r")
    assert QApplication.focusWidget() is not second
    assert "# installed height: " in text(window)
    assert "# valve lift: 8" in text(window)
