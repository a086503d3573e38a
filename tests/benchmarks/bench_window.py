"""How fast the window is: first paint against a bare plot window, a drag of the checking lift against a bare repaint.

python tests/benchmarks/bench_window.py [lift table [spec]]
python tests/benchmarks/bench_window.py figures: those that are asked of the window, as JSON for tests/benchmarks/all.py

Both starts run in turn in the same minutes, and the least of several is compared. A bare repaint shows another curve
of 720 points in a plot window of the same size.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from PySide6.QtWidgets import QApplication

ROOT = Path(__file__).parents[2]
SAMPLE = [str(ROOT / "sample_profiles" / f"lake_v8_camshaft.{ending}") for ending in ("csv", "toml")]

FILTER = """
import sys
from PySide6.QtCore import QEvent, QObject, QTimer
from PySide6.QtWidgets import QApplication, QMainWindow
class FirstPaint(QObject):
    def eventFilter(self, watched, event):
        if event.type() == QEvent.Type.Paint and watched.isWidgetType() and isinstance(watched.window(), QMainWindow):
            QTimer.singleShot(0, leave)
            app.removeEventFilter(self)
        return False
def leave():
    import os
    os._exit(0)
app = QApplication(["bench"])
seen = FirstPaint()
app.installEventFilter(seen)
"""
BARE = (
    FILTER
    + """
import pyqtgraph as pg
window = QMainWindow()
window.setCentralWidget(pg.PlotWidget())
window.resize(1280, 720)
window.show()
app.exec()
"""
)
OURS = (
    FILTER
    + """
from valvelab.window.start import run
run(sys.argv[1:])
"""
)


def start_ms(code: str, files: list[str], place: str) -> float:
    """Process start to first paint."""
    environment = {**os.environ, "VALVELAB_SETTINGS": place}
    began = time.perf_counter()
    subprocess.run([sys.executable, "-c", code, *files], check=True, env=environment, stderr=subprocess.DEVNULL)
    return 1e3 * (time.perf_counter() - began)


def start_ratios(files: list[str], rounds: int = 7) -> dict[str, float]:
    """First paint over that of a bare plot window, with and without files, the least of some rounds in turn."""
    with tempfile.TemporaryDirectory() as place:
        taken: dict[str, list[float]] = {"bare": [], "empty bench": [], "with files": []}
        for _ in range(rounds):
            taken["bare"].append(start_ms(BARE, [], place))
            taken["empty bench"].append(start_ms(OURS, [], place))
            taken["with files"].append(start_ms(OURS, files, place))
    return {name: min(times) / min(taken["bare"]) for name, times in taken.items()}


def figures() -> list[tuple[str, float, float]]:
    """Name, what is asked at most, and what this run gave."""
    from PySide6.QtWidgets import QApplication

    from valvelab.window import theme
    from valvelab.window.bench import Bench
    from valvelab.window.garbage import Sweeper
    from valvelab.window.main_window import MainWindow
    from valvelab.workbench.lobes_bay import LobesState

    ratios = start_ratios(SAMPLE)
    application = QApplication(["bench"])
    theme.dress(application)
    with tempfile.TemporaryDirectory() as place:
        bench = Bench(Path(place), background=False)
        # garbage waits for rest, as where a bench works in the background
        sweeper = Sweeper(application, lambda: False)
        window = MainWindow(bench)
        window.resize(1600, 1000)
        window.show()
        bench.add_files([str(ROOT / "sample_profiles" / "lake_v8_job.toml")])
        application.processEvents()
        peak = int(Path("/proc/self/status").read_text(encoding="ascii").split("VmHWM:")[1].split()[0]) / 1024.0
        names = [name for name, action in window.bay_actions.items() if action.isEnabled()]
        back: list[float] = []
        for turn in range(3):
            for name in names:
                began = time.process_time()
                window.bay_actions[name].trigger()
                application.processEvents()
                if turn:
                    back.append(1e3 * (time.process_time() - began))
        window.bay_actions["lobes"].trigger()
        application.processEvents()
        drags = []
        for number in range(150):
            began = time.thread_time()
            bench.set(LobesState, "drag", "drag", checking_lift_mm=0.6 + 0.02 * number)
            application.processEvents()
            drags.append(1e3 * (time.thread_time() - began))
        window.close()
        sweeper.end()
    return [
        ("first paint, empty, over a bare plot window", 1.0, ratios["empty bench"]),
        ("first paint, with files, over the same", 1.2, ratios["with files"]),
        ("back to a visited bay, ms of CPU, the dearest", 60.0, max(back)),
        ("drag of the checking lift at 16 lobes, ms of main-thread CPU, median", 8.0, median(drags[10:])),
        ("memory with the V8 job open, MB", 400.0, peak),
    ]


def repaint_ms(application: QApplication, updates: int = 100) -> float:
    """Median time in which a bare plot window shows another curve."""
    import numpy as np
    import pyqtgraph as pg

    bare = pg.PlotWidget()
    bare.resize(1280, 720)
    curve = bare.plot(np.zeros(720))
    bare.show()
    application.processEvents()
    taken = []
    for number in range(updates):
        began = time.perf_counter()
        curve.setData(np.sin(np.arange(720) / 60.0 + 0.1 * number))
        application.processEvents()
        taken.append(1e3 * (time.perf_counter() - began))
    bare.close()
    return median(taken)


def drag(files: list[str], updates: int = 200) -> None:
    """One update of a checking-lift drag: edit, durations of all lobes, repaint."""
    from PySide6.QtWidgets import QApplication

    from valvelab.window import theme
    from valvelab.window.bench import Bench
    from valvelab.window.main_window import MainWindow
    from valvelab.workbench.lobes_bay import LobesState

    application = QApplication(["bench"])
    theme.dress(application)
    bare = repaint_ms(application)
    with tempfile.TemporaryDirectory() as place:
        bench = Bench(Path(place), background=False)
        window = MainWindow(bench)
        window.resize(1280, 720)
        window.show()
        began = time.perf_counter()
        bench.add_files(files)
        application.processEvents()
        print(f"read, inspect, draw    {1e3 * (time.perf_counter() - began) / bare:6.1f} × bare repaint")
        taken = []
        for number in range(updates):
            began = time.perf_counter()
            bench.set(LobesState, "drag", "drag", checking_lift_mm=0.6 + 0.02 * number)
            application.processEvents()
            taken.append(1e3 * (time.perf_counter() - began))
        taken = sorted(taken[10:])
        slow = taken[int(0.95 * len(taken))]
        print(f"drag update            {median(taken) / bare:6.1f} × median, {slow / bare:.1f} × at 95 %")
        window.close()


if __name__ == "__main__":
    if sys.argv[1:] == ["figures"]:
        print(json.dumps(figures()))
        sys.exit()
    chosen = sys.argv[1:] or SAMPLE
    for name, ratio in start_ratios(chosen).items():
        print(f"first paint, {name:12} {ratio:.2f} × bare")
    drag(chosen)
