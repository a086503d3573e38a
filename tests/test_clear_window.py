"""Nothing in the window lies over another or is cut: every bay at three sizes, with large text, in both languages."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator
from pathlib import Path

import make_looks
import pytest
from PySide6.QtCore import QPoint, QRect, Qt
from PySide6.QtTest import QTest
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
    QTableView,
    QWidget,
)
from showing import show
from something import each

from valvelab.window import languages, theme
from valvelab.window.bays.springs_drawings import MapView
from valvelab.window.bench import Bench
from valvelab.window.chips import Chip, Line
from valvelab.window.dial import DialView
from valvelab.window.heads import Head
from valvelab.window.layouts import Stack
from valvelab.window.main_window import MainWindow
from valvelab.window.tables import TableView
from valvelab.workbench.sets import SpringsState

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
        elif isinstance(widget, TableView):
            found += cut_heads(widget)
    return found


def cut_heads(table: TableView) -> list[str]:
    """Heads that are wider than their columns, that of the column sorted by with its arrow."""
    head = table.horizontalHeader()
    assert isinstance(head, Head)
    seen = [n for n in range(head.count()) if not head.isSectionHidden(n)]
    arrow = head.sortIndicatorSection()
    need = {n: head.sectionSizeHint(n) if n == arrow else head.bare_width(n) for n in seen}
    return [f"{told(table)}: column {n} has {has} of {need[n]}" for n in seen if (has := head.sectionSize(n)) < need[n]]


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


def heights(window: MainWindow) -> dict[tuple[object, ...], int]:
    """Heights of what is seen that follow from the size of text alone: controls, rows of tables, the page."""
    counts: dict[tuple[object, ...], int] = {}
    found: dict[tuple[object, ...], int] = {}
    for widget in seen(window):
        one = (type(widget), told(widget))
        counts[one] = counts.get(one, 0) + 1
        if isinstance(widget, CONTROLS):
            found[(*one, counts[one])] = widget.height()
        elif isinstance(widget, QTableView):
            found[(*one, "rows", counts[one])] = widget.rowHeight(0)
    return {**found, ("page",): window.pages.front().minimumSizeHint().height()}


def apart(one: dict[tuple[object, ...], int], other: dict[tuple[object, ...], int]) -> list[str]:
    """What is higher in one than in the other by more than rounding."""
    assert len(one) > 20
    return [
        f"{name}: {one.get(name)} or {other.get(name)}"
        for name in one.keys() | other.keys()
        if abs(one.get(name, -99) - other.get(name, -99)) > (2 if len(name) > 1 else 0.03 * one[name])
    ]


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


@pytest.mark.parametrize("name", ["columns", "limits", "springs", "springs_list", "gauge", "wheel", "liftcheck"])
def test_what_is_seen_does_not_depend_on_the_sizes_of_text_before(
    window: MainWindow, tmp_path: Path, name: str
) -> None:
    (tmp_path / "one").mkdir()
    (tmp_path / "other").mkdir()
    make_looks.SCENES[name](window, tmp_path / "one")
    small, large = {}, {}
    settle(window, "1600x1000", 100)
    small["first"] = heights(window)
    settle(window, "1600x1000", 200)
    large["later"] = heights(window)
    settle(window, "1600x1000", 100)
    small["again"] = heights(window)
    theme.set_text_size(200)
    other = MainWindow(Bench(tmp_path / "settings of another", background=False))
    show(other)
    make_looks.SCENES[name](other, tmp_path / "other")
    settle(other, "1600x1000", 200)
    large["first"] = heights(other)
    settle(other, "1600x1000", 100)
    small["later"] = heights(other)
    other.ask_unsaved = lambda: "discard"  # type: ignore[method-assign]
    other.close()
    other.deleteLater()
    assert apart(small["first"], small["again"]) == []
    assert apart(small["first"], small["later"]) == []
    assert apart(large["first"], large["later"]) == []


def test_columns_follow_heads_in_a_type_of_their_own(window: MainWindow, tmp_path: Path) -> None:
    make_looks.SCENES["springs_fit"](window, tmp_path)
    settle(window, "1600x1000", 100)
    (table,) = [table for table in window.findChildren(TableView) if table.objectName() == "shim plan"]
    before = table.horizontalHeader().length()
    for percent in each([150, 200]):
        settle(window, "1600x1000", percent)
        assert cut_heads(table) == []
    settle(window, "1600x1000", 100)
    assert table.horizontalHeader().length() == before


def test_the_bench_never_lies_over_the_page(window: MainWindow, tmp_path: Path) -> None:
    make_looks.SCENES["springs"](window, tmp_path)
    sizes = ["1280x720", "1600x1000", "2560x1440"]
    for percent, size in each([*itertools.product([100, 150, 200], sizes), *itertools.product([150, 100], sizes)]):
        window.set_text_size(percent)
        window.resize(*(int(side) for side in size.split("x")))
        QTest.qWait(20)
        bench, page = window.docks["Bench"].geometry(), window.centralWidget().geometry()
        assert bench.right() < page.left(), f"{size} at {percent} %"


@pytest.mark.parametrize("size", ["1280x720", "1600x1000", "2560x1440"])
def test_the_list_of_springs_is_seen_whole_and_the_map_where_there_is_room(
    window: MainWindow, tmp_path: Path, size: str
) -> None:
    make_looks.SCENES["springs_list"](window, tmp_path)
    for page in each(["springs", "sets", "springs"]):
        window.bench.set(SpringsState, page=page)
        settle(window, size, 100)
        (table,) = [table for table in window.findChildren(TableView) if table.objectName() == "springs"]
        (tray,) = window.findChildren(MapView)
        if page == "springs":
            assert table.horizontalScrollBar().maximum() == 0
            assert [column.title for column in table.rows_model.columns][-1].startswith("solid height")
        assert tray.isVisible() == (page == "sets" or size == "2560x1440")


@pytest.mark.parametrize("name", ["lobes_v8", "shaft", "motion_lift", "springs"])
def test_the_outcome_is_said_whole_and_figures_stay_with_their_units(
    window: MainWindow, tmp_path: Path, name: str
) -> None:
    make_looks.SCENES[name](window, tmp_path)
    for size, percent in each([("1280x720", 100), ("1600x1000", 150), ("1280x720", 200)]):
        settle(window, size, percent)
        (label,) = [w for w in window.banner.findChildren(QLabel) if w.toolTip() == window.banner.accessibleName()]
        assert plain(label) == window.banner.accessibleName(), f"{size} at {percent} %"
        assert re.findall(r"[0-9±] \S", label.text().partition(">")[2]) == [], "a line may break after a figure"


def test_figures_of_a_dial_are_never_cut(window: MainWindow, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    written: list[str] = []
    monkeypatch.setattr("valvelab.window.dial.write", lambda *given: written.append(given[3]))
    make_looks.SCENES["lobes_v8"](window, tmp_path)
    for size, percent in each([("1280x720", 100), ("1600x1000", 150), ("1280x720", 200)]):
        settle(window, size, percent)
        written.clear()
        (dial,) = [view for view in window.findChildren(DialView) if view.isVisible()]
        dial.grab()
        assert len(written) > 16
        assert [text for text in written if "…" in text] == []
        assert sum("°" in text for text in written) == 16, "there is room for every index error"


def test_a_stack_of_pages_is_as_high_as_the_one_in_front(app: QApplication) -> None:
    around = QWidget()
    stack = Stack(around)
    for high in (40, 400):
        page = QWidget()
        page.setMinimumSize(2 * high, high)
        stack.addWidget(page)
    assert stack.minimumSizeHint().height() == 40
    assert stack.minimumSizeHint().width() == 800, "panes beside it don't move when another comes to the front"
    stack.setCurrentIndex(1)
    assert stack.minimumSizeHint().height() == 400


def test_a_drawing_without_room_stays_away_when_the_verdicts_are_shown_again(
    window: MainWindow, tmp_path: Path
) -> None:
    make_looks.SCENES["motion_lift"](window, tmp_path)
    for size in each(["1600x1000", "1280x720"]):
        settle(window, size, 150)
        window.restyle()
        settle(window, size, 150)
        sheet = window.verdicts.sheet
        shown = [n for n in range(sheet.rows_model.columnCount()) if not sheet.isColumnHidden(n)]
        assert sum(map(sheet.columnWidth, shown)) <= sheet.viewport().width()
        assert cut_heads(sheet) == []
