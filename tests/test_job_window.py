"""The window and its job file: what a person does with one, and what is asked before anything could be lost."""

from __future__ import annotations

import gc
import json
import tracemalloc
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from PySide6.QtCore import QMimeData, QPointF, Qt, QUrl
from PySide6.QtGui import QDropEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QMessageBox, QPushButton
from something import each

from valvelab.cli.main import main
from valvelab.places import sample_profiles
from valvelab.window.bays.reading_field import ReadingField
from valvelab.window.bench import Bench
from valvelab.window.job_keeper import Answer, asked_to_save
from valvelab.window.main_window import MainWindow
from valvelab.workbench import bays, edits, liftcheck_bay, phasing_bay, recovery
from valvelab.workbench.compare_bay import CompareState
from valvelab.workbench.document import Document
from valvelab.workbench.history import LONGEST, History
from valvelab.workbench.sets import Grouping, SpringsState

TRAY = "# installed height: 40 mm\n# valve lift: 10 mm\nspring,40 mm [N],35 mm [N],30 mm [N]\n" + "".join(
    f"A{n},{300 + n}.0,{450 + n}.0,{600 + n}.0\n" for n in range(4)
)


@pytest.fixture
def windows(app: QApplication, tmp_path: Path) -> Iterator[Callable[[], MainWindow]]:
    """Opens windows over one settings folder."""
    made: list[MainWindow] = []

    def another() -> MainWindow:
        window = MainWindow(Bench(tmp_path / "settings", background=False))
        window.show()
        app.processEvents()
        made.append(window)
        return window

    yield another
    for window in made:
        window.close()
        window.deleteLater()
    app.processEvents()


def answers(monkeypatch: pytest.MonkeyPatch, answer: Answer) -> list[str]:
    """What a person says to the question, and how often it was asked."""
    asked: list[str] = []
    monkeypatch.setattr(MainWindow, "ask_unsaved", lambda _self: (asked.append("asked"), answer)[1])
    return asked


def typed(window: MainWindow, text: str = TRAY) -> None:
    window.bay_actions["springs"].trigger()
    window.bench.type_table("springs.csv", "spring readings", text)


def springs_of(window: MainWindow) -> list[str]:
    result = json.loads(window.bench.document.answers["springs"].value.result.model_dump_json())
    return [row["spring"] for row in result["springs"]]


def drop(window: MainWindow, path: Path) -> None:
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(path))])
    where, none = QPointF(400, 300), Qt.KeyboardModifier.NoModifier
    window.dropEvent(QDropEvent(where, Qt.DropAction.CopyAction, data, Qt.MouseButton.LeftButton, none))


def test_typed_readings_are_saved_and_opened_as_left(windows: Callable[[], MainWindow], tmp_path: Path) -> None:
    window = windows()
    assert (window.windowTitle(), window.isWindowModified()) == ("valvelab", False)
    typed(window)
    assert springs_of(window) == ["A0", "A1", "A2", "A3"]
    assert window.windowTitle() == "Untitled job[*] · valvelab"
    assert window.isWindowModified()
    path = tmp_path / "winter.valvejob"
    window.save_job(path)
    assert (window.windowTitle(), window.isWindowModified()) == ("winter[*] · valvelab", False)
    again = windows()
    again.open_paths([str(path)])
    assert again.windowTitle() == "winter[*] · valvelab"
    assert again.bench.document.bay == "springs"
    assert again.bench.document.files == window.bench.document.files
    assert springs_of(again) == ["A0", "A1", "A2", "A3"]
    assert not again.isWindowModified()
    assert again.bench.history.undo_label is None, "nothing of another job comes back"


def test_the_mark_follows_edits_and_undo(windows: Callable[[], MainWindow], tmp_path: Path) -> None:
    window = windows()
    typed(window)
    window.save_job(tmp_path / "winter.valvejob")
    window.bench.retype("typed/1/springs.csv", TRAY.replace("A3", "B3"), "type A3")
    assert window.isWindowModified()
    assert window.actions_by_name["undo"].text() == "Undo type A3"
    window.do("undo")
    assert not window.isWindowModified()
    window.do("redo")
    assert window.isWindowModified()
    assert springs_of(window)[-1] == "B3"
    window.do("save_job")
    window.do("undo")
    assert window.isWindowModified(), "the file has what was undone"
    assert window.job.path == tmp_path / "winter.valvejob", "undo does not lose where the job is kept"


