"""One plot that draws a `figures.description.Figure` under the theme."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from html import escape
from itertools import groupby, pairwise
from math import ceil
from typing import Any

import numpy as np
import pyqtgraph as pg  # type: ignore[import-untyped]
from PySide6.QtCore import QPointF, QRectF, QSizeF, Qt
from PySide6.QtGui import QBrush, QColor, QFont, QFontMetricsF, QPainter, QPen
from PySide6.QtWidgets import (
    QApplication,
    QGraphicsItem,
    QGraphicsSimpleTextItem,
    QGraphicsTextItem,
    QStyleOptionGraphicsItem,
    QWidget,
)

from valvelab.arrays import FloatArray, stretches
from valvelab.figures.description import Axis, Band, Curve, Figure, Marks, Role
from valvelab.figures.points import apart, part_of
from valvelab.language import say, say_measures, say_number
from valvelab.units import DisplayUnit, System
from valvelab.window.labels import FILLED_STEP, OF_LINES, Anchor, Drawn, Spot, over_curves, placed
from valvelab.window.numbers import display_unit
from valvelab.window.theme import current_theme, scaled

_SYMBOLS: dict[str, str] = {"accept": "o", "reject": "x", "undecided": "t", "readings": "o", "outside": "x"}
SERIES_SYMBOLS = ("o", "s", "t", "d", "+", "star")
_THIN, _STRONG = 1.0, 2.0
_CROWDED = 10_000
"""Points from which on a curve, of many lines that lie over one another, is drawn without smoothing its edges, without
letting through what lies below, and once where its lines run through the same pixels."""
_SAME_PIXEL = 0.5
"""Pixels within which ends of lines are one place, so that it holds on a screen of twice the density too."""
_SLACK = 0.005
"""Share of the whole x that plots which are linked may differ by, for their frames do."""
_ALIKE = 1e-9
"""Places that differ by no more of their size are one place."""
_LONG_DASHES = [9.0, 3.0]
_STEP_SEEN, _MOST_SEEN = 4.0, 1000
"""Pixels between the points of a curve that words on the plot keep off, and how many of them there are at most."""
_MOST_FILLED = 60
"""Columns, and rows, of points at most that stand for the inside of a band."""
_CLEAR = 3.0
"""Room between what is drawn and the words above it, in pixels."""
_LEGEND_LINES = 5
"""Height, in lines, from which on a plot has room for a legend below its title."""
_LINES_EACH = 3.0
"""Height, in lines, from which on it has room for one line more."""
_SMALLER = 0.8
"""Size of a legend, of the usual one, that has too little room."""
_SHARES = (1.0, 0.8, 0.65)
_LEGIBLE = 12.5
"""Sizes of words that lie over a figure, of the usual one, and the least height of a line of them, in pixels."""
_BETWEEN = " \u00a0 "
_BEYOND = (1.0, 7.0)
"""How far beyond an upright axis a number may reach above and below, in pixels: the next plot is 8 away."""
_BOX, _DIGIT, _CLOSE = 0.8, 0.52, 0.75
"""Heights of a number's box, of its digits, and of the step between numbers at least, in lines."""
_LEAST_ROUND = 0.5
"""The least share of the room that a figure about the origin takes, whatever its words need."""
_LOW = 0.05
"""Share of the height from the lowest place within which words stand at it."""
_LOW_LINES, _NAME_ABOVE = 5.0, 1.4
"""Lines of a plot that is low, and of room above the place of a name in it."""
_LEAST = 0.65
"""The least size, of the usual one, of a title or of names that have too little room."""
_FILLS: dict[str, float] = {"series": 0.5, "measured": 0.35, "guide": 0.22, "reject": 0.35, "undecided": 0.35}
"""How opaque a band is filled; 0.16 for a role that is not here."""


def role_colour(role: Role, series: int = 0) -> QColor:
    """The colour of a role."""
    theme = current_theme()
    if role == "series":
        return QColor(theme.series[series % len(theme.series)])
    if role in theme.colours:
        return theme.colour(role)
    return theme.colour({"outside": "reject", "fit": "accent", "readings": "quiet", "guide": "quiet"}.get(role, "line"))


def density() -> float:
    """Pixels of the screen to one of the window: pens of plots count in the former."""
    application = QApplication.instance()
    return application.devicePixelRatio() if isinstance(application, QApplication) else 1.0


def plot_pen(colour: QColor, width: float = 1.0, style: Qt.PenStyle = Qt.PenStyle.SolidLine) -> QPen:
    """A pen of a plot, as wide on every screen, whatever the scale of the plot."""
    pen = QPen(colour, width * density(), style)
    pen.setCosmetic(True)
    return pen


def role_pen(role: Role, series: int = 0) -> QPen:
    """The pen of a role: measured strong, nominal thin, others of the shaft faint."""
    colour = role_colour(role, series)
    if role == "measured_quiet":
        colour = current_theme().colour("quiet", 0.30)
    width = _STRONG if role in {"measured", "outside"} else _THIN
    style = Qt.PenStyle.DashLine if role in {"nominal", "guide"} else Qt.PenStyle.SolidLine
    return plot_pen(colour, width, style)


def curve_pen(curve: Curve, *, dashed: bool = True) -> QPen:
    """The pen of a curve; what is of an exhaust valve is in its colour, and in long dashes where those can be drawn."""
    if not (curve.valve == "exhaust" or curve.role == "exhaust"):
        return role_pen(curve.role, curve.series)
    pen = role_pen(curve.role, curve.series)
    pen.setColor(role_colour("exhaust"))
    if dashed:
        pen.setDashPattern(_LONG_DASHES)
    return pen


def _lying_over(colour: QColor, ground: QColor) -> QColor:
    """The opaque colour of two lines of a colour that lets through, one over the other on a ground."""
    share = 1.0 - (1.0 - colour.alphaF()) ** 2

    def mixed(above: float, below: float) -> float:
        return share * above + (1.0 - share) * below

    return QColor.fromRgbF(
        mixed(colour.redF(), ground.redF()),
        mixed(colour.greenF(), ground.greenF()),
        mixed(colour.blueF(), ground.blueF()),
    )


