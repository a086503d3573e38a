"""What a person decided at a bay: a frozen dataclass each, and how its fields are entered.

A field says beside its default how it is entered: its spoken name, unit, step, decimals and what undo calls the edit.
Widgets bind to a field by its name and find everything else here.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields
from types import MappingProxyType
from typing import Any, ClassVar, TypeVar

from valvelab.units import Dimension, System


@dataclass(frozen=True, slots=True)
class BayState:
    """Base of what a person decides at a bay; `bay` is the bay's name."""

    bay: ClassVar[str] = ""

    @property
    def unsaved(self) -> bool:
        """Whether something was typed that no file holds."""
        return False


Key = TypeVar("Key")
Item = TypeVar("Item")


@dataclass(frozen=True, slots=True)
class Entry:
    """How a field is entered.

    spoken: its accessible name. text: its short name beside the widget. edit: what undo calls a change; without one a
    change is a look and no edit. unit, step and least, most: as its number is typed, in `unit`. decimals: metric, inch.
    digits: kept of it. optional: a number below `least` is none, and the field goes back to its default; else it is
    held to its ends. merges: changes that follow one another are one step of undo.
    """

    spoken: str
    text: str = ""
    edit: str = ""
    dimension: Dimension = "number"
    unit: str = ""
    step: float = 1.0
    decimals: tuple[int, int] = (0, 0)
    least: float = float("-inf")
    most: float = float("inf")
    digits: int = 9
    optional: bool = False
    merges: bool = False

    def taken(self, value: float, default: Any) -> Any:
        """The number as the field takes it."""
        if self.optional and value < self.least:
            return default
        held = round(min(max(value, self.least), self.most), self.digits)
        return held if self.digits else int(held)

    def decimals_in(self, units: System) -> int:
        """Decimals that the field shows."""
        return self.decimals[units == "inch"]


@dataclass(frozen=True, slots=True)
class Kept:
    """How a field stands in the recovery file where its value is no plain one."""

    write: Callable[[Any], object]
    read: Callable[[Any], Any]


def entered(default: Any, spoken: str, **how: Any) -> Any:
    """A field with its default and its entry."""
    return field(default=default, metadata={"entry": Entry(spoken, **how)})


def keyed(kept: Kept | None = None) -> Any:
    """A field of items by key, empty at first."""
    return field(default_factory=lambda: MappingProxyType({}), metadata={} if kept is None else {"kept": kept})


def entry_of(kind: type[Any], name: str) -> Entry:
    """How a state's field is entered; a field without an entry is only looked at."""
    (found,) = (one.metadata.get("entry", Entry("")) for one in fields(kind) if one.name == name)
    assert isinstance(found, Entry)
    return found


def with_item(items: Mapping[Key, Item], key: Key, item: Item | None) -> Mapping[Key, Item]:
    """The items with one of them changed; None takes it out."""
    others = {known: value for known, value in items.items() if known != key}
    return MappingProxyType(others if item is None else {**others, key: item})
