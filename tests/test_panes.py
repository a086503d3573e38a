"""Chips, numbers and quantities of a pane are bound to fields of a state, both ways."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QLineEdit, QWidget
from showing import show
from something import each
from waiting import wait_for

from valvelab.window.bays.view import BayView
from valvelab.window.bench import Bench
from valvelab.window.panes import BoundQuantity, Chips, number_field, show_number
from valvelab.window.tables import AT_ONCE, TableColumn, TableView
from valvelab.window.turns import Turns
from valvelab.workbench.state import BayState, Entry, entered, entry_of

NAMES = (("one", "One"), ("two", "Two"), ("three", "Three"))


@dataclass(frozen=True, slots=True)
class PlainState(BayState):
    page: str = "one"
    plots: frozenset[str] = frozenset({"one", "two"})
    sense: bool = entered(False, "Sense", edit="turn the sense")
    lift_mm: float = entered(
        1.0, "Lift", edit="move the lift", dimension="length", unit="mm", least=0.5, most=9.0, digits=3, decimals=(3, 4)
    )
    cutoff_um: float | None = entered(
        None, "Cutoff", edit="change the cutoff", dimension="length", unit="um", least=0.0, optional=True
    )
    parts: int = entered(3, "Parts", edit="plan", least=2, most=20, merges=True)


@pytest.fixture
def bench(app: QApplication, tmp_path: Path) -> Bench:
    del app
    return Bench(tmp_path, background=False)


def state(bench: Bench) -> PlainState:
    return bench.document.state(PlainState)


def on(chips: Chips) -> list[str]:
    return [button.property("name") for button in chips.buttons() if button.isChecked()]


def enter(field: QLineEdit, text: str) -> None:
    field.selectAll()
    QTest.keyClicks(field, text)
    QTest.keyClick(field, Qt.Key.Key_Return)


def test_one_chip_of_several_brings_its_page(bench: Bench) -> None:
    parent = QWidget()
    pages = [QWidget(parent) for _ in NAMES]
    chips = Chips(bench, parent, PlainState, "page", NAMES, pages)
    assert (on(chips), chips.stack.currentWidget()) == (["one"], pages[0])
    chips.buttons()[2].click()
    assert state(bench).page == "three"
    assert chips.stack.currentWidget() is pages[2]
    assert bench.history.undo_label is None, "a look is no edit"
    bench.set(PlainState, page="two")
    assert (on(chips), chips.stack.currentWidget()) == (["two"], pages[1])
    bench.set(PlainState, page="of another version")
    assert chips.stack.currentWidget() is pages[0]


def test_chips_of_a_set_are_never_all_off(bench: Bench) -> None:
    parent = QWidget()
    chips = Chips(bench, parent, PlainState, "plots", NAMES, spoken={"two": "Show the second"})
    assert on(chips) == ["one", "two"]
    assert [button.accessibleName() for button in chips.buttons()] == ["Show one", "Show the second", "Show three"]
    for button in chips.buttons()[:2]:
        button.click()
    assert on(chips) == ["two"], "the last one stays"
    assert state(bench).plots == {"two"}
    chips.buttons()[2].click()
    assert state(bench).plots == {"two", "three"}


def test_a_chip_with_an_edit_is_undone(bench: Bench) -> None:
    parent = QWidget()
    chips = Chips(bench, parent, PlainState, "sense", ((False, "Falls"), (True, "Grows")))
    chips.buttons()[1].click()
    assert state(bench).sense is True
    assert bench.history.undo_label == "turn the sense"
    bench.history.undo()
    assert state(bench).sense is False
    assert [button.isChecked() for button in chips.buttons()] == [True, False]


def test_a_quantity_is_held_to_its_ends_and_may_be_left_out(bench: Bench) -> None:
    parent = QWidget()
    lift, cutoff = (BoundQuantity(bench, parent, PlainState, name) for name in ("lift_mm", "cutoff_um"))
    lift.show_in(1.0, "metric")
    assert lift.text() == "1.000 mm"
    assert lift.accessibleName() == "Lift"
    for text, kept in (("0.1 in", 2.54), ("0.1", 0.5), ("20", 9.0), ("1.23456", 1.235)):
        enter(lift, text)
        assert state(bench).lift_mm == kept
    enter(lift, "five")
    assert state(bench).lift_mm == 1.235
    assert bench.history.undo_label == "move the lift"
    for text, wanted in (("2.5", 2.5), ("0", 0.0), ("-1", None)):
        enter(cutoff, text)
        assert state(bench).cutoff_um == wanted


def test_whole_numbers_that_follow_one_another_are_one_step(bench: Bench) -> None:
    parent = QWidget()
    parts = number_field(bench, parent, PlainState, "parts")
    show_number(parts, 3)
    assert bench.history.undo_label is None
    for value in (4, 5, 6):
        parts.setValue(value)
    assert state(bench).parts == 6
    assert bench.history.undo_label == "plan"
    bench.history.undo()
    assert state(bench).parts == 3


def test_a_field_without_an_entry_is_only_looked_at() -> None:
    assert entry_of(PlainState, "page") == Entry("")
    assert entry_of(PlainState, "parts").taken(7.0, None) == 7.0
    with pytest.raises(ValueError, match="not enough"):
        entry_of(PlainState, "unheard")


def test_a_view_draws_again_what_another_answer_or_look_changed(bench: Bench) -> None:
    view = BayView[object](bench)
    answer, other = [1], [1]
    assert view.changed("map", answer, "metric")
    assert not view.changed("map", answer, "metric"), "nothing is drawn twice"
    assert view.changed("table", answer, "metric")
    assert view.changed("map", answer, "inch")
    assert view.changed("map", other, "inch"), "an equal answer is another one"


def test_work_takes_turns_and_the_newest_of_a_name_counts(app: QApplication) -> None:
    done: list[str] = []
    turns = Turns(app, patient=True)
    for name in each(("old map", "old plots", "map")):
        turns.after(name.removeprefix("old "), partial(done.append, name))
    assert not done
    seen: list[int] = []
    turns.timeout.connect(lambda: seen.append(len(done)))
    while turns.isActive():
        app.processEvents()
    assert done == ["old plots", "map"], "the old map gave up its place"
    assert seen[:2] == [1, 2], "one in a turn"
    Turns(app, patient=False).after("map", partial(done.append, "at once"))
    assert done[2:] == ["at once"]
    turns.after("map", partial(done.append, "of a window that closes"))
    turns.end()
    turns.after("plots", partial(done.append, "of one that is closed"))
    QTest.qWait(5)
    assert not done[3:]
    assert turns.at_rest()


def test_a_long_table_makes_the_texts_that_are_seen_and_fits_its_columns_in_pieces(app: QApplication) -> None:
    made: list[int] = []
    column = TableColumn("name", lambda row: (made.append(row), "W" * (40 if row == 4_321 else 3))[1])
    sheet = TableView("long", [column])
    show(sheet)
    sheet.show_rows(range(5_000))
    assert len(made) <= AT_ONCE
    narrow = sheet.columnWidth(0)
    wait_for(lambda: sheet.columnWidth(0) > 5 * narrow)
    assert sheet.columnWidth(0) >= sheet.sizeHintForIndex(sheet.proxy.index(4_321, 0)).width()
    assert len(made) == len({*made}), "no text is made twice"
    sheet.deleteLater()


def test_columns_do_without_room_where_that_brings_all_into_view(app: QApplication) -> None:
    sheet = TableView("close", [TableColumn(f"column {number}", str) for number in range(5)])
    show(sheet)
    sheet.resize(900, 200)
    sheet.show_rows(range(3))
    QApplication.processEvents()
    roomy = [sheet.columnWidth(column) for column in range(5)]
    sheet.resize(sum(roomy) - 20, 200)
    assert sheet.horizontalHeader().length() <= sheet.viewport().width()
    sheet.resize(sum(roomy) // 2, 200)
    close = [sheet.columnWidth(column) for column in range(5)]
    needs = [sheet.sizeHintForColumn(column) for column in range(5)]
    word, whole = map(sheet.fontMetrics().horizontalAdvance, ("column", "column 0"))
    assert sheet.horizontalHeader().length() <= sheet.viewport().width()
    assert all(whole > wide >= max(need, word) for wide, need in zip(close, needs, strict=True))
    sheet.resize(sum(roomy) // 6, 200)
    assert sheet.horizontalHeader().length() > sheet.viewport().width()
    assert all(sheet.columnWidth(column) >= whole for column in range(5)), "words are not cut for nothing"
    sheet.resize(900, 200)
    sheet.setColumnWidth(0, roomy[0] + 30)
    sheet.resize(sum(roomy) + 10, 200)
    assert sheet.columnWidth(0) == roomy[0] + 30, "a width that a person chose stays"
    sheet.deleteLater()


def test_words_that_may_be_cut_give_way_from_the_last_column_on_and_then_the_drawing(app: QApplication) -> None:
    columns = [
        TableColumn("name", lambda row: f"name {row}", number=False),
        TableColumn("drawn", lambda _row: "", drawn=True, least=4.0),
        TableColumn("first", lambda _row: "W" * 30, number=False, least=4.0),
        TableColumn("last", lambda _row: "M" * 30, number=False, least=4.0, cell_tip=lambda _row: "what it is"),
    ]
    sheet = TableView("cut", columns)
    show(sheet)
    sheet.resize(2_000, 200)
    sheet.show_rows(range(3))
    sheet.give_width(1, 7 * sheet.fontMetrics().height())
    QApplication.processEvents()
    whole = [sheet.columnWidth(column) for column in range(4)]
    sheet.resize(sum(whole) - 2 * sheet.fontMetrics().height() - whole[3] // 2, 200)
    assert sheet.horizontalHeader().length() <= sheet.viewport().width()
    assert sheet.columnWidth(3) < whole[3] - whole[3] // 3, "the last column gives way first"
    assert sheet.columnWidth(2) > whole[2] - 2 * sheet.fontMetrics().height()
    assert sheet.model().index(0, 3).data(Qt.ItemDataRole.ToolTipRole) == f"{'M' * 30}\nwhat it is"
    sheet.resize(whole[0] + 9 * sheet.fontMetrics().height(), 200)
    assert sheet.isColumnHidden(1), "then the drawing goes"
    assert sheet.horizontalHeader().length() <= sheet.viewport().width()
    sheet.resize(whole[0], 200)
    assert sheet.isColumnHidden(1), "a table that moves sideways has no farther to go than it must"
    assert sheet.columnWidth(3) < whole[3] // 2
    sheet.resize(2_000, 200)
    assert [sheet.columnWidth(column) for column in range(4)] == whole
    sheet.deleteLater()
