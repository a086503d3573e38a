"""The fitting of springs in the window: whose springs, changes by hand with their effect, locks, paper, stages."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from counting import calls_of
from pypdf import PdfReader
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QComboBox, QPushButton, QTableView, QWidget
from something import each
from spring_cases import write_season
from test_shims import STOCKED, stocked
from test_springs_bay import SAMPLE, a_tray, springs_view
from waiting import wait_for

from valvelab.cli.main import main
from valvelab.errors import CannotEvaluate
from valvelab.files.heights import read_heights
from valvelab.files.spring_readings import read_spring_readings
from valvelab.inspection.springs.fix_text import fix_text, lock_of
from valvelab.inspection.springs.inspect import SpringsQuestion
from valvelab.inspection.springs.shim_case import FittingPlan, Lock, ShimCase
from valvelab.inspection.springs.shim_work import Setting
from valvelab.inspection.springs.shims import ShimsQuestion, inspect_shims, planned, solve
from valvelab.springs.shims import Stack
from valvelab.window.bays.springs_fit_edit import PartBox
from valvelab.window.bays.springs_shims_pane import ShimsPane
from valvelab.window.bays.springs_view import SpringsView
from valvelab.window.layouts import beside
from valvelab.window.main_window import MainWindow
from valvelab.window.panes import offer
from valvelab.workbench import fitting, springs_bay
from valvelab.workbench.document import Document
from valvelab.workbench.edits import set_fields
from valvelab.workbench.fitting import Fitting
from valvelab.workbench.saved_bench import saved_document, saved_text
from valvelab.workbench.sets import Grouping, SpringsState

HEIGHTS = """# shims: 0.25 mm x 2, 0.50 mm x 2
# target seat force: 240 N
# minimum coil-bind margin: 1.0 mm
# valve lift: 10.6 mm
position,height [mm],spring,shims
1I,38.5,s0,none
1E,38.7,s1,none
2I,38.6,s2,none
"""


# -- without a window -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "stack", [Stack(), Stack((0.5, 0.25), 1.5, -1.27, 0.0), Stack((0.762,), None, 1.27, 2.0)], ids=["bare", "all", "in"]
)
def test_a_setting_is_the_text_that_the_command_line_reads(stack: Stack) -> None:
    setting = Setting("1I", "Q07", stack)
    position, lock = lock_of(fix_text(setting))
    assert position == "1I"
    assert lock == Lock.of(setting)
    assert lock.setting("1I") == setting
    assert Lock("Q07", {"shim": (0.5,)}).setting("1I") is None


def test_an_effect_is_told_in_the_digits_of_the_table(tmp_path: Path) -> None:
    case = stocked(tmp_path, "1I,38.0,A,none,,0,0,11.5", "1E,38.5,B,none,,0,0,12.0")
    plan = solve(case).plan
    # 30 N/mm, free lengths 46 and 46.5 mm: 240 N each; exchanged 255 and 225 N, 15 N about the target
    told = fitting.effect_told(case.effect(plan, plan.swapped("1I", "1E")), (), "metric")
    assert told.text.startswith("spread 0.0 → 30.0 N; rms about the target 0.0 → 15.0 N")
    assert "1I: seat force 240.0 → 255.0 N" in told.text
    assert "1E: seat force 240.0 → 225.0 N" in told.text
    assert told.refused == ""
    held = fitting.effect_told(case.effect(plan, plan.swapped("1I", "1E")), ("1E",), "metric")
    assert held.refused == "1E is locked"
    missing = fitting.effect_told(case.effect(plan, plan.with_stack("1I", Stack((0.3,)))), (), "metric")
    assert missing.refused == "1I: no shim of 0.3 mm is in stock or fitted there"


def test_margins_are_marked_below_minimum_and_below_guidance(tmp_path: Path) -> None:
    case = stocked(tmp_path, "1I,38.0,A,none,,0,0,11.2", "1E,38.5,B,none,,0,0,12.0")
    first, second = case.evaluate(solve(case).plan).rows
    assert first is not None
    assert second is not None
    # lift 10 mm: 11.2 leaves 1.2 mm below 1.3 of common practice, 12.0 leaves 2.0; coil bind 1.6 mm each, above 1.5
    about = case.heights
    mark = fitting.margin_mark(first, "retainer_to_seal_margin_mm", about)
    assert mark is not None
    assert (mark[0], "never as a limit" in mark[1]) == ("undecided", True)
    assert fitting.margin_mark(second, "retainer_to_seal_margin_mm", about) is None
    assert fitting.margin_mark(first, "coil_bind_margin_mm", about) is None
    low = first.model_copy(update={"coil_bind_margin_mm": -0.1})
    assert fitting.margin_mark(low, "coil_bind_margin_mm", about) == ("undecided", mark[1].replace("1.3", "1.5"))


def test_what_was_decided_outlives_the_run() -> None:
    decided = Fitting(1, (Setting("1E", "b", Stack()),), (Setting("1I", "a", Stack((0.5,), 1.5)),), ("1I",), ("1E",))
    document = set_fields(Document(), SpringsState, fittings={"tray": decided})
    again = saved_document(saved_text(document).encode())
    assert again.state(SpringsState).fittings["tray"] == decided
    assert again.state(SpringsState).unsaved


def test_a_plan_that_is_given_whole_is_the_answer(tmp_path: Path) -> None:
    readings, heights = tmp_path / "springs.csv", tmp_path / "heights.csv"
    stocked(tmp_path, "1I,38.0,A,none,,0,0,11.5", "1E,38.5,B,none,,0,0,12.0", preamble=STOCKED)
    asked = ShimsQuestion(SpringsQuestion(read_spring_readings(readings)), read_heights(heights))
    found = inspect_shims(asked)
    swapped = found.plan.swapped("1I", "1E")
    locks = {one.position: Lock.of(one) for one in swapped.settings}
    again = planned(ShimsQuestion(asked.springs, asked.heights, locks=locks, edited=("1I",)), found.pool)
    assert again.plan == swapped
    assert again.result.spread_seat_force_n == pytest.approx(30.0)
    # nothing was sought, so nothing is said of the least
    assert (again.result.least_rms_from_target_n, again.result.least_work_proven) == (None, None)
    told = [note.text for note in again.result.notes if note.about == "by hand"]
    assert told == ["decided by hand, the rest as found before: 1I spring B, shims none"]
    wrong = {**locks, "1I": Lock.of(Setting("1I", "B", Stack((0.3,))))}
    with pytest.raises(CannotEvaluate, match=r"position '1I': no shim of 0\.3 mm"):
        planned(ShimsQuestion(asked.springs, asked.heights, locks=wrong), found.pool)


# -- in the window ----------------------------------------------------------------------------------------------------


@pytest.fixture
def pane(window: MainWindow, tmp_path: Path) -> ShimsPane:
    """Five springs, 3 N apart, and three valves, with the plan found."""
    heights = tmp_path / "heights.csv"
    heights.write_text(HEIGHTS, encoding="utf-8")
    tray = a_tray(tmp_path, {f"s{number}": 3.0 * number for number in range(5)})
    window.bench.add_files([str(tray), str(heights)])
    window.bench.set(SpringsState, page="shims")
    found = springs_view(window).shims_pane
    settled(found)
    return found


def settled(pane: ShimsPane) -> None:
    wait_for(lambda: not pane.run.running and pane.evaluation is not None)


def choose(box: QComboBox, text: str) -> None:
    """Choose by the keyboard's way: the index changes, nobody clicks."""
    index = next(n for n in range(box.count()) if box.itemText(n).startswith(text))
    box.setCurrentIndex(index)


