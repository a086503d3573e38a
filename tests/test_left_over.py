"""What outlives an edit or a job in the window, and what must not."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from PySide6.QtWidgets import QApplication, QLabel, QPushButton
from waiting import at_rest, wait_for

import valvelab
from valvelab.places import sample_profiles
from valvelab.window.bench import Bench
from valvelab.window.languages import start_again
from valvelab.window.main_window import MainWindow
from valvelab.workbench import edits, liftcheck_bay, phasing_bay

SAMPLES = sample_profiles()
JOB = ("quillmere_four_camshaft.csv", "quillmere_four_camshaft.toml", "springs_quillmere_tray.csv",
       "springs_quillmere_spec.toml")  # fmt: skip


@pytest.fixture
def busy(app: QApplication, tmp_path: Path) -> Iterator[MainWindow]:
    """A window that works in the background."""
    made = MainWindow(Bench(tmp_path / "settings"))
    made.show()
    yield made
    at_rest(made.bench)
    made.close()
    made.deleteLater()
    app.processEvents()


def put(window: MainWindow, *names: str) -> None:
    window.bench.add_files([str(SAMPLES / name) for name in names])


def marks(window: MainWindow) -> dict[str, str]:
    return {name: told for name, tile in window.tiles.by_bay.items() if (told := tile.accessibleDescription())}


def test_another_job_hears_nothing_of_the_one_before(window: MainWindow, tmp_path: Path) -> None:
    put(window, *JOB[:2])
    window.save_certificate(tmp_path / "camshaft.pdf")
    assert window.written.isVisible()
    assert any("camshaft.pdf" in row.text for row in window.notes.rows_model.rows)
    window.actions_by_name["new_job"].trigger()
    QApplication.processEvents()
    assert not window.written.isVisible()
    assert not window.notes.rows_model.rows
    assert not marks(window)


def test_bays_behind_are_judged_in_idle_time(busy: MainWindow) -> None:
    put(busy, *JOB)
    came = []
    busy.bench.document_changed.connect(lambda _old, new: came.append(new.bay))
    wait_for(lambda: marks(busy) == {"lobes": "rejected", "springs": "rejected"}, lambda: marks(busy))
    assert "springs" not in came, "nothing comes to the front by it"


@pytest.mark.parametrize(
    ("bay", "name", "limits"),
    [
        ("liftcheck", "quillmere_spring_meeting.toml", ()),
        ("phasing", "quillmere_four_degree_wheel.toml", ("quillmere_four_engine.toml",)),
    ],
)
def test_a_sheet_in_no_file_is_judged_behind_another_bay(
    window: MainWindow, bay: str, name: str, limits: tuple[str, ...]
) -> None:
    """By its own rule, or by the card of an engine; as it is when a job is opened that keeps it."""
    put(window, name, *limits)
    at_rest(window.bench)
    document, path = window.bench.document, str(SAMPLES / name)
    sheets = liftcheck_bay.SHEETS if bay == "liftcheck" else phasing_bay.SHEETS
    sheet = sheets.in_front(document)
    known = {"liftcheck": "rejected", "phasing": "accepted"}[bay]
    typed = sheets.with_sheet(edits.remove_file(document, path), sheet)
    put_away = edits.go_to_bay(typed, "shaft")
    window.actions_by_name["new_job"].trigger()
    assert not marks(window)
    window.bench.history.begin(put_away)
    at_rest(window.bench)
    assert window.bench.document.bay == "shaft"
    assert marks(window) == {bay: known}


def test_a_mark_stays_until_the_next_answer(busy: MainWindow) -> None:
    put(busy, *JOB)
    wait_for(lambda: marks(busy) == {"lobes": "rejected", "springs": "rejected"}, lambda: marks(busy))
    spec = next(file for file in busy.bench.document.files if file.name == JOB[3])
    busy.bench.retype(spec.path, (SAMPLES / JOB[3]).read_text(encoding="utf-8") + "\n", "edit")
    told: set[str | None] = set()

    def is_judged_again() -> bool:
        told.add(marks(busy).get("springs"))
        return "rejected, before the last change" in told and marks(busy).get("springs") == "rejected"

    wait_for(is_judged_again, lambda: told)
    assert None not in told, "a rejected part never looks as if nothing was found"


def test_a_language_that_was_chosen_is_answered(
    window: MainWindow, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    started: list[list[str]] = []
    monkeypatch.setattr("valvelab.window.main_window.start_again", lambda files: started.append(list(files)) is None)
    own = tmp_path / "own.csv"
    own.write_bytes((SAMPLES / JOB[0]).read_bytes())
    window.bench.add_files([str(own)])
    assert not window.language_offer.isVisible()
    window.actions_by_name["language_de"].trigger()
    assert window.language_offer.isVisible()
    texts = [label.text() for label in window.language_offer.findChildren(QLabel)]
    assert texts == ["Deutsch is used from the next start of valvelab on."]
    window.actions_by_name["language_system"].trigger()
    assert not window.language_offer.isVisible(), "that one is spoken already"
    window.actions_by_name["language_de"].trigger()
    button = next(one for one in window.language_offer.findChildren(QPushButton) if one.text() == "Start again now")
    button.click()
    assert started == [[str(own)]]
    assert not window.isVisible()


def test_a_language_that_was_chosen_keeps_what_no_file_holds(
    window: MainWindow, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is kept is offered by the next start, what is thrown away leaves the files that lie there."""
    started: list[list[str]] = []
    monkeypatch.setattr("valvelab.window.main_window.start_again", lambda files: started.append(list(files)) is None)
    put(window, JOB[0])
    window.bench.type_table("spec.toml", "spec", '[[limit]]\nof = "max_lift"\nmax = "9 mm"\n')
    monkeypatch.setattr(MainWindow, "ask_unsaved", lambda _self: "discard")
    window.language_offer.taken.emit()
    assert started == [[str(SAMPLES / JOB[0])]]


def test_a_window_that_does_not_come_is_told(window: MainWindow, monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[str] = []
    monkeypatch.setattr("sys.executable", "/nowhere/python")
    monkeypatch.setattr(
        "valvelab.window.main_window.QMessageBox.warning", lambda _parent, _title, text: told.append(text)
    )
    window.language_offer.taken.emit()
    assert told == ["No other window could be opened. Start valvelab again by hand: it speaks the language chosen."]


@pytest.mark.skipif(sys.platform == "win32", reason="the shell is asked")
def test_another_window_is_of_this_very_program(
    app: QApplication, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """From whatever folder it was started: another checkout that Python knows is not opened in its place."""
    told = tmp_path / "told"
    python = tmp_path / "python"
    python.write_text(f'#!/bin/sh\necho "$PYTHONPATH|$*" > "{told}.new"; mv "{told}.new" "{told}"\n', encoding="utf-8")
    python.chmod(0o755)
    monkeypatch.setattr("sys.executable", str(python))
    monkeypatch.setenv("PYTHONPATH", "/elsewhere")
    monkeypatch.chdir(tmp_path)
    assert start_again(["a table.csv"])
    wait_for(told.exists)
    paths, _, words = told.read_text(encoding="utf-8").strip().partition("|")
    assert paths.split(os.pathsep) == [str(Path(valvelab.__file__).resolve().parents[1]), "/elsewhere"]
    assert words == "-m valvelab a table.csv"


def test_text_has_its_usual_size_again(window: MainWindow) -> None:
    window.actions_by_name["larger"].trigger()
    window.actions_by_name["larger"].trigger()
    assert window.bench.settings.text > 100
    window.actions_by_name["usual_text"].trigger()
    assert window.bench.settings.text == 100
