"""The lash bay: typed and opened sheets, the plan, shims fixed by hand, its job file and its paper."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from something import each
from test_entry_window import begin, to_grid, type_keys
from test_pictures import compare

from valvelab.cli.main import main
from valvelab.figures.lash_figures import lash_figure
from valvelab.files.lash_sheet import read_lash
from valvelab.inspection.engine.lash import inspect_lash, shims_for
from valvelab.places import sample_profiles
from valvelab.window import theme
from valvelab.window.bays.lash_view import LashView
from valvelab.window.main_window import MainWindow
from valvelab.workbench import lash_bay
from valvelab.workbench.entry_text import grid_of

SHEET = sample_profiles() / "lake_tender_lash.csv"
pytestmark = pytest.mark.usefixtures("quiet")


def view(window: MainWindow) -> LashView:
    QApplication.processEvents()
    found = window.pages.front()
    assert isinstance(found, LashView)
    return found


def shims(window: MainWindow) -> dict[str, str]:
    """The new shim and where it is from, by valve, as the plan shows it."""
    model = view(window).plan.proxy
    heads = [column.title.partition("\n")[0] for column in view(window).plan.rows_model.columns]
    shown = [heads.index(head) for head in ("valve", "new shim", "from")]
    rows = ([str(model.index(row, n).data()) for n in shown] for row in range(model.rowCount()))
    return {valve: f"{size} {origin}" for valve, size, origin in rows}


def fix(window: MainWindow, valve: str, size_mm: float) -> None:
    """Fix a shim by hand, as a person does: the valve, the shim, the button."""
    shown = view(window)
    shown.choose_item(valve)
    shown.shims.select_where(lambda shim: abs(shim.size_mm - size_mm) < 1e-6)
    shown.fix_button.click()
    QApplication.processEvents()


def test_a_sheet_shows_its_plan_its_purchases_and_its_chances(window: MainWindow) -> None:
    window.bench.add_files([str(SHEET)])
    assert window.bench.document.bay == "lash"
    shown = view(window)
    assert shims(window)["1E"] == "2.620 out of 2I"
    assert shims(window)["4E"] == "2.850 to buy"
    assert window.banner.accessibleName() == (
        "6 valves out of the band: 4 moved between valves, 1 from the shelf, buy 1 shim; then all 8 are in it"
    )
    assert shown.told.text() == "Onto the shelf: 2.550, 2.720 mm."
    assert [(row.size_mm, row.count) for row in shown.purchases.rows_model.rows] == [(2.85, 1)]
    chances = {row.valve: row.chance_in_band for row in shown.plan.rows_model.rows}
    # normal distribution, u = hypot(0.008, 0.002) mm, lash 0.28 mm in 0.23 to 0.29 mm: Φ(1.2127) = 0.8874 (tables)
    assert chances["3E"] == pytest.approx(0.8874, abs=2e-4)
    window.bench.toggle_units()
    QApplication.processEvents()
    assert shims(window)["4E"] == "0.1122 to buy", "2.85 mm over 25.4 mm to the inch"


def test_readings_typed_at_the_bay_become_a_plan_as_soon_as_a_valve_is_whole(window: MainWindow) -> None:
    pane = begin(window, "lash sheet", "lash")
    pane.form.fields["lash"].setFocus()
    type_keys("0.20 mm ± 0.03 mm\r")
    pane.rows.setFocus()
    type_keys("1 to 2\r")
    to_grid(pane)
    type_keys("0.30\r0.10\r2.50\r")
    assert [row.valve for row in view(window).plan.rows_model.rows] == ["1"], "the second has no shim yet"
    type_keys("2.60\r")
    assert shims(window) == {"1": "2.600 out of 2", "2": "2.500 out of 1"}, "a swap sets both to 0.20 mm"
    assert grid_of("lash sheet", window.bench.document.files[0].text or "").rows == (
        ("1", "0.30", "2.50"),
        ("2", "0.10", "2.60"),
    )


def test_what_cannot_stand_in_the_sheet_is_refused_where_it_is_typed(window: MainWindow) -> None:
    pane = begin(window, "lash sheet", "lash")
    to_grid(pane)
    type_keys("0\r0\r")
    assert pane.message.text() == "✗ position 1 shim: found 0 mm, expected more than 0", "a clearance may be 0"


def test_a_shim_fixed_by_hand_is_planned_around_and_undone(window: MainWindow) -> None:
    window.bench.add_files([str(SHEET)])
    found = shims(window)
    fix(window, "1I", 2.55)
    assert shims(window)["1I"] == "2.550 out of 1E"
    assert view(window).plan.rows_model.columns[-1].text(view(window).plan.rows_model.rows[0]) == "by hand"
    assert window.bench.history.undo_label == "fix the shim of 1I"
    view(window).free_button.click()
    assert shims(window) == found
    window.do("undo")
    window.do("undo")
    assert shims(window) == found
    assert not view(window).free_button.isEnabled()


def test_the_shims_offered_are_those_to_be_had_the_best_first() -> None:
    table = read_lash(SHEET)
    offered = shims_for(table, "3E")
    assert [(one.size_mm, one.origin) for one in offered[:2]] == [(2.62, "head"), (2.6, "head")]
    assert (offered[0].from_valve, offered[0].lash_mm) == ("2I", pytest.approx(0.16 + 2.72 - 2.62))
    for one in each(offered):
        found = inspect_lash(table, {"3E": one.size_mm}).result.valves[5]
        assert (found.shim_mm, found.lash_mm) == pytest.approx((one.size_mm, one.lash_mm))
        assert one.lash_mm >= 0.0


def test_a_fixed_shim_that_is_gone_is_said_and_the_plan_shown_without(window: MainWindow, tmp_path: Path) -> None:
    path = tmp_path / "lash.csv"
    path.write_text(SHEET.read_text(encoding="utf-8"), encoding="utf-8")
    window.bench.add_files([str(path)])
    found = shims(window)
    fix(window, "1I", 2.45)
    text = path.read_text(encoding="utf-8").replace("2.45 mm x 1, ", "").replace("2.00 mm to", "2.50 mm to")
    window.bench.retype(str(path), text, "change the shelf")
    assert shims(window) == found
    said = [row.text for row in window.bench.document.problems()]
    assert any("2.45 mm fixed to '1I', a shim not to be had; shown without what was fixed" in one for one in said)


def test_a_job_keeps_its_lash_parts_through_save_and_open(
    window: MainWindow, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = tmp_path / "second.csv"
    other.write_text("# lash: 0.2 mm ± 0.03 mm\nvalve,clearance [mm],shim [mm]\nA=1; B,0.2,2.5\n", encoding="utf-8")
    window.bench.add_files([str(SHEET), str(other)])
    window.bench.use_file(str(other))
    fix(window, "A=1; B", 2.5)
    window.bench.use_file(str(SHEET))
    fix(window, "1I", 2.55)
    found = shims(window)
    job, again = tmp_path / "lash.valvejob", tmp_path / "again.valvejob"
    window.save_job(job)
    window.open_paths([str(job)])
    assert window.bench.document.job == str(job)
    assert shims(window) == found
    window.save_job(again)
    for path in each((job, again)):
        with zipfile.ZipFile(path) as archive:
            text = archive.read("job.toml").decode()
        assert text.count('inspect = "lash"') == 2
        assert 'fix = ["1I=2.55 mm"]' in text
        assert "A=1; B" in text, "a name with the signs of the text is quoted"
    assert main(["certify", str(again), "--out", str(tmp_path / "job.pdf"), "--quiet"]) == 0
    capsys.readouterr()
    assert main(["lash", str(SHEET), "--fix", "1I=2.55 mm", "--json"]) == 0
    line = json.loads(capsys.readouterr().out)["valves"]
    assert [row["shim_mm"] for row in line] == [float(text.partition(" ")[0]) for text in found.values()]


def test_window_and_command_line_write_one_paper_one_sheet_and_one_table(window: MainWindow, tmp_path: Path) -> None:
    window.bench.add_files([str(SHEET)])
    shown = view(window)
    papers = {name: tmp_path / name for name in ("a.pdf", "b.pdf", "sheet_a.pdf", "sheet_b.pdf", "a.csv")}
    window.save_certificate(papers["a.pdf"])
    shown.save_sheet(papers["sheet_a.pdf"])
    shown.save_csv(papers["a.csv"])
    words = [str(SHEET), "--out", str(papers["b.pdf"]), "--sheet", str(papers["sheet_b.pdf"]), "--quiet"]
    assert main(["lash", *words]) == 0
    assert papers["a.pdf"].read_bytes() == papers["b.pdf"].read_bytes()
    assert papers["sheet_a.pdf"].read_bytes() == papers["sheet_b.pdf"].read_bytes()
    assert "4E" in papers["a.csv"].read_text(encoding="utf-8").splitlines()[-1]


def test_the_plot_shows_each_valve_in_its_band() -> None:
    drawn = lash_figure(inspect_lash(read_lash(SHEET)).result)
    measured, planned = drawn.marks
    assert measured.y.tolist() == [0.20, 0.33, 0.12, 0.26, 0.30, 0.16, 0.25, 0.42]
    assert planned.role == "accept"
    assert [band.lower[0] for band in drawn.bands[:2]] == pytest.approx([0.17, 0.23])
    assert [band.upper[0] for band in drawn.bands[:2]] == pytest.approx([0.23, 0.29])


def test_keys_alone_choose_a_valve_and_its_shim(window: MainWindow) -> None:
    window.bench.add_files([str(SHEET)])
    shown = view(window)
    shown.plan.setFocus()
    QTest.keyClick(shown.plan, Qt.Key.Key_Down)
    assert window.bench.document.state(lash_bay.LashState).valve == "1E"
    shown.shims.setFocus()
    QTest.keyClick(shown.shims, Qt.Key.Key_Down)
    size = shown.shims.row_of(shown.shims.currentIndex()).size_mm
    QTest.keyClick(shown.fix_button, Qt.Key.Key_Space)
    assert lash_bay.fixed_in_use(window.bench.document) == (("1E", size),)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_pictures(window: MainWindow, tmp_path: Path, scheme: theme.Scheme) -> None:
    theme.set_scheme(scheme)
    window.restyle()
    window.bench.add_files([str(SHEET)])
    QApplication.processEvents()
    compare(window, f"lash_{scheme}", tmp_path)
