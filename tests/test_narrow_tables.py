"""A table gives way step by step before it moves sideways, and while it does the names of its rows stay in view."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import make_looks
import pytest
from PySide6.QtCore import QEvent, QPoint, QPointF, Qt
from PySide6.QtGui import QFontMetrics, QImage, QMouseEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QTableView
from something import each

from valvelab.window import languages
from valvelab.window.limits_table import SpecTable
from valvelab.window.main_window import MainWindow
from valvelab.window.narrowing import Need, folded, given_width, widest_word
from valvelab.window.tables import TableColumn, TableView

SPARE = 6


@pytest.fixture
def german(app: QApplication) -> Iterator[None]:
    """The window speaks German."""
    languages.speak("de")
    yield
    languages.speak("en")


def settle(window: MainWindow, size: tuple[int, int], percent: int) -> None:
    window.resize(*size)
    window.set_text_size(percent)
    for _ in range(4):
        QTest.qWait(10)


def sideways(window: MainWindow) -> list[str]:
    """Tables that are seen and have to be moved sideways."""
    tables = [table for table in window.findChildren(QTableView) if table.isVisible()]
    assert tables
    return [table.objectName() for table in tables if table.horizontalScrollBar().maximum() > 0]


@pytest.mark.parametrize(
    "name", ["lobes", "shaft", "springs_list", "springs_fit", "springs_stages", "events", "liftcheck_rule", "lash"]
)
def test_every_column_is_in_view_where_text_is_half_as_large_again(
    window: MainWindow, tmp_path: Path, name: str
) -> None:
    make_looks.SCENES[name](window, tmp_path)
    for size, percent in each([((1280, 720), 100), ((1280, 720), 150), ((1600, 1000), 150)]):
        settle(window, size, percent)
        assert sideways(window) == [], f"{size} at {percent} %"


@pytest.mark.usefixtures("german")
@pytest.mark.parametrize("name", ["shaft", "springs_stages", "liftcheck"])
def test_every_column_is_in_view_in_german(window: MainWindow, tmp_path: Path, name: str) -> None:
    make_looks.SCENES[name](window, tmp_path)
    for size, percent in each([((1280, 720), 100), ((1600, 1000), 150)]):
        settle(window, size, percent)
        assert sideways(window) == [], f"{size} at {percent} %"


def test_limits_that_are_typed_do_with_the_sign_of_a_verdict(window: MainWindow, tmp_path: Path) -> None:
    make_looks.SCENES["limits"](window, tmp_path)
    settle(window, (1600, 1000), 150)
    (table,) = [table for table in window.findChildren(SpecTable) if table.isVisible()]
    assert table.horizontalScrollBar().maximum() == 0
    last = table.model().columnCount() - 1
    tips = [str(table.model().index(row, last).data(Qt.ItemDataRole.ToolTipRole) or "") for row in range(3)]
    words = [str(table.model().index(row, last).data() or "") for row in range(3)]
    assert all(tip.startswith(word) for tip, word in zip(tips, words, strict=True)), "cut words are whole in their tip"


# -- the steps -----------------------------------------------------------------------------------------------------

NEEDS = {
    0: Need(roomy=80, head=60, folded=60, cut=40, cells=30, least=0, drawn=False),
    1: Need(roomy=140, head=120, folded=80, cut=50, cells=60, least=0, drawn=False),
    2: Need(roomy=110, head=60, folded=60, cut=60, cells=90, least=60, drawn=True),
    3: Need(roomy=220, head=60, folded=60, cut=60, cells=200, least=70, drawn=False),
}


@pytest.mark.parametrize(
    ("room", "step"),
    [
        (550, "room to spare"), (470, "no room to spare"), (430, "heads on more lines"), (300, "words cut"),
        (210, "no drawing"), (200, "close"), (160, "heads cut"), (120, "moves"),
    ],
)  # fmt: skip
def test_what_gives_way_first(room: int, step: str) -> None:
    given = given_width(NEEDS, room, SPARE)
    wides = given.wides
    assert given.moves == (step == "moves")
    assert (sum(wides.values()) <= room) != given.moves
    assert (wides[1] < NEEDS[1].head) == (step not in {"room to spare", "no room to spare", "moves"})
    assert (2 in wides) == (step in {"room to spare", "no room to spare", "heads on more lines", "words cut"})
    assert given.close == (step in {"close", "heads cut"})
    assert given.cut == (step == "heads cut")
    assert (wides[3] < NEEDS[3].cells) == (step in {"words cut", "no drawing", "close", "heads cut", "moves"})


def test_a_head_goes_to_more_lines_before_a_word_of_it_is_cut(app: QApplication) -> None:
    metrics = QFontMetrics(app.font())
    title = "wanted shim thickness\nmm"
    word = widest_word(title, metrics)
    assert word == metrics.horizontalAdvance("thickness")
    assert folded(title, word, metrics) == "wanted\nshim\nthickness\nmm"
    assert folded(title, metrics.horizontalAdvance("wanted shim"), metrics) == "wanted shim\nthickness\nmm"
    short = widest_word(title, metrics, cut=True)
    lines = folded(title, short, metrics, cut=True).split("\n")
    assert short < word
    assert max(map(metrics.horizontalAdvance, lines)) <= short
    assert lines[1] == "shim"
    assert lines[-2].startswith("thic")
    assert lines[-2].endswith("…")


def test_a_head_that_is_cut_says_its_words_in_the_tip(app: QApplication) -> None:
    table = shown(["name", *["circumference\nmm"] * 5], 330)
    heads = [str(table.model().headerData(n, Qt.Orientation.Horizontal)) for n in range(6)]
    tips = [table.model().headerData(n, Qt.Orientation.Horizontal, Qt.ItemDataRole.ToolTipRole) for n in range(6)]
    assert table.horizontalScrollBar().maximum() == 0
    assert all("…" in head and head.endswith("\nmm") for head in heads[1:])
    assert tips[1] == "circumference mm\nwhat it is"
    table.resize(1200, 300)
    app.processEvents()
    assert table.model().headerData(1, Qt.Orientation.Horizontal) == "circumference\nmm", "there is room again"
    assert table.model().headerData(1, Qt.Orientation.Horizontal, Qt.ItemDataRole.ToolTipRole) == "what it is"


# -- moved sideways -------------------------------------------------------------------------------------------------


def shown(titles: list[str], wide: int, cell: str = "1.25") -> TableView:
    """A table of thirty rows under such heads, sorted by nothing, as wide as that."""
    columns = [TableColumn(titles[0], lambda row: f"row {row}", number=False)]
    columns += [TableColumn(title, lambda _row: cell, "what it is") for title in titles[1:]]
    table = TableView("rows", columns)
    table.resize(wide, 300)
    table.show()
    table.show_rows(list(range(30)), columns)
    QTest.qWait(20)
    return table


def strip(table: TableView, wide: int) -> QImage:
    """What is seen of a table's first columns, their edge left out."""
    return table.grab(table.rect().adjusted(0, 0, wide - 2 - table.rect().width(), -30)).toImage()


