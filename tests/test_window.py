"""The window offscreen: files in, verdicts out, a drag, columns, problems, and the end that nobody planned."""

from __future__ import annotations

import gc
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from invented_camshaft import LOBES, WORN, write_spec, write_table
from PySide6.QtCore import QMimeData, QPoint, QPointF, Qt, QUrl
from PySide6.QtGui import QDropEvent, QImage, QKeySequence
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QAbstractButton, QApplication, QComboBox, QLineEdit, QPushButton, QTextBrowser, QWidget
from something import each
from waiting import made_of, wait_for

from valvelab.cautions import CAUTIONS, ENGINE, SPRINGS
from valvelab.csv_text import csv_text
from valvelab.window import theme
from valvelab.window.actions import ACTIONS
from valvelab.window.bays.lobes_view import LobesView
from valvelab.window.bench import Bench
from valvelab.window.crash import CrashPath
from valvelab.window.main_window import MainWindow
from valvelab.workbench.lobes_bay import LobesState

pytestmark = pytest.mark.usefixtures("quiet")


@pytest.fixture
def job(tmp_path: Path) -> list[str]:
    return [str(write_table(tmp_path / "shaft.csv")), str(write_spec(tmp_path))]


def lobes_view(window: MainWindow) -> LobesView:
    view = window.pages.front()
    assert isinstance(view, LobesView)
    return view


def drop(window: MainWindow, paths: list[str]) -> None:
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(path) for path in paths])
    window.dropEvent(
        QDropEvent(
            QPointF(300, 300),
            Qt.DropAction.CopyAction,
            data,
            Qt.MouseButton.LeftButton,
            Qt.KeyboardModifier.NoModifier,
        )
    )
    QTest.qWait(50)  # until panes have the room they want


def durations_shown(window: MainWindow) -> dict[str, str]:
    model = lobes_view(window).durations.proxy
    return {model.index(row, 0).data(): model.index(row, 3).data() for row in range(model.rowCount())}


def notes_shown(window: MainWindow) -> list[tuple[str, str, str]]:
    model = window.notes.proxy
    return [
        (model.index(row, 0).data(), model.index(row, 1).data(), model.index(row, 2).data())
        for row in range(model.rowCount())
    ]


def test_the_empty_bench_says_what_to_do(window: MainWindow) -> None:
    assert window.pages.front() is window.empty
    assert "Drop a lift table" in window.empty.explanation.text()
    assert not window.actions_by_name["certificate"].isEnabled()


def test_dropped_files_end_in_verdicts(window: MainWindow, job: list[str]) -> None:
    drop(window, job)
    view = lobes_view(window)
    assert list(durations_shown(window)) == list(LOBES)
    assert window.verdicts.sheet.proxy.rowCount() == 3 * len(LOBES)
    first = window.verdicts.sheet.proxy.index(0, 0).data()
    assert first == "rejected"
    assert window.banner.accessibleName().startswith("1 of 8 lobes rejected: 3E, worst deviation ")
    assert "Club camshaft" in window.banner.inspected.text()
    assert set(view.stack.items_by_name) == {"deviation", "lift", "velocity", "acceleration", "jerk"}
    assert window.actions_by_name["certificate"].isEnabled()