class Word(QGraphicsSimpleTextItem):
    """Words on a plot, on a ground that lets little of what lies below through."""

    def __init__(self, text: str, colour: QColor, font: QFont, view: PlotBox) -> None:
        super().__init__(text, view)
        self.setBrush(colour)
        self.setFont(font)
        self.setZValue(40)
        self.setAcceptedMouseButtons(Qt.MouseButton.NoButton)

    def paint(self, painter: QPainter, option: QStyleOptionGraphicsItem, widget: QWidget) -> None:  # type: ignore[override]
        """Ground and words."""
        painter.fillRect(self.boundingRect(), current_theme().colour("panel", 0.75))
        super().paint(painter, option, widget)


Placed = tuple[Word, tuple[float, float], Anchor, float]
"""Words, their place in units of the plot, how they stand to it, and the radius of the circle that they keep off."""


def _take_off(words: Sequence[Placed]) -> None:
    for word, *_ in words:
        if (scene := word.scene()) is not None:
            scene.removeItem(word)


class QuietAxis(pg.AxisItem):  # type: ignore[misc]
    """An axis without a box: true minus signs, no SI prefixes, ticks in the quiet colour."""

    picture: Any
    turning = False
    _name = _short = ""
    _names: Sequence[tuple[float, str]] = ()
    _font: QFont | None = None
    _reach = _BEYOND

    def __init__(self, orientation: str) -> None:
        super().__init__(orientation, maxTickLength=-4, maxTextLevel=0)
        self.enableAutoSIPrefix(False)
        self.setCacheMode(QGraphicsItem.CacheMode.DeviceCoordinateCache)

    def numbers(self) -> QFontMetricsF:
        """Measures of the numbers' type."""
        return QFontMetricsF(self._font or QApplication.font())

    def setTickFont(self, font: QFont) -> None:
        """Write the numbers in this font, and names too unless they have too little room."""
        self._font = font
        beside = 0.5 * (_BOX - _DIGIT) * self.numbers().height()
        self._reach = (_BEYOND[0] + beside, _BEYOND[1] + beside)
        super().setTickFont(font)

    def name_axis(self, name: str, short: str) -> None:
        """Write what the axis shows under its numbers, `short` where there is no room for the whole."""
        self._name, self._short = name, short
        self.showLabel(bool(name))
        self.label.setFont(scaled(QApplication.font(), 0.95))
        self.setHeight(8.0 + self.numbers().height() + QFontMetricsF(self.label.font()).height())
        self.resizeEvent()

    def resizeEvent(self, event: object = None) -> None:
        """The name under the numbers, in the middle."""
        if not self._name:
            super().resizeEvent(event)
            return
        wide, high = self.size().width(), float(self.fixedHeight or self.size().height())
        whole = QFontMetricsF(self.label.font()).horizontalAdvance(self._name) <= wide
        colour = current_theme().colours["quiet"]
        self.label.setHtml(f'<span style="color:{colour}">{escape(self._name if whole else self._short)}</span>')
        bounds = self.label.boundingRect()
        self.label.setPos(0.5 * (wide - bounds.width()), high - bounds.height() + 3.0)

    def boundingRect(self) -> QRectF:
        """The axis with its lines across the plot, and room for a number at either end."""
        found: QRectF = super().boundingRect()
        return found.adjusted(0.0, -self._reach[0], 0.0, self._reach[1]) if self.orientation == "left" else found

    def tickSpacing(self, least: float, most: float, size: float) -> list[tuple[float, float]]:
        """The step of the numbers, and of the lines between them: as fine as the numbers have room.

        One number alone tells no scale: where the step leaves but one, numbers may stand close below one another.
        """
        font = self.numbers()
        need = float(np.clip(size / 7.0, 1.4 * font.height(), 3.2 * font.height()))
        span = most - least
        above, below = (max(0.0, 0.5 * _DIGIT * font.height() - px) * span / size for px in _BEYOND)

        def several(step: float) -> bool:
            return bool(np.floor((most - above) / step) > np.ceil((least + below) / step))

        close = 0.0
        for step in _steps(span, turning=self.turning):
            if self.orientation == "bottom":
                texts = self.tickStrings([least, most], self.scale, step)
                need = 1.5 * max(font.horizontalAdvance(text) for text in texts) + 8.0
            elif size * step / span >= _CLOSE * font.height() and several(step):
                close = step
            if size * step / span >= need:
                return [(step if several(step) else close or step, 0.0)]
        return [(span, 0.0)]

    def tickValues(self, least: float, most: float, size: float) -> list[tuple[float, list[float]]]:
        """The step and its multiples that are seen."""
        least, most = sorted((least * self.scale, most * self.scale))
        ((step, _),) = self.tickSpacing(least, most, size)
        first = ceil(least / step)
        count = int((most - first * step) / step) + 1
        return [(step / self.scale, [(first + n) * step / self.scale for n in range(count)])]

    def name_places(self, names: Sequence[tuple[float, str]]) -> None:
        """Write these names at their places instead of numbers; none brings the numbers back."""
        self._names = sorted(names)
        self.setTicks([list(names)] if names else None)

    def generateDrawSpecs(self, painter: QPainter) -> Any:
        """What is drawn: names smaller where they are close together, and none over another."""
        named = self.orientation == "bottom" and self._names
        if named and self._font is not None:
            self.style["tickFont"] = scaled(self._font, self._size_of_names())
        found = super().generateDrawSpecs(painter)
        if not named or found is None:
            return found
        kept: list[Any] = []
        for text in sorted(found[2], key=lambda text: text[0].left()):
            if not kept or text[0].left() >= kept[-1][0].right():
                kept.append(text)
        return (*found[:2], kept)

    def _size_of_names(self) -> float:
        """How large, of the usual size, names are written that stand beside one another."""
        font, pixels = self.numbers(), self.size().width() / ((self.range[1] - self.range[0]) or 1.0)
        wides = [font.horizontalAdvance(name) for _, name in self._names]
        around = zip(pairwise(self._names), pairwise(wides), strict=True)
        shares = ((b[0] - a[0]) * pixels / (0.5 * sum(wide) + 0.3 * font.height()) for (a, b), wide in around)
        return float(np.clip(min(shares, default=1.0), _LEAST, 1.0))

    def tickStrings(self, values: Sequence[float], scale: float, spacing: float) -> list[str]:
        """Tick texts with a true minus sign, without exponents where plain figures do."""
        if spacing >= 1e-7:
            decimals = max(0, int(np.ceil(-np.log10(spacing * scale) - 1e-9)))
            texts = [f"{value * scale:.{decimals}f}" for value in values]
        else:
            texts = super().tickStrings(values, scale, spacing)
        signed = [text.replace("-", "−") if float(text) else text.lstrip("-") for text in texts]
        return [say_number(text) for text in signed]

    def paint(self, painter: QPainter, _option: object, _widget: object) -> None:
        """Draw what was worked out once; a recorded picture would look its fonts up at every play."""
        if self.picture is None:
            self.picture = self.generateDrawSpecs(painter)
        if self.picture is not None:
            self.drawPicture(painter, *self.picture)


