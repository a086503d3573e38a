"""What takes its time is never done in the event loop: it is asked of the background, and loaded there."""

from __future__ import annotations

import gc
import subprocess
import sys
import threading
from collections import Counter, defaultdict
from collections.abc import Callable
from functools import partial
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from waiting import at_rest, wait_for

from valvelab.files.contents import JOB_ENDING
from valvelab.inspection.lobes.inspect import LobesInspection
from valvelab.units import System
from valvelab.window import garbage
from valvelab.window.bays.lobes_view import LobesView
from valvelab.window.bays.phasing_view import PhasingView
from valvelab.window.bench import Bench
from valvelab.window.main_window import MainWindow
from valvelab.window.turns import Turns
from valvelab.workbench import phasing_bay
from valvelab.workbench.document import Document
from valvelab.workbench.lobes_bay import LobesState

ROOT = Path(__file__).resolve().parent.parent
SAMPLES = ROOT / "sample_profiles"
CAMSHAFT = [str(SAMPLES / name) for name in ("quillmere_four_camshaft.csv", "quillmere_four_camshaft.toml")]

HEAVY = (
    ("valvelab.window.bench", "read_content"),
    ("valvelab.window.bench", "answer"),
    ("valvelab.window.bench", "write_whole"),
    ("valvelab.window.entry_pane", "opened_text"),
    ("valvelab.window.entry_pane", "told"),
    ("valvelab.window.plot_menu", "points_csv"),
    ("valvelab.window.plot_menu", "_png"),
    ("valvelab.window.table_menu", "csv_text"),
    ("valvelab.workbench.exports", "exchanged"),
    ("valvelab.workbench.jobs", "packed"),
    ("valvelab.workbench.settings", "save"),
    ("valvelab.tables.verdicts", "_uncertainties"),
    ("valvelab.job.certificates", "write_shown"),
)
"""Module that calls it, and its name there."""


