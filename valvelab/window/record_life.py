"""What became of one part: a characteristic of an item over its records, drawn and as a table."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QComboBox, QLabel, QWidget

from valvelab.figures.history_figures import timeline_figure
from valvelab.inspection.characteristics import printed
from valvelab.language import marked, say
from valvelab.records.records_result import HistoryRow
from valvelab.tables.records import history_columns, points_of
from valvelab.units import System
from valvelab.window.chips import Heading
from valvelab.window.drawing import FigureView
from valvelab.window.layouts import beside, stacked
from valvelab.window.panes import labelled, offer, splitter
from valvelab.window.tables import TableView, of
from valvelab.workbench.records import Life

NOTHING = marked("Choose a record: what became of its part stands here, from record to record.")
_NO_SERIAL = marked("This record bears no serial number, so it is not known which others are of the same part.")
_NOT_FOLLOWED = marked("Nothing that is followed was measured of this part.")
_ROOM = (8, 4, 8, 4)


class LifePane(QWidget):
    """The chosen characteristic of the chosen item, its values with ± 2 u and the limits they were held to."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self._life: Life | None = None
        self._units: System = "metric"
        self.head = Heading("", 1.05, self)
        self.head.setTextFormat(Qt.TextFormat.PlainText)
        self.told = QLabel(say(NOTHING), self, wordWrap=True)
        self.told.setTextFormat(Qt.TextFormat.PlainText)
        self.told.setContentsMargins(*_ROOM)
        self.told.setAlignment(Qt.AlignmentFlag.AlignTop)
        self.what, self.item = QComboBox(self), QComboBox(self)
        for box, name in ((self.what, say("Characteristic")), (self.item, say("Item"))):
            box.setAccessibleName(name)
            box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToContents)
        self.what.activated.connect(lambda _index: self._on_what())
        self.item.activated.connect(lambda _index: self._draw())
        self.plot = FigureView("Over its records", self)
        self.sheet = TableView("values over its records", (), self, sortable=False, spoken="Values over its records")
        self._choice = labelled(self, "of", self.item)
        head = beside(self.head, 1, self.what, self._choice, margins=_ROOM, spacing=6)
        self._room = splitter(self, Qt.Orientation.Horizontal, (self.plot, 3), (self.sheet, 2), sizes=(560, 440))
        stacked(self, head, self.told, (self._room, 1))
        self._say(say(NOTHING))

    def wait(self, text: str) -> None:
        """Say what is awaited."""
        self._life = None
        self._say(text)

    def show_life(self, life: Life, units: System) -> None:
        """Show the lives of a part, first what says most of them."""
        self._life, self._units = life, units
        record = life.of
        self.head.setText(" ".join(filter(None, (record.part, record.serial))))
        first = life.first
        if first is None:
            self._say(say(_NOT_FOLLOWED if record.serial is not None else _NO_SERIAL))
            return
        warnings = [note for note in life.notes if note.level == "warning"]
        self._say("  ".join(dict.fromkeys(f"▲ {note.text}" for note in warnings)))
        self.told.setToolTip("\n".join(f"{note.about}: {note.text}" for note in warnings))
        names = dict.fromkeys((row.characteristic, row.unit) for row in life.rows)
        offer(self.what, [(printed(*name), name[0]) for name in names], first.characteristic)
        self._offer_items(first.item)
        self._draw()

    def restyle(self, units: System) -> None:
        """Take up the colours and the units in force."""
        self._units = units
        if self.item.count() and self._life is not None:
            self._draw()

    def _alike(self) -> list[HistoryRow]:
        """The rows of the characteristic in front."""
        rows = () if self._life is None else self._life.rows
        return [row for row in rows if row.characteristic == self.what.currentData()]

    def _on_what(self) -> None:
        self._offer_items(self.item.currentData())
        self._draw()

    def _offer_items(self, item: str) -> None:
        items = [row.item for row in self._alike()]
        offer(self.item, [(name, name) for name in items], item if item in items else items[0])

    def _draw(self) -> None:
        alike, item = self._alike(), self.item.currentData()
        pairs = points_of([row for row in alike if row.item == item])
        columns = [of(column, self._units, pairs) for column in history_columns(pairs, self._units)]
        filled = [column for column in columns[1:] if any(column.text(pair) for pair in pairs)]
        self.sheet.show_rows(pairs, filled)
        figure = timeline_figure(alike, item)
        self.plot.setVisible(figure is not None)
        if figure is not None:
            self.plot.show_figure(figure, self._units)

    def _say(self, text: str) -> None:
        """A sentence above the drawing, or in place of it where there is no life to draw."""
        drawn = self._life is not None and bool(self._life.rows)
        self.told.setText(text)
        self.told.setVisible(bool(text))
        for widget in (self._room, self.what, self._choice):
            widget.setVisible(drawn)
        if self._life is None:
            self.head.setText("")
        if not drawn:
            offer(self.item, [], None)
