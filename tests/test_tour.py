"""The tour: offered once, led by keys alone, at the real controls, and never in the way of the window."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from something import each

from valvelab.places import sample_profiles
from valvelab.window import theme
from valvelab.window.bench import Bench
from valvelab.window.main_window import MainWindow
from valvelab.workbench import settings
from valvelab.workbench.tour import STEPS

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.usefixtures("quiet")


def press(key: Qt.Key) -> None:
    focused = QApplication.focusWidget()
    assert focused is not None
    QTest.keyClick(focused, key)
    QApplication.processEvents()


def test_keys_alone_lead_through_every_step_on_a_sample(window: MainWindow) -> None:
    window.activateWindow()
    window.do("tour")
    QApplication.processEvents()
    tour = window.tour
    meant = []
    for step in each(STEPS):
        assert tour.isVisible()
        assert tour.head.text() == step.head
        assert step.text in tour.accessibleDescription()
        assert window.rect().contains(tour.geometry())
        assert window.rect().intersects(tour.ring.about)
        meant.append(tour.ring.about)
        press(Qt.Key.Key_Return)
    assert not tour.isVisible()
    assert not tour.ring.isVisible()
    assert len(set(map(repr, meant))) == len(STEPS)
    assert window.bench.document.bay == "lobes"
    assert window.verdicts.sheet.row_of(window.verdicts.sheet.currentIndex()).decision == "reject"


def test_it_can_be_left_at_any_time_and_is_begun_anew(window: MainWindow) -> None:
    window.activateWindow()
    window.do("tour")
    press(Qt.Key.Key_Return)
    press(Qt.Key.Key_Escape)
    assert not window.tour.isVisible()
    assert not window.tour.ring.isVisible()
    window.do("tour")
    assert window.tour.head.text() == STEPS[0].head


def test_the_ring_lets_clicks_through_and_follows_the_window(window: MainWindow) -> None:
    window.do("tour")
    window.tour.go(3)
    button = window.tools.widgetForAction(window.actions_by_name["certificate"])
    centre = button.mapTo(window, button.rect().center())
    assert window.tour.ring.about.contains(centre)
    assert window.childAt(centre) is button
    window.resize(1600, 1000)
    QApplication.processEvents()
    assert window.tour.ring.geometry() == window.rect()
    assert window.tour.ring.about.contains(button.mapTo(window, QPoint(button.width() // 2, button.height() // 2)))


def test_what_lies_on_the_bench_stays(window: MainWindow) -> None:
    window.bench.add_files([str(sample_profiles() / "springs_quillmere_tray.csv")])
    before = window.bench.document.files
    window.do("tour")
    for _ in STEPS:
        window.tour.go(1)
    assert window.bench.document.files == before
    assert window.bench.document.bay == "springs"


def test_it_is_offered_once_in_the_life_of_the_settings(app: QApplication, tmp_path: Path) -> None:
    app.setFont(theme.text_font(10.0))
    seen = []
    for _ in range(2):
        window = MainWindow(Bench(tmp_path, background=False))
        window.show()
        window.offer_tour()
        seen.append(window.tour_offer.isVisible())
        window.close()
    assert seen == [True, False]
    assert settings.load(tmp_path).toured
