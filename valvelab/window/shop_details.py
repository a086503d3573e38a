"""The shop's own card: name, address, phone and mark, that head every paper written here."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QPixmap
from PySide6.QtWidgets import (
    QDialog,
    QDialogButtonBox,
    QFileDialog,
    QGridLayout,
    QLabel,
    QLineEdit,
    QPlainTextEdit,
    QWidget,
)

from valvelab.errors import BadQuantity, ValvelabError
from valvelab.language import marked, say
from valvelab.records.particulars import ShopCard, stated
from valvelab.window.layouts import above
from valvelab.window.panes import button, colour_text
from valvelab.window.pictures import PICTURES, pixmap
from valvelab.workbench.defaults import card_in, defaults_in, keep_card
from valvelab.workbench.settings import SHOP_CARD, SHOP_DEFAULTS

_MARK_EM = 3
_SMOOTH = Qt.TransformationMode.SmoothTransformation
LABELS = {"name": marked("Name"), "address": marked("Address"), "phone": marked("Phone"), "mark": marked("Mark")}


def wrong(name: str, error: BadQuantity) -> str:
    """What can't be used of a field, by its name."""
    return say("{name}: found {found}, expected {expected}").format(
        name=name, found=say(error.found), expected=say(error.expected)
    )


class ShopDetails(QDialog):
    """Asks; `kept` once the card lies beside the settings. All empty: no card from then on.

    A card that the defaults file names is shown, and edited where it lies.
    """

    kept = Signal()

    def __init__(self, place: Path, start: str, parent: QWidget) -> None:
        super().__init__(parent)
        self.setWindowTitle(say("Your shop"))
        self._place, self._start = place, start
        self.sentence = QLabel(self, wordWrap=True)
        self.sentence.setAccessibleName(say("Your shop: what is wrong"))
        card, said, own = None, "", True
        try:
            path = defaults_in(place).shop
            own = path in {None, place / SHOP_CARD}
            named = say("{file} names this card, which is edited where it lies: {path}")
            said = "" if own else named.format(file=SHOP_DEFAULTS, path=path)
            card = card_in(path)
        except ValvelabError as error:
            self._say(f"✗ {error}")
        else:
            self._say(said, "quiet")
        self.lines = {name: QLineEdit((card and getattr(card, name)) or "", self) for name in ("name", "phone")}
        self.address = QPlainTextEdit((card and card.address) or "", self)
        self.address.setTabChangesFocus(True)
        self.mark = QLabel(self)
        self._mark = None if card is None else card.mark
        self._lay_out(own)
        self.use_mark(self._mark)

    def _lay_out(self, own: bool) -> None:
        intro = QLabel(
            say("Heads every paper that is written here, and is remembered for all jobs."), self, wordWrap=True
        )
        choose = button(self, "Choose…", "A small picture, PNG or JPEG", self._choose)
        remove = button(self, "Remove", "Head the papers without a mark", lambda: self.use_mark(None))
        rows: list[tuple[str, QWidget, tuple[QWidget, ...]]] = [
            ("name", self.lines["name"], ()),
            ("address", self.address, ()),
            ("phone", self.lines["phone"], ()),
            ("mark", self.mark, (choose, remove)),
        ]
        grid = QGridLayout()
        grid.setColumnStretch(1, 1)
        for line, (name, field, tools) in enumerate(rows):
            label = QLabel(say(LABELS[name]), self)
            label.setBuddy(field)
            field.setAccessibleName(label.text())
            field.setEnabled(own)
            tall = field in (self.address, self.mark)
            grid.addWidget(label, line, 0, Qt.AlignmentFlag.AlignTop if tall else Qt.AlignmentFlag.AlignVCenter)
            grid.addWidget(field, line, 1)
            grid.addLayout(above(*tools, spacing=4), line, 2)
            for tool in tools:
                tool.setEnabled(own)
        buttons = QDialogButtonBox(self)
        keep = buttons.addButton(say("Keep"), QDialogButtonBox.ButtonRole.AcceptRole)
        keep.setDefault(True)
        keep.setEnabled(own)
        buttons.addButton(QDialogButtonBox.StandardButton.Cancel)
        buttons.accepted.connect(self.accept)
        buttons.rejected.connect(self.reject)
        above(intro, (grid, 1), self.sentence, buttons, on=self, margins=(14, 12, 14, 12), spacing=8)
        em = self.fontMetrics().height()
        self.resize(28 * em, 18 * em)

    def _choose(self) -> None:
        name, _ = QFileDialog.getOpenFileName(self, say("The shop's mark"), self._start, say(PICTURES))
        if name:
            self.use_mark(Path(name).absolute())

    def use_mark(self, path: Path | None) -> None:
        """Take this picture as the mark, or none; one that paper can't bear is said instead."""
        high = _MARK_EM * self.fontMetrics().height()
        try:
            shown = QPixmap() if path is None else pixmap(path)
        except ValvelabError as error:
            self._say(f"✗ {error}")
            return
        self._mark = path
        small = shown.scaled(4 * high, high, Qt.AspectRatioMode.KeepAspectRatio, _SMOOTH) if path else shown
        self.mark.setPixmap(small)
        if path is None:
            self.mark.setText(say("none"))

    def accept(self) -> None:
        """Keep the card, or say what can't be used."""
        texts = {name: field.text() for name, field in self.lines.items()} | {"address": self.address.toPlainText()}
        said: dict[str, object] = {name: text.strip() for name, text in texts.items() if text.strip()}
        if self._mark is not None:
            said["mark"] = self._mark
        try:
            keep_card(self._place, stated(ShopCard, said) if said else None)
        except BadQuantity as error:
            self._say(f"✗ {wrong(say(LABELS[error.field]), error)}")
            return
        except ValvelabError as error:
            self._say(f"✗ {error}")
            return
        self.kept.emit()
        super().accept()

    def _say(self, text: str, colour: str = "reject") -> None:
        self.sentence.setText(text)
        colour_text(self.sentence, colour)
