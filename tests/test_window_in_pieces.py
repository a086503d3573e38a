"""What the window draws by itself in one go looks as Qt draws it; what takes its time is shown piece by piece."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from PySide6.QtCore import QEvent, QItemSelectionModel, QObject, QRect, Qt
from PySide6.QtGui import QFocusEvent, QImage, QPixmap, QRegion
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QHeaderView, QStyledItemDelegate, QTableView, QWidget
from showing import show
from waiting import at_rest, wait_for

from valvelab.window import drawing, theme
from valvelab.window.bays.springs_history_pane import HistoryPane
from valvelab.window.bays.springs_sets_pane import SetsPane
from valvelab.window.bays.springs_shims_pane import ShimsPane
from valvelab.window.bays.springs_tree import UseBar
from valvelab.window.bays.springs_view import SpringsView
from valvelab.window.bench_list import BenchList
from valvelab.window.drawing import FigureStack
from valvelab.window.entry_grid import EntryGrid
from valvelab.window.main_window import MainWindow
from valvelab.window.tables import TableColumn, TableView
from valvelab.window.turns import Turns
from valvelab.workbench.entry import Grid
from valvelab.workbench.entry_told import Mark
from valvelab.workbench.sets import Grouping, SpringsState
from valvelab.workbench.springs_bay import readings_of

SAMPLES = Path(__file__).resolve().parent.parent / "sample_profiles"
SPRINGS = [str(SAMPLES / name) for name in ("springs_quillmere_tray.csv", "springs_quillmere_spec.toml")]
CAMSHAFT = [str(SAMPLES / name) for name in ("quillmere_four_camshaft.csv", "quillmere_four_camshaft.toml")]


@pytest.fixture
def patient(patient: MainWindow) -> MainWindow:
    """Large enough for all of a page."""
    patient.resize(1280, 800)
    return patient


def springs_view(window: MainWindow) -> SpringsView:
    """The spring bay with the sample's tray."""
    window.bench.add_files(SPRINGS)
    at_rest(window.bench)
    view = window.pages.front()
    assert isinstance(view, SpringsView)
    return view


def as_it_looks(widget: QWidget) -> QImage:
    return widget.grab().toImage()


class PlainGrid(EntryGrid):
    """The grid with every cell drawn by its delegate."""

    paintEvent = QTableView.paintEvent  # noqa: N815 - Qt's name


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("wide", "high", "moved"), [(430, 300, 0), (330, 260, 37), (900, 700, 0)])
def test_the_grid_of_readings_looks_as_if_each_cell_was_drawn_by_itself(
    app: QApplication, scheme: theme.Scheme, wide: int, high: int, moved: int
) -> None:
    """Cells that are too narrow, that can't be read, that are in doubt, in front and selected; scrolled both ways."""
    theme.set_scheme(scheme)
    QApplication.setPalette(theme.palette(theme.current_theme()))
    rows = [(f"Q{n}", f"{10.5 * n}", "12,x" if n == 3 else "3" * 30 if n == 4 else "5", "") for n in range(14)]
    seen = []
    for kind in (EntryGrid, PlainGrid):
        around = QWidget()
        grid = kind(around)
        grid.resize(wide, high)
        grid.show_grid("spring heights", Grid((), ("spring", "40 [mm]", "38 [mm]", "rate [N/mm]"), tuple(rows)))
        grid.entry_model.show_marks({(2, 2): Mark("doubtful", "far from the others")})
        grid.go_to(1, 1)
        grid.selectionModel().select(grid.entry_model.index(4, 2), QItemSelectionModel.SelectionFlag.Select)
        grid.verticalScrollBar().setValue(moved)
        grid.horizontalScrollBar().setValue(moved)
        seen.append(as_it_looks(grid))
        around.deleteLater()
    theme.set_scheme("system")
    QApplication.setPalette(theme.palette(theme.current_theme()))
    assert seen[0] == seen[1]
    assert len({seen[0].pixel(x, y) for x in range(0, wide, 3) for y in range(0, high, 3)}) > 4


