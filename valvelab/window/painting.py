"""What widgets that draw themselves have in common: ground and smooth edges, words in a box, points on a circle."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Protocol, runtime_checkable

from PySide6.QtCore import QPointF, QRect, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QContextMenuEvent, QFont, QPainter, QPen, QPolygonF
from PySide6.QtWidgets import QAbstractScrollArea, QSizePolicy, QTableView, QWidget

from valvelab.language import say
from valvelab.window.theme import current_theme

if TYPE_CHECKING:  # what plots give away is wanted when a menu is
    from valvelab.window.plot_menu import Shown

BESIDE = 7
"""Room beside the words in a cell of a table, as the style leaves it there."""
Ems = tuple[float, float]
CENTRE = Qt.AlignmentFlag.AlignCenter
LEFT = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter
RIGHT = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter


@contextmanager
def painting(widget: QWidget, ground: str = "", *, smooth: bool = True) -> Iterator[QPainter]:
    """A painter on a widget, over a colour of the theme where one is named."""
    with QPainter(widget) as painter:
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, smooth)
        if ground:
            painter.fillRect(widget.rect(), current_theme().colour(ground))
        yield painter


@runtime_checkable
class InPieces(Protocol):
    """What is drawn piece by piece: `veil` hides the pieces, and gives what brings each of them back."""

    def veil(self) -> list[Callable[[], object]]:
        """Hide them."""


class Drawn(QWidget):
    """A widget that draws itself; its least and its usual size, wide and high, follow the size of its text.

    `on_paper` is what paper draws of it, None where it draws nothing.
    """

    least_ems: Ems
    usual_ems: Ems

    def __init__(self, name: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName(name)
        self.setAccessibleName(say(name))
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)

    def on_paper(self) -> Shown | None:
        """Nothing that paper draws."""
        return None

    def contextMenuEvent(self, event: QContextMenuEvent) -> None:
        """The menu that every plot has."""
        from valvelab.window.plot_menu import open_plot_menu  # noqa: PLC0415 - as above

        open_plot_menu(self, event.globalPos(), self.on_paper())

    def minimumSizeHint(self) -> QSize:
        """Still to be read."""
        return self._ems(*self.least_ems)

    def sizeHint(self) -> QSize:
        """Room for what is usually drawn."""
        return self._ems(*self.usual_ems)

    def _ems(self, wide: float, high: float) -> QSize:
        em = self.fontMetrics().height()
        return QSize(round(wide * em), round(high * em))


def drawn_parts(page: QWidget) -> list[QWidget]:
    """The outermost plots, tables and scroll areas of a page: what takes its time to be drawn."""
    found: list[QWidget] = []
    for child in page.findChildren(QWidget, options=Qt.FindChildOption.FindDirectChildrenOnly):
        found += [child] if isinstance(child, QAbstractScrollArea | Drawn) else drawn_parts(child)
    return found


def write(
    painter: QPainter,
    box: QRectF | QRect,
    side: Qt.AlignmentFlag | int,
    text: str,
    colour: str | QColor,
    font: QFont | None = None,
) -> None:
    """Words in a box, in a colour of the theme."""
    if font is not None:
        painter.setFont(font)
    painter.setPen(current_theme().colour(colour) if isinstance(colour, str) else colour)
    painter.drawText(box, side, text)


def words_in(cell: QRect, high: int, beside: int = BESIDE) -> QRect:
    """Where a line of words of that height stands in a cell of a table, as the style puts it."""
    return QRect(cell.x() + beside, cell.y() + cell.height() // 2 - high // 2, cell.width() - 2 * beside, high)


def rows_seen(table: QTableView, seen: QRect) -> list[tuple[int, int, int]]:
    """The rows of a table that reach into a place: their numbers, where they begin, and how high they are."""
    first, last = table.rowAt(seen.top()), table.rowAt(seen.bottom())
    if first < 0:
        return []
    end = table.model().rowCount() if last < 0 else last + 1
    return [(row, table.rowViewportPosition(row), table.rowHeight(row)) for row in range(first, end)]


def columns_seen(table: QTableView, seen: QRect) -> list[tuple[int, int, int]]:
    """The columns of a table that reach into a place: their numbers, where they begin, and how wide they are."""
    every = ((n, table.columnViewportPosition(n), table.columnWidth(n)) for n in range(table.model().columnCount()))
    return [(column, x, wide) for column, x, wide in every if x <= seen.right() and x + wide > seen.left()]


def about(centre: QPointF, wide: float, high: float | None = None) -> QRectF:
    """A box about its centre, as wide and high as twice these."""
    high = wide if high is None else high
    return QRectF(centre.x() - wide, centre.y() - high, 2.0 * wide, 2.0 * high)


def polar(centre: QPointF, radius: float, angle_deg: float) -> QPointF:
    """A point on a circle, its angle clockwise from the top."""
    turn = math.radians(angle_deg)
    return QPointF(centre.x() + radius * math.sin(turn), centre.y() - radius * math.cos(turn))


def turning(
    painter: QPainter,
    centre: QPointF,
    radius: float,
    sense: float,
    colour: QColor,
    width: float,
    start_deg: float,
    head_deg: float,
    size: float,
) -> None:
    """An arrow over the top of a circle, in the sense (+1 clockwise): from `start_deg` before it to 105 after it.

    Its head of that size stands at `head_deg` after the top, the point ahead of it.
    """
    painter.setPen(QPen(colour, width, Qt.PenStyle.SolidLine, Qt.PenCapStyle.FlatCap))
    arc(painter, centre, radius, -sense * start_deg, sense * (start_deg + 105.0))
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(colour)
    at, ahead = sense * head_deg, sense * math.degrees(size / radius)
    corners = ((radius, ahead), (radius + 0.62 * size, -0.25 * ahead), (radius - 0.62 * size, -0.25 * ahead))
    painter.drawPolygon(QPolygonF([polar(centre, reach, at + turn) for reach, turn in corners]))


def arc(painter: QPainter, centre: QPointF, radius: float, start_deg: float, span_deg: float) -> None:
    """An arc of a circle from an angle clockwise from the top, over a span that is positive clockwise."""
    painter.drawArc(about(centre, radius), round(16 * (90.0 - start_deg)), round(-16 * span_deg))
