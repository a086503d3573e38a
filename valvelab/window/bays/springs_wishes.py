"""Lines of the sets pane where a person says why, names springs, lists what was decided, and states places."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import (
    QGridLayout,
    QLabel,
    QLineEdit,
    QListWidget,
    QListWidgetItem,
    QPushButton,
    QSizePolicy,
    QWidget,
)

from valvelab.errors import BadQuantity
from valvelab.language import marked, say
from valvelab.sets.tray import LARGEST_SET, SMALLEST_SET
from valvelab.units import System
from valvelab.window.fields import TypedField, typed_quantity
from valvelab.window.layouts import above, beside
from valvelab.window.numbers import display_unit, show
from valvelab.window.panes import button, colour_text, show_number
from valvelab.window.theme import CountField
from valvelab.workbench.set_wishes import MOST_PLACES, Place, Told, Wishes, told

INTAKE_AND_EXHAUST = ("intake", "exhaust")


class AskLine(QWidget):
    """One line that asks for a text: Enter takes it, Escape leaves it; hidden while nothing is asked."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.question = QLabel(self, wordWrap=True, textFormat=Qt.TextFormat.PlainText)
        self.question.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Minimum)
        self.field = QLineEdit(self)
        self.field.setAccessibleName(say("Answer"))
        self.field.returnPressed.connect(self.take)
        self.wrong = QLabel(self, wordWrap=True, textFormat=Qt.TextFormat.PlainText)
        self.wrong.setAccessibleName(say("What is wrong with the answer"))
        self.wrong.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Minimum)
        self.take_button = button(self, "Take", "Take the answer (Enter)", self.take)
        self.leave_button = button(self, "Leave", "Leave everything as it is (Escape)", self.hide)
        line = beside((self.field, 1), self.take_button, self.leave_button, spacing=4)
        above(self.question, line, self.wrong, on=self, margins=(8, 4, 6, 4), spacing=3)
        self._answer: Callable[[str], str] = lambda _text: ""
        self.hide()

    def ask(self, question: str, answer: Callable[[str], str], proposed: str = "") -> None:
        """Ask; `answer` takes the text and gives the sentence that refuses it, or nothing."""
        self._answer = answer
        self.question.setText(question)
        self.field.setAccessibleName(question)
        self.field.setText(proposed)
        self._say("")
        self.show()
        self.field.setFocus()
        self.field.selectAll()

    def take(self) -> None:
        """Take the text; what is refused stays with its sentence."""
        wrong = self._answer(self.field.text().strip())
        self._say(wrong)
        if not wrong:
            self.hide()

    def _say(self, wrong: str) -> None:
        colour_text(self.wrong, "reject")
        self.wrong.setText(wrong)
        self.wrong.setVisible(bool(wrong))

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Escape leaves everything as it is."""
        if event.key() == Qt.Key.Key_Escape:
            self.hide()
        else:
            super().keyPressEvent(event)


class WishList(QListWidget):
    """What was decided of the tray, one a row; `undone(told)` when one is taken back by double click or Delete."""

    undone = Signal(object)

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.setAccessibleName(say("What was decided of the tray"))
        self.setToolTip(say("Double click, or press Delete, to take one back"))
        self.setFrameShape(QListWidget.Shape.NoFrame)
        self.setWordWrap(True)
        self.itemDoubleClicked.connect(self._take_back)
        self._rows: list[Told] = []

    def show_wishes(self, wishes: Wishes) -> None:
        """List them; of none it says how one comes about."""
        self._rows = list(told(wishes))
        self.clear()
        for row in self._rows:
            item = QListWidgetItem(row.text, self)
            item.setToolTip(f"{row.text}\n{self.toolTip()}")
        if not self._rows:
            item = QListWidgetItem(
                say("Right click on springs to take them in or out, or to keep them together or apart")
            )
            item.setFlags(Qt.ItemFlag.NoItemFlags)
            self.addItem(item)

    def count_told(self) -> int:
        """How many were decided."""
        return len(self._rows)

    def _take_back(self, item: QListWidgetItem) -> None:
        if not self._rows:
            return
        self.undone.emit(self._rows[self.row(item)])

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Delete takes the chosen one back."""
        item = self.currentItem()
        if item is not None and event.key() in {Qt.Key.Key_Delete, Qt.Key.Key_Backspace}:
            self._take_back(item)
        else:
            super().keyPressEvent(event)


_HEADS = ((marked("place"), 3), (marked("springs"), 1), (marked("seat from"), 2), (marked("to"), 2))


