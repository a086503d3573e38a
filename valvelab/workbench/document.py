"""The document: everything the window shows, frozen.

Two halves live side by side. What a person decided (files, column assignments, states of the bays, units) is what
undo brings back. What the program found out (contents of files, answers to questions) is keyed by what it was found out
from, so it survives an undo and never belongs to another state.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Generic, Literal, TypeVar, cast

from valvelab.files.contents import Contents, Given
from valvelab.phrase import Phrase
from valvelab.units import System
from valvelab.workbench.state import BayState

if TYPE_CHECKING:
    from valvelab.files.table import Preview
    from valvelab.records.particulars import Particulars

Value = TypeVar("Value")
State = TypeVar("State", bound=BayState)


class Kind(str, Generic[Value]):
    """The name of a kind of file, and the type that such a file is read as."""

    __slots__ = ()


@dataclass(frozen=True, slots=True)
class BenchFile:
    """A file on the bench.

    `columns` is its column assignment, with the `kind` stated there; both None where the file says them itself.
    `text` is what was typed: a table that lies in no file, or what counts in place of what the file holds.
    """

    path: str
    columns: str | None = None
    kind: str | None = None
    text: str | None = None

    @property
    def name(self) -> str:
        """File name without its folder."""
        return Path(self.path).name

    @property
    def given(self) -> Given:
        """What readers read: what was typed, else the file."""
        return self.path if self.text is None else Contents.of(self.path, self.text.encode())


TYPED = "typed/"
"""Start of the paths of tables that were typed and lie in no file."""


@dataclass(frozen=True, slots=True)
class Paper:
    """A certificate that was written from the bench: where it lies, its number and its date."""

    path: str
    number: str
    made: str


@dataclass(frozen=True, slots=True)
class Problem:
    """One row of the problems list: what about, what is wrong, in one sentence."""

    level: Literal["error", "warning", "info"]
    about: str
    text: str


@dataclass(frozen=True, slots=True, eq=False)
class Content:
    """What reading a file gave: a kind with a value, or a problem, or a preview that asks for columns.

    `stamp` tells one reading from another, for the keys of questions.
    """

    kind: str
    value: object | None = None
    problem: Problem | None = None
    preview: Preview | None = None
    stamp: int = field(default_factory=count().__next__)


@dataclass(frozen=True, slots=True, eq=False)
class Answer(Generic[Value]):
    """The answer to a question, kept under the question's key; `failure` is a sentence where there is no value."""

    key: object
    value: Value | None = None
    failure: str | None = None


@dataclass(frozen=True, slots=True)
class Document:
    """The whole bench.

    files: in the order they came. bay: the name of the one in front. states: what was decided at each bay, by
    the type of its state. columns_of: path of the file whose columns are asked for. current: by kind, the path of the
    file in use. job: path of the job file that the bench is kept in, with the SHA-256 of what was read or saved there.
    papers: certificates written from the bench. particulars: what they say besides what was inspected; None while
    nothing was stated. contents and answers: found out by the program; see the module text. asked: the questions of
    this very document by bay, once somebody wanted them (`bays.question_of`).
    """

    files: tuple[BenchFile, ...] = ()
    bay: str = ""
    states: Mapping[type[BayState], BayState] = field(default_factory=lambda: MappingProxyType({}))
    columns_of: str = ""
    current: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    units: System = "metric"
    job: str = ""
    job_sha256: str = ""
    papers: tuple[Paper, ...] = ()
    particulars: Particulars | None = None
    contents: Mapping[BenchFile, Content] = field(default_factory=lambda: MappingProxyType({}))
    answers: Mapping[str, Answer[Any]] = field(default_factory=lambda: MappingProxyType({}))
    asked: dict[str, Any] = field(init=False, compare=False, repr=False, default_factory=dict)

    def content(self, file: BenchFile) -> Content | None:
        """Content of a file, None while it has not been read."""
        return self.contents.get(file)

    def file(self, path: str) -> BenchFile | None:
        """The bench file of that path."""
        return next((file for file in self.files if file.path == path), None)

    def state(self, kind: type[State]) -> State:
        """What was decided at a bay; as it is at first while nothing was."""
        found = self.states.get(kind)
        return found if isinstance(found, kind) else kind()

    def of_kind(self, *kinds: str) -> tuple[BenchFile, ...]:
        """Files read as one of these kinds, in bench order."""
        return tuple(
            file for file in self.files if (c := self.content(file)) and c.value is not None and c.kind in kinds
        )

    def in_use(self, kind: str) -> BenchFile | None:
        """The file of a kind that inspections use: the one chosen, else the first that can be used."""
        candidates = self.of_kind(kind)
        chosen = self.current.get(kind)
        return next((file for file in candidates if file.path == chosen), candidates[0] if candidates else None)

    def value_of(self, file: BenchFile, kind: Kind[Value]) -> Value | None:
        """What a file was read as; None where it was not read as that kind."""
        content = self.content(file)
        return cast("Value", content.value) if content is not None and content.kind == kind else None

    def value_in_use(self, kind: Kind[Value]) -> tuple[BenchFile, Value] | None:
        """The file of a kind that inspections use, with what it was read as."""
        file = self.in_use(kind)
        value = None if file is None else self.value_of(file, kind)
        return None if file is None or value is None else (file, value)

    def values_of(self, kind: Kind[Value]) -> tuple[tuple[BenchFile, Value], ...]:
        """Every file of a kind, with what it was read as."""
        found = ((file, self.value_of(file, kind)) for file in self.of_kind(kind))
        return tuple((file, value) for file, value in found if value is not None)

    def unread(self) -> tuple[BenchFile, ...]:
        """Files still to be read."""
        return tuple(file for file in self.files if file not in self.contents)

    def waiting_for_columns(self) -> tuple[BenchFile, ...]:
        """Files that can be read once their columns are assigned."""
        return tuple(file for file in self.files if (c := self.content(file)) and c.preview is not None)

    def problems(self) -> tuple[Problem, ...]:
        """Everything that went wrong with files, and the failure of the bay in front."""
        rows = [c.problem for file in self.files if (c := self.content(file)) and c.problem is not None]
        answer = self.answers.get(self.bay)
        if answer is not None and answer.failure:
            rows.append(Problem("error", self.bay, answer.failure))
        return tuple(rows)


def in_names(files: Iterable[BenchFile], text: str) -> str:
    """A sentence that names the files of a bench as the bench does, wherever they lie."""
    for file in sorted(files, key=lambda file: -len(file.path)):
        if file.path in text:
            text = _renamed(text, file.path, file.name)
    return text


def _renamed(text: str, path: str, name: str) -> str:
    """A text with another name in it; a phrase stays one, which another language puts together its own way."""
    if not isinstance(text, Phrase):
        return text.replace(path, name)
    return Phrase(text.template, **{place: _renamed(part, path, name) for place, part in text.fields.items()})
