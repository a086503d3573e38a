"""Hours in the window, by a script: what a person does there, again and again, and what the program keeps of it.

`QT_QPA_PLATFORM=offscreen python tests/hard_use/soak.py [MINUTES] [SEED]`: rounds (60 minutes of them) of opening the
window, STEPS things that a person does, drawn by the seed, and closing it. A fault is an exception in any thread, a
warning of Qt, a box that nobody asked for, work that takes more than LONGEST_S, anything of a window that is still
there after it was closed, and, after WARM rounds, open files or threads that grow, or memory that grows by more than
MOST_GROWTH a round in the last half of them. Exit code 1 where there is one.
For Linux with glibc.
"""

from __future__ import annotations

import argparse
import ctypes
import gc
import importlib
import os
import random
import sys
import tempfile
import threading
import time
import traceback
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from types import TracebackType
from unittest.mock import patch

import numpy as np
from PySide6.QtCore import Qt, QTimer, qInstallMessageHandler
from PySide6.QtGui import QPixmapCache
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QFileDialog, QGraphicsItem, QPushButton, QWidget
from shiboken6 import Object, isValid

from valvelab.places import sample_profiles
from valvelab.window import theme
from valvelab.window.bench import Bench
from valvelab.window.job_keeper import Answer
from valvelab.window.main_window import MainWindow
from valvelab.workbench import bays
from valvelab.workbench.entry_kinds import KINDS

STEPS = 40
"""Things done in a window before it is closed."""
WARM = 8
"""Rounds after which every module has been loaded that is not LATE."""
LATE = ("scipy.interpolate", "scipy.optimize", "scipy.sparse.csgraph", "scipy.spatial", "scipy.special")
"""What some questions load, 46 MiB in whichever round asks the first of them: loaded before the first round."""
LONGEST_S = 180.0
MOST_GROWTH = 1.0
"""MiB of resident memory a round, by a line through the later half of the rounds after WARM: what is kept up to a bound
fills over an hour, and what leaks never ends."""
MORE_FILES = 4
"""Open files or threads that may be there beyond those after WARM."""
PAUSE_MS = 5
TYPED = ("38.2", "246", "1,5", "", "Q01", "x", "-3", "40 mm", "1e9", "0.001", "12 in", "µ")
ADDED = ("40\n", "38 mm\n", "1I 1E\n", "0 to 355 by 5\n", "J1 at 14 mm\n", "A\n", "1 to 10\n", "nonsense\n")


@dataclass
class State:
    """What the process holds: resident memory in MiB, open files, threads, and what is left of closed windows."""

    memory: float
    files: int
    threads: int
    left: Counter[str] = field(default_factory=Counter)


def state() -> State:
    """What this process holds now, less what its allocator and Qt's cache of pictures (64 MiB) keep for later."""
    gc.collect()
    QPixmapCache.clear()
    ctypes.CDLL(None).malloc_trim(0)
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    memory = pages * os.sysconf("SC_PAGE_SIZE") / 2**20
    files, threads = (sum(1 for _ in Path("/proc/self", name).iterdir()) for name in ("fd", "task"))
    return State(memory, files, threads, left_over())


def left_over() -> Counter[str]:
    """Widgets that are there, and by their types what Python holds of widgets and items of plots, gone ones too."""
    found = Counter(widgets=len(QApplication.allWidgets()))
    for one in gc.get_objects():
        if isinstance(one, Object) and (isinstance(one, QWidget | QGraphicsItem) or not isValid(one)):
            found[type(one).__name__] += 1
    return +found


