"""Colours: complete, apart, readable; icons follow them."""

from __future__ import annotations

import gc
import re
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import QEvent, QSize
from PySide6.QtGui import QColor, QPalette
from PySide6.QtWidgets import QApplication, QCheckBox, QLabel, QWidget
from shiboken6 import delete
from something import each

from valvelab.figures.description import SERIES_COLOURS
from valvelab.places import resources
from valvelab.report.paper import paper
from valvelab.window import theme
from valvelab.window.actions import ACTIONS
from valvelab.window.icons import icon
from valvelab.workbench import bays

WINDOW = Path(__file__).parents[1] / "valvelab" / "window"
GROUNDS = ("panel", "window", "stripe", "raised", "chosen")
TEXTS = ("text", "quiet", "accept", "reject", "undecided", "accent", "intake", "exhaust", "meant")


pytestmark = pytest.mark.usefixtures("app")


def contrast(first: str, second: str) -> float:
    """Contrast ratio of two colours, 1 to 21. Source: WCAG 2.2, relative luminance."""

    def luminance(text: str) -> float:
        colour = QColor(text)
        parts = [
            c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4
            for c in (colour.redF(), colour.greenF(), colour.blueF())
        ]
        return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]

    lighter, darker = sorted((luminance(first), luminance(second)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def test_both_schemes_have_the_same_names() -> None:
    themes = theme.load_themes()
    assert set(themes) == {"light", "dark"}
    assert set(themes["light"].colours) == set(themes["dark"].colours)
    assert len(themes["light"].series) == len(themes["dark"].series)


# WCAG 2.2, success criterion 1.4.3: at least 4.5 to 1 for text, 1.4.11: at least 3 to 1 for what has to be told apart
@pytest.mark.parametrize("name", ["light", "dark"])
def test_text_stands_out_from_its_ground(name: str) -> None:
    colours = theme.load_themes()[name].colours
    for ground in ("panel", "window", "stripe"):
        for text in TEXTS:
            assert contrast(colours[text], colours[ground]) >= 4.5, (text, ground)
    for ground in ("raised", "chosen"):
        for text in ("text", "quiet"):
            assert contrast(colours[text], colours[ground]) >= 4.5, (text, ground)
    assert contrast(colours["disabled"], colours["panel"]) >= 3.0


@pytest.mark.parametrize("name", ["light", "dark"])
def test_curves_stand_out_from_the_panel(name: str) -> None:
    found = theme.load_themes()[name]
    for role in ("measured", "nominal", "reject", "intake", "exhaust", "band"):
        assert contrast(found.colours[role], found.colours["panel"]) >= 3.0, role


def test_contrast_of_known_pairs() -> None:
    # WCAG 2.2: black on white is 21 to 1, any colour on itself 1 to 1
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#336699", "#336699") == pytest.approx(1.0)
    # the grey nearest to the limit of 4.5 on white, as accessibility guides give it
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)


@pytest.mark.parametrize("name", ["light", "dark"])
def test_the_palette_is_complete(name: str) -> None:
    found = theme.load_themes()[name]
    made = theme.palette(found)
    ours = {colour.lower() for colour in found.colours.values()}
    for group in (QPalette.ColorGroup.Active, QPalette.ColorGroup.Inactive, QPalette.ColorGroup.Disabled):
        for role in each(set(QPalette.ColorRole) - {QPalette.ColorRole.NColorRoles, QPalette.ColorRole.NoRole}):
            assert made.color(group, role).name() in ours, (group, role)


def test_no_colour_stands_anywhere_but_in_the_table() -> None:
    literal = re.compile(r"""["']#[0-9a-fA-F]{3,8}["']|QColor\(\s*["'\d]|GlobalColor\.(?!transparent)""")
    for file in each(WINDOW.rglob("*.py")):
        assert not literal.findall(file.read_text(encoding="utf-8")), file


def test_every_icon_named_is_there_and_paints() -> None:
    names = {row.icon for row in ACTIONS if row.icon} | {bay.icon for bay in bays.BAYS}
    for name in each(sorted(names)):
        picture = icon(name).pixmap(QSize(32, 32)).toImage()
        assert any(picture.pixelColor(x, y).alpha() > 0 for x in range(32) for y in range(32)), name


def test_icons_follow_the_scheme_without_reload() -> None:
    one = icon("open")

    def ink() -> str:
        picture = one.pixmap(QSize(64, 64)).toImage()
        solid = [picture.pixelColor(x, y) for x in range(64) for y in range(64)]
        return max(solid, key=lambda colour: colour.alpha()).name()

    try:
        for name in ("light", "dark"):
            theme.set_scheme("light" if name == "light" else "dark")
            wanted = theme.load_themes()[name].colour("text")
            found = theme.QColor(ink())
            assert np.allclose(found.getRgb()[:3], wanted.getRgb()[:3], atol=3)
    finally:
        theme.set_scheme("system")


def test_icons_draw_in_one_colour_only() -> None:
    for file in each((resources() / "icons").glob("*.svg")):
        text = file.read_text(encoding="utf-8")
        assert "currentColor" in text
        assert not re.findall(r'(?:fill|stroke)="(?!none|currentColor)[^"]+"', text.replace('stroke-linecap="', "")), (
            file
        )


def test_screen_and_paper_have_the_data_colours_that_figures_count_on() -> None:
    assert {len(one.series) for one in (*theme.load_themes().values(), paper())} == {SERIES_COLOURS}


def test_text_grows_though_a_widget_is_gone_meanwhile(app: QApplication, monkeypatch: pytest.MonkeyPatch) -> None:
    label, gone = QLabel(), QCheckBox()
    label.setMinimumWidth(100)
    gone.setFont(app.font())
    delete(gone)
    monkeypatch.setattr(QApplication, "allWidgets", lambda *_: [gone, label])
    before = app.font().pointSizeF()
    theme.set_text_size(125)
    try:
        assert label.minimumWidth() == round(100 * app.font().pointSizeF() / before) > 100
    finally:
        theme.set_text_size(100)


def test_text_grows_though_a_ring_of_garbage_holds_widgets(app: QApplication) -> None:
    class Told(QLabel):
        def event(self, event: QEvent) -> bool:
            if event.type() == QEvent.Type.ApplicationFontChange:
                searched.append(gc.isenabled())
            return super().event(event)

    class Ring(QWidget):
        def __init__(self) -> None:
            super().__init__()
            self.itself = self

    searched: list[bool] = []
    told = Told()
    for _ in range(200):
        Ring()
    young = gc.get_threshold()
    gc.set_threshold(1, 1, 1)  # every new wrapper of a widget may set a search off
    try:
        theme.set_text_size(150)
        theme.set_text_size(100)
    finally:
        gc.set_threshold(*young)
    assert searched
    assert not any(searched)
    assert gc.isenabled()
    told.deleteLater()
