"""What is asked of every file of a batch, and what comes back from the process that did it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal, Protocol

from valvelab import __version__
from valvelab.tables.item_rows import Value

Sources = tuple[tuple[str, str], ...]
"""Files and their SHA-256."""


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked of every file alike.

    spec: a file's path; spec_digest: of its bytes and those of its nominal tables; store: the place of the records,
    where they are asked.
    """

    spec: str | None = None
    spec_digest: str = ""
    store: str | None = None


@dataclass(frozen=True, slots=True)
class Task:
    """One file or record. name: what it goes by, and is sorted by; path: where it lies, or the record's whole name.

    known: the files that an earlier run read for it, where it is inspected again only if one of them changed; None
    where no run did.
    """

    name: str
    path: str
    known: Sources | None = None


@dataclass(frozen=True, slots=True)
class Found:
    """What an inspection gave of a file of this name and SHA-256.

    sources: every file that it read and that may change; rows: the cells of each item by their heads; verdicts: what
    was held against limits, as JSON has it, each with its date where one is known; warnings: what a reader has to know.
    """

    name: str
    sha256: str
    sources: Sources
    rows: tuple[Mapping[str, Value], ...]
    verdicts: tuple[Mapping[str, Any], ...]
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Answer:
    """How a task ended; `reason` of a failure."""

    ended: Literal["found", "unchanged", "passed over", "failed"]
    found: Found | None = None
    reason: str = ""
    version: str = field(default=__version__)


class Pool(Protocol):
    """Whatever does tasks, several at a time and in any order."""

    def has_room(self) -> bool:
        """Whether it takes another task now."""

    def start(self, number: int, task: Task) -> None:
        """Begin a task."""

    def finished(self) -> Iterator[tuple[int, Answer]]:
        """The answers that are there, at least one: waits for it."""