def _steps(span: float, *, turning: bool) -> Iterator[float]:
    """Steps that a scale over `span` may have, the finest first: 1, 2 or 5 of a decimal place, or parts of a turn."""
    place = 10.0 ** (np.floor(np.log10(span)) - 2.0) if span > 0.0 else 1.0
    plain = (factor * place * ten for ten in (1.0, 10.0, 100.0, 1000.0) for factor in (1.0, 2.0, 5.0))
    if not turning:
        return plain
    parts = (1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 45.0, 60.0, 90.0, 180.0, 360.0)
    return (step for step in (*(step for step in plain if step < 1.0), *parts))


class CurveLine(pg.PlotCurveItem):  # type: ignore[misc]
    """The line of a curve; of a crowd of lines each piece is drawn once, however many run through the same pixels."""

    path: Any
    _pixel = (0.0, 0.0)

    def paint(self, painter: QPainter, option: QStyleOptionGraphicsItem, widget: QWidget | None) -> None:
        """Draw the line, of a crowd what is apart on this scale."""
        pixel = self.getViewBox().viewPixelSize()
        if self._crowded() and pixel != self._pixel:
            self.path, self._pixel = None, pixel
        super().paint(painter, option, widget)

    def generatePath(self, x: FloatArray, y: FloatArray) -> Any:
        """The path through the points; of a crowd through what is apart."""
        if not self._crowded() or not all(self._pixel):
            return super().generatePath(x, y)
        ends = apart(np.column_stack([x, y]), _SAME_PIXEL * np.array(self._pixel))
        return pg.arrayToQPath(ends[:, 0], ends[:, 1], connect="pairs")

    def _crowded(self) -> bool:
        return len(self.xData) >= _CROWDED


class PlotBox(pg.ViewBox):  # type: ignore[misc]
    """The field of a plot: a drag moves what is seen; with Shift, or while `boxing`, it draws the box to zoom to."""

    def __init__(self, zoom_to: Callable[[QRectF], object]) -> None:
        super().__init__(enableMenu=False)
        self.boxing = False
        self._zoom_to = zoom_to

    def mouseDragEvent(self, event: Any, axis: int | None = None) -> None:
        """Move, or draw the box; which of the two is settled where the drag begins."""
        if event.isStart():
            boxed = self.boxing or bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier)
            self.state["mouseMode"] = self.RectMode if boxed and axis is None else self.PanMode
            self.rbScaleBox.setPen(plot_pen(current_theme().colour("accent")))
            self.rbScaleBox.setBrush(pg.mkBrush(current_theme().colour("accent", 0.15)))
        super().mouseDragEvent(event, axis)

    def showAxRect(self, box: QRectF, **_padding: Any) -> None:
        """Zoom to the box that was drawn."""
        self._zoom_to(box.normalized())


