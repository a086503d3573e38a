"""The bay of comparisons: which files are compared, what is shown of them, and its paper."""

from __future__ import annotations

from pathlib import Path

import pytest
from PySide6.QtWidgets import QApplication, QComboBox
from test_pictures import compare
from test_recovery import document_in

from valvelab.cli.main import main
from valvelab.figures.comparison_figures import left_figure, spring_changes_figure
from valvelab.inspection.comparison.inspect import CompareInspection
from valvelab.places import sample_profiles
from valvelab.window import theme
from valvelab.window.bays.compare_view import CompareView
from valvelab.window.main_window import MainWindow
from valvelab.workbench import bays, compare_bay
from valvelab.workbench.compare_bay import CompareState
from valvelab.workbench.document import BenchFile

SAMPLES = sample_profiles()
SHAFTS = ("quillmere_four_camshaft.csv", "quillmere_four_after_a_season.csv", "quillmere_four_season.toml")
SPRINGS = ("springs_quillmere_tray.csv", "springs_quillmere_after_a_season.csv", "springs_quillmere_season.toml")
pytestmark = pytest.mark.usefixtures("quiet")


def put(window: MainWindow, *names: str) -> None:
    window.bench.add_files([str(SAMPLES / name) for name in names])
    window.bench.go_to_bay("compare")
    QApplication.processEvents()


def view(window: MainWindow) -> CompareView:
    found = window.pages.front()
    assert isinstance(found, CompareView)
    return found


def answer(window: MainWindow) -> CompareInspection:
    bay = bays.by_name("compare")
    assert bay is not None
    found = bays.answer_value(window.bench.document, bay)
    assert isinstance(found, CompareInspection)
    return found


def offered(box: QComboBox) -> list[str]:
    return [box.itemText(row) for row in range(box.count())]


def choose(box: QComboBox, name: str) -> None:
    box.setCurrentIndex(box.findText(name))
    box.activated.emit(box.currentIndex())
    QApplication.processEvents()


def test_two_lift_tables_are_compared_in_the_order_they_came(window: MainWindow) -> None:
    put(window, *SHAFTS)
    shown = view(window)
    assert (offered(shown.before), shown.before.currentText()) == ([*SHAFTS[:2]], SHAFTS[0])
    assert (offered(shown.after), shown.after.currentText()) == ([SHAFTS[1]], SHAFTS[1])
    assert window.verdicts.sheet.proxy.rowCount() == 8
    assert "2E" in shown.heading.text()
    assert "82.7 µm" in shown.heading.text()
    shown.choose_item("1I")
    QApplication.processEvents()
    assert shown.heading.text().startswith("1I · worn by 44.4")


def test_swapping_is_an_edit_and_can_be_undone(window: MainWindow) -> None:
    put(window, *SHAFTS)
    shown = view(window)
    worn = answer(window).result.lobes
    shown.swap.click()
    QApplication.processEvents()
    back = answer(window).result.lobes
    assert (shown.before.currentText(), shown.after.currentText()) == (SHAFTS[1], SHAFTS[0])
    assert [row.shift_cam_deg for row in back] == pytest.approx(
        [-(row.shift_cam_deg or 0.0) for row in worn], abs=0.004
    )
    window.bench.history.undo()
    QApplication.processEvents()
    assert answer(window).result.lobes == worn


def test_files_of_both_kinds_are_offered(window: MainWindow) -> None:
    put(window, *SHAFTS[:2], *SPRINGS[:2])
    shown = view(window)
    assert offered(shown.before) == [*SHAFTS[:2], *SPRINGS[:2]]
    choose(shown.before, SPRINGS[0])
    assert answer(window).result.kind == "springs"
    assert (offered(shown.after), shown.after.currentText()) == ([SPRINGS[1]], SPRINGS[1])
    assert shown.table.proxy.rowCount() == 16
    assert shown.heading.text().startswith("Q01 · seat force −3.73 %")


def test_one_file_alone_has_nothing_to_be_compared_with(window: MainWindow) -> None:
    put(window, SHAFTS[0], SPRINGS[0])
    assert compare_bay.question(window.bench.document) is None
    assert window.pages.front() is window.empty


def test_a_nominal_table_is_compared_only_when_chosen(window: MainWindow) -> None:
    nominal = "quillmere_four_nominal_intake.csv"
    put(window, nominal, "quillmere_four_camshaft.toml", *SHAFTS[:2])
    shown = view(window)
    assert (shown.before.currentText(), shown.after.currentText()) == SHAFTS[:2]
    choose(shown.before, nominal)
    found = answer(window)
    assert found.question.master
    assert [row.lobe for row in found.result.lobes] == ["1I", "1E", "2I", "2E", "3I", "3E", "4I", "4E"]


@pytest.mark.parametrize("names", [SHAFTS, SPRINGS], ids=["lobes", "springs"])
def test_the_window_writes_the_command_line_s_paper(window: MainWindow, tmp_path: Path, names: tuple[str, ...]) -> None:
    put(window, *names)
    paper, line = tmp_path / "window.pdf", tmp_path / "line.pdf"
    window.save_certificate(paper)
    files = [str(SAMPLES / name) for name in names]
    assert main(["compare", *files[:2], "--spec", files[2], "--out", str(line), "--quiet"]) in {1, 4}
    assert paper.read_bytes() == line.read_bytes()