class PlainTable(TableView):
    """A table with every cell drawn by the style."""

    paintEvent = QTableView.paintEvent  # noqa: N815 - Qt's name


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("focused", [False, True])
def test_a_table_looks_as_if_each_cell_was_drawn_by_itself(
    app: QApplication, scheme: theme.Scheme, *, focused: bool
) -> None:
    """Words and figures, coloured, strong, with an icon, too long for their column; a row chosen; scrolled."""
    theme.set_scheme(scheme)
    QApplication.setPalette(theme.palette(theme.current_theme()))
    columns = [
        TableColumn(
            "part", lambda row: f"lobe {row}", number=False, icon=lambda row: ("accept",) * 2 if row % 3 else None
        ),
        TableColumn("lift", lambda row: f"{7.5 + 0.001 * row:.3f}", colour=lambda row: "reject" if row == 4 else None),
        TableColumn("why", lambda row: "is a little less than it was ordered" if row % 2 else "fits", number=False),
        TableColumn("share", lambda row: f"{row} %", strong=lambda row: row == 5),
    ]
    seen = []
    for kind in (TableView, PlainTable):
        around = QWidget()
        table = kind("parts", columns, around)
        table.resize(330, 240)
        around.resize(400, 300)
        show(around)
        table.show_rows(list(range(24)))
        table.setColumnWidth(2, 90)
        table.sortByColumn(1, Qt.SortOrder.DescendingOrder)
        table.verticalScrollBar().setValue(31)
        table.horizontalScrollBar().setValue(17)
        table.select_where(lambda row: row == 20)
        if focused:
            around.activateWindow()
            table.setFocus()
        QApplication.processEvents()
        wide = min(table.viewport().width(), table.horizontalHeader().length() - 17)
        seen.append(as_it_looks(table.viewport()).copy(QRect(0, 0, wide, table.viewport().height())))
        around.close()
        around.deleteLater()
    theme.set_scheme("system")
    QApplication.setPalette(theme.palette(theme.current_theme()))
    assert seen[0] == seen[1]
    assert len({seen[0].pixel(x, y) for x in range(0, 300, 3) for y in range(0, 200, 3)}) > 4


class PlainBar(UseBar):
    """Every cell is drawn by the style, without its bar."""

    paint = QStyledItemDelegate.paint


def test_the_sets_look_as_if_each_cell_was_drawn_by_the_style(patient: MainWindow) -> None:
    """But for the bars, which rows of springs don't have."""
    bench, view = patient.bench, springs_view(patient)
    names = tuple(sorted(view.sets_pane.usable.values))
    sets = Grouping((names[:16], names[16:32]))
    bench.set(SpringsState, "match sets", groupings={readings_of(bench.document): sets})
    at_rest(bench)
    tree = view.sets_pane.tree
    first = tree.topLevelItem(0)
    assert first is not None
    first.setExpanded(True)
    first.child(2).setSelected(True)
    leaves = QRegion(QRect(0, 0, tree.viewport().width(), 8 * tree.visualItemRect(first).height()))
    leaves -= tree.visualItemRect(first)
    looks = []
    for delegate in (UseBar(tree), PlainBar(tree)):
        tree.setItemDelegate(delegate)
        QApplication.processEvents()
        picture = QPixmap(tree.viewport().size())
        picture.fill(Qt.GlobalColor.white)
        tree.viewport().render(picture, leaves.boundingRect().topLeft(), leaves)
        looks.append(picture.toImage())
    assert looks[0] == looks[1]


def test_a_column_is_as_wide_as_qt_measures_it(patient: MainWindow) -> None:
    """Columns of every table of a tray and of a camshaft that are as wide as their heads and their longest cells."""
    patient.resize(2560, 1440)
    bench, seen = patient.bench, 0
    for files in (SPRINGS, CAMSHAFT):
        bench.add_files(files)
        at_rest(bench)
        for table in patient.findChildren(TableView):
            model, header = table.rows_model, table.horizontalHeader()
            fitted = table.isVisible() and not table.wordWrap() and not header.stretchLastSection()
            if not fitted or header.sectionResizeMode(0) != QHeaderView.ResizeMode.Interactive or len(model.rows) > 60:
                continue
            for column in range(model.columnCount()):
                longest = sorted(range(len(model.rows)), key=lambda row: -len(model.text(row, column)))[:8]
                cells = [table.proxy.mapFromSource(model.index(row, column)) for row in longest]
                wide = max([header.sectionSizeHint(column), *(table.sizeHintForIndex(cell).width() for cell in cells)])
                assert table.columnWidth(column) == wide + table.fontMetrics().height() // 2
                seen += 1
    assert seen > 10


class Painted(QObject):
    """Notes how many plots of a stack are in sight whenever it is painted."""

    def __init__(self, stack: FigureStack) -> None:
        super().__init__(stack)
        self.shown: list[int] = []
        self._stack = stack
        stack.viewport().installEventFilter(self)

    def eventFilter(self, _watched: QObject, event: QEvent) -> bool:
        """A painting."""
        if event.type() == QEvent.Type.Paint:
            self.shown.append(sum(item.plot.opacity() > 0.0 for item in self._stack.items_by_name.values()))
        return False


@pytest.fixture
def stack(patient: MainWindow) -> FigureStack:
    """The plots of a camshaft, at rest for a while."""
    patient.bench.add_files(CAMSHAFT)
    at_rest(patient.bench)
    QTest.qWait(300)
    (found,) = (one for one in patient.findChildren(FigureStack) if len(one.items_by_name) > 2)
    return found


