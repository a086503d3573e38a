"""What a person decides of a tray before matching: taken in, left out, tied, places; to the search and onto paper."""

from __future__ import annotations

import io
import json
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from counting import calls_of
from hypothesis import given
from hypothesis import strategies as st
from pypdf import PdfReader
from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QAction
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QFileDialog, QMenu
from something import each
from waiting import at_rest, wait_for

from valvelab.figures import spring_figures
from valvelab.report.tray_labels import labels_bytes
from valvelab.window.bays.springs_sets_pane import SetsPane
from valvelab.window.bays.springs_view import SpringsView
from valvelab.window.main_window import MainWindow
from valvelab.workbench import set_wishes, sets, springs_bay, springs_papers
from valvelab.workbench.saved_bench import saved_document, saved_text
from valvelab.workbench.set_wishes import NONE, Place, Wishes
from valvelab.workbench.sets import Grouping, SpringsState, Wish

pytestmark = pytest.mark.usefixtures("quiet")

HEAD = "# installed height: 40 mm\n# valve lift: 10 mm\n# force uncertainty: 0.2 N\n"
SPEC = '[[limit]]\nof = "seat_force"\nmin = "235 N"\nmax = "265 N"\n'


def a_table(seats: dict[str, float], rate: float = 30.0) -> str:
    """Straight springs of these forces at 40 mm, stiffer by `rate` a millimetre."""
    rows = "".join(f"{name},{seat},{seat + 5 * rate},{seat + 10 * rate}\n" for name, seat in seats.items())
    return f"{HEAD}spring,40 mm [N],35 mm [N],30 mm [N]\n{rows}"


SEATS = {
    "a": 240.0,
    "b": 241.0,
    "c": 242.0,
    "d": 243.0,
    "e": 250.0,
    "f": 251.0,
    "g": 252.0,
    "h": 253.0,
    "bad": 228.0,
    "near": 235.1,
}


@pytest.fixture
def tray(window: MainWindow, tmp_path: Path) -> SpringsView:
    """Two bunches of four, one spring that the spec rejects, one that it can't decide."""
    readings, spec = tmp_path / "tray.csv", tmp_path / "spec.toml"
    readings.write_text(a_table(SEATS), encoding="utf-8")
    spec.write_text(SPEC, encoding="utf-8")
    window.bench.add_files([str(readings), str(spec)])
    window.bench.set(SpringsState, size=4)
    window.bench.set(SpringsState, limits={"seat_force": 5.0}, time_limit_s=1.0)
    view = window.pages.front()
    assert isinstance(view, SpringsView)
    return view


def match(pane: SetsPane) -> list[set[str]]:
    QTest.mouseClick(pane.match_button, Qt.MouseButton.LeftButton)
    wait_for(lambda: not pane.run.running, lambda: "matching did not end")
    return [set(one) for one in pane.grouping.sets]


def choose(pane: SetsPane, *springs: str) -> None:
    pane.tree.clearSelection()
    for name in springs:
        for row in pane.tree.findItems(name, Qt.MatchFlag.MatchExactly | Qt.MatchFlag.MatchRecursive):
            row.setSelected(True)
    assert set(pane.tree.selected_springs()) == set(springs)


def choose_unused(pane: SetsPane, spring: str) -> None:
    (row,) = pane.tree.findItems(f"✗ {spring} ", Qt.MatchFlag.MatchStartsWith | Qt.MatchFlag.MatchRecursive)
    pane.tree.setCurrentItem(row)


def rows_of(menu: QMenu) -> dict[str, QAction]:
    return {action.text().replace("&", ""): action for action in menu.actions() if action.text()}


def wish(pane: SetsPane, text: str) -> None:
    """A row of the menu that a right click opens."""
    pane.fill_menu()
    (action,) = (action for name, action in rows_of(pane.menu).items() if name.startswith(text))
    assert action.isEnabled()
    action.trigger()


def answer(pane: SetsPane, text: str) -> None:
    assert pane.ask.isVisible()
    pane.ask.field.setFocus()
    QTest.keyClicks(pane.ask.field, text)
    QTest.keyClick(pane.ask.field, Qt.Key.Key_Return)


