"""Approved pictures of the main views, light and dark, under the bundled font.

VALVELAB_APPROVE=1 pytest tests/test_pictures.py writes them anew; look at them before they are kept.
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
from invented_camshaft import write_spec, write_table
from PySide6.QtGui import QImage
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from waiting import wait_for

from valvelab.places import sample_profiles
from valvelab.window import theme
from valvelab.window.bays.springs_view import SpringsView
from valvelab.window.main_window import MainWindow
from valvelab.workbench.liftcheck_bay import LiftCheckState
from valvelab.workbench.motion_files import MotionState, Trial
from valvelab.workbench.sets import Grouping, SpringsState
from valvelab.workbench.springs_bay import readings_of

APPROVED = Path(__file__).parent / "pictures"
#: a pixel counts as different from this step of 255 on; so many may differ, edges of letters mostly
STEP, SHARE = 40, 0.01
#: looks, a quarter of a second apart, until the window must have settled
SETTLING = 20


def pixels(picture: QImage) -> np.ndarray:
    """RGB of a picture, shape (height, width, 3)."""
    plain = picture.convertToFormat(QImage.Format.Format_RGB888)
    rows = np.frombuffer(plain.constBits(), dtype=np.uint8).reshape(plain.height(), plain.bytesPerLine())
    return rows[:, : 3 * plain.width()].reshape(plain.height(), plain.width(), 3).astype(np.int16)


def differing(found: QImage, wanted: QImage) -> float:
    """Share of the pixels."""
    assert found.size() == wanted.size()
    return float((np.abs(pixels(found) - pixels(wanted)).max(axis=2) > STEP).mean())


def compare(window: MainWindow, name: str, tmp_path: Path) -> None:
    """The window as it settles: panes take their room by timers, and a busy machine answers late."""
    approved = APPROVED / f"{name}.png"
    QTest.qWait(80)
    if os.environ.get("VALVELAB_APPROVE") == "1":
        APPROVED.mkdir(exist_ok=True)
        assert window.grab().save(str(approved))
        return
    wanted = QImage(str(approved))
    assert not wanted.isNull(), f"{approved} is missing"
    for _ in range(SETTLING):
        found = window.grab().toImage()
        if differing(found, wanted) < SHARE:
            return
        QTest.qWait(250)
    kept = tmp_path / f"{name}.png"
    found.save(str(kept))
    share = 100.0 * differing(found, wanted)
    pytest.fail(f"{share:.2f} % of the pixels differ: compare {kept} with {approved}")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_empty_bench(window: MainWindow, tmp_path: Path, scheme: theme.Scheme) -> None:
    theme.set_scheme(scheme)
    window.restyle()
    compare(window, f"empty_{scheme}", tmp_path)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_camshaft(window: MainWindow, tmp_path: Path, scheme: theme.Scheme) -> None:
    theme.set_scheme(scheme)
    window.restyle()
    window.bench.add_files([str(write_table(tmp_path / "shaft.csv")), str(write_spec(tmp_path))])
    compare(window, f"camshaft_{scheme}", tmp_path)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_column_assignment(window: MainWindow, tmp_path: Path, scheme: theme.Scheme) -> None:
    theme.set_scheme(scheme)
    window.restyle()
    window.bench.add_files([str(write_table(tmp_path / "bare.txt", ("1I", "1E"), names=False))])
    compare(window, f"columns_{scheme}", tmp_path)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_springs(window: MainWindow, tmp_path: Path, scheme: theme.Scheme) -> None:
    theme.set_scheme(scheme)
    window.restyle()
    window.bench.add_files([str(sample_profiles() / f"springs_quillmere_{name}") for name in ("tray.csv", "spec.toml")])
    names = [f"Q{number:02d}" for number in range(1, 65)]
    sets = Grouping(tuple(tuple(names[start : start + 16]) for start in (0, 16, 32)))
    window.bench.set(SpringsState, "match sets", groupings={readings_of(window.bench.document): sets})
    compare(window, f"springs_{scheme}", tmp_path)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_fit(window: MainWindow, tmp_path: Path, scheme: theme.Scheme) -> None:
    theme.set_scheme(scheme)
    window.restyle()
    names = ("tray.csv", "spec.toml", "heights.csv")
    window.bench.add_files([str(sample_profiles() / f"springs_quillmere_{name}") for name in names])
    window.bench.set(SpringsState, page="shims")
    view = window.pages.front()
    assert isinstance(view, SpringsView)
    wait_for(lambda: view.shims_pane.evaluation is not None)
    view.shims_pane.turn_lock()
    view.shims_pane.edit.at_box.setCurrentIndex(2)
    view.shims_pane.edit.swap_box.setCurrentIndex(2)
    compare(window, f"fit_{scheme}", tmp_path)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", ["worksheet", "degreed"])
def test_degreeing(window: MainWindow, tmp_path: Path, name: str, scheme: theme.Scheme) -> None:
    theme.set_scheme(scheme)
    window.restyle()
    if name == "degreed":
        window.bench.add_files([str(sample_profiles() / "quillmere_four_degree_wheel_misread.toml")])
    window.bench.go_to_bay("phasing")
    compare(window, f"{name}_{scheme}", tmp_path)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("page", ["lift", "rule"])
def test_valve_motion(window: MainWindow, tmp_path: Path, page: str, scheme: theme.Scheme) -> None:
    theme.set_scheme(scheme)
    window.restyle()
    names = ("quillmere_four_camshaft.csv", "quillmere_four_train.toml", "quillmere_four_engine.toml")
    window.bench.add_files([str(sample_profiles() / name) for name in names])
    window.bench.go_to_bay("motion")
    window.bench.set(MotionState, page=page, trial=Trial(advance_deg=6.0))
    compare(window, f"motion_{page}_{scheme}", tmp_path)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("rule", [False, True], ids=["desk", "rule"])
def test_lift_check(window: MainWindow, tmp_path: Path, scheme: theme.Scheme, rule: bool) -> None:
    theme.set_scheme(scheme)
    window.restyle()
    window.resize(1600, 1000)
    window.bench.add_files([str(sample_profiles() / "quillmere_spring_meeting.toml")])
    window.bench.set(LiftCheckState, item="car 40", rule=rule)
    compare(window, f"lift_check_{'rule' if rule else 'desk'}_{scheme}", tmp_path)


def test_a_changed_picture_is_noticed(window: MainWindow, tmp_path: Path) -> None:
    theme.set_scheme("dark")
    window.restyle()
    QApplication.processEvents()
    dark = pixels(window.grab().toImage())
    light = pixels(QImage(str(APPROVED / "empty_light.png")))
    assert (np.abs(dark - light).max(axis=2) > STEP).mean() > 0.5