def test_work_is_done_beside_the_event_loop(
    patient: MainWindow, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench, threads = patient.bench, defaultdict[str, set[int]](set)

    def watched(name: str, of: Callable[..., Any]) -> Callable[..., Any]:
        def work(*given: Any, **named: Any) -> Any:
            threads[name].add(threading.get_ident())
            return of(*given, **named)

        return work

    for module, name in HEAVY:
        monkeypatch.setattr(f"{module}.{name}", watched(name, getattr(import_module(module), name)))
    bench.add_files(CAMSHAFT)
    at_rest(bench)
    bench.toggle_units()
    at_rest(bench)
    for kind in patient.exports():
        patient.export(tmp_path / f"e{kind[kind.rindex('*') + 1 : -1]}", patient.exports()[kind])
        at_rest(bench)
    patient.save_certificate(tmp_path / "paper.pdf")
    patient.save_job(tmp_path / f"kept{JOB_ENDING}")
    at_rest(bench)
    patient.readings.edit(CAMSHAFT[0])
    at_rest(bench)
    assert patient.verdicts.sheet.rows_model.rows
    assert bench.document.files[0].text is not None
    assert {name for _, name in HEAVY} == set(threads)
    assert [name for name, where in threads.items() if threading.main_thread().ident in where] == []


def test_a_turn_draws_one_plot_or_one_part_of_a_picture(
    app: QApplication, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever is done to five plots of a camshaft."""
    from valvelab.window import plot_menu
    from valvelab.window.figure_item import FigureItem

    turn, seen = [0], defaultdict[str, list[int]](list)

    def counted(of: Callable[[Turns], None]) -> Callable[[Turns], None]:
        def do_next(self: Turns) -> None:
            turn[0] += 1
            of(self)

        return do_next

    def noted(name: str, of: Callable[..., Any]) -> Callable[..., Any]:
        def work(*given: Any, **named: Any) -> Any:
            seen[name].append(turn[0])
            return of(*given, **named)

        return work

    monkeypatch.setattr(Turns, "do_next", counted(Turns.do_next))
    monkeypatch.setattr(FigureItem, "__init__", noted("made", FigureItem.__init__))
    monkeypatch.setattr(FigureItem, "show", noted("shown", FigureItem.show))
    monkeypatch.setattr(plot_menu, "draw_part", noted("pictured", plot_menu.draw_part))
    bench = Bench(tmp_path / "settings")
    window = MainWindow(bench)
    window.show()
    bench.add_files(CAMSHAFT)
    at_rest(bench)
    plots = len(bench.document.state(LobesState).plots)
    for _ in range(2):
        bench.toggle_units()
        at_rest(bench)
    window.export(tmp_path / "p.png", window.exports()["Picture of what is in front (*.png)"])
    at_rest(bench)
    assert plots > 2
    assert (len(seen["made"]), len(seen["shown"])) == (plots, 3 * plots)
    assert len(seen["pictured"]) > 2
    assert {name: max(Counter(turns).values()) for name, turns in seen.items()} == {
        "made": 1,
        "shown": 1,
        "pictured": 1,
    }
    bench.history.begin(type(bench.document)())
    window.close()


def test_steps_follow_one_another_before_what_waits(app: QApplication) -> None:
    done: list[str] = []
    turns = Turns(app, patient=True)
    turns.in_steps("old", [partial(done.append, "old 1"), partial(done.append, "old 2")])
    turns.after("last", partial(done.append, "last"))
    turns.in_steps("first", [partial(done.append, "first 1"), partial(done.append, "first 2")], next_up=True)
    turns.in_steps("old", [partial(done.append, "new 1"), partial(done.append, "new 2")])
    wait_for(turns.at_rest)
    assert done == ["first 1", "first 2", "last", "new 1", "new 2"]
    at_once = Turns(app, patient=False)
    at_once.in_steps("all", [partial(done.append, "a"), partial(done.append, "b")])
    assert done[-2:] == ["a", "b"]


def test_what_is_drawn_has_a_turn_of_its_own_before_what_waits(
    app: QApplication, patient: MainWindow, monkeypatch: pytest.MonkeyPatch
) -> None:
    at_rest(patient.bench)
    said: list[str] = []
    turns = Turns(app, patient=True)
    turns.draw(lambda: said.append("drawn"))
    turns.draw(lambda: said.append("drawn anew"))
    turns.after("piece", lambda: said.append("piece"))
    turns.do_next()
    assert not said
    wait_for(turns.at_rest)
    assert said == ["drawn anew", "piece"]
    turns.end()
    turns.draw(lambda: said.append("at once"))
    assert said[-1] == "at once"
    drawn: list[str] = []
    monkeypatch.setattr(patient.turns, "draw", lambda work: (drawn.append("window"), work()))
    patient.update()
    QApplication.processEvents()
    assert drawn == ["window"]


def test_what_comes_by_itself_is_shown_in_a_turn_of_its_own_and_what_a_person_does_at_once(
    patient: MainWindow, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench, shown, came = patient.bench, list[tuple[System, bool]](), list[bool]()
    show_answer = LobesView.show_answer

    def noted(self: LobesView, document: Document, inspection: LobesInspection) -> None:
        shown.append((document.units, bench.changes_by_itself))
        show_answer(self, document, inspection)

    monkeypatch.setattr(LobesView, "show_answer", noted)
    bench.document_changed.connect(lambda *_: came.append(bench.changes_by_itself))
    bench.add_files(CAMSHAFT)
    at_rest(bench)
    assert {True, False} == set(came)
    assert {by_itself for _, by_itself in shown} == {False}
    bench.toggle_units()
    assert shown[-1] == ("inch", False)
    at_rest(bench)


def test_readings_that_come_in_a_burst_stand_where_they_were_asked_for(patient: MainWindow) -> None:
    """As from a gauge that types: each meets the page that the one before has left."""
    bench = patient.bench
    bench.go_to_bay("phasing")
    at_rest(bench)
    view = patient.pages.front()
    assert isinstance(view, PhasingView)
    view.start_new()
    QTest.keyClicks(view.guide.field, "-28.5\r31\r77.5\r143\r")
    sheet = phasing_bay.sheet_in_front(bench.document)
    assert sheet.stop_deg == (-28.5, 31.0)
    assert [(pair.rising_deg, pair.falling_deg) for pair in sheet.pairs] == [(77.5, 143.0), (None, None)]
    at_rest(bench)


def test_rings_of_garbage_are_searched_for_at_rest(app: QApplication, monkeypatch: pytest.MonkeyPatch) -> None:
    def searched() -> int:
        return int(gc.get_stats()[2]["collections"])

    rest, usual = [False], gc.get_threshold()
    monkeypatch.setattr(garbage, "WORTH", 0)
    monkeypatch.setattr(garbage, "REST_MS", 1)
    sweeper = garbage.Sweeper(app, lambda: rest[0])
    before = searched()
    sweeper.put_off()
    QTest.qWait(20)
    assert searched() == before, "not while something is done"
    rest[0] = True
    wait_for(lambda: searched() == before + 1)
    assert not sweeper.isActive()
    assert gc.get_threshold() != usual
    sweeper.end()
    assert gc.get_threshold() == usual


LOADING = """
import gc, sys, tempfile, threading
from importlib.abc import MetaPathFinder
from pathlib import Path
from PySide6.QtWidgets import QApplication
HEAVY = {"numpy", "numpy.ma", "scipy", "pyqtgraph", "reportlab", "openpyxl", "xlsxwriter", "pypdf", "sqlalchemy"}
seen = {}
class Watch(MetaPathFinder):
    def find_spec(self, name, path, target=None):
        if name in HEAVY:
            seen.setdefault(name, threading.current_thread() is threading.main_thread())
sys.meta_path.insert(0, Watch())
from valvelab.window.bench import Bench
from valvelab.window.main_window import MainWindow
from valvelab.workbench import bays
application = QApplication(["calm"])
place = Path(tempfile.mkdtemp())
bench = Bench(place)
searched = gc.get_stats()[2]["collections"]
window = MainWindow(bench)
window.show()
application.processEvents()
def settle():
    while not bench.at_rest() or bench.document.unread() or bays.outstanding(bench.document) is not None:
        application.processEvents()
bench.load_ahead()
bench.add_files(sys.argv[1:])
settle()
kinds = window.exports()
window.export(place / "e.xlsx", kinds["Results as a workbook (*.xlsx)"])
settle()
window.save_certificate(place / "paper.pdf")
settle()
assert (place / "e.xlsx").exists() and (place / "paper.pdf").exists()
assert {"numpy", "numpy.ma", "pyqtgraph", "reportlab"} <= set(seen), seen
assert gc.get_freeze_count() > 50_000, "what was loaded is not searched for rings"
assert gc.get_stats()[2]["collections"] == searched, "nor anything by itself"
assert not any(seen.values()), seen
import os
os._exit(0)
"""


def test_libraries_are_loaded_beside_the_event_loop() -> None:
    done = subprocess.run(
        [sys.executable, "-c", LOADING, *CAMSHAFT], cwd=ROOT, capture_output=True, text=True, check=False, timeout=120
    )
    assert done.returncode == 0, done.stderr
