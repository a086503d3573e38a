"""Work in a thread of its own, left behind when it overstays."""

from __future__ import annotations

from collections.abc import Callable
from threading import Thread
from typing import TypeVar

from valvelab.sets.tray import Watch

Answer = TypeVar("Answer")
LOOK_EVERY_S = 0.02
GRACE_S = 0.5
"""Time for the work to end by itself and hand over the best it has."""


def beside(work: Callable[[], Answer], watch: Watch) -> Answer | None:
    """The answer of work that can't be interrupted; None when the watch cancels or its time is over.

    A solver looks at its own time limit too seldom to be waited for; one that is left behind ends there. What goes
    wrong in the work is raised here.
    """
    answers: list[Answer] = []
    failures: list[BaseException] = []

    def run() -> None:
        try:
            answers.append(work())
        except BaseException as error:  # noqa: BLE001 - raised again in the waiting thread
            failures.append(error)

    thread = Thread(target=run, daemon=True)
    thread.start()
    while thread.is_alive() and not (watch.cancelled() or watch.seconds_left() < -GRACE_S):
        thread.join(LOOK_EVERY_S)
    if failures:
        raise failures[0]
    return answers[0] if answers else None
