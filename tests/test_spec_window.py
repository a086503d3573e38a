"""Limits written in the window: typed by keyboard, judged as they stand, undone by name, saved as what judges."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QLineEdit

from valvelab.cli.main import main
from valvelab.files.spec_file import read_spec
from valvelab.places import sample_profiles
from valvelab.window.bench import Bench
from valvelab.window.main_window import MainWindow
from valvelab.workbench import spec_sheet

CAMSHAFT = "quillmere_four_camshaft"


@pytest.fixture
def window(app: QApplication, tmp_path: Path) -> Iterator[MainWindow]:
    window = MainWindow(Bench(tmp_path / "settings", background=False))
    window.resize(1280, 720)
    window.show()
    app.processEvents()
    yield window
    window.bench.close()
    window.hide()
    window.deleteLater()
    app.processEvents()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A camshaft with its spec and nominal tables, to be written beside."""
    place = tmp_path / "job"
    place.mkdir()
    for path in sample_profiles().glob("quillmere_four_*"):
        shutil.copy(path, place)
    return place


def editor(window: MainWindow) -> QLineEdit:
    """The cell that is typed into."""
    found = QApplication.focusWidget()
    assert isinstance(found, QLineEdit), found
    assert window.limits.isAncestorOf(found)
    return found


def type_row(window: MainWindow, *cells: str) -> None:
    """Type the cells of a new row, Tab after each."""
    window.limits.add()
    for text in cells:
        field = editor(window)
        QTest.keyClick(field, Qt.Key.Key_A, Qt.KeyboardModifier.ControlModifier)
        QTest.keyClicks(field, text)
        QTest.keyClick(field, Qt.Key.Key_Tab)


def rows(window: MainWindow) -> list[tuple[str, str, str]]:
    """Characteristic, items and verdict of every row that the spec has."""
    model = window.limits.table.spec_model
    last = model.columnCount() - 1
    return [tuple(model.index(n, c).data() or "" for c in (0, 1, last)) for n in range(len(model.rows))]


def test_limits_are_typed_judged_undone_and_saved(
    window: MainWindow, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    window.bench.add_files([str(folder / f"{CAMSHAFT}.csv")])
    assert window.banner.accessibleName() == "Measured; nothing judged"
    QTest.mouseClick(window.banner.limits, Qt.MouseButton.LeftButton)
    assert window.docks["Limits"].isVisible()
    type_row(window, "max_lift", "exhaust", "", "6.9", "0.03")
    assert rows(window) == [("max_lift", "exhaust", "1 of 4 rejected")]
    assert window.banner.accessibleName() == "Rejected: 1 of 4 out of limits"
    type_row(window, "duration", "intake", "1.27 mm", "230", "1")
    assert rows(window)[1] == ("duration", "intake", "all 4 accepted")
    assert window.bench.history.undo_label == "add a duration limit"
    window.do("undo")
    assert rows(window) == [("max_lift", "exhaust", "1 of 4 rejected")]
    window.do("redo")
    saved = folder / "typed.toml"
    window.limits.save_to(saved)
    assert read_spec(saved).limit[0].below == "0.03 mm", "a bare number keeps the unit that it was typed in"
    assert [file.name for file in window.bench.document.files] == [f"{CAMSHAFT}.csv", "typed.toml"]
    assert main(["lobes", str(folder / f"{CAMSHAFT}.csv"), "--spec", str(saved), "--json"]) == 1
    told = json.loads(capsys.readouterr().out)["verdicts"]
    shown = window.bench.document.answers["lobes"].value.result.verdicts
    assert [(one["item"], one["decision"]) for one in told] == [(one.item, one.decision) for one in shown]
    assert len(told) == 8


def test_what_can_not_be_taken_stays_and_says_why(window: MainWindow, folder: Path) -> None:
    window.bench.add_files([str(folder / f"{CAMSHAFT}.csv")])
    window.do("limits")
    type_row(window, "max lift")
    assert window.limits.sentence.text() == "✗ characteristic: found 'max lift', expected 'max_lift'?"
    assert window.limits.table.spec_model.index(0, 0).data() == "max lift"
    assert not spec_sheet.broken_specs(window.bench.document)
    assert window.bench.document.of_kind("spec") == ()
    type_row(window, "max_lift", "all", "", "7")
    assert window.limits.sentence.text() == "? still to type: ± beside the nominal"
    QTest.keyClicks(editor(window), "1 N")
    QTest.keyClick(editor(window), Qt.Key.Key_Tab)
    assert "expected a length unit" in window.limits.sentence.text()
    assert window.bench.history.undo_label == "put files on the bench", "nothing of it is an edit yet"


def test_a_file_keeps_its_comments_and_its_units(window: MainWindow, folder: Path) -> None:
    spec = folder / f"{CAMSHAFT}.toml"
    window.bench.add_files([str(folder / f"{CAMSHAFT}.csv"), str(spec)])
    window.do("limits")
    before = spec.read_text()
    window.limits.table.type_into(0, 4)
    QTest.keyClicks(editor(window), "0.002 in")
    QTest.keyClick(editor(window), Qt.Key.Key_Return)
    QApplication.processEvents()
    assert window.bench.history.undo_label == "change the max_lift limit"
    text = window.bench.document.file(str(spec)).text
    changed = [line for line in text.splitlines() if line not in before.splitlines()]
    assert changed == ['below = "0.002 in"', 'above = "0.002 in"']
    assert spec.read_text() == before, "the file on disk changes only when it is saved"
    window.do("undo")
    assert window.bench.document.file(str(spec)).text is None
