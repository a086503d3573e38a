"""What all tables that are typed into have in common: where Tab leads, what Delete does, lines that complete words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from PySide6.QtCore import QEvent, QModelIndex, QObject, Qt
from PySide6.QtGui import QFocusEvent, QKeyEvent, QKeySequence, QStandardItem, QStandardItemModel
from PySide6.QtWidgets import (
    QAbstractItemDelegate,
    QAbstractItemView,
    QCompleter,
    QLineEdit,
    QStyledItemDelegate,
    QTableView,
    QWidget,
)

from valvelab.window.named_table import Index, NamedTable

Offer = tuple[str, str, str]
"""A text that completes a cell, how it is listed, and what it means."""
_KEY, _SOUGHT, _MEANING = (Qt.ItemDataRole.UserRole + number for number in range(1, 4))
_TABS = {Qt.Key.Key_Tab: True, Qt.Key.Key_Backtab: False}
_ENTERS = {Qt.Key.Key_Return, Qt.Key.Key_Enter}
_MOST_OFFERS = 12


def onward(event: QKeyEvent) -> bool | None:
    """Whether a key leads to the next cell (True) or to the one before (False); None for other keys."""
    leads = _TABS.get(Qt.Key(event.key()))
    return False if leads and event.modifiers() & Qt.KeyboardModifier.ShiftModifier else leads


class TypedTable(NamedTable):
    """A table that is typed into: Tab goes from cell to cell and leaves at the end, Ctrl+Tab leaves at once.

    Delete and Backspace empty what is selected.
    """

    def __init__(self, parent: QWidget, named: int = 0) -> None:
        super().__init__(parent, named)
        self.setTabKeyNavigation(False)
        triggers = QTableView.EditTrigger
        self.setEditTriggers(triggers.DoubleClicked | triggers.AnyKeyPressed | triggers.EditKeyPressed)

    def beyond(self, on: bool) -> Index:
        """The cell that comes after the one in front, or before it; none at the end."""
        raise NotImplementedError

    def go(self, on: bool, *, typing: bool = False) -> bool:
        """Go to the next cell, or the one before, to type there; False at the end, where nothing moves."""
        there = self.beyond(on)
        if not there.isValid():
            return False
        self.setCurrentIndex(there)
        if typing:
            self.edit(there)
        return True

    def go_or_leave(self, event: QKeyEvent, *, typing: bool = False) -> None:
        """Go where Tab leads from a cell."""
        on = bool(onward(event))
        if event.modifiers() & Qt.KeyboardModifier.ControlModifier or not self.go(on, typing=typing):
            self.setFocus(Qt.FocusReason.TabFocusReason)
            super().focusNextPrevChild(on)

    def focusNextPrevChild(self, on: bool) -> bool:
        """Tab on a cell goes to the next one."""
        return (self.hasFocus() and self.go(on)) or super().focusNextPrevChild(on)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Ctrl+Tab leaves; Delete empties."""
        if onward(event) is not None:
            self.go_or_leave(event)
        elif event.key() in {Qt.Key.Key_Delete, Qt.Key.Key_Backspace}:
            self.empty_chosen()
        else:
            super().keyPressEvent(event)

    def empty_chosen(self) -> None:
        """Empty what is selected."""
        raise NotImplementedError

    def take_back(self) -> bool:
        """Take back what was typed in the row in front and is no edit yet; whether there was something."""
        return False

    @property
    def can_take_back(self) -> bool:
        """Whether something was typed in the row in front that is no edit yet."""
        return False


