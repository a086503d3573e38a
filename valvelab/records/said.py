"""What a result says in the units that are shown: paper and terminal say of a value what the window says of it."""

from __future__ import annotations

from typing import Any, TypeVar

from valvelab.phrase import Phrase, whole
from valvelab.records.result import Record
from valvelab.units import System

AnyRecord = TypeVar("AnyRecord", bound=Record)


def said_in(record: AnyRecord, system: System) -> AnyRecord:
    """A result whose sentences have their measures in these units; what it holds in numbers stays canonical."""
    return record if system == "metric" else _said(record, system)


def plainly_in(text: str, system: System) -> str:
    """A text that is said as a whole, or a phrase, with its measures in these units."""
    if system == "metric":
        return text
    from valvelab.phrase_units import in_units  # noqa: PLC0415 - its patterns cost time that millimetres need not

    return in_units(whole(text), system)


def _said(value: Any, system: System) -> Any:
    """The same value, or one like it where a sentence in it changed."""
    if isinstance(value, Phrase):
        return plainly_in(value, system)
    if isinstance(value, Record):
        held = {name: getattr(value, name) for name in type(value).model_fields}
        turned = {name: _said(one, system) for name, one in held.items()}
        changed = {name: one for name, one in turned.items() if one is not held[name]}
        return value.model_copy(update=changed) if changed else value
    if isinstance(value, tuple) and value and not isinstance(value[0], int | float):
        many = tuple(_said(one, system) for one in value)
        return value if all(new is old for new, old in zip(many, value, strict=True)) else many
    return value
