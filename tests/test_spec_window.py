"""Limits written in the window: typed by keyboard, judged as they stand, undone by name, saved as what judges."""

from __future__ import annotations

import gc
import json
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from PySide6.QtCore import QPointF, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QLineEdit

from valvelab.cli.main import main
from valvelab.files.spec_file import read_spec
from valvelab.places import sample_profiles
from valvelab.window.bays.lobes_view import LobesView
from valvelab.window.bench import Bench
from valvelab.window.main_window import MainWindow
from valvelab.workbench import spec_sheet
from valvelab.workbench.lobes_bay import LobesState

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


def use_of_band(window: MainWindow, lobe: str) -> float:
    (row,) = (row for row in window.bench.document.answers["lobes"].value.result.lobes if row.lobe == lobe)
    return row.envelope.worst_use_of_band


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
    assert window.limits.isVisible()
    type_row(window, "max_lift", "exhaust", "", "6.9", "0.03")
    assert rows(window) == [("max_lift", "exhaust", "1 of 4 rejected")]
    assert window.banner.accessibleName().startswith("1 of 4 lobes rejected: ")
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


def test_what_is_being_typed_stays_when_verdicts_arrive(window: MainWindow, folder: Path) -> None:
    window.bench.add_files([str(folder / f"{CAMSHAFT}.csv")])
    window.do("limits")
    type_row(window, "max_lift", "all", "", "7", "1")
    here = window.limits.table.currentIndex()
    assert (here.row(), here.column()) == (0, 5), "on in the row that became a limit"
    QTest.keyClicks(editor(window), "6.")
    window.bench.read_again()
    assert rows(window)[0][2] == "all 8 accepted"
    assert editor(window).text() == "6."


def test_what_can_not_be_taken_stays_and_says_why(window: MainWindow, folder: Path) -> None:
    window.bench.add_files([str(folder / f"{CAMSHAFT}.csv")])
    window.do("limits")
    type_row(window, "max lft")
    assert window.limits.sentence.text().startswith("✗ no characteristic is called 'max lft'; nearest: max_lift")
    assert window.limits.table.spec_model.index(0, 0).data() == "max lft"
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


def test_an_edge_of_the_band_is_dragged_with_the_mouse(window: MainWindow, folder: Path, app: QApplication) -> None:
    spec = folder / f"{CAMSHAFT}.toml"
    window.bench.add_files([str(folder / f"{CAMSHAFT}.csv"), str(spec)])
    window.bench.set(LobesState, lobe="1I", plots=frozenset({"deviation"}))
    app.processEvents()
    view = window.pages.front()
    assert isinstance(view, LobesView)
    before = use_of_band(window, "1I")
    item, port = view.stack.items_by_name["deviation"], view.stack.viewport()
    start, end = (view.stack.mapFromScene(item.view.mapViewToScene(QPointF(-20.0, y))) for y in (35.0, 12.0))
    QTest.mouseMove(port, start)
    QTest.mousePress(port, Qt.MouseButton.LeftButton, pos=start)
    for step in range(1, 6):
        QTest.mouseMove(port, start + (end - start) * (step / 5))
        QTest.qWait(40)
    QTest.mouseRelease(port, Qt.MouseButton.LeftButton, pos=end)
    app.processEvents()
    assert window.bench.history.undo_label == "drag the band of 1I"
    envelope = window.bench.document.value_in_use("spec")[1].envelope[0]
    dragged = envelope.band[1]
    assert dragged.above_mm == pytest.approx(0.012, abs=0.003)
    assert dragged.below_mm == 0.035, "the other edge stays"
    assert dragged.above_mm == round(dragged.above_mm, 3), "at a round step"
    assert "# opening ramp" in window.bench.document.file(str(spec)).text
    assert use_of_band(window, "1I") > before
    assert view.band_edges.edges[1, "above"].getData()[1][0] == pytest.approx(1000.0 * dragged.above_mm)
    window.do("undo")
    assert window.bench.document.file(str(spec)).text is None, "the whole drag is one step"


