"""The form beside a typed table: what its preamble states, a field a line; an empty field states nothing."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QSignalBlocker, Signal
from PySide6.QtWidgets import QComboBox, QGridLayout, QLabel, QSizePolicy, QWidget

from valvelab.language import say
from valvelab.units import System
from valvelab.window.fields import TypedField
from valvelab.window.layouts import FormArea, strip
from valvelab.window.panes import colour_text
from valvelab.window.theme import in_ems
from valvelab.workbench.entry import Grid
from valvelab.workbench.entry_kinds import EntryKind, FormField


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
        self.fields, self.choices, self._labels = {}, {}, []
        self._keys = tuple(field.key for field in fields)
        page = QWidget(self)
        grid = QGridLayout(page)
        em = self.fontMetrics().height()
        grid.setContentsMargins(em // 2, em // 4, em // 2, em // 4)
        grid.setHorizontalSpacing(em // 2)
        grid.setVerticalSpacing(2)
        in_ems(grid)
        grid.setColumnStretch(1, 1)
        for line, field in enumerate(fields):
            unit = field.unit[self._units == "inch"]
            label = QLabel(f"{say(field.key)}, {unit}" if unit else say(field.key), page)
            self._labels.append(label)
            box = self._choice(field) if field.words else self._typed(field)
            label.setBuddy(self.choices.get(field.key) or self.fields[field.key])
            label.setToolTip(field.help)
            grid.addWidget(label, line, 0)
            grid.addWidget(box, line, 1)
        grid.setRowStretch(len(fields), 1)
        old = self.takeWidget()
        if old is not None:
            old.deleteLater()
        self.setWidget(page)
        self.restyle()

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
