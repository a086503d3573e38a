"""How calm the window is: the main thread's CPU in the longest turn of the event loop.

python tests/benchmarks/bench_calm.py [many SPRINGS | lobes LOBES | NAME]: a tray of many springs, read in one stage and
in four; a camshaft of many lobes; the samples of that name. Without any, every sample, 60 lobes and 1,000 springs, each
in a process of its own.

python tests/benchmarks/bench_calm.py figures: the longest of all, as JSON for tests/benchmarks/all.py

A turn is all that the loop does between two ticks of a timer without interval: as a rule one piece of work and the
painting that follows from it. Another busy process on the machine makes turns longer. What each sample has done to it:
opened, gone from and come back to, typed into, shown in other units and colours, saved, certified, exported.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
from invented_camshaft import LOBES, write_spec, write_table
from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QApplication
from spring_cases import write_season

from valvelab.files.contents import JOB_ENDING
from valvelab.places import sample_profiles
from valvelab.window import theme
from valvelab.window.bays.view import BayView
from valvelab.window.bench import Bench
from valvelab.window.main_window import MainWindow
from valvelab.window.start import load_then
from valvelab.workbench import bays

if TYPE_CHECKING:
    from valvelab.workbench.document import Document

SPEC = '[fitting]\ninstalled_height="38 mm"\nvalve_lift="8 mm"\n[[limit]]\nof="seat_force"\nmin="225 N"\nmax="255 N"\n'
SAMPLES = {bay.name: bay.sample for bay in bays.BAYS} | {
    "springs": ("springs_quillmere_tray.csv", "springs_quillmere_spec.toml", "springs_quillmere_heights.csv"),
    "season": ("springs_quillmere_after_a_season.csv", "springs_quillmere_season.toml"),
    "job": ("job.toml",),
    "v8": ("lake_v8_job.toml",),
    "meeting": ("quillmere_meeting_job.toml",),
    "tender": ("lake_tender_job.toml",),
    "others": (
        "hydroplane_journal_trace.smd",
        "quillmere_four_degree_wheel.toml",
        "quillmere_dial_card.toml",
        "quillmere_spring_tester_card.toml",
    ),
}
"""What is opened together: the samples of every bay, of the jobs, and those that are in none of them."""
MANY = (("lobes", "60"), ("many", "1000"))
REST_S, LONGEST_S = 0.5, 60.0
KINDS = (
    "Results as a workbook (*.xlsx)",
    "Results as QIF (*.qif)",
    "Verdicts as shown (*.csv)",
    "Picture of what is in front (*.png)",
)


class Turns:
    """CPU of every turn of the event loop since `begin`."""

    def __init__(self) -> None:
        self.each_s: list[float] = []
        self.longest_ms: dict[str, float] = {}
        self._last = time.thread_time()
        self._tick = QTimer(interval=0)
        self._tick.timeout.connect(self._on_tick)
        self._tick.start()

    def _on_tick(self) -> None:
        now = time.thread_time()
        self.each_s.append(now - self._last)
        self._last = now

    def measure(self, name: str, act: Callable[[], object], settled: Callable[[], bool]) -> None:
        """Do something, wait until the window is at rest, and keep the longest turn."""
        self._on_tick()
        self.each_s.clear()
        begun = time.monotonic()
        act()
        while (passed := time.monotonic() - begun) < REST_S or (not settled() and passed < LONGEST_S):
            QApplication.processEvents()
        self._on_tick()
        self.longest_ms[name] = 1e3 * max(self.each_s)


class Window:
    """A window that is looked at, and whether it is at rest."""

    def __init__(self) -> None:
        self.application = QApplication(["bench"])
        theme.dress(self.application)
        self.place = Path(tempfile.mkdtemp())
        self.bench = Bench(self.place / "settings")
        self.window = MainWindow(self.bench)
        self.window.resize(1600, 1000)
        self.window.show()
        QApplication.processEvents()
        self.turns = Turns()
        begun: list[bool] = []

        def begin() -> None:
            self.bench.load_ahead()
            begun.append(True)

        self.turns.measure("first paint", lambda: load_then(begin), lambda: bool(begun) and self.settled())

    def settled(self) -> bool:
        """Nothing is being read, asked or written."""
        document: Document = self.bench.document
        return self.bench.at_rest() and not document.unread() and bays.outstanding(document) is None

    def do(self, acts: dict[str, Callable[[], object]]) -> None:
        """Do one after another."""
        for name, act in acts.items():
            self.turns.measure(name, act, self.settled)

    def darken(self) -> None:
        """The other theme."""
        theme.set_scheme("dark")
        self.window.restyle()

    def go(self, name: str) -> Callable[[], object]:
        """Bring a bay to the front."""
        return self.window.bay_actions[name].trigger

    def work_with(self) -> None:
        """Everything that a person does with what lies on the bench."""
        bench, window = self.bench, self.window
        bay = bench.document.bay
        other = next(one.name for one in bays.BAYS if one.name != bay)
        self.do({"to another bay": self.go(other), "back": self.go(bay)})
        self.do({"open the limits": window.open_limits, "other units": bench.toggle_units, "other theme": self.darken})
        for file in bench.document.files[:4]:
            text = Path(file.path).read_text(encoding="utf-8")
            typed = text.rstrip() + "\n# typed\n" if file.path.endswith(".toml") else text.rstrip() + "\n"
            self.do(
                {
                    f"edit {file.name}": lambda path=file.path: window.readings.edit(path),
                    f"type into {file.name}": lambda path=file.path, text=typed: bench.retype(path, text, "type"),
                }
            )
        self.do({"undo": bench.history.undo, "redo": bench.history.redo})
        self.do({"save": lambda: window.save_job(self.place / f"kept{JOB_ENDING}")})
        self.do({"certificate": lambda: window.save_certificate(self.place / "paper.pdf")})
        self.do({f"export {kind}": lambda kind=kind: self.export(kind) for kind in window.exports()})

    def export(self, kind: str) -> None:
        """Export as a person does: the kinds are worked out first."""
        self.window.export(self.place / f"export{kind[kind.rindex('*') + 1 : -1]}", self.window.exports()[kind])


def sample(name: str) -> Window:
    """Samples that belong together; of a bay's, the bay as well."""
    seen = Window()
    files = [str(sample_profiles() / file) for file in SAMPLES[name]]
    seen.do({"open": lambda: seen.bench.add_files(files)})
    if name in seen.window.bay_actions:
        seen.do({f"to {name}": seen.go(name)})
    seen.work_with()
    return seen


