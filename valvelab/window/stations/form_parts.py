"""What the views of shaft form, texture and gauge studies share: titled panes, headlines, columns of figures."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QHBoxLayout, QLabel, QSplitter, QVBoxLayout, QWidget

from valvelab.records.result import Decision
from valvelab.tables.verdicts import WORDS, rank
from valvelab.window.chips import Heading
from valvelab.window.tables import TableColumn


def titled(parent: QWidget, title: str | QLabel, content: QWidget, *tools: QWidget) -> QWidget:
    """A pane: its heading and tools in one line, its content below."""
    box = QWidget(parent)
    label = Heading(title, 1.05, box) if isinstance(title, str) else title
    head = QHBoxLayout()
    head.setContentsMargins(8, 4, 6, 4)
    head.setSpacing(6)
    head.addWidget(label)
    head.addStretch(1)
    for tool in tools:
        head.addWidget(tool)
    layout = QVBoxLayout(box)
    layout.setContentsMargins(0, 0, 0, 0)
    layout.setSpacing(0)
    layout.addLayout(head)
    layout.addWidget(content, 1)
    return box


def splitter(parent: QWidget, orientation: Qt.Orientation, *panes: tuple[QWidget, int]) -> QSplitter:
    """Panes beside or above one another with their shares of the room."""
    made = QSplitter(orientation, parent)
    made.setHandleWidth(5)
    for pane, share in panes:
        made.addWidget(pane)
        made.setStretchFactor(made.count() - 1, share)
    made.setSizes([60 * share for _, share in panes])
    return made


def labelled(parent: QWidget, text: str, field: QWidget) -> QWidget:
    """A field with its name in front."""
    box = QWidget(parent)
    layout = QHBoxLayout(box)
    layout.setContentsMargins(0, 0, 0, 0)
    layout.setSpacing(4)
    label = QLabel(text, box)
    label.setBuddy(field)
    layout.addWidget(label)
    layout.addWidget(field)
    return box


def verdict_column(decision: Callable[[Any], Decision | None]) -> TableColumn:
    """Shape and word of a verdict, or nothing."""

    def icon(row: Any) -> tuple[str, str] | None:
        found = decision(row)
        return None if found is None else (found, found)

    return TableColumn(
        "verdict", lambda row: _word(decision(row)), "Against the spec on the bench", number=False,
        value=lambda row: rank(decision(row)), colour=decision, icon=icon,
    )  # fmt: skip


def _word(decision: Decision | None) -> str:
    return "" if decision is None else WORDS[decision]
