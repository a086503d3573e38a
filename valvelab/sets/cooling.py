"""The falling heat of simulated annealing (Kirkpatrick 1983, from memory)."""

from __future__ import annotations

from collections.abc import Callable, Iterator

LOOK_EVERY = 128


def cooling(moves: int, hot: float, cold: float, stop: Callable[[], bool]) -> Iterator[float]:
    """The heat of each of some moves, from `hot` down to `cold`; ends early once `stop` says so."""
    for number in range(moves):
        if number % LOOK_EVERY == 0 and stop():
            return
        yield hot * (cold / hot) ** (number / moves)