def test_another_size_is_taken_once_and_each_plot_drawn_in_a_turn(patient: MainWindow, stack: FigureStack) -> None:
    taken, painted = [], Painted(stack)
    stack.ci.geometryChanged.connect(lambda: taken.append(stack.size()))
    for high in (760, 720, 700):
        patient.resize(1200, high)
    at_rest(patient.bench)
    plots = len(stack.items_by_name)
    wait_for(lambda: plots in painted.shown)
    assert len(taken) == 1
    assert sorted(set(painted.shown)) in (list(range(plots + 1)), list(range(1, plots + 1)))
    assert stack.range.size().toSize() == stack.size()
    assert stack.viewport().updatesEnabled()


def test_plots_stay_in_sight_while_an_edge_is_dragged(
    patient: MainWindow, stack: FigureStack, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(drawing, "DRAGGED_MS", 60_000)  # however slow the machine is
    painted, plots = Painted(stack), len(stack.items_by_name)
    for step in range(12):
        painted.shown.clear()
        patient.resize(1280 - 4 * step, 800)
        wait_for(lambda: patient.turns.at_rest() and stack.range.size().toSize() == stack.size())
    QTest.qWait(20)
    assert set(painted.shown) == {plots}


def test_a_view_is_made_part_by_part(patient: MainWindow, monkeypatch: pytest.MonkeyPatch) -> None:
    """A turn makes one of the lists of the spring bay, not all."""
    turn, made = [0], defaultdict[int, list[str]](list)

    def do_next(self: Turns, of: Callable[[Turns], None] = Turns.do_next) -> None:
        turn[0] += 1
        of(self)

    monkeypatch.setattr(Turns, "do_next", do_next)
    for pane in (SetsPane, ShimsPane, HistoryPane):

        def begin(*given: Any, of: Callable[..., None] = pane.__init__, name: str = pane.__name__) -> None:
            made[turn[0]].append(name)
            of(*given)

        monkeypatch.setattr(pane, "__init__", begin)
    patient.bench.add_files(SPRINGS)
    at_rest(patient.bench)
    assert list(made.values()) == [["SetsPane"], ["ShimsPane"], ["HistoryPane"]]
    assert isinstance(patient.pages.front(), SpringsView)


def test_the_veil_falls_and_is_lifted_piece_by_piece(
    patient: MainWindow, stack: FigureStack, monkeypatch: pytest.MonkeyPatch
) -> None:
    veil, covered = patient.veil, [QRegion()]

    def do_next(self: Turns, of: Callable[[Turns], None] = Turns.do_next) -> None:
        of(self)
        now = QRegion(veil.mask()) if veil.isVisible() else QRegion()
        if now != covered[-1]:
            covered.append(now)

    monkeypatch.setattr(Turns, "do_next", do_next)
    for _ in range(2):
        del covered[1:]
        veil.await_answer()
        wait_for(lambda: veil.isVisible() and patient.turns.at_rest())
        pieces = len(covered) - 1
        assert pieces > 3
        assert covered[-1] == QRegion(veil.rect())
        assert all((less - more).isEmpty() for less, more in pairwise(covered))
        veil.lift()
        wait_for(lambda: not veil.isVisible())
        assert all((more - less).isEmpty() for less, more in pairwise(covered[pieces:]))
        assert len(covered) == 1 + 2 * pieces
    assert stack.isVisible()


def test_the_focus_alone_chooses_nothing(patient: MainWindow) -> None:
    bench, view = patient.bench, springs_view(patient)
    bench.set(SpringsState, page="springs")
    at_rest(bench)
    chosen: list[object] = []
    view.table.chosen.connect(chosen.append)
    view.table.clearSelection()
    view.table.selectionModel().clearCurrentIndex()
    QApplication.sendEvent(view.table, QFocusEvent(QFocusEvent.Type.FocusIn, Qt.FocusReason.TabFocusReason))
    assert chosen == []
    view.table.choose_first()
    assert len(chosen) == 1


def test_the_list_of_the_bench_writes_what_is_another(patient: MainWindow) -> None:
    bench, written = patient.bench, []
    bench.add_files(SPRINGS)
    at_rest(bench)
    listed = patient.findChild(BenchList)
    assert listed is not None
    model = listed.model()
    model.dataChanged.connect(lambda first, _last: written.append(first.row()))
    bench.toggle_units()
    at_rest(bench)
    assert written == []
    bench.add_files(CAMSHAFT[:1])
    at_rest(bench)
    assert {listed.item(row).text() for row in range(listed.count())} == {
        Path(one).name for one in SPRINGS + CAMSHAFT[:1]
    }
    bench.remove_file(bench.document.files[0].path)
    at_rest(bench)
    assert [listed.item(row).text() for row in range(listed.count())] == [
        Path(f.path).name for f in bench.document.files
    ]
