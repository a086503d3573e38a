"""The spring bay: sets as they are asked for, matched, moved by hand and put on paper."""

from __future__ import annotations

import csv
import io
import json
import time
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pypdf import PdfReader
from PySide6.QtCore import QMimeData, QPoint, QPointF, Qt
from PySide6.QtGui import QDragMoveEvent, QDropEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import (
    QAbstractButton,
    QAbstractSpinBox,
    QApplication,
    QFileDialog,
    QLabel,
    QLineEdit,
    QTreeWidgetItem,
    QWidget,
)
from something import each
from spring_cases import FREE, RATE, SOLID, bench_force, write_readings
from waiting import wait_for

from valvelab.figures import spring_figures
from valvelab.inspection.springs.inspect import SpringsInspection, SpringsQuestion, inspect_springs
from valvelab.places import sample_profiles
from valvelab.report.tray_labels import Label, LabelSheet, labels_bytes
from valvelab.window.bays.springs_sets_pane import SetsPane
from valvelab.window.bays.springs_view import SpringsView
from valvelab.window.main_window import MainWindow
from valvelab.workbench import edits, recovery, sets, springs_bay
from valvelab.workbench.document import BenchFile, Document
from valvelab.workbench.history import History
from valvelab.workbench.recovery_upgrade import states_of
from valvelab.workbench.sets import Grouping, Proof, SpringsState, Wish

POUND_FORCE_N = 4.4482216152605  # the pound-force, exact by definition
SAMPLE = [str(sample_profiles() / f"springs_quillmere_{name}") for name in ("tray.csv", "spec.toml", "heights.csv")]
HEIGHTS = np.array([40.0, 38.0, 36.0, 34.0, 32.0, 30.0, 28.0, 27.0, 26.6, 26.5, 26.3, 26.1])
MARGIN = 38.0 - 10.6 - SOLID


def a_tray(folder: Path, offsets: dict[str, float]) -> Path:
    """Springs that differ only by a length they are longer than another, at a rate of 30 N/mm."""
    springs = {
        name: (HEIGHTS, bench_force(HEIGHTS, free=FREE + offset / RATE, solid=SOLID))
        for name, offset in offsets.items()
    }
    stated = ("installed height: 38.0 mm", "valve lift: 10.6 mm", "wire diameter: 4.0 mm", "total coils: 6.6",
              "active coils: 4.6", "mean coil diameter: 28 mm")  # fmt: skip
    return write_readings(folder / "tray.csv", springs, *stated)


def inspected(path: Path) -> SpringsInspection:
    from valvelab.files.spring_readings import read_spring_readings

    return inspect_springs(SpringsQuestion(read_spring_readings(path)))


VALUES: sets.Values = {
    name: {"seat_force": seat, "open_force": None, "rate": rate, "solid_height": None, "free_length": None}
    for name, seat, rate in (("a", 240.0, 30.0), ("b", 243.0, 30.1), ("c", 250.0, 30.2), ("d", 252.5, 30.5))
}
WISH = Wish(2, {"seat_force": 4.0, "rate": 0.2})


# -- without a window -------------------------------------------------------------------------------------------------


def test_a_standing_is_range_over_limit() -> None:
    one = sets.standing(("a", "b"), VALUES, WISH)
    assert one.range["seat_force"] == pytest.approx(3.0)
    assert one.use["seat_force"] == pytest.approx(0.75)
    assert one.use["rate"] == pytest.approx(0.5)
    assert one.spread == pytest.approx(1.25)
    assert one.complete
    assert one.over == ()
    assert sets.standing(("c", "d"), VALUES, WISH).over == ("rate",)
    assert not sets.standing(("a", "b", "c"), VALUES, WISH).complete


def test_a_limit_to_start_from_is_a_round_share_of_the_median() -> None:
    # median 246.5 N, 2.5 % of it 6.16 N, rounded down to 6; in lbf 55.4, 1.385, rounded down to 1
    assert sets.usual_limit(VALUES, "seat_force", "metric") == pytest.approx(6.0)
    assert sets.usual_limit(VALUES, "seat_force", "inch") == pytest.approx(POUND_FORCE_N)


