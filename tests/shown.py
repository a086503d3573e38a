"""Every text that a window shows or would show: widgets, tables, menus, tips, and what is painted."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from typing import Any

from PySide6.QtCore import QAbstractItemModel, QAbstractListModel, QModelIndex, Qt
from PySide6.QtGui import QAction, QPainter
from PySide6.QtWidgets import (
    QAbstractButton,
    QAbstractItemView,
    QApplication,
    QComboBox,
    QGraphicsSimpleTextItem,
    QGraphicsTextItem,
    QGraphicsView,
    QGroupBox,
    QLabel,
    QLineEdit,
    QTableView,
    QTreeView,
    QWidget,
)

_TAGS = re.compile(r"<[^>]+>")
_ROWS = 60
"""Rows of a table that are looked at."""
_ROLES = (Qt.ItemDataRole.DisplayRole, Qt.ItemDataRole.ToolTipRole, Qt.ItemDataRole.AccessibleTextRole)


def texts_of(window: QWidget) -> dict[str, str]:
    """Every text by itself, line by line, with the place that shows it."""
    found: dict[str, str] = {}
    for place, text in (*_painted(window), *_held(window)):
        for line in plain(text).split("\n"):
            if line.strip():
                found.setdefault(line.strip(), place)
    return found


def plain(text: str) -> str:
    """A text without its marks."""
    return html.unescape(_TAGS.sub(" ", text)) if "<" in text else text


def _painted(window: QWidget) -> list[tuple[str, str]]:
    """What is written while the window is painted by the program itself."""
    found: list[tuple[str, str]] = []
    drawn = QPainter.drawText

    def drawing(painter: QPainter, *given: Any) -> Any:
        found.extend(("painted", one) for one in given if isinstance(one, str))
        return drawn(painter, *given)

    QPainter.drawText = drawing  # type: ignore[method-assign,assignment]
    try:
        for widget in window.findChildren(QWidget):
            if widget.isVisible():
                widget.update()
        window.grab()
        QApplication.processEvents()
    finally:
        QPainter.drawText = drawn  # type: ignore[method-assign]
    return found


def _held(window: QWidget) -> Iterator[tuple[str, str]]:
    for action in window.findChildren(QAction):
        yield from (("action", text.replace("&", "")) for text in (action.text(), action.toolTip(), action.statusTip()))
    for widget in (window, *window.findChildren(QWidget)):
        if not widget.isVisible():
            continue
        kind = f"{type(widget).__name__} {widget.objectName()}"
        yield from ((kind, text) for text in (widget.toolTip(), widget.statusTip(), widget.accessibleName()))
        yield from ((kind, text) for text in (widget.windowTitle(), widget.accessibleDescription()))
        yield from ((kind, text) for text in _of(widget))


def _of(widget: QWidget) -> Iterator[str]:
    match widget:
        case QLabel():
            yield widget.text()
        case QAbstractButton():
            yield widget.text().replace("&", "")
        case QLineEdit():
            yield widget.placeholderText()  # its text is a person's
        case QGroupBox():
            yield widget.title()
        case QComboBox() if not widget.isEditable():
            for row in range(min(widget.count(), _ROWS)):
                yield from (widget.itemText(row), str(widget.itemData(row, Qt.ItemDataRole.ToolTipRole) or ""))
        case QAbstractItemView() if widget.model() is not None:
            yield from _of_model(widget, widget.model())
        case QGraphicsView() if widget.scene() is not None:
            yield from _of_scene(widget)


def _of_scene(view: QGraphicsView) -> Iterator[str]:
    for item in view.scene().items():
        if isinstance(item, QGraphicsTextItem) and item.isVisible():
            yield item.toPlainText()
        elif isinstance(item, QGraphicsSimpleTextItem):
            yield item.text()


def _of_model(view: QAbstractItemView, model: QAbstractItemModel) -> Iterator[str]:
    for column in range(_across(model)):
        hidden = view.isColumnHidden(column) if isinstance(view, QTableView | QTreeView) else False
        for role in () if hidden else _ROLES:
            yield _text(model.headerData(column, Qt.Orientation.Horizontal, role))
    yield from _of_rows(model, QModelIndex())


def _of_rows(model: QAbstractItemModel, parent: QModelIndex) -> Iterator[str]:
    for row in range(min(model.rowCount(parent), _ROWS)):
        for column in range(_across(model)):
            index = model.index(row, column, parent)
            for role in _ROLES:
                yield _text(index.data(role))
        yield from _of_rows(model, model.index(row, 0, parent))


def _across(model: QAbstractItemModel) -> int:
    return 1 if isinstance(model, QAbstractListModel) else model.columnCount(QModelIndex())


def _text(value: object) -> str:
    return value if isinstance(value, str) else ""