def test_sets_come_back_with_the_job(windows: Callable[[], MainWindow], tmp_path: Path) -> None:
    window = windows()
    typed(window)
    digest = window.bench.document.value_in_use("spring readings")[1].source.sha256
    grouping = Grouping((("A0", "A2"), ("A1", "A3")), None, edited=True)
    window.bench.set(SpringsState, "match", groupings={digest: grouping})
    window.save_job(tmp_path / "winter.valvejob")
    again = windows()
    again.open_paths([str(tmp_path / "winter.valvejob")])
    assert again.bench.document.state(SpringsState).groupings[digest] == grouping


@pytest.mark.parametrize("answer", ["save", "keep", "discard", "stay"])
def test_closing_asks_and_does_what_was_said(
    windows: Callable[[], MainWindow], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, answer: Answer
) -> None:
    window, path = windows(), tmp_path / "winter.valvejob"
    typed(window)
    window.save_job(path)
    before = path.read_bytes()
    window.bench.retype("typed/1/springs.csv", TRAY.replace("A3", "B3"), "type A3")
    asked = answers(monkeypatch, answer)
    assert window.close() == (answer != "stay")
    assert asked == ["asked"]
    assert (path.read_bytes() != before) == (answer == "save")
    left, _ = recovery.claim(tmp_path / "settings")
    assert (left is not None) == (answer == "keep")
    if left is not None:
        assert left.document.job == str(path)
        left.remove()
    answers(monkeypatch, "discard")


def test_a_bench_with_nothing_but_files_goes_unasked(
    windows: Callable[[], MainWindow], monkeypatch: pytest.MonkeyPatch
) -> None:
    window = windows()
    window.bench.add_files([str(sample_profiles() / "springs_quillmere_tray.csv")])
    asked = answers(monkeypatch, "stay")
    assert window.close()
    assert asked == []