def test_set_size_comes_from_the_heights_else_sixteen() -> None:
    many = {f"s{n}": VALUES["a"] for n in range(40)}
    assert sets.wish_of(SpringsState(), many, None, "metric").size == 16
    assert sets.wish_of(SpringsState(), many, 8, "metric").size == 8
    assert sets.wish_of(SpringsState(size=12), many, 8, "metric").size == 12
    assert set(sets.wish_of(SpringsState(), many, None, "metric").within) == {"seat_force", "rate"}


@given(st.lists(st.tuples(st.sampled_from("abcd"), st.sampled_from([None, 0, 1, 2, 3])), min_size=1, max_size=12))
def test_moving_never_loses_or_doubles_a_spring(moves: list[tuple[str, int | None]]) -> None:
    grouping = Grouping((("a", "b"), ("c",)))
    for spring, to in each(moves):
        if to is None or to <= len(grouping.sets):
            grouping = sets.moved(grouping, (spring,), to)
        inside = [name for one in grouping.sets for name in one]
        assert sorted([*inside, *sets.left_over(grouping, VALUES)]) == list("abcd")
        assert all(grouping.sets)


def test_a_move_can_be_undone_and_done_again() -> None:
    history = History(Document(), lambda _old, _new: None)
    for grouping, label in ((Grouping((("a", "b"),)), "match"), (Grouping((("a",), ("b",)), edited=True), "move")):
        history.apply(edits.set_fields(history.document, SpringsState, groupings={"tray": grouping}), label)

    def shown() -> Grouping:
        return sets.grouping_of(history.document.state(SpringsState), VALUES, "tray")

    assert len(shown().sets) == 2
    history.undo()
    assert shown().sets == (("a", "b"),)
    history.redo()
    assert shown().edited


def test_a_grouping_survives_and_forgets_springs_of_another_tray(tmp_path: Path) -> None:
    proof = Proof(2, {"seat_force": 4.0}, 1, 2, 0.75, 0.5, number_proven=False, spread_proven=False)
    kept = SpringsState(groupings={"tray": Grouping((("a", "b"), ("gone",)), proof)})
    recovery.keep_beside(Document(files=(BenchFile("/a.csv"),), states={SpringsState: kept}), tmp_path)
    left, _ = recovery.claim(tmp_path)
    assert left is not None
    found = sets.grouping_of(left.document.state(SpringsState), VALUES, "tray")
    assert found.sets == (("a", "b"),)
    assert found.proof == proof
    left.remove()
    for rubbish in ("", "{", "[]", '{"sets": 3}', '{"proof": [1]}', '{"sets": [3]}'):
        assert states_of({"springs": {"grouping tray": rubbish}})["springs"]["groupings"] == {}


def test_sets_belong_to_the_readings_they_were_made_of() -> None:
    # two trays with the same names: what was matched for one says nothing of the other
    state = SpringsState(groupings={"sha of A": Grouping((("a", "b"),))})
    assert sets.grouping_of(state, VALUES, "sha of A").sets == (("a", "b"),)
    assert sets.grouping_of(state, VALUES, "sha of B") == Grouping()


def test_what_is_said_of_a_grouping() -> None:
    proof = Proof(2, dict(WISH.within), 2, 2, 2.875, 2.875, number_proven=True, spread_proven=True)
    grouping = Grouping((("a", "b"), ("c", "d")), proof)
    assert "No arrangement gives 3. Tightness: no tighter arrangement exists." in sets.verdict_on(
        grouping, VALUES, WISH
    )
    assert "matched for other limits" in sets.verdict_on(grouping, VALUES, replace(WISH, size=3))
    by_hand = sets.moved(grouping, ("b",), None)
    assert "moved by hand (matched: 2 sets, 2.875)" in sets.verdict_on(by_hand, VALUES, WISH)
    assert "2 over a limit or not complete" in sets.verdict_on(by_hand, VALUES, WISH)
    none = Grouping((), replace(proof, sets=0))
    assert sets.verdict_on(none, VALUES, WISH).startswith("Not one set of 2")
    unsure = Grouping((), replace(proof, sets=0, number_proven=False))
    assert "up to 2 are not ruled out" in sets.verdict_on(unsure, VALUES, WISH)