class PlaceRow(QWidget):
    """One place: its name, springs in it, seat force from and to; a sentence below what can't be read.

    `changed(place)` when it is another, None when it is taken away.
    """

    changed = Signal(object)

    def __init__(self, number: int, parent: QWidget) -> None:
        super().__init__(parent)
        self.others: Callable[[], tuple[str, ...]] = tuple
        self.place = Place("", SMALLEST_SET)
        self._units: System = "metric"
        which = say("Place {number}").format(number=number + 1)
        self.name = TypedField(
            say("{which}: its name").format(which=which),
            say("What the place is called, such as intake"),
            self._name,
            self,
        )
        self.springs = CountField(self, minimum=SMALLEST_SET, maximum=LARGEST_SET)
        self.springs.setAccessibleName(say("{which}: springs in its set").format(which=which))
        self.springs.setToolTip(say("Springs in a set for this place, 2 to 32"))
        low = say("Seat force that its springs have at least; empty where it does not matter")
        high = say("Seat force that its springs have at most; empty where it does not matter")
        self.low = TypedField(say("{which}: seat force from").format(which=which), low, self._low, self)
        self.high = TypedField(say("{which}: seat force to").format(which=which), high, self._high, self)
        self.gone = QPushButton("×", self)
        self.gone.setAccessibleName(say("{which}: take it away").format(which=which))
        self.gone.setToolTip(say("Take this place away"))
        self.gone.setFixedWidth(round(1.6 * self.fontMetrics().height()))
        self.wrong = QLabel(self, wordWrap=True, textFormat=Qt.TextFormat.PlainText)
        self.wrong.setAccessibleName(say("{which}: what is wrong").format(which=which))
        self.wrong.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Minimum)
        self.wrong.hide()
        for field, key in ((self.name, "name"), (self.low, "low_n"), (self.high, "high_n")):
            field.entered.connect(lambda value, key=key: self._take(**{key: value}))
            field.refused.connect(self._say)
            field.textEdited.connect(lambda _text: self._say(""))
            field.setMinimumWidth(round(3.5 * self.fontMetrics().height()))
        for field in (self.low, self.high):
            field.setAlignment(Qt.AlignmentFlag.AlignRight)
        self.springs.valueChanged.connect(lambda size: self._take(size=size))
        self.gone.clicked.connect(lambda: self.changed.emit(None))
        fields = beside((self.name, 3), self.springs, (self.low, 2), (self.high, 2), self.gone, spacing=4)
        above(fields, self.wrong, on=self, spacing=2)

    def show_place(self, place: Place, units: System) -> None:
        """Show a place, but no field that holds what can't be read."""
        self.place, self._units = place, units
        show_number(self.springs, place.size)
        texts = (place.name, self._text(place.low_n), self._text(place.high_n))
        for field, text in zip((self.name, self.low, self.high), texts, strict=True):
            if not field.wrong and not field.isModified():
                field.setText(text)

    def _text(self, force_n: float | None) -> str:
        if force_n is None:
            return ""
        return f"{show(force_n, 'N', self._units, 1)} {display_unit('N', self._units).label}"

    def _take(self, **fields: object) -> None:
        self._say("")
        self.changed.emit(replace(self.place, **fields))  # type: ignore[arg-type]

    def _say(self, sentence: str) -> None:
        colour_text(self.wrong, "reject")
        self.wrong.setText(sentence)
        self.wrong.setVisible(bool(sentence))

    def _name(self, text: str) -> str:
        name = " ".join(text.split())
        if not name:
            raise BadQuantity("place", "no name", "one, such as intake")
        if name in self.others():
            raise BadQuantity("place", f"{name!r} twice", "each once")
        return name

    def _force(self, text: str, end: str) -> float | None:
        if not text.strip():
            return None
        return typed_quantity(text, "force", "N", self._units, f"seat force {end}")

    def _low(self, text: str) -> float | None:
        low, high = self._force(text, "from"), self.place.high_n
        if low is not None and high is not None and low > high:
            raise BadQuantity("seat force from", text.strip(), f"at most {self._text(high)}")
        return low

    def _high(self, text: str) -> float | None:
        high, low = self._force(text, "to"), self.place.low_n
        if low is not None and high is not None and low > high:
            raise BadQuantity("seat force to", text.strip(), f"at least {self._text(low)}")
        return high


class PlacesForm(QWidget):
    """The places that want their own sets, a row each; `changed(places)` when they are others."""

    changed = Signal(object)

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.rows: list[PlaceRow] = []
        self._places: tuple[Place, ...] = ()
        self._usual_size = SMALLEST_SET
        heads = QGridLayout()
        for column, (text, share) in enumerate(_HEADS):
            heads.addWidget(QLabel(say(text), self), 0, column)
            heads.setColumnStretch(column, share)
        self.add_button = button(self, "A&dd a place", "One more place that wants its own set", self.add)
        self.none_button = button(self, "N&o places", "Every set the same", lambda: self.changed.emit(()))
        self.box = above(heads, spacing=3)
        foot = beside(self.add_button, self.none_button, 1, spacing=4)
        above(self.box, foot, 1, on=self, margins=(8, 2, 6, 4), spacing=3)

    def show_places(self, places: tuple[Place, ...], usual_size: int, units: System) -> None:
        """Show places; `usual_size` is what a new one starts with."""
        self._places, self._usual_size = places, usual_size
        while len(self.rows) > len(places):
            self._drop(self.rows[-1])
        while len(self.rows) < len(places):
            row = PlaceRow(len(self.rows), self)
            row.others = partial(self._names_but, row)
            row.changed.connect(partial(self._on_changed, row))
            self.rows.append(row)
            self.box.addWidget(row)
        for row, place in zip(self.rows, places, strict=True):
            row.show_place(place, units)
        self.add_button.setEnabled(len(places) < MOST_PLACES)
        self.none_button.setEnabled(bool(places))

    def _drop(self, row: PlaceRow) -> None:
        self.rows.remove(row)
        self.box.removeWidget(row)
        row.hide()
        row.deleteLater()

    def _names_but(self, row: PlaceRow) -> tuple[str, ...]:
        return tuple(other.place.name for other in self.rows if other is not row)

    def add(self) -> None:
        """One more place; the first two are intake and exhaust."""
        taken = {place.name for place in self._places}
        usual = (*INTAKE_AND_EXHAUST, *(f"place {n}" for n in range(1, MOST_PLACES + 1)))
        free = [name for name in usual if name not in taken]
        new = free[:1] if self._places else free[:2]
        self.changed.emit((*self._places, *(Place(name, self._usual_size) for name in new)))

    def _on_changed(self, row: PlaceRow, place: Place | None) -> None:
        places = [place if one is row else one.place for one in self.rows]
        if place is None:
            self._drop(row)
        self.changed.emit(tuple(one for one in places if one is not None))
