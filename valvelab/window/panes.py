"""The kit that panes of every bay are made of: frames, shares of the room, chips and fields bound to a state."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from PySide6.QtCore import QObject, QSignalBlocker, Qt, QTimer
from PySide6.QtWidgets import (
    QApplication,
    QButtonGroup,
    QComboBox,
    QLabel,
    QPushButton,
    QSpinBox,
    QWidget,
)

from valvelab.language import say
from valvelab.units import Dimension, System
from valvelab.window.bench import Bench
from valvelab.window.chips import Heading, Words, chip_row, press
from valvelab.window.fields import QuantityField
from valvelab.window.layouts import Panes, Stack, flowing, stacked, strip
from valvelab.window.theme import CountField, current_theme
from valvelab.workbench.document import Document
from valvelab.workbench.state import entry_of


def titled(parent: QWidget, title: str | QLabel, content: QWidget, *tools: QWidget, level: bool = False) -> QWidget:
    """A pane: its heading and tools in one line, its content below; without a heading the tools come first.

    Tools that have no room beside the heading have a line of their own. `level` keeps the line as high as one with
    chips in it.
    """
    box = QWidget(parent)
    heading = Heading(say(title), 1.05, box) if isinstance(title, str) else title
    parts: list[QWidget | int] = [heading, 1, *tools] if title else [*tools]
    head = flowing(*parts, margins=(8, 4, 6, 4), spacing=6)
    if level:
        head.least = 1.5
    stacked(box, head, (content, 1))
    return box


def splitter(
    parent: QWidget, orientation: Qt.Orientation, *panes: tuple[QWidget, int], sizes: Sequence[int] = ()
) -> Panes:
    """Panes beside or above one another with their shares of the room; `sizes` at first where they are others."""
    made = Panes(orientation, parent)
    for pane, share in panes:
        made.addWidget(pane)
        made.setStretchFactor(made.count() - 1, share)
    made.keep_shares(list(sizes) or [60 * share for _, share in panes])
    return made


def labelled(parent: QWidget, text: str, field: QWidget) -> QWidget:
    """A field with its name in front."""
    label = QLabel(say(text), parent)
    label.setBuddy(field)
    return strip(parent, label, field, spacing=4)


_FRAME_MS = 8


class Chips(QButtonGroup):
    """Chips bound to a field of a state: the one chosen, or where the field is a set all that are on, never none.

    `row` holds them. With `pages` the one chosen is in front in `stack`; a name that is unknown brings the first.
    """

    def __init__(
        self,
        bench: Bench,
        parent: QWidget,
        kind: type[Any],
        field: str,
        names: Sequence[tuple[Any, str]],
        pages: Sequence[QWidget] = (),
        spoken: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(parent)
        self._bench, self._kind, self._field = bench, kind, field
        self._names = [name for name, _ in names]
        self.setExclusive(not isinstance(self._value(bench.document), frozenset))
        self.row = chip_row(parent, self, names, self._on_chip, spoken or {}, wraps=True)
        self.stack = Stack(parent)
        self.stack.setVisible(bool(pages))
        for page in pages:
            self.stack.addWidget(page)
        bench.document_changed.connect(self._follow)
        self._follow(None, bench.document)

    def _value(self, document: Document) -> Any:
        return getattr(document.state(self._kind), self._field)

    def _follow(self, _old: Document | None, document: Document) -> None:
        value = self._value(document)
        press(self, set(value) if isinstance(value, frozenset) else {value})
        if self.stack.count():
            self.stack.setCurrentIndex(self._names.index(value) if value in self._names else 0)

    def _on_chip(self, name: Any, on: bool) -> None:
        value = name
        if not self.exclusive():
            known = self._value(self._bench.document)
            value = known | {name} if on else known - {name}
        if value or self.exclusive():
            edit = entry_of(self._kind, self._field).edit
            self._bench.set(self._kind, edit, **{self._field: value})
        else:
            press(self, {name})


class BoundQuantity(QuantityField):
    """A quantity bound to a field of a state; `dimension` and `unit` where they are not the field's own.

    `held` takes a number otherwise than the field's entry does.
    """

    def __init__(
        self,
        bench: Bench,
        parent: QWidget,
        kind: type[Any],
        field: str,
        *,
        dimension: Dimension | None = None,
        unit: str | None = None,
        held: Callable[[float], Any] | None = None,
    ) -> None:
        self.entry = entry = entry_of(kind, field)
        unit = entry.unit if unit is None else unit
        super().__init__(say(entry.spoken), dimension or entry.dimension, unit, entry.step, parent)
        default = getattr(kind(), field)
        take = held or (lambda value: entry.taken(value, default))
        self.entered.connect(
            lambda value: bench.set(kind, entry.edit, field if entry.merges else None, **{field: take(value)})
        )

    def show_in(self, value: float, units: System) -> None:
        """Show a value as the reader's system writes it."""
        self.show_value(value, units, self.entry.decimals_in(units))


