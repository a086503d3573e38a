"""Simulated annealing: one rule for whatever is changed at random.

Source: Kirkpatrick, Gelatt and Vecchi 1983, from memory.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from math import exp
from random import Random
from typing import Protocol

LOOK_EVERY = 128


class Walk(Protocol):
    """Something that random changes are tried on."""

    random: Random

    def offer(self) -> float | None:
        """Draw a change; the rise of the cost that it would bring, in the walk's own unit, None where it is none."""

    def take(self) -> None:
        """Let the change offered last stand."""

    def leave(self) -> None:
        """Be as before the change offered last."""


def anneal(walk: Walk, moves: int, hot: float, cold: float, stop: Callable[[], bool]) -> Iterator[float]:
    """Try `moves` changes, a rise taken with a chance that shrinks as the heat falls from `hot` to `cold`.

    Heat and rises have the unit of the walk's cost. Yields the rise of each change taken; ends early once `stop`,
    asked now and then, says so.
    """
    for number in range(moves):
        if number % LOOK_EVERY == 0 and stop():
            return
        rise = walk.offer()
        if rise is None:
            continue
        if rise > 0.0 and walk.random.random() >= exp(-rise / (hot * (cold / hot) ** (number / moves))):
            walk.leave()
            continue
        walk.take()
        yield rise