def stated(window: MainWindow) -> Wishes:
    return springs_bay.stated_wishes(window.bench.document)


# -- without a window -------------------------------------------------------------------------------------------------

NAMES = st.sampled_from("abcdef")


@given(st.lists(st.lists(NAMES, min_size=2, max_size=4, unique=True), max_size=4))
def test_springs_kept_together_are_in_one_group_each(groups: list[list[str]]) -> None:
    wishes = NONE
    for group in each([["a", "b"], *groups]):
        wishes = set_wishes.kept_together(wishes, group)
        tied = set_wishes.tied(wishes)
        assert any(set(group) <= set(one) for one in tied)
        assert sum(len(one) for one in tied) == len({name for one in tied for name in one})


def test_a_spring_stays_in_its_set_apart_from_those_fixed_elsewhere() -> None:
    one, other = ("a", "b", "c"), ("d", "e", "f")
    wishes = set_wishes.fixed_in(set_wishes.fixed_in(NONE, ["a"], one), ["d"], other)
    wishes = set_wishes.fixed_in(wishes, ["b"], one)
    assert set_wishes.tied(wishes) == (("a", "b"),)
    assert [set(pair) for pair in set_wishes.parted(wishes)] in ([{"a", "d"}], [{"b", "d"}])
    assert "fixed here" in set_wishes.marks(wishes)["d"]


def test_what_can_not_be_is_said_in_a_sentence() -> None:
    wishes = set_wishes.kept_apart(set_wishes.kept_together(NONE, ["a", "b", "c"]), [("c", "a")])
    assert set_wishes.contradiction(wishes) == (
        "c and a are to share a set and to be kept apart, expected one of the two"
    )
    windows = Wish(4, {"rate": 0.5}, asked=Wishes(places=(Place("intake", 4, 240.0),)))
    assert "match by seat force" in windows.trouble


def test_every_wish_is_told_and_can_be_taken_back() -> None:
    wishes = Wishes({"bad": "re-measured"}, {"a": "scratched"}, (("b", "c"),), (("d", "e"),), (("f",),))
    told = list(set_wishes.told(wishes))
    assert [one.text for one in told] == [
        "bad taken in: re-measured",
        "a left out: scratched",
        "together: b, c",
        "apart: d, e",
        "fixed in one set: f",
    ]
    assert all(len(list(set_wishes.told(one.without))) == len(told) - 1 for one in told)


def test_wishes_become_the_fields_of_the_part() -> None:
    wishes = Wishes(
        {"bad": "x = 2"},
        {"a": "bent"},
        (("b", "c"),),
        (("d", "e"),),
        (),
        (Place("intake", 8, 240.0, None), Place("exhaust", 6)),
    )
    assert set_wishes.part_fields(wishes) == {
        "take": ("bad=x = 2",),
        "leave_out": ("a=bent",),
        "together": ("b,c",),
        "apart": ("d,e",),
        "position": ("intake: size=8, seat_force=240.0 N..", "exhaust: size=6"),
    }


def test_the_map_marks_what_is_not_used_and_what_is_undecided() -> None:
    points = {name: (30.0 + n, 240.0 + n) for n, name in enumerate("abcd")}
    judged = ({"c": "rejected"}, {"a": "u"})
    groups = spring_figures.marked_springs(points, [("a", "b")], *judged)
    assert groups == {None: ("d",), 0: ("a", "b"), "not used": ("c",), "undecided": ("a",)}
    figure = spring_figures.map_figure(points, [("a", "b")], "a", *judged)
    drawn = [marks for marks in figure.marks if not marks.bare]
    assert [marks.role for marks in drawn] == ["guide", "series", "reject", "undecided"]
    assert [marks.hollow for marks in drawn] == [False, False, False, True]