def test_the_rejected_lobe_comes_to_the_front_and_another_can_be_chosen(window: MainWindow, job: list[str]) -> None:
    drop(window, job)
    view = lobes_view(window)
    assert view.lobe_name.text().startswith(WORN)
    view.map.setFocus()
    QTest.keyClick(view.map, Qt.Key.Key_Up)
    assert view.lobe_name.text().startswith("3I")
    told: list[str] = []
    view.map.row_chosen.connect(told.append)
    from_above = iter(range(view.map.height()))
    while not told:
        QTest.mouseClick(view.map, Qt.MouseButton.LeftButton, pos=QPoint(view.map.width() // 2, next(from_above)))
    assert view.lobe_name.text().startswith("1I")
    view.choose_item("no such lobe")
    assert view.lobe_name.text().startswith("1I")


def test_a_drag_of_the_checking_lift_updates_every_duration(
    window: MainWindow, job: list[str], app: QApplication
) -> None:
    drop(window, job)
    view = lobes_view(window)
    before = durations_shown(window)
    item = view.stack.items_by_name["lift"]
    start = view.stack.mapFromScene(item.view.mapViewToScene(QPointF(60.0, 1.27)))
    end = view.stack.mapFromScene(item.view.mapViewToScene(QPointF(60.0, 4.0)))
    port = view.stack.viewport()
    QTest.mouseMove(port, start)
    QTest.mousePress(port, Qt.MouseButton.LeftButton, pos=start)
    for step in range(1, 7):
        QTest.mouseMove(port, start + (end - start) * (step / 6))
        QTest.qWait(40)
    QTest.mouseRelease(port, Qt.MouseButton.LeftButton, pos=end)
    app.processEvents()
    after = durations_shown(window)
    assert all(float(after[lobe]) < float(before[lobe]) - 10.0 for lobe in LOBES)
    assert view.lift_line.lift_mm() == pytest.approx(4.0, abs=0.35)
    assert window.bench.history.undo_label == "move the checking lift"
    window.do("undo")
    assert durations_shown(window) == before, "the whole drag is one step"


def test_readings_are_shown_against_the_fit_with_those_left_out(window: MainWindow, tmp_path: Path) -> None:
    table = write_table(tmp_path / "shaft.csv", ("1I", "1E"))
    lines = table.read_text(encoding="utf-8").splitlines()
    cells = lines[9 + 100].split(",")
    lines[9 + 100] = ",".join([cells[0], f"{float(cells[1]) + 0.2:.5f}", *cells[2:]])
    table.write_text("\n".join(lines) + "\n", encoding="utf-8")
    drop(window, [str(table)])
    view = lobes_view(window)
    assert "readings" not in view.stack.items_by_name
    chip = next(button for button in view.plots.buttons() if button.property("name") == "readings")
    chip.click()
    figure = view.stack.items_by_name["readings"].figure
    assert figure is not None
    kept, left_out = figure.marks
    assert np.std(kept.y) < 1.0, "half a micrometre of noise was put in"
    assert left_out.role == "reject"
    assert left_out.y == pytest.approx([200.0], abs=2.0)


def test_a_typed_lift_takes_units_and_refuses_nonsense(window: MainWindow, job: list[str]) -> None:
    drop(window, job)
    view = lobes_view(window)
    view.lift_field.setFocus()
    view.lift_field.selectAll()
    QTest.keyClicks(view.lift_field, "0.200 in")
    QTest.keyClick(view.lift_field, Qt.Key.Key_Return)
    assert view.lift_line.lift_mm() == pytest.approx(5.08)
    kept = durations_shown(window)
    view.lift_field.selectAll()
    QTest.keyClicks(view.lift_field, "five")
    QTest.keyClick(view.lift_field, Qt.Key.Key_Return)
    assert durations_shown(window) == kept
    assert "expected" in view.lift_field.toolTip()


def test_inch_units_change_what_is_shown_and_nothing_else(window: MainWindow, job: list[str]) -> None:
    drop(window, job)
    view = lobes_view(window)
    answer = window.bench.document.answers["lobes"]
    durations = durations_shown(window)
    window.do("units")
    assert view.stack.items_by_name["lift"].scale_y().label == "in"
    assert view.lift_field.text() == "0.0500 in"
    assert durations_shown(window) == durations
    assert window.bench.document.answers["lobes"] is answer
    window.do("units")
    assert view.lift_field.text() == "1.270 mm"


def test_a_bad_file_is_listed_and_the_rest_works(window: MainWindow, job: list[str], tmp_path: Path) -> None:
    bad = tmp_path / "torn.csv"
    bad.write_text("angle [cam deg],1I [mm]\n0,0\n1,zz\n", encoding="utf-8")
    drop(window, [str(bad), *job])
    assert ("error", "torn.csv") in [row[:2] for row in notes_shown(window)]
    assert len(durations_shown(window)) == len(LOBES)
    window.bench.remove_file(str(bad))
    assert "torn.csv" not in [row[1] for row in notes_shown(window)]


def test_a_bad_spec_is_listed_and_the_lobes_are_still_measured(
    window: MainWindow, job: list[str], tmp_path: Path
) -> None:
    bad = tmp_path / "odd.toml"
    bad.write_text('[[limit]]\nof = "max_lift"\nnominal = 7\nabove = "much"\n', encoding="utf-8")
    drop(window, [job[0]])
    assert window.banner.accessibleName() == "Measured; nothing judged"
    drop(window, [str(bad)])
    assert any(row[0] == "error" for row in notes_shown(window))


def test_columns_are_assigned_in_the_pane_and_remembered(window: MainWindow, tmp_path: Path) -> None:
    bare = write_table(tmp_path / "bare.txt", ("1I", "1E"), names=False)
    drop(window, [str(bare)])
    pane = window.columns
    assert window.pages.front() is pane
    assert [field.currentText() for field in pane.table.fields] == ["angle", "1I", "1E"]
    pane.table.fields[2].setCurrentText("1I")
    assert not pane.take.isEnabled()
    pane.table.fields[2].setCurrentText("2E")
    assert pane.assignment() == "angle=0 [cam deg], 1I=1 [mm], 2E=2 [mm]"
    QTest.mouseClick(pane.take, Qt.MouseButton.LeftButton)
    assert list(durations_shown(window)) == ["1I", "2E"]
    again = write_table(tmp_path / "again.txt", ("1I", "1E"), names=False, noise_um=0.2)
    window.bench.remove_file(str(bare))
    drop(window, [str(again)])
    assert list(durations_shown(window)) == ["1I", "2E"], "assigned as last time"
    window.bench.ask_columns_again(str(again))
    assert window.pages.front() is pane


def test_an_assignment_that_failed_is_not_remembered(window: MainWindow, tmp_path: Path) -> None:
    bare = write_table(tmp_path / "bare.txt", ("1I", "1E"), names=False)
    drop(window, [str(bare)])
    window.bench.assign_columns(str(bare), "spring readings", "spring=0, height=1 [mm], force=2 [N]")
    assert any(row[0] == "error" for row in notes_shown(window))
    assert not window.bench.settings.columns
    again = write_table(tmp_path / "again.txt", ("1I", "1E"), names=False, noise_um=0.2)
    drop(window, [str(again)])
    assert window.pages.front() is window.columns, "asked, not assigned as the time before"
    QTest.mouseClick(window.columns.take, Qt.MouseButton.LeftButton)
    assert list(window.bench.settings.columns.values()) == ["lift table: angle=0 [cam deg], 1I=1 [mm], 1E=2 [mm]"]


def test_a_file_that_waits_for_columns_does_not_hold_up_the_rest(
    window: MainWindow, job: list[str], tmp_path: Path
) -> None:
    bare = write_table(tmp_path / "bare.txt", ("1I", "1E"), names=False)
    drop(window, [*job, str(bare)])
    assert window.pages.front() is window.columns
    window.columns.later.click()
    assert len(durations_shown(window)) == len(LOBES)
    window.bench.use_file(str(bare))
    assert window.pages.front() is window.columns
    QTest.mouseClick(window.columns.take, Qt.MouseButton.LeftButton)
    window.bench.use_file(str(bare))
    assert list(durations_shown(window)) == ["1I", "1E"]
    window.bench.use_file(job[0])
    assert len(durations_shown(window)) == len(LOBES)


def test_the_verdict_table_filters_and_sorts(window: MainWindow, job: list[str]) -> None:
    drop(window, job)
    table = window.verdicts
    table.words.setText("max lift 3e")
    rows = [table.sheet.row_of(table.sheet.proxy.index(row, 0)) for row in range(table.sheet.proxy.rowCount())]
    assert {(row.item, row.characteristic) for row in rows} == {("3E", "max_lift")}
    table.words.clear()
    buttons = {button.accessibleName(): button for button in window.sheet.findChildren(QAbstractButton)}
    buttons["Show rejected verdicts"].click()
    rows = [table.sheet.row_of(table.sheet.proxy.index(row, 0)) for row in range(table.sheet.proxy.rowCount())]
    assert {row.decision for row in rows} == {"reject"}
    buttons["Show all verdicts"].click()
    table.sheet.sortByColumn(3, Qt.SortOrder.AscendingOrder)
    values = [table.sheet.row_of(table.sheet.proxy.index(r, 0)).measured for r in range(table.sheet.proxy.rowCount())]
    assert values == sorted(values)


def test_a_stale_answer_is_dropped(window: MainWindow, job: list[str]) -> None:
    drop(window, job)
    bench, kept = window.bench, []

    def spec_comes_back(label: str) -> None:
        if label and not kept:
            kept.append(None)
            bench.history.undo()
            kept.append(bench.document.answers["lobes"])

    bench.busy_changed.connect(spec_comes_back)
    bench.remove_file(job[1])
    assert len(kept) == 2, "without a spec it would be inspected anew"
    assert bench.document.answers["lobes"] is kept[1]


def test_work_in_the_background_arrives(app: QApplication, job: list[str], tmp_path: Path) -> None:
    made = MainWindow(Bench(tmp_path / "settings"))
    made.show()
    made.bench.add_files(job)
    wait_for(
        lambda: isinstance(made.pages.front(), LobesView) and len(durations_shown(made)) == len(LOBES),
        lambda: (made.pages.front(), made.bench.document.answers, made.bench.document.problems()),
    )
    made.close()


def test_light_and_dark_switch_everything(window: MainWindow, job: list[str]) -> None:
    drop(window, job)
    try:
        for name in ("dark", "light"):
            window.do(f"scheme_{name}")
            panel = theme.load_themes()[name].colour("panel")
            assert lobes_view(window).stack.backgroundBrush().color() == panel
            assert QApplication.palette().base().color() == panel
    finally:
        window.do("scheme_system")


def test_every_action_does_something_and_has_a_tip_and_its_own_keys(window: MainWindow) -> None:
    keys = [QKeySequence(row.shortcut).toString() for row in ACTIONS if row.shortcut]
    assert len(keys) == len(set(keys))
    for row in ACTIONS:
        assert row.tip
        assert callable(window.doings[row.name])
        assert window.actions_by_name[row.name].toolTip()


def test_every_input_has_a_name_that_can_be_spoken(window: MainWindow, job: list[str], tmp_path: Path) -> None:
    bare = write_table(tmp_path / "bare.txt", ("1I",), names=False)
    drop(window, [*job, str(bare)])
    for kind in (QLineEdit, QComboBox, QAbstractButton):
        for widget in each(window.findChildren(kind)):
            inside = isinstance(widget.parent(), QComboBox) or widget.objectName().startswith("qt_")
            by_text = isinstance(widget, QAbstractButton) and bool(widget.text())
            if not inside and not by_text and widget.isVisible() and "Dock" not in type(widget).__name__:
                named = widget.accessibleName() or widget.toolTip()
                assert named, (widget, widget.parent())


def test_a_bay_says_what_to_mind_before_anything_lies_there(window: MainWindow) -> None:
    for bay, caution in (("springs", SPRINGS), ("motion", SPRINGS), ("lash", ENGINE)):
        window.bench.go_to_bay(bay)
        assert window.empty.caution.isVisible()
        assert caution in window.empty.caution.text()
    window.bench.go_to_bay("lobes")
    assert not window.empty.caution.isVisible()


@pytest.mark.parametrize(("bay", "caution"), [("springs", SPRINGS), ("lash", SPRINGS), ("lash", ENGINE)])
def test_a_bay_says_what_to_mind_beside_its_answer(window: MainWindow, bay: str, caution: str) -> None:
    window.bench.go_to_bay(bay)
    window.do("sample")
    view = window.pages.front()
    assert view.caution.isVisible()
    assert caution in view.caution.text()


def test_the_cautions_are_one_key_away(window: MainWindow, job: list[str]) -> None:
    drop(window, job)
    window.do("cautions")
    assert window.pages.front() is window.text_page
    text = window.text_page.findChild(QTextBrowser)
    said = text.toPlainText()
    assert all(caution in said for caution in CAUTIONS)
    window.do("about")
    assert "Ctrl+O" in text.toPlainText()
    window.text_page.findChild(QPushButton).click()
    assert isinstance(window.pages.front(), LobesView)


def test_usable_at_twice_the_text(window: MainWindow, job: list[str], app: QApplication) -> None:
    points = app.font().pointSizeF()
    try:
        app.setFont(theme.text_font(2.0 * points))
        window.restyle()
        drop(window, job)
        app.processEvents()
        assert window.minimumSizeHint().width() <= 1280
        assert window.minimumSizeHint().height() <= 720
        assert lobes_view(window).stack.height() >= 100
    finally:
        app.setFont(theme.text_font(points))
        window.restyle()


def test_exports(window: MainWindow, job: list[str], tmp_path: Path) -> None:
    from valvelab.window.plot_menu import as_it_looks
    from valvelab.window.table_menu import table_cells, table_csv

    drop(window, job)
    lines = table_csv(window.verdicts.sheet)().splitlines()
    assert len(lines) == 1 + 3 * len(LOBES)
    assert lines[0].startswith("verdict,item,characteristic,measured")
    assert lines == csv_text(table_cells(window.verdicts.sheet)).splitlines(), "as it is copied"
    picture = made_of(window.exports()["Picture of what is in front (*.png)"])
    assert isinstance(picture, bytes)
    whole = as_it_looks(window.pages.front()).toImage()
    assert QImage.fromData(picture).convertToFormat(whole.format()) == whole, "drawn in parts as in one go"
    assert window.bench.write(tmp_path / "v.png", picture)
    assert (tmp_path / "v.png").read_bytes() == picture
    assert not window.bench.write(tmp_path / "nowhere" / "v.png", picture)
    assert notes_shown(window)[0][0] == "error"
    assert "its folder is not there" in notes_shown(window)[0][2]


def test_an_export_never_falls_upon_a_file_of_the_bench(window: MainWindow, job: list[str], tmp_path: Path) -> None:
    drop(window, job)
    table = Path(job[0])
    before = table.read_bytes()
    (tmp_path / "link.csv").symlink_to(table)
    window.bench.write(table, "verdict,item")
    window.bench.write(tmp_path / "link.csv", "verdict,item")
    window.save_certificate(table)
    assert table.read_bytes() == before
    assert sum("lies on the bench" in row[2] for row in notes_shown(window)) == 3


def test_the_certificate_is_written(window: MainWindow, job: list[str], tmp_path: Path) -> None:
    drop(window, job)
    window.save_certificate(tmp_path / "shaft.pdf")
    assert (tmp_path / "shaft.pdf").read_bytes()[:5] == b"%PDF-"
    window.save_certificate(tmp_path / "nowhere" / "shaft.pdf")
    assert any(row[0] == "error" for row in notes_shown(window))


def test_an_unforeseen_end_saves_first_and_tells_once(
    window: MainWindow, job: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    drop(window, job)
    told: list[str] = []
    place = window.bench.place

    def tell(sentence: str, details: str) -> None:
        assert list(place.glob("recovery-*.json")), "saved before anything is said"
        assert "ZeroDivisionError" in details
        told.append(sentence)

    crash = CrashPath(place, window.bench.keep_or_raise, tell)
    hook = sys.excepthook
    crash.install()
    try:
        for _ in range(3):
            try:
                _ = 1 / 0
            except ZeroDivisionError as error:
                sys.excepthook(type(error), error, error.__traceback__)
    finally:
        crash.remove()
        sys.excepthook = hook
    assert len(told) == 1
    assert "saved" in told[0]
    assert crash.log.read_text(encoding="utf-8").count("ZeroDivisionError") >= 3
    assert "ZeroDivisionError" in capsys.readouterr().err


def test_a_bench_that_cannot_be_saved_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    def fail() -> None:
        raise OSError(28, "No space left on device")

    told: list[str] = []
    CrashPath(tmp_path, fail, lambda sentence, _details: told.append(sentence)).on_exception(
        ValueError, ValueError("x"), None
    )
    assert "can't be saved" in told[0]
    assert "ValueError" in capsys.readouterr().err


START = """
import sys
from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QApplication
app = QApplication(["test"])
def look():
    (window,) = [w for w in app.topLevelWidgets() if w.objectName() == "main window"]
    if (window.banner.isVisible() and window.bench.at_rest()) or not sys.argv[1:]:
        print("offered" if window.offer.isVisible() else "plain", window.banner.accessibleName())
        window.close() if sys.argv[-1] != "die" else __import__("os")._exit(9)
    else:
        QTimer.singleShot(50, look)
def await_records():
    # the frame comes first, and what a start offers after the last of these
    loaded = "valvelab.workbench.saved_bench" in sys.modules
    QTimer.singleShot(1000 if loaded else 50, look if loaded else await_records)
QTimer.singleShot(0, await_records)
from valvelab.window.start import run
sys.exit(run([word for word in sys.argv[1:] if word != "die"]))
"""


#: pyqtgraph 0.14 sets the shape of an array, deprecated since NumPy 2.5
NUMPY_2_5 = ("-W", "ignore:Setting the shape on a NumPy array:DeprecationWarning")


def start(place: Path, *words: str) -> tuple[int, str]:
    environment = {**os.environ, "VALVELAB_SETTINGS": str(place)}
    done = subprocess.run(
        [sys.executable, "-W", "error", *NUMPY_2_5, "-c", START, *words],
        capture_output=True,
        text=True,
        env=environment,
        check=False,
        timeout=60,
    )
    assert "Traceback" not in done.stderr, done.stderr
    return done.returncode, done.stdout.strip()


def test_the_program_starts_inspects_and_offers_recovery_after_an_unclean_end(tmp_path: Path, job: list[str]) -> None:
    place = tmp_path / "place"
    assert start(place) == (0, "plain")
    assert start(place, *job)[1].startswith("plain 1 of 8 lobes rejected")
    code, _ = start(place, *job, "die")
    assert code == 9
    # a file of the form and under the name of the versions before
    (place / "recovery.json").write_text(
        '{"version": 1, "files": [{"path": "/a.csv"}], "station": "lobes", "choices": {}, "current": {}, '
        '"units": "metric"}',
        encoding="utf-8",
    )
    assert start(place) == (0, "offered")
    assert start(place) == (0, "offered"), "the question was not answered"


def test_repaints_lose_no_reference_to_none(window: MainWindow, job: list[str], app: QApplication) -> None:
    # some versions of the toolkit drop a reference to None with every call that returns nothing
    drop(window, job)

    window.resize(800, 450)

    def repaint(times: int) -> None:
        for number in range(times):
            if number % 5 == 0:
                window.bench.set(LobesState, "drag", "drag", checking_lift_mm=1.0 + 0.01 * (number % 50))
            widget: QWidget = lobes_view(window).stack.viewport()
            widget.repaint()
        app.processEvents()

    repaint(20)
    gc.collect()
    before = sys.getrefcount(None)
    repaint(300)
    gc.collect()
    after = sys.getrefcount(None)
    if sys.version_info >= (3, 12):
        assert after > 2**31  # None lives for ever there, whatever an extension counts (PEP 683)
    else:
        assert after - before > -150
