"""Processes of this machine that inspect files; a file that ends its process costs that file and nothing else."""

from __future__ import annotations

import contextlib
import os
import signal
from collections.abc import Iterator
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from types import TracebackType
from typing import Any, Self

from valvelab.batch.ahead import context
from valvelab.batch.task import Answer, Question, Task

_LAST_WAIT_S = 1.0


def usable_processors() -> int:
    """How many processors this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


@dataclass(slots=True)
class _Worker:
    process: Any
    pipe: Connection
    number: int | None = None


class Workers:
    """So many processes, each with one task at a time; one that dies is replaced and its task has failed."""

    def __init__(self, count: int, question: Question) -> None:
        self._count = count
        self._question = question
        self._context = context()
        self._workers: list[_Worker] = []

    def __enter__(self) -> Self:
        """Start them."""
        self._workers = [self._new() for _ in range(self._count)]
        return self

    def __exit__(
        self, kind: type[BaseException] | None, _error: BaseException | None, _trace: TracebackType | None
    ) -> None:
        """End them: they end by themselves once nobody asks any more, at once where something went wrong."""
        for worker in self._workers:
            worker.pipe.close()
            if kind is not None:
                worker.process.terminate()
        for worker in self._workers:
            worker.process.join(_LAST_WAIT_S)
            if worker.process.is_alive():
                worker.process.kill()
                worker.process.join()

    def has_room(self) -> bool:
        """Whether a process is idle."""
        return any(worker.number is None for worker in self._workers)

    def start(self, number: int, task: Task) -> None:
        """Give a task to an idle process."""
        place = next(place for place, worker in enumerate(self._workers) if worker.number is None)
        if not self._workers[place].process.is_alive():  # no task's fault
            self._workers[place].pipe.close()
            self._workers[place] = self._new()
        worker = self._workers[place]
        worker.number = number
        with contextlib.suppress(OSError):  # it ended this moment, which is found when its answer is waited for
            worker.pipe.send(task)

    def finished(self) -> Iterator[tuple[int, Answer]]:
        """The answers that are there, at least one: waits for it."""
        ready = wait([worker.pipe for worker in self._workers if worker.number is not None])
        for place, worker in enumerate(self._workers):
            if worker.pipe in ready and worker.number is not None:
                number, worker.number = worker.number, None
                try:
                    yield number, worker.pipe.recv()
                except (EOFError, OSError):
                    yield number, Answer("failed", reason=_how_it_ended(worker))
                    self._workers[place] = self._new()

    def _new(self) -> _Worker:
        ours, theirs = self._context.Pipe()
        process = self._context.Process(target=serve, args=(theirs, self._question), daemon=True)  # type: ignore[attr-defined]
        process.start()
        theirs.close()
        return _Worker(process, ours)


def _how_it_ended(worker: _Worker) -> str:
    """Why a process is no more, as far as the system tells."""
    worker.pipe.close()
    worker.process.join(_LAST_WAIT_S)
    code = worker.process.exitcode
    if code is None:
        worker.process.kill()
        worker.process.join()
        return "its process no longer answered"
    if code >= 0:
        return f"its process ended with exit code {code}"
    name = signal.Signals(-code).name if -code in set(signal.Signals) else f"signal {-code}"
    return f"its process was ended by {name}" + (", most often for want of memory" if name == "SIGKILL" else "")


def serve(pipe: Connection, question: Question) -> None:
    """Answer tasks until nobody asks any more; the keyboard's interrupt is for the process that asks."""
    from valvelab.batch.one_file import answer_to

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with contextlib.suppress(EOFError, OSError):
        while True:
            pipe.send(answer_to(question, pipe.recv()))