def test_of_many_springs_marks_are_small_and_only_the_chosen_set_has_its_box() -> None:
    points = {f"s{n}": (30.0 + n % 37, 240.0 + n % 41) for n in range(1000)}
    names = list(points)
    groups = [names[start : start + 16] for start in range(0, 992, 16)]
    figure = spring_figures.map_figure(points, groups, "s20")
    front, *others = sorted((m for m in figure.marks if m.role == "series" and not m.bare), key=lambda m: -m.size)
    assert front.series == 1
    assert {marks.size < 0.5 and 0.5 < marks.opacity < 0.8 for marks in others} == {True}
    assert [curve.series for curve in figure.curves] == [1]
    few = spring_figures.map_figure({name: points[name] for name in names[:64]}, groups[:4], "s20")
    assert {(marks.size, marks.opacity) for marks in few.marks} == {(1.0, 1.0)}


# -- in the window ----------------------------------------------------------------------------------------------------


def test_a_rejected_spring_is_shown_with_its_reason_and_taken_in_with_another(
    tray: SpringsView, window: MainWindow
) -> None:
    pane = tray.sets_pane
    last = pane.tree.topLevelItem(pane.tree.topLevelItemCount() - 1)
    assert last is not None
    assert last.text(0) == "Not used · 1"
    assert last.child(0).text(0) == "✗ bad rejected: seat force 228.0 N, at least 235.0 N"
    (near,) = pane.tree.findItems("near", Qt.MatchFlag.MatchExactly | Qt.MatchFlag.MatchRecursive)
    assert near.text(pane.tree.columnCount() - 1) == "▲ undecided"
    choose_unused(pane, "bad")
    QTest.keyClick(pane.tree, Qt.Key.Key_Insert)
    assert "rejected for seat force 228.0 N" in pane.ask.question.text()
    answer(pane, "")
    assert "expected one" in pane.ask.wrong.text()
    answer(pane, "re-measured twice")
    assert not pane.ask.isVisible()
    assert dict(stated(window).take) == {"bad": "re-measured twice"}
    assert "bad" in pane.usable.values
    assert window.bench.history.undo_label == "take in bad"
    again = saved_document(saved_text(window.bench.document).encode())
    assert springs_bay.stated_wishes(window.bench.document) in again.state(SpringsState).wishes.values()
    window.bench.history.undo()
    assert stated(window) == NONE
    assert "bad" in pane.usable.out


def test_a_spring_left_out_goes_and_comes_back(tray: SpringsView, window: MainWindow) -> None:
    pane = tray.sets_pane
    choose(pane, "a")
    QTest.keyClick(pane.tree, Qt.Key.Key_Delete, Qt.KeyboardModifier.ShiftModifier)
    QTest.keyClick(pane.ask.field, Qt.Key.Key_Escape)
    assert not pane.ask.isVisible()
    assert stated(window) == NONE
    wish(pane, "Leave out")
    answer(pane, "scratched")
    assert pane.usable.out["a"] == "left out: scratched"
    assert pane.usable.where("a", pane.grouping) == "left out: scratched"
    pane.move_springs(("a",), 0)
    assert "take it in with a reason first" in pane.state.text()
    choose_unused(pane, "a")
    QTest.keyClick(pane.tree, Qt.Key.Key_Delete, Qt.KeyboardModifier.ControlModifier)
    assert stated(window) == NONE
    choose(pane, "b")
    pane.decisions.by_name(("b",), "take")
    assert "nothing to take in" in pane.decisions.by_name(("b",), "take")


def test_wishes_go_into_the_search_and_are_marked(tray: SpringsView, window: MainWindow) -> None:
    pane = tray.sets_pane
    window.bench.set(SpringsState, size=2)
    choose(pane, "a", "d")
    wish(pane, "Keep together")
    choose(pane, "b")
    wish(pane, "Never with")
    answer(pane, "nobody")
    assert "expected springs of this tray" in pane.ask.wrong.text()
    pane.ask.field.clear()
    answer(pane, "c")
    found = match(pane)
    assert {"a", "d"} in found
    assert not any({"b", "c"} <= one for one in found)
    pane.tree.open_set(found.index({"a", "d"}))
    (leaf,) = pane.tree.findItems("a", Qt.MatchFlag.MatchExactly | Qt.MatchFlag.MatchRecursive)
    assert leaf.text(pane.tree.columnCount() - 1) == "with d"
    choose(pane, "a", "d")
    wish(pane, "Keep apart")
    assert "are to share a set and to be kept apart" in pane.state.text()
    assert stated(window).apart == (("b", "c"),)
    window.bench.set(SpringsState, below="decided")
    assert pane.decided_list.count_told() == 2
    pane.decided_list.setCurrentRow(0)
    QTest.keyClick(pane.decided_list, Qt.Key.Key_Delete)
    assert stated(window).together == ()
    assert "matched for other limits or wishes" in pane.state.text()
    choose(pane, "a")
    wish(pane, "Fix here")
    assert stated(window).fixed == (("a",),)


