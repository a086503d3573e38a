"""The limits of the bay in front, written beside what they judge: a table, the bands of envelopes, the text."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from functools import reduce
from pathlib import Path
from typing import Any

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QApplication,
    QButtonGroup,
    QComboBox,
    QFileDialog,
    QInputDialog,
    QPlainTextEdit,
    QWidget,
)

from valvelab.errors import BadQuantity, ValvelabError
from valvelab.files.spec_text import comments_lost, with_moved_row, without_row
from valvelab.inspection.characteristics import Characteristic
from valvelab.language import marked, say
from valvelab.records.result import Result
from valvelab.units import System
from valvelab.window.bench import Bench
from valvelab.window.chips import Line, chip_row, press
from valvelab.window.fields import TypedField
from valvelab.window.layouts import Stack, flowing, least_height, stacked
from valvelab.window.limits_table import Field, Pending, SpecTable
from valvelab.window.numbers import display_unit
from valvelab.window.panes import button, colour_text, labelled, offer
from valvelab.window.part_limits import PartLimits
from valvelab.window.saving import save_as
from valvelab.window.typed_table import Offer
from valvelab.workbench import bays, phasing_bay, spec_edit, spec_sheet
from valvelab.workbench.document import TYPED, Document, Problem
from valvelab.workbench.spec_choice import SPEC
from valvelab.workbench.spec_edit import Head, Unfinished
from valvelab.workbench.spec_from_part import Spread, Wish, from_card, from_part
from valvelab.workbench.spec_sheet import Sheet

_NEW = "spec.toml"
_HINT = marked(
    "Type a characteristic and its limits; a bare number counts in the unit shown. Tab goes on, Ctrl+Z takes back."
)
_LIMITS = (
    Field("of", "characteristic", marked("What is limited; typing completes the name"), number=False, share=1.3),
    Field("items", "items", marked("all, intake, exhaust, or names such as 1I, 3I"), number=False, share=0.8),
    Field("at", "at", marked("The lift or height that it is judged at"), share=0.95),
    Field("nominal", "nominal", marked("What was ordered, with ± beside it"), share=1.15),
    Field("sides", "±", marked("Allowed to either side, or each with its sign: +0.05 −0.02")),
    Field("min", "min", marked("Least value allowed"), share=0.85),
    Field("max", "max", marked("Greatest value allowed"), share=0.85),
    Field("clause", "clause", marked("Where the limit is written"), number=False, share=1.25),
)
_BANDS = (
    Field("items", "lobes", marked("all, intake, exhaust, or names"), number=False),
    Field(
        "nominal",
        marked("nominal table"),
        marked("Lift table of the nominal, beside the spec"),
        number=False,
        share=1.9,
    ),
    Field("fit", marked("fitted out"), marked("What is fitted before comparing: angle, lift"), number=False, share=0.8),
    Field("from", "from", marked("Start of this piece of the band, cam deg from the nominal's centre")),
    Field("to", "to", marked("End of this piece, cam deg from the nominal's centre")),
    Field("below", "below", marked("Allowed below the nominal")),
    Field("above", "above", marked("Allowed above the nominal")),
    Field("clause", "clause", marked("Where the envelope is written"), number=False, share=1.1),
)
_WITH_CARD = {"phasing", "lobes"}
_PAGES = (("limits", marked("Limits")), ("bands", marked("Envelopes")), ("text", marked("Text")))
_RULES = (marked("guarded"), marked("simple"))
_WIDTHS: dict[str, float] = {"title": 14, "revision": 3.5, "confidence": 4.5, "installed_height": 6, "valve_lift": 6}


def _listed(row: Characteristic) -> str:
    """A characteristic in the list of those there are: its plain name, and the word that is typed."""
    head = say(row.head)
    return row.name if head == row.name else f"{head}  —  {row.name}"


def _meaning(row: Characteristic, units: System) -> str:
    return f"{row.name}, {display_unit(row.unit, units).label}: {row.meaning}"


def _path(sheet: Sheet | None) -> str:
    return "" if sheet is None else sheet.file.path


def _without_limit(text: str, row: spec_sheet.Row) -> str:
    return without_row(text, "limit", row.number)


def _untaken(cells: dict[str, str], refusal: ValvelabError) -> Pending:
    """What was typed and not taken, and why."""
    unfinished = isinstance(refusal, Unfinished)
    return Pending(cells, f"{'?' if unfinished else '✗'} {refusal}", unfinished)


def _still(pending: dict[int, Pending], had: int, has: int) -> dict[int, Pending]:
    """What is typed and not taken when other rows changed: the row below the last stays that, whatever comes above.

    Where a row went, nobody can tell which the others have become.
    """
    return {
        has if place == had else place: one for place, one in pending.items() if place == had or (place < had <= has)
    }


class LimitsPane(QWidget):
    """See the module text."""

    def __init__(self, bench: Bench, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.bench = bench
        self._sheet: Sheet | None = None
        self._rows: tuple[spec_sheet.Row, ...] = ()
        self._pieces: tuple[spec_sheet.Row, ...] = ()
        self._wanted: dict[str, str] = {}
        """The spec that a person brought to the front at a bay that it has no limits for."""
        self._pending: dict[str, dict[int, Pending]] = {"limits": {}, "bands": {}}
        self.table = SpecTable(say("Limits"), _LIMITS, self, self._offers)
        self.bands = SpecTable(say("Bands of envelopes"), _BANDS, self, self._offers, grows=False)
        self.text = _SpecText(self)
        self.text.left.connect(self._on_text)
        self.table.entered.connect(self._on_limit)
        self.bands.entered.connect(self._on_band)
        self.table.dropped.connect(lambda place: self._drop("limits", place))
        self.bands.dropped.connect(lambda place: self._drop("bands", place))
        self.table.emptied.connect(lambda cells: self._empty("limits", cells))
        self.bands.emptied.connect(lambda cells: self._empty("bands", cells))
        self.table.taken_out.connect(self.remove)
        self.bands.taken_out.connect(self.remove)
        self.table.pointed.connect(lambda sentence: self._say(" · ".join(sentence.split("\n")[:1]), "quiet"))
        self.table.placed.connect(self._say_place)
        self.bands.placed.connect(self._say_place)
        self.sentence = Line(parent=self)
        self.sentence.setAccessibleName(say("Limits: what is wrong"))
        self.sentence.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.specs = QComboBox(self)
        self.specs.setAccessibleName(say("Spec in front"))
        self.specs.setMaximumWidth(13 * self.fontMetrics().height())
        self.specs.activated.connect(lambda _at: self._use(self.specs.currentData()))
        self._lay_out()
        bench.document_changed.connect(lambda _old, new: self._on_changed(new))
        self._refresh(bench.document)

    # -- lay-out ----------------------------------------------------------------------------------------------------

    def _lay_out(self) -> None:
        self._chips = QButtonGroup(self)
        chips = chip_row(self, self._chips, _PAGES, lambda name, _on: self.bring(name), {})
        self.add_button = button(self, "+ l&imit", "Type one more limit", self.add)
        self.remove_button = button(
            self, "&Remove", "Take the row in front out of the spec, or all that are chosen", self.remove
        )
        self.up = button(self, "▲", "Move the row up", lambda: self._move(-1))
        self.down = button(self, "▼", "Move the row down", lambda: self._move(1))
        self.split_button = button(self, "Sp&lit", "Divide this piece of the band in the middle", self._split)
        self.part_button = button(
            self, "From this &part…", "Limits from what was measured, with a tolerance", self.from_part
        )
        self.card_button = button(self, "From the &card…", "Limits from the cam card of the worksheet", self.from_card)
        self.save_button = button(self, "Save spec &as…", "Write the spec as TOML and put it on the bench", self.save)
        new_button = button(self, "&New", "Begin a new spec", self.start_new)
        for arrow in (self.up, self.down):
            arrow.setFixedWidth(2 * self.fontMetrics().height())
        tools = flowing(
            chips,
            self.specs,
            new_button,
            1,
            self.add_button,
            self.remove_button,
            self.up,
            self.down,
            self.split_button,
            self.part_button,
            self.card_button,
            self.save_button,
            margins=(6, 3, 6, 3),
            spacing=5,
        )
        self.heads: dict[Head, TypedField] = {}
        self.rule = QComboBox(self)
        self.rule.setAccessibleName(say("Decision rule"))
        self.rule.setToolTip(
            say("guarded: accepted only where the stated confidence is reached; simple: by the value alone")
        )
        offer(self.rule, [(say(name), name) for name in _RULES], "guarded")
        self.rule.activated.connect(lambda _at: self._on_head("rule", str(self.rule.currentData())))
        words: Sequence[tuple[Head, str, str]] = (
            ("title", marked("title"), say("What the spec is called on paper")),
            ("revision", marked("revision"), say("Its revision")),
            ("confidence", marked("at"), say("Confidence of a guarded decision, above 50 and below 100 %")),
            ("installed_height", say("installed height"), say("Height that seat forces are judged at")),
            ("valve_lift", say("valve lift"), say("Lift that open forces are judged at")),
        )
        em = self.fontMetrics().height()
        boxes: dict[str, QWidget] = {}
        for name, text, tip in words:
            field = TypedField(say("Spec {text}").format(text=say(text)), tip, self._reader(name), self)
            field.entered.connect(lambda value, name=name: self._on_head(name, str(value)))
            field.refused.connect(lambda sentence: self._say(sentence, "reject"))
            field.setFixedWidth(round(_WIDTHS[name] * em))
            self.heads[name] = field
            boxes[name] = labelled(self, text, field)
        rule = labelled(self, "rule", self.rule)
        self._fitting = [boxes["installed_height"], boxes["valve_lift"]]
        head = flowing(
            boxes["title"],
            boxes["revision"],
            rule,
            boxes["confidence"],
            *self._fitting,
            margins=(6, 0, 6, 3),
            spacing=10,
        )
        self.pages = Stack(self)
        for page in (self.table, self.bands, self.text):
            self.pages.addWidget(page)
        self.sentence.setContentsMargins(8, 2, 8, 3)
        stacked(self, tools, head, (self.pages, 1), self.sentence)
        self.bring("limits")

    def _reader(self, name: Head) -> Callable[[str], str]:
        """Reads a head as the spec would, so that a refusal is said at its field."""

        def read(text: str) -> str:
            try:
                spec_edit.with_head(self._text(), name, text, self.bench.document.units)
            except ValvelabError as refusal:
                raise BadQuantity(name, f"{text!r}", str(refusal)) from None
            return text

        return read

    # -- showing ----------------------------------------------------------------------------------------------------

    def _on_changed(self, document: Document) -> None:
        old, new = self._sheet, self._sheet_of(document)
        focus = QApplication.focusWidget()
        typed = old is None or (new is not None and old.file.path == new.file.path and old.text != new.text)
        if typed and focus is not None and self.isAncestorOf(focus):
            self._refresh(document)  # at once: no key meets an older text
        else:
            self.bench.turns.after("limits shown", lambda: self._refresh(self.bench.document))

    def _sheet_of(self, document: Document) -> Sheet | None:
        return spec_sheet.sheet_in_front(document, self._wanted.get(document.bay, ""))

    def _refresh(self, document: Document) -> None:
        if not self.isVisible():
            self._stale = True
            return
        self._stale = False
        self._sheet = sheet = self._sheet_of(document)
        keys = {} if sheet is None else sheet.keys
        key = (sheet, self._result(), document.units, document.bay)
        if self._shown is None or any(a is not b and a != b for a, b in zip(key, self._shown, strict=True)):
            before, self._shown = self._shown, key
            had = {"limits": len(self._rows), "bands": len(self._pieces)}
            self._rows = spec_sheet.limit_rows(keys, spec_sheet.judges(document), document.units, key[1])
            self._pieces = spec_sheet.band_rows(keys, key[1])
            same = before is not None and before[3] == document.bay and _path(before[0]) in {"", _path(sheet)}
            for name, rows in (("limits", self._rows), ("bands", self._pieces)):
                self._pending[name] = _still(self._pending[name], had[name], len(rows)) if same else {}
        self.table.show_rows(self._rows, document.units, self._pending["limits"])
        self.bands.show_rows(self._pieces, document.units, self._pending["bands"])
        self.text.show_text(self._text())
        self._show_heads(document, keys)
        self._say_place()

    _shown: tuple[Any, ...] | None = None
    _last: tuple[str, Result | None] = ("", None)

    def _show_heads(self, document: Document, keys: dict[str, Any]) -> None:
        named = [(file.name, file.path) for file in (*spec_sheet.broken_specs(document), *document.of_kind(SPEC))]
        if self._sheet is None:
            named.insert(0, (say("a new spec") if named else say("no spec yet"), ""))
        offer(self.specs, named, self._sheet.file.path if self._sheet else "")
        for name, field in self.heads.items():
            if not (field.hasFocus() and field.isModified()):
                field.setText(spec_edit.head_value(keys, name))
        offer(self.rule, [(say(name), name) for name in _RULES], spec_edit.head_value(keys, "rule"))
        for box in self._fitting:
            box.setVisible(document.bay == "springs")
        banded = document.bay == "lobes"
        self._chips.buttons()[1].setVisible(banded)
        if not banded and self.pages.currentIndex() == 1:
            self.bring("limits")
        self.card_button.setVisible(document.bay in _WITH_CARD and self.pages.currentIndex() == 0)
        self.save_button.setEnabled(self._sheet is not None)

    def heightForWidth(self, width: int) -> int:
        """The least height, or the sentence at the end would lie below what is seen of the page."""
        return least_height(self, width)

    def showEvent(self, event: Any) -> None:
        """Up to date once it is seen."""
        super().showEvent(event)
        if self._stale:
            self._refresh(self.bench.document)

    _stale = True

    def bring(self, name: str) -> None:
        """Bring the limits, the bands of envelopes or the text to the front."""
        self.pages.setCurrentIndex([one for one, _ in _PAGES].index(name))
        press(self._chips, {name})
        limits, bands = name == "limits", name == "bands"
        for one in (self.add_button, self.remove_button):
            one.setVisible(limits or bands)
        for one in (self.up, self.down, self.part_button):
            one.setVisible(limits)
        self.card_button.setVisible(limits and self.bench.document.bay in _WITH_CARD)
        self.split_button.setVisible(bands)
        self.add_button.setText(say("+ envel&ope…") if bands else say("+ l&imit"))
        self._say_place()

    def _say(self, sentence: str, colour: str = "quiet") -> None:
        self.sentence.setText(sentence)
        self.sentence.setToolTip(sentence)
        colour_text(self.sentence, colour)

    def _say_place(self) -> None:
        """What is wrong with the row in front, else with the spec, else what can be done."""
        name, table = ("bands", self.bands) if self.pages.currentIndex() == 1 else ("limits", self.table)
        place = table.currentIndex().row()
        pending = self._pending[name].get(place) or next(iter(self._pending[name].values()), None)
        row = table.spec_model.row(place) if place >= 0 else None
        if pending is not None:
            self._say(pending.sentence, "undecided" if pending.unfinished else "reject")
        elif self._sheet is not None and self._sheet.broken:
            self._say(say("✗ Limits can't be read: {broken}").format(broken=self._sheet.broken), "reject")
        elif row is not None and row.wrong:
            self._say(f"✗ {row.wrong}", "reject")
        elif self._sheet is None and (others := [file.name for file in self.bench.document.of_kind(SPEC)]):
            told = say(
                "What is typed here begins a new spec; {names} has no limits for this page and can be chosen above."
            )
            self._say(told.format(names=", ".join(others)))
        else:
            self._say(say(_HINT))

    def _offers(self, place: int, column: str) -> Sequence[Offer]:
        document = self.bench.document
        subjects = spec_sheet.judges(document)
        if column == "of":
            rows = spec_edit.offered(subjects)
            return [(row.name, _listed(row), _meaning(row, document.units)) for row in rows]
        if column != "items":
            return ()
        of = self.table.spec_model.cell(place, "of")
        known = spec_edit.meant(of, subjects)
        subject = "lobe" if self.pages.currentIndex() == 1 else known.subject if known is not None else ""
        return [(name, name, name) for name in spec_sheet.items_present(self._result(), subject)]

    def _result(self) -> Result | None:
        """The result of the bay in front; while the next one is worked out, the last."""
        document = self.bench.document
        bay = bays.by_name(document.bay)
        value = None if bay is None else bays.answer_value(document, bay)
        if bay is not None and value is not None:
            self._last = bay.name, bays.work_of(bay.name).result(value)
        elif self._last[0] != document.bay or bays.outstanding(document) is None:
            self._last = document.bay, None
        return self._last[1]

    # -- what a person does -----------------------------------------------------------------------------------------

    def open(self) -> None:
        """Ready to type: the empty row where there is none yet."""
        self._refresh(self.bench.document)
        self.table.setFocus(Qt.FocusReason.ShortcutFocusReason)
        if not self.table.currentIndex().isValid():
            self.table.setCurrentIndex(self.table.spec_model.index(0, 0))

    def add(self) -> None:
        """Type one more limit, or choose the nominal of one more envelope."""
        if self.pages.currentIndex() == 1:
            self._add_envelope()
        else:
            self.table.type_into(len(self.table.spec_model.rows))

    def _add_envelope(self) -> None:
        start = self.bench.start()
        name, _ = QFileDialog.getOpenFileName(
            self, say("Nominal lift table"), start, say("Tables (*.csv *.tsv *.txt *.xlsx)")
        )
        if name:
            self.add_envelope(name)

    def add_envelope(self, nominal: str, lobes: str = "all") -> None:
        """One more envelope about a nominal lift table."""
        old = self._sheet.file.path if self._sheet else TYPED
        home = Path(nominal).absolute().parent
        path, units = str(home / _NEW) if old.startswith(TYPED) else old, self.bench.document.units
        try:
            named = spec_sheet.named_from(path, nominal)
            text = spec_edit.with_envelope(self._text(), named, lobes, path, units)
        except ValvelabError as refusal:
            self._say(f"✗ {refusal}", "reject")
            return
        if old.startswith(TYPED):
            self.bench.history.apply(spec_sheet.with_home(self.bench.document, old, home, text), "add an envelope")
        else:
            self._write(text, "add an envelope")

    def remove(self) -> None:
        """Take the rows that are chosen out, else the one in front; one step of undo brings them back."""
        bands = self.pages.currentIndex() == 1
        name, table = ("bands", self.bands) if bands else ("limits", self.table)
        places = table.chosen_rows() or [table.currentIndex().row()]
        rows = [row for place in places if place >= 0 and (row := table.spec_model.row(place)) is not None]
        for place in places:
            self._pending[name].pop(place, None)
        if not rows:
            self._refresh(self.bench.document)
            return
        if bands:
            self._remove_pieces(rows)
        else:
            one = say("remove the {what} limit").format(what=rows[0].cells["of"])
            label = one if len(rows) == 1 else say("remove {count} limits").format(count=len(rows))
            self._do(label, lambda text: reduce(_without_limit, reversed(rows), text))
        table.rest_on(places[0])

    def _remove_pieces(self, rows: Sequence[spec_sheet.Row]) -> None:
        """Take pieces out of their bands; an envelope goes with the last of its pieces."""
        of = Counter(one.number for one in self.bands.spec_model.rows)
        gone = Counter(row.number for row in rows)

        def without(text: str) -> str:
            for number in sorted(gone, reverse=True):
                pieces = sorted((row.piece for row in rows if row.number == number), reverse=True)
                if gone[number] == of[number]:
                    text = without_row(text, "envelope", number)
                else:
                    text = reduce(lambda text, piece: spec_edit.without_piece(text, number, piece), pieces, text)
            return text

        envelopes = all(gone[number] == of[number] for number in gone)
        if len(rows) == 1 or (envelopes and len(gone) == 1):
            self._do("remove the envelope" if envelopes else "remove the piece", without)
        else:
            self._do(say("remove {count} pieces").format(count=len(rows)), without)

    def _split(self) -> None:
        if (row := self._band_row()) is not None:
            self._do("split the band", lambda text: spec_edit.with_split_piece(text, row.number, row.piece))

    def _band_row(self) -> spec_sheet.Row | None:
        place = self.bands.currentIndex().row()
        return self.bands.spec_model.row(place) if place >= 0 else None

    def _move(self, by: int) -> None:
        rows, place = self.table.spec_model.rows, self.table.currentIndex().row()
        to = place + by
        if not (0 <= place < len(rows) and 0 <= to < len(rows)):
            return
        number, far = rows[place].number, rows[to].number
        column = self.table.currentIndex().column()

        def moved(text: str) -> str:
            for at in range(number, far, by):
                text = with_moved_row(text, "limit", at, by)
            return text

        self._do(say("move the {what} limit").format(what=rows[place].cells["of"]), moved)
        self.table.setCurrentIndex(self.table.spec_model.index(to, column))

    def _on_limit(self, place: int, column: str, typed: str) -> None:
        row = self.table.spec_model.row(place)
        waiting = self._pending["limits"].get(place)
        cells = {**(waiting.cells if waiting is not None else {}), column: typed}
        if row is None and not any(text.strip() for text in cells.values()):
            self._pending["limits"].pop(place, None)
            self._refresh(self.bench.document)
            return
        number = None if row is None else row.number
        subjects, units = spec_sheet.judges(self.bench.document), self.bench.document.units
        of = cells.get("of", row.cells["of"] if row is not None else "").strip()
        label = f"add a {of} limit" if row is None else f"change the {of} limit"
        self._take(
            "limits", place, cells, label, lambda text: spec_edit.with_limit(text, number, cells, subjects, units)
        )

    def _on_band(self, place: int, column: str, typed: str) -> None:
        row = self.bands.spec_model.row(place)
        sheet = self._sheet
        if row is None or sheet is None:
            return
        units, path = self.bench.document.units, sheet.file.path
        self._take(
            "bands",
            place,
            {column: typed},
            "change the envelope",
            lambda text: spec_edit.with_band(text, row.number, row.piece, column, typed, units, path),
        )

    def _empty(self, name: str, chosen: dict[int, list[str]]) -> None:
        """Empty cells of several rows in one step; a row that is no limit without them keeps that as typed."""
        model, text = (self.bands if name == "bands" else self.table).spec_model, self._text()
        units, path = self.bench.document.units, self._sheet.file.path if self._sheet else TYPED
        subjects, pending = spec_sheet.judges(self.bench.document), self._pending[name]
        for place, columns in chosen.items():
            row, waiting = model.row(place), pending.pop(place, None)
            cells = {**(waiting.cells if waiting is not None else {}), **dict.fromkeys(columns, "")}
            if row is None:
                continue
            try:
                if name == "limits":
                    text = spec_edit.with_limit(text, row.number, cells, subjects, units)
                else:
                    for column in columns:
                        text = spec_edit.with_band(text, row.number, row.piece, column, "", units, path)
            except ValvelabError as refusal:
                pending[place] = _untaken(cells, refusal)
        if text != self._text():
            self._write(text, "empty cells")
        self._refresh(self.bench.document)

    def _take(self, name: str, place: int, cells: dict[str, str], label: str, edit: Callable[[str], str]) -> None:
        """Take what was typed in a row, or keep it there with the sentence that says why not."""
        waiting = self._pending[name].pop(place, None)
        try:
            new = edit(self._text())
        except ValvelabError as refusal:
            self._pending[name][place] = _untaken(cells, refusal)
            self._refresh(self.bench.document)
            return
        if new == self._text() and waiting is None:
            self._refresh(self.bench.document)
            return
        self._write(new, label)

    def _drop(self, name: str, place: int) -> None:
        """Forget what was typed in a row and not taken."""
        self._pending[name].pop(place, None)
        self._refresh(self.bench.document)

    def _do(self, label: str, edit: Callable[[str], str]) -> None:
        try:
            self._write(edit(self._text()), label)
        except ValvelabError as refusal:
            self._say(f"✗ {refusal}", "reject")

    def _on_head(self, name: Head, typed: str) -> None:
        units = self.bench.document.units
        self._do(
            say("change the spec's {replace}").format(replace=name.replace("_", " ")),
            lambda text: spec_edit.with_head(text, name, typed, units),
        )

    def _on_text(self, typed: str) -> None:
        if typed != self._text():
            self._write(typed, "type the spec")

    def _text(self) -> str:
        """The text that edits start from."""
        if self._sheet is None:
            return spec_sheet.new_spec(self.bench.document)
        return self._sheet.text

    def _write(self, text: str, label: str) -> None:
        if self._sheet is None:
            self.bench.type_table(_NEW, SPEC, text, label)
        else:
            if comments_lost(self._sheet.text, text):
                self.bench.said.emit(
                    say("{name} was written anew: comments between its lines are gone").format(
                        name=self._sheet.file.name
                    )
                )
            self.bench.retype(self._sheet.file.path, text, label)

    def from_part(self) -> PartLimits:
        """Ask which limits are to be made of what was measured, and make them."""
        document = self.bench.document
        asked = PartLimits(spec_edit.offered(spec_sheet.judges(document)), document.units, document.bay, self)
        asked.wanted.connect(self._make_from_part)
        asked.open()
        return asked

    def _make_from_part(self, wishes: list[Wish], spread: Spread) -> None:
        document = self.bench.document
        self.bench.ask(
            say("Measuring for limits"),
            "limits",
            lambda: from_part(document, wishes, spread, document.units),
            self._add_made,
        )

    def _add_made(self, rows: list[dict[str, Any]]) -> None:
        self._do(
            say("add {count} limits from this part").format(count=len(rows)),
            lambda text: spec_edit.with_rows(text, rows),
        )

    def from_card(self) -> None:
        """Ask for a tolerance, and make limits of the cam card."""
        sides, said = QInputDialog.getText(
            self, say("Limits from the card"), say("± for centrelines and durations, crank deg"), text="1"
        )
        if said:
            self.make_from_card(sides)

    def make_from_card(self, sides: str) -> None:
        """Limits of the cam card with a tolerance."""
        document = self.bench.document
        card = phasing_bay.sheet_in_front(document).card
        self._do(
            "add limits from the card",
            lambda text: spec_edit.with_rows(text, from_card(card, document.bay, sides)),
        )

    def start_new(self) -> None:
        """A new spec in front."""
        self._sheet = None
        self.bench.type_table(_NEW, SPEC, spec_sheet.new_spec(self.bench.document), "begin a spec")
        self.table.setCurrentIndex(self.table.spec_model.index(0, 0))

    def _use(self, path: str) -> None:
        if path:
            self._wanted[self.bench.document.bay] = path
            self.bench.use_file(path)
            self._refresh(self.bench.document)

    def save(self) -> None:
        """Choose a file and write the spec to it."""
        if self._sheet is not None:
            file = self._sheet.file
            start = self.bench.suggested(_NEW) if file.path.startswith(TYPED) else file.path
            save_as(self, say("Save spec"), start, say("Spec (*.toml)"), self.save_to)

    def save_to(self, path: Path) -> None:
        """Write the spec and work on from that file."""
        sheet, whole = self._sheet, path.absolute()
        if sheet is None:
            return
        try:
            text = spec_sheet.text_for(sheet.text, sheet.file.path, str(whole))
        except ValvelabError:
            text = sheet.text
        if self.bench.write(whole, text, "Spec written", SPEC):
            document = spec_sheet.saved_as(self.bench.document, sheet.file.path, str(whole))
            self.bench.history.apply(document, "save the spec")
            self.bench.done.emit(Problem("info", whole.name, say("Spec written: {whole}").format(whole=whole)))


class _SpecText(QPlainTextEdit):
    """The spec as text; `left(text)` when it was edited and is left."""

    left = Signal(str)

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.setAccessibleName(say("Text of the spec"))
        self.setFrameShape(QPlainTextEdit.Shape.NoFrame)
        self.setTabChangesFocus(True)

    def show_text(self, text: str) -> None:
        """Show a text; one that is being typed stays."""
        if not self.document().isModified() and text != self.toPlainText():
            self.setPlainText(text)

    def focusOutEvent(self, event: Any) -> None:
        """What was typed counts."""
        super().focusOutEvent(event)
        if self.document().isModified():
            self.document().setModified(False)
            self.left.emit(self.toPlainText())
