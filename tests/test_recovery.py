"""Readings that no file holds outlive crashes, other windows and questions that nobody answered."""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import stat
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QPushButton
from something import each
from waiting import wait_for

from valvelab.file_lock import FileLock
from valvelab.window.bench import Bench
from valvelab.window.main_window import MainWindow
from valvelab.workbench import edits, phasing_bay, recovery, settings, worksheet
from valvelab.workbench.document import BenchFile, Document
from valvelab.workbench.gauge_bay import GaugeState
from valvelab.workbench.lobes_bay import LobesState
from valvelab.workbench.motion_files import MotionState, Trial, TypedReadings
from valvelab.workbench.phasing_bay import PhasingState
from valvelab.workbench.sets import Grouping, Proof, SpringsState
from valvelab.workbench.shaft_bay import ShaftState
from valvelab.workbench.texture_bay import TextureState
from valvelab.workbench.worksheet import Cell


def typed(document: Document, *stops: float) -> Document:
    sheet = phasing_bay.sheet_in_front(document)
    for row, stop in enumerate(stops):
        sheet = worksheet.with_value(sheet, Cell("stop", row), stop)
    return phasing_bay.with_sheet(document, sheet)


def stops_of(document: Document) -> tuple[float, ...]:
    return phasing_bay.sheet_in_front(document).stop_deg


def leave(place: Path, *stops: float) -> Path:
    return recovery.keep_beside(typed(Document(bay="phasing"), *stops), place)


def left_in(place: Path) -> list[tuple[float, ...]]:
    """Stop readings of every bench left behind, longest-lying first; each file stays."""
    found: list[recovery.LeftBench] = []
    while (left := recovery.claim(place, [one.path for one in found])[0]) is not None:
        found.append(left)
    for one in found:
        one.leave()
    return [stops_of(one.document) for one in found]


def document_in(data: bytes, folder: Path) -> Document:
    """What a window finds in a recovery file that lies in a folder."""
    folder.mkdir(exist_ok=True)
    (folder / "recovery.json").write_bytes(data)
    left, said = recovery.claim(folder)
    assert left is not None, said
    left.remove()
    return left.document


@pytest.fixture
def place(tmp_path: Path) -> Path:
    return tmp_path / "settings"


class Windows:
    """Windows over one settings folder, each with what `start` would have done."""

    def __init__(self, place: Path) -> None:
        self.place, self.made = place, list[MainWindow]()

    def open(self) -> MainWindow:
        window = MainWindow(Bench(self.place, background=False))
        window.show()
        window.bay_actions["phasing"].trigger()
        window.left.ask()
        self.made.append(window)
        return window


@pytest.fixture
def windows(app: QApplication, place: Path) -> Iterator[Windows]:
    many = Windows(place)
    yield many
    for window in many.made:
        window.close()
        window.deleteLater()
    app.processEvents()


def type_in(window: MainWindow, *stops: float) -> None:
    window.bench.history.apply(typed(window.bench.document, *stops), "read the stop")


# -- the files --------------------------------------------------------------------------------------------------------


def test_a_living_window_s_file_is_no_one_else_s(place: Path) -> None:
    own = recovery.OwnFile(place)
    own.save(typed(Document(), -28.5))
    assert recovery.claim(place) == (None, ())
    own.leave()
    left, _ = recovery.claim(place)
    assert left is not None
    assert recovery.claim(place) == (None, ()), "one window at a time"
    left.leave()
    assert left_in(place) == [(-28.5,)]