def test_the_table_of_sets_in_inches_converts_exactly() -> None:
    text = sets.as_csv(Grouping((("a", "b"),)), VALUES, WISH, "inch")
    rows = list(csv.DictReader(line for line in io.StringIO(text) if not line.startswith("#")))
    assert [row["set"] for row in rows] == ["1", "1", "left over", "left over"]
    assert float(rows[0]["seat force [lbf]"]) == pytest.approx(240.0 / POUND_FORCE_N, rel=1e-5)
    assert float(rows[0]["rate [lbf/in]"]) == pytest.approx(30.0 * 25.4 / POUND_FORCE_N, rel=1e-5)
    assert "# size: 2" in text


# -- drawings ---------------------------------------------------------------------------------------------------------


@given(st.floats(4.1, 12.0), st.floats(1.0, 4.0), st.floats(2.5, 6.0), st.floats(0.0, 20.0), st.floats(0.0, 1.0))
def test_coils_lie_on_each_other_when_solid_and_share_what_is_opened(
    total: float, closed: float, wire: float, opened: float, unground: float
) -> None:
    """Plain mechanics: at solid height neighbours are a pitch apart, and the height above solid is spread over all."""
    solid = total * wire + unground * wire
    shut = spring_figures.coil_centres(solid, solid, wire, total, total - closed)
    pitch = np.diff(shut)
    assert np.allclose(pitch, pitch[0])
    assert pitch[0] == pytest.approx(wire, rel=1e-9) or unground > 0.0
    assert -1e-9 <= shut[0] <= wire + 1e-9
    assert solid - wire - 1e-9 <= shut[-1] <= solid + 1e-9
    wide = spring_figures.coil_centres(solid + opened, solid, wire, total, total - closed)
    assert (np.diff(wide) >= pitch - 1e-9).all()
    assert wide[-1] - shut[-1] <= opened + 1e-9


def test_the_gap_that_is_drawn_is_the_margin_that_is_judged(tmp_path: Path) -> None:
    inspection = inspected(a_tray(tmp_path, {"a": 0.0, "b": 5.0}))
    bind = spring_figures.coil_bind(inspection, "a")
    assert bind is not None
    assert bind.margin_mm == pytest.approx(MARGIN, abs=0.02)
    assert bind.open_mm - bind.solid_mm == pytest.approx(bind.margin_mm)
    assert bind.wire_mm == 4.0
    assert [state.name for state in bind.states] == ["open", "solid"]


def test_lines_windows_wall_and_median(tmp_path: Path) -> None:
    inspection = inspected(a_tray(tmp_path, {"a": -10.0, "b": 0.0, "c": 10.0}))
    tray = spring_figures.tray_lines(inspection)
    figure = spring_figures.force_figure(inspection, "b", tray, [("a", "c")])
    assert figure.curves[0].label == "b"
    assert figure.x_axis.reversed
    wall = next(band for band in figure.bands if band.label == "solid")
    assert wall.x[-1] == pytest.approx(SOLID, abs=0.02)
    heights = sorted(float(curve.x[0]) for curve in figure.curves if curve.role == "guide")
    assert heights == [pytest.approx(27.4), pytest.approx(38.0)]
    low, high = figure.y_axis.range or (0.0, 0.0)
    assert all(np.nanmax(curve.y) <= high + 1e-9 for curve in figure.curves)
    assert low == 0.0
    difference = spring_figures.difference_figure(inspection, "b", tray, [("a", "c")])
    assert np.allclose(difference.curves[0].y, 0.0, atol=1e-9)  # b is the middle one of three
    others = next(curve for curve in difference.curves if curve.role == "series")
    known = others.y[np.isfinite(others.y) & (others.x > 30.0)]
    assert set(np.round(known, 6)) == {-10.0, 10.0}


def test_the_map_names_every_spring_once() -> None:
    points = {name: (row["rate"] or 0.0, row["seat_force"] or 0.0) for name, row in VALUES.items()}
    groups = spring_figures.marked_springs(points, [("b", "a"), ("d",)])
    assert groups == {None: ("c",), 0: ("a", "b"), 1: ("d",)}
    figure = spring_figures.map_figure(points, [("b", "a"), ("d",)], "c")
    assert [marks.x.size for marks in figure.marks if not marks.bare] == [1, 2, 1]
    assert [marks.texts for marks in figure.marks if marks.bare] == [("1",), ("2",)]
    assert [guide.value for guide in figure.guides] == [30.2, 250.0]


