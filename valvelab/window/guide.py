"""The guide beside the work: its pages at the left, the page at the right."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QDialog, QListWidget, QListWidgetItem, QTextBrowser, QWidget

from valvelab.language import say
from valvelab.places import resources
from valvelab.window.layouts import beside
from valvelab.workbench import guide


class Guide(QDialog):
    """A window of its own, so that a page can stay open while its steps are done."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle(say("Guide"))
        self.setWindowFlag(Qt.WindowType.WindowMaximizeButtonHint)
        self.pages = QListWidget(self)
        self.pages.setAccessibleName(say("Pages of the guide"))
        self.text = QTextBrowser(self)
        self.text.setAccessibleName(say("Page of the guide"))
        self.text.setSearchPaths([str(resources() / "guide")])
        self.text.document().setDocumentMargin(18)
        for name, title in guide.TITLES.items():
            item = QListWidgetItem(title, self.pages)
            item.setData(Qt.ItemDataRole.UserRole, name)
        self.pages.currentItemChanged.connect(self._show)
        beside(self.pages, (self.text, 1), on=self)
        wide = self.fontMetrics().averageCharWidth()
        self.pages.setFixedWidth(26 * wide)
        self.resize(120 * wide, 36 * self.fontMetrics().height())
        self.pages.setCurrentRow(0)

    def show_page(self, name: str) -> None:
        """Bring a page to the front."""
        self.pages.setCurrentRow(list(guide.TITLES).index(name))
        self.show()
        self.raise_()

    def _show(self, item: QListWidgetItem | None) -> None:
        if item is not None:
            self.text.setMarkdown(guide.page(item.data(Qt.ItemDataRole.UserRole)))