def test_the_lock_goes_with_its_process(place: Path) -> None:
    place.mkdir()
    code = (
        "import sys, os\nfrom pathlib import Path\nfrom valvelab.file_lock import FileLock\n"
        "lock = FileLock(Path(sys.argv[1]))\nassert lock.take()\nprint('held', flush=True)\nsys.stdin.read()"
    )
    lock = FileLock(place / "x.lock")
    with subprocess.Popen(
        [sys.executable, "-c", code, str(lock.path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == b"held\n"
        assert not lock.take()
        holder.send_signal(signal.SIGKILL)
    assert lock.take()
    lock.release(remove=True)
    assert not lock.path.exists()


@pytest.mark.parametrize(
    "text",
    ["", "{}", '{"version": 2}', '{"version": 3}', "\xff", "null", "[" * 5000, '{"version": 1, "files": 3}'],
)
def test_what_cannot_be_read_is_set_aside_with_a_sentence(place: Path, text: str) -> None:
    place.mkdir()
    leave(place, 31.0)
    (place / "recovery-1.json").write_text(text, encoding="latin-1")
    left, said = recovery.claim(place)
    assert left is not None, "one that can't be read hides no other"
    assert "found no bench that this version can read" in said[0]
    (aside,) = place.glob("*.unreadable")
    assert aside.read_text(encoding="latin-1") == text
    assert str(aside) in said[0]
    left.leave()


def test_a_file_of_version_0_2_0_comes_back_whole(place: Path) -> None:
    place.mkdir()
    shutil.copy(Path(__file__).parent / "recovery_0_2_0" / "recovery.json", place / "recovery-1.json")
    left, said = recovery.claim(place)
    assert said == ()
    assert left is not None
    document = left.document
    assert (document.bay, document.units, document.columns_of) == ("phasing", "inch", "")
    assert [file.name for file in document.files] == [
        "quillmere.csv",
        "wheel.toml",
        "quillmere_train.toml",
        os.fsdecode(b"sch\xe9ma.toml"),
    ]
    assert document.files[0].columns == "angle=0 [cam deg], 1I=1 [mm]"
    assert document.current == {"train": "/shop/quillmere_train.toml"}
    plots = frozenset({"deviation", "lift", "velocity", "acceleration", "readings"})
    assert document.state(LobesState) == LobesState("2E", 0.508, "lift", "shaft", plots)
    proof = Proof(8, {"seat_force": 5.5, "free_length": 1.0}, 2, 3, 0.75, 0.5, number_proven=False, spread_proven=False)
    assert document.state(SpringsState) == SpringsState(
        spring="S07",
        page="springs",
        plots=frozenset({"difference", "coils", "rate"}),
        size=8,
        time_limit_s=12.0,
        thorough=True,
        matched_by=frozenset({"seat_force", "free_length"}),
        limits={"seat_force": 5.5},
        groupings={"ab" * 32: Grouping((("S01", "S02"), ("S03", "S07")), proof, edited=True)},
    )
    assert document.state(ShaftState) == ShaftState("J3", "50", "lobing")
    assert document.state(TextureState) == TextureState(cutoff_mm=0.25, short_cutoff_um=2.5)
    assert document.state(GaugeState) == GaugeState("plan", 0.02, parts=12, seed=7)
    assert document.state(MotionState) == MotionState(
        "rule",
        "1I",
        dynamic=True,
        trial=Trial(lash_mm=0.2, advance_deg=4.0, spring="S07"),
        readings={
            "1I": TypedReadings((9.51, 9.52, 9.83), 0.005, ((2, "the tip slipped"),)),
            "2E": TypedReadings((9.4,)),
            "2I": TypedReadings((), 0.004),
        },
    )
    left.remove()


def test_the_worksheet_of_version_0_2_0_comes_back_reading_by_reading(place: Path) -> None:
    data = (Path(__file__).parent / "recovery_0_2_0" / "recovery.json").read_bytes()
    document = document_in(data, place)
    state = document.state(PhasingState)
    assert (state.drawing, state.page, state.beside) == ("events", "steps", "/shop/wheel.toml")
    assert state.read_twice == {(Cell("pair", 0, "rising"), 78.5), (Cell("stop", 1), 328.25)}
    assert set(state.sheets) == {"", "/shop/wheel.toml", os.fsdecode(b"/shop/sch\xe9ma.toml")}
    assert state.sheets["/shop/wheel.toml"].stop_deg == (31.5, 328.25, 31.75, 329.0)
    sheet = state.sheets[""]
    read = {
        Cell("stop", 2): 31.75, Cell("pair", 0, "rising"): 78.5, Cell("event", 1, "closing"): 12.25,
        Cell("duration", 0): 248.0, Cell("wheel", name="sense"): "reverse", Cell("wheel", name="uncertainty"): 0.2,
        Cell("steps"): "-4 0 4", Cell("word", name="operator"): "bench two",
    }  # fmt: skip
    for cell, value in each(read.items()):
        assert worksheet.value_of(sheet, cell) == value
    recovery.keep_beside(document, place)
    left, _ = recovery.claim(place)
    assert left is not None
    assert left.document == document, "the same in today's form"
    left.remove()


def test_a_choice_of_another_type_is_left_at_first(place: Path) -> None:
    place.mkdir()
    choices = {"lobes": {"checking_lift_mm": "much", "lobe": 3.0}, "unheard": {"a": 1.0}}
    saved = {"version": 1, "files": [{"path": "/a.csv"}], "station": "lobes", "choices": choices, "current": {},
             "units": "metric"}  # fmt: skip
    (place / "recovery-1.json").write_text(json.dumps(saved), encoding="utf-8")
    left, _ = recovery.claim(place)
    assert left is not None
    assert left.document.state(LobesState) == LobesState()
    left.remove()


def test_an_empty_bench_is_not_offered(place: Path) -> None:
    recovery.keep_beside(Document(), place)
    assert recovery.claim(place) == (None, ())
    assert list(place.iterdir()) == []


def test_names_that_are_no_text_come_back(place: Path) -> None:
    path = os.fsdecode(b"/n\xff\x80te.csv")
    document = Document(files=(BenchFile(path), BenchFile("/plain\\name.csv")), bay="phasing")
    document = edits.set_fields(document, PhasingState, sheets={path: worksheet.blank_sheet()})
    document = replace(document, current={"phasing sheet": path})
    recovery.keep_beside(document, place)
    left, _ = recovery.claim(place)
    assert left is not None
    assert left.document == document
    left.remove()


def test_recovery_and_settings_are_the_user_s_alone(place: Path) -> None:
    mask = os.umask(0o022)
    try:
        own = recovery.OwnFile(place)
        own.save(typed(Document(), 1.0))
        settings.save(settings.Settings(), settings.Settings(scheme="dark"), place)
    finally:
        os.umask(mask)
    modes = {path.suffix: stat.S_IMODE(path.stat().st_mode) for path in place.iterdir()}
    assert set(modes.values()) == {0o600}
    assert stat.S_IMODE(place.stat().st_mode) == 0o700
    own.remove()


# -- an offer that is open --------------------------------------------------------------------------------------------


def offered(window: MainWindow, answer: str) -> QPushButton:
    (button,) = (one for one in window.offer.findChildren(QPushButton) if one.text() == answer)
    return button


def test_an_unanswered_offer_loses_nothing(windows: Windows, place: Path) -> None:
    file = leave(place, -28.5, 31.0)
    before = file.read_bytes()
    window = windows.open()
    assert window.offer.isVisible()
    for bay in ("springs", "motion", "phasing"):
        window.bay_actions[bay].trigger()
    type_in(window, 7.0)
    window.bench.keep()
    window.bay_actions["lobes"].trigger()
    window.bench.keep()
    assert file.read_bytes() == before
    window.close()
    assert file.read_bytes() == before
    assert left_in(place) == [(-28.5, 31.0), (7.0,)]


def test_leave_it_is_a_decision(windows: Windows, place: Path) -> None:
    leave(place, -28.5)
    leave(place, 31.0)
    window = windows.open()
    QTest.mouseClick(offered(window, "Leave it"), Qt.MouseButton.LeftButton)
    assert window.offer.isVisible(), "one bench after the other"
    QTest.mouseClick(offered(window, "Leave it"), Qt.MouseButton.LeftButton)
    assert not window.offer.isVisible()
    window.close()
    assert list(place.glob("recovery*")) == []


def test_what_is_brought_back_is_this_window_s(windows: Windows, place: Path) -> None:
    file = leave(place, -28.5, 31.0)
    window = windows.open()
    QTest.mouseClick(offered(window, "Bring it back"), Qt.MouseButton.LeftButton)
    assert not window.offer.isVisible()
    assert stops_of(window.bench.document) == (-28.5, 31.0)
    assert not file.exists()
    assert len(list(place.glob("recovery-*.json"))) == 1, "kept before the file goes"
    window.close()
    assert left_in(place) == [(-28.5, 31.0)], "no file holds them still"


def test_bringing_back_does_not_cost_what_was_typed_meanwhile(windows: Windows, place: Path) -> None:
    leave(place, -28.5, 31.0)
    window = windows.open()
    type_in(window, 7.0)
    offered(window, "Bring it back").click()
    assert stops_of(window.bench.document) == (-28.5, 31.0)
    assert not window.offer.isVisible(), "what was just typed here is not offered here"
    window.do("undo")
    assert stops_of(window.bench.document) == (7.0,)
    window.do("redo")
    window.close()
    assert sorted(left_in(place)) == [(-28.5, 31.0), (7.0,)]


def test_a_full_disk_keeps_the_bench_that_was_left(
    windows: Windows, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = leave(place, -28.5)
    window = windows.open()

    def full(_handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    offered(window, "Bring it back").click()
    assert file.exists()
    assert any("the disk is full" in row.text for row in window.notes.rows_model.rows)
    asked: list[str] = []
    monkeypatch.setattr(window, "leave_behind", lambda sentence: bool(asked.append(sentence)))
    assert not window.close(), "readings would be lost"
    assert "the disk is full" in asked[0]
    monkeypatch.undo()
    assert window.close()
    assert (-28.5,) in left_in(place)


# -- two windows ------------------------------------------------------------------------------------------------------


def test_two_windows_keep_a_file_each(windows: Windows, place: Path) -> None:
    one, two = windows.open(), windows.open()
    type_in(one, 1.0)
    type_in(two, 2.0)
    one.bench.keep()
    two.bench.keep()
    assert len(list(place.glob("recovery-*.json"))) == 2
    two.close()
    assert left_in(place) == [(2.0,)], "the other lives"
    third = windows.open()
    assert third.offer.isVisible()
    one.close()
    assert left_in(place) == [(1.0,)]
    third.close()
    assert sorted(left_in(place)) == [(1.0,), (2.0,)]


def test_two_windows_do_not_take_each_other_s_settings_back(windows: Windows, place: Path) -> None:
    one, two = windows.open(), windows.open()
    one.do("scheme_dark")
    two.bench.keep_settings(settings.remember_columns(two.bench.settings, "shape", "lift table", "angle=0"))
    one.bench.keep_settings(settings.remember_columns(one.bench.settings, "other", "lift table", "angle=1"))
    two.bench.toggle_units()
    one.close()
    two.close()
    found = settings.load(place)
    assert (found.scheme, found.units) == ("dark", "inch")
    assert set(found.columns) == {"shape", "other"}


def test_forgotten_columns_stay_forgotten_and_the_oldest_go(place: Path) -> None:
    there = settings.Settings(columns={str(n): "a: b" for n in range(200)})
    new = settings.remember_columns(there, "new", "lift table", "angle=0")
    settings.save(settings.Settings(), there, place)
    merged = settings.save(there, new, place)
    assert len(merged.columns) == 200
    assert "0" not in merged.columns
    assert "new" in merged.columns


# -- when it is written -----------------------------------------------------------------------------------------------


def test_steady_typing_is_kept_while_it_goes_on(windows: Windows, place: Path) -> None:
    window = windows.open()
    for number in range(40):
        type_in(window, float(number))
        QTest.qWait(50)
        if list(place.glob("recovery-*.json")):
            break
    assert number < 39, "the timer was put off by every entry"


def test_a_reading_without_enter_is_taken_at_the_end(windows: Windows, place: Path) -> None:
    window = windows.open()
    field = window.pages.front().guide.field  # type: ignore[attr-defined]
    field.setFocus()
    QTest.keyClicks(field, "-28.5")
    assert stops_of(window.bench.document) == ()
    window.close()
    assert left_in(place) == [(-28.5,)]


def test_a_recovery_file_that_cannot_be_written_is_said_once(
    windows: Windows, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    window = windows.open()

    tried: list[int] = []

    def full(handle: int) -> None:
        tried.append(handle)
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    for stop in (1.0, 2.0):
        type_in(window, stop)
        window.bench.keep()
    assert sum("the disk is full" in row.text for row in window.notes.rows_model.rows) == 1
    by_hand = len(tried)
    wait_for(lambda: len(tried) >= by_hand + 2, lambda: f"tried again {len(tried) - by_hand} times")
    monkeypatch.undo()
    window.bench.keep()
    assert list(place.glob("recovery-*.json"))


TYPIST = """
import sys
from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QApplication
from valvelab.workbench import phasing_bay, worksheet
from valvelab.workbench.worksheet import Cell
app = QApplication(["test"])
read = 0
def type_one():
    global read
    (window,) = [w for w in app.topLevelWidgets() if w.objectName() == "main window"]
    sheet = phasing_bay.sheet_in_front(window.bench.document)
    sheet = worksheet.with_value(sheet, Cell("stop", read), float(read))
    window.bench.history.apply(phasing_bay.with_sheet(window.bench.document, sheet), "read the stop")
    read += 1
    print(read, flush=True)
def begin():
    (window,) = [w for w in app.topLevelWidgets() if w.objectName() == "main window"]
    window.bay_actions["phasing"].trigger()
    timer = QTimer(window, interval=50)
    timer.timeout.connect(type_one)
    timer.start()
QTimer.singleShot(200, begin)
from valvelab.window.start import run
sys.exit(run([]))
"""
#: entries of 50 ms that come within two seconds
LATEST = 40


def killed_while_typing(place: Path, delay: float) -> int:
    """How many readings a window had taken when it was killed."""
    environment = {**os.environ, "VALVELAB_SETTINGS": str(place)}
    with subprocess.Popen([sys.executable, "-c", TYPIST], stdout=subprocess.PIPE, env=environment) as child:
        assert child.stdout is not None
        child.stdout.readline()
        time.sleep(delay)
        child.send_signal(signal.SIGKILL)
        return 1 + len(child.stdout.read().splitlines())


def test_a_kill_while_typing_costs_two_seconds_at_most(place: Path) -> None:
    moments = random.Random(4)  # noqa: S311 - moments, no secrets
    earlier = leave(place, -28.5)
    before = earlier.read_bytes()
    kept = 0
    for _ in range(4):
        read = killed_while_typing(place, moments.uniform(0.5, 3.5))
        assert earlier.read_bytes() == before, "its offer was never answered"
        found = {path.read_bytes() for path in place.glob("recovery-*.json")} - {before}
        for path in set(place.glob("recovery-*.json")) - {earlier}:
            path.unlink()
        assert len(found) == (1 if read > LATEST else len(found))
        for data in found:
            stops = stops_of(document_in(data, place.parent / "apart"))
            assert stops == tuple(map(float, range(len(stops)))), "whole, in order"
            assert len(stops) >= read - LATEST
            kept += 1
            assert json.loads(data)["version"] == 4
    assert kept
