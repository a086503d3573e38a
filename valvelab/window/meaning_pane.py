"""What each characteristic means: a list with a filter, and the one chosen with picture, method and source."""

from __future__ import annotations

from html import escape
from itertools import groupby

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QLabel, QLineEdit, QListWidget, QListWidgetItem, QWidget

from valvelab.figures.meaning_figures import meaning_figure
from valvelab.inspection.characteristics import Characteristic, all_characteristics
from valvelab.language import say
from valvelab.window.chips import Heading
from valvelab.window.drawing import FigureView
from valvelab.window.layouts import above, beside
from valvelab.window.theme import current_theme, scaled
from valvelab.workbench.guide import told_of

_ROW = Qt.ItemDataRole.UserRole
_PICTURE_EMS = (34, 15)


class _Words(QLineEdit):
    """A filter from which the arrow keys go on to the list."""

    def __init__(self, names: QListWidget, parent: QWidget) -> None:
        super().__init__(parent, placeholderText=say("Filter the characteristics"), clearButtonEnabled=True)
        self.setAccessibleName(say("Filter the characteristics"))
        self._names = names

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Up and down choose in the list."""
        if event.key() in {Qt.Key.Key_Down, Qt.Key.Key_Up}:
            self._names.setFocus()
            self._names.keyPressEvent(event)
        else:
            super().keyPressEvent(event)


class MeaningPane(QWidget):
    """The reference: `bring(characteristic)` opens it at one."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.names = QListWidget(self)
        self.names.setAccessibleName(say("Characteristics"))
        self.names.setTextElideMode(Qt.TextElideMode.ElideNone)
        self.words = _Words(self.names, self)
        self.head = Heading("", 1.4, self)
        self.meaning = QLabel(self, wordWrap=True)
        self.picture = FigureView("What is measured", self)
        wide, high = (ems * self.fontMetrics().height() for ems in _PICTURE_EMS)
        self.picture.setMaximumWidth(wide)
        self.picture.setFixedHeight(high)
        self.invented = QLabel(self)
        self.found = QLabel(self, wordWrap=True, textFormat=Qt.TextFormat.RichText)
        for label in (self.meaning, self.found):
            label.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self._fill()
        self.names.currentItemChanged.connect(self._show)
        self.words.textChanged.connect(self._filter)
        chosen = above(
            self.head, self.meaning, self.picture, self.invented, self.found, 1, margins=(18, 12, 18, 12), spacing=8
        )
        beside(above(self.words, (self.names, 1), spacing=4), (chosen, 1), on=self)
        self.names.setFixedWidth(self.names.sizeHintForColumn(0) + 2 * self.fontMetrics().height())
        self.words.setFixedWidth(self.names.width())
        self.names.setCurrentRow(1)

    def chosen(self) -> Characteristic:
        """The characteristic in front."""
        found = self.names.currentItem().data(_ROW)
        assert isinstance(found, Characteristic)
        return found

    def bring(self, characteristic: Characteristic) -> None:
        """Bring a characteristic to the front, whatever the filter."""
        self.words.clear()
        for row in range(self.names.count()):
            found = self.names.item(row).data(_ROW)
            if found is not None and (found.subject, found.name) == (characteristic.subject, characteristic.name):
                self.names.setCurrentRow(row)
                self.names.scrollToItem(self.names.item(row), QListWidget.ScrollHint.PositionAtCenter)

    def restyle(self) -> None:
        """Draw again in the colours in force."""
        self._show(self.names.currentItem())

    def _fill(self) -> None:
        for subject, rows in groupby(all_characteristics(), lambda row: row.subject):
            heading = QListWidgetItem(say(subject.capitalize()), self.names)
            heading.setFlags(Qt.ItemFlag.NoItemFlags)
            heading.setFont(scaled(self.font(), 1.0, strong=True))
            for row in rows:
                item = QListWidgetItem(f"  {say(row.head)}", self.names)
                item.setData(_ROW, row)

    def _filter(self, text: str) -> None:
        """Show those in whose names, meaning, method and subject all words stand, under the headings that have any."""
        wanted, heading, first = text.casefold().split(), None, None
        for number in range(self.names.count()):
            item = self.names.item(number)
            row = item.data(_ROW)
            if row is None:
                heading = item
                heading.setHidden(True)
                continue
            texts = (row.head, row.name, row.meaning, row.method, row.subject.capitalize())
            said = " ".join(word for text in texts for word in {text, say(text)}).casefold()
            shown = all(word in said for word in wanted)
            item.setHidden(not shown)
            if shown and heading is not None:
                heading.setHidden(False)
                first = first or item
        if first is not None and self.names.currentItem().isHidden():
            self.names.setCurrentItem(first)

    def _show(self, item: QListWidgetItem | None) -> None:
        row = None if item is None else item.data(_ROW)
        if row is None:
            return
        quiet = current_theme().colours["quiet"]
        self.head.setText(say(row.head) + (f", {row.unit}" if row.unit else ""))
        meaning = say(row.meaning)
        self.meaning.setText(f"{meaning[:1].upper()}{meaning[1:]}.{told_of(row)}")
        figure = meaning_figure(row.subject, row.name)
        for widget in (self.picture, self.invented):
            widget.setVisible(figure is not None)
        if figure is not None:
            self.picture.show_figure(figure)
            self.picture.setAccessibleDescription(say("Drawn: {meaning}").format(meaning=meaning))
            invented = say("Drawn of invented shapes, to no scale.")
            self.invented.setText(f'<span style="color:{quiet}">{escape(invented)}</span>')
        parts = (
            (say("Method"), f"{say(row.method)}."),
            (say("Source"), f"{say(row.source)}."),
            (say("In a spec"), f'of = "{row.name}"'),
        )
        self.found.setText(
            "".join(f'<p><span style="color:{quiet}">{name}</span><br/>{escape(said)}</p>' for name, said in parts)
        )
