"""Workers beyond this machine, through a Dask scheduler: they have this valvelab and see the same files.

A worker that ends midway costs nothing: the scheduler gives its tasks to others, three times over.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator
from math import inf
from queue import Empty, SimpleQueue
from time import monotonic
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

from valvelab import __version__
from valvelab.batch.one_file import answer_to
from valvelab.batch.task import Answer, Question, Task
from valvelab.errors import ClusterError, WrongUsage, one_line

if TYPE_CHECKING:
    from distributed import Client, Future

_EXTRA = "--scheduler: found no Dask, expected valvelab[cluster] (pip install 'valvelab[cluster]')"
FIRST_WAIT_S = 10.0
_WITHOUT_WORKERS_S = 60.0
_LOOK_S = 1.0
_AHEAD = 2
"""Tasks begun for each thread of the workers: one that it does, and one that already lies with it."""


class Cluster:
    """The workers of a scheduler at an address such as `tcp://gauge-room:8786`."""

    def __init__(self, address: str, question: Question) -> None:
        self._address = address
        self._question = question
        self._done: SimpleQueue[tuple[int, Future]] = SimpleQueue()
        self._begun = 0
        self._room = 0
        self._looked = -inf

    def __enter__(self) -> Self:
        """Reach the scheduler, and see that its workers have this valvelab. Raises ClusterError."""
        try:
            from distributed import Client
        except ImportError:
            raise WrongUsage(_EXTRA) from None
        try:
            # what becomes of workers and tasks is said here, a sentence each
            logging.getLogger("distributed").setLevel(logging.CRITICAL)
            self._client: Client = Client(self._address, timeout=FIRST_WAIT_S, set_as_default=False)
        except (OSError, ValueError) as error:
            raise self._refusal(f"no scheduler ({one_line(str(error))[:120]})", "one that runs") from None
        try:
            self._client.wait_for_workers(1, timeout=FIRST_WAIT_S)
            self._check_workers()
        except TimeoutError:
            self._client.close()
            raise self._refusal("no worker", "one at least") from None
        except BaseException:
            self._client.close()
            raise
        return self

    def __exit__(
        self, _kind: type[BaseException] | None, _error: BaseException | None, _trace: TracebackType | None
    ) -> None:
        """Leave the scheduler; what it still has of this batch it drops."""
        self._client.close()

    def has_room(self) -> bool:
        """Whether the workers could begin another task soon; workers come and go."""
        now = monotonic()
        if self._begun >= self._room and now - self._looked >= _LOOK_S:
            self._room, self._looked = _AHEAD * self._threads(), now
        return self._begun < max(1, self._room)

    def start(self, number: int, task: Task) -> None:
        """Give a task to the scheduler."""
        self._begun += 1
        future = self._client.submit(answer_to, self._question, task, pure=False)
        future.add_done_callback(lambda done: self._done.put((number, done)))

    def finished(self) -> Iterator[tuple[int, Answer]]:
        """The answers that are there, at least one: waits for it. Raises ClusterError where none can come any more."""
        number, future = self._next()
        while True:
            self._begun -= 1
            if future.cancelled():  # as all are whose scheduler is gone
                raise self._lost()
            yield number, _answer(future)
            future.release()
            if self._done.empty():
                return
            number, future = self._done.get()

    def _next(self) -> tuple[int, Future]:
        idle_s = 0.0
        while True:
            try:
                return self._done.get(timeout=_LOOK_S)
            except Empty:
                if self._client.status != "running":
                    raise self._lost() from None
                idle_s = 0.0 if self._threads() else idle_s + _LOOK_S
                if idle_s >= _WITHOUT_WORKERS_S:
                    raise self._refusal(f"no worker for {idle_s:.0f} s", "one at least") from None

    def _threads(self) -> int:
        try:
            return sum(self._client.nthreads().values())
        except OSError:
            raise self._lost() from None

    def _check_workers(self) -> None:
        try:
            versions: dict[str, Any] = self._client.run(version, on_error="return")
        except OSError:
            raise self._lost() from None
        for worker, found in versions.items():
            if isinstance(found, Exception):
                raise self._refusal(f"no valvelab at the worker {worker}", f"valvelab {__version__} at each")
            if found != __version__:
                raise self._refusal(f"valvelab {found} at the worker {worker}", f"valvelab {__version__} at each")

    def _lost(self) -> ClusterError:
        return self._refusal("a scheduler that no longer answers", "one that runs")

    def _refusal(self, found: str, expected: str) -> ClusterError:
        return ClusterError(self._address, found, expected)


def version() -> str:
    """The version of whatever process is asked."""
    return __version__


def _answer(future: Future) -> Answer:
    """The answer of a task, or why there is none."""
    from distributed import KilledWorker

    error = future.exception()
    if error is None:
        found: Answer = future.result()
        return found
    if isinstance(error, KilledWorker):
        return Answer("failed", reason="every worker that was given it ended, most often for want of memory")
    return Answer("failed", reason=f"the cluster did not do it ({type(error).__name__}: {one_line(str(error))[:120]})")