def standing(pane: ShimsPane) -> dict[str, str]:
    return {one.position: one.spring for one in pane.standing.plan.settings}


def test_a_swap_is_told_then_done_by_enter_and_undone(pane: ShimsPane, window: MainWindow) -> None:
    before = standing(pane)
    edit = pane.edit
    choose(edit.at_box, "1I")
    choose(edit.swap_box, "1E")
    assert "seat force" in edit.effect.text()
    assert standing(pane) == before
    QTest.keyClick(edit.spring_box, Qt.Key.Key_Escape)
    assert not edit.open
    choose(edit.swap_box, "1E")
    QTest.keyClick(edit.spring_box, Qt.Key.Key_Return)
    assert standing(pane) == {**before, "1I": before["1E"], "1E": before["1I"]}
    assert "by hand: 1I, 1E" in pane.state.text()
    assert window.bench.history.undo_label == "change the plan at 1I"
    window.bench.history.undo()
    assert standing(pane) == before
    window.bench.history.redo()
    assert springs_bay.fitting_of(window.bench.document).by_hand == ("1I", "1E")
    kept = saved_document(saved_text(window.bench.document).encode())
    assert kept.state(SpringsState).fittings == window.bench.document.state(SpringsState).fittings


def test_what_cannot_be_done_is_refused_with_its_reason(pane: ShimsPane) -> None:
    edit, before = pane.edit, standing(pane)
    choose(edit.at_box, "1I")
    pane.turn_lock()
    assert pane.lock_button.text().replace("&", "") == "Unlock 1I"
    choose(edit.swap_box, "1E")
    assert "refused because 1I is locked" in edit.effect.text()
    assert not edit.do_button.isEnabled()
    QTest.keyClick(edit.spring_box, Qt.Key.Key_Return)
    assert standing(pane) == before


