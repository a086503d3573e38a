"""No screen, no surprises: windows draw offscreen, and in CI a skip that nobody allowed is a failure."""

from __future__ import annotations

import os
from collections.abc import Generator, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings
from papers import WRITTEN
from postgres import ABSENT, Server, programs, running
from same_machine import settled_folder

if TYPE_CHECKING:
    from PySide6.QtWidgets import QApplication

    from valvelab.window.main_window import MainWindow

SETTLED = settled_folder()
IN_CI = os.environ.get("CI", "").lower() in {"1", "true", "yes"}

#: beginnings of the reasons for which a test may be skipped in CI
ALLOWED_SKIPS = ("surfalize comes with the dev extra only", "VALVELAB_QIF_SCHEMA names no folder", "the shell ", ABSENT)

os.environ["SOURCE_DATE_EPOCH"] = str(int(WRITTEN.timestamp()))  # one time of writing, so that papers can be compared

settings.register_profile("steady", deadline=None, derandomize=IN_CI)
settings.load_profile("steady")


def skip_reason(report: pytest.TestReport | pytest.CollectReport) -> str:
    """The words given to a skip."""
    where_and_why = report.longrepr
    text = where_and_why[2] if isinstance(where_and_why, tuple) else str(where_and_why)
    return text.removeprefix("Skipped: ")


def refuse_skip(report: pytest.TestReport | pytest.CollectReport) -> None:
    """In CI, turn a skip into a failure unless its reason is allowed."""
    if not IN_CI or not report.skipped or hasattr(report, "wasxfail"):
        return
    reason = skip_reason(report)
    if not reason.startswith(ALLOWED_SKIPS):
        report.outcome = "failed"
        report.longrepr = f"skipped in CI without leave: {reason}"


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    refuse_skip(report)
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report() -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    report = yield
    refuse_skip(report)
    return report


@pytest.fixture(scope="session")
def postgres() -> Iterator[Server]:
    """A PostgreSQL server for the whole run; what asks for it is skipped where there is none."""
    found = programs()
    if found is None:
        pytest.skip(ABSENT)
    with running(found) as server:
        yield server


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Where a store may be made: a file, then a database."""
    if request.param == "sqlite":
        return str(tmp_path / "records.sqlite")
    server: Server = request.getfixturevalue("postgres")
    return server.new_database()


@pytest.fixture(scope="session")
def app() -> QApplication:
    """The one application of a run, dressed as the program dresses it."""
    from PySide6.QtWidgets import QApplication

    from valvelab.window import theme

    found = QApplication.instance() or QApplication(["test"])
    assert isinstance(found, QApplication)
    found.setFont(theme.text_font(10.0))  # whatever the desktop's
    theme.dress(found)
    return found


@pytest.fixture
def quiet(app: QApplication) -> Iterator[None]:
    """Qt says nothing unexpected."""
    from PySide6.QtCore import qInstallMessageHandler

    said: list[str] = []
    qInstallMessageHandler(lambda _k, _c, text: None if "propagateSizeHints" in text else said.append(text))
    yield
    qInstallMessageHandler(None)
    assert said == []


@pytest.fixture(autouse=True)
def nobody_answers(request: pytest.FixtureRequest) -> Iterator[None]:
    """A bench that is not saved when its window closes is kept for the next start; no box waits for a person.

    Nothing is left to the next test: no window open, which would take its pointer, no key held.
    """
    if "app" not in request.fixturenames:
        yield
        return
    from PySide6.QtCore import Qt
    from PySide6.QtGui import QCursor, QGuiApplication
    from PySide6.QtTest import QTest
    from PySide6.QtWidgets import QWidget
    from showing import put_away

    from valvelab.window.main_window import MainWindow

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(MainWindow, "ask_unsaved", lambda _self: "keep")
        yield
    if QGuiApplication.keyboardModifiers() != Qt.KeyboardModifier.NoModifier:
        QTest.keyRelease(QWidget(), Qt.Key.Key_Control)  # a key whose release went astray counts as held ever after
    put_away()
    QCursor.setPos(QGuiApplication.primaryScreen().geometry().bottomRight())


@pytest.fixture
def window(app: QApplication, tmp_path: Path) -> Iterator[MainWindow]:
    """A window of 1280 by 720 with an empty bench that answers at once."""
    from valvelab.window import theme
    from valvelab.window.bench import Bench
    from valvelab.window.main_window import MainWindow

    made = MainWindow(Bench(tmp_path / "settings", background=False))
    made.resize(1280, 720)
    made.show()
    app.processEvents()
    yield made
    theme.set_scheme("system")
    theme.set_text_size(100)  # else what outlives its test grows with every one that writes larger
    made.close()
    made.deleteLater()
    app.processEvents()


@pytest.fixture
def patient(app: QApplication, tmp_path: Path) -> Iterator[MainWindow]:
    """A window with a background, as a person has it."""
    from waiting import wait_for

    from valvelab.window.bench import Bench
    from valvelab.window.main_window import MainWindow

    app.processEvents()
    bench = Bench(tmp_path / "settings")
    window = MainWindow(bench)
    window.show()
    yield window
    wait_for(bench.at_rest)
    bench.history.begin(type(bench.document)())
    window.close()
