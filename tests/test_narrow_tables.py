"""A table gives way step by step before it moves sideways, and while it does the names of its rows stay in view."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from pathlib import Path

import make_looks
import pytest
from PySide6.QtCore import QEvent, QPoint, QPointF, QRect, Qt
from PySide6.QtGui import QFontMetrics, QImage, QMouseEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QLineEdit, QTableView
from showing import show
from something import each

from valvelab.window import languages
from valvelab.window.layouts import Panes
from valvelab.window.limits_table import SpecTable
from valvelab.window.main_window import MainWindow
from valvelab.window.narrowing import Need, folded, given_width, whole_width, widest_word
from valvelab.window.pages import PageArea
from valvelab.window.table_menu import table_cells
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


def test_no_room_stays_empty_beside_words_that_are_cut(window: MainWindow, tmp_path: Path) -> None:
    make_looks.SCENES["lobes"](window, tmp_path)
    settle(window, (1366, 868), 100)
    (table,) = (one for one in window.findChildren(TableView) if one.isVisible() and one.model().columnCount() == 12)
    wides = [table.columnWidth(n) for n in range(12)]
    cut = str(table.model().index(2, 11).data())
    assert table.fontMetrics().horizontalAdvance(cut) > wides[11], "there is more to say than room"
    assert sum(wides) == table.viewport().width()


TWICE = ["lobes", "lobes_v8", "shaft", "springs_fit", "springs_stages", "compare", "lash"]


@pytest.mark.parametrize("name", TWICE)
def test_every_table_does_with_a_low_window_where_text_is_twice_as_large(
    window: MainWindow, tmp_path: Path, name: str
) -> None:
    make_looks.SCENES[name](window, tmp_path)
    settle(window, (1280, 720), 200)
    assert sideways(window) == []
    window.sheet.bring("verdicts")
    settle(window, (1280, 720), 200)
    assert sideways(window) == [], "nor does one move that is brought"


@pytest.mark.usefixtures("german")
@pytest.mark.parametrize("name", sorted({*TWICE, "liftcheck"}))
def test_every_column_is_in_view_in_german(window: MainWindow, tmp_path: Path, name: str) -> None:
    make_looks.SCENES[name](window, tmp_path)
    for size, percent in each(itertools.product([(1280, 720), (1600, 1000)], (100, 150, 200))):
        settle(window, size, percent)
        assert sideways(window) == [], f"{size} at {percent} %"


def test_a_table_that_asks_for_its_width_lies_above_others_before_a_head_is_cut(
    window: MainWindow, tmp_path: Path
) -> None:
    make_looks.SCENES["compare"](window, tmp_path)
    (table,) = [table for table in window.findChildren(TableView) if table.objectName() == "changes"]
    (area,) = [area for area in window.findChildren(PageArea) if area.isAncestorOf(table)]
    heads = range(table.model().columnCount())
    for (wide, percent), lies in each({(1280, 100): False, (1280, 200): True, (1000, 200): True}.items()):
        settle(window, (wide, 720), percent)
        panes = table.parentWidget().parentWidget()
        assert isinstance(panes, Panes)
        assert (panes.orientation() == Qt.Orientation.Vertical) is lies
        assert area.horizontalScrollBar().maximum() == 0, "the page itself never moves sideways for it"
        said = [str(table.model().headerData(n, Qt.Orientation.Horizontal)) for n in heads]
        assert (wide < 1280) or not any("…" in head for head in said)


def test_limits_that_are_typed_do_with_the_sign_of_a_verdict(window: MainWindow, tmp_path: Path) -> None:
    make_looks.SCENES["limits"](window, tmp_path)
    settle(window, (1600, 1000), 150)
    (table,) = [table for table in window.findChildren(SpecTable) if table.isVisible()]
    assert table.horizontalScrollBar().maximum() == 0
    last = table.model().columnCount() - 1
    tips = [str(table.model().index(row, last).data(Qt.ItemDataRole.ToolTipRole) or "") for row in range(3)]
    words = [str(table.model().index(row, last).data() or "") for row in range(3)]
    assert all(word in tip.split("\n") for tip, word in zip(tips, words, strict=True)), (
        "cut words are whole in their tip"
    )


@pytest.mark.parametrize("language", ["english", "german"])
def test_limits_leave_out_what_was_measured_before_they_move(
    request: pytest.FixtureRequest, tmp_path: Path, language: str
) -> None:
    if language == "german":
        request.getfixturevalue("german")
    window = request.getfixturevalue("window")
    make_looks.SCENES["limits"](window, tmp_path)
    table, model = window.limits.table, window.limits.table.spec_model
    measured = len(model.fields)
    for percent, out in each([(100, False), (150, True), (100, False)]):
        settle(window, (1280, 720), percent)
        assert table.isColumnHidden(measured) is out
        assert table.horizontalScrollBar().maximum() == 0
        given = str(model.index(0, measured).data())
        assert given.replace(",", ".").startswith("6.9938")
        assert given in model.index(0, measured + 1).data(Qt.ItemDataRole.ToolTipRole), "the verdict says it"
        assert any(cell.startswith("6.9938") for cell in table_cells(table)[1]), "and copies of the table have it"


def test_the_names_of_limits_stay_while_the_rest_moves(window: MainWindow, tmp_path: Path) -> None:
    make_looks.SCENES["limits"](window, tmp_path)
    settle(window, (1000, 720), 150)
    table, last = window.limits.table, window.limits.table.model().columnCount() - 1
    bar, wide, middle = table.horizontalScrollBar(), table.columnWidth(0), table.rowViewportPosition(0) + 10
    assert bar.maximum() > 60
    assert table.columnWidth(last) < table.fontMetrics().horizontalAdvance(str(table.model().index(0, last).data()))
    seen = QRect(0, 0, wide - 2, table.rowHeight(0))
    table.setCurrentIndex(table.model().index(0, 3))
    before = table.viewport().grab(seen).toImage()
    bar.setValue(bar.maximum())
    assert table.viewport().grab(seen).toImage() == before
    assert table.indexAt(QPoint(wide // 2, middle)).column() == 0
    assert table.indexAt(QPoint(wide + 5, middle)).column() > 1
    table.edit(table.model().index(0, 0))
    (line,) = [line for line in table.viewport().findChildren(QLineEdit) if line.isVisible()]
    assert line.geometry().left() == 0, "it is typed where it is seen"
    for at in each([0, bar.maximum() // 2]):
        bar.setValue(at)
        assert line.geometry().left() == 0
    table.setCurrentIndex(table.model().index(0, last))
    table.setCurrentIndex(table.model().index(0, 1))
    assert table.visualRect(table.currentIndex()).left() >= wide, "no cell in front hides behind"


@pytest.mark.usefixtures("german")
def test_limits_are_seen_below_the_tools_of_their_pane(window: MainWindow, tmp_path: Path) -> None:
    make_looks.SCENES["limits"](window, tmp_path)
    settle(window, (1280, 720), 150)
    table = window.limits.table
    assert table.viewport().height() >= 2 * table.verticalHeader().defaultSectionSize()
    assert table.viewport().visibleRegion().boundingRect().height() > table.fontMetrics().height(), "a row at least"


@pytest.mark.usefixtures("german")
@pytest.mark.parametrize("name", ["liftcheck_rule", "springs_fit", "columns"])
def test_no_page_moves_sideways_where_text_is_twice_as_large(window: MainWindow, tmp_path: Path, name: str) -> None:
    make_looks.SCENES[name](window, tmp_path)
    settle(window, (1280, 720), 200)
    (page,) = [area for area in window.findChildren(PageArea) if area.isVisible()]
    assert page.horizontalScrollBar().maximum() == 0


@pytest.mark.parametrize(("name", "named"), [("springs_stages", False), ("springs", True)])
def test_a_clause_takes_no_room_where_none_is_named(window: MainWindow, tmp_path: Path, name: str, named: bool) -> None:
    make_looks.SCENES[name](window, tmp_path)
    settle(window, (1600, 1000), 100)
    (table,) = [table for table in window.findChildren(TableView) if table.objectName() == "verdicts"]
    heads = [str(table.model().headerData(n, Qt.Orientation.Horizontal)) for n in range(table.model().columnCount())]
    assert table.isVisible()
    assert table.isColumnHidden(heads.index("clause")) is not named


@pytest.mark.parametrize("percent", [100, 150, 200])
def test_columns_that_are_asked_for_are_in_view(window: MainWindow, tmp_path: Path, percent: int) -> None:
    make_looks.SCENES["columns"](window, tmp_path)
    settle(window, (1280, 720), percent)
    assert sideways(window) == []
    (page,) = [area for area in window.findChildren(PageArea) if area.isVisible()]
    assert page.horizontalScrollBar().maximum() == 0


@pytest.mark.parametrize("name", sorted(make_looks.SCENES.keys() - {"springs_1000"}))
def test_a_page_moves_up_and_down_alone(window: MainWindow, tmp_path: Path, name: str) -> None:
    """Whatever size it was shown at before."""
    make_looks.SCENES[name](window, tmp_path)
    for size, percent in each([((1600, 1000), 150), ((1280, 720), 200), ((1280, 720), 100)]):
        settle(window, size, percent)
        moves = [area.horizontalScrollBar().maximum() for area in window.findChildren(PageArea) if area.isVisible()]
        assert set(moves) == {0}, f"{size} at {percent} %"


# -- the steps -----------------------------------------------------------------------------------------------------

NEEDS = {
    0: Need(roomy=80, head=60, folded=60, cut=40, cells=30, least=0, drawn=False),
    1: Need(roomy=140, head=120, folded=80, cut=50, cells=60, least=0, drawn=False),
    2: Need(roomy=110, head=60, folded=60, cut=60, cells=90, least=60, drawn=True),
    3: Need(roomy=220, head=60, folded=60, cut=60, cells=200, least=70, drawn=False),
}


ASIDE = {n: Need(60, 60, 60, 40, 50, least=0, drawn=False, aside=aside) for n, aside in enumerate((0, 2, 2, 0, 1))}


@pytest.mark.parametrize(
    ("room", "left"), [(300, 5), (270, 5), (170, 3), (162, 3), (115, 2), (88, 2)]
)  # fmt: skip
def test_columns_that_matter_less_are_left_out_together_before_a_table_moves(room: int, left: int) -> None:
    given = given_width(ASIDE, room, SPARE)
    assert not given.moves
    assert sum(given.wides.values()) <= room
    assert [*given.wides] == {5: [0, 1, 2, 3, 4], 3: [0, 3, 4], 2: [0, 3]}[left]
    assert given.cut == (room < left * (60 - SPARE)), "heads are whole again where there is room"


def test_words_that_are_cut_and_matter_less_are_left_out_before_a_head_is_cut() -> None:
    words = Need(90, 60, 60, 40, 300, least=60, drawn=False, aside=1)
    needs = {0: Need(90, 80, 80, 40, 50, least=0, drawn=False), 1: words}
    for room, left, cut in each([(200, [0, 1], False), (135, [0, 1], False), (120, [0], False), (60, [0], True)]):
        given = given_width(needs, room, SPARE)
        assert ([*given.wides], given.cut) == (left, cut), f"in {room}"


def test_a_sign_takes_no_more_room_than_it_needs_and_words_beside_it_have_the_rest() -> None:
    sign = Need(200, 60, 60, 40, cells=180, least=50, drawn=False, signed=True)
    words = Need(220, 60, 60, 40, cells=200, least=80, drawn=False)
    for room, wides in each(
        [(380, {0: 180, 1: 200}), (300, {0: 180, 1: 120}), (240, {0: 60, 1: 180}), (200, {0: 60, 1: 140})]
    ):
        assert given_width({0: sign, 1: words}, room, SPARE).wides == wides


def test_heads_have_as_much_of_what_they_lack_and_one_that_lacks_little_is_whole() -> None:
    short, long = (Need(90, wide, wide, 50, cells=30, least=0, drawn=False) for wide in (58, 84))
    needs = {0: long, 1: short, 2: long, 3: short}
    for spare, beyond in each([(8, (2, 2, 2, 2)), (40, (12, 8, 12, 8)), (76, (30, 8, 30, 8))]):
        given = given_width(needs, 4 * (50 - SPARE) + spare, SPARE)
        assert given.cut
        assert tuple(given.wides[n] - (50 - SPARE) for n in needs) == beyond


def test_a_table_that_moves_has_every_column() -> None:
    assert given_width(ASIDE, 80, SPARE).moves
    assert [*given_width(ASIDE, 80, SPARE).wides] == [0, 1, 2, 3, 4]


def test_the_width_that_is_asked_for_is_the_least_of_whole_heads_beside_no_drawing() -> None:
    asked = whole_width(NEEDS, SPARE)
    at, below = given_width(NEEDS, asked, SPARE), given_width(NEEDS, asked - 1, SPARE)
    assert (at.cut, below.cut) == (False, True)
    assert 2 not in at.wides


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


@pytest.mark.parametrize(
    ("title", "shown"),
    [
        ("roundness\nMZC\nµm", "MZC\nµm"),
        ("Rundheit MZC\nµm", "MZC\nµm"),
        ("TIR\nmm", "TIR\nmm"),
        ("seat force\nN", "seat force\nN"),
        ("Versatz\n°\u00a0NW", "Versatz\n°\u00a0NW"),
    ],
)
def test_of_a_head_with_an_abbreviation_that_alone_is_kept_where_heads_are_cut(
    app: QApplication, title: str, shown: str
) -> None:
    metrics = QFontMetrics(app.font())
    assert folded(title, 1000, metrics, cut=True) == shown
    assert folded(title, 1000, metrics) == title
    assert (widest_word(title, metrics, cut=True) < widest_word(title, metrics)) == (
        shown != title or len(title.split(maxsplit=1)[0]) > 5
    )


def test_a_column_that_is_left_out_is_said_at_the_name_of_its_row(app: QApplication) -> None:
    name = TableColumn("spring", lambda row: f"Q{row}", cell_tip=lambda _row: "which one", number=False)
    force = TableColumn("force\nN", lambda row: f"25{row}.5")
    due = TableColumn("due first\ndays", lambda row: "31 or so" if row else "", aside=1)
    table = TableView("rows", [name, force, due])
    table.resize(400, 300)
    show(table)
    table.show_rows([0, 1], [name, force, due])
    for wide, hidden in each([(400, False), (135, True), (400, False)]):
        table.resize(wide, 300)
        app.processEvents()
        assert table.isColumnHidden(2) is hidden
        assert table.horizontalScrollBar().maximum() == 0
        tips = [table.model().index(row, 0).data(Qt.ItemDataRole.ToolTipRole) for row in (0, 1)]
        assert tips == ["which one", "which one\ndue first days: 31 or so" if hidden else "which one"]
        assert [cell[-1] for cell in table_cells(table)] == ["due first days", "", "31 or so"], "given away it is whole"
    table.deleteLater()


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
    show(table)
    table.show_rows(list(range(30)), columns)
    QTest.qWait(20)
    return table


def strip(table: TableView, wide: int) -> QImage:
    """What is seen of a table's first columns, their edge left out."""
    return table.grab(table.rect().adjusted(0, 0, wide - 2 - table.rect().width(), -30)).toImage()


def test_the_names_of_the_rows_stay_while_the_rest_moves(app: QApplication) -> None:
    table = shown(["name", *["value"] * 8], 300, "123456.789 mm")
    bar, wide = table.horizontalScrollBar(), table.columnWidth(0)
    table.activateWindow()
    table.setFocus()
    app.processEvents()
    assert table.hasFocus(), "the cell in front has a frame, there as here"
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