def number_field(bench: Bench, parent: QWidget, kind: type[Any], field: str) -> QSpinBox:
    """A whole number bound to a field of a state; it follows the state, and while that has none what it is given."""
    entry = entry_of(kind, field)
    made = CountField(parent, minimum=round(entry.least), maximum=round(entry.most))
    made.setAccessibleName(say(entry.spoken))
    made.setToolTip(say(entry.spoken))
    made.valueChanged.connect(
        lambda value: bench.set(kind, entry.edit, field if entry.merges else None, **{field: value})
    )
    return made


def show_number(field: QSpinBox, value: int) -> None:
    """Show a number without telling anyone."""
    with QSignalBlocker(field):
        field.setValue(value)


def caution(parent: QWidget, text: str, whole: str) -> QLabel:
    """A caution, in as many lines as it needs; `whole` is said when it is pointed at."""
    made = Words(1.0, parent)
    made.setText(f"▲ {say(text)}")
    made.setToolTip(say(whole))
    made.setAccessibleName(say("Caution"))
    return made


def offer(box: QComboBox, rows: Sequence[tuple[str, Any]], chosen: Any) -> None:
    """Offer these texts for these values, with one of them chosen, without telling anyone."""
    with QSignalBlocker(box):
        if [(box.itemText(n), box.itemData(n)) for n in range(box.count())] != list(rows):
            box.clear()
            for text, value in rows:
                box.addItem(text, value)
            box.updateGeometry()  # of a box as wide as its texts Qt itself would keep the width it had
        box.setCurrentIndex(box.findData(chosen))


def button(parent: QWidget, text: str, tip: str, pressed: Callable[[], object]) -> QPushButton:
    """A button with its tip and what it does."""
    made = QPushButton(say(text), parent)
    made.setToolTip(say(tip))
    made.clicked.connect(lambda _on=False: pressed())
    return made


class EachFrame(QTimer):
    """Hands on the latest of many values of a drag, once a frame."""

    def __init__(self, parent: QObject, take: Callable[[Any], object]) -> None:
        super().__init__(parent, singleShot=True, interval=_FRAME_MS)
        self._waiting: list[Any] = []
        self._take = take
        self.timeout.connect(self.settle)

    def put(self, value: Any) -> None:
        """A new value."""
        self._waiting = [value]
        if not self.isActive():
            self.start()

    def settle(self) -> None:
        """Hand on what still waits."""
        while self._waiting:
            self._take(self._waiting.pop())


def colour_text(label: QWidget, name: str) -> None:
    """Write a label in a colour of the theme."""
    palette = label.palette()
    palette.setColor(label.foregroundRole(), current_theme().colour(name))
    label.setPalette(palette)


def look() -> tuple[str, float]:
    """What a drawing depends on beside its content: the theme and the size of text."""
    return current_theme().name, QApplication.font().pointSizeF()