def test_places_are_stated_in_a_table_and_matched(tray: SpringsView, window: MainWindow) -> None:
    pane = tray.sets_pane
    window.bench.set(SpringsState, below="places")
    QTest.mouseClick(pane.places_form.add_button, Qt.MouseButton.LeftButton)
    intake, exhaust = pane.places_form.rows
    assert [row.place.name for row in (intake, exhaust)] == ["intake", "exhaust"]
    for field, text in each(((exhaust.low, "249 N"), (intake.high, "245 N"), (intake.low, "246 N"))):
        field.setFocus()
        QTest.keyClicks(field, text)
        QTest.keyClick(field, Qt.Key.Key_Return)
        assert field.accessibleName()
    assert intake.wrong.text() == "seat force from: found 246 N, expected at most 245.0 N"
    assert stated(window).places == (Place("intake", 4, None, 245.0), Place("exhaust", 4, 249.0, None))
    intake.low.clear()
    QTest.keyClicks(intake.low, "239 N")
    QTest.keyClick(intake.low, Qt.Key.Key_Return)
    assert intake.wrong.text() == ""
    assert match(pane) == [set("efgh"), set("abcd")]
    assert pane.grouping.places == ("exhaust", "intake")
    assert pane.grouping.title(0) == "Set 1, exhaust"
    assert "in order of position, then of mean seat force" in pane.state.text()
    pane.move_springs(("a",), 0)
    branch = pane.tree.topLevelItem(0)
    assert branch is not None
    assert "1 out of place ✗" in branch.text(0)
    QTest.mouseClick(exhaust.gone, Qt.MouseButton.LeftButton)
    assert [place.name for place in stated(window).places] == ["intake"]


@pytest.mark.parametrize("by_hand", [False, True])
def test_what_was_decided_is_on_paper_and_verified(
    tray: SpringsView, window: MainWindow, tmp_path: Path, by_hand: bool, capsys: pytest.CaptureFixture[str]
) -> None:
    from valvelab.cli.main import main

    pane = tray.sets_pane
    places = (Place("intake", 3, None, 245.0), Place("exhaust", 3, 249.0, None))
    wishes = Wishes({"bad": "re-measured"}, {"a": "scratched"}, (("e", "f"),), (("b", "near"),), (), places)
    assert pane.decide(wishes, "decide") == ""
    match(pane)
    if by_hand:
        pane.move_springs(("e",), None)
    target = tmp_path / "c.pdf"
    window.save_certificate(target)
    reader = PdfReader(target)
    (result,) = (
        json.loads(part) for name, parts in reader.attachments.items() for part in parts if name.startswith("result")
    )
    assert [one["position"] for one in result["sets"]] == ["exhaust", "intake"]
    assert result["taken_in"][0]["reason"] == "re-measured"
    assert result["excluded"] == [{"spring": "a", "reason": "left out: scratched"}]
    assert "scratched" in " ".join(page.extract_text() for page in reader.pages)
    assert main(["verify", str(target)]) == 0
    assert "agrees" in capsys.readouterr().out
    (made,) = (part for part in springs_bay.parts(window.bench.document) if part.inspect == "sets")
    assert made.model_dump()["set"][0].startswith("exhaust: ")


