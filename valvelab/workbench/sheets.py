"""Sheets that are typed at a bay: the one in front as it stands, whether it was read from a file or begun blank."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Generic, TypeVar

from valvelab.records.result import Source
from valvelab.workbench import edits
from valvelab.workbench.contents import with_text
from valvelab.workbench.document import TYPED, BenchFile, Document, Kind
from valvelab.workbench.state import BayState, Kept, keyed, with_item

Sheet = TypeVar("Sheet")
_NO_FILE = "no file"


def kept_sheets(text: Callable[[Sheet], str], parse: Callable[[str], Sheet]) -> Any:
    """The field of a state that holds its sheets, by the path of the file they were read from, "" for a new one."""

    def written(sheets: Mapping[str, Sheet]) -> dict[str, str]:
        return {path: text(sheet) for path, sheet in sheets.items()}

    def read(texts: Mapping[str, str]) -> dict[str, Sheet]:
        return {path: parse(known) for path, known in texts.items()}

    return keyed(Kept(written, read))


@dataclass(frozen=True, slots=True)
class SheetState(BayState):
    """Base of a state with sheets: those that stand in no file as they are, and the file that a new one lies before."""

    beside: str = ""

    @property
    def sheets(self) -> Mapping[str, Any]:
        """Sheets that stand in no file as they are."""
        raise NotImplementedError

    @property
    def unsaved(self) -> bool:
        """Whether a sheet was typed that no file holds."""
        return bool(self.sheets)


@dataclass(frozen=True, slots=True)
class Sheets(Generic[Sheet]):
    """The sheets of one bay. blank: a new one. text: as TOML. file: what a new one is called."""

    bay: str
    kind: Kind[tuple[Sheet, Source]]
    state: type[SheetState]
    blank: Callable[[], Sheet]
    text: Callable[[Sheet], str]
    file: str

    def file_in_front(self, document: Document) -> BenchFile | None:
        """The sheet's file; None while a new sheet is in front."""
        file = document.in_use(self.kind)
        return None if file is None or document.state(self.state).beside == file.path else file

    def as_read(self, document: Document) -> tuple[Sheet, Source] | None:
        """What the file in front was read as."""
        file = self.file_in_front(document)
        return None if file is None else document.value_of(file, self.kind)

    def typed(self, document: Document) -> Sheet | None:
        """What was typed of the sheet in front; None where it reads as its file."""
        found: Sheet | None = document.state(self.state).sheets.get(_key(self.file_in_front(document)))
        return found

    def in_front(self, document: Document) -> Sheet:
        """The sheet as it stands: what was typed, else the file's, else a blank one."""
        read = self.as_read(document)
        return self.typed(document) or (self.blank() if read is None else read[0])

    def source(self, document: Document) -> Source | None:
        """The identity of the file that the sheet reads as; None where it stands in no file as it is."""
        read = self.as_read(document)
        return read[1] if read is not None and read[0] == self.in_front(document) else None

    def with_sheet(self, document: Document, sheet: Sheet) -> Document:
        """The document with this sheet in front; one that reads as its file does is not kept beside it."""
        read = self.as_read(document)
        key = _key(self.file_in_front(document))
        return self._changed(document, {key: None if read is not None and read[0] == sheet else sheet})

    def with_new(self, document: Document) -> Document:
        """The document with a blank sheet in front, or the one begun before a file came to the front; files stay."""
        file = document.in_use(self.kind)
        begun = document.state(self.state).sheets.get("") if self.file_in_front(document) is not None else None
        with_new = self._changed(document, {"": begun}, beside=file.path if file else _NO_FILE)
        return edits.go_to_bay(with_new, self.bay)

    def saved_as(self, document: Document, path: str) -> Document:
        """The document after the sheet was written to `path`: that file is on the bench, read anew, in front."""
        cleared = self._changed(document, {_key(self.file_in_front(document)): None, path: None}, beside="")
        with_file = edits.add_files(edits.forget_file(cleared, path), [path])
        return replace(with_file, current={**with_file.current, self.kind: path})

    def written(self, document: Document, _value: object) -> Document:
        """The document whose sheet in front reads as it stands."""
        file = self.file_in_front(document)
        if self.typed(document) is None:
            return document
        path = file.path if file else f"{TYPED}sheet/{self.file}"
        cleared = self._changed(document, {_key(file): None}, beside="")
        return with_text(cleared, path, self.kind, self.text(self.in_front(document)))

    def _changed(self, document: Document, changed: Mapping[str, Sheet | None], **fields: str) -> Document:
        sheets = document.state(self.state).sheets
        for key, sheet in changed.items():
            sheets = with_item(sheets, key, sheet)
        return edits.set_fields(document, self.state, sheets=sheets, **fields)


def _key(file: BenchFile | None) -> str:
    return file.path if file else ""
