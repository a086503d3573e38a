"""One plot that draws a `figures.description.Figure` under the theme."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from html import escape
from itertools import groupby
from typing import Any

import numpy as np
import pyqtgraph as pg  # type: ignore[import-untyped]
from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QBrush, QColor, QFontMetricsF, QPen
from PySide6.QtWidgets import QApplication, QGraphicsItem, QGraphicsTextItem

from valvelab.arrays import FloatArray, stretches
from valvelab.figures.description import Axis, Band, Figure, Marks, Role
from valvelab.figures.points import part_of
from valvelab.language import say, say_measures, say_number
from valvelab.units import DisplayUnit, System
from valvelab.window.numbers import display_unit
from valvelab.window.theme import current_theme, scaled

_SYMBOLS: dict[str, str] = {"accept": "o", "reject": "x", "undecided": "t", "readings": "o", "outside": "x"}
SERIES_SYMBOLS = ("o", "s", "t", "d", "+", "star")
_THIN, _STRONG = 1.0, 2.0
_CROWDED = 10_000
"""Points from which on a curve, of many lines that lie over one another, is drawn without smoothing its edges."""
_SLACK = 0.005
"""Share of the whole x that plots which are linked may differ by, for their frames do."""
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


def role_pen(role: Role, series: int = 0) -> QPen:
    """The pen of a role: measured strong, nominal thin, others of the shaft faint."""
    colour = role_colour(role, series)
    if role == "measured_quiet":
        colour = current_theme().colour("quiet", 0.30)
    width = _STRONG if role in {"measured", "outside"} else _THIN
    style = Qt.PenStyle.DashLine if role in {"nominal", "guide"} else Qt.PenStyle.SolidLine
    pen = QPen(colour, width, style)
    pen.setCosmetic(True)
    return pen


class QuietAxis(pg.AxisItem):  # type: ignore[misc]
    """An axis without a box: true minus signs, no SI prefixes, ticks in the quiet colour."""

    def __init__(self, orientation: str) -> None:
        super().__init__(orientation, maxTickLength=-4)
        self.enableAutoSIPrefix(False)

    def name_places(self, names: Sequence[tuple[float, str]]) -> None:
        """Write these names at their places instead of numbers; none brings the numbers back."""
        self.setTicks([list(names)] if names else None)

    def tickStrings(self, values: Sequence[float], scale: float, spacing: float) -> list[str]:
        """Tick texts with a true minus sign, without exponents where plain figures do."""
        if spacing >= 1e-7:
            decimals = max(0, int(np.ceil(-np.log10(spacing * scale) - 1e-9)))
            texts = [f"{value * scale:.{decimals}f}" for value in values]
        else:
            texts = super().tickStrings(values, scale, spacing)
        signed = [text.replace("-", "−") if float(text) else text.lstrip("-") for text in texts]
        return [say_number(text) for text in signed]


class PlotBox(pg.ViewBox):  # type: ignore[misc]
    """The field of a plot: a drag moves what is seen; with Shift, or while `boxing`, it draws the box to zoom to."""

    def __init__(self, zoom_to: Callable[[QRectF], object]) -> None:
        super().__init__()
        self.boxing = False
        self._zoom_to = zoom_to

    def mouseDragEvent(self, event: Any, axis: int | None = None) -> None:
        """Move, or draw the box; which of the two is settled where the drag begins."""
        if event.isStart():
            boxed = self.boxing or bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier)
            self.state["mouseMode"] = self.RectMode if boxed and axis is None else self.PanMode
            self.rbScaleBox.setPen(pg.mkPen(current_theme().colour("accent"), width=1))
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
        self.plot.hideButtons()
        self.plot.setMenuEnabled(False)
        self.plot.setMouseEnabled(x=True, y=zoom_y)
        self._follows = not zoom_y
        self.figure = Figure("", "", Axis("", ""), Axis("", ""))
        self.units: System = "metric"
        self.held = False
        self._curves: list[pg.PlotCurveItem] = []
        self._others: list[pg.GraphicsObject] = []
        self._form: object = None
        self.title = QGraphicsTextItem(self.view)
        self.title.setPos(4, -2)
        self.legend = QGraphicsTextItem(self.view)
        for item in (self.title, self.legend):
            item.setZValue(50)
        self.view.sigResized.connect(self._on_resized)
        if self._follows:
            self.view.sigXRangeChanged.connect(lambda *_: self._fit_y())
        self._pointer = pg.ScatterPlotItem(symbol="o", brush=None)
        self._pointer.setZValue(7)
        self.plot.addItem(self._pointer, ignoreBounds=True)
        self._read_out = ""
        self._said: frozenset[str] = frozenset()

    def show(self, figure: Figure, units: System, said: frozenset[str] = frozenset()) -> None:
        """Draw a figure, changing the data only where its form is that of the one before.

        `said` are labels that a plot above explains already.
        """
        self._said = said
        look = (current_theme().name, units, QApplication.font().pointSizeF())
        form = (*look, figure.name, [(c.role, c.series) for c in figure.curves])
        first = self._form != form
        moved = self.figure.x_axis.range != figure.x_axis.range
        if first:
            self._clear()
        self.figure, self.units, self._form = figure, units, form
        if first:
            self._dress()
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
        ends = self._whole_x()
        if ends is not None:
            self.view.setXRange(*ends, padding=0.0)
        self.view.invertX(self.figure.x_axis.reversed)
        self._fit_y(whole=True)

    def zoom_to(self, box: QRectF) -> None:
        """Show what lies in a box, in display units."""
        if not (box.width() and box.height()):
            return
        if self.figure.equal_scale:
            self.view.setRange(box, padding=0.0)
            return
        self.view.setXRange(box.left(), box.right(), padding=0.0)
        self.view.setYRange(box.top(), box.bottom(), padding=0.0)

    def zoomed(self) -> bool:
        """Whether less than everything is seen along x."""
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
        ends = self.figure.x_axis.range or _extent([c.x for c in self.figure.curves] + [m.x for m in self.figure.marks])
        factor = self.scale_x().scale
        return None if ends is None else (ends[0] * factor, ends[1] * factor)

    def point_at(self, places: Sequence[float]) -> None:
        """Ring these places of the curve in front, in the figure's own unit of x; none takes the ring away."""
        curve = next((curve for curve in self.figure.curves if curve.role == "measured"), None)
        x = np.asarray(places if curve is not None else (), dtype=np.float64)
        y = x if curve is None else np.interp(x, curve.x, curve.y)
        pen = pg.mkPen(current_theme().colour("text"), width=2)
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
        room = (high - low) or 1.0
        head = self._head()
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
        if ends is not None:
            whole = (ends[0] * across, ends[1] * across)
            top = high + (high - low) * self._head() / (1.0 - self._head())
            self.view.setRange(xRange=whole, yRange=(low, top), padding=0.01)

    def _head(self) -> float:
        """Share of the height that title and legend take."""
        tall = max(30.0, self.view.size().height())
        return float(min(0.5, 1.05 * QFontMetricsF(self.title.font()).height() / tall))

    def _clear(self) -> None:
        for item in (*self._curves, *self._others):
            self.plot.removeItem(item)
        self._curves, self._others = [], []

    def _dress(self) -> None:
        theme, font = current_theme(), scaled(QApplication.font(), 0.9)
        for name in ("left", "bottom"):
            axis = self.plot.getAxis(name)
            axis.setPen(pg.mkPen(theme.colour("line")))
            axis.setTextPen(pg.mkPen(theme.colour("quiet")))
            axis.setTickFont(font)
            axis.setStyle(tickTextOffset=5, hideOverlappingLabels=True)
        drawn = self.figure.axes
        self.plot.showAxis("left", "y" in drawn)
        self.plot.showAxis("bottom", "x" in drawn)
        faint = 0.22 if theme.name == "light" else 0.30
        self.plot.showGrid(x="x" in drawn, y="y" in drawn, alpha=faint)
        self.title.setFont(font)
        self.legend.setFont(font)

    def _draw_curves(self, first: bool) -> None:
        across, up = self.scale_x().scale, self.scale_y().scale
        for number, curve in enumerate(self.figure.curves):
            if first:
                item = pg.PlotCurveItem(pen=role_pen(curve.role, curve.series))
                item.setZValue({"measured_quiet": 1, "nominal": 4, "measured": 3, "outside": 5}.get(curve.role, 2))
                item.setCacheMode(QGraphicsItem.CacheMode.DeviceCoordinateCache)
                self.plot.addItem(item)
                self._curves.append(item)
            whole = curve.role in {"measured", "measured_quiet"} and bool(np.isfinite(curve.y).all())
            connect = "all" if whole else "finite"
            self._curves[number].setData(
                curve.x * across, curve.y * up, connect=connect, antialias=curve.x.size < _CROWDED
            )

    def _draw_others(self) -> None:
        for item in self._others:
            self.plot.removeItem(item)
        self._others = []
        across, up = self.scale_x().scale, self.scale_y().scale
        for band in (piece for whole in self.figure.bands for piece in unbroken(whole)):
            pen = pg.mkPen(role_colour(band.role, band.series), width=1)
            lines = [pg.PlotCurveItem(band.x * across, edge * up, pen=pen) for edge in (band.lower, band.upper)]
            self._add(pg.FillBetweenItem(*lines, brush=QBrush(self._band_colour(band))), 0)
            for line in lines:
                self._add(line, 0)
        self._add_marks(across, up)
        for guide in self.figure.guides:
            along_x = guide.along == "x"
            line = pg.InfiniteLine(
                guide.value * (across if along_x else up),
                angle=90 if along_x else 0,
                pen=role_pen(guide.role),
                label=say_measures(guide.label) or None,
                labelOpts={
                    "position": 0.94 if along_x else 0.99,
                    "color": role_colour(guide.role),
                    "anchors": None if along_x else [(1.0, 0.9), (1.0, 0.9)],
                },
            )
            self._add(line)

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
            self._add_texts(marks, across, up, colour, (0.5, 0.5 if marks.bare else 1.2))
        drawn = (marks for marks in self.figure.marks if marks.x.size and not marks.bare)
        for _, group in groupby(drawn, key=lambda marks: marks.role):
            spots: dict[str, list[Any]] = {"symbol": [], "size": [], "pen": [], "brush": []}
            places = []
            for marks in group:
                symbol, size, pen, brush = self._symbol(marks)
                places.append(np.column_stack([marks.x * across, marks.y * up]))
                for key, value in (("symbol", symbol), ("size", size), ("pen", pen), ("brush", brush)):
                    spots[key] += [value] * marks.x.size
            self._add(pg.ScatterPlotItem(pos=np.concatenate(places), **spots), 6)

    def _symbol(self, marks: Marks) -> tuple[str, float, QPen, QBrush]:
        """Symbol, size, pen and brush of marks."""
        colour = role_colour(marks.role, marks.series)
        colour.setAlphaF(marks.opacity)
        symbol = _SYMBOLS.get(marks.role, SERIES_SYMBOLS[marks.series % len(SERIES_SYMBOLS)])
        size = marks.size * (3 if marks.role == "readings" else 7 if self.figure.axes == "none" else 9)
        pen = pg.mkPen(colour, width=2 if symbol in {"x", "+"} else 1)
        return symbol, size, pen, pg.mkBrush(None if marks.hollow else colour)

    def _add_texts(self, marks: Marks, across: float, up: float, colour: QColor, anchor: tuple[float, float]) -> None:
        for x, y, text in zip(marks.x, marks.y, marks.texts, strict=False):
            label = pg.TextItem(say_measures(text), color=colour, anchor=anchor)
            label.setFont(scaled(QApplication.font(), 0.85))
            label.setPos(x * across, y * up)
            self._add(label)

    def _name_axes(self) -> None:
        figure, theme = self.figure, current_theme()
        for name, axis in (("bottom", figure.x_axis), ("left", figure.y_axis)):
            self.plot.getAxis(name).name_places([(place, say(name)) for place, name in axis.names])
        quiet, text = theme.colours["quiet"], theme.colours["text"]
        unit = f" {self.scale_y().label}" if self.scale_y().label and "y" in figure.axes else ""
        read_out = f' &nbsp;&nbsp;<span style="color:{text}">{escape(self._read_out)}</span>' if self._read_out else ""
        self.title.setHtml(
            f'<span style="color:{text}"><b>{say_measures(figure.y_axis.label)}</b></span>'
            f'<span style="color:{quiet}">{unit}</span>{read_out}'
        )
        self.legend.setHtml(" &nbsp; ".join(t for name, t in _legend_entries(figure).items() if name not in self._said))
        self._place_legend()

    def _on_resized(self) -> None:
        self._place_legend()
        self._fit_y()

    def _place_legend(self) -> None:
        width = self.legend.boundingRect().width()
        room = self.view.size().width() - self.title.boundingRect().width() - 12
        self.legend.setVisible(width < room)
        self.legend.setPos(self.view.size().width() - width - 4, -2)


