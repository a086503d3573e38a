"""The window goes first: while it draws or takes something up, background work waits between two of its pieces.

Python runs one thread at a time. Beside a thread that works, each of the thousand calls between Qt and Python that a
page is drawn with waits for its turn, and a page that is drawn in 30 ms takes seconds.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from threading import Event
from typing import TypeVar

from valvelab.pieces import letting_by

Value = TypeVar("Value")

MOST_S = 0.25
"""Longest that background work waits for one turn of the window, which may itself wait for that work."""


class RightOfWay:
    """Of a window's thread over those that work for it."""

    def __init__(self) -> None:
        self._free = Event()
        self._free.set()
        self._depth = 0
        self._turn = 0
        self._outwaited = 0

    @contextmanager
    def taken(self) -> Iterator[None]:
        """Work of the window, in its thread alone; within itself as well."""
        self._depth += 1
        if self._depth == 1:
            self._turn += 1
            self._free.clear()
        try:
            yield
        finally:
            self._depth -= 1
            if not self._depth:
                self._free.set()

    def beside(self, work: Callable[[], Value]) -> Value:
        """Do a piece of work in another thread, which waits in between while the window works."""
        with letting_by(self._give):
            return work()

    def _give(self) -> None:
        turn = self._turn
        if turn != self._outwaited and not self._free.wait(MOST_S):
            self._outwaited = turn
