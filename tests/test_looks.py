"""What the window looks like on every sample: no words over others, even ticks, whole numbers, sizes that are kept."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import make_looks
import numpy as np
import pyqtgraph as pg  # type: ignore[import-untyped]
import pytest
from PySide6.QtCore import QPointF, QRect, QRectF, QSizeF, Qt
from PySide6.QtGui import QFont, QFontMetrics, QFontMetricsF, QImage, QPainter
from PySide6.QtTest import QTest
from PySide6.QtWidgets import (
    QApplication,
    QGraphicsSimpleTextItem,
    QGraphicsTextItem,
    QStyle,
    QStyleOption,
    QStyleOptionSpinBox,
    QWidget,
)
from showing import show
from something import each
from waiting import wait_for

from valvelab.arrays import FloatArray
from valvelab.figures.description import Axis, Curve, Figure, Marks
from valvelab.window import dial, figure_item, theme, tiles
from valvelab.window.bays import phasing_wheel
from valvelab.window.bays.phasing_wheel import DegreeWheel
from valvelab.window.chips import Sentence, kept_together
from valvelab.window.drawing import FigureStack, FigureView
from valvelab.window.fields import TypedField
from valvelab.window.figure_item import FigureItem, QuietAxis
from valvelab.window.labels import Drawn, Spot, placed
from valvelab.window.main_window import MainWindow
from valvelab.window.tables import TableColumn, TableView
from valvelab.workbench.lobes_bay import LobesState
from valvelab.workbench.settings import load

PLAIN = {"empty", "columns", "limits", "worksheet", "wheel", "liftcheck_rule", "springs_fit", "springs_stages",
         "springs_list", "springs_1000", "lobes_exhaust"}  # fmt: skip
"""Scenes without a plot that has words, or with those of another."""
SHARES = "gauge_components"
DRAWN = [name for name in make_looks.SCENES if name not in PLAIN]


def stacks(window: MainWindow) -> Iterator[FigureStack]:
    """Plots that are seen."""
    for stack in window.findChildren(FigureStack):
        if stack.isVisible():
            yield stack


def words_of(item: FigureItem) -> list[tuple[str, QRectF]]:
    """All that is written within a plot, and where in the scene."""
    found = []
    for part in item.view.childItems():
        if isinstance(part, QGraphicsTextItem | QGraphicsSimpleTextItem) and part.isVisible():
            text = part.toPlainText() if isinstance(part, QGraphicsTextItem) else part.text()
            inset = part.document().documentMargin() if isinstance(part, QGraphicsTextItem) else 0.0
            rect = part.mapRectToScene(part.boundingRect().adjusted(inset, inset, -inset, -inset))
            found += [(text, rect)] if text else []
    return found


def overprinted(item: FigureItem) -> list[str]:
    """What is wrong with the words of a plot: over one another, or out of it."""
    words = words_of(item)
    field = item.view.mapRectToScene(item.view.rect()).adjusted(-1, -4, 1, 1)
    wrong = [f"{text!r} leaves the plot {rect} {field}" for text, rect in words if not field.contains(rect)]
    for (first, one), (second, other) in itertools.combinations(words, 2):
        if one.adjusted(0.5, 0.5, -0.5, -0.5).intersects(other):
            wrong.append(f"{first!r} lies over {second!r}")
    return wrong


def uneven(axis: QuietAxis) -> list[str]:
    """What is wrong with the numbers of an axis: steps or decimals that differ, or its name over them."""
    long = axis.size().width() if axis.orientation == "bottom" else axis.size().height()
    step, values = axis.tickValues(*axis.range, long)[0]
    texts = axis.tickStrings(list(values), axis.scale, step)
    wrong = []
    if len({len(text.partition(".")[2]) for text in texts}) > 1:
        wrong.append(f"decimals of {texts}")
    if len(values) > 2 and not np.allclose(np.diff(values), step):
        wrong.append(f"steps of {values}")
    if axis.orientation == "bottom" and axis.label.isVisible():
        top = axis.label.pos().y() + axis.label.document().documentMargin()
        below = 5.0 + axis.numbers().ascent()
        wrong += [] if top >= below - 1.0 else [f"name at {top} over numbers down to {below}"]
    return wrong


def alone(axis: QuietAxis) -> list[str]:
    """What is wrong with an upright axis that shows one number alone where there was room for two."""
    high, line = axis.size().height(), axis.numbers().height()
    if axis.orientation != "left" or high < 3.0 * line:
        return []
    pixel = (axis.range[1] - axis.range[0]) / high
    low, top = axis.range[0] + (0.26 * line - 7.0) * pixel, axis.range[1] - (0.26 * line - 1.0) * pixel
    shown = [value for value in axis.tickValues(*axis.range, high)[0][1] if low <= value <= top]
    return [] if len(shown) > 1 else [f"{shown} alone from {axis.range[0]} to {axis.range[1]} over {high}"]


def axes_of(item: FigureItem) -> Iterator[QuietAxis]:
    """Axes with numbers that are seen."""
    for name, letter in (("left", "y"), ("bottom", "x")):
        axis = item.plot.getAxis(name)
        named = item.figure.x_axis.names if letter == "x" else item.figure.y_axis.names
        if letter in item.figure.axes and axis.isVisible() and axis.style["showValues"] and not named:
            yield axis


@pytest.mark.parametrize("name", DRAWN)
def test_words_and_numbers_of_plots_stand_apart_on_every_sample(window: MainWindow, tmp_path: Path, name: str) -> None:
    make_looks.SCENES[name](window, tmp_path)
    shown, missing = 0, []
    for percent in (90, 100, 115, 150, 200):  # 9, 10 and 11.5 points: what desktops write in
        window.set_text_size(percent)
        QApplication.processEvents()
        QApplication.processEvents()
        for stack in stacks(window):
            stack.grab()
            for figure, item in stack.items_by_name.items():
                if min(item.view.width() / 5.0, item.view.height()) < stack.fontMetrics().height():
                    continue  # a pane that is shut
                shown += 1
                assert overprinted(item) == [], f"{figure} at {percent} %"
                for axis in each(list(axes_of(item)) or [None]):
                    assert axis is None or [*uneven(axis), *alone(axis)] == [], f"{figure} at {percent} %"
                if percent == 100:
                    missing += [text for text, word in item.words() if not word.isVisible()]
    assert shown, "something is drawn"
    assert missing == [], "at the usual size every word has its place"


def test_bays_are_tiles_of_one_size_with_names_of_two_lines_at_most(window: MainWindow) -> None:
    for percent in each([100, 150, 200]):
        window.set_text_size(percent)
        QApplication.processEvents()
        tiles = list(window.tiles.by_bay.values())
        assert {tile.width() for tile in tiles} <= {tiles[0].width(), tiles[0].width() + 1}
        assert len({tile.height() for tile in tiles}) == 1
        assert all(tile.text().count(" ") <= 1 for tile in tiles)
        assert window.docks["Bench"].width() < 0.3 * window.width()


def test_the_sheet_folds_while_it_is_empty_and_is_no_higher_than_its_rows(window: MainWindow, tmp_path: Path) -> None:
    line = window.sheet.height()
    assert window.sheet.is_folded
    assert line < 3 * window.fontMetrics().height()
    make_looks.SCENES["gauge"](window, tmp_path)
    QApplication.processEvents()
    assert not window.sheet.is_folded
    assert window.sheet.height() < 0.2 * window.height(), "one verdict is one row"
    window.bench.go_to_bay("lash")
    QApplication.processEvents()
    assert window.sheet.is_folded
    assert window.sheet.told.text() == window.verdicts.sheet.empty_text


def test_a_sheet_opens_as_high_as_usual_unless_somebody_dragged_it(window: MainWindow, tmp_path: Path) -> None:
    make_looks.SCENES["lobes"](window, tmp_path)
    QApplication.processEvents()
    usual = window.sheet.height()
    make_looks.SCENES["gauge"](window, tmp_path)  # one row
    QApplication.processEvents()
    assert window.sheet.height() < usual
    window.bench.go_to_bay("lobes")
    QApplication.processEvents()
    assert window.sheet.height() == usual


def test_text_size_is_remembered_and_every_number_stays_whole(window: MainWindow, tmp_path: Path) -> None:
    make_looks.SCENES["motion_rule"](window, tmp_path)
    window.do("larger")
    assert window.bench.settings.text == 115
    usual = {field: field.width() for field in window.findChildren(TypedField) if field.isVisible()}
    for percent in each([200, 100]):
        window.set_text_size(percent)
        QApplication.processEvents()
        for field in each(list(usual)):
            room = field.width() - 2 * field.fontMetrics().averageCharWidth()
            assert field.fontMetrics().horizontalAdvance(field.text()) <= room, f"{field.text()} at {percent} %"
    assert load(window.bench.place).text == 100


def test_an_exhaust_lobe_is_drawn_in_its_colour_and_in_dashes(window: MainWindow, tmp_path: Path) -> None:
    make_looks.SCENES["lobes_exhaust"](window, tmp_path)
    colours = {}
    for lobe in ("2E", "2I"):
        window.bench.set(LobesState, lobe=lobe)
        (pen,) = [
            item.opts["pen"] for stack in stacks(window) for item in stack.items_by_name["lift"].curves("measured")
        ]
        colours[lobe] = (pen.color().name(), bool(pen.dashPattern()))
    assert colours == {
        "2E": (theme.current_theme().colours["exhaust"], True),
        "2I": (theme.current_theme().colours["measured"], False),
    }


def test_lines_are_as_wide_on_a_dense_screen(app: QApplication, monkeypatch: pytest.MonkeyPatch) -> None:
    usual = figure_item.role_pen("measured")
    monkeypatch.setattr(figure_item, "density", lambda: 2.0)
    assert figure_item.role_pen("measured").isCosmetic()
    assert figure_item.role_pen("measured").widthF() == 2.0 * usual.widthF()


def test_axes_and_marks_are_as_strong_on_a_dense_screen(
    window: MainWindow, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def widths() -> set[float]:
        QApplication.processEvents()
        items = [item for stack in stacks(window) for item in stack.items_by_name.values()]
        axes = [item.plot.getAxis(name).pen() for item in items for name in ("left", "bottom")]
        spots = [part for item in items for part in item.plot.items if isinstance(part, pg.ScatterPlotItem)]
        marks = [spot.pen() for part in spots for spot in part.points()]
        assert len(marks) > 8
        return {pen.widthF() for pen in (*axes, *marks)}

    make_looks.SCENES["lash"](window, tmp_path)
    assert widths() == {1.0}
    monkeypatch.setattr(figure_item, "density", lambda: 2.0)
    theme.set_scheme("dark")
    window.restyle()
    assert widths() == {2.0}


def test_the_wheel_keeps_its_size_as_readings_come(window: MainWindow, tmp_path: Path) -> None:
    make_looks.SCENES["worksheet"](window, tmp_path)
    QApplication.processEvents()
    (wheel,) = window.findChildren(DegreeWheel)
    empty, size = wheel.circle(), wheel.size()
    make_looks.SCENES["wheel"](window, tmp_path)
    wheel.resize(size)
    assert wheel.dial is not None
    assert wheel.dial.labels
    assert wheel.circle() == empty


def test_a_page_that_waits_pales_and_stays(window: MainWindow) -> None:
    window.veil.await_answer()
    wait_for(window.veil.isVisible)
    window.veil.lift()
    assert not window.veil.isVisible()
    window.veil.await_answer()
    window.veil.lift()
    QTest.qWait(300)
    assert not window.veil.isVisible(), "an answer that comes soon leaves the page as it is"


def test_words_find_a_place_beside_one_another_or_none() -> None:
    room, size = QRectF(0, 0, 100, 60), QSizeF(40, 12)
    at = [Spot(QPointF(50, 30), size, "beside")] * 12
    found = placed(at, room, [QRectF(0, 0, 100, 14)], Drawn(np.array([[50.0, 20.0]])))
    seen = [rect for rect in found if rect is not None]
    assert 3 <= len(seen) < len(at), "the room holds some of them"
    assert all(room.contains(rect) and rect.top() >= 14 for rect in seen)
    assert not any(one.intersects(other) for one, other in itertools.combinations(seen, 2))
    assert seen[0].top() > 30, "the place above the point lies on a curve"
    assert placed([Spot(QPointF(150, 30), size, "beside")], room, [], Drawn(np.empty((0, 2)))) == [None]


def test_a_title_and_the_names_of_an_axis_are_written_smaller_where_a_plot_is_narrow(app: QApplication) -> None:
    names = ("GRR", "repeatability", "reproducibility", "part")
    across = Axis("Standard deviation of", "", (0.5, 4.5), names=tuple(enumerate(names, start=1)))
    x = np.arange(1.0, 5.0)
    figure = Figure("shares", "Shares", across, Axis("Share of the total variation", "%"), (Curve(x, x, "series"),))
    view = FigureView("Shares")
    view.show_figure(figure)
    show(view)
    item = view.items_by_name["shares"]
    for wide in (600, 340, 270):
        view.resize(wide, 200)
        QTest.qWait(20)
        view.grab()
        assert overprinted(item) == [], f"{wide} wide"
        texts = item.plot.getAxis("bottom").picture[2]
        places = sorted((rect.left(), rect.right(), name) for rect, _, name in texts)
        assert all(one[1] <= other[0] for one, other in itertools.pairwise(places)), f"{places} in {wide}"
        assert len(places) == 4 or wide < 300, "names are left out last"


def test_no_figure_of_the_limits_is_cut(window: MainWindow, tmp_path: Path) -> None:
    make_looks.SCENES["limits"](window, tmp_path)
    table = window.limits.table
    model, last = table.spec_model, table.spec_model.columnCount() - 2
    for size, percent in each([((1280, 720), 100), ((1280, 720), 150), ((1600, 1000), 150)]):
        window.resize(*size)
        window.set_text_size(percent)
        QTest.qWait(50)
        metrics = table.fontMetrics()
        left_out = [last] if table.isColumnHidden(last) else []
        assert left_out == ([last] if (size, percent) == ((1280, 720), 150) else [])
        for column in each({n for n, field in enumerate(model.fields) if field.number} | {last} - {*left_out}):
            cells = [str(model.index(row, column).data() or "") for row in range(model.rowCount())]
            figures = [re.sub(r"\D*$", "", cell) if column == last else cell.partition(" ")[0] for cell in cells]
            need = max(map(metrics.horizontalAdvance, figures)) + 8
            assert table.columnWidth(column) >= need, f"{cells} at {size}, {percent} %"


def test_a_table_keeps_room_for_rows(app: QApplication) -> None:
    columns = [TableColumn("of the\nlobe", lambda row: row), TableColumn("a word or two", lambda row: row)]
    table = TableView("rows", columns)
    table.show_rows(["1"] * 9)
    head, row = table.horizontalHeader().sizeHint().height(), table.verticalHeader().defaultSectionSize()
    assert table.minimumSizeHint().height() >= head + 2 * row
    assert table.minimumSizeHint().width() < 120, "columns that have no room are moved sideways"
    table.ask_width()
    table.resize(table.minimumSizeHint())
    show(table)
    QApplication.processEvents()
    assert table.horizontalHeader().length() <= table.viewport().width(), "unless the table asks for its width"
    table.deleteLater()


def test_words_of_a_mark_never_stand_nearer_to_another_one_that_has_words() -> None:
    room, size = QRectF(0, 0, 100, 60), QSizeF(20, 12)
    marks = [QPointF(40, 40), QPointF(48, 40), QPointF(56, 40), QPointF(80, 40)]
    found = placed([Spot(mark, size, "beside") for mark in marks], room, [], Drawn(np.empty((0, 2))))

    def away(rect: QRectF, mark: QPointF) -> float:
        across = max(abs(mark.x() - rect.center().x()) - 0.5 * rect.width(), 0.0)
        return float(np.hypot(across, max(abs(mark.y() - rect.center().y()) - 0.5 * rect.height(), 0.0)))

    assert sum(rect is not None for rect in found) >= 3
    for number, rect in enumerate(found):
        if rect is not None:
            nearest = min(away(rect, mark) for mark in marks)
            assert away(rect, marks[number]) <= nearest + 2.0, f"what is said of {number} reads as another's"


def test_a_sign_of_a_decision_stands_off_the_name_of_a_bay(window: MainWindow, monkeypatch: pytest.MonkeyPatch) -> None:
    written: list[tuple[str, float, float]] = []

    def write(_painter: object, box: QRectF, _side: object, text: str, _colour: object, font: QFont) -> None:
        written.append((text, box.left(), QFontMetricsF(font).horizontalAdvance(text)))

    monkeypatch.setattr(tiles, "write", write)
    tile = window.tiles.by_bay["lobes"]
    tile.defaultAction().setText("Nocken\u00adwelle")
    tile.tell(laid=True, decision="accept")
    tile.grab()
    (first, left, wide), _, (sign, corner, sign_wide) = written[-3:]
    assert (first, sign) == ("Nocken-", "✓")
    assert left + wide <= corner + 0.5 * (tile.fontMetrics().height() - sign_wide) + 1.0


def test_figures_stay_beside_their_units_where_a_sentence_breaks(app: QApplication) -> None:
    said = "Least force at 6800 1/min: 107.3 N, u 0.4 N, 3.0 ± 0.2 N/mm."
    kept = kept_together(said)
    together = ("6800\u00a01/\u2060min:", "107.3\u00a0N,", "u\u00a00.4\u00a0N,", "3.0\u00a0±\u00a00.2\u00a0N/\u2060mm.")
    assert [part for part in kept.split(" ") if part] == ["Least", "force", "at", *together]
    label = Sentence()
    label.setText(said)
    assert label.text() == said


@pytest.mark.parametrize("element", ["PE_IndicatorBranch", "PE_IndicatorArrowDown", "PE_IndicatorArrowRight"])
def test_arrows_grow_with_the_text_beside_them(app: QApplication, element: str) -> None:
    def inked(points: float) -> int:
        option = QStyleOption()
        option.rect, option.state = (
            QRect(0, 0, 60, 60),
            QStyle.StateFlag.State_Enabled | QStyle.StateFlag.State_Children,
        )
        font = QFont(app.font())
        font.setPointSizeF(points)
        option.fontMetrics = QFontMetrics(font)
        image = QImage(60, 60, QImage.Format.Format_ARGB32)
        image.fill(Qt.GlobalColor.transparent)
        painter = QPainter(image)
        app.style().drawPrimitive(getattr(QStyle.PrimitiveElement, element), option, painter, None)
        painter.end()
        return sum(image.pixelColor(x, y).alpha() > 128 for x in range(60) for y in range(60))

    assert inked(20.0) > 3 * inked(10.0) > 0


def test_arrows_of_a_count_grow_with_its_text(app: QApplication) -> None:
    around = QWidget()
    field = theme.CountField(around, minimum=0, maximum=99)
    whole, found = QStyle.ComplexControl.CC_SpinBox, []
    for points in (10.0, 20.0):
        field.setFont(theme.text_font(points))
        field.resize(field.sizeHint())
        option = QStyleOptionSpinBox()
        field.initStyleOption(option)
        up, down, words = (
            field.style().subControlRect(whole, option, part, field)
            for part in (
                QStyle.SubControl.SC_SpinBoxUp,
                QStyle.SubControl.SC_SpinBoxDown,
                QStyle.SubControl.SC_SpinBoxEditField,
            )
        )
        assert words.right() <= up.left() + 1
        assert words.width() >= field.fontMetrics().horizontalAdvance("99")
        image, ground = field.grab().toImage(), option.palette.button().color()
        ink = sum(
            image.pixelColor(x, y) != ground
            for x in range(up.left() + 2, up.right() - 1)
            for y in range(up.top() + 2, up.bottom() - 1)
        )
        found.append((up.width(), down.width(), ink))
    (small, _, few), (large, below, many) = found
    assert large == below > 1.5 * small
    assert many > 2.5 * few > 0


@pytest.mark.parametrize("percent", [100, 150, 200])
def test_columns_are_taken_by_a_button_that_is_always_seen(window: MainWindow, tmp_path: Path, percent: int) -> None:
    make_looks.SCENES["columns"](window, tmp_path)
    window.resize(1280, 720)
    window.set_text_size(percent)
    QTest.qWait(80)
    for taken in each([window.columns.take, window.columns.leave]):
        assert taken.visibleRegion().boundingRect() == taken.rect()


def test_words_without_a_mark_look_all_around_before_they_lie_over_a_curve() -> None:
    room, size = QRectF(0, 0, 300, 200), QSizeF(60, 14)
    x, y = np.meshgrid(np.arange(60.0, 240.0, 4.0), np.arange(70.0, 130.0, 4.0))
    tangle = Drawn(np.column_stack([x.ravel(), y.ravel()]))
    (found,) = placed([Spot(QPointF(150, 100), size, "on")], room, [], tangle)
    assert found is not None
    assert found.bottom() <= 70.0 or found.top() >= 126.0, f"{found} lies over the curve"


def test_words_keep_off_lines_that_guide_the_eye_where_a_place_beside_does_it() -> None:
    room, spot = QRectF(0, 0, 200, 100), Spot(QPointF(100, 50), QSizeF(40, 12), "beside")
    above = np.column_stack([np.arange(60.0, 140.0, 4.0), np.full(20, 37.0)])
    none = np.empty((0, 2))
    (plain,), (found,) = (placed([spot], room, [], Drawn(none, faint=faint)) for faint in (none, above))
    assert plain is not None
    assert found is not None
    assert plain.bottom() < 50.0 < found.top()


def test_words_of_a_place_outside_a_band_keep_out_of_it() -> None:
    room, size = QRectF(0, 0, 300, 60), QSizeF(80, 14)
    x, y = np.meshgrid(np.arange(160.0, 300.0, 8.0), np.arange(0.0, 60.0, 8.0))
    band = np.column_stack([x.ravel(), y.ravel()])
    marks = np.array([[150.0, 12.0], [150.0, 30.0], [150.0, 48.0]])
    for filled, inside in ((band, False), (np.empty((0, 2)), True)):
        drawn = Drawn(np.empty((0, 2)), marks, filled=filled)
        (found,) = placed([Spot(QPointF(140, 30), size, "on")], room, [QRectF(0, 0, 50, 60)], drawn)
        assert found is not None
        assert (found.right() > 160.0) is inside or found.right() <= 160.0
    (within,) = placed([Spot(QPointF(230, 30), size, "on")], room, [], Drawn(np.empty((0, 2)), filled=band))
    assert within is not None
    assert within.center().x() == 230.0, "words of a place within a band stay there"


def round_figure(turn: FloatArray) -> Figure:
    """A circle with words about it, in a range that it does not fill."""
    axis = Axis("", "", (-2.0, 2.0))
    spots = np.radians([0.0, 90.0, 180.0, 270.0])
    texts = ("0 degrees", "90°", "180 degrees", "270°")
    outer = Marks(1.1 * np.cos(spots), 1.1 * np.sin(spots), "guide", texts=texts, bare=True, off=1.0)
    rim = (Curve(np.cos(turn), np.sin(turn), "measured"),)
    return Figure("round", "Round", axis, axis, rim, marks=(outer,), equal_scale=True, axes="none")


def test_a_figure_with_one_scale_follows_its_room_until_a_person_moves_it(app: QApplication) -> None:
    view = FigureView("Round")
    view.show_figure(round_figure(np.radians(np.linspace(0.0, 360.0, 181))))
    show(view)
    item, ranges = view.items_by_name["round"], []
    for wide, high in ((600, 600), (260, 220), (600, 600)):
        view.resize(wide, high)
        QTest.qWait(20)
        ranges.append(item.view.viewRange())
    assert np.allclose(ranges[0], ranges[2])
    assert np.ptp(ranges[1][0]) > 1.1 * np.ptp(ranges[0][0]), "words take more of a small plot"
    assert not item.zoomed()
    assert item.seen() is item.figure
    item.zoom_to(QRectF(0.0, 0.0, 0.5, 0.5))
    view.resize(500, 500)
    QTest.qWait(20)
    assert item.zoomed()
    assert np.ptp(item.view.viewRange()[0]) == pytest.approx(0.5, rel=0.1)
    view.reset_range()
    assert not item.zoomed()


@pytest.mark.parametrize(("wide", "high"), [(500, 260), (240, 420), (230, 230)])
def test_words_about_a_circle_stay_on_their_side_of_it(app: QApplication, wide: int, high: int) -> None:
    turn = np.radians(np.linspace(0.0, 360.0, 181))
    view = FigureView("Round")
    view.show_figure(round_figure(turn))
    show(view)
    view.resize(wide, high)
    QTest.qWait(20)
    item = view.items_by_name["round"]
    points = item.pixels(np.column_stack([np.cos(turn), np.sin(turn)]))
    room = QRectF(QPointF(0.0, 0.0), item.view.size())
    for text, word in item.words():
        box = word.mapRectToParent(word.boundingRect())
        assert word.isVisible(), text
        assert room.contains(box), f"{text} at {box}"
        assert not any(box.contains(QPointF(*point)) for point in points), f"{text} lies over the circle"
    assert np.ptp(points[:, 0]) > 0.3 * min(wide, high), "the circle takes the room that there is"


def test_a_legend_that_has_too_little_room_keeps_what_it_can(app: QApplication) -> None:
    x = np.linspace(0.0, 1.0, 9)
    names = ("as measured", "as drawn", "advanced by a tooth", "retarded by a tooth")
    curves = tuple(Curve(x, x + n, "series", name, n) for n, name in enumerate(names))
    view = FigureView("Lift")
    view.show_figure(Figure("lift", "Lift", Axis("Angle", "deg"), Axis("Lift", "mm"), curves))
    show(view)
    item = view.items_by_name["lift"]
    for wide, high, whole in ((900, 150, True), (600, 260, True), (360, 400, True), (360, 110, False)):
        view.resize(wide, high)
        QTest.qWait(20)
        box = item.legend.mapRectToParent(item.legend.boundingRect())
        told = item.legend.toPlainText()
        assert item.legend.isVisible(), f"{wide} x {high}"
        assert box.left() >= 0.0, f"{told} at {box}"
        assert overprinted(item) == [], f"{wide} x {high}"
        assert all(name in told for name in names) is whole, f"{told} in {wide} x {high}"
        assert all(name in item.legend.toolTip() for name in names) is not whole


def test_a_small_wheel_writes_smaller_and_fewer_figures_and_none_over_its_arcs(
    window: MainWindow, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    make_looks.SCENES["wheel"](window, tmp_path)
    (wheel,) = window.findChildren(DegreeWheel)
    written: dict[str, tuple[QPointF, QFontMetrics]] = {}
    plain = dial.write

    def write(*told: Any) -> None:
        if told[3].isdecimal():
            written[told[3]] = (told[1].center(), told[0].fontMetrics())
        plain(*told)

    monkeypatch.setattr(dial, "write", write)
    arcs: list[float] = []
    draw = phasing_wheel.arc

    def drawn(*told: Any) -> None:
        arcs.append(told[2])
        draw(*told)

    monkeypatch.setattr(phasing_wheel, "arc", drawn)
    heights = []
    for side, least in ((900, 8), (260, 3), (190, 1)):
        written.clear()
        arcs.clear()
        wheel.resize(side, side)
        wheel.grab()
        (centre, rim), tall = wheel.circle(), 0
        assert len(written) >= least, f"{side} wide: {written}"
        for text, (at, metrics) in written.items():
            off, tall = at - centre, metrics.height()
            half = 0.5 * metrics.horizontalAdvance(text), 0.5 * metrics.capHeight()
            share = abs(off.x()) / math.hypot(*off.toTuple())
            away = math.hypot(*off.toTuple()) - half[0] * share - half[1] * math.sqrt(1.0 - share**2)
            assert away >= max(arcs) + 0.02 * rim, f"{text} in a wheel of {side}"
        heights.append(tall)
    assert heights[0] > heights[-1]


@pytest.mark.parametrize(("size", "percent"), [((1280, 720), 100), ((1280, 720), 150), ((1600, 1000), 150)])
def test_what_a_bar_is_stands_above_it_in_a_low_plot_too(
    window: MainWindow, tmp_path: Path, size: tuple[int, int], percent: int
) -> None:
    make_looks.SCENES["gauge"](window, tmp_path)
    window.resize(*size)
    window.set_text_size(percent)
    QTest.qWait(50)
    (item,) = [stack.items_by_name[SHARES] for stack in stacks(window) if SHARES in stack.items_by_name]
    words = [(text, word) for text, word in item.words() if word.isVisible()]
    assert len(words) == 8
    for text, word in words:
        box = word.mapRectToParent(word.boundingRect())
        top = item.pixels(np.array([[1.0, float(text)]]))[0, 1]
        assert box.bottom() <= top + 4.0, f"{text} lies over its bar"


@pytest.mark.parametrize(("name", "figure"), [("lobes_exhaust", "lift"), ("motion_speed", "resonances")])
def test_names_are_written_smaller_before_they_lie_over_a_curve(
    window: MainWindow, tmp_path: Path, name: str, figure: str
) -> None:
    make_looks.SCENES[name](window, tmp_path)
    window.resize(1600, 1000)
    window.set_text_size(150)
    QTest.qWait(200)
    (item,) = [stack.items_by_name[figure] for stack in stacks(window) if figure in stack.items_by_name]
    words = [(text, word.mapRectToParent(word.boundingRect())) for text, word in item.words() if word.isVisible()]
    assert len(words) > 1
    across, up = item.scale_x().scale, item.scale_y().scale
    for curve in item.figure.curves:
        points = item.pixels(np.column_stack([curve.x * across, curve.y * up]))
        steps = np.linspace(0.0, 1.0, 40)[:, None]
        along = np.concatenate([a + steps * (b - a) for a, b in itertools.pairwise(points)])
        for text, box in words:
            x, y = along.T
            inside = (x > box.left() + 1) & (x < box.right() - 1) & (y > box.top() + 1) & (y < box.bottom() - 1)
            assert not inside.any(), f"{text} lies over the curve"


def test_the_centreline_of_a_narrow_event_diagram_is_said_on_its_own_side(window: MainWindow, tmp_path: Path) -> None:
    make_looks.SCENES["events"](window, tmp_path)
    window.resize(1600, 1000)
    window.set_text_size(150)
    QTest.qWait(200)
    items = [item for stack in stacks(window) for item in stack.items_by_name.values()]
    ((word, item),) = [(word, one) for one in items for text, word in one.words() if text == "106.86 BTDC"]
    middle = item.pixels(np.zeros((1, 2)))[0, 0]
    assert word.isVisible()
    assert word.mapRectToParent(word.boundingRect()).center().x() < middle, "its ray goes to the left"
    assert word.scale() * word.boundingRect().height() > 12.0, "it can still be read"
