"""Opens the window. Never called without a display."""

from __future__ import annotations

import sys
from collections.abc import Callable

from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QApplication, QMessageBox

from valvelab.language import say
from valvelab.window import languages, theme
from valvelab.window.bench import Bench
from valvelab.window.crash import CrashPath
from valvelab.window.garbage import keep_what_is_loaded
from valvelab.window.icons import icon
from valvelab.window.main_window import MainWindow
from valvelab.workbench import settings
from valvelab.workbench.first_import import RECORDS, load


def run(files: list[str]) -> int:
    """Open the window with these files on the bench; returns when it is closed."""
    application = QApplication.instance() or QApplication(sys.argv[:1])
    assert isinstance(application, QApplication)
    application.setApplicationName("valvelab")
    application.setApplicationDisplayName("valvelab")
    application.setDesktopFileName("valvelab")
    place = settings.folder()
    kept = settings.load(place)
    if kept.scheme in {"light", "dark"}:
        theme.set_scheme("light" if kept.scheme == "light" else "dark")
    languages.speak(kept.language, application)
    theme.dress(application)
    theme.set_text_size(kept.text)
    application.setWindowIcon(icon("camshaft", "accent"))
    bench = Bench(place, kept)
    crash = CrashPath(place, bench.keep_or_raise, _tell)
    crash.install()
    window = MainWindow(bench)
    window.show()
    load_then(lambda: _begin(window, files))
    try:
        return application.exec()
    finally:
        crash.remove()


def load_then(begin: Callable[[], None]) -> None:
    """Once the empty window is painted, load what keeps a bench, a part a turn of the event loop, then begin."""
    parts = list(RECORDS)

    def go_on() -> None:
        if parts:
            load(parts.pop(0))
            QTimer.singleShot(0, go_on)
        else:
            keep_what_is_loaded()
            begin()

    QTimer.singleShot(0, go_on)


def _begin(window: MainWindow, files: list[str]) -> None:
    """After the first paint: read, inspect, offer what was left behind."""
    if not window.isVisible():
        return  # closed meanwhile
    if files:
        window.open_paths(files)
    else:
        window.offer_tour()
    window.bench.load_ahead()
    window.left.ask()
    window.job.tidy()


def _tell(sentence: str, details: str) -> None:
    # not from inside whatever was being painted or clicked when it happened
    QTimer.singleShot(0, lambda: _show_told(sentence, details))


def _show_told(sentence: str, details: str) -> None:
    box = QMessageBox(QMessageBox.Icon.Warning, "valvelab", sentence)
    box.setInformativeText(say("You can go on; saving the certificate and starting anew is the safe thing to do."))
    box.setDetailedText(details)
    box.exec()
