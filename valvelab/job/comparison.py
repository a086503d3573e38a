"""Holds results against their re-computation: every number within rounding, every word exactly."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from typing import Any

from valvelab.records.certificate_result import Difference
from valvelab.report.same_text import compare_texts, difference

RELATIVE = 1e-6
ABSOLUTE = 1e-9
SKIPPED = {"version"}


def compare_results(stated: Any, recomputed: Any, where: str = "") -> Iterator[Difference | None]:
    """Walk two JSON documents together; None for every number or text that agrees, else the difference."""
    if isinstance(stated, dict) and isinstance(recomputed, dict):
        for key in dict.fromkeys([*stated, *recomputed]):
            if key not in SKIPPED:
                yield from compare_results(stated.get(key), recomputed.get(key), f"{where}.{key}".lstrip("."))
    elif isinstance(stated, list) and isinstance(recomputed, list) and len(stated) == len(recomputed):
        for number, (one, other) in enumerate(zip(stated, recomputed, strict=True)):
            yield from compare_results(one, other, f"{where}[{_name(one, number)}]")
    elif isinstance(stated, list) and isinstance(recomputed, list):
        yield _extra_row(stated, recomputed, where)
    elif _is_number(stated) and _is_number(recomputed):
        same = math.isclose(stated, recomputed, rel_tol=RELATIVE, abs_tol=ABSOLUTE)
        yield None if same else difference(where, stated, recomputed)
    elif isinstance(stated, str) and isinstance(recomputed, str):
        yield from compare_texts(stated, recomputed, where)
    elif stated != recomputed:
        yield difference(where, stated, recomputed)


def _name(row: Any, number: int) -> str:
    """How a row of a list is called in a report."""
    names = [row[key] for key in ("lobe", "spring", "station", "item", "valve") if key in row] if _is_row(row) else []
    return str(names[0] if names else number)


def _extra_row(stated: list[Any], recomputed: list[Any], where: str) -> Difference:
    """Two lists of different length, by the first row that only one of them has."""
    mine, yours = ({json.dumps(row, sort_keys=True): row for row in rows} for rows in (stated, recomputed))
    for text, row in mine.items():
        if text not in yours:
            return difference(where, _told(row), f"{len(recomputed)} rows without it")
    row = next((row for text, row in yours.items() if text not in mine), None)
    return difference(where, f"{len(stated)} rows", f"{len(recomputed)} rows, with {_told(row)}")


def _told(row: Any) -> object:
    return row["text"] if _is_row(row) and "text" in row else row


def _is_row(value: Any) -> bool:
    return isinstance(value, dict)


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)
