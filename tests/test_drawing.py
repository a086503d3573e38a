"""Every part of a figure is drawn, in units and colours of choice, by the same widgets for every bay."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pyqtgraph as pg
import pytest
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QWidget
from something import each

from valvelab.figures.description import Axis, Band, Curve, Dial, Figure, Guide, HeatMap, Marks
from valvelab.report.figure_file import figure_bytes
from valvelab.report.page_model import FigureBlock
from valvelab.window import figure_item, theme
from valvelab.window.dial import DialView, spread_apart
from valvelab.window.drawing import FigureStack, FigureView
from valvelab.window.figure_item import QuietAxis, Word, role_colour, unbroken
from valvelab.window.heat_map import HeatMapView, picture
from valvelab.window.panel import DrawingPanel

X = np.linspace(0.0, 10.0, 101)
FIGURE = Figure(
    "force",
    "Force over height",
    Axis("Height", "mm", (0.0, 10.0), reversed=True),
    Axis("Force", "N"),
    curves=(Curve(X, 10.0 * X, "fit", "fit"), Curve(X, 10.0 * X + 1.0, "series", "one", 1)),
    bands=(Band(X, 9.0 * X, 11.0 * X),),
    marks=(Marks(X[::20], 10.0 * X[::20], "readings"), Marks(X[:2], X[:2], "reject", texts=("a", "b"))),
    guides=(Guide(5.0, "x", label="seat"), Guide(40.0, "y")),
)
HEAT = HeatMap(
    "map",
    "Map",
    Axis("Angle", "deg"),
    ("a", "b", "c"),
    X,
    np.vstack([X - 5.0, 0.0 * X, np.nan * X]),
    Axis("Deviation", "um"),
)
DIAL = Dial(
    "dial",
    "Dial",
    np.array([0.0, 90.0, 91.0]),
    ("a", "b", "c"),
    ("intake", "exhaust", "measured"),
    np.array([1.0, 90.0, 92.0]),
    ("+1", "", "−1"),
)


@pytest.fixture(autouse=True)
def settled(app: QApplication) -> Iterator[None]:
    yield
    app.processEvents()


def kinds_drawn(view: FigureStack) -> list[str]:
    (item,) = view.items_by_name.values()
    return [type(part).__name__ for part in item.plot.items]


def words_drawn(view: FigureStack) -> list[Word]:
    (item,) = view.items_by_name.values()
    return [part for part in item.view.childItems() if isinstance(part, Word)]


def test_every_part_of_a_figure_is_drawn() -> None:
    view = FigureView("force")
    view.show_figure(FIGURE)
    kinds = kinds_drawn(view)
    assert kinds.count("CurveLine") == len(FIGURE.curves)
    assert kinds.count("PlotCurveItem") == 3 * len(FIGURE.bands), "a band's ground and two edges"
    assert kinds.count("ScatterPlotItem") == 2 + 1, "two kinds of marks and the ring"
    assert sorted(word.text() for word in words_drawn(view)) == ["a", "b", "seat"]
    assert kinds.count("InfiniteLine") == 2 + 1, "two guides and the cursor"
    view.show_figure(FIGURE)
    assert kinds_drawn(view) == kinds, "drawing again adds nothing"
    assert len(words_drawn(view)) == 3


def test_units_scale_what_is_drawn_and_name_it() -> None:
    view = FigureView("force")
    view.show_figure(FIGURE, "inch")
    item = view.items_by_name["force"]
    curve = next(part for part in item.plot.items if isinstance(part, pg.PlotCurveItem))
    x, y = curve.getData()
    assert x[-1] == pytest.approx(10.0 / 25.4)
    assert y[-1] == pytest.approx(100.0 / 4.4482216152605)
    assert "lbf" in item.title.toPlainText()
    assert item.view.state["xInverted"]


def test_a_title_that_is_cut_on_paper_keeps_its_unit() -> None:
    curves = tuple(Curve(X, X, "series", f"kind {number} of all", number) for number in range(4))
    figure = replace(FIGURE, title="Force over height of every spring that was read", curves=curves)
    shown = figure_bytes(FigureBlock(((figure,), (FIGURE,)), 60.0), ".svg", "metric").decode()
    assert "…, N<" in shown
    assert "Force over height, N<" in shown


def test_a_band_with_gaps_is_drawn_in_pieces() -> None:
    lower = np.where((X > 3.0) & (X < 4.0), np.nan, -1.0)
    pieces = unbroken(Band(X, lower, lower + 2.0))
    assert len(pieces) == 2
    assert all(np.isfinite(piece.lower).all() for piece in pieces)
    assert unbroken(Band(X, np.nan * X, X)) == []


def test_every_role_has_a_colour(app: QApplication) -> None:
    from typing import get_args

    from valvelab.figures.description import Role

    schemes: tuple[theme.Scheme, ...] = ("light", "dark")
    for scheme in each(schemes):
        theme.set_scheme(scheme)
        for role in each(get_args(Role)):
            assert role_colour(role).isValid()
        assert role_colour("series", 0) != role_colour("series", 1)


def test_axis_figures_are_plain_with_a_true_minus() -> None:
    axis = QuietAxis("left")
    assert axis.tickStrings([-0.00002, 0.0, 0.00002], 1.0, 0.00001) == ["−0.00002", "0.00000", "0.00002"]
    assert axis.tickStrings([-5.0, -0.0], 1.0, 5.0) == ["−5", "0"]


def test_the_cursor_reads_the_curve() -> None:
    view = FigureStack("stack")
    second = replace(FIGURE, name="second")
    view.show_figures([replace(FIGURE, curves=FIGURE.curves[1:]), second], "metric")
    item = view.items_by_name["force"]
    item.view.setXRange(0.0, 120.0)

    def point_at(x: float) -> None:
        view.scene().sigMouseMoved.emit(item.view.mapViewToScene(QPointF(x, 20.0)))

    point_at(2.0)
    assert "21.0" in view.items_by_name["force"].title.toPlainText()
    point_at(99.0)
    assert "21.0" not in view.items_by_name["force"].title.toPlainText()


def test_the_map_is_coloured_by_value_and_grey_without_one() -> None:
    light = theme.load_themes()["light"]
    image = picture(HEAT, light)
    assert (image.width(), image.height()) == (X.size, 3)
    assert image.pixelColor(0, 0) == light.colour("low")
    assert image.pixelColor(X.size - 1, 0) == light.colour("high")
    assert image.pixelColor(50, 2) == light.colour("raised")
    middle = image.pixelColor(50, 1)
    wanted = light.colour("middle")
    assert max(abs(a - b) for a, b in zip(middle.getRgb(), wanted.getRgb(), strict=True)) <= 2


def test_rows_of_the_map_are_chosen_by_click_and_key() -> None:
    view = HeatMapView("map")
    view.resize(400, 300)
    view.show_map(HEAT, "metric")
    told: list[str] = []
    view.row_chosen.connect(told.append)
    view.row_chosen.connect(view.choose)
    from_below = iter(range(view.height() - 1, 0, -1))
    while not told:
        QTest.mouseClick(view, Qt.MouseButton.LeftButton, pos=QPoint(view.width() // 2, next(from_below)))
    for _ in range(3):
        QTest.keyClick(view, Qt.Key.Key_Up)
    assert told == ["c", "b", "a", "a"]


def test_a_crowd_of_lines_looks_as_it_does_with_every_line_drawn(monkeypatch: pytest.MonkeyPatch) -> None:
    many = 3000
    generator = np.random.default_rng(5)
    heights = np.tile([40.0, 36.0, 32.0, 28.0, 28.0], many)
    forces = (
        np.linspace(200.0, 560.0, 5) + generator.normal(0.0, 6.0, (many, 1)) + generator.normal(0.0, 1.0, (many, 5))
    )
    forces[:, -1] = np.nan
    crowd = Curve(heights, forces.ravel(), "measured_quiet")
    shown = Figure("force", "Force", Axis("height", "mm", (27.0, 41.0)), Axis("force", "N", (0.0, 700.0)), (crowd,))

    def drawn() -> tuple[bytes, int]:
        view = FigureView("force")
        view.resize(600, 400)
        view.show_figure(shown)
        picture = view.grab().toImage()
        (item,) = view.items_by_name.values()
        return bytes(picture.constBits()), item.curves("measured_quiet")[0].getPath().elementCount()

    def every(points: np.ndarray, _least: np.ndarray) -> np.ndarray:
        begins = np.flatnonzero(np.isfinite(points[:-1, 1]) & np.isfinite(points[1:, 1]))
        return points[np.column_stack([begins, begins + 1]).ravel()]

    few, pieces = drawn()
    monkeypatch.setattr(figure_item, "apart", every)
    whole, lines = drawn()
    assert lines == 2 * 3 * many
    assert pieces < 0.2 * lines
    assert np.mean(np.frombuffer(few, np.uint8) != np.frombuffer(whole, np.uint8)) < 0.002


def test_dial_labels_do_not_cover_one_another() -> None:
    view = DialView("dial")
    view.resize(400, 300)
    view.show_dial(DIAL)
    view.grab()
    told: list[str] = []
    view.chosen.connect(told.append)
    spots = {label: spot for spot, label in view.places}
    assert abs(spots["b"].y() - spots["c"].y()) >= 0.9 * view.fontMetrics().height()
    QTest.mouseClick(view, Qt.MouseButton.LeftButton, pos=spots["c"].toPoint())
    assert told == ["c"]
    assert "91.00 deg" in view.accessibleDescription()


def test_spreading_keeps_order_and_distance() -> None:
    wanted = np.array([5.0, 5.0, 5.1, 40.0])
    placed = spread_apart(wanted, 10.0)
    assert np.all(np.diff(placed[:3]) >= 9.9)
    assert placed[3] == 40.0
    assert spread_apart(np.array([3.0]), 10.0).tolist() == [3.0]


def first_title(panel: DrawingPanel) -> QWidget:
    return panel.layout().itemAtPosition(0, 0).widget()


def first_drawing(panel: DrawingPanel) -> QWidget:
    return panel.layout().itemAtPosition(1, 0).widget()


def test_a_panel_keeps_its_views_for_the_same_kinds() -> None:
    panel = DrawingPanel(2)
    panel.show_drawings([FIGURE, DIAL], "metric")
    first = first_drawing(panel)
    panel.show_drawings([replace(FIGURE, title="another"), DIAL], "metric")
    assert first_drawing(panel) is first
    assert first_title(panel).text() == "another"
    panel.show_drawings([HEAT], "metric")
    assert isinstance(first_drawing(panel), HeatMapView)
