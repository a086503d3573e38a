"""Values that don't change: frozen, slotted dataclasses for which nothing but their `__init__` is compiled.

The standard decorator compiles six methods for every class, and a command makes a hundred classes: leaving out five of
them saves a tenth of what importing numpy, scipy.interpolate and scipy.optimize takes.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import MISSING, FrozenInstanceError, dataclass, field, fields
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


def _refuse_to_set(value: Any, name: str, _new: object) -> None:
    raise FrozenInstanceError(f"cannot assign to field {name!r} of {type(value).__qualname__}")


def _refuse_to_delete(value: Any, name: str) -> None:
    raise FrozenInstanceError(f"cannot delete field {name!r} of {type(value).__qualname__}")


def _state(value: Any) -> list[object]:
    return [getattr(value, one.name) for one in fields(value)]


def _restore(value: Any, state: list[object]) -> None:
    for one, held in zip(fields(value), state, strict=True):
        object.__setattr__(value, one.name, held)


def _beginning(cls: type[Any]) -> Callable[..., None]:
    """The `__init__` of a frozen class by its fields, as the standard decorator makes it."""
    known: dict[str, Any] = {"set_": object.__setattr__, "none_": MISSING}
    heads: dict[bool, list[str]] = {False: ["self"], True: []}
    lines = []
    for one in fields(cls):
        name, usual, made = one.name, f"usual_{one.name}", one.default_factory is not MISSING
        known[usual] = one.default_factory if made else one.default
        if one.init:
            needed = known[usual] is MISSING
            heads[one.kw_only is True].append(name if needed else f"{name}={'none_' if made else usual}")
        taken = f"{name} if {name} is not none_ else {usual}()" if one.init else f"{usual}()"
        lines.append(f" set_(self, {name!r}, {taken if made else name})")
    if hasattr(cls, "__post_init__"):
        lines.append(" self.__post_init__()")
    head = ", ".join([*heads[False], *(["*", *heads[True]] if heads[True] else [])])
    exec(f"def __init__({head}):\n" + ("\n".join(lines) or " pass"), known)  # noqa: S102 - the names of fields
    begin: Callable[..., None] = known["__init__"]
    begin.__qualname__ = f"{cls.__qualname__}.__init__"
    return begin


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
        whole = dataclass(init=False, slots=slots, repr=False, eq=False, kw_only=kw_only)(one)
        shared = {"__init__": _beginning(whole), "__repr__": _told} | (_comparison(whole) if eq else {})
        if slots:
            shared |= {"__getstate__": _state, "__setstate__": _restore}
        for name in shared.keys() - vars(one).keys():
            setattr(whole, name, shared[name])
        whole.__setattr__, whole.__delattr__ = _refuse_to_set, _refuse_to_delete  # type: ignore[method-assign]
        return whole

    return made if cls is None else made(cls)
