"""Icons: one SVG each, painted in the palette's colour whenever they are drawn, so a new scheme needs no reload."""

from __future__ import annotations

from functools import cache

from PySide6.QtCore import QByteArray, QPoint, QRect, QRectF, QSize, Qt
from PySide6.QtGui import QIcon, QIconEngine, QPainter, QPixmap
from PySide6.QtSvg import QSvgRenderer

from valvelab.places import resources
from valvelab.window.theme import current_theme


@cache
def _source(name: str) -> str:
    return (resources() / "icons" / f"{name}.svg").read_text(encoding="utf-8")


@cache
def _renderer(name: str, colour: str) -> QSvgRenderer:
    return QSvgRenderer(QByteArray(_source(name).replace("currentColor", colour).encode()))


class PaletteIconEngine(QIconEngine):
    """Draws one SVG in a colour of the theme, whatever the scheme, size and scale."""

    def __init__(self, name: str, colour: str = "text") -> None:
        super().__init__()
        self._name = name
        self._colour = colour

    def paint(self, painter: QPainter, rect: QRect, mode: QIcon.Mode, _state: QIcon.State) -> None:
        """Draw into `rect`."""
        names = {QIcon.Mode.Disabled: "disabled"}
        colour = current_theme().colours[names.get(mode, self._colour)]
        _renderer(self._name, colour).render(painter, QRectF(rect))

    def pixmap(self, size: QSize, mode: QIcon.Mode, state: QIcon.State) -> QPixmap:
        """Draw at one size in device pixels."""
        picture = QPixmap(size)
        picture.fill(Qt.GlobalColor.transparent)
        painter = QPainter(picture)
        self.paint(painter, QRect(QPoint(0, 0), size), mode, state)
        painter.end()
        return picture

    def clone(self) -> QIconEngine:
        """Another one like this."""
        return PaletteIconEngine(self._name, self._colour)


@cache
def icon(name: str, colour: str = "text") -> QIcon:
    """The icon of that name in a colour of the theme; there is one of each in the program."""
    return QIcon(PaletteIconEngine(name, colour))