# -- labels -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("many", [1, 2, 16, 32, 64])
def test_a_label_holds_every_spring_of_its_set(many: int) -> None:
    names = [f"spring {number:02d}" for number in range(many)]
    sheet = LabelSheet("t", "foot", (Label("1", "Set 1", ("line",), tuple((name, "250.0") for name in names), 0),))
    text = PdfReader(io.BytesIO(labels_bytes(sheet))).pages[0].extract_text()
    assert all(name in text for name in names)
    assert labels_bytes(sheet) == labels_bytes(sheet)


def test_a_label_with_no_room_counts_what_it_leaves_out() -> None:
    names = tuple((f"a spring with a long name, number {number}", "250.0") for number in range(200))
    text = PdfReader(io.BytesIO(labels_bytes(LabelSheet("t", "f", (Label("1", "Set 1", (), names),))))).pages[0]
    shown = text.extract_text().count("250.0")
    assert f"and {200 - shown} more" in text.extract_text()


# -- in the window ----------------------------------------------------------------------------------------------------

pytestmark = pytest.mark.usefixtures("quiet")


@pytest.fixture
def tray(window: MainWindow, tmp_path: Path) -> SpringsView:
    """Eight springs in two bunches of four and one that belongs to none."""
    offsets = {f"s{number}": (number % 4) * 1.0 + (40.0 if number > 3 else 0.0) for number in range(8)}
    window.bench.add_files([str(a_tray(tmp_path, {**offsets, "odd": 20.0}))])
    window.bench.set(SpringsState, size=4)
    window.bench.set(SpringsState, limits={"seat_force": 5.0})
    return springs_view(window)


def springs_view(window: MainWindow) -> SpringsView:
    view = window.pages.front()
    assert isinstance(view, SpringsView)
    return view


def wait(pane: SetsPane) -> None:
    wait_for(lambda: not pane.run.running, lambda: "matching did not end")


def match(view: SpringsView) -> SetsPane:
    QTest.mouseClick(view.sets_pane.match_button, Qt.MouseButton.LeftButton)
    wait(view.sets_pane)
    return view.sets_pane


def members(pane: SetsPane) -> list[set[str]]:
    return [set(one) for one in pane.grouping.sets]


def row_of(pane: SetsPane, spring: str) -> QTreeWidgetItem:
    (row,) = pane.tree.findItems(spring, Qt.MatchFlag.MatchExactly | Qt.MatchFlag.MatchRecursive)
    return row


FIRST, SECOND = {"s0", "s1", "s2", "s3"}, {"s4", "s5", "s6", "s7"}


def test_readings_bring_the_bay_to_the_front(tray: SpringsView, window: MainWindow) -> None:
    assert window.bench.document.bay == "springs"
    assert tray.table.proxy.rowCount() == 9
    assert not tray.sets_pane.labels_button.isEnabled()
    assert "not matched yet" in tray.sets_pane.state.text()


def test_matching_finds_the_two_bunches(tray: SpringsView, window: MainWindow) -> None:
    pane = match(tray)
    assert members(pane) == [FIRST, SECOND]
    assert "No arrangement gives" in pane.state.text()
    assert pane.tree.topLevelItemCount() == 3
    assert window.bench.history.undo_label == "match sets"
    window.bench.history.undo()
    assert pane.grouping.sets == ()


def test_three_clicks_to_labels(window: MainWindow, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(QFileDialog, "getOpenFileNames", lambda *_a: (SAMPLE[:1], ""))
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_a: (str(tmp_path / "labels.pdf"), ""))
    window.actions_by_name["open"].trigger()
    view = springs_view(window)
    match(view)
    QTest.mouseClick(view.sets_pane.labels_button, Qt.MouseButton.LeftButton)
    pages = PdfReader(tmp_path / "labels.pdf").pages
    text = " ".join(page.extract_text() for page in pages)
    assert all(f"Q{number:02d}" in text for number in range(1, 65))
    assert "Set 1: 16 springs" in text
    assert "Left over: 16 springs" in text


