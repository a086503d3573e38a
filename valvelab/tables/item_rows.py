"""Any result as rows of a spreadsheet: one an item, its columns named like the keys of the JSON.

A key within a key is `base_circle.runout_tir_mm`, one at a lift `duration_crank_deg@1.27mm`, a standard uncertainty
`u_max_lift_mm`; `decision` is the gravest verdict on the item. Lists of numbers or texts stand in one cell; curves and
tables within an item are left to the JSON.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, get_args

from valvelab.records.result import Record, Result
from valvelab.tables.verdicts import overall, worst_by_item

Value = str | float | None
DECISION = "decision"
_HEAD = frozenset(Result.model_fields)
_BETWEEN = " "
_TELLS = frozenset({"event"})
"""Texts that tell apart what stands at one lift."""


def item_rows(result: Result) -> list[list[Value]]:
    """The heads, then a row for each item, empty where it has nothing under a head; figures canonical, unrounded."""
    rows = [row for _, row in named_rows(result)]
    heads = list(dict.fromkeys(key for row in rows for key in row if key != DECISION))
    return [[*heads, DECISION], *([row.get(key) for key in (*heads, DECISION)] for row in rows)]


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
        yield key, str(value).lower() if isinstance(value, bool) else value


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
