"""What every plot gives away: a picture as it looks, the drawing as paper has it, the points of its lines."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

from PySide6.QtCore import QBuffer, QCoreApplication, QIODevice, QMimeData, QPoint, QRect, QSize, Qt
from PySide6.QtGui import QGuiApplication, QImage, QPixmap, QRegion, QResizeEvent
from PySide6.QtWidgets import QMenu, QWidget
from shiboken6 import isValid

from valvelab.csv_text import csv_text
from valvelab.figures.description import Dial, Figure, HeatMap
from valvelab.figures.points import point_rows
from valvelab.language import marked, say
from valvelab.units import System
from valvelab.window.saving import add_exports, ask_place, bench_of, pop_up, save_as
from valvelab.window.turns import Turns

_WIDTH_MM = 176.0
_HEIGHTS_MM = (40.0, 250.0)
_PICTURE = marked("Picture as it looks (*.png)")
_ON_PAPER = (marked("Drawing (*.svg)"), marked("Drawing (*.pdf)"), marked("Drawing (*.png)"))


@dataclass(frozen=True, slots=True)
class Shown:
    """What a plot shows, as paper draws it."""

    drawings: tuple[Figure | HeatMap | Dial, ...] = ()
    units: System = "metric"

    @property
    def figures(self) -> tuple[Figure, ...]:
        """Those that have points."""
        return tuple(drawing for drawing in self.drawings if isinstance(drawing, Figure))


@dataclass(frozen=True, slots=True)
class Zoom:
    """How a plot is zoomed: `whole` shows everything, `box` says whether a drag draws the box to zoom to."""

    whole: Callable[[], object]
    set_boxing: Callable[[bool], object]
    boxing: bool


def open_plot_menu(plot: QWidget, at: QPoint, on_paper: Shown | None, zoom: Zoom | None = None) -> None:
    """Open the menu of a plot; `on_paper` is what paper draws of it, None where it draws nothing."""
    menu = QMenu(plot)
    if zoom is not None:
        menu.addAction(say("Whole view"), zoom.whole)
        box = menu.addAction(say("Drag draws a box to zoom to"), lambda: zoom.set_boxing(not zoom.boxing))
        box.setCheckable(True)
        box.setChecked(zoom.boxing)
        menu.addSeparator()
    found = on_paper or Shown()
    menu.addAction(say("Copy picture"), partial(_copy_picture, plot))
    if found.drawings:
        menu.addAction(say("Copy as SVG"), partial(_copy_svg, plot, found))
    if found.figures:
        menu.addAction(say("Copy points"), partial(_copy_points, plot, found))
        menu.addAction(say("Save points…"), partial(_save_points, plot, found))
    menu.addAction(say("Save picture…"), partial(_save_picture, plot, found))
    add_exports(menu, plot)
    pop_up(menu, at)


def as_it_looks(widget: QWidget) -> QPixmap:
    """A widget as it looks, at twice the pixels."""
    picture = _blank(widget)
    draw_part(widget, QRegion(widget.rect()), picture)
    return picture


def picture_png(
    widget: QWidget, parts: Sequence[QWidget], turns: Turns, take: Callable[[Callable[[], bytes]], object]
) -> None:
    """Draw a widget as it looks, at twice the pixels, each of these parts of it in a turn of its own.

    Hands on what makes a PNG of it away from the window.
    """
    for hidden in widget.window().findChildren(QWidget):
        if hidden.testAttribute(Qt.WidgetAttribute.WA_PendingResizeEvent) and not hidden.isVisible():
            turns.after(f"size of {id(hidden)}", partial(_lay_out, hidden))
    picture, left = _blank(widget), QRegion(widget.rect())
    for part in parts:
        if part.isVisible():
            place = QRegion(QRect(part.mapTo(widget, QPoint()), part.size())) & left
            left -= place
            turns.after(f"picture of {id(part)}", partial(draw_part, widget, place, picture))
    turns.after("picture round them", partial(draw_part, widget, left, picture))
    turns.after("picture", lambda: take(partial(_png, picture.toImage())))


def _lay_out(hidden: QWidget) -> None:
    """Tell what is not seen of its size, as drawing anything of its window would tell all of them at once."""
    if isValid(hidden):
        hidden.setAttribute(Qt.WidgetAttribute.WA_PendingResizeEvent, False)
        QCoreApplication.sendEvent(hidden, QResizeEvent(hidden.size(), QSize()))


def _blank(widget: QWidget) -> QPixmap:
    picture = QPixmap(widget.size() * 2)
    picture.setDevicePixelRatio(2.0)
    return picture


def draw_part(widget: QWidget, region: QRegion, picture: QPixmap) -> None:
    """Draw what lies in a region of a widget into its picture."""
    QWidget.render(widget, picture, region.boundingRect().topLeft(), region)  # a view of graphics has another render


def _png(picture: QImage) -> bytes:
    target = QBuffer()
    target.open(QIODevice.OpenModeFlag.WriteOnly)
    made = picture.save(target, "PNG")  # type: ignore[call-overload]  # its stub knows bytes, it takes words
    assert made, "Qt always brings PNG"
    return bytes(target.data().data())


def drawing(shown: Shown, ending: str, shape: float) -> bytes:
    """What a plot shows as a file of that ending, .svg, .pdf or .png; `shape`: its height over its width."""
    from valvelab.report.figure_file import figure_bytes  # noqa: PLC0415 - the library of paper is for files
    from valvelab.report.page_model import FigureBlock  # noqa: PLC0415 - as above

    least, most = _HEIGHTS_MM
    block = FigureBlock((shown.drawings,), min(most, max(least, _WIDTH_MM * shape)))
    return figure_bytes(block, ending, shown.units)


def _drawing_of(plot: QWidget, shown: Shown, ending: str) -> Callable[[], bytes]:
    return partial(drawing, shown, ending, plot.height() / max(1, plot.width()))


def points_csv(figures: Sequence[Figure], delimiter: str = ",") -> str:
    """Every point of some figures, as CSV."""
    return csv_text(point_rows(figures), delimiter)


def _copy_picture(plot: QWidget) -> None:
    QGuiApplication.clipboard().setPixmap(as_it_looks(plot))


def _copy_svg(plot: QWidget, shown: Shown) -> None:
    def take(svg: bytes) -> None:
        data = QMimeData()
        data.setData("image/svg+xml", svg)
        data.setText(svg.decode())
        QGuiApplication.clipboard().setMimeData(data)

    bench_of(plot).ask(_doing(plot), _named(plot), _drawing_of(plot, shown, ".svg"), take)


def _doing(plot: QWidget) -> str:
    return say("Drawing {name}").format(name=_named(plot))


def _copy_points(plot: QWidget, shown: Shown) -> None:
    made = partial(points_csv, shown.figures, "\t")
    bench_of(plot).ask(_doing(plot), _named(plot), made, QGuiApplication.clipboard().setText)


def _save_points(plot: QWidget, shown: Shown) -> None:
    bench = bench_of(plot)
    name = bench.suggested(f"{_named(plot)}.csv")
    save_as(
        plot,
        say("Save points"),
        name,
        say("Table (*.csv)"),
        lambda path: bench.make(path, partial(points_csv, shown.figures)),
    )


def _save_picture(plot: QWidget, shown: Shown) -> None:
    """As paper draws it; as it looks where that is asked, or where paper can't draw it."""
    bench = bench_of(plot)
    kinds = (*_ON_PAPER, _PICTURE) if shown.drawings else (_PICTURE,)
    asked = ask_place(plot, say("Save picture"), bench.suggested(_named(plot)), kinds)
    if asked is not None:
        path, kind = asked
        if kind == _PICTURE:
            picture_png(plot, (), bench.turns, partial(bench.make, path))
        else:
            bench.make(path, _drawing_of(plot, shown, path.suffix))


def _named(plot: QWidget) -> str:
    """What a file of the plot is called, without ending."""
    return plot.accessibleName().lower().replace("/", " per ")