@dataclass
class Soak:
    """A person of no patience at one bench; `place` is a folder for settings and files."""

    place: Path
    chance: random.Random
    faults: list[str] = field(default_factory=list)
    done: Counter[str] = field(default_factory=Counter)
    last: str = ""
    busy: str = ""
    jobs: list[Path] = field(default_factory=list)
    written: int = 0

    def fault(self, what: str) -> None:
        """Remember a fault with what was done before it."""
        self.faults.append(f"after {sum(self.done.values())} steps, {self.last}: {what}")

    # -- hooks ------------------------------------------------------------------------------------------------------

    @contextmanager
    def watching(self) -> Iterator[None]:
        """Exceptions, Qt's words and boxes count as faults; files are named and questions answered by chance."""

        def told(kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> None:
            self.fault("".join(traceback.format_exception(kind, error, trace)))

        def said(_kind: object, _context: object, text: str) -> None:
            if "This plugin does not support" not in text:
                self.fault(f"Qt: {text}")

        def answered(_window: MainWindow) -> Answer:
            answers: tuple[Answer, ...] = ("save", "keep", "discard", "discard")
            return self.chance.choice(answers)

        boxes = QTimer(interval=500)
        boxes.timeout.connect(self._close_boxes)
        boxes.start()
        qInstallMessageHandler(said)
        try:
            with (
                patch.object(sys, "excepthook", told),
                patch.object(threading, "excepthook", lambda found: told(*found[:3])),
                patch.object(QFileDialog, "getSaveFileName", self._named),
                patch.object(MainWindow, "ask_unsaved", answered),
            ):
                yield
        finally:
            qInstallMessageHandler(None)
            boxes.stop()

    def _close_boxes(self) -> None:
        box = QApplication.activeModalWidget() or QApplication.activePopupWidget()
        if box is not None:
            self.fault(f"a box that nobody asked for: {box.windowTitle() or type(box).__name__}")
            box.close()

    def _named(self, _parent: QWidget, title: str, suggestion: str, kinds: str = "") -> tuple[str, str]:
        self.written += 1
        path = self.place / f"{self.written:06d}{Path(suggestion).suffix}"
        if path.suffix == ".valvejob":
            self.jobs.append(path)
        if title == "Export":  # every kind in its turn
            every = kinds.split(";;")
            return str(path.with_suffix("")), every[self.written % len(every)]
        return str(path), ""

    # -- rounds -----------------------------------------------------------------------------------------------------

    def settle(self) -> None:
        """Let the window go on until nothing is being worked out."""
        until, calm = time.monotonic() + LONGEST_S, 0
        while calm < 3:
            QTest.qWait(PAUSE_MS)
            calm = 0 if self.busy else calm + 1
            if time.monotonic() > until:
                self.fault(f"still busy after {LONGEST_S:g} s: {self.busy}")
                return

    def round(self, steps: int = STEPS) -> None:
        """A window from opening to closing."""
        self.last, self.busy = "open", ""
        bench = Bench(self.place / "settings")
        bench.busy_changed.connect(lambda label: setattr(self, "busy", label))
        window = MainWindow(bench)
        window.resize(1280, 720)
        window.show()
        window.left.ask()
        self.settle()
        for _ in range(steps):
            name = self.chance.choice([*DOINGS, *OFTEN])
            self.last = name
            try:
                DOINGS[name](self, window)
                self.settle()
            except Exception:  # noqa: BLE001 - whatever comes out is what is looked for
                self.fault(traceback.format_exc())
            self.done[name] += 1
        self.last = "close"
        while not window.close():
            self.settle()
        for one in (window, bench):
            one.deleteLater()
        del one, window, bench
        self.settle()
        self._tidy()

    def _tidy(self) -> None:
        """Files written in the last round are not wanted any more, but for the newest job."""
        for path in self.place.glob("0*"):
            if path not in self.jobs[-1:]:
                path.unlink()
        del self.jobs[:-1]


def _bay(soak: Soak, window: MainWindow) -> None:
    window.bay_actions[soak.chance.choice(sorted(window.bay_actions))].trigger()


def _all_bays(soak: Soak, window: MainWindow) -> None:
    for action in window.bay_actions.values():
        action.trigger()
        soak.settle()


def _sample(soak: Soak, window: MainWindow) -> None:
    _bay(soak, window)
    window.do("sample")


def _file(soak: Soak, window: MainWindow) -> None:
    window.open_paths([str(soak.chance.choice(sorted(sample_profiles().iterdir())))])


def _type(soak: Soak, window: MainWindow) -> None:
    kind = soak.chance.choice(KINDS)
    window.activateWindow()
    window.bay_actions[bays.takers(kind.kind)[0].name].trigger()  # where it is not in front, no key would reach it
    soak.settle()
    window.readings.begin(kind)
    soak.settle()
    _keys(soak.chance.choice(ADDED))
    soak.settle()
    pane = window.readings.pane
    assert pane is not None
    pane.grid.setFocus()
    if pane.grid.model().rowCount() and pane.grid.model().columnCount():
        pane.grid.go_to(0, 0)
    for _ in range(12):
        _keys(f"{soak.chance.choice(TYPED)}\n")
    window.readings.settle()


def _keys(text: str) -> None:
    """Keys to whatever has the focus; Enter for a line feed."""
    for sign in text:
        target = QApplication.focusWidget()
        if target is None:
            return
        if sign == "\n":
            QTest.keyClick(target, Qt.Key.Key_Return)
        else:
            QTest.keyClicks(target, sign)


def _edit(soak: Soak, window: MainWindow) -> None:
    files = [file for file in window.bench.document.files if file.text is not None]
    if files:
        window.readings.edit(soak.chance.choice(files).path)
        QApplication.processEvents()
        _keys(f"{soak.chance.choice(TYPED)}\n")


def _remove(soak: Soak, window: MainWindow) -> None:
    if window.bench.document.files:
        window.bench.remove_file(soak.chance.choice(window.bench.document.files).path)


def _back_and_forth(soak: Soak, window: MainWindow) -> None:
    for _ in range(soak.chance.randrange(1, 12)):
        window.do(soak.chance.choice(("undo", "undo", "redo")))


def _match(soak: Soak, window: MainWindow) -> None:
    if bays.by_name("springs") is not None:
        window.bay_actions["springs"].trigger()
    for button in window.findChildren(QPushButton):
        if button.text() == "Match sets" and button.isVisible() and button.isEnabled():
            button.click()
            return


def _job_again(soak: Soak, window: MainWindow) -> None:
    window.do("save_job")
    soak.settle()
    window.do("new_job")
    soak.settle()
    if soak.jobs and soak.jobs[-1].exists():
        window.open_paths([str(soak.jobs[-1])])


def _choose(soak: Soak, window: MainWindow) -> None:
    sheet = window.verdicts.sheet
    if rows := sheet.proxy.rowCount():
        sheet.selectRow(soak.chance.randrange(rows))


def _text(soak: Soak, window: MainWindow) -> None:
    window.do(soak.chance.choice(("cautions", "characteristics", "remembered", "about")))
    soak.settle()
    window.text_page.closed.emit()


def _offer(soak: Soak, window: MainWindow) -> None:
    strip = window.offer
    if strip.isVisible():
        (strip.taken if soak.chance.random() < 0.5 else strip.refused).emit()


def _do(name: str) -> Callable[[Soak, MainWindow], None]:
    return lambda _soak, window: window.do(name)


def _size(_soak: Soak, window: MainWindow) -> None:
    window.do("larger")
    window.do("smaller")


DOINGS: dict[str, Callable[[Soak, MainWindow], None]] = {
    "bay": _bay, "all bays": _all_bays, "sample": _sample, "file": _file, "type": _type, "edit": _edit,
    "remove": _remove, "back and forth": _back_and_forth, "match": _match, "job": _job_again, "choose": _choose,
    "text": _text, "offer": _offer, "units": _do("units"), "scheme": _do("scheme"), "size": _size,
    "certificate": _do("certificate"), "export": _do("export"), "guide": _do("guide"),
    "limits": _do("limits"), "reload": _do("reload"), "layout": _do("layout"), "new job": _do("new_job"),
}  # fmt: skip
OFTEN = ("sample", "sample", "type", "certificate", "back and forth")


def growth(states: list[State]) -> float:
    """MiB a round by a line through the later half of the rounds, 0 for fewer than three."""
    memory = [one.memory for one in states[len(states) // 2 :]]
    return float(np.polyfit(np.arange(len(memory)), memory, 1)[0]) if len(memory) > 2 else 0.0


def held(states: list[State]) -> list[str]:
    """What grew over the rounds after WARM, in sentences."""
    warm = states[WARM:]
    if len(warm) < 6:
        return []
    found = []
    if (rate := growth(warm)) > MOST_GROWTH:
        found.append(f"memory grows by {rate:.2f} MiB a round, {MOST_GROWTH:g} are allowed")
    for name in ("files", "threads"):
        first, last = getattr(warm[0], name), min(getattr(one, name) for one in warm[-3:])
        if last > first + MORE_FILES:
            found.append(f"open {name}: {first} after {WARM} rounds, {last} at the end")
    return found


def begin(place: Path, seed: int) -> Soak:
    """A dressed application and whoever sits at it; `place` is an empty folder."""
    application = QApplication.instance() or QApplication(["soak"])
    assert isinstance(application, QApplication)
    theme.dress(application)
    return Soak(place, random.Random(seed))  # noqa: S311 - what a person does next, no secrets


def main() -> None:
    """Soak, and say what was found."""
    parser = argparse.ArgumentParser(description="hours in the window, by a script")
    parser.add_argument("minutes", type=float, nargs="?", default=60.0)
    parser.add_argument("seed", type=int, nargs="?", default=0)
    asked = parser.parse_args()
    for name in LATE:
        importlib.import_module(name)
    until = time.monotonic() + 60.0 * asked.minutes
    states: list[State] = []
    with tempfile.TemporaryDirectory() as place:
        soak = begin(Path(place), asked.seed)
        with soak.watching():
            while time.monotonic() < until:
                told = len(soak.faults)
                soak.round()
                states.append(state())
                now = states[-1]
                if now.left:
                    soak.fault(f"left of the window: {dict(now.left.most_common(8))}")
                print(
                    f"round {len(states)}: {now.memory:.0f} MiB, {now.files} files, {now.threads} threads, "
                    f"{sum(soak.done.values())} steps, {len(soak.faults)} faults",
                    flush=True,
                )
                print("".join(f"{fault}\n" for fault in soak.faults[told:]), end="", flush=True)
    grown = held(states)
    enough = len(states) >= WARM + 6
    rate = f"{growth(states[WARM:]):.2f} MiB a round" if enough else "too few rounds to tell growth"
    print(f"{rate} in the later half of the rounds after {WARM}", *grown, sep="\n")
    sys.exit(1 if soak.faults or grown else 0)


if __name__ == "__main__":
    main()
