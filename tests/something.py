"""A loop of assertions must have something to look at."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TypeVar

Item = TypeVar("Item")


def each(items: Iterable[Item]) -> list[Item]:
    """The items, of which there is one at least: a loop over none would assert nothing."""
    found = list(items)
    assert found, "nothing to look at"
    return found