def _lines(figure: Figure) -> list[tuple[FloatArray, FloatArray]]:
    """Places, x and y, of everything a figure draws."""
    lines = [(curve.x, curve.y) for curve in figure.curves] + [(marks.x, marks.y) for marks in figure.marks]
    return lines + [(band.x, edge) for band in figure.bands for edge in (band.lower, band.upper)]


def unbroken(band: Band) -> list[Band]:
    """The stretches of a band on which both edges are known."""
    known = np.isfinite(band.lower) & np.isfinite(band.upper)
    ends = (slice(a, b) for a, b in stretches(known) if b - a > 1)
    return [replace(band, x=band.x[part], lower=band.lower[part], upper=band.upper[part]) for part in ends]


def _legend_entries(figure: Figure) -> dict[str, str]:
    signs = {"nominal": "– –", "guide": "– –", "outside": "✗"}
    named = [("■", band) for band in figure.bands] + [(signs.get(curve.role, "—"), curve) for curve in figure.curves]
    return {
        one.label: (
            f'<span style="color:{role_colour(one.role, one.series).name()}">'
            f"{sign} {escape(say_measures(one.label))}</span>"
        )
        for sign, one in named
        if one.label
    }


def _extent(arrays: Sequence[FloatArray]) -> tuple[float, float] | None:
    finite = [array[np.isfinite(array)] for array in arrays]
    kept = [array for array in finite if array.size]
    if not kept:
        return None
    return min(float(a.min()) for a in kept), max(float(a.max()) for a in kept)
