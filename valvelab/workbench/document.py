"""The document: everything the window shows, frozen.

Two halves live side by side. What a person decided (files, column assignments, choices, units) is what undo brings
back. What the program found out (contents of files, answers to questions) is keyed by what it was found out from, so it
survives an undo and never belongs to another state.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal, TypeVar

from valvelab.units import System

if TYPE_CHECKING:
    from valvelab.files.table import Preview

Choice = str | float | bool
Value = TypeVar("Value")
_NOTHING: Mapping[str, object] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class BenchFile:
    """A file on the bench.

    `columns` is its column assignment, with the `kind` stated there; both None where the file says them itself.
    """

    path: str
    columns: str | None = None
    kind: str | None = None

    @property
    def name(self) -> str:
        """File name without its folder."""
        return Path(self.path).name


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
class Answer:
    """The answer to a question, kept under the question's key; `failure` is a sentence where there is no value."""

    key: object
    value: object | None = None
    failure: str | None = None


@dataclass(frozen=True, slots=True)
class Document:
    """The whole bench.

    files: in the order they came. station: the name of the one in front. choices: by station, then by name, plain
    values only, so that they can be kept for recovery. current: by kind, the path of the file in use. contents and
    answers: found out by the program; see the module text.
    """

    files: tuple[BenchFile, ...] = ()
    station: str = ""
    choices: Mapping[str, Mapping[str, Choice]] = field(default_factory=lambda: MappingProxyType({}))
    current: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    units: System = "metric"
    contents: Mapping[BenchFile, Content] = field(default_factory=lambda: MappingProxyType({}))
    answers: Mapping[str, Answer] = field(default_factory=lambda: MappingProxyType({}))

    def content(self, file: BenchFile) -> Content | None:
        """Content of a file, None while it has not been read."""
        return self.contents.get(file)

    def file(self, path: str) -> BenchFile | None:
        """The bench file of that path."""
        return next((file for file in self.files if file.path == path), None)

    def choice(self, station: str, name: str, default: Value) -> Value:
        """A station's choice; the default where none was made or where it has another type."""
        value = self.choices.get(station, _NOTHING).get(name)
        return value if isinstance(value, type(default)) else default

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

    def value_in_use(self, kind: str) -> tuple[BenchFile, object] | None:
        """The file of a kind that inspections use, with what it was read as."""
        file = self.in_use(kind)
        content = None if file is None else self.content(file)
        return None if file is None or content is None or content.value is None else (file, content.value)

    def unread(self) -> tuple[BenchFile, ...]:
        """Files still to be read."""
        return tuple(file for file in self.files if file not in self.contents)

    def waiting_for_columns(self) -> tuple[BenchFile, ...]:
        """Files that can be read once their columns are assigned."""
        return tuple(file for file in self.files if (c := self.content(file)) and c.preview is not None)

    def problems(self) -> tuple[Problem, ...]:
        """Everything that went wrong with files, and the failure of the station in front."""
        rows = [c.problem for file in self.files if (c := self.content(file)) and c.problem is not None]
        answer = self.answers.get(self.station)
        if answer is not None and answer.failure:
            rows.append(Problem("error", self.station, answer.failure))
        return tuple(rows)