def test_a_set_shows_means_and_its_worst_share(tray: SpringsView) -> None:
    pane = tray.sets_pane
    match(pane)
    branch = pane.tree.topLevelItem(0)
    assert branch is not None
    # a, b, c, d: mean 241.5 N, range 3 of 5 N is 60 %; equal rates use nothing
    assert branch.text(1) == "241.50"
    assert branch.text(pane.tree.columnCount() - 1) == "seat 60 %"
    assert "in order of mean seat force" in pane.state.text()
    means = [standing.mean["seat_force"] for standing in sets.standings(pane.grouping, pane.usable.values, pane.wish)]
    assert means == sorted(means)


def test_labels_tell_means_date_and_who_stays_out(tray: SpringsView, window: MainWindow) -> None:
    usable = tray.sets_pane.usable
    grouping = Grouping((tuple("abcd"),))
    asked = (window.bench.document, grouping, usable, tray.sets_pane.wish, "2026-03-01")
    sheet = springs_papers.label_sheet(*asked)
    text = PdfReader(io.BytesIO(labels_bytes(sheet))).pages[0].extract_text()
    assert "seat force 241.50 N" in text
    assert "2026-03-01" in text
    assert "Not used: 1 spring" in text
    assert "at least 235.0 N" in sheet.labels[-1].springs[0][1]


def test_from_sixty_four_typed_springs_to_labels_in_five_actions(
    window: MainWindow, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    generator = np.random.default_rng(3)
    seats = {f"Q{n:02d}": round(240.0 + 8.0 * (n % 4) + float(generator.uniform(0, 3)), 1) for n in range(64)}
    window.bench.type_table("springs.csv", "spring readings", a_table(seats))
    window.bench.go_to_bay("springs")
    view = window.pages.front()
    assert isinstance(view, SpringsView)
    window.bench.set(SpringsState, time_limit_s=1.0)
    chosen: list[str] = []

    def file_chosen(*_asked: object) -> tuple[str, str]:
        chosen.append("labels.pdf")
        return str(tmp_path / "labels.pdf"), ""

    monkeypatch.setattr(QFileDialog, "getSaveFileName", file_chosen)
    actions = 0
    for button in each((view.sets_pane.match_button, view.sets_pane.labels_button)):
        assert button.isEnabled()
        QTest.mouseClick(button, Qt.MouseButton.LeftButton)
        actions += 1
        wait_for(lambda: not view.sets_pane.run.running, lambda: "matching did not end")
    assert actions + len(chosen) <= 5
    text = " ".join(page.extract_text() for page in PdfReader(tmp_path / "labels.pdf").pages)
    assert all(f"Set {number}: 16 springs" in text for number in range(1, 5))
    assert all(name in text for name in seats)


def test_work_in_the_window_grows_no_faster_than_the_tray(window: MainWindow) -> None:
    generator = np.random.default_rng(4)
    listed, drawn, hovered = dict[int, int](), dict[int, int](), dict[int, int]()
    for many in each([1000, 250]):
        seats = {f"Q{n:04d}": round(float(generator.normal(250.0, 6.0)), 1) for n in range(many)}
        window.bench.type_table("springs.csv", "spring readings", a_table(seats))
        wait_for(lambda: isinstance(window.pages.front(), SpringsView))
        view = window.pages.front()
        assert isinstance(view, SpringsView)
        at_rest(window.bench)
        pane, values = view.sets_pane, view.sets_pane.usable.values
        assert len(values) == many
        names = sorted(values, key=lambda name: values[name]["seat_force"] or 0.0)
        grouping = Grouping(tuple(tuple(names[start : start + 16]) for start in range(0, many - 8, 16)))
        listed[many] = calls_of(partial(pane.tree.show_sets, grouping, pane.usable, pane.wish, "metric"))
        sample = spring_figures.map_figure(dict.fromkeys(names, (30.0, 250.0)), grouping.sets, names[0])
        drawn[many] = calls_of(partial(view.map.show_figure, sample))
        view.map.name_marks(names, str)
        hovered[many] = calls_of(partial(view.map.scene().sigMouseMoved.emit, QPointF(100.0, 100.0)))
    assert listed[1000] < 4.5 * listed[250]
    assert drawn[1000] < 4.5 * drawn[250]
    assert hovered[1000] <= hovered[250] + 10, "the nearest is found without a look at each"
