"""What the papers of a job say besides what was inspected: whom for, in which words, with which pictures and head."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QDragEnterEvent, QDropEvent, QIcon
from PySide6.QtWidgets import (
    QAbstractItemView,
    QCheckBox,
    QComboBox,
    QDialog,
    QDialogButtonBox,
    QFileDialog,
    QGridLayout,
    QHeaderView,
    QLabel,
    QLineEdit,
    QPlainTextEdit,
    QTableWidget,
    QTableWidgetItem,
    QWidget,
)

from valvelab.errors import BadFile, BadQuantity
from valvelab.language import marked, say
from valvelab.records.particulars import LONGEST_LINE, MOST_PHOTOGRAPHS, Particulars, stated
from valvelab.window.layouts import above
from valvelab.window.panes import button, colour_text
from valvelab.window.pictures import PICTURES, pixmap
from valvelab.window.shop_details import ShopDetails, wrong
from valvelab.workbench.defaults import card_in, defaults_in
from valvelab.workbench.paper_names import Named

LINES = {"title": marked("Job"), "job_number": marked("Job number"), "customer": marked("Customer")}
NAMES = {"part": marked("Part"), "serial": marked("Serial number")}
_OTHERS = {"remarks": marked("Remarks"), "photographs": marked("Photographs")}
_THUMB_EM = 3


class PaperDetails(QDialog):
    """Asks; `wanted(particulars)` once what was stated can be used. `place`: the folder of the settings.

    named: what the readings in front say of their part, which counts; what they leave out is stated here.
    """

    wanted = Signal(object)

    def __init__(
        self, known: Particulars, place: Path, start: str, parent: QWidget, named: Named | None = None
    ) -> None:
        super().__init__(parent)
        self.setWindowTitle(say("Certificate details"))
        self._place, self._start, self._known, self._named = place, start, known, named
        self.names = {name: self._name(name) for name in (NAMES if named is not None else ())}
        self.lines = {name: QLineEdit(getattr(known, name) or "", self) for name in LINES}
        self.remarks = QPlainTextEdit(known.remarks or "", self)
        self.remarks.setTabChangesFocus(True)
        self.photographs = self._table()
        self.head = QComboBox(self)
        self.full = QCheckBox(say("Every row and every plot, as annexes"), self)
        self.full.setChecked(known.full)
        self.sentence = QLabel(self, wordWrap=True)
        self.sentence.setAccessibleName(say("Certificate details: what is wrong"))
        self._shown_head = 0
        self.head.activated.connect(self._on_head)
        self._fill_heads("" if known.shop is None else str(known.shop))
        buttons = QDialogButtonBox(self)
        buttons.addButton(say("Keep with the job"), QDialogButtonBox.ButtonRole.AcceptRole).setDefault(True)
        buttons.addButton(QDialogButtonBox.StandardButton.Cancel)
        buttons.accepted.connect(self.accept)
        buttons.rejected.connect(self.reject)
        self._lay_out(buttons)
        self.setAcceptDrops(True)
        for one in known.photographs:
            self._add_row(one.file, one.caption or "")

    def _name(self, name: str) -> QLineEdit:
        """What the part is called: as its readings say, or to be stated."""
        assert self._named is not None
        read = getattr(self._named, name)
        field = QLineEdit(read or getattr(self._known.whose_is(self._named.use), name) or "", self)
        field.setReadOnly(bool(read))
        field.setEnabled(not read)
        field.setMaxLength(max(LONGEST_LINE, len(read)))
        field.setPlaceholderText(say("not stated by the readings"))
        told = (
            say("{file} says so; change it there") if read else say("On the papers of these readings, which say none")
        )
        field.setToolTip(told.format(file=self._named.file))
        return field

    def _sources(self) -> Iterator[tuple[str, QWidget, tuple[QWidget, ...]]]:
        """Below the names those that the readings say, where they are changed."""
        if self._named is not None and any(field.isReadOnly() for field in self.names.values()):
            told = QLabel(say("{file} says so; change it there").format(file=self._named.file), self, wordWrap=True)
            colour_text(told, "quiet")
            yield "", told, ()

    def _table(self) -> QTableWidget:
        table = QTableWidget(0, 2, self)
        table.setHorizontalHeaderLabels([say("Photograph"), say("Caption")])
        table.verticalHeader().hide()
        for column in range(2):
            table.horizontalHeader().setSectionResizeMode(column, QHeaderView.ResizeMode.Stretch)
        table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        table.setTabKeyNavigation(False)
        side = _THUMB_EM * self.fontMetrics().height()
        table.setIconSize(QSize(2 * side, side))
        return table

    def _lay_out(self, buttons: QWidget) -> None:
        grid = QGridLayout()
        grid.setColumnStretch(1, 1)
        add = button(self, "Add…", "Choose photographs (PNG, JPEG); they can be dropped here as well", self._choose)
        remove = button(self, "Remove", "Take the chosen photographs out", self.remove_chosen)
        shop = button(self, "Your shop…", "Name, address and mark that head every paper written here", self.edit_shop)
        rows: list[tuple[str, QWidget, tuple[QWidget, ...]]] = [
            *((say(NAMES[name]), field, ()) for name, field in self.names.items()),
            *self._sources(),
            *((say(LINES[name]), field, ()) for name, field in self.lines.items()),
            (say("Remarks"), self.remarks, ()),
            (say("Photographs"), self.photographs, (add, remove)),
            (say("Head of the paper"), self.head, (shop,)),
            ("", self.full, ()),
        ]
        for line, (text, field, tools) in enumerate(rows):
            label = QLabel(text, self)
            label.setBuddy(field)
            tall = isinstance(field, QPlainTextEdit | QTableWidget)
            grid.addWidget(label, line, 0, Qt.AlignmentFlag.AlignTop if tall else Qt.AlignmentFlag.AlignVCenter)
            grid.addWidget(field, line, 1)
            grid.addLayout(above(*tools, 1, spacing=4), line, 2)
            if not isinstance(field, QLabel):
                field.setAccessibleName(text or self.full.text())
        remarks = next(line for line, (_, field, _tools) in enumerate(rows) if field is self.remarks)
        grid.setRowStretch(remarks, 2)
        grid.setRowStretch(remarks + 1, 3)
        above((grid, 1), self.sentence, buttons, on=self, margins=(14, 12, 14, 12), spacing=8)
        em = self.fontMetrics().height()
        self.resize(36 * em, 30 * em)

    # -- photographs -------------------------------------------------------------------------------------------------

    def _choose(self) -> None:
        names, _ = QFileDialog.getOpenFileNames(self, say("Photographs"), self._start, say(PICTURES))
        self.add_photographs(names)

    def add_photographs(self, names: Sequence[str]) -> None:
        """Take pictures in; one that paper can't bear is said instead."""
        refused = []
        for name in names:
            if self.photographs.rowCount() >= MOST_PHOTOGRAPHS:
                many = say("{file}: at most {count} photographs")
                refused.append(many.format(file=Path(name).name, count=MOST_PHOTOGRAPHS))
                continue
            try:
                self._add_row(Path(name).absolute(), "", strict=True)
            except BadFile as error:
                refused.append(say(str(error)))
        self._say("; ".join(refused))

    def _add_row(self, path: Path, caption: str, *, strict: bool = False) -> None:
        """A row of the table; one that was kept before stays even where its file is gone. strict: BadFile instead."""
        item = QTableWidgetItem(path.name)
        item.setFlags(Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable)
        item.setData(Qt.ItemDataRole.UserRole, str(path))
        item.setToolTip(str(path))
        try:
            item.setIcon(QIcon(pixmap(path)))
        except BadFile as error:
            if strict:
                raise
            self._say(say(str(error)))
        row = self.photographs.rowCount()
        self.photographs.insertRow(row)
        self.photographs.setItem(row, 0, item)
        self.photographs.setItem(row, 1, QTableWidgetItem(caption))
        self.photographs.resizeRowToContents(row)

    def remove_chosen(self) -> None:
        """Take the chosen photographs out."""
        for row in sorted({index.row() for index in self.photographs.selectedIndexes()}, reverse=True):
            self.photographs.removeRow(row)

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:
        """Files may be dropped."""
        if event.mimeData().hasUrls():
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:
        """Dropped files are photographs."""
        self.add_photographs([url.toLocalFile() for url in event.mimeData().urls() if url.isLocalFile()])

    # -- the head of the paper ---------------------------------------------------------------------------------------

    def _fill_heads(self, chosen: str) -> None:
        """The shop that is remembered, the job's own card where it brings one, and a way to another."""
        self.head.clear()
        self.head.addItem(self._called(None), "")
        if chosen:
            self.head.addItem(self._called(Path(chosen)), chosen)
        self.head.addItem(say("Another card…"), None)
        self._shown_head = 1 if chosen else 0
        self.head.setCurrentIndex(self._shown_head)

    def _called(self, path: Path | None) -> str:
        """A card by the shop's name; without a path the one that is remembered."""
        try:
            card = card_in(path or defaults_in(self._place).shop)
        except BadFile as error:
            self._say(say(str(error)))
            return say("A card that can't be read")
        if card is None:
            return say("None: no shop is stated yet")
        told = say("{shop} (this job)") if path else say("{shop} (your shop)")
        return told.format(shop=card.name)

    def _on_head(self, number: int) -> None:
        if number < self.head.count() - 1:
            self._shown_head = number
            return
        name, _ = QFileDialog.getOpenFileName(self, say("A shop's card"), self._start, say("Shop's card (*.toml)"))
        self.head.setCurrentIndex(self._shown_head)
        if name:
            self.use_card(name)

    def use_card(self, name: str) -> None:
        """Head this job's papers by the card in a file; one that can't be read is said instead."""
        try:
            card_in(Path(name))
        except BadFile as error:
            self._say(say(str(error)))
        else:
            self._fill_heads(str(Path(name).absolute()))

    def edit_shop(self) -> None:
        """State the shop that heads every paper written here."""
        dialog = ShopDetails(self._place, self._start, self)
        dialog.kept.connect(lambda: self._fill_heads(str(self.head.currentData() or "")))
        dialog.open()

    # -- done --------------------------------------------------------------------------------------------------------

    def accept(self) -> None:
        """Take what was stated, or say what can't be used."""
        try:
            found = stated(Particulars, self._said())
        except BadQuantity as error:
            name = {**LINES, **_OTHERS}[error.field]
            self._say(wrong(say(name), error))
            field = self.lines.get(error.field)
            (self.remarks if field is None else field).setFocus()
            return
        self.wanted.emit(self._with_names(found))
        super().accept()

    def _with_names(self, found: Particulars) -> Particulars:
        """With what the part is called, where its readings don't say so themselves."""
        if self._named is None:
            return found
        before = self._known.whose_is(self._named.use)
        said = {
            name: getattr(before, name) if field.isReadOnly() else field.text() for name, field in self.names.items()
        }
        if said == {name: getattr(before, name) or "" for name in said}:
            return found
        return found.naming(self._named.use, said["part"], said["serial"])

    def _said(self) -> dict[str, object]:
        table = self.photographs
        pictures = [
            {"file": _text(table, row, 0, Qt.ItemDataRole.UserRole), "caption": _text(table, row, 1).strip() or None}
            for row in range(table.rowCount())
        ]
        texts = {name: field.text() for name, field in self.lines.items()} | {"remarks": self.remarks.toPlainText()}
        return {
            **{name: text.strip() or None for name, text in texts.items()},
            "photographs": pictures,
            "whose": self._known.whose,
            "shop": self.head.currentData() or None,
            "full": self.full.isChecked(),
        }

    def _say(self, wrong: str) -> None:
        self.sentence.setText(f"✗ {wrong}" if wrong else "")
        colour_text(self.sentence, "reject")


def _text(table: QTableWidget, row: int, column: int, role: Qt.ItemDataRole = Qt.ItemDataRole.DisplayRole) -> str:
    item = table.item(row, column)
    return "" if item is None else str(item.data(role) or "")
