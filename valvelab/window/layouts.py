"""Widgets and layouts put beside or above one another."""

from __future__ import annotations

from typing import TypeVar

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QBoxLayout, QHBoxLayout, QLayout, QScrollArea, QVBoxLayout, QWidget

Part = QWidget | QLayout | int | tuple[QWidget | QLayout, int]
"""A widget or a layout, with its share of the room or without; a number is empty room of that share."""
Margins = tuple[int, int, int, int]
Box = TypeVar("Box", bound=QBoxLayout)


class FormArea(QScrollArea):
    """A form that scrolls up and down and takes no focus itself; `name` is how it is spoken of."""

    def __init__(self, name: str, parent: QWidget) -> None:
        super().__init__(parent)
        self.setWidgetResizable(True)
        self.setFrameShape(QScrollArea.Shape.NoFrame)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setAccessibleName(name)


def beside(
    *parts: Part, on: QWidget | None = None, margins: Margins = (0, 0, 0, 0), spacing: int | None = None
) -> QHBoxLayout:
    """Parts beside one another, as the layout of `on` where it is given; margins: left, top, right, bottom."""
    return _filled(QHBoxLayout() if on is None else QHBoxLayout(on), parts, margins, spacing)


def above(
    *parts: Part, on: QWidget | None = None, margins: Margins = (0, 0, 0, 0), spacing: int | None = None
) -> QVBoxLayout:
    """Parts above one another."""
    return _filled(QVBoxLayout() if on is None else QVBoxLayout(on), parts, margins, spacing)


def strip(parent: QWidget, *parts: Part, margins: Margins = (0, 0, 0, 0), spacing: int | None = None) -> QWidget:
    """A widget with parts beside one another."""
    box = QWidget(parent)
    beside(*parts, on=box, margins=margins, spacing=spacing)
    return box


def stacked(parent: QWidget, *parts: Part) -> QVBoxLayout:
    """The layout of a widget whose parts lie close above one another, those with a share taking the room."""
    return above(*parts, on=parent, spacing=0)


def _filled(layout: Box, parts: tuple[Part, ...], margins: Margins, spacing: int | None) -> Box:
    layout.setContentsMargins(*margins)
    if spacing is not None:
        layout.setSpacing(spacing)
    for part in parts:
        what, share = part if isinstance(part, tuple) else (part, 0)
        if isinstance(what, int):
            layout.addStretch(what)
        elif isinstance(what, QLayout):
            layout.addLayout(what, share)
        else:
            layout.addWidget(what, share)
    return layout