def lobes(many: int) -> Window:
    """A camshaft of many lobes."""
    seen = Window()
    spec = write_spec(seen.place)
    table = write_table(
        seen.place / "shaft.csv", tuple(LOBES[number % len(LOBES)] for number in range(many)), names=False
    )
    head = ",".join(["angle [cam deg]", *(f"L{number:02d} [mm]" for number in range(1, many + 1))])
    table.write_text(f"# base circle radius: 15 mm\n{head}\n{table.read_text(encoding='utf-8')}", encoding="utf-8")
    seen.do({"open": lambda: seen.bench.add_files([str(table), str(spec)])})
    seen.work_with()
    return seen


def springs(many: int) -> Window:
    """Open, look at, regroup and redraw a tray."""
    from valvelab.window.bays.springs_view import SpringsView
    from valvelab.workbench.sets import Grouping, SpringsState
    from valvelab.workbench.springs_bay import readings_of

    seen = Window()
    bench, place, window = seen.bench, seen.place, seen.window
    generator = np.random.default_rng(1)
    names = [f"S{number:04d}" for number in range(many)]
    lost = {name: (0.0, *np.cumsum(np.abs(generator.normal(0.01, 0.005, 3)))) for name in names}
    season = write_season(place / "season.csv", lost, noise=0.5)
    once = write_season(place / "once.csv", dict.fromkeys(names, (0.0,)), (("new", "2026-03-01"),), noise=2.0)
    (place / "spec.toml").write_text(SPEC, encoding="utf-8")

    def page(name: str) -> Callable[[], object]:
        return lambda: bench.set(SpringsState, page=name)

    def group() -> None:
        sets = Grouping(tuple(tuple(names[start : start + 16]) for start in range(0, many - 40, 16)))
        bench.set(SpringsState, "match sets", groupings={readings_of(bench.document): sets})

    def move() -> None:
        view = window.pages.front()
        assert isinstance(view, BayView)
        assert isinstance(view, SpringsView)
        view.sets_pane.move_springs((names[many // 3],), 3)

    seen.do(
        {
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
            "other theme": seen.darken,
            "save": lambda: window.save_job(place / f"kept{JOB_ENDING}"),
            "certificate": lambda: window.save_certificate(place / "paper.pdf"),
            **{f"export {kind}": lambda kind=kind: seen.export(kind) for kind in KINDS},
            "open four stages": lambda: bench.add_files([str(season)]),
            "stages": page("stages"),
            "choose a spring there": lambda: bench.set(SpringsState, spring=names[many // 4]),
            "other units there": bench.toggle_units,
            "sets of four stages": page("sets"),
            "list of four stages": page("springs"),
        }
    )
    return seen


def main(asked: list[str]) -> None:
    """What is named, in this process."""
    many = int(asked[1]) if asked[1:] and asked[1].isdigit() else 0
    seen = sample(asked[0]) if not many else springs(many) if asked[0] == "many" else lobes(many)
    print(json.dumps(seen.turns.longest_ms))
    sys.stdout.flush()
    os._exit(0)


def told(*asked: str) -> dict[str, float]:
    """The longest turn of each act, in a process of its own."""
    done = subprocess.run([sys.executable, __file__, "of", *asked], check=True, capture_output=True, text=True)
    found: dict[str, float] = json.loads(done.stdout)
    return found


def figures() -> list[tuple[str, float, float]]:
    """Name, what is asked at most, and what this run gave."""
    few = max(max(told(name).values()) for name in SAMPLES)
    many = max(max(told(*asked).values()) for asked in MANY)
    return [
        ("longest block of the event loop on any sample, ms of main-thread CPU", 50.0, few),
        ("the same with 60 lobes or 1,000 springs", 100.0, many),
    ]


if __name__ == "__main__":
    if sys.argv[1:2] == ["of"]:
        main(sys.argv[2:])
    elif sys.argv[1:] == ["figures"]:
        print(json.dumps(figures()))
    else:
        for asked in [tuple(sys.argv[1:])] if sys.argv[1:] else [*zip(SAMPLES), *MANY]:
            print(" ".join(asked))
            for act, longest in told(*asked).items():
                print(f"  {act:52s} {longest:6.0f} ms")
