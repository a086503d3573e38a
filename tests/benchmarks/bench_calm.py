"""How calm the window is over many springs: the main thread's CPU in the longest turn of the event loop.

python tests/benchmarks/bench_calm.py [springs]

Read in one stage, then in four. A turn is all that the loop does between two ticks of a timer without interval: as a
rule one piece of work and the painting that follows from it. Another busy process on the machine makes turns longer.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QApplication
from spring_cases import write_season

from valvelab.window import theme
from valvelab.window.bays.springs_view import SpringsView
from valvelab.window.bench import Bench
from valvelab.window.main_window import MainWindow
from valvelab.workbench import bays
from valvelab.workbench.sets import Grouping, SpringsState
from valvelab.workbench.springs_bay import readings_of

if TYPE_CHECKING:
    from valvelab.workbench.document import Document

SPEC = '[fitting]\ninstalled_height="38 mm"\nvalve_lift="8 mm"\n[[limit]]\nof="seat_force"\nmin="225 N"\nmax="255 N"\n'
REST_S, LONGEST_S = 1.0, 60.0


class Turns:
    """CPU of every turn of the event loop since `begin`."""

    def __init__(self) -> None:
        self.each_s: list[float] = []
        self._last = time.thread_time()
        self._tick = QTimer(interval=0)
        self._tick.timeout.connect(self._on_tick)
        self._tick.start()

    def _on_tick(self) -> None:
        now = time.thread_time()
        self.each_s.append(now - self._last)
        self._last = now

    def measure(self, name: str, act: Callable[[], object], settled: Callable[[], bool]) -> None:
        """Do something, wait until the window is at rest, and print the longest turn."""
        self._on_tick()
        self.each_s.clear()
        begun = time.monotonic()
        act()
        while (passed := time.monotonic() - begun) < REST_S or (not settled() and passed < LONGEST_S):
            QApplication.processEvents()
        self._on_tick()
        print(f"{name:28s} {1e3 * max(self.each_s):6.0f} ms")


def main(many: int) -> None:
    """Open, look at, regroup and redraw a tray."""
    application = QApplication(["bench"])
    theme.dress(application)
    generator, place = np.random.default_rng(1), Path(tempfile.mkdtemp())
    names = [f"S{number:04d}" for number in range(many)]
    lost = {name: (0.0, *np.cumsum(np.abs(generator.normal(0.01, 0.005, 3)))) for name in names}
    season = write_season(place / "season.csv", lost, noise=0.5)
    once = write_season(place / "once.csv", dict.fromkeys(names, (0.0,)), (("new", "2026-03-01"),), noise=2.0)
    (place / "spec.toml").write_text(SPEC, encoding="utf-8")
    bench = Bench(place / "settings")
    window = MainWindow(bench)
    window.resize(1600, 1000)
    window.show()
    turns = Turns()

    def settled() -> bool:
        document: Document = bench.document
        return not document.unread() and bays.outstanding(document) is None

    def page(name: str) -> Callable[[], object]:
        return lambda: bench.set(SpringsState, page=name)

    def group() -> None:
        sets = Grouping(tuple(tuple(names[start : start + 16]) for start in range(0, many - 40, 16)))
        bench.set(SpringsState, "match sets", groupings={readings_of(bench.document): sets})

    def move() -> None:
        view = window.pages.front()
        assert isinstance(view, SpringsView)
        view.sets_pane.move_springs((names[many // 3],), 3)

    def darken() -> None:
        theme.set_scheme("dark")
        window.restyle()

    acts: dict[str, Callable[[], object]] = {
        "open": lambda: bench.add_files([str(once), str(place / "spec.toml")]),
        "sets": group,
        "undo": bench.history.undo,
        "redo": bench.history.redo,
        "choose a spring": lambda: bench.set(SpringsState, spring=names[many // 2]),
        "move a spring": move,
        "list of springs": page("springs"),
        "one spring": page("spring"),
        "back to the sets": page("sets"),
        "other units": bench.toggle_units,
        "other theme": darken,
        "open four stages": lambda: bench.add_files([str(season)]),
        "stages": page("stages"),
        "choose a spring there": lambda: bench.set(SpringsState, spring=names[many // 4]),
        "other units there": bench.toggle_units,
        "sets of four stages": page("sets"),
        "list of four stages": page("springs"),
    }
    for name, act in acts.items():
        turns.measure(name, act, settled)
    sys.stdout.flush()
    os._exit(0)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