def test_the_band_comes_back_after_its_plot_was_put_away(window: MainWindow, folder: Path, app: QApplication) -> None:
    window.bench.add_files([str(folder / f"{CAMSHAFT}.csv"), str(folder / f"{CAMSHAFT}.toml")])
    for name in ("deviation", "lift", "deviation"):
        window.bench.set(LobesState, lobe="1I", plots=frozenset({name}))
        app.processEvents()
        gc.collect()  # the plot that is put away goes with all that lies in it
    view = window.pages.front()
    assert isinstance(view, LobesView)
    scene = view.stack.scene()
    assert {edge.scene() for edge in view.band_edges.edges.values()} == {scene}


def test_a_broken_spec_is_loud_and_nothing_is_certified(window: MainWindow, folder: Path, tmp_path: Path) -> None:
    spec = folder / f"{CAMSHAFT}.toml"
    good = spec.read_text()
    spec.write_text(good.replace('nominal = "7.00 mm"', 'nominal = "7.00 mn"').replace("[[limit]]", "[[limit]", 1))
    window.bench.add_files([str(folder / f"{CAMSHAFT}.csv"), str(spec)])
    assert window.banner.accessibleName() == "Limits can't be read. Nothing is judged."
    assert f"{spec.name}: line " in window.banner.inspected.toolTip()
    assert "no spec on the bench" not in window.banner.inspected.text()
    window.save_certificate(tmp_path / "paper.pdf")
    assert not (tmp_path / "paper.pdf").exists()
    model = window.notes.proxy
    told = [model.index(n, 2).data() for n in range(model.rowCount()) if model.index(n, 1).data() == "certificate"]
    assert len(told) == 1
    assert told[0].startswith("Limits can't be read: ")
    assert told[0].endswith("Nothing is certified past them.")
    window.do("limits")
    assert window.limits.sentence.text().startswith("✗ Limits can't be read: line ")
    window.limits.bring("text")
    window.limits.text.setFocus()
    window.limits.text.setPlainText(window.limits.text.toPlainText().replace("[[limit]\n", "[[limit]]\n"))
    window.limits.text.document().setModified(True)
    window.limits.specs.setFocus()
    assert "[[limit]] 1" in window.banner.inspected.toolTip(), "read, and refused by what inspects"
    window.save_certificate(tmp_path / "paper.pdf")
    assert not (tmp_path / "paper.pdf").exists()
    window.limits.bring("limits")
    table = window.limits.table.spec_model
    assert table.index(0, table.columnCount() - 1).data() == "can't be judged"
    window.limits.table.type_into(0, 3)
    QTest.keyClick(editor(window), Qt.Key.Key_A, Qt.KeyboardModifier.ControlModifier)
    QTest.keyClicks(editor(window), "7 mm")
    QTest.keyClick(editor(window), Qt.Key.Key_Tab)
    assert table.index(0, table.columnCount() - 1).data() == "all 4 accepted"
    assert window.banner.accessibleName().startswith("1 of 8 lobes rejected: 3E, max lift 0.15")
    window.save_certificate(tmp_path / "paper.pdf")
    assert (tmp_path / "paper.pdf").exists()


def test_an_envelope_of_a_spec_that_is_in_no_file_yet(window: MainWindow, folder: Path, tmp_path: Path) -> None:
    window.bench.add_files([str(folder / f"{CAMSHAFT}.csv")])
    window.do("limits")
    window.limits.bring("bands")
    window.limits.add_envelope(str(folder / "quillmere_four_nominal_intake.csv"), "intake")
    bands = window.limits.bands.spec_model
    last = bands.columnCount() - 1
    assert [bands.index(0, column).data() for column in (0, 3, 4, 6, last)] == [
        "intake",
        "-60 deg",
        "60 deg",
        "0.05 mm",
        "all 4 accepted",
    ]
    window.limits.bands.type_into(0, 6)
    QTest.keyClicks(editor(window), "0.002")
    QTest.keyClick(editor(window), Qt.Key.Key_Tab)
    assert bands.index(0, last).data() in {"3 of 4 rejected", "all 4 rejected"}
    assert window.bench.history.undo_label == "change the envelope"
    window.save_certificate(tmp_path / "paper.pdf")
    assert main(["verify", str(tmp_path / "paper.pdf"), "--quiet"]) == 0
    window.limits.save_to(folder / "typed.toml")
    assert read_spec(folder / "typed.toml").envelope[0].nominal == "quillmere_four_nominal_intake.csv"


