"""The form beside a typed table: what its preamble states, a field a line; an empty field states nothing."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QEvent, QSignalBlocker, QSize, Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QComboBox, QGridLayout, QLabel, QSizePolicy, QStyle, QWidget

from valvelab.language import say
from valvelab.units import System
from valvelab.window.fields import TypedField
from valvelab.window.layouts import FormArea, strip
from valvelab.window.panes import colour_text
from valvelab.window.theme import in_ems
from valvelab.workbench.entry import Grid
from valvelab.workbench.entry_kinds import EntryKind, FormField

_LEAST_EMS = 6
"""Least width of a field beside its name."""


class PartForm(FormArea):
    """`stated(key, value)` when a field was filled in, chosen or emptied; `refused(why)` where it can't be read."""

    stated = Signal(str, str)
    refused = Signal(str)

    def __init__(self, parent: QWidget) -> None:
        super().__init__(say("About the part"), parent)
        self.fields: dict[str, TypedField] = {}
        self.choices: dict[str, QComboBox] = {}
        self._keys: tuple[str, ...] = ()
        self._shown: tuple[str, System] | None = None
        self._units: System = "metric"
        self._labels: list[QLabel] = []
        self._boxes: list[QWidget] = []
        self._beside = True
        self._grid: QGridLayout | None = None
        self._named: tuple[int, int] = (0, 0)
        """Height of a line of the names when they were measured, and width of the widest."""

    def minimumSizeHint(self) -> QSize:
        """Wide enough for the longest name or the least field: they can stand above one another."""
        least = super().minimumSizeHint()
        return QSize(
            max(self._least_box(), self._names_wide()) + self._edges(),
            least.height(),
        )

    def resizeEvent(self, event: QResizeEvent) -> None:
        """A field that would become a stub beside its name stands below it."""
        super().resizeEvent(event)
        self._place()

    def changeEvent(self, event: QEvent) -> None:
        """Another size of text may have no room beside the names."""
        super().changeEvent(event)
        if event.type() in {QEvent.Type.FontChange, QEvent.Type.ApplicationFontChange}:
            self._place()

    def _names_wide(self) -> int:
        high = self._labels[0].fontMetrics().height() if self._labels else 0
        if self._named[0] != high:
            self._named = high, max((label.sizeHint().width() for label in self._labels), default=0)
        return self._named[1]

    def _least_box(self) -> int:
        return round(_LEAST_EMS * self.fontMetrics().height())

    def _edges(self) -> int:
        bar = self.style().pixelMetric(QStyle.PixelMetric.PM_ScrollBarExtent)
        return bar + 2 * (self.fontMetrics().height() // 2)

    def show_form(self, kind: EntryKind, grid: Grid, units: System) -> None:
        """Show what a grid's form states."""
        self._units = units
        if self._shown != (kind.kind, units):
            self._shown = (kind.kind, units)
            self._build(kind.fields)
        for field in kind.fields:
            said = grid.said(field.key)
            if field.words:
                self._show_choice(field, said)
            else:
                _show_text(self.fields[field.key], said)

    def inputs(self) -> list[QWidget]:
        """Fields and choices, from top to bottom."""
        return [box for key in self._keys for box in (self.choices.get(key), self.fields.get(key)) if box is not None]

    def restyle(self) -> None:
        """Take up the colours in force."""
        for label in self._labels:
            colour_text(label, "quiet")

    def _show_choice(self, field: FormField, said: str) -> None:
        word, _, rest = said.partition(" ")
        box = self.choices[field.key]
        radius = self.fields.get(field.key)
        waits = radius is not None and not said and box.currentText() == field.with_radius and not radius.text()
        if not waits:
            with QSignalBlocker(box):
                box.setCurrentIndex(max(0, box.findText(word)))
        if radius is not None:
            _show_text(radius, rest)
            radius.setEnabled(box.currentText() == field.with_radius)

    def _build(self, fields: Sequence[FormField]) -> None:
        self.fields, self.choices, self._labels, self._boxes, self._named = {}, {}, [], [], (0, 0)
        self._keys = tuple(field.key for field in fields)
        page = QWidget(self)
        grid = QGridLayout(page)
        em = self.fontMetrics().height()
        grid.setContentsMargins(em // 2, em // 4, em // 2, em // 4)
        grid.setHorizontalSpacing(em // 2)
        grid.setVerticalSpacing(2)
        in_ems(grid)
        grid.setColumnStretch(1, 1)
        for field in fields:
            unit = field.unit[self._units == "inch"]
            label = QLabel(f"{say(field.key)}, {unit}" if unit else say(field.key), page)
            self._labels.append(label)
            box = self._choice(field) if field.words else self._typed(field)
            label.setBuddy(self.choices.get(field.key) or self.fields[field.key])
            label.setToolTip(field.help)
            self._boxes.append(box)
        self._grid = grid
        self._lay()
        old = self.takeWidget()
        if old is not None:
            old.deleteLater()
        self.setWidget(page)
        self.restyle()
        self._place()

    def _place(self) -> None:
        """Fields beside their names where each has its least width there, else below them."""
        gap = self.fontMetrics().height() // 2
        beside = self._names_wide() + gap + self._least_box() + self._edges() <= self.width()
        if beside != self._beside:
            self._beside = beside
            self._lay()

    def _lay(self) -> None:
        grid = self._grid
        if grid is None:
            return
        for row in range(grid.rowCount()):
            grid.setRowStretch(row, 0)
        for line, (label, box) in enumerate(zip(self._labels, self._boxes, strict=True)):
            if self._beside:
                grid.addWidget(label, line, 0)
                grid.addWidget(box, line, 1)
            else:
                grid.addWidget(label, 2 * line, 0, 1, 2)
                grid.addWidget(box, 2 * line + 1, 0, 1, 2)
        grid.setRowStretch(2 * len(self._boxes), 1)
        grid.activate()

    def _typed(self, field: FormField) -> TypedField:
        named = say(field.key)
        name = named[:1].upper() + named[1:]
        made = TypedField(
            name, f"{name}: {say(field.help)}" if field.help else name, lambda text: field.read(text, self._units)
        )
        made.entered.connect(lambda value: self.stated.emit(field.key, value))
        made.refused.connect(self.refused)
        made.returnPressed.connect(self._go_on)
        self.fields[field.key] = made
        return made

    def _go_on(self) -> None:
        """Enter goes on to the next field, once what was typed can be read."""
        focused = self.focusWidget()
        if isinstance(focused, TypedField) and focused.take():
            self.focusNextChild()

    def _choice(self, field: FormField) -> QWidget:
        box = QComboBox()
        box.addItems([say("not stated"), *field.words])
        box.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        named = say(field.key)
        box.setAccessibleName(named[:1].upper() + named[1:])
        box.setToolTip(say(field.help))
        self.choices[field.key] = box
        box.activated.connect(lambda _n: self._on_choice(field))
        if not field.with_radius:
            return box
        length = FormField(f"{field.with_radius} radius", f"of the {field.with_radius}", "length", ("mm", "in"))
        radius = self._typed(length)
        radius.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        radius.entered.disconnect()
        radius.entered.connect(
            lambda value: self.stated.emit(field.key, f"{field.with_radius} {value}" if value else "")
        )
        self.fields[field.key] = self.fields.pop(length.key)
        return strip(self, (box, 3), (radius, 2), spacing=4)

    def _on_choice(self, field: FormField) -> None:
        word = self.choices[field.key].currentText()
        radius = self.fields.get(field.key)
        if radius is not None:
            radius.setEnabled(word == field.with_radius)
        if radius is not None and word == field.with_radius:
            self.refused.emit(say("The radius of the {word} is wanted beside it.").format(word=word))
            radius.setFocus()
            return
        self.stated.emit(field.key, word if word in field.words else "")


def _show_text(field: TypedField, text: str) -> None:
    """Show what is stated; what a person is typing, or could not be read, stays."""
    if field.isModified():
        return
    if field.text() != text:
        field.setText(text)
