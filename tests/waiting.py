"""Waiting for work in the background, long enough for a machine that is busy with something else."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TypeVar

from PySide6.QtTest import QTest

from valvelab.window.bench import Bench
from valvelab.workbench import bays

LONGEST_S = 180.0
Given = TypeVar("Given")


def wait_for(condition: Callable[[], bool], told: Callable[[], object] = lambda: "it never came") -> None:
    """Let the window go on until the condition holds; fail with what `told` says where it never does."""
    until = time.monotonic() + LONGEST_S
    while not condition():
        assert time.monotonic() < until, told()
        QTest.qWait(10)


def at_rest(bench: Bench) -> None:
    """Let the window go on until nothing is read, asked, written or waits to be shown."""
    wait_for(lambda: bench.at_rest() and not bench.document.unread() and bays.outstanding(bench.document) is None)


def made_of(asked: Callable[[Callable[[Callable[[], Given]], object]], object]) -> Given:
    """What is made of what the window hands on when it is asked for, with a bench that has no background."""
    made: list[Given] = []
    asked(lambda make: made.append(make()))
    return made[0]