class FigureItem:
    """One plot of a graphics layout that shows a figure, and keeps its items for the next figure of the same form.

    While it is `held`, because something in it is dragged, its scale stays. Without `zoom_y` the wheel and drags go
    along x alone, and y shows whatever is seen of the curves; a box that is drawn zooms both until x changes again.
    """

    def __init__(self, *, zoom_y: bool = True) -> None:
        self.view = PlotBox(self.zoom_to)
        self.plot = pg.PlotItem(viewBox=self.view, axisItems={"left": QuietAxis("left"), "bottom": QuietAxis("bottom")})
        for axis in ("left", "bottom"):
            self.plot.getAxis(axis).setZValue(-1000)  # its lines lie below what is drawn
        self.plot.hideButtons()
        self.plot.setMenuEnabled(False)
        self.plot.setMouseEnabled(x=True, y=zoom_y)
        self._follows = not zoom_y
        self.figure = Figure("", "", Axis("", ""), Axis("", ""))
        self.units: System = "metric"
        self.held = False
        self._drawn: list[Curve] = []
        self._curves: list[CurveLine] = []
        self._others: list[pg.GraphicsObject] = []
        self._form: object = None
        self._words: list[Placed] = []
        self._added: list[Placed] = []
        self._below = False
        self._entries: list[_Entry] = []
        self._wides: list[float] = []
        self._written: tuple[list[list[int]], float] | None = None
        self._title_font, self._title_share = QApplication.font(), 1.0
        self._title_wide = self._title_high = 0.0
        self.title = QGraphicsTextItem(self.view)
        self.title.setPos(4, -2)
        self.legend = QGraphicsTextItem(self.view)
        for item in (self.title, self.legend):
            item.setZValue(50)
        self._moved = False
        """Whether a person moved what is seen of a figure with one scale, whose range follows its room otherwise."""
        self.view.sigRangeChangedManually.connect(self._on_moved)
        self.view.sigResized.connect(self._on_resized)
        self.view.sigRangeChanged.connect(self._place_words)
        if self._follows:
            self.view.sigXRangeChanged.connect(self._on_x_moved)
        self._pointer = pg.ScatterPlotItem(symbol="o", brush=None)
        self._pointer.setZValue(7)
        self.plot.addItem(self._pointer, ignoreBounds=True)
        self._read_out = ""
        self._said: frozenset[str] = frozenset()
        self._points: tuple[Figure, object, Drawn] | None = None
        self._settling = 0

    @contextmanager
    def _words_last(self) -> Iterator[None]:
        """Words are placed once, after all that moves the range inside, and not at each step of it."""
        self._settling += 1
        try:
            yield
        finally:
            self._settling -= 1
        self._place_words()

    def show(self, figure: Figure, units: System, said: frozenset[str] = frozenset()) -> None:
        """Draw a figure, changing the data only where its form is that of the one before.

        `said` are labels that a plot above explains already.
        """
        self._said = said
        look = (current_theme().name, units, QApplication.font().pointSizeF())
        self._drawn = _with_quiet_ones_joined(figure.curves)
        form = (*look, figure.name, [(c.role, c.series, c.valve) for c in self._drawn])
        first = self._form != form
        moved = self.figure.x_axis.range != figure.x_axis.range
        if first:
            self._clear()
        self.figure, self.units, self._form = figure, units, form
        if first:
            self._dress()
        with self._words_last():
            self._draw_curves(first)
            self._draw_others()
            self._name_axes()
            if first or moved:
                self.reset_range()
            else:
                self._fit_y()

    def scale_x(self) -> DisplayUnit:
        """Display unit of the x axis."""
        return display_unit(self.figure.x_axis.unit, self.units)

    def scale_y(self) -> DisplayUnit:
        """Display unit of the y axis."""
        return display_unit(self.figure.y_axis.unit, self.units)

    def reset_range(self) -> None:
        """Show everything."""
        self._moved = False
        ends = self._whole_x()
        with self._words_last():
            if ends is not None:
                self.view.setXRange(*ends, padding=0.0)
            self.view.invertX(self.figure.x_axis.reversed)
            self._fit_y(whole=True)

    def zoom_to(self, box: QRectF) -> None:
        """Show what lies in a box, in display units."""
        if not (box.width() and box.height()):
            return
        if self.figure.equal_scale:
            self._moved = True
            self.view.setRange(box, padding=0.0)
            return
        with self._words_last():
            self.view.setXRange(box.left(), box.right(), padding=0.0)
            self.view.setYRange(box.top(), box.bottom(), padding=0.0)

    def zoomed(self) -> bool:
        """Whether less than everything is seen along x; of a figure with one scale, whether a person moved it."""
        if self.figure.equal_scale:
            return self._moved
        whole = self._whole_x()
        if whole is None:
            return False
        (low, high), slack = self.view.viewRange()[0], _SLACK * (whole[1] - whole[0])
        return bool(low > whole[0] + slack or high < whole[1] - slack)

    def seen(self) -> Figure:
        """The figure as it is looked at: the whole, or the part that is zoomed to."""
        if not self.zoomed():
            return self.figure
        (x, y), across, up = self.view.viewRange(), self.scale_x().scale, self.scale_y().scale
        return part_of(self.figure, (x[0] / across, x[1] / across), (y[0] / up, y[1] / up))

    def _whole_x(self) -> tuple[float, float] | None:
        """From where to where everything reaches along x, in display units."""
        marked = [marks.x for marks in self.figure.marks]
        ends = self.figure.x_axis.range or _extent([curve.x for curve in self.figure.curves] + marked)
        if ends is None:
            return None
        room = 0.03 * (ends[1] - ends[0]) if marked and self.figure.x_axis.range is None else 0.0
        if ends[1] - ends[0] <= _ALIKE * abs(ends[0]):
            room = 0.01 * abs(ends[0]) or 1.0  # everything at one place
        factor = self.scale_x().scale
        return (ends[0] - room) * factor, (ends[1] + room) * factor

    def point_at(self, places: Sequence[float]) -> None:
        """Ring these places of the curve in front, in the figure's own unit of x; none takes the ring away."""
        curve = next((curve for curve in self.figure.curves if curve.role == "measured"), None)
        x = np.asarray(places if curve is not None else (), dtype=np.float64)
        y = x if curve is None else np.interp(x, curve.x, curve.y)
        pen = plot_pen(current_theme().colour("text"), 2.0)
        self._pointer.setData(x * self.scale_x().scale, y * self.scale_y().scale, size=16, pen=pen)

    def ringed(self) -> tuple[FloatArray, FloatArray]:
        """The ringed places as they are drawn: x and y in the units shown, shape (n,)."""
        x, y = self._pointer.getData()
        return x, y

    def read_out(self, text: str) -> None:
        """Say a value beside the title, under the cursor."""
        if text != self._read_out:
            self._read_out = text
            self._name_axes()

    def _fit_y(self, *, whole: bool = False) -> None:
        """Show all of y, or while x is zoomed what is seen of it; a plot that is zoomed along both stays as it is."""
        figure = self.figure
        near = not whole and self.zoomed()
        ends = self._seen_y() if near else figure.y_axis.range or _extent([y for _, y in _lines(figure)])
        if ends is None or self.held or (near and not self._follows):
            return
        factor = self.scale_y().scale
        low, high = ends[0] * factor, ends[1] * factor
        if figure.equal_scale:
            self._fit_both(low, high)
            return
        head = self._head()
        high = max(high, low + self._named_up_to(low, 1.0 - head))
        room = (high - low) or 1.0
        self.view.setAspectLocked(lock=False)
        self.view.setYRange(low - 0.05 * room, low + room * 1.02 / (1.0 - head), padding=0.0)

    def _seen_y(self) -> tuple[float, float] | None:
        """Least and greatest y of what is drawn over the x that is seen."""
        across = self.scale_x().scale
        low, high = (end / across for end in self.view.viewRange()[0])
        return _extent([y[(x >= low) & (x <= high)] for x, y in _lines(self.figure)])

    def _fit_both(self, low: float, high: float) -> None:
        """Show the whole of a figure whose axes have one scale, whichever side the widget leaves room at."""
        ends = self.figure.x_axis.range or _extent([curve.x for curve in self.figure.curves])
        across = self.scale_x().scale
        self.view.setAspectLocked(lock=True)
        if any(circle for *_, circle in self._words):
            self._fit_round()
        elif ends is not None:
            whole = (ends[0] * across, ends[1] * across)
            head, foot = self._head(), self._foot(low, high)
            tall = (high - low) / (1.0 - head - foot)
            self.view.setRange(xRange=whole, yRange=(low - tall * foot, high + tall * head), padding=0.01)

    def _fit_round(self) -> None:
        """Show a figure about the origin as large as it can be with its words beside it, which keep their size."""
        size = self.view.size()
        lines, factor = _lines(self.figure), self.scale_x().scale
        sides = []
        for axis, room, share in ((0, size.width(), 1.0), (1, size.height(), 1.0 - self._head())):
            ends = _extent([line[axis] for line in lines if line[0].size > 1]) or (-1.0, 1.0)
            before, beyond = [(-ends[0] * factor, _CLEAR)], [(ends[1] * factor, _CLEAR)]
            for word, place, _, circle in self._words:
                away, words = float(np.hypot(*place)), word.boundingRect().size()
                if not 0.0 < circle < away:
                    continue
                toward, half = place[axis] / away, 0.5 * (words.width(), words.height())[axis]
                for at, shift in ((place[axis], 0.0), (toward * circle, toward * _reach_of(words, place))):
                    beyond.append((at, half + shift))
                    before.append((-at, half - shift))
            sides.append((before, beyond, room * share))
        scale = min(_scale_that_fits(*side) for side in sides)
        ranges = []
        for before, beyond, room in sides:
            taken = [max(at * scale + pixels for at, pixels in side) for side in (before, beyond)]
            start = -(taken[0] + 0.5 * (room - sum(taken))) / scale
            ranges.append((start, start + room / scale))
        (left, right), (low, high) = ranges
        self.view.setRange(xRange=(left, right), yRange=(low, low + (high - low) / (1.0 - self._head())), padding=0.0)

    def _head(self) -> float:
        """Share of the height that title and legend take, and half of a mark that stands right below them."""
        tall = max(30.0, self.view.size().height())
        lines = 1.05 + (len(self._written[0]) if self._below and self._written else 0.0)
        beside = max((0.5 * self._symbol(marks)[1] + _CLEAR for marks in self._spots()), default=0.0)
        return float(min(0.5, (lines * self._line() + _CLEAR + beside) / tall))

    def _named_up_to(self, low: float, share: float) -> float:
        """Height of a low plot, in units of y from its foot, with room above what is named at the top for its name."""
        field = share * max(30.0, self.view.size().height())
        tops = [(place[1], word.boundingRect().height()) for word, place, anchor, _ in self._words if anchor == "on"]
        return max(
            ((y - low) / (1.0 - min(0.6, _NAME_ABOVE * high / field)) for y, high in tops if _LOW_LINES * high > field),
            default=0.0,
        )

    def _foot(self, low: float, high: float) -> float:
        """Share of the height that the lower half of words takes that stand at the lowest place."""
        ends = low + _LOW * (high - low)
        lowest = [word for word, (_, y), anchor, _ in self._words if anchor == "on" and y <= ends]
        half = max((0.5 * word.boundingRect().height() + _CLEAR for word in lowest), default=0.0)
        return float(min(0.25, half / max(30.0, self.view.size().height())))

    def _line(self) -> float:
        """Height of the title's line as it is laid out, which at some sizes is more than its font says."""
        return self._title_high

    def _measure_title(self) -> None:
        """Take up how large the title is in its size, and write it so."""
        self.title.setFont(self._title_font)
        self._title_share = 1.0
        bounds, margin = self.title.boundingRect(), self.title.document().documentMargin()
        self._title_wide, self._title_high = bounds.width() - 2.0 * margin, bounds.height() - 2.0 * margin
        self._fit_title()

    def _fit_title(self) -> None:
        """The title in its size, or smaller where the plot is too narrow for it."""
        room = self.view.size().width() - self.title.x() - 2.0 * self.title.document().documentMargin()
        share = max(_LEAST, 0.98 * room / self._title_wide) if 0.0 < room < self._title_wide else 1.0
        if share != self._title_share:
            self._title_share = share
            self.title.setFont(scaled(self._title_font, share))

    def _clear(self) -> None:
        for item in (*self._curves, *self._others):
            self.plot.removeItem(item)
        self._curves, self._others = [], []

    def _dress(self) -> None:
        theme, font = current_theme(), scaled(QApplication.font(), 0.9)
        for name in ("left", "bottom"):
            axis = self.plot.getAxis(name)
            axis.setPen(plot_pen(theme.colour("line")))
            axis.setTextPen(plot_pen(theme.colour("quiet")))
            axis.setTickFont(font)
            axis.setStyle(tickTextOffset=5, hideOverlappingLabels=True)
        for name, shown in (("left", self.figure.y_axis), ("bottom", self.figure.x_axis)):
            self.plot.getAxis(name).turning = shown.unit in {"deg", "cam deg", "crank deg"}
        drawn = self.figure.axes
        self.plot.showAxis("left", "y" in drawn)
        self.plot.showAxis("bottom", "x" in drawn)
        faint = 0.22 if theme.name == "light" else 0.30
        self.plot.showGrid(x="x" in drawn, y="y" in drawn, alpha=faint)
        self._title_font = font

    def _draw_curves(self, first: bool) -> None:
        across, up = self.scale_x().scale, self.scale_y().scale
        for number, curve in enumerate(self._drawn):
            if first:
                item = CurveLine()
                item.setZValue({"measured_quiet": 1, "nominal": 4, "measured": 3, "outside": 5}.get(curve.role, 2))
                item.setCacheMode(QGraphicsItem.CacheMode.DeviceCoordinateCache)
                self.plot.addItem(item)
                self._curves.append(item)
            whole = curve.role in {"measured", "measured_quiet"} and bool(np.isfinite(curve.y).all())
            connect = "all" if whole else "finite"
            pen, crowded = curve_pen(curve, dashed=self.figure.axes != "none"), curve.x.size >= _CROWDED
            if crowded:
                pen.setColor(_lying_over(pen.color(), current_theme().colour("panel")))
                pen.setWidthF(pen.widthF() / density())  # that many points take their time
            self._curves[number].setData(
                curve.x * across, curve.y * up, connect=connect, antialias=not crowded, pen=pen
            )

    def _draw_others(self) -> None:
        for item in self._others:
            self.plot.removeItem(item)
        _take_off(self._words)
        self._others, self._words = [], []
        across, up = self.scale_x().scale, self.scale_y().scale
        for band in (piece for whole in self.figure.bands for piece in unbroken(whole)):
            pen = plot_pen(role_colour(band.role, band.series))
            lines = [pg.PlotCurveItem(band.x * across, edge * up, pen=pen) for edge in (band.lower, band.upper)]
            around = np.append(band.x, band.x[::-1]) * across, np.append(band.lower, band.upper[::-1]) * up
            ground = QBrush(self._band_colour(band))
            self._add(pg.PlotCurveItem(*around, pen=None, brush=ground, fillLevel="enclosed"), 0)
            for line in lines:
                self._add(line, 0)
        self._add_marks(across, up)
        for guide in self.figure.guides:
            along_x = guide.along == "x"
            value = guide.value * (across if along_x else up)
            self._add(pg.InfiniteLine(value, angle=90 if along_x else 0, pen=role_pen(guide.role)))
            if guide.label:
                place = (value, 0.0) if along_x else (0.0, value)
                self._write(
                    say_measures(guide.label), place, role_colour(guide.role), "along x" if along_x else "along y"
                )

    def _add(self, item: pg.GraphicsObject, height: float | None = None) -> None:
        """Put something but a curve on the plot, at its height above the ground."""
        if height is not None:
            item.setZValue(height)
        self.plot.addItem(item)
        self._others.append(item)

    @staticmethod
    def _band_colour(band: Band) -> QColor:
        colour = role_colour(band.role, band.series)
        colour.setAlphaF(_FILLS.get(band.role, 0.16))
        return colour

    def _add_marks(self, across: float, up: float) -> None:
        """Marks with their texts; those of one role that follow one another as one item, drawn as fast as one group."""
        for marks in self.figure.marks:
            colour = role_colour(marks.role, marks.series)
            for x, y, text in zip(marks.x, marks.y, marks.texts, strict=False):
                if text:
                    anchor: Anchor = "on" if marks.bare else "beside"
                    self._write(say_measures(text), (x * across, y * up), colour, anchor, marks.off * across)
        for _, group in groupby(self._spots(), key=lambda marks: marks.role):
            spots: dict[str, list[Any]] = {"symbol": [], "size": [], "pen": [], "brush": []}
            places = []
            for marks in group:
                symbol, size, pen, brush = self._symbol(marks)
                places.append(np.column_stack([marks.x * across, marks.y * up]))
                for key, value in (("symbol", symbol), ("size", size), ("pen", pen), ("brush", brush)):
                    spots[key] += [value] * marks.x.size
            self._add(pg.ScatterPlotItem(pos=np.concatenate(places), **spots), 6)

    def _spots(self) -> Iterator[Marks]:
        """Marks that are more than words."""
        return (marks for marks in self.figure.marks if marks.x.size and not marks.bare)

    def _symbol(self, marks: Marks) -> tuple[str, float, QPen, QBrush]:
        """Symbol, size, pen and brush of marks."""
        colour = role_colour(marks.role, marks.series)
        colour.setAlphaF(marks.opacity)
        symbol = _SYMBOLS.get(marks.role, SERIES_SYMBOLS[marks.series % len(SERIES_SYMBOLS)])
        size = marks.size * (3 if marks.role == "readings" else 7 if self.figure.axes == "none" else 9)
        pen = plot_pen(colour, 2.0 if symbol in {"x", "+"} else 1.0)
        return symbol, size, pen, pg.mkBrush(None if marks.hollow else colour)

    def _write(
        self, text: str, place: tuple[float, float], colour: QColor, anchor: Anchor, circle: float = 0.0
    ) -> None:
        """Words that belong to a place, in units of the plot; where they stand is settled together."""
        self._words.append((Word(text, colour, scaled(QApplication.font(), 0.85), self.view), place, anchor, circle))

    def add_words(self, words: Sequence[tuple[str, tuple[float, float], Anchor]]) -> None:
        """Words of what lies over the figure, in units of the plot, in place of those there were: they stand first."""
        _take_off(self._added)
        colour, font = current_theme().colour("text"), scaled(QApplication.font(), 0.9, strong=True)
        self._added = [(Word(text, colour, font, self.view), place, anchor, 0.0) for text, place, anchor in words]
        self._place_words()

    def curves(self, role: Role) -> list[pg.PlotCurveItem]:
        """What draws the curves of a role, in their order."""
        return [item for curve, item in zip(self._drawn, self._curves, strict=True) if curve.role == role]

    def words(self) -> list[tuple[str, Word]]:
        """What is written at places of the figure."""
        return [(word.text(), word) for word, *_ in (*self._added, *self._words)]

    def _place_words(self) -> None:
        """Let words stand beside one another, beside the title and the legend, and off the curves where they can.

        What lies over the figure is written smaller before it lies over a curve, and of a line it is left out.
        """
        words = [*self._added, *self._words]
        if not words or self._settling:
            return
        room = QRectF(QPointF(0.0, 0.0), self.view.size())
        taken = [item.mapRectToParent(item.boundingRect()) for item in (self.title, self.legend) if item.isVisible()]
        drawn, found = self._drawn_points(), []
        for word, *_ in self._words:
            word.setScale(1.0)
        shares = [share for share in _SHARES if share * words[0][0].boundingRect().height() >= _LEGIBLE or share == 1.0]
        for share in shares:
            for word, *_ in self._added:
                word.setScale(share)
            found = placed([self._spot(*one) for one in words], room, taken, drawn)
            if not over_curves(found[: len(self._added)], drawn):
                break
        else:
            for n, (_, _, anchor, _) in enumerate(self._added):
                if anchor in OF_LINES and over_curves([found[n]], drawn):
                    found[n] = None
        found = self._off_stems(
            len(self._added),
            words,
            found,
            lambda: placed([self._spot(*one) for one in words], room, taken, drawn),
            drawn,
            shares[1:],
        )
        for (word, *_), rect in zip(words, found, strict=True):
            word.setVisible(rect is not None)
            if rect is not None:
                word.setPos(rect.topLeft())

    def _off_stems(
        self,
        first: int,
        words: Sequence[Placed],
        found: list[QRectF | None],
        again: Callable[[], list[QRectF | None]],
        drawn: Drawn,
        shares: Sequence[float],
    ) -> list[QRectF | None]:
        """Names of marks, the words from the `first` on, written smaller where more of them find their place then."""
        names = [n for n, (*_, anchor, circle) in enumerate(words) if n >= first and (anchor == "beside" or circle)]

        def over(places: Sequence[QRectF | None]) -> int:
            return sum(over_curves([places[n]], drawn) or self._strays(words[n], places[n]) for n in names)

        best, size = found, 1.0
        for share in shares:
            if not over(best):
                break
            for n in names:
                words[n][0].setScale(share)
            smaller = again()
            if over(smaller) < over(best):
                best, size = smaller, share
        for n in names:
            words[n][0].setScale(size)
        return best

    def _strays(self, one: Placed, place: QRectF | None) -> bool:
        """Whether words about a circle stand so far from their place that they seem to belong elsewhere."""
        word, _, _, circle = one
        if not circle or place is None:
            return False
        off = place.center() - self._spot(*one).at
        return float(np.hypot(off.x(), off.y())) > word.scale() * word.boundingRect().height()

    def _spot(self, word: Word, place: tuple[float, float], anchor: Anchor, circle: float) -> Spot:
        """Where words belong, in pixels: at their place, or as far beyond it as keeps them off their circle."""
        at, size = QPointF(*place), word.boundingRect().size() * word.scale()
        if circle:
            (x, y), pixel = place, self.view.viewPixelSize()[0]
            away, half = float(np.hypot(x, y)), _reach_of(size, place) * pixel
            need = max(away, circle + half) if away > circle else min(away, circle - half)
            at *= max(need, 0.0) / away
        return Spot(self.view.mapFromView(at), size, anchor)

    def _drawn_points(self) -> Drawn:
        """Points of curves, marks and bands, close enough for words to keep off; kept until drawn elsewhere."""
        across, up = self.scale_x().scale, self.scale_y().scale
        seen = (across, up, self.view.size().toTuple(), self.view.viewRange())
        if self._points is not None and self._points[0] is self.figure and self._points[1] == seen:
            return self._points[2]

        def pixels(x: FloatArray, y: FloatArray) -> FloatArray:
            return self.pixels(np.column_stack([x * across, y * up]))

        figure = self.figure
        lines = [curve for curve in figure.curves if curve.role not in {"guide", "measured_quiet"}]
        curves = [_along(pixels(curve.x, curve.y)) for curve in lines]
        faint = [_along(pixels(curve.x, curve.y)) for curve in figure.curves if curve.role == "guide"]
        marks = [pixels(marks.x, marks.y) for marks in figure.marks if not marks.bare]
        bands = [(pixels(band.x, band.lower), pixels(band.x, band.upper)) for band in figure.bands]
        edges = [_along(edge) for band in bands for edge in band]
        filled = [_within(*band) for band in bands]
        found = Drawn(*(np.concatenate([np.empty((0, 2)), *group]) for group in (curves, marks, edges, filled, faint)))
        self._points = (self.figure, seen, found)
        return found

    def pixels(self, points: FloatArray) -> FloatArray:
        """Points in units of the plot as pixels of its field, shape (n, 2) both: from the corners of what is seen."""
        (left, right), (low, high) = self.view.viewRange()
        start, end = self.view.mapFromView(QPointF(left, low)), self.view.mapFromView(QPointF(right, high))
        share = (points - np.array([left, low])) / np.array([right - left, high - low])
        return np.asarray(np.array(start.toTuple()) + share * np.array((end - start).toTuple()))

    def _name_axes(self) -> None:
        figure, theme = self.figure, current_theme()
        for name, axis in (("bottom", figure.x_axis), ("left", figure.y_axis)):
            self.plot.getAxis(name).name_places([(place, say(name)) for place, name in axis.names])
        quiet, text = theme.colours["quiet"], theme.colours["text"]
        unit = f" {self.scale_y().label}" if self.scale_y().label and "y" in figure.axes else ""
        read_out = f' &nbsp;&nbsp;<span style="color:{text}">{escape(self._read_out)}</span>' if self._read_out else ""
        ground = f'<span style="background-color:{theme.colours["panel"]}">'
        self.title.setHtml(
            f'{ground}<span style="color:{text}"><b>{say_measures(figure.y_axis.label)}</b></span>'
            f'<span style="color:{quiet}">{unit}</span>{read_out}</span>'
        )
        self._measure_title()
        self._entries = [entry for entry in _legend_entries(figure) if entry.label not in self._said]
        font = QFontMetricsF(self._title_font)
        self._wides = [font.horizontalAdvance(entry.text) for entry in self._entries]
        self._written = None
        self._place_legend()

    def _on_moved(self) -> None:
        self._moved = True

    def _on_x_moved(self) -> None:
        if not self._settling:
            self._fit_y()

    def _on_resized(self) -> None:
        with self._words_last():
            self._fit_title()
            self._place_legend()
            self._fit_y()

    def _place_legend(self) -> None:
        """The legend beside the title, else below it, smaller or in lines; where all that is too much, part of it."""
        room = self.view.size().width() - 8.0
        lines, share, self._below = self._legend_lines(room)
        if (lines, share) != self._written:
            self._write_legend(lines, share)
        self.legend.setVisible(bool(lines))
        wide, line = self.legend.boundingRect().width(), self._line()
        self.legend.setPos(self.view.size().width() - wide - 4, line - 2 if self._below else -2)

    def _legend_lines(self, room: float) -> tuple[list[list[int]], float, bool]:
        """Which entries stand in which line, how large they are, and whether they stand below the title."""
        if not self._entries:
            return [], 1.0, False
        entries = list(range(len(self._entries)))
        beside = room - self.title.boundingRect().width() - 4.0
        spare = self.view.size().height() / self._line() - _LEGEND_LINES
        below = int(spare / _LINES_EACH) + 1 if spare >= 0.0 else 0
        for share in (1.0, _SMALLER):
            if self._wide(entries) * share <= beside:
                return [entries], share, False
            if below and self._wide(entries) * share <= room:
                return [entries], share, True
        lines: list[list[int]] = [[]]
        for entry in entries:
            if lines[-1] and self._wide([*lines[-1], entry]) > room:
                lines.append([])
            lines[-1].append(entry)
        if len(lines) <= below and max(map(self._wide, lines)) <= room:
            return lines, 1.0, True
        kept: list[int] = []
        for entry in sorted(entries, key=lambda n: self._entries[n].quiet):
            if self._wide([*kept, entry]) * _SMALLER + self._gap() <= (room if below else beside):
                kept.append(entry)
        return [sorted(kept)] if kept else [], _SMALLER, bool(below)

    def _wide(self, entries: Sequence[int]) -> float:
        """How wide entries of the legend are in a line."""
        margins = 2.0 * self.legend.document().documentMargin()
        return sum(self._wides[n] for n in entries) + self._gap() * (len(entries) - 1) + margins

    def _gap(self) -> float:
        return QFontMetricsF(self._title_font).horizontalAdvance(_BETWEEN)

    def _write_legend(self, lines: list[list[int]], share: float) -> None:
        """Write these entries; what has no room is told by a tip."""
        self._written = (lines, share)
        some = sum(map(len, lines)) < len(self._entries)
        told = [_BETWEEN.join(self._entries[n].html for n in line) for line in lines]
        if some and told:
            told[-1] += " …"
        ground = f'<span style="background-color:{current_theme().colours["panel"]}">'
        self.legend.setFont(scaled(self._title_font, share))
        self.legend.setTextWidth(-1.0)
        self.legend.setHtml("".join(f'<div align="right">{ground}{line}</span></div>' for line in told))
        self.legend.setTextWidth(self.legend.document().idealWidth())
        tip = "\n".join(entry.text for entry in self._entries) if some else ""
        for item in (self.legend, self.title):
            item.setToolTip(tip)