def test_columns_of_either_file_go_to_paper(window: MainWindow, tmp_path: Path) -> None:
    rows = (SAMPLES / SHAFTS[1]).read_text(encoding="utf-8").splitlines()
    bare = tmp_path / "bare.csv"
    bare.write_text("\n".join(row.replace(" [cam deg]", "") for row in rows if row[0] != "#"), encoding="utf-8")
    put(window, SHAFTS[0])
    window.bench.add_files([str(bare)])
    columns = ", ".join(["angle=0 [cam deg]", *(f"{name}={n} [mm]" for n, name in enumerate(("1I", "1E"), start=1))])
    window.bench.assign_columns(str(bare), "lift table", columns)
    window.bench.go_to_bay("compare")
    QApplication.processEvents()
    assert [row.lobe for row in answer(window).result.lobes] == ["1I", "1E"]
    paper = tmp_path / "columns.pdf"
    window.save_certificate(paper)
    assert main(["verify", str(paper), "--quiet"]) == 0


def test_the_worst_place_is_marked_and_noise_is_not_called_worn(window: MainWindow) -> None:
    put(window, *SHAFTS)
    lobes = {one.lobe: one for one in answer(window).lobes}
    worn, sound = left_figure(lobes["2E"]), left_figure(lobes["2I"])
    assert [curve.role for curve in worn.curves] == ["measured", "outside"]
    assert [curve.role for curve in sound.curves] == ["measured"]
    assert (worn.marks[0].role, sound.marks[0].role) == ("reject", "measured")
    assert worn.marks[0].x[0] == pytest.approx(5.0)
    assert worn.bands[0].upper - worn.bands[0].lower == pytest.approx(4000.0 * lobes["2E"].u_mm)


def test_every_spring_has_its_bars(window: MainWindow) -> None:
    put(window, *SPRINGS)
    figure = spring_changes_figure(answer(window).result, "Q03")
    assert [band.label for band in figure.bands] == ["seat force", "open force"]
    assert figure.marks[0].texts == ("Q03",)
    assert [name for _, name in figure.x_axis.names] == [f"Q{number:02d}" for number in range(1, 17)]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("names", [SHAFTS, SPRINGS], ids=["lobes", "springs"])
def test_pictures(window: MainWindow, tmp_path: Path, scheme: theme.Scheme, names: tuple[str, ...]) -> None:
    theme.set_scheme(scheme)
    window.restyle()
    put(window, *names)
    compare(window, f"compared_{'lobes' if names == SHAFTS else 'springs'}_{scheme}", tmp_path)


def test_what_was_chosen_outlives_a_crash(window: MainWindow, tmp_path: Path) -> None:
    put(window, *SHAFTS)
    view(window).swap.click()
    window.bench.keep_or_raise()
    (kept,) = (tmp_path / "settings").glob("recovery*.json")
    state = document_in(kept.read_bytes(), tmp_path / "again").state(CompareState)
    assert (Path(state.before).name, Path(state.after).name) == (SHAFTS[1], SHAFTS[0])


def test_files_of_one_name_are_told_apart() -> None:
    paths = ("/spring/a.csv", "/autumn/a.csv", "/autumn/b.csv", "/jobs/1/files/c.csv", "/jobs/2/files/c.csv")
    files = [BenchFile(path) for path in paths]
    labels = [label for label, _ in compare_bay.labelled(files)]
    assert labels == ["a.csv (spring)", "a.csv (autumn)", "b.csv", "c.csv (4)", "c.csv (5)"]


def test_a_nominal_table_is_not_compared_unless_somebody_says_so(window: MainWindow) -> None:
    nominals = ("quillmere_four_nominal_exhaust.csv", "quillmere_four_nominal_intake.csv")
    put(window, SHAFTS[0], *nominals, "quillmere_four_camshaft.toml")
    assert compare_bay.pair_in_use(window.bench.document) is None


def test_a_refusal_names_files_and_no_places(window: MainWindow, tmp_path: Path) -> None:
    rows = (SAMPLES / SHAFTS[0]).read_text(encoding="utf-8").splitlines()
    for name, columns in (("first.csv", [0, 1, 2, 3, 4]), ("second.csv", [0, 5, 6])):
        kept = [row if row.startswith("#") else ",".join(row.split(",")[one] for one in columns) for row in rows]
        (tmp_path / name).write_text("\n".join(kept) + "\n", encoding="utf-8")
    window.bench.add_files([str(tmp_path / "first.csv"), str(tmp_path / "second.csv")])
    window.bench.go_to_bay("compare")
    QApplication.processEvents()
    failure = window.bench.document.answers["compare"].failure
    assert (
        failure
        == "found first.csv with 1I, 1E, 2I, 2E, second.csv with 3I, 3E: expected a lobe of the same name in both"
    )
    assert not [row.text for row in window.notes.rows_model.rows if str(tmp_path) in row.text]
