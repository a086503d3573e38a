"""The bays for shaft form, texture and gauge studies: files in, figures, verdicts, edits and papers out."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any, TypeVar, cast

import make_form_samples
import numpy as np
import pytest
from make_form_samples import BOW_UM, FORM, SAMPLES, STATIONS_MM, TAPER_UM, centre_um
from papers import page_texts
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QAbstractButton, QApplication, QComboBox, QLineEdit, QSpinBox, QWidget
from something import each
from test_pictures import compare
from waiting import wait_for

from valvelab.cli.main import main
from valvelab.errors import BadFile
from valvelab.figures.polar import Rings, magnification, round_step
from valvelab.figures.shaft_figures import bowed_shaft_figure
from valvelab.job.certificates import write_shown
from valvelab.report.scales import thinned
from valvelab.window import theme
from valvelab.window.bays.gauge_start import PlanStrip
from valvelab.window.bays.gauge_view import GaugeView
from valvelab.window.bays.shaft_view import ShaftView
from valvelab.window.bays.texture_view import TextureView
from valvelab.window.bays.view import BayView
from valvelab.window.bench import Bench
from valvelab.window.main_window import MainWindow
from valvelab.window.tables import TableView
from valvelab.workbench import bays, gauge_bay, shaft_bay
from valvelab.workbench.texture_bay import TextureState

JOURNALS, SPEC = "club_four_journals.csv", "club_four_shaft_spec.toml"
FLANK, FINISHED = "club_four_lobe_3I_trace.csv", "hydroplane_journal_trace.smd"
STUDY = "dial_gauge_study.csv"
pytestmark = pytest.mark.usefixtures("quiet")
View = TypeVar("View", bound=BayView)


def put(window: MainWindow, *names: str) -> None:
    window.bench.add_files([str(SAMPLES / name) for name in names])


def front(window: MainWindow, kind: type[View]) -> View:
    view = window.pages.front()
    assert isinstance(view, kind)
    return view


def cells(sheet: TableView) -> list[list[str]]:
    model = sheet.proxy
    return [[str(model.index(r, c).data()) for c in range(model.columnCount())] for r in range(model.rowCount())]


def type_into(field: QLineEdit, text: str) -> None:
    field.setFocus()
    field.selectAll()
    QTest.keyClicks(field, text)
    QTest.keyClick(field, Qt.Key.Key_Return)


def chip(view: BayView, name: str) -> QAbstractButton:
    return next(button for button in view.findChildren(QAbstractButton) if button.property("name") == name)


def value_of(window: MainWindow) -> Any:
    bay = bays.by_name(window.bench.document.bay)
    assert bay is not None
    return bays.answer_value(window.bench.document, bay)


def problems(window: MainWindow) -> list[str]:
    return [row[2] for row in cells(window.notes)]


# The samples


@pytest.mark.parametrize("name", list(make_form_samples.samples()))
def test_committed_file_is_what_the_script_writes(name: str) -> None:
    assert (SAMPLES / name).read_bytes() == make_form_samples.samples()[name]


def test_shaft_reads_back_as_it_was_drawn(window: MainWindow) -> None:
    put(window, JOURNALS)
    result = value_of(window).result
    for journal in result.stations:
        east, north = centre_um(STATIONS_MM[journal.station])
        # 0.12 µm of noise over 144 readings: 0.014 µm in each coordinate
        assert 1000.0 * journal.eccentricity_mm == pytest.approx(float(np.hypot(east, north)), abs=0.06)
        found = {row.order: row.amplitude_um for row in journal.harmonics}
        for order, size, _ in FORM[journal.station]:
            assert found[order] == pytest.approx(size, abs=0.06)
    (row,) = result.tapers
    assert row.taper_um == pytest.approx(-TAPER_UM, abs=0.1)
    # a bow of height 2a between its ends fits between two lines a apart on each side: the zone is its height
    assert result.straightness.minimum_zone_um == pytest.approx(2.0 * BOW_UM, abs=0.3)


def test_finished_journal_is_near_the_limit_of_too_smooth(window: MainWindow) -> None:
    put(window, FINISHED, SPEC)
    assert [(row.characteristic, row.decision) for row in value_of(window).result.verdicts] == [
        ("ra", "accept"),
        ("rvk", "undecided"),
    ]


# Drawing helpers


@pytest.mark.parametrize(
    ("wanted", "step"), [(0.9, 1.0), (1.0, 1.0), (1.1, 2.0), (4.9, 5.0), (51.0, 100.0), (0.03, 0.05)]
)
def test_steps_are_round(wanted: float, step: float) -> None:
    assert round_step(wanted) == pytest.approx(step)


@pytest.mark.parametrize(("largest", "room", "factor"), [(1.0, 9.0, 5.0), (2.0, 10.0, 5.0), (0.005, 13.0, 2000.0)])
def test_magnification_is_round_and_fits(largest: float, room: float, factor: float) -> None:
    assert magnification(largest, room) == pytest.approx(factor)
    assert largest * magnification(largest, room) <= room < largest * 2.6 * magnification(largest, room)


def test_rings_are_round_in_the_units_shown() -> None:
    metric, inch = Rings(10.0, (-1.7, 2.2), "metric"), Rings(10.0, (-1.7, 2.2), "inch")
    assert metric.step_um == pytest.approx(1.0)
    assert metric.levels == [-2, -1, 0, 1, 2, 3]
    # 1 µin = 0.0254 µm
    assert inch.step_um / 0.0254 == pytest.approx(50.0)
    assert inch.label == "one ring 50 µin"


def test_a_line_that_ends_where_it_began_keeps_its_shape_on_paper() -> None:
    turn = np.radians(np.arange(0.0, 361.0, 1.0))
    x, y = 100.0 * np.cos(turn), 100.0 * np.sin(turn)
    x[-1], y[-1] = x[0], y[0]
    kept = thinned(x, y, 0.05)
    # a chord of a circle of radius r stands off by its sagitta s over an angle 2·acos(1 − s/r): 16 pieces at least
    assert kept.size - 1 >= np.pi / np.arccos(1.0 - 0.05 / 100.0)
    assert np.hypot(x[kept], y[kept]) == pytest.approx(100.0)


# The shaft


def test_shaft_is_drawn_bowed_to_the_scale_it_states(window: MainWindow) -> None:
    put(window, JOURNALS)
    inspection = value_of(window)
    figure = bowed_shaft_figure(inspection, "metric", "J3", {"J2": "reject"})
    stated = float(re.search(r"×([\d,]+)", figure.y_axis.label).group(1).replace(",", ""))  # type: ignore[union-attr]
    journals = [band for band in figure.bands if band.x.size == 4]
    assert len(journals) == 5 + 1, "five journals and the lobe that was read"
    assert [band.role for band in journals].count("measured") == 1
    assert [band.role for band in journals].count("reject") == 1
    line = inspection.axis.minimum_zone
    radius = inspection.question.readings.journal_radius_mm
    assert radius == pytest.approx(23.8)
    middles = {
        float(band.x.mean()): 0.5 * float(band.upper[1] + band.lower[1] + band.upper[2] + band.lower[2]) / 2.0
        for band in journals
    }
    for place, offset in zip(inspection.axis.positions_mm, line.distances_mm, strict=True):
        drawn = next(middle for x, middle in middles.items() if abs(x - place) < 1e-6)
        # the bow is seen in the plane of the worst journal; the others lie at most as far off, nearly in that plane
        assert abs(drawn) == pytest.approx(stated * offset, rel=0.06, abs=0.6)
    zone = [curve for curve in figure.curves if curve.role == "series"]
    assert float(zone[0].y[0] - zone[1].y[0]) == pytest.approx(stated * line.zone_mm)


def test_shaft_bay_shows_journals_and_chooses_one(window: MainWindow) -> None:
    put(window, JOURNALS, SPEC)
    view = front(window, ShaftView)
    assert window.banner.accessibleName().startswith("Accepted")
    rows = cells(view.table)
    assert [row[0] for row in rows] == list(STATIONS_MM)
    assert rows[2][2] == f"{value_of(window).result.stations[2].roundness_mzc_um:.2f}"
    assert view.journal_name.text().startswith("J3"), "the one farthest off the axis comes first"
    sheet = window.verdicts.sheet
    sheet.selectRow([row.item for row in sheet.rows_model.rows].index("J5"))
    assert view.journal_name.text().startswith("J5")
    view.table.selectRow(1)
    assert view.journal_name.text().startswith("J2")
    assert sheet.row_of(sheet.currentIndex()).item == "J2", "and its verdict is chosen with it"
    assert "J2" in str(view.polar.items_by_name["roundness"].figure.title)  # type: ignore[union-attr]
    view.choose_item("no such journal")
    assert view.journal_name.text().startswith("J2")


def test_a_click_on_the_drawn_shaft_chooses_the_journal_there(window: MainWindow, app: QApplication) -> None:
    put(window, JOURNALS)
    view = front(window, ShaftView)
    app.processEvents()
    item = view.shaft.items_by_name["shaft"]
    spot = view.shaft.mapFromScene(item.view.mapViewToScene(item.view.viewRect().center()))
    spot.setX(view.shaft.mapFromScene(item.view.mapViewToScene(type(item.view.viewRect().center())(218.0, 0.0))).x())
    QTest.mouseClick(view.shaft.viewport(), Qt.MouseButton.LeftButton, pos=spot)
    app.processEvents()
    assert view.journal_name.text().startswith("J4")


def test_the_filter_is_an_edit_that_can_be_taken_back(window: MainWindow) -> None:
    put(window, JOURNALS)
    view = front(window, ShaftView)
    as_read = value_of(window).result.stations[2].roundness_lsc_um
    chip(view, "15").click()
    assert value_of(window).result.undulations_per_turn == 15
    assert value_of(window).result.stations[2].roundness_lsc_um < as_read
    assert window.bench.history.undo_label == "filter the form"
    window.do("undo")
    assert value_of(window).result.stations[2].roundness_lsc_um == as_read


def test_lobing_and_taper_are_a_click_away(window: MainWindow) -> None:
    put(window, JOURNALS)
    view = front(window, ShaftView)
    chip(view, "taper").click()
    assert view.list_pages.currentWidget() is view.tapers
    assert cells(view.tapers)[0][0] == "3I"
    chip(view, "lobing").click()
    assert view.list_pages.currentWidget() is view.lobing
    assert "harmonics" in view.lobing.items_by_name


def test_journals_in_two_tracks_are_told_apart(window: MainWindow, tmp_path: Path) -> None:
    turn = np.arange(0.0, 360.0, 10.0)
    rows = [f"J1,{place},{a:.0f},{10.0 * np.cos(np.radians(a)):.2f}" for place in (0, 20) for a in turn]
    file = tmp_path / "two.csv"
    file.write_text("\n".join(["station,position [mm],angle [deg],reading [um]", *rows]) + "\n", encoding="utf-8")
    window.bench.add_files([str(file)])
    view = front(window, ShaftView)
    assert list(shaft_bay.journals(value_of(window))) == ["J1 at 0 mm", "J1 at 20 mm"]
    view.choose_item("J1 at 20 mm")
    assert view.journal_name.text().startswith("J1 at 20 mm")
    assert "no straightness" in view.straightness.text()


def test_a_journal_beside_a_track_without_roundness_is_named_as_its_verdicts(
    window: MainWindow, tmp_path: Path
) -> None:
    whole, half = (range(0, end, 10) for end in (360, 180))
    rows = [
        f"J1,{place},{a},{10.0 * np.cos(np.radians(a)):.2f}" for place, turn in ((0, whole), (20, half)) for a in turn
    ]
    file = tmp_path / "half_beside.csv"
    file.write_text("\n".join(["station,position [mm],angle [deg],reading [um]", *rows]) + "\n", encoding="utf-8")
    window.bench.add_files([str(file)])
    view = front(window, ShaftView)
    assert list(shaft_bay.journals(value_of(window))) == ["J1 at 0 mm"]
    assert view.journal_name.text().startswith("J1 at 0 mm")
    assert [index.row() for index in view.table.selectionModel().selectedRows()] == [0]


def test_three_angles_give_an_eccentricity_and_no_roundness(window: MainWindow, tmp_path: Path) -> None:
    file = tmp_path / "three.csv"
    rows = [f"J1,0,{a},{10.0 * np.cos(np.radians(a)):.3f}" for a in (0, 120, 240)]
    file.write_text("\n".join(["station,position [mm],angle [deg],reading [um]", *rows]) + "\n", encoding="utf-8")
    window.bench.add_files([str(file)])
    view = front(window, ShaftView)
    assert cells(view.table)[0][2:4] == ["–", "–"]
    assert view.journal_name.text() == "J1, no roundness"
    figure = view.polar.items_by_name["roundness"].figure
    assert figure is not None
    assert "too few" in figure.y_axis.label


def test_half_a_turn_is_refused_with_its_reason(window: MainWindow, tmp_path: Path) -> None:
    file = tmp_path / "half.csv"
    rows = [f"J1,0,{a},1" for a in range(0, 180, 10)]
    file.write_text("\n".join(["station,position [mm],angle [deg],reading [um]", *rows]) + "\n", encoding="utf-8")
    window.bench.add_files([str(file)])
    assert window.pages.front() is window.empty
    assert "all the way round" in window.empty.explanation.text()


# The surface


def test_texture_bay_shows_parameters_with_their_limits(window: MainWindow) -> None:
    put(window, FLANK, SPEC)
    view = front(window, TextureView)
    rows = {row[0].removesuffix(", µm"): row for row in cells(view.table)}
    assert rows["Ra"][2] == "0.100 to 0.400"
    assert rows["Rvk"][2] == "≥ 0.20"
    assert rows["Rq"][2] == ""
    assert list(rows)[:3] == ["Ra", "Rq", "Rz"]
    assert set(view.stack.items_by_name) == {"trace", "roughness"}
    assert not view.usual.isEnabled()


def test_settings_recompute_and_go_back_to_the_usual(window: MainWindow) -> None:
    put(window, FLANK)
    view = front(window, TextureView)
    usual = value_of(window).result.parameters.ra_um
    type_into(view.cutoff, "0.25")
    assert value_of(window).result.cutoff_mm == pytest.approx(0.25)
    assert value_of(window).result.parameters.ra_um < usual
    type_into(view.sections, "3")
    type_into(view.short_cutoff, "8 um")
    assert value_of(window).result.sections == 3
    assert value_of(window).result.short_cutoff_mm == pytest.approx(0.008)
    type_into(view.short_cutoff, "0")
    assert value_of(window).result.short_cutoff_mm is None
    assert view.usual.isEnabled()
    view.usual.click()
    assert value_of(window).result.parameters.ra_um == usual
    window.do("undo")
    assert value_of(window).result.cutoff_mm == pytest.approx(0.25), "all three went back in one step"


def test_a_cutoff_the_trace_cannot_hold_is_told_and_the_usual_one_shown(window: MainWindow) -> None:
    put(window, FLANK)
    view = front(window, TextureView)
    type_into(view.cutoff, "8")
    assert window.pages.front() is view
    assert any("at least one cutoff of 8 mm" in text and "usual settings" in text for text in problems(window))
    assert view.cutoff.text() == "0.800 mm"
    view.usual.click()
    assert not any("usual settings" in text for text in problems(window))


def test_a_short_cutoff_is_typed_in_the_unit_it_is_shown_in(window: MainWindow) -> None:
    put(window, FLANK)
    view = front(window, TextureView)
    assert view.short_cutoff.text() == "2.5 µm"
    type_into(view.short_cutoff, "4")
    assert value_of(window).result.short_cutoff_mm == pytest.approx(0.004)
    window.do("units")
    type_into(view.short_cutoff, "100")
    # 100 µin = 2.54 µm
    assert value_of(window).result.short_cutoff_mm == pytest.approx(0.00254)


# The gauge


def test_gauge_bay_shows_both_methods(window: MainWindow) -> None:
    put(window, STUDY, SPEC)
    view = front(window, GaugeView)
    rows = {row[0]: row for row in cells(view.table)}
    result = value_of(window).result
    assert rows["GRR"][1] == f"{result.anova.grr_sd:.5f}"
    window.do("units")
    assert cells(view.table)[3][1] == f"{result.anova.grr_sd / 25.4:.6f}"
    window.do("units")
    assert rows["GRR of total"][2] == f"{result.ranges.grr_percent:.1f}"
    assert rows["distinct categories"][1] == str(result.anova.ndc)
    assert rows["interaction"][1] == "–"
    assert [row[0] for row in cells(view.analysis)] == ["part", "appraiser", "repeatability"]
    assert "usable with care" in view.judgement.text()


def test_a_typed_tolerance_wins_and_zero_brings_back_the_studys_own(window: MainWindow) -> None:
    put(window, STUDY)
    view = front(window, GaugeView)
    field = view.tolerance
    assert field is not None
    own = value_of(window).result.anova.grr_percent_of_tolerance
    type_into(field, "0.1")
    assert value_of(window).result.anova.grr_percent_of_tolerance == pytest.approx(own / 2.0)
    type_into(field, "0")
    assert value_of(window).result.tolerance == pytest.approx(0.05)


def test_the_adopted_result_becomes_the_probes_uncertainty(window: MainWindow, tmp_path: Path) -> None:
    put(window, STUDY)
    view = front(window, GaugeView)
    assert view.kind.text() == "tir"
    kept = tmp_path / "dial.toml"
    view.adopt_to(kept)
    grr = value_of(window).result.anova.grr_sd
    assert [file.name for file in window.bench.document.of_kind("adopted uncertainty")] == ["dial.toml"]
    bare = tmp_path / "bare.csv"
    text = (SAMPLES / JOURNALS).read_text(encoding="utf-8")
    bare.write_text("\n".join(line for line in text.splitlines() if "probe uncertainty" not in line) + "\n", "utf-8")
    window.bench.add_files([str(bare)])
    window.bench.go_to_bay("shaft")
    inspection = value_of(window)
    assert inspection.question.readings.probe_uncertainty_mm == pytest.approx(grr, rel=1e-5)
    assert "uncertainty adopted for tir" in window.banner.inspected.text()
    paper = tmp_path / "shaft.pdf"
    write_shown(shaft_bay.certificate(window.bench.document, inspection), paper, "metric", "2026-05-02")
    assert "adopted for tir" in " ".join(page_texts(paper))
    large = tmp_path / "large.csv"
    large.write_text("# probe uncertainty: 0.9 mm\n" + bare.read_text("utf-8"), "utf-8")
    window.bench.add_files([str(large)])
    window.bench.remove_file(str(bare))
    assert "own uncertainty, not the smaller adopted one" in window.banner.inspected.text()
    window.bench.add_files([str(bare)])
    window.bench.remove_file(str(large))
    sheet = tmp_path / "shaft.pdf"
    window.save_certificate(sheet)
    assert main(["verify", str(sheet), "--quiet"]) == 0


def test_an_adoption_without_a_kind_is_not_offered(window: MainWindow) -> None:
    put(window, STUDY)
    view = front(window, GaugeView)
    view.kind.clear()
    assert not view.adopt.isEnabled()


def test_plans_are_written_to_print_and_to_fill_in(window: MainWindow, tmp_path: Path) -> None:
    from pypdf import PdfReader

    put(window, STUDY)
    view = front(window, GaugeView)
    view.plan.fields["parts"].setValue(5)
    view.plan.fields["appraisers"].setValue(2)
    table, sheet = tmp_path / "plan.csv", tmp_path / "plan.pdf"
    view.plan.save(table)
    view.plan.save(sheet)
    rows = [line.split(",") for line in table.read_text(encoding="utf-8").splitlines()[3:]]
    assert len(rows) == 5 * 2 * 3
    assert len({tuple(cell.strip() for cell in row[:3]) for row in rows}) == len(rows)
    printed = "".join(page.extract_text() for page in PdfReader(sheet).pages)
    assert "5 parts, 2 appraisers, 3 trials" in printed
    assert len(PdfReader(sheet).pages) == 1
    filled = tmp_path / "filled.csv"
    lines = table.read_text(encoding="utf-8").splitlines()
    draw = np.random.default_rng(5)
    filled.write_text("\n".join([*lines[:3], *(f"{line}{draw.normal():.3f}" for line in lines[3:])]) + "\n", "utf-8")
    window.bench.add_files([str(filled)])
    window.bench.use_file(str(filled))
    assert value_of(window).result.parts == ("1", "2", "3", "4", "5")


def test_a_long_plan_runs_over_pages_and_is_the_same_every_time(tmp_path: Path) -> None:
    from pypdf import PdfReader

    plan = gauge_bay.GaugeState(parts=20, appraisers=3, trials=3, seed=7)
    for name in ("a.pdf", "b.pdf"):
        gauge_bay.write_plan(plan, tmp_path / name)
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()
    pages = [page.extract_text() for page in PdfReader(tmp_path / "a.pdf").pages]
    assert len(pages) == 2
    assert "page 2 of 2" in pages[1]
    assert "180" in pages[1].split()


@pytest.mark.parametrize(
    "plan",
    [
        gauge_bay.GaugeState(parts=1, appraisers=3, trials=3),
        gauge_bay.GaugeState(parts=10, appraisers=3, trials=1),
        gauge_bay.GaugeState(parts=900, appraisers=9, trials=9),
    ],
)
def test_impossible_plans_are_refused(plan: gauge_bay.GaugeState, tmp_path: Path) -> None:
    with pytest.raises(BadFile, match="at least 2 parts"):
        gauge_bay.write_plan(plan, tmp_path / "plan.csv")
    assert not (tmp_path / "plan.csv").exists()


def test_a_study_can_be_planned_before_there_is_one(window: MainWindow, tmp_path: Path) -> None:
    window.bench.go_to_bay("gauge")
    assert window.pages.front() is window.empty
    begin = window.empty.findChild(PlanStrip)
    assert begin is not None
    assert begin.isVisible()
    window.bench.go_to_bay("shaft")
    assert not begin.isVisible()


# All three


@pytest.mark.parametrize(
    ("names", "bay"), [((JOURNALS, SPEC), "shaft"), ((FLANK, SPEC), "texture"), ((STUDY,), "gauge")]
)
def test_certificates_carry_what_recomputes_them(
    window: MainWindow, names: tuple[str, ...], bay: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    put(window, *names)
    if bay == "shaft":
        chip(front(window, ShaftView), "15").click()
    elif bay == "texture":
        type_into(front(window, TextureView).sections, "4")
    else:
        type_into(cast("QLineEdit", front(window, GaugeView).tolerance), "0.04")
    sheet = tmp_path / "certificate.pdf"
    window.save_certificate(sheet)
    assert main(["verify", str(sheet)]) == 0
    assert "agrees" in capsys.readouterr().out


def test_one_bench_holds_all_three_with_the_specs_each_needs(window: MainWindow) -> None:
    put(window, "quillmere_four_camshaft.toml", SPEC, JOURNALS, FLANK, STUDY)
    for bay, judged in (("shaft", 9), ("texture", 2), ("gauge", 1)):
        window.bench.go_to_bay(bay)
        assert len(value_of(window).result.verdicts) == judged
    window.bench.remove_file(str(SAMPLES / SPEC))
    assert value_of(window).result.verdicts == ()
    assert "no spec on the bench has limits on this" in window.banner.inspected.text()


@pytest.mark.parametrize(("name", "bay"), [(JOURNALS, "shaft"), (FLANK, "texture"), (STUDY, "gauge")])
def test_the_sample_button_opens_the_bays_own(window: MainWindow, name: str, bay: str) -> None:
    window.bench.go_to_bay(bay)
    window.empty.sample_button.click()
    assert window.bench.document.bay == bay
    assert str(SAMPLES / name) in [file.path for file in window.bench.document.files]


@pytest.mark.parametrize("name", [JOURNALS, FLANK, STUDY])
def test_every_input_has_a_name_that_can_be_spoken(window: MainWindow, name: str) -> None:
    put(window, name)
    view = window.pages.front()
    kinds: tuple[type[QWidget], ...] = (QLineEdit, QComboBox, QSpinBox, QAbstractButton)
    for widget in each(widget for kind in kinds for widget in view.findChildren(kind)):
        inside = isinstance(widget.parent(), (QComboBox, QSpinBox)) or widget.objectName().startswith("qt_")
        by_text = isinstance(widget, QAbstractButton) and bool(widget.text())
        if widget.isVisible() and not inside and not by_text and not isinstance(widget.parent(), TableView):
            assert widget.accessibleName(), (widget, widget.parent())


@pytest.mark.parametrize("name", [JOURNALS, FLANK, STUDY])
def test_usable_at_1280_by_720_and_in_inches(window: MainWindow, name: str, app: QApplication) -> None:
    put(window, name, SPEC)
    window.do("units")
    app.processEvents()
    assert window.width() == 1280
    assert window.height() == 720
    view = window.pages.front()
    assert view.minimumSizeHint().width() <= 1000
    assert view.height() <= window.pages.height(), "nothing to scroll for"


def test_the_view_stays_while_the_next_answer_is_worked_out(app: QApplication, tmp_path: Path) -> None:
    made = MainWindow(Bench(tmp_path / "settings"))
    made.show()
    put(made, FLANK)
    wait_for(lambda: isinstance(made.pages.front(), TextureView))
    view = front(made, TextureView)
    made.bench.set(TextureState, "change the cutoff", cutoff_mm=0.25)
    assert made.pages.front() is view, "the last answer stays in front"
    wait_for(lambda: view.cutoff.text() == "0.250 mm", view.cutoff.text)
    made.close()


# Approved pictures of the bays; see test_pictures for how they are renewed


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(
    ("name", "files"), [("shaft", (JOURNALS, SPEC)), ("texture", (FLANK, SPEC)), ("gauge", (STUDY, SPEC))]
)
def test_pictures(window: MainWindow, name: str, files: tuple[str, ...], scheme: theme.Scheme, tmp_path: Path) -> None:
    theme.set_scheme(scheme)
    window.restyle()
    put(window, *files)
    compare(cast("MainWindow", window.pages.front()), f"{name}_{scheme}", tmp_path)
