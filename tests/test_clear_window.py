"""Nothing in the window lies over another or is cut: every bay at three sizes, with large text, in both languages."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from pathlib import Path

import make_looks
import pytest
from PySide6.QtCore import QPoint, QRect, Qt
from PySide6.QtWidgets import (
    QAbstractButton,
    QAbstractItemView,
    QAbstractScrollArea,
    QApplication,
    QComboBox,
    QLabel,
    QLineEdit,
    QPushButton,
    QScrollArea,
    QWidget,
)
from something import each

from valvelab.window import languages, theme
from valvelab.window.chips import Chip, Line
from valvelab.window.main_window import MainWindow

FORMS = {
    "en": (("1280x720", 100), ("1600x1000", 150), ("1280x720", 200)),
    "de": (("2560x1440", 100), ("1280x720", 100), ("1280x720", 200)),
}
CONTROLS = QAbstractButton | QComboBox | QLineEdit
#: scenes of which another has every widget
ALIKE = {"lobes_v8", "lobes_exhaust", "springs_list", "springs_1000", "motion_contact", "events", "worksheet"}
#: pages that are wider than a small window with text of 200 %
WIDE_FORMS = {"liftcheck_rule"}


@pytest.fixture(params=["en", "de"])
def spoken(app: QApplication, request: pytest.FixtureRequest) -> Iterator[str]:
    """The window speaks a language."""
    languages.speak(request.param)
    yield request.param
    languages.speak("en")


def settle(window: MainWindow, size: str, percent: int) -> None:
    window.resize(*(int(side) for side in size.split("x")))
    window.set_text_size(percent)
    for _ in range(3):
        QApplication.processEvents()


def seen(window: MainWindow) -> list[QWidget]:
    """What of the window's own a person could see, scrolled to or not."""
    found = [widget for widget in window.findChildren(QWidget) if widget.isVisibleTo(window) and not within(widget)]
    return [widget for widget in found if widget.isVisible() and widget.width() > 0]


def within(widget: QWidget) -> bool:
    """Whether it is a part of a control, or of a table that scrolls."""
    parent = widget.parentWidget()
    while parent is not None:
        if isinstance(parent, CONTROLS | QAbstractItemView):
            return True
        parent = parent.parentWidget()
    return False


def place(widget: QWidget, window: MainWindow) -> QRect:
    return QRect(widget.mapTo(window, QPoint(0, 0)), widget.size())


def area_of(widget: QWidget) -> QWidget | None:
    """The scroll area that a widget lies in: what lies in different ones is clipped by them."""
    parent = widget.parentWidget()
    while parent is not None and not isinstance(parent, QAbstractScrollArea):
        parent = parent.parentWidget()
    return parent


def overlapping(window: MainWindow, widgets: list[QWidget]) -> list[str]:
    """Words and controls that lie over one another."""
    solid = [w for w in widgets if isinstance(w, CONTROLS) or (isinstance(w, QLabel) and (w.text() or w.pixmap()))]
    boxes = [(w, place(w, window), area_of(w)) for w in solid]
    found = []
    for (one, box, area), (other, box_2, area_2) in itertools.combinations(boxes, 2):
        common = box.intersected(box_2)
        if area is area_2 and common.width() > 2 and common.height() > 2 and not one.isAncestorOf(other):
            found.append(f"{told(one)} lies over {told(other)} by {common.width()} x {common.height()}")
    return found


def cut(widgets: list[QWidget]) -> list[str]:
    """Labels and buttons whose words have no room and don't end in an ellipsis."""
    found = []
    for widget in widgets:
        if isinstance(widget, QLabel) and not isinstance(widget, Line) and plain(widget):
            room = widget.contentsRect().size()
            if widget.wordWrap():
                need = widget.heightForWidth(widget.width())
                found += [f"{told(widget)} needs {need} of {widget.height()}"] * (need > widget.height() + 2)
            elif widget.fontMetrics().horizontalAdvance(plain(widget)) > room.width() + 2:
                found.append(f"{told(widget)} has {room.width()}")
        elif isinstance(widget, QPushButton):
            wide = widget.fontMetrics().horizontalAdvance(widget.text().replace("&", ""))
            found += [f"{told(widget)} has {widget.width()}"] * (wide > widget.width() - 4)
        elif isinstance(widget, Chip):
            found += [f"{told(widget)} has {widget.width()}"] * (widget.width() < widget.minimumSizeHint().width())
    return found


def plain(label: QLabel) -> str:
    """The words of a label as they are written."""
    text = label.text()
    if label.textFormat() == Qt.TextFormat.RichText or "<span" in text:
        from PySide6.QtGui import QTextDocumentFragment

        text = QTextDocumentFragment.fromHtml(text).toPlainText()
    return max(text.split("\n"), key=len) if text else ""


def outside(widgets: list[QWidget]) -> list[str]:
    """Controls and labels that reach out of what they lie in."""
    found = []
    for widget in widgets:
        parent = widget.parentWidget()
        if not isinstance(widget, CONTROLS | QLabel) or parent is None or isinstance(parent, QAbstractScrollArea):
            continue
        over = not parent.rect().adjusted(-2, -2, 2, 2).contains(widget.geometry())
        found += [f"{told(widget)} at {widget.geometry()} leaves {parent.rect()}"] * over
    return found


def told(widget: QWidget) -> str:
    text = widget.text() if isinstance(widget, QLabel | QAbstractButton | QLineEdit) else widget.accessibleName()
    return f"{type(widget).__name__} {text[:50]!r}"


@pytest.mark.parametrize("name", [name for name in make_looks.SCENES if name not in ALIKE])
def test_nothing_lies_over_another_or_is_cut(window: MainWindow, tmp_path: Path, name: str, spoken: str) -> None:
    window.resize(1280, 720)
    make_looks.SCENES[name](window, tmp_path)
    for size, percent in each(FORMS[spoken]):
        settle(window, size, percent)
        widgets = seen(window)
        assert len(widgets) > 20
        wrong = [*overlapping(window, widgets), *cut(widgets), *outside(widgets)]
        area = window.pages.currentWidget()
        assert isinstance(area, QScrollArea)
        if name not in WIDE_FORMS and area.horizontalScrollBar().maximum() > 0:
            wrong.append(f"the page is {area.horizontalScrollBar().maximum()} wider than it is seen")
        assert wrong == [], f"{size} at {percent} % in {spoken}"


def test_a_reject_mark_stays_through_another_look_and_another_bay(window: MainWindow, tmp_path: Path) -> None:
    make_looks.SCENES["lobes"](window, tmp_path)
    QApplication.processEvents()
    tile = window.tiles.by_bay["lobes"]
    assert tile.accessibleDescription() == "rejected"
    theme.set_scheme("dark")
    window.restyle()
    window.bench.go_to_bay("motion")
    QApplication.processEvents()
    assert tile.accessibleDescription() == "rejected"
    theme.set_scheme("light")
    window.restyle()
    assert tile.accessibleDescription() == "rejected"
    window.bench.remove_file(window.bench.document.files[0].path)
    QApplication.processEvents()
    assert tile.accessibleDescription() == "", "what was decided there no longer lies there"
