"""The records: found by what is known of them, a part's lives drawn, put on the bench again, compared, kept."""

from __future__ import annotations

from dataclasses import replace
from typing import Any
from urllib.parse import urlsplit

from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QAbstractItemView, QComboBox, QLabel, QLineEdit, QWidget

from valvelab.language import marked, say, say_many
from valvelab.quantities import iso_date
from valvelab.records.stored import StoredRecord, short
from valvelab.tables.records import RECORDS
from valvelab.tables.verdicts import RANKED, WORDS
from valvelab.window.bench import Bench
from valvelab.window.fields import TypedField
from valvelab.window.layouts import above, beside
from valvelab.window.panes import button, colour_text, labelled, offer, splitter, titled
from valvelab.window.record_life import NOTHING, LifePane
from valvelab.window.records_keep import KeepStrip
from valvelab.window.tables import TableView, of
from valvelab.workbench import records
from valvelab.workbench.document import Document
from valvelab.workbench.records import ASKED, Life, Listed

_PAUSE_MS = 250
"""A pause in typing after which records are looked for."""
_NONE_YET = marked(
    "Nothing is kept yet. “Keep in the records” (Ctrl+K) inspects the open job and keeps what was found."
)
_NONE_FOUND = marked("No record is like that.")


class RecordsWindow(QWidget):
    """A window of its own beside the main one; `opened` when records were put on the bench."""

    opened = Signal()

    def __init__(self, bench: Bench, parent: QWidget) -> None:
        super().__init__(parent, Qt.WindowType.Window)
        self.setObjectName("records")
        self.setWindowTitle(say("Records · valvelab"))
        self._bench = bench
        self._place = bench.settings.store
        self._asked = 0
        """How often records were looked for: an answer to an earlier question is dropped."""
        self._life: Life | None = None
        self._colour = "quiet"
        self._pause = QTimer(self, singleShot=True, interval=_PAUSE_MS)
        self._pause.timeout.connect(self.look)
        self._make_fields()
        self.sheet = TableView(
            "records", [of(column, "metric") for column in RECORDS], self, sortable=False, empty=_NONE_YET
        )
        self.sheet.setSelectionMode(QAbstractItemView.SelectionMode.ExtendedSelection)
        self.sheet.selectionModel().selectionChanged.connect(lambda _on, _off: self._on_selected())
        self.sheet.activated.connect(lambda _index: self.reopen())
        self.life = LifePane(self)
        self.status = QLabel(self)
        self.status.setTextFormat(Qt.TextFormat.PlainText)
        self.status.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.more = button(self, "&More", "List the next records too", self._find_more)
        self.open_button = button(
            self, "&Open in the job", "Put the files of the chosen record on the bench", self.reopen
        )
        self.compare_button = button(
            self, "&Compare the two", "Compare two chosen records, the earlier first", self.compare
        )
        self.keep = KeepStrip(bench, self.place, self)
        self.keep.kept.connect(self._on_kept)
        self.keep.refused.connect(self._refuse)
        listed = titled(self, "Records", self.sheet, self.compare_button, self.open_button)
        foot = beside((self.status, 1), self.more, margins=(8, 4, 8, 4))
        room = splitter(self, Qt.Orientation.Vertical, (listed, 2), (self.life, 3), sizes=(400, 600))
        above(self.keep, self._fields(), (room, 1), foot, on=self, spacing=0)
        self.resize(parent.size())
        bench.document_changed.connect(self._on_document)
        self._show(None)

    def _make_fields(self) -> None:
        self.texts = {name: QLineEdit(self, clearButtonEnabled=True) for name in ASKED}
        for name, field in self.texts.items():
            field.setAccessibleName(say("Find by {name}").format(name=say(name)))
            field.setPlaceholderText(say("{name} begins with").format(name=say(name)))
            field.textChanged.connect(lambda _text: self._pause.start())
        self.days = {
            name: TypedField(
                say("Measured {name}").format(name=say(name)),
                say("Only measured {words}: YYYY-MM-DD").format(words=words),
                _day,
                self,
            )
            for name, words in (("since", say("on this day or later")), ("until", say("on this day or earlier")))
        }
        for field in self.days.values():
            field.setPlaceholderText(say("YYYY-MM-DD"))
            field.setMaximumWidth(8 * self.fontMetrics().height())
            field.entered.connect(lambda _day: self.look())
            field.refused.connect(self._refuse)
        self.verdict = QComboBox(self)
        self.verdict.setAccessibleName(say("Find by verdict"))
        offer(self.verdict, [(say("any verdict"), None), *((say(WORDS[one]), one) for one in RANKED)], None)
        self.verdict.activated.connect(lambda _index: self.look())
        self.store = TypedField(
            say("Store"), say("Where records are kept: a file, or a database's address"), str.strip, self
        )
        self.store.setText(self._place)
        self.store.setPlaceholderText(say("your own store"))
        self.store.entered.connect(self._on_store)

    def _fields(self) -> QWidget:
        since, until = (labelled(self, name, field) for name, field in self.days.items())
        texts = [(field, 2) for field in self.texts.values()]
        box = QWidget(self)
        beside(*texts, since, until, self.verdict, (labelled(self, "in", self.store), 3), on=box, margins=(8, 6, 8, 2))
        return box

    def place(self) -> str:
        """Where records are looked for and kept; "" for the user's own place."""
        return self._place

    def asked(self) -> dict[str, Any]:
        """What is asked for: fields of a filter."""
        stated: dict[str, Any] = {name: field.text().strip() for name, field in self.texts.items()}
        stated |= {name: field.text().strip() for name, field in self.days.items()}
        stated["decision"] = self.verdict.currentData()
        return {name: value for name, value in stated.items() if value}

    def chosen(self) -> list[StoredRecord]:
        """The chosen records, the first measured first."""
        rows = [self.sheet.row_of(index) for index in self.sheet.selectionModel().selectedRows()]
        return sorted(rows, key=lambda row: (row.date, row.recorded))

    def bring(self) -> None:
        """Come to the front; records are looked for where that was not done yet."""
        self.show()
        self.raise_()
        self.activateWindow()
        if not self._asked:
            self.look()

    # -- found -------------------------------------------------------------------------------------------------------

    def look(self) -> None:
        """Look for records as the fields say."""
        self._look(0)

    def _on_kept(self) -> None:
        if self._asked:
            self.look()

    def _find_more(self) -> None:
        self._look(len(self.sheet.rows_model.rows))

    def _look(self, offset: int) -> None:
        self._pause.stop()
        if not all(field.take() for field in self.days.values()):
            return
        self._asked += 1
        question, place, asked = self._asked, self._place, self.asked()

        def work() -> Listed | None:
            return None if question != self._asked else records.listed(place, asked, offset)

        def take(found: Listed | None) -> None:
            if found is not None and question == self._asked:
                self._take(found, offset)

        self._say(say("Looking…"))
        self._bench.ask_records(say("Looking for records"), work, take, self._refuse)

    def _take(self, found: Listed, offset: int) -> None:
        rows = [*self.sheet.rows_model.rows[:offset], *found.records]
        self.sheet.empty_text = _NONE_FOUND if found.store and self.asked() else _NONE_YET
        self.sheet.show_rows(rows)
        self.more.setVisible(found.more)
        first = say("the first ") * found.more
        self._say(_found_told(first, len(rows), found.store) if found.store else "")
        self._on_selected()

    def _refuse(self, sentence: str) -> None:
        self._say(sentence, "reject")

    def _say(self, text: str, colour: str = "quiet") -> None:
        self.status.setText(text)
        self.status.setToolTip(text)
        self._colour = colour
        colour_text(self.status, colour)

    def _on_store(self, place: str) -> None:
        """Another store; it is remembered unless a password stands in it."""
        self._place = place
        remembered = "" if _has_password(place) else place
        self._bench.keep_settings(replace(self._bench.settings, store=remembered))
        self.sheet.show_rows([])
        self.look()

    # -- chosen ------------------------------------------------------------------------------------------------------

    def _on_selected(self) -> None:
        chosen = self.chosen()
        self.open_button.setEnabled(len(chosen) == 1)
        self.compare_button.setEnabled(records.comparable(chosen))
        self._show(chosen[-1] if chosen else None)

    def _show(self, record: StoredRecord | None) -> None:
        """The lives of a record's part, looked for where they are not in front."""
        if record is None:
            self._life = None
            self.life.wait(say(NOTHING))
            return
        life = self._life
        if life is not None and record.id in {life.of.id, *(one.id for one in life.records)}:
            return
        self._life = None
        self.life.wait(say("Reading its records…"))
        place = self._place

        def wanted() -> bool:
            return any(one.id == record.id for one in self.chosen()[-1:])

        def take(found: Life) -> None:
            if wanted():
                self._life = found
                self.life.show_life(found, self._bench.document.units)

        self._bench.ask_records(say("Reading records"), lambda: records.life_of(place, record), take, self.life.wait)

    def reopen(self) -> None:
        """Put the files of the chosen record on the bench."""
        if len(chosen := self.chosen()) == 1:
            self._put(chosen, say("open record {short}").format(short=short(chosen[0].id)))

    def compare(self) -> None:
        """Put the files of two records on the bench, to be compared."""
        if self.compare_button.isEnabled():
            chosen = self.chosen()
            self._put(
                chosen,
                say("compare records {names}").format(names=" and ".join(short(record.id) for record in chosen)),
            )

    def _put(self, chosen: list[StoredRecord], label: str) -> None:
        place, folder = self._place, self._bench.place

        def take(found: Document) -> None:
            self._bench.put_beside(found, label)
            self.hide()
            self.opened.emit()

        self._bench.ask_records(
            say("Opening records"), lambda: records.reopened(place, chosen, folder), take, self._refuse
        )

    def _on_document(self, old: Document, new: Document) -> None:
        if old.units != new.units:
            self.life.restyle(new.units)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Esc puts the window away."""
        if event.key() == Qt.Key.Key_Escape:
            self.hide()
        else:
            super().keyPressEvent(event)

    def restyle(self) -> None:
        """Take up the scheme in force."""
        colour_text(self.status, self._colour)
        self.life.restyle(self._bench.document.units)


def _day(text: str) -> str:
    """A date as it was typed, or none."""
    return iso_date(text.strip()) if text.strip() else ""


def _has_password(place: str) -> bool:
    try:
        return urlsplit(place).password is not None
    except ValueError:  # no URL: whoever opens the store says so
        return False


def _found_told(first: str, count: int, store: str) -> str:
    records = say_many("{count} record", "{count} records", count)
    return say("{first}{records} in {store}").format(first=first, records=records, store=store)
