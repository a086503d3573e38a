"""Work in a thread of its own."""

from __future__ import annotations

from collections.abc import Callable
from threading import Thread
from typing import Generic, TypeVar

Answer = TypeVar("Answer")
LOOK_EVERY_S = 0.02


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
