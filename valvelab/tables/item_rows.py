"""Any result as rows of a spreadsheet: one an item, its columns named like the keys of the JSON.

A key within a key is `base_circle.runout_tir_mm`, one at a lift `duration_crank_deg@1.27mm`, a standard uncertainty
`u_max_lift_mm`; `decision` is the gravest verdict on the item. Lists of numbers or texts stand in one cell; curves and
tables within an item are tables of their own, for whoever can hold more than one.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, get_args

from valvelab.records.result import Record, Result
from valvelab.tables.verdicts import overall, worst_by_item

Value = str | float | None
Rows = list[list[Value]]
"""The heads, then the rows."""
DECISION = "decision"
_HEAD = frozenset(Result.model_fields)
_BETWEEN = " "
_TELLS = frozenset({"event"})
"""Texts that tell apart what stands at one lift."""


WHOLE, ITEM = "whole", "item"


def item_rows(result: Result) -> Rows:
    """The heads, then a row for each item, empty where it has nothing under a head; figures canonical, unrounded."""
    return _under_heads([row for _, row in named_rows(result)], last=(DECISION,))


def further_tables(result: Result) -> dict[str, Rows]:
    """By its key, everything that has no place in a row for each item.

    `whole`: what is said of all items together, one row. The others: each list of records, and each curve as a row a
    point; within an item they begin with `item`, the name that verdicts call it by.
    """
    whole = {key: value for key, value in _cells(result) if key not in result.ITEMS}
    found: dict[str, list[dict[str, Value]]] = {WHOLE: [whole]} if result.ITEMS and whole else {}
    for key, value in result:
        if key in result.ITEMS:
            for item in value:
                _gather(item, "", {ITEM: _name(item)}, found)
        elif key not in _HEAD:
            _gather_one(value, key, {}, found)
    return {name: _under_heads(rows) for name, rows in found.items()}


def _gather(record: Record, place: str, owner: dict[str, Value], found: dict[str, list[dict[str, Value]]]) -> None:
    """The tables within a record, by their keys after `place`."""
    series = {key: value for key, value in record if isinstance(value, tuple) and _is_series(value)}
    if len(series) > 1 and len({len(values) for values in series.values()}) == 1:
        for point in zip(*series.values(), strict=True):
            row = {key: _plain(value) for key, value in zip(series, point, strict=True)}
            found.setdefault(place.rstrip("."), []).append({**owner, **row})
    for key, value in record:
        _gather_one(value, f"{place}{key}", owner, found)


def _gather_one(value: object, name: str, owner: dict[str, Value], found: dict[str, list[dict[str, Value]]]) -> None:
    if isinstance(value, Record):
        _gather(value, f"{name}.", owner, found)
    elif isinstance(value, tuple) and value and isinstance(value[0], Record):
        for row in value:
            found.setdefault(name, []).append({**owner, **dict(_cells(row))})
            _gather(row, f"{name}.", owner, found)


def _is_series(values: tuple[object, ...]) -> bool:
    return len(values) > 1 and all(isinstance(value, float | int) for value in values)


def _under_heads(rows: list[dict[str, Value]], last: tuple[str, ...] = ()) -> Rows:
    """Every key that a row has as a head, in the order of the first; `last` behind all others."""
    heads = [*dict.fromkeys(key for row in rows for key in row if key not in last), *last]
    return [[*heads], *([row.get(key) for key in heads] for row in rows)]


def named_rows(result: Result) -> Iterator[tuple[str, dict[str, Value]]]:
    """What verdicts call each item, and its cells by their heads, the decision last; a name is "" without items."""
    if not result.ITEMS:
        yield "", {**dict(_cells(result)), DECISION: overall(result.verdicts)}
        return
    items = [item for name in result.ITEMS for item in getattr(result, name)]
    judged = {_name(item): number for number, item in enumerate(items)}  # of one thing in several stages the last
    worst = worst_by_item(result.verdicts)
    for number, item in enumerate(items):
        name = _name(item)
        yield name, {**dict(_cells(item)), DECISION: worst.get(name) if judged[name] == number else None}


def _name(item: Record) -> str:
    """What verdicts call an item: its own name, else what stands first in its record."""
    return str(getattr(item, "name", None) or next(iter(item))[1])


def _cells(record: Record) -> Iterator[tuple[str, Value]]:
    """A record's cells; of a document those beside the head that all documents have."""
    for key, value in record:
        if isinstance(record, Result) and key in _HEAD:
            continue
        if key == "uncertainty":
            yield from ((f"u_{name}", u) for name, u in dict(value).items())
        elif isinstance(value, tuple):
            if _holds_record(record, key):
                yield from _at_lifts(value)
            else:
                yield key, _BETWEEN.join(map(str, value))
        elif not (value is None and _holds_record(record, key)):
            yield from _within(key, value)


def _within(key: str, value: Any) -> Iterator[tuple[str, Value]]:
    """A number or text as it is, what holds some as a cell each."""
    if isinstance(value, Record | dict):
        for name, inner in dict(value).items():
            if not isinstance(inner, tuple):
                yield from _within(f"{key}.{name}", inner)
    else:
        yield key, _plain(value)


def _plain(value: Any) -> Value:
    """A number or text as it is; true and false are words."""
    return str(value).lower() if isinstance(value, bool) else value


def _at_lifts(rows: tuple[Any, ...]) -> Iterator[tuple[str, Value]]:
    """The cells of what stands at lifts, the lift in their names; of other rows none."""
    for row in rows:
        at = getattr(row, "at_mm", None)
        if at is None:
            continue
        cells = {name: value for name, value in _cells(row) if name != "at_mm"}
        which = "".join(f"{cells.pop(name)}." for name in _TELLS & cells.keys())
        for name, value in cells.items():
            u = "u_" if name.startswith("u_") else ""
            yield f"{u}{which}{name.removeprefix(u)}@{at:g}mm", value


def _holds_record(record: Record, key: str) -> bool:
    """Whether a key holds records, or would where it has nothing."""
    kinds = get_args(type(record).model_fields[key].annotation)
    return any(isinstance(kind, type) and issubclass(kind, Record) for kind in kinds)