class CellKeys(QStyledItemDelegate):
    """Lines that cells are typed in: a key that ends the typing takes what stands there and goes on."""

    def __init__(self, table: TypedTable) -> None:
        super().__init__(table)
        self._table = table

    def eventFilter(self, editor: QObject, event: QEvent) -> bool:
        """Tab and Enter take; Ctrl+Z goes to the bench where nothing is typed in the line."""
        if isinstance(editor, QLineEdit) and isinstance(event, QKeyEvent):
            if event.matches(QKeySequence.StandardKey.Undo) and not editor.isUndoAvailable():
                return self._undo(editor, event)
            if event.type() == QEvent.Type.KeyPress and self.ends(event):
                self.take(editor)
                self.after(event)
                event.accept()
                return True
        return super().eventFilter(editor, event)

    def _undo(self, editor: QLineEdit, event: QKeyEvent) -> bool:
        if not self._table.can_take_back:
            return event.type() == QEvent.Type.ShortcutOverride
        event.accept()
        if event.type() == QEvent.Type.KeyPress:
            self.closeEditor.emit(editor, QAbstractItemDelegate.EndEditHint.RevertModelCache)
            self._table.take_back()
        return True

    def ends(self, event: QKeyEvent) -> bool:
        """Whether a key ends the typing of a cell."""
        return event.key() in _ENTERS or onward(event) is not None

    def take(self, editor: QLineEdit) -> None:
        """Take what stands in a line and close it."""
        if isinstance(editor, CompletedLine):
            editor.complete()
        self.commitData.emit(editor)
        self.closeEditor.emit(editor, QAbstractItemDelegate.EndEditHint.NoHint)

    def after(self, event: QKeyEvent) -> None:
        """Go where a key that ended the typing leads."""
        if onward(event) is not None:
            self._table.go_or_leave(event, typing=True)


class _Completer(QCompleter):
    """Lists words by their plain names; what is typed is sought in both, and the word itself is taken."""

    def pathFromIndex(self, index: Index) -> str:
        """The word of a row of the list."""
        return str(index.data(_KEY) or "")


class CompletedLine(QLineEdit):
    """A line that offers the words it knows as soon as it is typed into."""

    def __init__(self, parent: QWidget, keys: CellKeys, offers: Sequence[Offer]) -> None:
        super().__init__(parent, frame=False)
        self._keys = keys
        self._words = [word for word, _, _ in offers]
        names = QStandardItemModel(self)
        for word, listed, meaning in offers:
            item = QStandardItem(listed)
            item.setToolTip(meaning)
            for role, text in ((_KEY, word), (_SOUGHT, f"{word} {listed}"), (_MEANING, meaning)):
                item.setData(text, role)
            names.appendRow(item)
        self.list = _Completer(names, self)
        self.list.setCompletionRole(_SOUGHT)
        self.list.setFilterMode(Qt.MatchFlag.MatchContains)
        self.list.setCaseSensitivity(Qt.CaseSensitivity.CaseInsensitive)
        self.list.setMaxVisibleItems(_MOST_OFFERS)
        # Qt puts the marked word in by program, after which it would no longer count as typed
        self.list.highlighted.connect(lambda _text: self.setModified(True))
        self.setCompleter(self.list)

    def meaning(self, word: str) -> str:
        """What a word means; "" for another."""
        model = self.list.model()
        rows = (model.index(number, 0) for number in range(model.rowCount()))
        return next((str(row.data(_MEANING)) for row in rows if row.data(_KEY) == word), "")

    def _popup(self) -> QAbstractItemView:
        popup = self.list.popup()
        assert popup is not None
        return popup

    def offer_all(self) -> None:
        """List every word, before a letter is typed."""
        popup = self._popup()
        self.list.setCompletionPrefix("")
        popup.setMinimumWidth(popup.sizeHintForColumn(0) + 2 * self.fontMetrics().height())
        self.list.complete()

    def complete(self) -> None:
        """Take the word that is marked in the list, or the only one that what was typed can mean."""
        popup, typed = self._popup(), self.text().strip()
        marked = popup.currentIndex() if popup.isVisible() else QModelIndex()
        popup.hide()
        if not self.isModified() or not typed or typed in self._words:
            return
        self.list.setCompletionPrefix(typed)
        if marked.isValid():
            self._put(self.list.pathFromIndex(marked))
        elif self.list.completionCount() == 1:
            self._put(self.list.currentCompletion())

    def _put(self, word: str) -> None:
        self.setText(word)
        self.setModified(True)

    def focusInEvent(self, event: QFocusEvent) -> None:
        """The words are listed at once."""
        super().focusInEvent(event)
        if event.reason() not in {Qt.FocusReason.PopupFocusReason, Qt.FocusReason.ActiveWindowFocusReason}:
            self.offer_all()

    def event(self, event: Any) -> bool:
        """Keys that end the typing come here past the list, which would pass them to the window."""
        if event.type() == QEvent.Type.KeyPress and self._keys.ends(event):
            return self._keys.eventFilter(self, event)
        return super().event(event)
