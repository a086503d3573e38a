"""The guide beside the work: its pages at the left, the page at the right."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QDialog, QListWidget, QListWidgetItem, QStackedWidget, QTextBrowser, QWidget

from valvelab.inspection.characteristics import Characteristic
from valvelab.places import resources
from valvelab.window.layouts import beside
from valvelab.window.meaning_pane import MeaningPane
from valvelab.workbench import guide


class Guide(QDialog):
    """A window of its own, so that a page can stay open while its steps are done."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Guide")
        self.setWindowFlag(Qt.WindowType.WindowMaximizeButtonHint)
        self.pages = QListWidget(self)
        self.pages.setAccessibleName("Pages of the guide")
        self.text = QTextBrowser(self)
        self.text.setAccessibleName("Page of the guide")
        self.text.setSearchPaths([str(resources() / "guide")])
        self.text.document().setDocumentMargin(18)
        self.meanings = MeaningPane(self)
        self._stack = QStackedWidget(self)
        for page in (self.text, self.meanings):
            self._stack.addWidget(page)
        for name, title in guide.TITLES.items():
            item = QListWidgetItem(title, self.pages)
            item.setData(Qt.ItemDataRole.UserRole, name)
        self.pages.currentItemChanged.connect(self._show)
        beside(self.pages, (self._stack, 1), on=self)
        wide = self.fontMetrics().averageCharWidth()
        self.pages.setFixedWidth(26 * wide)
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
            self.text.setMarkdown(guide.page(name))
        self._stack.setCurrentWidget(self.meanings if name == guide.REFERENCE else self.text)