def test_the_names_of_the_rows_stay_while_the_rest_moves(app: QApplication) -> None:
    table = shown(["name", *["value"] * 8], 300, "123456.789 mm")
    bar, wide = table.horizontalScrollBar(), table.columnWidth(0)
    before = strip(table, wide)
    assert bar.maximum() > 300
    beyond = table.indexAt(QPoint(wide + 5, 40)).column()
    bar.setValue(250)
    app.processEvents()
    assert strip(table, wide) == before
    assert table.indexAt(QPoint(wide // 2, 40)).column() == 0
    assert table.indexAt(QPoint(wide + 5, 40)).column() > beyond
    assert table.visualRect(table.model().index(1, 0)).left() == 0


def test_the_mouse_and_the_keyboard_work_beside_names_that_stay(app: QApplication) -> None:
    table = shown(["name", *["value"] * 8], 300, "123456.789 mm")
    bar, wide, head = table.horizontalScrollBar(), table.columnWidth(0), table.horizontalHeader()
    bar.setValue(250)
    app.processEvents()
    QTest.mouseClick(table.viewport(), Qt.MouseButton.LeftButton, pos=QPoint(wide // 2, 40))
    assert (table.currentIndex().row(), table.currentIndex().column()) == (table.rowAt(40), 0)
    assert bar.value() == 250, "a name that is seen already moves nothing"
    QTest.mouseClick(head.viewport(), Qt.MouseButton.LeftButton, pos=QPoint(wide // 2, 10))
    assert head.sortIndicatorSection() == 0
    for _ in range(8):
        QTest.keyClick(table, Qt.Key.Key_Right)
    assert bar.value() == bar.maximum()
    for column in each(range(7, 0, -1)):
        QTest.keyClick(table, Qt.Key.Key_Left)
        assert table.currentIndex().column() == column
        assert table.visualRect(table.currentIndex()).left() >= table.columnWidth(0), "no cell in front hides behind"


def test_a_drag_on_a_head_that_stays_draws_no_head_below_it_wider(app: QApplication) -> None:
    table = shown(["name", *["value"] * 8], 300, "123456.789 mm")
    head, wide = table.horizontalHeader(), table.columnWidth(0)
    before = [table.columnWidth(n) for n in range(9)]
    table.horizontalScrollBar().setValue(250)
    app.processEvents()
    left, none, plain = Qt.MouseButton.LeftButton, Qt.MouseButton.NoButton, Qt.KeyboardModifier.NoModifier
    edge, on = QPointF(wide - 2, 10), head.viewport()
    for kind, at, button, held in (
        (QEvent.Type.MouseButtonPress, edge, left, left),
        (QEvent.Type.MouseMove, edge + QPointF(20, 0), none, left),
        (QEvent.Type.MouseButtonRelease, edge + QPointF(20, 0), left, none),
    ):
        QApplication.sendEvent(on, QMouseEvent(kind, at, QPointF(on.mapToGlobal(at.toPoint())), button, held, plain))
    assert [table.columnWidth(n) for n in range(9)] == before


def test_names_that_would_take_half_the_table_move_along(app: QApplication) -> None:
    table = shown(["a name that is as long as this one is", *["value"] * 8], 100, "123456.789 mm")
    table.horizontalScrollBar().setValue(250)
    app.processEvents()
    assert table.columnWidth(0) > 50
    assert table.indexAt(QPoint(5, 40)).column() > 0
