"""Tasks done side by side, their answers in the order of the tasks, and never more than a few of both held."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator

from valvelab.batch.task import Answer, Pool, Task

HELD = 256
"""How far ahead of the slowest task the others may run."""


def in_order(tasks: Iterable[Task], pool: Pool, held: int = HELD) -> Iterator[tuple[Task, Answer]]:
    """Each task with its answer, in the order of the tasks; at most `held` are begun or wait to be handed on."""
    left = iter(tasks)
    waiting: deque[tuple[int, Task]] = deque()
    done: dict[int, Answer] = {}
    begun, more = 0, True
    while True:
        while more and len(waiting) < held and pool.has_room():
            task = next(left, None)
            if task is None:
                more = False
            else:
                pool.start(begun, task)
                waiting.append((begun, task))
                begun += 1
        if not waiting:
            return
        if waiting[0][0] in done:
            number, task = waiting.popleft()
            yield task, done.pop(number)
        else:
            done.update(pool.finished())
