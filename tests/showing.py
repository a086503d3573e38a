"""Widgets that a test shows, put away when it ends: without a screen a window that stays takes the pointer."""

from __future__ import annotations

from PySide6.QtWidgets import QWidget
from shiboken6 import isValid

_SHOWN: list[QWidget] = []


def show(widget: QWidget) -> None:
    """Show a widget until the test ends."""
    _SHOWN.append(widget)
    widget.show()


def put_away() -> None:
    """Hide what was shown."""
    for widget in _SHOWN:
        if isValid(widget):
            widget.hide()
    _SHOWN.clear()