def test_springs_move_by_key_and_the_spread_follows(tray: SpringsView, window: MainWindow) -> None:
    pane = match(tray)
    pane.tree.open_set(0)
    pane.tree.setCurrentItem(row_of(pane, "s3"))
    QTest.keyClick(pane.tree, Qt.Key.Key_Down, Qt.KeyboardModifier.AltModifier)
    assert members(pane) == [FIRST - {"s3"}, SECOND | {"s3"}]
    # s3 is 3 N above s0, s7 43 N: 40 N in a set that may have 5 N
    assert sets.standing(pane.grouping.sets[1], pane.usable.values, pane.wish).range["seat_force"] == pytest.approx(
        40.0, abs=0.1
    )
    branch = pane.tree.topLevelItem(1)
    assert branch is not None
    assert "✗" in branch.text(1)
    assert "moved by hand" in pane.state.text()
    assert pane.tree.selected_springs() == ("s3",)
    QTest.keyClick(pane.tree, Qt.Key.Key_Delete)
    assert members(pane) == [FIRST - {"s3"}, SECOND]
    window.bench.history.undo()
    window.bench.history.undo()
    assert members(pane) == [FIRST, SECOND]
    assert "No arrangement gives" in pane.state.text()


def test_springs_move_by_dropping_them_on_a_set(tray: SpringsView) -> None:
    pane = match(tray)
    data = QMimeData()
    data.setData("application/x-valvelab-springs", b"odd\ns0")
    branch = pane.tree.topLevelItem(1)
    assert branch is not None
    at = QPointF(pane.tree.visualItemRect(branch).center())
    told: list[object] = []
    pane.tree.considered.connect(lambda springs, to: told.append((springs, to)))
    held, free = Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier
    pane.tree.dragMoveEvent(QDragMoveEvent(at.toPoint(), Qt.DropAction.CopyAction, data, held, free))
    assert pane.state.text().startswith("Set 2 with odd, s0: seat force 43.00 of 5 N ✗")
    pane.tree.dropEvent(QDropEvent(at, Qt.DropAction.CopyAction, data, held, free))
    assert members(pane) == [FIRST - {"s0"}, SECOND | {"odd", "s0"}]
    assert told == [(("odd", "s0"), 1), ((), None)]


def test_the_menu_says_what_each_move_would_give(tray: SpringsView) -> None:
    pane = match(tray)
    pane.tree.open_set(0)
    pane.tree.setCurrentItem(row_of(pane, "s0"))
    pane.move_menu.aboutToShow.emit()
    texts = [action.text() for action in pane.move_menu.actions()]
    assert texts[0].startswith("Set 1:")
    assert not pane.move_menu.actions()[0].isEnabled()
    assert "✗" in texts[1]
    assert texts[-2:] == ["A new set", "Left over"]
    pane.move_menu.actions()[-2].trigger()
    assert members(pane) == [FIRST - {"s0"}, SECOND, {"s0"}]


