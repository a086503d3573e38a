"""What was worked out last of something large and frozen, known again by being the very same: nothing is compared."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import Generic, TypeVar

Value = TypeVar("Value")


class OfTheSame(Generic[Value]):
    """Keeps what was worked out of the last few; `look`: what else it depends on, which is compared."""

    def __init__(self, most: int) -> None:
        self._kept: deque[tuple[object, object, Value]] = deque(maxlen=most)

    def of(self, whole: object, look: object, work: Callable[[], Value]) -> Value:
        """What was worked out of `whole` before, else what `work` gives now; several threads may ask."""
        for known, known_look, value in tuple(self._kept):
            if known is whole and known_look == look:
                return value
        value = work()
        self._kept.append((whole, look, value))
        return value
