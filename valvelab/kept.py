"""Answers that follow from numbers alone, kept for whoever asks the same again.

Parts of one job ask about the same readings.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Iterator
from dataclasses import fields, is_dataclass
from hashlib import sha256
from typing import Any, Generic, TypeVar

import numpy as np

T = TypeVar("T")


_ALL: list[Kept[Any]] = []


def forget() -> None:
    """Forget every answer, for whoever changes what answers follow from besides the numbers."""
    for one in _ALL:
        one.clear()


class Kept(Generic[T]):
    """The last few answers of one kind of work. An answer must not be changed by who gets it."""

    def __init__(self, most: int) -> None:
        _ALL.append(self)
        self._most = most
        self._answers: OrderedDict[bytes, T] = OrderedDict()

    def clear(self) -> None:
        """Forget."""
        self._answers.clear()

    def of(self, numbers: object, work: Callable[[], T]) -> T:
        """What `work` gives for these numbers: arrays, records of numbers and tuples of these. Passes on its errors."""
        digest = sha256()
        for piece in _pieces(numbers):
            digest.update(b"%d " % len(piece) + piece)
        key = digest.digest()
        if (kept := self._answers.get(key)) is not None:
            return kept
        found = self._answers[key] = work()
        while len(self._answers) > self._most:
            self._answers.popitem(last=False)
        return found


def _pieces(value: object) -> Iterator[bytes]:
    """All that a value says, so that different values never say the same."""
    if isinstance(value, np.ndarray):
        yield f"{value.dtype.str}{value.shape}".encode()
        yield np.ascontiguousarray(value).tobytes()
    elif is_dataclass(value):
        yield type(value).__name__.encode()
        for field in fields(value):
            yield from _pieces(getattr(value, field.name))
    elif isinstance(value, tuple | list):
        yield b"%d of" % len(value)
        for one in value:
            yield from _pieces(one)
    elif value is None or isinstance(value, str | bytes | bool | int | float | np.generic):
        yield f"{type(value).__name__} {value!r}".encode()
    else:
        raise TypeError(f"no number: {type(value).__name__}")
