"""Values that don't change: frozen, slotted dataclasses that share what tells and compares them.

The standard decorator compiles six methods for every class, and a command makes a hundred classes: sharing three of
them saves 6 % of what importing numpy, scipy.interpolate and scipy.optimize takes.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, fields
from typing import Any, TypeVar, dataclass_transform, overload

T = TypeVar("T")


def _told(value: Any) -> str:
    shown = (f"{one.name}={getattr(value, one.name)!r}" for one in fields(value) if one.repr)
    return f"{type(value).__qualname__}({', '.join(shown)})"


def _compared(value: Any) -> tuple[Any, ...]:
    return tuple([getattr(value, one.name) for one in fields(value) if one.compare])


def _equal(value: Any, other: object) -> bool:
    return _compared(value) == _compared(other) if type(other) is type(value) else NotImplemented


def _hash(value: Any) -> int:
    return hash(_compared(value))


_TEXT: dict[str, Callable[..., object]] = {"__repr__": _told}
_WHOLE = _TEXT | {"__eq__": _equal, "__hash__": _hash}


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
        for name, method in (_WHOLE if eq else _TEXT).items():
            if name not in vars(one):
                setattr(one, name, method)
        return dataclass(frozen=True, slots=slots, repr=False, eq=False, kw_only=kw_only)(one)

    return made if cls is None else made(cls)
