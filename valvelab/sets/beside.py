"""Work in a thread of its own."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from threading import Lock, Thread
from typing import Generic, TypeVar

Answer = TypeVar("Answer")
LOOK_EVERY_S = 0.02
TURN_S = 2e-4
"""A search never waits for anything; with turns of the usual 5 ms a thread beside it would crawl."""


class _Turns:
    """The interpreter's turns while any search wants them short: it has one setting for all of them."""

    def __init__(self) -> None:
        self.lock = Lock()
        self.wanted_by = 0
        self.usual = 0.0

    def shorten(self) -> None:
        with self.lock:
            if self.wanted_by == 0:
                self.usual = sys.getswitchinterval()
                sys.setswitchinterval(min(TURN_S, self.usual))
            self.wanted_by += 1

    def give_back(self) -> None:
        with self.lock:
            self.wanted_by -= 1
            if self.wanted_by == 0:
                sys.setswitchinterval(self.usual)


_TURNS = _Turns()


@contextmanager
def short_turns() -> Iterator[None]:
    """Threads take short turns meanwhile; the last of overlapping searches to end gives back what the first found."""
    _TURNS.shorten()
    try:
        yield
    finally:
        _TURNS.give_back()


class Beside(Generic[Answer]):
    """Work that begins at once in a thread of its own; what goes wrong in it is raised where its answer is wanted."""

    def __init__(self, work: Callable[[], Answer]) -> None:
        self._answer: list[Answer] = []
        self._failure: BaseException | None = None
        self._thread = Thread(target=self._run, args=(work,), daemon=True)
        self._thread.start()

    def _run(self, work: Callable[[], Answer]) -> None:
        try:
            self._answer.append(work())
        except BaseException as error:  # noqa: BLE001 - raised again in the waiting thread
            self._failure = error

    def wait(self, enough: Callable[[], bool]) -> bool:
        """Wait until the work is done, but no longer than until `enough` says so; whether it is done."""
        while self._thread.is_alive() and not enough():
            self._thread.join(LOOK_EVERY_S)
        return not self._thread.is_alive()

    def answer(self) -> Answer:
        """The answer, waited for."""
        self._thread.join()
        if self._failure is not None:
            raise self._failure
        return self._answer[0]
