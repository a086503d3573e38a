"""Long work in pieces, between which whoever has it done lets others by; by itself it goes straight on."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TypeVar

Piece = TypeVar("Piece")

_LET_BY: ContextVar[Callable[[], object] | None] = ContextVar("let by", default=None)


def in_pieces(work: Iterable[Piece]) -> Iterable[Piece]:
    """The same things one by one, with a rest before each where this thread's work `is_letting_by`."""
    let_by = _LET_BY.get()
    return work if let_by is None else _rested(work, let_by)


def _rested(work: Iterable[Piece], let_by: Callable[[], object]) -> Iterator[Piece]:
    for piece in work:
        let_by()
        yield piece


def rest() -> None:
    """A place between two pieces of work."""
    let_by = _LET_BY.get()
    if let_by is not None:
        let_by()


@contextmanager
def letting_by(rest: Callable[[], object]) -> Iterator[None]:
    """Have this thread's work rest between its pieces: `rest` comes back when it may go on."""
    before = _LET_BY.set(rest)
    try:
        yield
    finally:
        _LET_BY.reset(before)
