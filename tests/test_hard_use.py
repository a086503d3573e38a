"""Short runs of what is used hard by hand: spoiled files, small faults in a module, a person at the window."""

from __future__ import annotations

import ast
import gc
import weakref
from pathlib import Path

from hard_use import mutate, soak
from hard_use.fuzz import CASES, run
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from valvelab.window.bench import Bench
from valvelab.window.main_window import MainWindow

#: so that a run of every case is new from time to time, and yet the same everywhere
SEED = 4_000_000


def test_spoiled_files_end_in_a_verdict_or_a_sentence(tmp_path: Path) -> None:
    found = list(run(2 * len(CASES), SEED, tmp_path, workers=1))
    assert sum(done for done, _ in found) == 2 * len(CASES)
    assert [fault for _, faults in found for fault in faults] == []


def test_each_mutant_is_one_fault_in_a_line_that_computes() -> None:
    source = "def f(x: int = 1) -> bool:\n    if not x < 2:\n        raise ValueError(3)\n    return g(x).clip(0, x)\n"
    found = {(mutant.old.strip(), mutant.new.strip()) for mutant in mutate.mutants(source)}
    test, clip = "if not x < 2:", "return g(x).clip(0, x)"
    assert found >= {(test, "if (x < 2):"), (test, "if not (x <= 2):"), (test, "if not x < 3:")}
    assert found >= {(clip, "return (g(x).clip(0, None))"), (clip, "return (g(x).clip(None, x))")}
    assert len({ast.dump(ast.parse(mutant.source)) for mutant in mutate.mutants(source)}) == len(found) == 9


def test_mutants_that_are_explained_are_still_there() -> None:
    names = {
        mutate.name_of(module, mutant)
        for module in mutate.TARGETS
        for mutant in mutate.mutants(mutate.file_of(module).read_text(encoding="utf-8"))
    }
    explained = {line.split("`")[1] for line in mutate.explained().splitlines() if line.startswith("| `")}
    assert explained
    assert explained - names == set()


def test_a_person_at_the_window_for_a_moment(app: QApplication, tmp_path: Path) -> None:
    one = soak.begin(tmp_path, 3)
    with one.watching():
        one.round(6)
    assert sum(one.done.values()) == 6
    assert one.faults == []


def test_growth_is_told() -> None:
    steady, growing = ([soak.State(300.0 + step * n, 9 + n, 3) for n in range(20)] for step in (0.1, 4.0))
    assert soak.held(steady) == ["open files: 17 after 8 rounds, 26 at the end"]
    assert soak.held(growing)[0] == "memory grows by 4.00 MiB a round, 1 are allowed"
    filling = [soak.State(400.0 - 200.0 * 0.8**n, 9, 3) for n in range(40)]
    assert soak.held(filling) == [], "what fills up to a bound is no growth"


def test_a_window_that_is_gone_is_held_by_nothing(app: QApplication, tmp_path: Path) -> None:
    gc.collect()
    before = soak.left_over()
    window = MainWindow(Bench(tmp_path, background=False))
    window.show()
    app.processEvents()
    for action in window.bay_actions.values():
        action.trigger()
        window.do("sample")
        QTest.qWait(1)
    window.close()
    left = weakref.ref(window)
    for one in (window, window.bench):
        one.deleteLater()
    del window, one, action
    QTest.qWait(1)
    gc.collect()
    assert left() is None
    assert soak.left_over() - before == {}