def _lines(figure: Figure) -> list[tuple[FloatArray, FloatArray]]:
    """Places, x and y, of everything a figure draws."""
    lines = [(curve.x, curve.y) for curve in figure.curves] + [(marks.x, marks.y) for marks in figure.marks]
    return lines + [(band.x, edge) for band in figure.bands for edge in (band.lower, band.upper)]


def _with_quiet_ones_joined(curves: Sequence[Curve]) -> list[Curve]:
    """Curves as they are drawn: those of all other lobes as one with gaps, for sixty items cost sixty times as much."""
    joined: list[Curve] = []
    for role, some in groupby(curves, key=lambda curve: curve.role):
        group = list(some)
        if role == "measured_quiet" and len(group) > 1:
            x = np.concatenate([np.append(curve.x, np.nan) for curve in group])
            y = np.concatenate([np.append(curve.y, np.nan) for curve in group])
            group = [replace(group[0], x=x, y=y)]
        joined += group
    return joined


def _along(points: FloatArray) -> FloatArray:
    """Points along a line, shape (n, 2), in pixels: as close on a steep flank as on a level stretch, none in a gap."""
    if len(points) > 2 * _MOST_SEEN:
        points = points[:: len(points) // _MOST_SEEN]
    steps = np.hypot(*np.diff(points, axis=0).T)
    way = np.concatenate([[0.0], np.cumsum(np.where(np.isfinite(steps), steps, 0.0))])
    known = np.isfinite(points).all(axis=1)
    if not known.any():
        return np.empty((0, 2))
    at = np.linspace(0.0, way[-1], int(np.clip(way[-1] / _STEP_SEEN, 2.0, _MOST_SEEN)))
    return np.column_stack([np.interp(at, way[known], points[known, axis]) for axis in (0, 1)])


def _within(lower: FloatArray, upper: FloatArray) -> FloatArray:
    """Points within a band, shape (n, 2), in pixels, from its lower edge to its upper one."""
    known = np.isfinite(lower[:, 1]) & np.isfinite(upper[:, 1])
    x, low, high = lower[known, 0], lower[known, 1], upper[known, 1]
    if x.size < 2:
        return np.empty((0, 2))
    wide, tall = float(np.ptp(x)), float(np.abs(high - low).max())
    across, up = (int(np.clip(side / FILLED_STEP, 2.0, _MOST_FILLED)) for side in (wide, tall))
    at = np.linspace(x.min(), x.max(), across)
    order = np.argsort(x, kind="stable")
    ends = [np.interp(at, x[order], edge[order]) for edge in (low, high)]
    share = np.linspace(0.0, 1.0, up)[:, None]
    return np.column_stack([np.tile(at, up), (ends[0] + share * (ends[1] - ends[0])).ravel()])


def _scale_that_fits(
    before: Sequence[tuple[float, float]], beyond: Sequence[tuple[float, float]], room: float
) -> float:
    """Pixels to a unit at which what reaches so many units and pixels to either side of the origin has room."""
    pairs = [(a[0] + b[0], room - a[1] - b[1]) for a in before for b in beyond]
    least = _LEAST_ROUND * room / max(units for units, _ in pairs)
    return max(least, min(left / units for units, left in pairs if units > 0.0))


def _reach_of(size: QSizeF, place: tuple[float, float]) -> float:
    """How far words reach from their middle, in pixels, toward the origin."""
    x, y = place
    return 0.5 * (abs(x) * size.width() + abs(y) * size.height()) / float(np.hypot(x, y)) + _CLEAR


def unbroken(band: Band) -> list[Band]:
    """The stretches of a band on which both edges are known."""
    known = np.isfinite(band.lower) & np.isfinite(band.upper)
    ends = (slice(a, b) for a, b in stretches(known) if b - a > 1)
    return [replace(band, x=band.x[part], lower=band.lower[part], upper=band.upper[part]) for part in ends]


@dataclass(frozen=True, slots=True)
class _Entry:
    """One entry of a legend. quiet: whether it says less than the others do."""

    label: str
    text: str
    html: str
    quiet: bool


def _legend_entries(figure: Figure) -> list[_Entry]:
    """What the bands and lines of a figure are, each once."""
    signs = {"nominal": "– –", "guide": "– –", "outside": "✗"}
    named = [("■", band.label, role_colour(band.role, band.series), band.role) for band in figure.bands]
    for curve in figure.curves:
        pen = curve_pen(curve)
        sign = signs.get(curve.role, "— —" if pen.dashPattern() else "—")
        named.append((sign, curve.label, pen.color(), curve.role))
    entries = {}
    for sign, label, colour, role in named:
        text = f"{sign} {say_measures(label)}"
        html = f'<span style="color:{colour.name()}">{escape(text)}</span>'
        entries[label] = _Entry(label, text, html, role in {"guide", "measured_quiet", "nominal"})
    return [entry for label, entry in entries.items() if label]


def _extent(arrays: Sequence[FloatArray]) -> tuple[float, float] | None:
    finite = [array[np.isfinite(array)] for array in arrays]
    kept = [array for array in finite if array.size]
    if not kept:
        return None
    return min(float(a.min()) for a in kept), max(float(a.max()) for a in kept)
