"""The guide beside the work: its pages at the left, the page at the right."""

from __future__ import annotations

from typing import Any

from PySide6.QtCore import Qt, QTimer, QUrl
from PySide6.QtGui import QImage, QResizeEvent, QTextCharFormat
from PySide6.QtWidgets import QDialog, QListWidget, QListWidgetItem, QStackedWidget, QTextBrowser, QWidget

from valvelab.inspection.characteristics import Characteristic
from valvelab.language import say
from valvelab.places import resources
from valvelab.window.layouts import beside
from valvelab.window.meaning_pane import MeaningPane
from valvelab.workbench import guide

_MARGIN = 18


class Page(QTextBrowser):
    """A page in Markdown; its pictures are never wider than it is."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self._markdown = ""
        self.setAccessibleName(say("Page of the guide"))
        self.document().setDocumentMargin(_MARGIN)
        self.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOn)

    def show_page(self, name: str) -> None:
        """Show a page of the guide."""
        self._markdown = guide.page(name)
        self._write()

    def _write(self) -> None:
        self.clear()
        self.setCurrentCharFormat(QTextCharFormat())  # else words take after what stood there before
        self.setMarkdown(self._markdown)

    def loadResource(self, kind: int, name: QUrl | str) -> Any:
        """A picture, made to fit."""
        picture = QImage(str(resources() / "guide" / (name if isinstance(name, str) else name.toString())))
        if picture.isNull():
            return super().loadResource(kind, name)
        room = self.viewport().width() - 2 * _MARGIN
        smooth = Qt.TransformationMode.SmoothTransformation
        return picture.scaledToWidth(room, smooth) if picture.width() > room else picture

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Pictures follow."""
        super().resizeEvent(event)
        if "![" in self._markdown and event.size().width() != event.oldSize().width():
            QTimer.singleShot(0, self, self._write)


class Guide(QDialog):
    """A window of its own, so that a page can stay open while its steps are done."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle(say("Guide"))
        self.setWindowFlag(Qt.WindowType.WindowMaximizeButtonHint)
        self.pages = QListWidget(self)
        self.pages.setAccessibleName(say("Pages of the guide"))
        self.text = Page(self)
        self.meanings = MeaningPane(self)
        self._stack = QStackedWidget(self)
        for page in (self.text, self.meanings):
            self._stack.addWidget(page)
        for name, title in guide.TITLES.items():
            item = QListWidgetItem(say(title), self.pages)
            item.setData(Qt.ItemDataRole.UserRole, name)
        self.pages.currentItemChanged.connect(self._show)
        beside(self.pages, (self._stack, 1), on=self)
        wide = self.fontMetrics().averageCharWidth()
        self.pages.setFixedWidth(self.pages.sizeHintForColumn(0) + 4 * wide)
        self.resize(150 * wide, 36 * self.fontMetrics().height())
        self.pages.setCurrentRow(0)

    def show_page(self, name: str) -> None:
        """Bring a page to the front."""
        self.pages.setCurrentRow(list(guide.TITLES).index(name))
        self.show()
        self.raise_()

    def explain(self, characteristic: Characteristic | None) -> None:
        """The page of characteristics, at this one where it is known."""
        self.show_page(guide.REFERENCE)
        if characteristic is not None:
            self.meanings.bring(characteristic)
        self.meanings.names.setFocus()

    def restyle(self) -> None:
        """Take up the colours in force."""
        self.meanings.restyle()

    def _show(self, item: QListWidgetItem | None) -> None:
        if item is None:
            return
        name = item.data(Qt.ItemDataRole.UserRole)
        if name != guide.REFERENCE:
            self.text.show_page(name)
        self._stack.setCurrentWidget(self.meanings if name == guide.REFERENCE else self.text)