def test_locks_stay_through_solving_again_and_the_found_plan_comes_back(pane: ShimsPane) -> None:
    found, edit = standing(pane), pane.edit
    other = next(name for name in ("s4", "s3", "s0") if name not in found.values())
    choose(edit.at_box, "2I")
    choose(edit.spring_box, other)
    edit.do_it()
    pane.turn_lock()
    pane.solve_again()
    settled(pane)
    assert standing(pane)["2I"] == other
    assert "by hand: 2I" in pane.state.text()
    pane.back_to_found()
    settled(pane)
    assert standing(pane) == found
    assert not pane.found_button.isEnabled()


def test_a_set_of_the_tray_can_be_fitted(pane: ShimsPane, window: MainWindow) -> None:
    grouping = Grouping((("s0", "s1"), ("s2", "s3", "s4")))
    readings = springs_bay.readings_of(window.bench.document)
    window.bench.set(SpringsState, "match sets", groupings={readings: grouping})
    choose(pane.source, "set 2")
    settled(pane)
    assert set(standing(pane).values()) == {"s2", "s3", "s4"}
    choose(pane.source, "set 1")
    wait_for(lambda: not pane.run.running)
    assert "found 2 springs for 3 positions" in pane.state.text()


def test_paper_of_a_plan_by_hand_agrees_and_says_so(
    pane: ShimsPane, window: MainWindow, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    readings = springs_bay.readings_of(window.bench.document)
    window.bench.set(SpringsState, "match", groupings={readings: Grouping((("s0", "s1", "s2", "s3"), ("s4",)))})
    choose(pane.source, "set 1")
    settled(pane)
    choose(pane.edit.at_box, "1I")
    choose(pane.edit.part_boxes["shims"], "0.250")
    pane.edit.do_it()
    target, sheet = tmp_path / "fit.pdf", tmp_path / "sheet.pdf"
    window.save_certificate(target)
    pane.save_sheet(sheet)
    pdf = PdfReader(target)
    results = [json.loads(one) for name, every in pdf.attachments.items() for one in every if name.startswith("result")]
    by_place = {row["position"]: row for row in results[0]["positions"]}
    assert by_place["1I"]["shims_mm"] == [0.25]
    assert {name: row["spring"] for name, row in by_place.items()} == standing(pane)
    assert any(note["about"] == "by hand" and "1I spring" in note["text"] for note in results[0]["notes"])
    assert any("those of set 1 alone" in note["text"] for note in results[0]["notes"])
    assert "decided by hand" in " ".join(page.extract_text() for page in pdf.pages).replace("\n", " ").lower()
    assert "0.250" in PdfReader(sheet).pages[0].extract_text()
    assert main(["verify", str(target)]) == 0
    assert "agrees" in capsys.readouterr().out


def test_an_effect_is_as_much_work_whatever_else_lies_in_the_tray(tmp_path: Path) -> None:
    heights = tmp_path / "heights.csv"
    rows = [f"{number}I,{38.2 + 0.05 * number},s{number:03d},none" for number in range(16)]
    heights.write_text("\n".join([*HEIGHTS.splitlines()[:5], *rows]) + "\n", encoding="utf-8")
    plan = FittingPlan(tuple(Setting(f"{n}I", f"s{n:03d}", Stack()) for n in range(16)))
    counted = dict[int, int]()
    for springs in each([25, 100]):
        tray = a_tray(tmp_path, {f"s{number:03d}": 0.2 * number for number in range(springs)})
        case = inspect_shims(ShimsQuestion(SpringsQuestion(read_spring_readings(tray)), read_heights(heights))).case

        def told(case: ShimCase = case) -> None:
            for number in range(1, 16):
                fitting.effect_told(case.effect(plan, plan.swapped("0I", f"{number}I")), (), "metric")

        told()
        counted[springs] = calls_of(told)
    assert counted[100] <= 1.1 * counted[25], counted


def test_figures_of_shims_are_never_cut(pane: ShimsPane) -> None:
    box = PartBox(pane)
    box.addItem("1.000 + 1.000 + 0.500 = 2.500 mm")
    box.resize(box.sizeHint().width() + 400, box.sizeHint().height())
    assert box.shown_text() == "1.000 + 1.000 + 0.500 = 2.500 mm"
    box.resize(box.minimumSizeHint())
    assert box.shown_text() == "1.000 + 1.000 + 0.500"


def test_a_pane_hears_that_longer_figures_are_offered(pane: ShimsPane) -> None:
    around = QWidget(pane)
    box = PartBox(around)
    lay = beside(box, on=around)
    offer(box, [("1.000", 0)], 0)
    short = lay.minimumSize().width()
    offer(box, [("1.000", 0), ("1.000 + 1.000 + 0.500 = 2.500 mm", 1)], 1)
    assert lay.minimumSize().width() == box.minimumSizeHint().width()
    assert lay.minimumSize().width() > short


def test_everything_of_the_fit_has_a_name(pane: ShimsPane) -> None:
    for kind in (QComboBox, QPushButton, QTableView):
        for widget in each(pane.findChildren(kind)):
            assert widget.accessibleName() or getattr(widget, "text", str)()


# -- from stage to stage ----------------------------------------------------------------------------------------------


def test_the_spring_that_is_due_first_leads(window: MainWindow, tmp_path: Path) -> None:
    lost = {"slow": (0.0, 0.01, 0.02, 0.031), "fast": (0.0, 0.02, 0.041, 0.06), "still": (0.0, 0.0, 0.0, 0.0)}
    spec = tmp_path / "spec.toml"
    spec.write_text(
        '[[limit]]\nof = "seat_force_drop"\nmax = "8 %"\n[[limit]]\nof = "seat_force"\nmin = "210 N"\n',
        encoding="utf-8",
    )
    window.bench.add_files([str(write_season(tmp_path / "season.csv", lost)), str(spec)])
    window.bench.set(SpringsState, page="stages")
    view: SpringsView = springs_view(window)
    pane = view.history_pane
    first = [pane.sheet.rows_model.rows[row][0].spring for row in range(pane.sheet.proxy.rowCount())]
    # 8 % of 240 N are lost before 210 N are reached, so that limit leads of each
    assert first == ["fast", "fast", "slow", "slow", "still", "still"]
    assert pane.sheet.rows_model.rows[0][2].limit_of == "seat_force_drop"
    assert pane.first.text().startswith("Due first: fast, 2026-")
    assert "earliest 2026-" in pane.first.text()
    assert float(pane.sheet.proxy.index(0, 1).data()) == pytest.approx(6.0, abs=0.05)
    pane.sheet.setCurrentIndex(pane.sheet.proxy.index(0, 0))
    QApplication.processEvents()
    assert window.bench.document.state(SpringsState).spring == "fast"
    assert pane.plot.isVisible()


def test_one_stage_says_what_is_wanted(window: MainWindow) -> None:
    window.bench.add_files(SAMPLE[:1])
    window.bench.set(SpringsState, page="stages")
    pane = springs_view(window).history_pane
    assert pane.nothing.text().startswith("These readings hold one stage")
    assert not pane.plot.isVisible()
