"""The inspector's desk: keys for a car, and how long from Enter to the decision shown, with few cars and with 200.

`python tests/benchmarks/bench_lift_desk.py [cars]`, offscreen. Milliseconds of the window's own thread, the median of a
car's readings; ratios of one run count.
"""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path
from statistics import median
from time import perf_counter, thread_time

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from valvelab.window import theme
from valvelab.window.bench import Bench
from valvelab.window.main_window import MainWindow
from valvelab.workbench.liftcheck_bay import LiftCheckState

FIRST, SECOND = ("10.36", "10.37", "10.36", "10.36", "10.37"), ("10.21", "10.22", "10.21", "10.22", "10.21")
RULE = """event = "meeting"
[instrument]
uncertainty = "4 um"
resolution = "0.01 mm"
[[limit]]
of = "rule_lift"
max = "10.40 mm"
"""


def sheet(cars: int) -> str:
    """A sheet with cars of two valves and five readings each."""
    rows = []
    for car in range(cars):
        for valve, base in (("1I", 10.30), ("1E", 10.21)):
            read = ", ".join(f'"{base + 0.01 * ((car + n) % 3) + 0.15 * (car % 9 == 0):.2f} mm"' for n in range(5))
            rows.append(f'[[check]]\nitem = "car {car + 1}"\nvalve = "{valve}"\nzero = ["0.00 mm"]\nopen = [{read}]\n')
    return "\n".join([RULE, *rows])


def press(text: str) -> tuple[float, float]:
    """Type a text with Enter: wall and own CPU of the Enter, ms, until it is shown."""
    for sign in text:
        QTest.keyClick(QApplication.focusWidget(), sign)
    QApplication.processEvents()
    wall, own = perf_counter(), thread_time()
    QTest.keyClick(QApplication.focusWidget(), Qt.Key.Key_Return)
    QApplication.processEvents()
    return 1000.0 * (perf_counter() - wall), 1000.0 * (thread_time() - own)


def measured(cars: int) -> tuple[int, float, float]:
    """Keys beyond the readings for one more car; median wall and own CPU of a decision, ms."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "event.toml"
        path.write_text(sheet(cars))
        window = MainWindow(Bench(Path(folder) / "settings", background=False))
        window.resize(1600, 1000)
        window.show()
        window.bench.add_files([str(path)])
        window.bench.set(LiftCheckState, plan="1I 1E")
        view = window.pages.front()
        window.activateWindow()
        view.next_car()
        QApplication.processEvents()
        keys = len("999") + 1
        press("999")
        found = [press(value) for value in FIRST]
        press("")
        found += [press(value) for value in SECOND]
        press("")
        keys += 2
        assert len(view.cars.rows_model.rows) == cars + 1
        window.bench.close()
        window.hide()
    return keys, median(wall for wall, _ in found), median(own for _, own in found)


def main() -> None:
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    application = QApplication(["bench"])
    theme.dress(application)
    application.setFont(theme.text_font(10.0))
    measured(1)
    few, lots = measured(1), measured(many)
    print(f"keys beyond the readings of two valves x five: {few[0]}")
    print(f"Enter to the decision shown: {few[1]:.0f} ms wall, {few[2]:.0f} own CPU with 1 car on the sheet")
    print(f"{'':28} {lots[1]:.0f} ms wall, {lots[2]:.0f} own CPU with {many}: {lots[2] / few[2]:.2f} x")


if __name__ == "__main__":
    main()