def test_another_bench_takes_the_place_only_when_allowed(
    windows: Callable[[], MainWindow], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    window, path = windows(), tmp_path / "winter.valvejob"
    typed(window)
    window.save_job(path)
    window.bench.retype("typed/1/springs.csv", TRAY.replace("A3", "B3"), "type A3")
    answers(monkeypatch, "stay")
    window.do("new_job")
    drop(window, path)
    assert springs_of(window)[-1] == "B3"
    answers(monkeypatch, "keep")
    window.do("new_job")
    assert window.bench.document.files == ()
    assert window.windowTitle() == "valvelab"
    left, _ = recovery.claim(tmp_path / "settings", ())
    assert left is not None
    assert "B3" in (left.document.files[0].text or "")
    left.leave()
    drop(window, path)
    assert springs_of(window)[-1] == "A3"


def test_a_job_changed_beside_is_not_overwritten(windows: Callable[[], MainWindow], tmp_path: Path) -> None:
    one, two, path = windows(), windows(), tmp_path / "winter.valvejob"
    typed(one)
    one.save_job(path)
    two.open_paths([str(path)])
    two.bench.retype("typed/1/springs.csv", TRAY.replace("A3", "C3"), "type A3")
    two.save_job()
    kept = path.read_bytes()
    one.bench.retype("typed/1/springs.csv", TRAY.replace("A3", "B3"), "type A3")
    one.save_job()
    assert path.read_bytes() == kept
    assert one.isWindowModified()
    assert any("changed since it was opened here" in row[-1] for row in problems(one))
    one.save_job(tmp_path / "other.valvejob")
    assert not one.isWindowModified()


def problems(window: MainWindow) -> list[list[str]]:
    model = window.notes.proxy
    return [
        [str(model.index(row, column).data()) for column in range(model.columnCount())]
        for row in range(model.rowCount())
    ]


def test_recent_jobs_are_two_clicks_away(windows: Callable[[], MainWindow], tmp_path: Path) -> None:
    window = windows()
    typed(window)
    for name in ("autumn", "winter"):
        window.save_job(tmp_path / f"{name}.valvejob")
    again = windows()
    again.recent.aboutToShow.emit()
    assert [action.text() for action in again.recent.actions()] == ["&1 winter", "&2 autumn"]
    offered = [button for button in again.empty.findChildren(QPushButton) if button.accessibleName().endswith("autumn")]
    (button,) = offered
    button.click()
    assert again.windowTitle() == "autumn[*] · valvelab"
    assert springs_of(again) == ["A0", "A1", "A2", "A3"]


def test_paper_of_typed_readings_stands_in_the_job(
    windows: Callable[[], MainWindow], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    window = windows()
    typed(window)
    paper = tmp_path / "springs.pdf"
    window.save_certificate(paper)
    assert main(["verify", str(paper), "--quiet"]) == 0
    window.save_job(tmp_path / "winter.valvejob")
    capsys.readouterr()
    with zipfile.ZipFile(tmp_path / "winter.valvejob") as archive:
        assert archive.read("papers/1/springs.pdf") == paper.read_bytes()
        assert 'inspect = "springs"' in archive.read("job.toml").decode()
        assert json.loads(archive.read("results/springs.json"))["springs"][0]["spring"] == "A0"
    assert main(["springs", str(tmp_path / "winter.valvejob"), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert [row["spring"] for row in found["springs"]] == ["A0", "A1", "A2", "A3"]


def test_a_job_that_can_not_be_read_leaves_the_bench_alone(windows: Callable[[], MainWindow], tmp_path: Path) -> None:
    window = windows()
    typed(window)
    torn = tmp_path / "torn.valvejob"
    torn.write_bytes(b"PK\x03\x04 nothing")
    window.open_paths([str(torn)])
    assert springs_of(window) == ["A0", "A1", "A2", "A3"]
    assert any("torn.valvejob" in " ".join(row) for row in problems(window))


def test_the_question_has_four_answers(window: MainWindow, monkeypatch: pytest.MonkeyPatch) -> None:
    chosen: list[Answer] = []
    for words in each(["Save", "Offer it at the next start", "Discard", "Cancel"]):
        pressed = lambda box, words=words: next(one for one in box.buttons() if one.text() == words).click()  # noqa: E731
        monkeypatch.setattr(QMessageBox, "exec", pressed)
        chosen.append(asked_to_save(window, "winter"))
    assert chosen == ["save", "keep", "discard", "stay"]


def test_undo_in_a_field_is_the_benches_once_the_entry_was_taken(window: MainWindow, app: QApplication) -> None:
    window.bay_actions["phasing"].trigger()
    field = next(one for one in window.findChildren(ReadingField) if "touch" in one.accessibleName().lower())
    field.setFocus()
    QTest.keyClicks(field, "28.5")
    QTest.keyClick(field, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert field.text() == "", "while typing the field undoes what was typed"
    QTest.keyClicks(field, "31.5\r")
    app.processEvents()
    typed_in = window.bench.document
    assert window.bench.history.undo_label is not None
    focused = window.focusWidget()
    assert isinstance(focused, ReadingField)
    QTest.keyClick(focused, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    app.processEvents()
    assert window.bench.document != typed_in
    assert window.bench.history.undo_label is None


def test_ten_thousand_steps_take_no_more_room_than_a_thousand() -> None:
    history = History(edits.type_table(Document(), "springs.csv", "spring readings", TRAY), lambda _old, _new: None)

    def steps(many: int) -> int:
        for number in range(many):
            text = TRAY.replace("300.0", f"{300 + number}.0")
            history.apply(edits.retype(history.document, "typed/1/springs.csv", text), "type a force")
        gc.collect()
        return tracemalloc.get_traced_memory()[0]

    tracemalloc.start()
    try:
        first = steps(LONGEST + 100)
        assert steps(10_000 - LONGEST - 100) < 1.05 * first
    finally:
        tracemalloc.stop()
    assert len(history.past) == LONGEST


def test_the_files_of_another_job_are_compared_with_these(windows: Callable[[], MainWindow], tmp_path: Path) -> None:
    window = windows()
    typed(window)
    window.save_job(tmp_path / "winter.valvejob")
    later = windows()
    typed(later, TRAY.replace(",300.0", ",290.0").replace(",301.0", ",291.0"))
    later.job.add(tmp_path / "winter.valvejob")
    assert [file.name for file in later.bench.document.files] == ["springs.csv", "winter springs.csv"]
    assert later.actions_by_name["undo"].text() == "Undo add the files of winter"
    assert later.job.path is None, "the bench is not that job"
    later.bay_actions["compare"].trigger()
    before = later.bench.document.files[1].path
    later.bench.set(CompareState, "compare", before=before, after=later.bench.document.files[0].path)
    changes = later.bench.document.answers["compare"].value.result.springs
    assert [round(row.seat_force_change_n) for row in changes] == [-10, -10, 0, 0]


def test_a_save_that_comes_late_names_no_other_bench(window: MainWindow, tmp_path: Path) -> None:
    typed(window)
    late: list[Callable[[], object]] = []
    ask = window.bench.ask

    def later(label: str, about: str, work: Callable[[], Any], take: Callable[[Any], object]) -> None:
        late.append(lambda: ask(label, about, work, take))

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(window.bench, "ask", later)
        window.save_job(tmp_path / "winter.valvejob")
    window.job.new()
    (save,) = late
    save()
    assert (tmp_path / "winter.valvejob").exists()
    assert window.job.path is None


def operator(window: MainWindow, name: str, bay: str) -> None:
    """Write who read a sheet into the one in front."""
    document = window.bench.document
    if bay == "phasing":
        sheet = phasing_bay.SHEETS.in_front(document)
        new = phasing_bay.SHEETS.with_sheet(document, replace(sheet, operator=name))
    else:
        checks = liftcheck_bay.SHEETS.in_front(document)
        new = liftcheck_bay.SHEETS.with_sheet(document, checks.model_copy(update={"inspector": name}))
    window.bench.history.apply(new, "type the operator")
    QApplication.processEvents()


@pytest.mark.parametrize(("sample", "new"), [("phasing", True), ("phasing", False), ("liftcheck", False)])
def test_a_sheet_that_the_job_keeps_is_not_called_unsaved(
    windows: Callable[[], MainWindow], tmp_path: Path, sample: str, new: bool
) -> None:
    window, path = windows(), tmp_path / "typed.valvelab"
    window.resize(1280, 720)
    bay = next(bay for bay in bays.BAYS if bay.name == sample)
    window.bench.add_files([] if new else [str(sample_profiles() / name) for name in bay.sample])
    window.bench.go_to_bay(sample)
    operator(window, "A", sample)
    assert ", not saved" in window.banner.inspected.text()
    assert window.job.save_at_once(path)
    QApplication.processEvents()
    assert ", kept in the job" in window.banner.inspected.text()
    other = windows()
    other.resize(1280, 720)
    other.job.open(path)
    other.bench.go_to_bay(sample)
    QApplication.processEvents()
    assert other.banner.isVisible()
    assert "not saved" not in other.banner.inspected.text()
    operator(other, "B", sample)
    assert ", not saved" in other.banner.inspected.text()


def test_undo_brings_forward_where_something_changes(window: MainWindow, tmp_path: Path, app: QApplication) -> None:
    camshaft = str(sample_profiles() / "quillmere_four_camshaft.csv")
    window.bench.add_files([camshaft])
    assert window.bench.document.bay == "lobes"
    window.bench.go_to_bay("springs")
    app.processEvents()
    undo = window.actions_by_name["undo"]
    assert undo.text() == "Undo put files on the bench"
    assert undo.toolTip().startswith("Undo put files on the bench")
    window.do("undo")
    app.processEvents()
    assert window.bench.document.files == ()
    assert window.bench.document.bay == "lobes", "what is taken off is seen to go"
    window.bench.go_to_bay("springs")
    assert window.actions_by_name["redo"].text() == "Redo put files on the bench"
    window.do("redo")
    assert window.bench.document.bay == "lobes"


def test_undo_of_what_is_seen_everywhere_leaves_the_page(window: MainWindow) -> None:
    window.bay_actions["springs"].trigger()
    typed(window)
    window.bench.go_to_bay("gauge")
    window.bench.history.apply(edits.set_units(window.bench.document, "inch"), "show inches")
    window.bench.go_to_bay("texture")
    window.do("undo")
    assert window.bench.document.bay == "texture"
    window.do("undo")
    assert window.bench.document.bay == "springs"


def test_undo_of_what_several_pages_show_stays_at_one_of_them(window: MainWindow) -> None:
    window.bench.add_files([str(sample_profiles() / "quillmere_four_camshaft.csv")])
    window.bench.go_to_bay("motion")
    window.do("undo")
    assert window.bench.document.bay == "motion"