def test_limits_are_typed_with_units(tray: SpringsView, window: MainWindow) -> None:
    pane = match(tray)
    field = pane.limit_fields["seat_force"]
    field.selectAll()
    QTest.keyClicks(field, "2 lbf")
    QTest.keyClick(field, Qt.Key.Key_Return)
    assert pane.wish.within["seat_force"] == pytest.approx(2.0 * POUND_FORCE_N)
    assert "matched for other limits" in pane.state.text()
    QTest.keyClick(field, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    window.bench.set(SpringsState, matched_by=frozenset())
    assert not pane.match_button.isEnabled()
    assert "choose at least one characteristic" in pane.state.text()


def test_a_limit_of_nothing_is_refused(tray: SpringsView, window: MainWindow) -> None:
    pane = tray.sets_pane
    before = pane.wish.within["seat_force"]
    field = pane.limit_fields["seat_force"]
    field.selectAll()
    QTest.keyClicks(field, "0")
    QTest.keyClick(field, Qt.Key.Key_Return)
    assert pane.wish.within["seat_force"] == before
    assert any("expected above 0" in row.text for row in window.notes.rows_model.rows)


def test_no_set_at_all_is_said(tray: SpringsView, window: MainWindow) -> None:
    window.bench.set(SpringsState, size=9)
    pane = match(tray)
    assert pane.state.text().startswith("Not one set of 9 can be made")


def test_stopping_keeps_the_best_found(window: MainWindow) -> None:
    window.bench.add_files(SAMPLE[:1])
    pane = springs_view(window).sets_pane
    window.bench.set(SpringsState, thorough=True)
    heard: list[object] = []
    pane.run.progressed.connect(heard.append)
    QTest.mouseClick(pane.match_button, Qt.MouseButton.LeftButton)
    assert pane.match_button.text() == "&Stop"
    wait_for(lambda: bool(heard) or not pane.run.running)
    QTest.mouseClick(pane.match_button, Qt.MouseButton.LeftButton)
    wait(pane)
    assert pane.grouping.sets
    assert all(not one.over and one.complete for one in sets.standings(pane.grouping, pane.usable.values, pane.wish))
    assert pane.match_button.text() == "Match &sets"


def test_units_change_nothing_but_what_is_shown(tray: SpringsView, window: MainWindow) -> None:
    pane = match(tray)
    before = (pane.grouping, pane.wish)
    window.bench.toggle_units()
    assert (pane.grouping, pane.wish) == before
    assert "lbf" in pane.tree.headerItem().text(1)
    assert pane.limit_fields["seat_force"].text().endswith("lbf")
    window.bench.toggle_units()


def test_a_spring_is_picked_on_the_map_and_everywhere_else_follows(tray: SpringsView) -> None:
    QApplication.processEvents()
    item = tray.map.items_by_name["map"]
    (spring,) = (row for row in tray.table.rows_model.rows if row.spring == "s6")

    def place() -> QPoint:
        return tray.map.mapFromScene(item.view.mapViewToScene(QPointF(spring.rate_n_per_mm, spring.seat_force_n)))

    def pointed_at() -> bool:
        for at in (place() + QPoint(60, 60), place()):  # as a hand does, for a single move may come too soon
            QTest.mouseMove(tray.map.viewport(), at)
            QTest.qWait(20)
        return "s6: " in item.title.toPlainText()

    wait_for(pointed_at, item.title.toPlainText)
    cells = {column.title.split("\n")[0]: column.text(spring) for column in tray.table.rows_model.columns}
    seat, rate = (cells[name] for name in ("seat force", "rate"))
    assert f"s6: {seat} N, {rate} N/mm" in item.title.toPlainText()
    (leaf,) = tray.sets_pane.tree.findItems("s6", Qt.MatchFlag.MatchExactly | Qt.MatchFlag.MatchRecursive)
    assert [leaf.text(1), leaf.text(2)] == [seat, rate]
    QTest.mouseClick(tray.map.viewport(), Qt.MouseButton.LeftButton, pos=place())
    assert tray.spring_name.text().startswith("s6")
    tray.choose_item("odd")
    assert tray.spring_name.text() == "odd"
    assert tray.coils.accessibleDescription().startswith("odd: open 27.40 mm, solid 26.40000 mm, margin 1.00000 mm")


def test_the_shim_plan_waits_for_heights_and_comes_when_looked_at(window: MainWindow) -> None:
    window.bench.add_files(SAMPLE[:2])
    view = springs_view(window)
    window.bench.set(SpringsState, page="shims")
    assert view.shims_pane.state.text().startswith("Put heights on the bench")
    window.bench.add_files(SAMPLE[2:])
    wait_for(lambda: view.shims_pane.sheet.proxy.rowCount() > 0)
    assert view.shims_pane.sheet.proxy.rowCount() == 8
    assert "target 250.0" in view.shims_pane.state.text()


@pytest.mark.parametrize("page", ["sets", "springs", "shims"])
@pytest.mark.parametrize("by_hand", [False, True])
def test_the_certificate_is_that_of_the_page_in_front(
    tray: SpringsView, window: MainWindow, tmp_path: Path, page: str, by_hand: bool, capsys: pytest.CaptureFixture[str]
) -> None:
    from valvelab.cli.main import main

    spec = tmp_path / "spec.toml"
    spec.write_text('[[limit]]\nof = "seat_force"\nmin = "230 N"\n', encoding="utf-8")
    heights = tmp_path / "heights.csv"
    heights.write_text("# shims: 0.5 mm\nposition,height [mm]\n1I,38.2\n1E,38.4\n", encoding="utf-8")
    window.bench.add_files([str(spec), str(heights)])
    pane = match(tray)
    if by_hand:
        pane.move_springs(("s0",), None)
    window.bench.set(SpringsState, page=page)
    wait_for(lambda: not tray.shims_pane.run.running)
    target = tmp_path / "c.pdf"
    window.save_certificate(target)
    results = [
        json.loads(part)
        for name, parts in PdfReader(target).attachments.items()
        for part in parts
        if name.startswith("result")
    ]
    assert [result["command"] for result in results] == [page]
    if page == "sets":
        assert results[0]["proven_optimal"] is not by_hand
        assert [len(one["springs"]) for one in results[0]["sets"]] == [3 if by_hand else 4, 4]
    assert main(["verify", str(target)]) == 0
    assert "agrees" in capsys.readouterr().out


def test_everything_can_be_reached_and_has_a_name(tray: SpringsView) -> None:
    match(tray)
    for kind in (QLineEdit, QAbstractButton, QAbstractSpinBox):
        for widget in each(tray.findChildren(kind)):
            assert isinstance(widget, QWidget)
            named = widget.accessibleName() or getattr(widget, "text", str)()
            inside = widget.objectName().startswith("qt_")
            assert named or inside, widget


def test_answers_of_another_tray_are_dropped(tray: SpringsView, window: MainWindow, tmp_path: Path) -> None:
    QTest.mouseClick(tray.sets_pane.match_button, Qt.MouseButton.LeftButton)
    other = tmp_path / "other"
    other.mkdir()
    path = a_tray(other, {"x": 0.0, "y": 1.0})
    window.bench.add_files([str(path)])
    window.bench.use_file(str(path))
    QApplication.processEvents()
    assert not tray.sets_pane.run.running
    time.sleep(0.3)
    QApplication.processEvents()
    assert tray.sets_pane.grouping == Grouping()


def test_spec_of_another_part_is_left_alone(window: MainWindow, tmp_path: Path) -> None:
    spec = tmp_path / "camshaft.toml"
    spec.write_text('[[limit]]\nof = "max_lift"\nmin = "7 mm"\n', encoding="utf-8")
    window.bench.add_files([str(a_tray(tmp_path, {"a": 0.0})), str(spec)])
    document = window.bench.document
    assert springs_bay.spec_in_use(document) is None
    assert document.state(SpringsState).groupings == {}
    assert isinstance(document.states, MappingProxyType)


def test_what_can_not_be_drawn_is_said(window: MainWindow, tmp_path: Path) -> None:
    readings = {"<b>x</b> & y": (np.array([40.0, 35.0, 30.0]), np.array([200.0, 350.0, 500.0]))}
    window.bench.add_files([str(write_readings(tmp_path / "bare.csv", readings))])
    view = springs_view(window)
    shown = view.map_pages.currentWidget()
    assert isinstance(shown, QLabel)
    assert "No spring has both a seat force and a rate" in shown.text()
    assert view.spring_name.text() == "<b>x</b> & y"
    assert view.spring_name.textFormat() == Qt.TextFormat.PlainText
    assert "can't be drawn" in view.coils.accessibleDescription()
    assert "&lt;b&gt;x" in view.stack.items_by_name["force"].legend.toHtml()
    assert view.sets_pane.state.text() == "1 spring, not matched yet"
    assert not view.sets_pane.chips["seat_force"].isEnabled()


def test_nested_springs_in_stages_are_shown_in_their_last(window: MainWindow, tmp_path: Path) -> None:
    rows = ["# installed height: 38 mm", "# valve lift: 10 mm", "spring,element,stage,height [mm],force [N]"]
    for stage, lost in (("new", 0.0), ("run-in", 9.0)):
        rows += [
            f"A,{element},{stage},{h},{k * (46.0 - h) - lost}"
            for element, k in (("outer", 30.0), ("inner", 15.0))
            for h in (40.0, 34.0, 28.0)
        ]
    path = tmp_path / "nest.csv"
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    window.bench.add_files([str(path)])
    view = springs_view(window)
    assert view.table.proxy.rowCount() == 2
    # plain mechanics: (30 + 15) N/mm over 46 − 38 mm is 360 N, less 9 N of each spring once run in
    (place,) = (marks for marks in view.map.items_by_name["map"].figure.marks if not marks.bare)
    assert [*place.x, *place.y] == pytest.approx([45.0, 342.0])
    line = view.stack.items_by_name["force"].figure
    assert line is not None
    assert float(np.interp(38.0, line.curves[0].x, line.curves[0].y)) == pytest.approx(342.0)
