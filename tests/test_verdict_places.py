"""A verdict and its place: a row chosen rings the place on the curve, a click on the place chooses the row."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from invented_camshaft import write_table
from PySide6.QtCore import QPointF, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QAbstractSlider, QApplication
from something import each

from valvelab.places import sample_profiles
from valvelab.records.result import Verdict
from valvelab.window.bays.lobes_view import LobesView
from valvelab.window.main_window import MainWindow
from valvelab.window.verdict_table import use_of_limits

SAMPLES = sample_profiles()


def find(window: MainWindow, name: str, item: str) -> int:
    sheet = window.verdicts.sheet
    rows = [sheet.row_of(sheet.proxy.index(n, 0)) for n in range(sheet.proxy.rowCount())]
    return next(n for n, row in enumerate(rows) if (row.characteristic, row.item) == (name, item))


def test_a_row_rings_its_place_and_a_click_there_chooses_the_row(window: MainWindow) -> None:
    window.bench.add_files([str(SAMPLES / f"quillmere_four_camshaft.{ending}") for ending in ("csv", "toml")])
    view = window.pages.front()
    assert isinstance(view, LobesView)
    sheet = window.verdicts.sheet
    assert sheet.row_of(sheet.currentIndex()).item == "3E", "the lobe in front, its gravest row"
    sheet.selectRow(find(window, "duration", "2E"))
    assert view.lobe_name.text() == "2E exhaust"
    item = view.stack.items_by_name["lift"]
    ringed, heights = item.ringed()
    opening, closing = ringed
    # the ring lies on the curve at the lift of the limit, and the flanks lie a duration (in crank deg) apart
    for height in each(heights):
        assert height == pytest.approx(1.27, abs=0.01)
    assert 2.0 * (closing - opening) == pytest.approx(sheet.row_of(sheet.currentIndex()).measured, abs=0.01)
    sheet.selectRow(find(window, "max_lift", "3E"))
    nose = item.ringed()[0]
    assert not view.stack.items_by_name["deviation"].ringed()[0].size
    QApplication.processEvents()
    worst = view.stack.items_by_name["deviation"]
    curve = worst.figure.curves[0]
    at = float(curve.x[np.argmax(np.abs(curve.y))])
    assert abs(at - nose[0]) < 10.0, "the nose is what is worn"
    view.stack.spot_clicked.emit("deviation", at)
    assert sheet.row_of(sheet.currentIndex()).characteristic == "envelope"
    assert worst.ringed()[0] == pytest.approx([at], abs=0.6)
    lift = item.view.mapViewToScene(QPointF(nose[0] * item.scale_x().scale, item.figure.curves[-1].y.max()))
    QTest.mouseClick(view.stack.viewport(), Qt.MouseButton.LeftButton, pos=view.stack.mapFromScene(lift))
    assert sheet.row_of(sheet.currentIndex()).characteristic == "max_lift"


def test_the_row_that_a_place_chooses_is_brought_into_view(window: MainWindow) -> None:
    window.bench.add_files([str(SAMPLES / f"quillmere_four_camshaft.{ending}") for ending in ("csv", "toml")])
    QApplication.processEvents()
    sheet = window.verdicts.sheet
    last = sheet.row_of(sheet.proxy.index(sheet.proxy.rowCount() - 1, 0))
    assert sheet.indexAt(sheet.viewport().rect().bottomLeft()).row() < sheet.proxy.rowCount() - 1, "all are in view"
    window.verdicts.bring(last)
    assert sheet.visualRect(sheet.currentIndex()).intersects(sheet.viewport().rect())
    assert sheet.row_of(sheet.currentIndex()) is last
    window.resize(1280, 1000)
    QApplication.processEvents()
    assert sheet.viewport().rect().contains(sheet.visualRect(sheet.currentIndex())), "in another height as well"
    sheet.verticalScrollBar().triggerAction(QAbstractSlider.SliderAction.SliderToMinimum)
    window.resize(1280, 720)
    QApplication.processEvents()
    assert sheet.rowAt(0) == 0, "where a person scrolled to"


def test_a_remark_brings_what_it_is_about_to_the_front(window: MainWindow) -> None:
    window.bench.add_files([str(SAMPLES / f"quillmere_four_camshaft.{ending}") for ending in ("csv", "toml")])
    window.sheet.bring("remarks")
    rows = [window.notes.row_of(window.notes.proxy.index(n, 0)) for n in range(window.notes.proxy.rowCount())]
    about = next(n for n, row in enumerate(rows) if row.about == "4I")
    view = window.pages.front()
    assert isinstance(view, LobesView)
    assert view.lobe_name.text() == "3E exhaust"
    window.notes.selectRow(about)
    assert view.lobe_name.text() == "4I intake"
    other = next(n for n, row in enumerate(rows) if not row.about[:1].isdigit())
    window.notes.selectRow(other)
    assert view.lobe_name.text() == "4I intake", "what is about no lobe leaves the one in front"


@pytest.mark.parametrize(
    ("lower", "upper", "value", "place"),
    [(1.0, 3.0, 2.5, 0.5), (None, 50.0, 50.0, 1.0), (None, 50.0, 25.0, 0.0), (600.0, None, 600.0, -1.0),
     (600.0, None, 540.0, -1.2), (None, 0.0, 0.5, 2.0), (None, None, 1.0, None)],
)  # fmt: skip
def test_one_limit_alone_has_its_bar(
    lower: float | None, upper: float | None, value: float, place: float | None
) -> None:
    verdict = Verdict(
        characteristic="rate",
        item="Q1",
        measured=value,
        unit="N/mm",
        standard_uncertainty=None,
        lower=lower,
        upper=upper,
        probability_conforming=None,
        decision="accept",
    )
    assert use_of_limits(verdict) == (None if place is None else pytest.approx(place))


def shown_map(view: LobesView) -> Any:
    shown = view.map.on_paper()
    assert shown is not None
    return shown.drawings[0]


def test_a_lobe_that_is_held_against_nothing_is_shown_by_its_lift(window: MainWindow, tmp_path: Path) -> None:
    window.bench.add_files([str(write_table(tmp_path / "one.csv", ("1I",)))])
    view = window.pages.front()
    assert isinstance(view, LobesView)
    assert shown_map(view).title == "Lift"
    chips = [chip.isEnabled() for chips in (view.map_kinds, view.plots) for chip in chips.buttons()[:2]]
    assert chips == [False, True, False, True], "deviation, then lift"
    window.bench.add_files([str(SAMPLES / f"quillmere_four_camshaft.{ending}") for ending in ("csv", "toml")])
    assert shown_map(view).title == "Deviation from nominal"
    assert view.map_kinds.buttons()[0].isEnabled()
