"""Readings that are typed: the form about the part, the grid, what is laid out, and a line that says what is wanted."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from itertools import pairwise
from pathlib import Path

from PySide6.QtCore import Qt, QTimer
from PySide6.QtWidgets import QApplication, QButtonGroup, QComboBox, QLabel, QSizePolicy, QWidget

from valvelab.errors import BadFile, BadQuantity
from valvelab.files.column_names import split_header
from valvelab.language import marked, say
from valvelab.window.bench import Bench
from valvelab.window.chips import chip_row, press
from valvelab.window.entry_grid import SIGNS, EntryGrid
from valvelab.window.fields import TypedField
from valvelab.window.layouts import above, stacked, strip
from valvelab.window.pages import OfferStrip
from valvelab.window.panes import button, colour_text, labelled, look, offer, splitter
from valvelab.window.part_form import PartForm
from valvelab.window.saving import save_as
from valvelab.workbench import bays, entry, typed
from valvelab.workbench.document import BenchFile, Document, Problem
from valvelab.workbench.entry import Grid
from valvelab.workbench.entry_kinds import Adding, EntryKind
from valvelab.workbench.entry_text import grid_of, opened_text, text_of
from valvelab.workbench.entry_told import Told, told

_AT_ONCE = 600
"""Up to so many cells every entry is read as it is made; more wait a moment, so that keys are never late."""
_WAIT_MS = 150
_WAYS = {"down": (marked("down"), marked("the column")), "along": (marked("along"), marked("the row"))}


class EntryPane(QWidget):
    """Edits the text of the typed table in front; `settle()` passes on what still waits."""

    def __init__(self, bench: Bench, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.bench = bench
        self._kind: EntryKind | None = None
        self._path, self._text = "", ""
        self._waiting: list[str] = []
        self._complaint = ""
        self._look: object = None
        self._told: Told | None = None
        self._passed = 0
        self._later = QTimer(self, singleShot=True, interval=_WAIT_MS)
        self._later.timeout.connect(self._pass_on_later)
        self.tables = QComboBox(self)
        self.tables.setAccessibleName(say("Typed table"))
        self.tables.activated.connect(lambda _n: self._on_table(str(self.tables.currentData())))
        self.save_button = button(self, "Save readin&gs as…", "Write this table to a file (CSV)", self.save)
        self.form = PartForm(self)
        self.form.stated.connect(self._on_stated)
        self.form.refused.connect(self.complain)
        self.grid = EntryGrid(self)
        self.grid.changed.connect(self._on_grid)
        self.grid.moved.connect(self._say)
        self.grid.refused.connect(self.complain)
        self.grid.replacing.connect(self._on_replacing)
        self.offer = OfferStrip(self)
        self.offer.taken.connect(self._on_replaced)
        self._block: Grid | None = None
        self.columns, self.rows = self._adder(), self._adder()
        self.columns.entered.connect(lambda text: self._on_added(self.columns, text))
        self.rows.entered.connect(lambda text: self._on_added(self.rows, text))
        self.columns_box, self.rows_box = labelled(self, "", self.columns), labelled(self, "", self.rows)
        self.ways = QButtonGroup(self)
        spoken = {
            way: say("Enter goes on {text} {where}").format(text=say(text), where=say(where))
            for way, (text, where) in _WAYS.items()
        }
        names = [(way, text) for way, (text, _) in _WAYS.items()]
        self.ways_row = chip_row(self, self.ways, names, lambda way, _on: self.go(along=way == "along"), spoken)
        self.repeat = button(
            self, "Repea&t", "A further row under the same name, for a reading taken again", self._repeat
        )
        self.message = QLabel(self, wordWrap=True)
        self.message.setAccessibleName(say("What is wanted"))
        self.message.setMinimumHeight(round(2.4 * self.fontMetrics().height()))
        self.message.setAlignment(Qt.AlignmentFlag.AlignTop | Qt.AlignmentFlag.AlignLeft)
        self.message.setMargin(4)
        self.columns.returnPressed.connect(self._on_nothing_more)
        self._lay_out()

    def _lay_out(self) -> None:
        self.tables.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        head = strip(self, (self.tables, 1), self.save_button, margins=(6, 4, 6, 4), spacing=6)
        laid = QWidget(self)
        above(self.columns_box, self.rows_box, on=laid, margins=(6, 2, 6, 2), spacing=4)
        enter = QLabel(say("Enter goes"), self)
        tools = strip(self, enter, self.ways_row, 1, self.repeat, margins=(6, 2, 6, 2), spacing=6)
        below = QWidget(self)
        stacked(below, laid, tools, (self.grid, 1), self.offer, self.message)
        whole = splitter(self, Qt.Orientation.Vertical, (self.form, 2), (below, 5), sizes=(150, 400))
        stacked(self, head, (whole, 1))

    def _adder(self) -> TypedField:
        return TypedField("", "", str, self)

    # -- showing ----------------------------------------------------------------------------------------------------

    def show_document(self, document: Document) -> None:
        """Show the table in front among those typed for the bay in front."""
        tables = typed.tables_at(document)
        if not tables:
            return
        front = next((file for file in tables if document.current.get(file.kind or "") == file.path), tables[-1])
        front = next((file for file in tables if file.path == self._path), front)
        offer(self.tables, [(_called(document, file), file.path) for file in tables], front.path)
        self._show(front, document)

    def show_table(self, path: str) -> None:
        """Bring a table to the front here."""
        self.settle()
        self._path = path
        self.show_document(self.bench.document)

    def _show(self, file: BenchFile, document: Document) -> None:
        kind = typed.kind_of(document, file)
        assert kind is not None
        assert file.text is not None
        fresh = kind is not self._kind or file.path != self._path
        self._kind, self._path = kind, file.path
        if fresh:
            self.offer.hide()
            self._waiting.clear()
            self._passed += 1
            self.go(along=kind.along)
            self._ask(self.columns, self.columns_box, kind.columns)
            self._ask(self.rows, self.rows_box, kind.rows)
            self.repeat.setVisible(kind.kind == "spring readings")
        if (fresh or file.text != self._text) and not self._waiting:
            self._text = file.text
            self.grid.show_grid(kind.kind, grid_of(kind.kind, file.text))
            self._look_through(kind)
            if fresh:
                self.grid.go_to(0, 0)
        drawn = (self.grid.grid.form, document.units, kind.kind)
        self.form.show_form(kind, self.grid.grid, document.units)
        if fresh:
            self._order()
        if self._look != (drawn, look()):
            self._look = (drawn, look())
            self.form.restyle()
            self._say()

    def _look_through(self, kind: EntryKind) -> None:
        """Tell what is to be told of a grid that came as a whole, of a large one away from the window."""
        grid = self.grid.grid
        if len(grid.rows) * len(grid.heads) <= _AT_ONCE:
            self._tell(told(kind.kind, grid))
            return

        def take(found: Told) -> None:
            if self.grid.grid is grid:
                self._tell(found)

        self._told = None
        self._ask_told(kind, take)

    def _ask_told(self, kind: EntryKind, take: Callable[[Told], object]) -> None:
        """Have the grid as it stands looked through away from the window."""
        work = partial(told, kind.kind, self.grid.grid)
        self.bench.ask(say("Reading what is typed"), Path(self._path).name, work, take)

    def _order(self) -> None:
        """Tab goes as the eye does, and from what is laid out straight to the readings."""
        ways = (*self.ways.buttons(), self.repeat)
        order = (self.tables, self.save_button, *self.form.inputs(), self.columns, self.rows, self.grid, *ways)
        for first, second in pairwise(order):
            QWidget.setTabOrder(first, second)

    def _ask(self, field: TypedField, box: QWidget, adding: Adding | None) -> None:
        box.setVisible(adding is not None)
        if adding is not None:
            label = box.findChild(QLabel)
            assert label is not None
            label.setText(f"+ {say(adding.name)}")
            field.setAccessibleName(say("Add {name}").format(name=say(adding.name)))
            field.setToolTip(f"{say(adding.name)}: {say(adding.help)}")
            field.setPlaceholderText(say(adding.hint))

    def _tell(self, told: Told) -> None:
        """Show what is told of the grid."""
        self._told = told
        self.grid.entry_model.show_marks(told.marks)
        self._say()

    def begin(self, kind: EntryKind) -> None:
        """Begin a new table of a kind."""
        self.settle()
        self.bench.type_table(kind.file, kind.kind, text_of(kind.kind, kind.blank(self.bench.document.units)))
        self._bring(self.bench.document.files[-1].path)

    def edit(self, path: str) -> None:
        """Edit a table that is on the bench; of a file its text, and the file on disk stays as it is."""
        self.settle()
        file = self.bench.document.file(path)
        kind = None if file is None else typed.kind_of(self.bench.document, file)
        if file is None or kind is None:
            return
        if file.text is None:
            take = partial(self._take_opened, kind, file)
            doing = say("Opening {name}").format(name=file.name)
            self.bench.ask(doing, file.name, partial(_opened, kind, file), take)
        else:
            self._go_on_with(kind, path)

    def _take_opened(self, kind: EntryKind, file: BenchFile, found: str | Problem) -> None:
        if isinstance(found, Problem):
            self.bench.done.emit(found)
        elif file in self.bench.document.files:
            changed = typed.edited(self.bench.document, file.path, kind.kind, found)
            self.bench.history.apply(changed, say("edit {name}").format(name=file.name))
            self.bench.said.emit(say("{name}: edited here; the file on disk stays as it is").format(name=file.name))
            self.bench.turns.after("edit", partial(self._go_on_with, kind, file.path))

    def _go_on_with(self, kind: EntryKind, path: str) -> None:
        if kind not in typed.kinds_at(self.bench.document.bay):
            self.bench.go_to_bay(bays.takers(kind.kind)[0].name)
        self._bring(path)

    def _bring(self, path: str) -> None:
        self.show_table(path)
        first = self.columns if len(self.grid.grid.heads) < 2 else self.grid
        first.setFocus(Qt.FocusReason.OtherFocusReason)

    def complain(self, sentence: str) -> None:
        """Say why something typed can't be taken, until the next edit."""
        self._complaint = sentence
        self._say()

    def _say(self) -> None:
        """What is to be said: a refusal, the mark of the cell in front, the first mark, what is wanted."""
        if self._kind is None:
            return
        model, marks = self.grid.entry_model, {} if self._told is None else self._told.marks
        mark = model.mark(*self.grid.place())
        text, colour = "" if self._told is None else self._told.wanted, "quiet"
        if self._complaint:
            text, colour = f"✗ {self._complaint}", "reject"
        elif mark is not None:
            sign, colour = SIGNS[mark.level]
            text = f"{sign} {mark.why}"
        elif standing := [(place, one) for place, one in marks.items() if model.mark(*place) == one]:
            place, mark = standing[0]
            sign, colour = SIGNS[mark.level]
            more = say(" ({count} more)").format(count=len(standing) - 1) if len(standing) > 1 else ""
            why = mark.why.removeprefix(f"{split_header(model.grid.heads[place[1]])[0]}: ")
            text = f"{sign} {model.spoken(*place)}: {why}{more}"
        self.message.setText(text)
        colour_text(self.message, colour)

    # -- what a person does -----------------------------------------------------------------------------------------

    def _on_grid(self, grid: Grid, label: str) -> None:
        self._complaint = ""
        self.offer.hide()
        self._waiting.append(label)
        if len(grid.rows) * len(grid.heads) <= _AT_ONCE:
            self.pass_on()
        elif not self._later.isActive():
            self._later.start()

    def pass_on(self) -> None:
        """Write what was typed to the bench."""
        self._later.stop()
        if self._waiting and self._kind is not None:
            self._take(told(self._kind.kind, self.grid.grid), len(self._waiting))

    def _pass_on_later(self) -> None:
        """The same away from the window, so that keys are never late."""
        kind, count, passed = self._kind, len(self._waiting), self._passed
        if kind is None or not count:
            return

        def take(found: Told) -> None:
            if passed == self._passed:
                self._take(found, count)
                if self._waiting:
                    self._later.start()

        self._ask_told(kind, take)

    def _take(self, found: Told, count: int) -> None:
        """Take up what is told of the grid as it was after the first `count` edits that waited."""
        labels, self._waiting = self._waiting[:count], self._waiting[count:]
        self._passed += 1
        if labels:
            self._text = found.text
            label = labels[0] if len(labels) == 1 else f"type {len(labels)} readings"
            self.bench.retype(self._path, self._text, label)
        self._tell(found)

    def settle(self) -> None:
        """Take an entry that stands in an editor or a field, and pass on all that waits."""
        self.grid.settle()
        focused = QApplication.focusWidget()
        if isinstance(focused, TypedField) and self.isAncestorOf(focused):
            focused.take()
        self.pass_on()

    def _change(self, grid: Grid, label: str) -> None:
        """Another grid by something other than its own keys."""
        if self._kind is not None and grid != self.grid.grid:
            self.grid.show_grid(self._kind.kind, grid)
            self._on_grid(grid, label)

    def _on_replacing(self, grid: Grid, question: str) -> None:
        self._block = grid
        self.offer.ask(question, say("Replace"), say("Keep what is there"))

    def _on_replaced(self) -> None:
        if self._block is not None:
            self._change(self._block, "paste readings")
        self.grid.setFocus(Qt.FocusReason.OtherFocusReason)

    def _on_stated(self, key: str, value: str) -> None:
        self._change(entry.with_form(self.grid.grid, key, value), f"state {key}")

    def _on_nothing_more(self) -> None:
        """Enter in the empty field of columns leads to the readings."""
        if not self.columns.text() and self.grid.entry_model.columnCount() > 1:
            self.grid.setFocus(Qt.FocusReason.OtherFocusReason)
            self.grid.go_to(0, 1)

    def _on_added(self, field: TypedField, text: str) -> None:
        adding = None if self._kind is None else self._kind.columns if field is self.columns else self._kind.rows
        if adding is None or not text.strip():
            return
        try:
            new = adding.read(self.grid.grid, text, self.bench.document.units)
        except BadQuantity as error:
            self.complain(say(str(error)))
            return
        field.clear()
        grid = self.grid.grid
        change = entry.with_heads if field is self.columns else entry.laid_out
        self._change(change(grid, new), f"add {adding.name} {text.strip()}")

    def go(self, *, along: bool) -> None:
        """Let Enter go on along the row, or down the column."""
        self.grid.along = along
        press(self.ways, {"along" if along else "down"})

    def _repeat(self) -> None:
        self.grid.repeat()
        self.grid.setFocus()

    def _on_table(self, path: str) -> None:
        self.show_table(path)

    def save(self) -> None:
        """Ask where the table goes and write it."""
        self.settle()
        name = Path(self._path).name
        save_as(self, say("Save readings as"), self.bench.suggested(name), say("Table (*.csv)"), self.save_to)

    def save_to(self, path: Path) -> None:
        """Write the table to a file."""
        self.settle()
        self.bench.write(path, self._text, "Readings written")


def _called(document: Document, file: BenchFile) -> str:
    kind = typed.kind_of(document, file)
    return f"{say(kind.title)}, {file.name}" if kind is not None else file.name


def _opened(kind: EntryKind, file: BenchFile) -> str | Problem:
    """The text of a file to be edited, or why it can't be."""
    try:
        text = opened_text(kind.kind, file)
    except BadFile as error:
        return Problem("warning", file.name, str(error))
    told(kind.kind, grid_of(kind.kind, text))  # looked through here, the window does not wait for it
    return text