def test_limits_of_the_part_are_asked_for_and_added(window: MainWindow, folder: Path) -> None:
    window.bench.add_files([str(folder / f"{CAMSHAFT}.csv")])
    window.do("limits")
    asked = window.limits.from_part()
    chosen, at, sides = asked.rows["duration"]
    assert chosen.isChecked()
    assert at is not None
    at.setText("nowhere")
    asked.accept()
    assert asked.isVisible()
    assert "duration at: found 'nowhere'" in asked.sentence.text()
    at.setText("1.27 mm")
    sides.setText("0.01")
    asked.accept()
    assert window.bench.history.undo_label == "add 16 limits from this part"
    verdicts = {(of, verdict) for of, _items, verdict in rows(window)}
    assert ("max_lift", "accepted") in verdicts
    assert ("duration", "undecided") in verdicts, "a tolerance below the uncertainty decides nothing"


SPRINGS = "spring,force at 41 mm [N],force at 31 mm [N]\n1,250,710\n2,252,712\n"


def limits_of_springs(window: MainWindow, folder: Path, app: QApplication) -> str:
    """The limits of springs that lie beside a camshaft and its spec, opened; the path of that spec."""
    spec = str(folder / f"{CAMSHAFT}.toml")
    (folder / "springs.csv").write_text(SPRINGS, encoding="utf-8")
    window.bench.add_files([str(folder / f"{CAMSHAFT}.csv"), spec, str(folder / "springs.csv")])
    window.bench.go_to_bay("springs")
    window.do("limits")
    app.processEvents()
    return spec


def test_a_spec_of_another_part_is_offered_and_not_written_into(
    window: MainWindow, folder: Path, app: QApplication
) -> None:
    spec = limits_of_springs(window, folder, app)
    assert window.limits.specs.currentText() == "a new spec"
    assert window.limits.specs.findText(f"{CAMSHAFT}.toml") > 0
    assert f"{CAMSHAFT}.toml" in window.limits.sentence.text()
    assert window.limits.heads["title"].text() == ""
    type_row(window, "rate", "all", "", "", "", "40", "60")
    assert window.bench.document.file(spec).text is None
    (new,) = (file for file in window.bench.document.of_kind("spec") if file.path != spec)
    assert 'of = "rate"' in (new.text or "")
    assert window.limits.specs.currentText() == new.name
    window.bench.go_to_bay("lobes")
    app.processEvents()
    assert window.limits.specs.currentText() == f"{CAMSHAFT}.toml", "each page has its own in front"


def test_a_spec_of_another_part_that_a_person_chooses_is_written_into(
    window: MainWindow, folder: Path, app: QApplication
) -> None:
    spec = limits_of_springs(window, folder, app)
    at = window.limits.specs.findText(f"{CAMSHAFT}.toml")
    window.limits.specs.setCurrentIndex(at)
    window.limits.specs.activated.emit(at)
    type_row(window, "rate", "all", "", "", "", "40", "60")
    assert 'of = "rate"' in (window.bench.document.file(spec).text or "")


def with_limits(window: MainWindow, folder: Path) -> None:
    """A camshaft with three limits, to be edited."""
    window.bench.add_files([str(folder / f"{CAMSHAFT}.csv")])
    window.do("limits")
    type_row(window, "max_lift", "exhaust", "", "6.9", "0.03")
    type_row(window, "duration", "intake", "1.27 mm", "230", "1")
    type_row(window, "runout_tir", "all", "", "", "", "", "0.03")
    QTest.keyClick(editor(window), Qt.Key.Key_Escape)
    QApplication.processEvents()


def names(window: MainWindow) -> list[str]:
    return [row[0] for row in rows(window)]


