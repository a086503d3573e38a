"""What takes its time is never done in the event loop: it is asked of the background, and loaded there."""

from __future__ import annotations

import subprocess
import sys
import threading
from collections import defaultdict
from collections.abc import Callable, Iterator
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest
from PySide6.QtWidgets import QApplication
from waiting import wait_for

from valvelab.files.contents import JOB_ENDING
from valvelab.window.bench import Bench
from valvelab.window.main_window import MainWindow
from valvelab.workbench import bays

ROOT = Path(__file__).resolve().parent.parent
SAMPLES = ROOT / "sample_profiles"
CAMSHAFT = [str(SAMPLES / name) for name in ("quillmere_four_camshaft.csv", "quillmere_four_camshaft.toml")]

HEAVY = (
    ("valvelab.window.bench", "read_content"),
    ("valvelab.window.bench", "answer"),
    ("valvelab.window.bench", "write_whole"),
    ("valvelab.window.entry_pane", "opened_text"),
    ("valvelab.window.plot_menu", "points_csv"),
    ("valvelab.window.plot_menu", "_png"),
    ("valvelab.window.table_menu", "csv_text"),
    ("valvelab.workbench.exports", "exchanged"),
    ("valvelab.workbench.jobs", "packed"),
    ("valvelab.job.certificates", "write_shown"),
)
"""Module that calls it, and its name there."""


@pytest.fixture
def patient(app: QApplication, tmp_path: Path) -> Iterator[MainWindow]:
    """A window with a background, as a person has it."""
    app.processEvents()
    bench = Bench(tmp_path / "settings")
    window = MainWindow(bench)
    window.show()
    yield window
    wait_for(bench.at_rest)
    bench.history.begin(type(bench.document)())
    window.close()


def settle(bench: Bench) -> None:
    wait_for(lambda: bench.at_rest() and not bench.document.unread() and bays.outstanding(bench.document) is None)


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
    settle(bench)
    for kind in patient.exports():
        patient.export(tmp_path / f"e{kind[kind.rindex('*') + 1 : -1]}", patient.exports()[kind])
        settle(bench)
    patient.save_certificate(tmp_path / "paper.pdf")
    patient.save_job(tmp_path / f"kept{JOB_ENDING}")
    settle(bench)
    patient.readings.edit(CAMSHAFT[0])
    settle(bench)
    assert patient.verdicts.sheet.rows_model.rows
    assert bench.document.files[0].text is not None
    assert {name for _, name in HEAVY} == set(threads)
    assert [name for name, where in threads.items() if threading.main_thread().ident in where] == []


LOADING = """
import sys, tempfile, threading
from importlib.abc import MetaPathFinder
from pathlib import Path
from PySide6.QtWidgets import QApplication
HEAVY = {"numpy", "scipy", "pyqtgraph", "reportlab", "openpyxl", "xlsxwriter", "pypdf", "sqlalchemy"}
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
assert {"numpy", "pyqtgraph", "reportlab"} <= set(seen), seen
assert not any(seen.values()), seen
import os
os._exit(0)
"""


def test_libraries_are_loaded_beside_the_event_loop() -> None:
    done = subprocess.run(
        [sys.executable, "-c", LOADING, *CAMSHAFT], cwd=ROOT, capture_output=True, text=True, check=False, timeout=120
    )
    assert done.returncode == 0, done.stderr