def test_delete_takes_rows_out_that_are_chosen_by_their_numbers(window: MainWindow, folder: Path) -> None:
    with_limits(window, folder)
    assert names(window) == ["max_lift", "duration", "runout_tir"]
    table = window.limits.table
    heads = table.verticalHeader()
    assert heads.isVisible()
    for place, modifier in ((0, Qt.KeyboardModifier.NoModifier), (1, Qt.KeyboardModifier.ShiftModifier)):
        at = QPointF(heads.width() / 2, heads.sectionViewportPosition(place) + heads.sectionSize(place) / 2).toPoint()
        QTest.mouseClick(heads.viewport(), Qt.MouseButton.LeftButton, modifier, at)
    assert table.chosen_rows() == [0, 1]
    QTest.keyClick(table, Qt.Key.Key_Delete)
    assert names(window) == ["runout_tir"]
    assert table.chosen_rows() == []
    assert window.bench.history.undo_label == "remove 2 limits"
    window.do("undo")
    assert names(window) == ["max_lift", "duration", "runout_tir"], "one step brings both back"
    table.setCurrentIndex(table.spec_model.index(1, 3))
    QTest.keyClick(table, Qt.Key.Key_Space, Qt.KeyboardModifier.ShiftModifier)
    QTest.keyClick(table, Qt.Key.Key_Delete)
    assert names(window) == ["max_lift", "runout_tir"]
    assert window.bench.history.undo_label == "remove the duration limit"


def test_delete_empties_the_cells_that_are_chosen_in_one_step(window: MainWindow, folder: Path) -> None:
    with_limits(window, folder)
    table = window.limits.table
    table.setCurrentIndex(table.spec_model.index(0, 1))
    QTest.keyClick(table, Qt.Key.Key_Down, Qt.KeyboardModifier.ShiftModifier)
    edition = window.bench.history.edition
    QTest.keyClick(table, Qt.Key.Key_Delete)
    assert [row[:2] for row in rows(window)][:2] == [("max_lift", "all"), ("duration", "all")]
    assert window.bench.history.edition != edition
    window.do("undo")
    assert [row[1] for row in rows(window)] == ["exhaust", "intake", "all"]


def test_a_row_that_is_no_limit_without_a_cell_keeps_that_as_typed(window: MainWindow, folder: Path) -> None:
    with_limits(window, folder)
    table = window.limits.table
    table.setCurrentIndex(table.spec_model.index(0, 0))
    for key in (Qt.Key.Key_Down, Qt.Key.Key_Right):
        QTest.keyClick(table, key, Qt.KeyboardModifier.ShiftModifier)
    QTest.keyClick(table, Qt.Key.Key_Delete)
    assert set(table.spec_model.pending) == {0, 1}
    assert [table.spec_model.cell(place, "of") for place in (0, 1, 2)] == ["", "", "runout_tir"]
    assert window.bench.history.undo_label == "add a runout_tir limit", "nothing of it counts yet"


def test_pieces_and_envelopes_go_with_their_rows(window: MainWindow, folder: Path) -> None:
    window.bench.add_files([str(folder / f"{CAMSHAFT}.csv"), str(folder / f"{CAMSHAFT}.toml")])
    window.do("limits")
    window.limits.bring("bands")
    QApplication.processEvents()
    table = window.limits.bands
    had = [(row.number, row.piece) for row in table.spec_model.rows]
    first = [place for place, (number, _) in enumerate(had) if number == 0]
    assert len(first) >= 2
    assert len(had) > len(first)
    table.selectRow(0)
    QTest.keyClick(table, Qt.Key.Key_Delete)
    assert len(table.spec_model.rows) == len(had) - 1
    window.do("undo")
    table.setSelection(
        table.visualRect(table.spec_model.index(first[0], 0)).united(
            table.visualRect(table.spec_model.index(first[-1], table.spec_model.columnCount() - 1))
        ),
        table.selectionModel().SelectionFlag.ClearAndSelect,
    )
    assert table.chosen_rows() == first
    QTest.keyClick(table, Qt.Key.Key_Delete)
    assert [(row.number, row.piece) for row in table.spec_model.rows] == [(n - 1, p) for n, p in had[len(first) :]]
    assert window.bench.history.undo_label == "remove the envelope"
